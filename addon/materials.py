"""The look of card: its colour, fibres, a little light through it, white cut edges, creases, and artwork on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy

from .convert import metres
from .geometry.model import Stock
from .translucency import share_through_a_face

__all__ = [
    "ALONG",
    "LEANS",
    "NEAR",
    "OUTSIDE",
    "Side",
    "cloth_material",
    "edge_material",
    "paper_material",
    "plain_material",
]

#: Attributes of a panel's mesh that say where it is creased; a mesh without them has no crease.
NEAR, ALONG, OUTSIDE = "Crease Near", "Crease Along", "Crease Outside"
LEANS = ("Crease Lean X", "Crease Lean Y")

#: Fibres per metre and the depth of their relief.
_FIBRES_PER_METRE = 1800.0
_FIBRE_DEPTH_M = 0.00003
#: Clouds in the sheet, per metre: where the pulp is a little thicker.
_CLOUDS_PER_METRE = 90.0
#: How far the surface leans on the line of a crease, as a slope (by eye).
_LEAN = 0.75
#: A strip ends as fast at the ends of a crease as beside it, in shares of half its length (by eye).
_ENDS = 40.0
#: The core of the card, where it is cut, and where print has cracked (sRGB).
_CORE = (0.93, 0.92, 0.89)
#: How much of the core is seen where print has cracked.
_CRACKED = 0.65
#: Light that loose fibres at the surface and at cut edges catch at grazing angles (by eye).
_SHEEN, _EDGE_SHEEN = 0.12, 0.35


@dataclass(frozen=True)
class Side:
    """One side of a piece.

    Parameters
    ----------
    name : of its material
    stock : the card
    image : its artwork; None where it has none
    color : sRGB 0..1, a flat colour printed all over it, under the artwork; None where it is bare card
    """

    name: str
    stock: Stock
    image: bpy.types.Image | None
    color: tuple[float, float, float] | None = None


def paper_material(side: Side) -> bpy.types.Material:
    """The material that all panels of a piece share on one side."""
    material, nodes = _empty_material(side.name)
    ground = _linear(side.stock.color if side.color is None else side.color)
    material.diffuse_color = ground
    shader = nodes.new("ShaderNodeBsdfPrincipled")
    through = nodes.new("ShaderNodeBsdfTranslucent")
    mix = nodes.new("ShaderNodeMixShader")
    mix.inputs[0].default_value = share_through_a_face(side.stock.grammage_gsm)
    links = material.node_tree.links
    color = _art_color(material, side.image, ground)
    fibres = _noise(material, _FIBRES_PER_METRE, 2.0)
    near = _near_creases(material)
    if side.image is not None or side.color is not None:
        color = _cracked(material, color, near, fibres)
    clouded = _clouded(material, color)
    for target in (shader, through):
        links.new(clouded, target.inputs[0])
    _fibres(material, shader, fibres, normal=_leaning(material, near))
    shader.inputs["Sheen Weight"].default_value = _SHEEN
    links.new(shader.outputs[0], mix.inputs[1])
    links.new(through.outputs[0], mix.inputs[2])
    output = nodes.new("ShaderNodeOutputMaterial")
    links.new(mix.outputs[0], output.inputs[0])
    _thin(material, output, side.stock.caliper_mm)
    return material


def edge_material(name: str) -> bpy.types.Material:
    """The white core of the card that shows where it is cut, a little fuzzy."""
    material = plain_material(name, _CORE, roughness=0.9)
    shader: Any = next(node for node in material.node_tree.nodes if node.type == "BSDF_PRINCIPLED")
    shader.inputs["Sheen Weight"].default_value = _EDGE_SHEEN
    return material


def plain_material(name: str, color: tuple[float, float, float], *, roughness: float) -> bpy.types.Material:
    """A matt surface of one sRGB colour."""
    material, nodes = _empty_material(name)
    material.diffuse_color = _linear(color)
    shader = nodes.new("ShaderNodeBsdfPrincipled")
    shader.inputs["Base Color"].default_value = _linear(color)
    shader.inputs["Roughness"].default_value = roughness
    shader.inputs["Specular IOR Level"].default_value = 0.25
    material.node_tree.links.new(shader.outputs[0], nodes.new("ShaderNodeOutputMaterial").inputs[0])
    return material


def cloth_material(name: str, color: tuple[float, float, float]) -> bpy.types.Material:
    """Book cloth: a fine weave and a soft sheen."""
    material = plain_material(name, color, roughness=0.75)
    shader: Any = next(node for node in material.node_tree.nodes if node.type == "BSDF_PRINCIPLED")
    _fibres(material, shader, _noise(material, _FIBRES_PER_METRE, 2.0), depth_m=0.00012)
    shader.inputs["Sheen Weight"].default_value = 0.15
    return material


def _empty_material(name: str) -> tuple[bpy.types.Material, Any]:
    """A new material with an empty node tree; Blender 5 has the tree already."""
    material = bpy.data.materials.new(name)
    if material.node_tree is None:
        material.use_nodes = True
    material.node_tree.nodes.clear()
    return material, material.node_tree.nodes


def _linear(color: tuple[float, float, float]) -> tuple[float, float, float, float]:
    """An sRGB colour as scene-linear RGBA. Source: IEC 61966-2-1."""
    red, green, blue = (value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in color)
    return red, green, blue, 1.0


def _art_color(
    material: bpy.types.Material, image: bpy.types.Image | None, color: tuple[float, float, float, float]
) -> Any:
    """The socket of the artwork over the colour under it; that alone where there is no artwork."""
    nodes, links = material.node_tree.nodes, material.node_tree.links
    if image is None:
        plain: Any = nodes.new("ShaderNodeRGB")
        plain.outputs[0].default_value = color
        return plain.outputs[0]
    texture: Any = nodes.new("ShaderNodeTexImage")
    texture.image = image
    texture.interpolation = "Cubic"
    texture.extension = "EXTEND"
    nodes.active = texture
    ground, print_, result = _mixed(material, texture.outputs["Alpha"])
    ground.default_value = color
    links.new(texture.outputs["Color"], print_)
    return result


def _mixed(material: bpy.types.Material, share: Any) -> tuple[Any, Any, Any]:
    """A mix of two colours by a share, 0 to 1: the socket of the one, of the other, and of the result."""
    node: Any = material.node_tree.nodes.new("ShaderNodeMix")
    node.data_type = "RGBA"
    one, other = (socket for socket in node.inputs if socket.type == "RGBA")
    material.node_tree.links.new(share, node.inputs[0])
    return one, other, next(socket for socket in node.outputs if socket.type == "RGBA")


def _noise(material: bpy.types.Material, scale: float, detail: float) -> Any:
    """A noise in the panel's own metres, so that it stays with the card as it turns."""
    nodes, links = material.node_tree.nodes, material.node_tree.links
    place = nodes.new("ShaderNodeTexCoord")
    noise = nodes.new("ShaderNodeTexNoise")
    noise.inputs["Scale"].default_value = scale
    noise.inputs["Detail"].default_value = detail
    links.new(place.outputs["Object"], noise.inputs["Vector"])
    return noise.outputs[0]


