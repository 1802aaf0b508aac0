"""The look of card: its colour, its fibres, a little light through it, its white cut edges, and artwork on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy

from .geometry.model import Stock

__all__ = ["Side", "cloth_material", "edge_material", "paper_material", "plain_material"]

#: Fibres per metre and the depth of their relief.
_FIBRES_PER_METRE = 1800.0
_FIBRE_DEPTH_M = 0.00003
#: Clouds in the sheet, per metre: where the pulp is a little thicker.
_CLOUDS_PER_METRE = 90.0
#: Share of the light that goes through the card.
_TRANSLUCENCY = 0.06


@dataclass(frozen=True)
class Side:
    """One side of a piece: what the material is called, what card, what artwork."""

    name: str
    stock: Stock
    image: bpy.types.Image | None


def paper_material(side: Side) -> bpy.types.Material:
    """The material that all panels of a piece share on one side."""
    material, nodes = _empty_material(side.name)
    color = _linear(side.stock.color)
    material.diffuse_color = color
    shader = nodes.new("ShaderNodeBsdfPrincipled")
    through = nodes.new("ShaderNodeBsdfTranslucent")
    mix = nodes.new("ShaderNodeMixShader")
    mix.inputs[0].default_value = _TRANSLUCENCY
    links = material.node_tree.links
    source = _art_color(material, side.image, color)
    clouded = _clouded(material, source)
    for target in (shader, through):
        links.new(clouded, target.inputs[0])
    _fibres(material, shader)
    links.new(shader.outputs[0], mix.inputs[1])
    links.new(through.outputs[0], mix.inputs[2])
    links.new(mix.outputs[0], nodes.new("ShaderNodeOutputMaterial").inputs[0])
    return material


def edge_material(name: str) -> bpy.types.Material:
    """The white core of the card that shows where it is cut."""
    return plain_material(name, (0.93, 0.92, 0.89), roughness=0.8)


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
    _fibres(material, shader, depth_m=0.00012)
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
    """The socket of the artwork over the card's own colour; the card alone where there is none."""
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
    over: Any = nodes.new("ShaderNodeMix")
    over.data_type = "RGBA"
    card, print_ = (socket for socket in over.inputs if socket.type == "RGBA")
    card.default_value = color
    links.new(texture.outputs["Alpha"], over.inputs[0])
    links.new(texture.outputs["Color"], print_)
    return next(socket for socket in over.outputs if socket.type == "RGBA")


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
    multiply = nodes.new("ShaderNodeVectorMath")
    multiply.operation = "SCALE"
    links.new(color, multiply.inputs[0])
    links.new(shade.outputs[0], multiply.inputs["Scale"])
    return multiply.outputs[0]


def _fibres(material: bpy.types.Material, shader: Any, *, depth_m: float = _FIBRE_DEPTH_M) -> None:
    """Relief and uneven gloss of the surface."""
    nodes, links = material.node_tree.nodes, material.node_tree.links
    fibres = _noise(material, _FIBRES_PER_METRE, 2.0)
    bump = nodes.new("ShaderNodeBump")
    bump.inputs["Distance"].default_value = depth_m
    bump.inputs["Strength"].default_value = 0.5
    links.new(fibres, bump.inputs["Height"])
    links.new(bump.outputs[0], shader.inputs["Normal"])
    gloss: Any = nodes.new("ShaderNodeMapRange")
    gloss.inputs["To Min"].default_value = 0.58
    gloss.inputs["To Max"].default_value = 0.78
    links.new(fibres, gloss.inputs["Value"])
    links.new(gloss.outputs[0], shader.inputs["Roughness"])
    shader.inputs["Specular IOR Level"].default_value = 0.3
