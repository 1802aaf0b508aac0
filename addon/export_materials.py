"""Materials that other programs understand: the artwork, or one colour, and how rough it is."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import bpy
import numpy as np

__all__ = ["PlainMaterials"]

#: Paper is rough all over (by eye; the shader's own varies about it).
_ROUGH = 0.75


class PlainMaterials:
    """Plain materials of one export: each material and each picture is made once.

    Parameters
    ----------
    folder : gets the pictures as files, which are read from there as long as the materials are used; their names tell
        what is in them, so that they can lie beside those of other exports
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._materials: dict[str, bpy.types.Material] = {}
        self._images: dict[tuple[str, bytes], bpy.types.Image] = {}

    def of(self, materials: Sequence[bpy.types.Material | None]) -> list[bpy.types.Material | None]:
        """A plain material for each, called as that is; one that was made already is taken again.

        Artwork that is transparent somewhere is laid over the colour under it, as it is on the card.
        """
        return [None if material is None else self._plain(material) for material in materials]

    def _plain(self, material: bpy.types.Material) -> bpy.types.Material:
        if material.name_full in self._materials:
            return self._materials[material.name_full]
        made = bpy.data.materials.new(f"{material.name} (plain)")
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
            texture.image = self._picture(image, np.array(material.diffuse_color)[:3])
            texture.extension = "EXTEND"
            tree.links.new(texture.outputs["Color"], shader.inputs["Base Color"])
        self._materials[material.name_full] = made
        return made

    def _picture(self, image: bpy.types.Image, ground: np.ndarray) -> bpy.types.Image:
        """A picture as a file of its own, over a scene-linear colour; itself where there is nothing of it."""
        if not all(image.size):
            return image
        opaque = _opaque(image, ground)
        key = image.name_full, b"" if opaque is image else ground.tobytes()
        if key not in self._images:
            self._images[key] = self._filed(opaque, Path(image.name).stem)
        return self._images[key]

    def _filed(self, image: bpy.types.Image, stem: str) -> bpy.types.Image:
        data, ending = _file_of(image, self._folder)
        name = f"{bpy.path.clean_name(stem)}-{hashlib.sha256(data).hexdigest()[:12]}{ending}"
        file = self._folder / name
        file.write_bytes(data)
        made = bpy.data.images.load(str(file))
        made.name = name
        settings: tuple[Any, Any] = made.colorspace_settings, image.colorspace_settings
        settings[0].name = settings[1].name
        made.alpha_mode = image.alpha_mode
        return made


def _file_of(image: bpy.types.Image, folder: Path) -> tuple[bytes, str]:
    """What a file with a picture holds, and how its name ends: as it was read, unless it was painted on since."""
    ending = Path(image.filepath).suffix.lower() or ".png"
    if not image.is_dirty and image.packed_file is not None:
        return bytes(image.packed_file.data), ending
    if not image.is_dirty and image.source == "FILE":
        return Path(bpy.path.abspath(image.filepath, library=image.library)).read_bytes(), ending
    file = folder / f"painted{ending}"
    image.save(filepath=str(file), save_copy=True)
    return file.read_bytes(), ending


def _image_of(material: bpy.types.Material) -> bpy.types.Image | None:
    nodes: Any = material.node_tree.nodes if material.node_tree is not None else ()
    return next((node.image for node in nodes if node.type == "TEX_IMAGE" and node.image is not None), None)


def _opaque(image: bpy.types.Image, ground: np.ndarray) -> bpy.types.Image:
    """A picture over a scene-linear colour; itself where nothing of the colour is seen."""
    if image.channels < 4:
        return image
    shown: Any = image.pixels
    flat = np.empty(4 * image.size[0] * image.size[1], dtype=np.float32)
    shown.foreach_get(flat)
    pixels = flat.reshape(-1, 4)
    if pixels[:, 3].min() > 0.999:
        return image
    # Blender keeps 8-bit pixels as they are stored, sRGB, and mixes colours scene-linear; of pictures with more bits it
    # keeps scene-linear colours already times their alpha.
    share = pixels[:, 3:]
    painted = pixels[:, :3] if image.is_float else share * _decoded(pixels[:, :3])
    pixels[:, :3] = _encoded(painted + (1.0 - share) * ground)
    pixels[:, 3] = 1.0
    made = bpy.data.images.new(f"{image.name} on card", *image.size, alpha=False)
    filled: Any = made.pixels
    filled.foreach_set(pixels.ravel())
    made.pack()
    return made


def _decoded(shares: np.ndarray) -> np.ndarray:
    """sRGB to scene-linear. Source: IEC 61966-2-1 (recalled)."""
    return np.where(shares <= 0.04045, shares / 12.92, ((shares + 0.055) / 1.055) ** 2.4)


def _encoded(shares: np.ndarray) -> np.ndarray:
    """Scene-linear to sRGB."""
    return np.where(shares <= 0.0031308, 12.92 * shares, 1.055 * np.maximum(shares, 0.0) ** (1 / 2.4) - 0.055)