def _clouded(material: bpy.types.Material, color: Any) -> Any:
    """A colour that is a hair darker where the sheet is thinner."""
    nodes, links = material.node_tree.nodes, material.node_tree.links
    shade = nodes.new("ShaderNodeMapRange")
    shade.inputs["To Min"].default_value = 0.955
    shade.inputs["To Max"].default_value = 1.02
    links.new(_noise(material, _CLOUDS_PER_METRE, 3.0), shade.inputs["Value"])
    return _vector(material, "SCALE", color, scale=shade.outputs[0])


def _fibres(
    material: bpy.types.Material, shader: Any, fibres: Any, *, depth_m: float = _FIBRE_DEPTH_M, normal: Any = None
) -> None:
    """Relief and uneven gloss of the surface."""
    nodes, links = material.node_tree.nodes, material.node_tree.links
    bump = nodes.new("ShaderNodeBump")
    bump.inputs["Distance"].default_value = depth_m
    bump.inputs["Strength"].default_value = 0.5
    links.new(fibres, bump.inputs["Height"])
    if normal is not None:
        links.new(normal, bump.inputs["Normal"])
    links.new(bump.outputs[0], shader.inputs["Normal"])
    gloss: Any = nodes.new("ShaderNodeMapRange")
    gloss.inputs["To Min"].default_value = 0.58
    gloss.inputs["To Max"].default_value = 0.78
    links.new(fibres, gloss.inputs["Value"])
    links.new(gloss.outputs[0], shader.inputs["Roughness"])
    shader.inputs["Specular IOR Level"].default_value = 0.3


