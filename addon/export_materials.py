"""Materials that other programs understand: the artwork, or one colour, and how rough it is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import bpy
import numpy as np

__all__ = ["plain_materials"]

#: Paper is rough all over (by eye; the shader's own varies about it).
_ROUGH = 0.75


def plain_materials(materials: Sequence[bpy.types.Material | None]) -> list[bpy.types.Material | None]:
    """A plain material for each, called as that is; one that was made already is taken again.

    Artwork that is transparent somewhere is laid over the colour under it, as it is on the card.
    """
    return [None if material is None else _plain(material) for material in materials]


def _plain(material: bpy.types.Material) -> bpy.types.Material:
    name = f"{material.name} (plain)"
    known: Any = bpy.data.materials.get(name)
    if known is not None:
        return known  # type: ignore[no-any-return]
    made = bpy.data.materials.new(name)
    if made.node_tree is None:
        made.use_nodes = True
    tree: Any = made.node_tree
    tree.nodes.clear()
    shader = tree.nodes.new("ShaderNodeBsdfPrincipled")
    shader.inputs["Base Color"].default_value = material.diffuse_color
    shader.inputs["Roughness"].default_value = _ROUGH
    tree.links.new(shader.outputs[0], tree.nodes.new("ShaderNodeOutputMaterial").inputs[0])
    made.diffuse_color = material.diffuse_color
    image = _image_of(material)
    if image is not None:
        texture = tree.nodes.new("ShaderNodeTexImage")
        texture.image = _opaque(image, np.array(material.diffuse_color)[:3])
        texture.extension = "EXTEND"
        tree.links.new(texture.outputs["Color"], shader.inputs["Base Color"])
    return made


def _image_of(material: bpy.types.Material) -> bpy.types.Image | None:
    nodes: Any = material.node_tree.nodes if material.node_tree is not None else ()
    return next((node.image for node in nodes if node.type == "TEX_IMAGE" and node.image is not None), None)


def _opaque(image: bpy.types.Image, ground: np.ndarray) -> bpy.types.Image:
    """A picture over a scene-linear colour; itself where nothing of the colour is seen."""
    if image.channels < 4 or not all(image.size):
        return image
    shown: Any = image.pixels
    flat = np.empty(4 * image.size[0] * image.size[1], dtype=np.float32)
    shown.foreach_get(flat)
    pixels = flat.reshape(-1, 4)
    if pixels[:, 3].min() > 0.999:
        return image
    # Blender keeps 8-bit pixels as they are stored, sRGB, and mixes colours scene-linear.
    share = pixels[:, 3:]
    pixels[:, :3] = _encoded(share * _decoded(pixels[:, :3]) + (1.0 - share) * ground)
    pixels[:, 3] = 1.0
    made = bpy.data.images.new(f"{image.name} on card", *image.size, alpha=False)
    painted: Any = made.pixels
    painted.foreach_set(pixels.ravel())
    made.pack()
    return made


def _decoded(shares: np.ndarray) -> np.ndarray:
    """sRGB to scene-linear. Source: IEC 61966-2-1 (recalled)."""
    return np.where(shares <= 0.04045, shares / 12.92, ((shares + 0.055) / 1.055) ** 2.4)


def _encoded(shares: np.ndarray) -> np.ndarray:
    """Scene-linear to sRGB."""
    return np.where(shares <= 0.0031308, 12.92 * shares, 1.055 * np.maximum(shares, 0.0) ** (1 / 2.4) - 0.055)
