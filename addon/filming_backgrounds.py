"""What a book is filmed before: seamless paper, a wooden table, or nothing at all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy

from .geometry.errors import HingeleafError

__all__ = [
    "BACKGROUNDS",
    "BACKGROUND_KEY",
    "SKY_KEY",
    "SUPPORT_KEY",
    "TABLE_KEY",
    "background_of",
    "set_background",
]

#: The properties that say which object is a studio's table and which material is its own, which world is a studio's,
#: and before what a book stands.
TABLE_KEY, SKY_KEY, BACKGROUND_KEY = "hingeleaf_table", "hingeleaf_sky", "hingeleaf_background"

#: The property of a support under a bound book: the side under which it lies.
SUPPORT_KEY = "hingeleaf_support"
#: Grain of the wooden table: planks are so wide, metres; light and dark wood, sRGB.
_PLANK_M = 0.11
_WOOD_LIGHT, _WOOD_DARK = (0.66, 0.48, 0.33), (0.46, 0.31, 0.20)


@dataclass(frozen=True)
class Background:
    """One background.

    Parameters
    ----------
    label, text : as the interface says it
    color : of the table, sRGB
    sky : strength of the light from all around
    wood : whether it is a wooden table
    nothing : whether only the book and its shadow are in the picture
    """

    label: str
    text: str
    color: tuple[float, float, float]
    sky: float = 0.30
    wood: bool = False
    nothing: bool = False


BACKGROUNDS = {
    "GRAY_BLUE": Background("Gray-Blue Paper", "A seamless sheet of gray-blue paper", (0.49, 0.56, 0.60)),
    "CREAM": Background("Cream Paper", "A seamless sheet of cream paper", (0.80, 0.74, 0.64)),
    "ROSE": Background("Rose Paper", "A seamless sheet of dusty rose paper", (0.72, 0.54, 0.50)),
    "SAGE": Background("Sage Paper", "A seamless sheet of sage green paper", (0.53, 0.59, 0.50)),
    "WOOD": Background("Warm Table", "A wooden table", _WOOD_LIGHT, 0.26, wood=True),
    "DARK": Background("Dark", "Nearly black: the book stands in its own light", (0.11, 0.11, 0.13), 0.14),
    "WHITE": Background("White", "Plain white", (0.93, 0.93, 0.93), 0.45),
    "TRANSPARENT": Background("Transparent", "Nothing, for pictures with alpha", (0.8, 0.8, 0.8), nothing=True),
}


def background_of(root: bpy.types.Object) -> str:
    """Before what a book stands, the name of one of BACKGROUNDS."""
    name = str(root.get(BACKGROUND_KEY, "GRAY_BLUE"))
    return name if name in BACKGROUNDS else "GRAY_BLUE"


def set_background(scene: bpy.types.Scene, root: bpy.types.Object, name: str) -> None:
    """Put another background behind a book; worlds and materials that are not a studio's stay as they are.

    Parameters
    ----------
    scene : where it is filmed
    root : of the book
    name : one of BACKGROUNDS

    Raises
    ------
    HingeleafError
        The book has no studio.
    """
    table = next((item for item in root.children_recursive if item.get(TABLE_KEY) is not None), None)
    if table is None:
        raise HingeleafError("This book has no studio whose background could be changed: open it with its studio")
    look = BACKGROUNDS[name]
    root[BACKGROUND_KEY] = name
    scene.render.film_transparent = look.nothing
    _paint(_own_material(root, table), look)
    sky: Any = scene.world
    own = sky is not None and sky.get(SKY_KEY) is not None and sky.node_tree is not None
    for node in sky.node_tree.nodes if own else ():
        if node.type == "BACKGROUND":
            node.inputs["Strength"].default_value = look.sky


def _own_material(root: bpy.types.Object, table: Any) -> Any:
    """The material of a studio's table; a new one where a user has put another there, or none."""
    worn = table.data.materials[0] if table.data.materials else None
    if worn is not None and worn.get(TABLE_KEY) is not None:
        return worn
    made = bpy.data.materials.new("Table")
    if made.node_tree is None:
        made.use_nodes = True
    made[TABLE_KEY] = True
    for item in root.children_recursive:
        if item == table or item.get(SUPPORT_KEY) is not None:
            item.data.materials.clear()
            item.data.materials.append(made)
    return made


def _paint(material: Any, look: Background) -> None:
    """Make a material anew, in place: what else wears it, such as supports under a board, stays like the table."""
    nodes, links = material.node_tree.nodes, material.node_tree.links
    nodes.clear()
    shader = nodes.new("ShaderNodeBsdfPrincipled")
    shader.inputs["Base Color"].default_value = material.diffuse_color = _linear(look.color)
    shader.inputs["Roughness"].default_value = 0.5 if look.wood else 0.65
    shader.inputs["Specular IOR Level"].default_value = 0.3 if look.wood else 0.2
    links.new(shader.outputs[0], nodes.new("ShaderNodeOutputMaterial").inputs[0])
    if look.wood:
        links.new(_grain(nodes, links), shader.inputs["Base Color"])


def _grain(nodes: Any, links: Any) -> Any:
    """The colour of planks: stretched noise for the grain, each plank with its own part of it."""
    place, split = nodes.new("ShaderNodeTexCoord"), nodes.new("ShaderNodeSeparateXYZ")
    links.new(place.outputs["Object"], split.inputs[0])
    plank = _math(nodes, links, "FLOOR", _math(nodes, links, "DIVIDE", split.outputs["Y"], _PLANK_M))
    along = nodes.new("ShaderNodeCombineXYZ")
    links.new(_math(nodes, links, "MULTIPLY", split.outputs["X"], 4.0), along.inputs["X"])
    links.new(_math(nodes, links, "MULTIPLY", split.outputs["Y"], 70.0), along.inputs["Y"])
    links.new(_math(nodes, links, "MULTIPLY", plank, 7.31), along.inputs["Z"])
    noise = nodes.new("ShaderNodeTexNoise")
    noise.inputs["Scale"].default_value, noise.inputs["Detail"].default_value = 1.0, 5.0
    links.new(along.outputs[0], noise.inputs["Vector"])
    own = nodes.new("ShaderNodeTexWhiteNoise")
    own.noise_dimensions = "1D"
    links.new(plank, own.inputs["W"])
    shade = _math(nodes, links, "MULTIPLY_ADD", own.outputs["Value"], 0.22, noise.outputs[0])
    ramp = nodes.new("ShaderNodeValToRGB")
    low, high = ramp.color_ramp.elements
    low.position, high.position = 0.40, 0.78
    low.color, high.color = _linear(_WOOD_LIGHT), _linear(_WOOD_DARK)
    links.new(shade, ramp.inputs[0])
    return ramp.outputs[0]


def _math(nodes: Any, links: Any, operation: str, *values: Any) -> Any:
    """The socket of a calculation with sockets and numbers."""
    node = nodes.new("ShaderNodeMath")
    node.operation = operation
    for socket, value in zip(node.inputs, values, strict=False):
        if isinstance(value, float):
            socket.default_value = value
        else:
            links.new(value, socket)
    return node.outputs[0]


def _linear(color: tuple[float, float, float]) -> tuple[float, float, float, float]:
    """An sRGB colour as scene-linear RGBA. Source: IEC 61966-2-1."""
    red, green, blue = (value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4 for value in color)
    return red, green, blue, 1.0