def _near_creases(material: bpy.types.Material) -> Any:
    """How near each of three creases is: 1 on its line, 0 where what bends ends, and 0 beyond its ends."""
    beside = _vector(material, "ABSOLUTE", _vector(material, "SUBTRACT", _layer(material, NEAR), (1.0, 1.0, 1.0)))
    inside = _vector(material, "SUBTRACT", (1.0, 1.0, 1.0), beside)
    along = _vector(material, "ABSOLUTE", _layer(material, ALONG))
    before_ends = _vector(material, "MULTIPLY_ADD", along, (-_ENDS,) * 3, (_ENDS,) * 3)
    return _vector(material, "MAXIMUM", _vector(material, "MINIMUM", inside, before_ends), (0.0, 0.0, 0.0))


def _leaning(material: bpy.types.Material, near: Any) -> Any:
    """The normal of a surface that leans where it is near creases."""
    nodes, links = material.node_tree.nodes, material.node_tree.links
    lean = nodes.new("ShaderNodeCombineXYZ")
    for axis, name in enumerate(LEANS):
        links.new(_vector(material, "DOT_PRODUCT", near, _layer(material, name), output=1), lean.inputs[axis])
    turn: Any = nodes.new("ShaderNodeVectorTransform")
    turn.vector_type, turn.convert_from, turn.convert_to = "VECTOR", "OBJECT", "WORLD"
    links.new(lean.outputs[0], turn.inputs[0])
    flat = nodes.new("ShaderNodeNewGeometry").outputs["Normal"]
    leaning = _vector(material, "MULTIPLY_ADD", turn.outputs[0], (_LEAN,) * 3, flat)
    return _vector(material, "NORMALIZE", leaning)


def _cracked(material: bpy.types.Material, color: Any, near: Any, fibres: Any) -> Any:
    """A printed colour, cracked to the white core along the outside of creases, here more and there less."""
    outside = _vector(material, "DOT_PRODUCT", near, _layer(material, OUTSIDE), output=1)
    nodes, links = material.node_tree.nodes, material.node_tree.links
    cracks: Any = nodes.new("ShaderNodeMath")
    cracks.operation, cracks.use_clamp = "SUBTRACT", True
    links.new(outside, cracks.inputs[0])
    links.new(fibres, cracks.inputs[1])
    seen: Any = nodes.new("ShaderNodeMath")
    seen.operation = "MULTIPLY"
    seen.inputs[1].default_value = 2.0 * _CRACKED
    links.new(cracks.outputs[0], seen.inputs[0])
    print_, core, result = _mixed(material, seen.outputs[0])
    core.default_value = _linear(_CORE)
    links.new(color, print_)
    return result


def _layer(material: bpy.types.Material, name: str) -> Any:
    """The vector of a mesh's attribute; zero where the mesh has none."""
    node: Any = material.node_tree.nodes.new("ShaderNodeAttribute")
    node.attribute_name = name
    return node.outputs["Vector"]


def _vector(material: bpy.types.Material, operation: str, *values: Any, output: int = 0, scale: Any = None) -> Any:
    """What an operation makes of vectors: sockets, or numbers."""
    node: Any = material.node_tree.nodes.new("ShaderNodeVectorMath")
    node.operation = operation
    for value, socket in zip(values, node.inputs, strict=False):
        if isinstance(value, tuple):
            socket.default_value = value
        else:
            material.node_tree.links.new(value, socket)
    if scale is not None:
        material.node_tree.links.new(scale, node.inputs["Scale"])
    return node.outputs[output]


def _thin(material: bpy.types.Material, output: Any, caliper_mm: float) -> None:
    """Let EEVEE know how thin card is, so that light from behind finds its way through; Cycles sees it."""
    thickness = material.node_tree.nodes.new("ShaderNodeValue")
    thickness.outputs[0].default_value = float(metres(caliper_mm))
    material.node_tree.links.new(thickness.outputs[0], output.inputs["Thickness"])
    loose: Any = material
    loose.thickness_mode = "SLAB"
