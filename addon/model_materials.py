"""Materials as the core has them: a colour, or a picture that UV coordinates look up.

What a material looks like is read from its nodes where that is plain: a colour or an image at the base colour. Anything
else is baked on demand (`model_baking`), and until then shown in the material's viewport colour.
"""

from __future__ import annotations

import hashlib
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from PIL import Image as Picture

from .geometry.errors import FileError
from .geometry.model import Color
from .geometry.unfold.data import Surface

__all__ = ["Look", "color_source", "look_of", "picture_file", "srgb", "surface_of"]

#: Folder of pictures that are no files of their own, in Blender's temporary folder, which it removes when it ends.
_PICTURES = "hingeleaf-model"
#: Shaders whose colour is what is printed, and the socket of that colour.
_COLORED = {"BSDF_PRINCIPLED": "Base Color", "BSDF_DIFFUSE": "Color", "EMISSION": "Color", "BSDF_TOON": "Color"}
#: Kinds of file that the core reads as they are.
_FILES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".bmp", ".webp")


@dataclass(frozen=True)
class Look:
    """What is printed where a material is.

    Parameters
    ----------
    color : sRGB 0..1
    image : what the UV coordinates look up, or None
    uv_map : name of the UV map that is meant; "" for the one that is rendered
    plain : whether that is all; else the nodes do more, and the colour is that of the viewport
    """

    color: Color
    image: bpy.types.Image | None = None
    uv_map: str = ""
    plain: bool = True


def srgb(channels: Any) -> Color:
    """A scene-linear colour as sRGB, 0..1. Source: IEC 61966-2-1."""

    def encoded(value: float) -> float:
        value = min(1.0, max(0.0, value))
        return value * 12.92 if value <= 0.0031308 else 1.055 * value ** (1 / 2.4) - 0.055

    red, green, blue = (encoded(float(value)) for value in channels[:3])
    return red, green, blue


def look_of(material: bpy.types.Material) -> Look:
    """What a material prints."""
    shown = srgb(material.diffuse_color)
    tree: Any = material.node_tree
    # From Blender 5 on every material uses its nodes.
    uses_nodes = tree is not None and (bpy.app.version >= (5, 0, 0) or material.use_nodes)
    shader = _shader(tree) if uses_nodes else None
    if shader is None:
        return Look(shown, plain=not uses_nodes)
    name = _COLORED.get(shader.type)
    if name is None:
        return Look(shown, plain=False)
    socket = shader.inputs[name]
    source = _before(socket)
    if source is None:
        return Look(srgb(socket.default_value))
    node = source.node
    if node.type == "RGB":
        return Look(srgb(source.default_value))
    if node.type == "TEX_IMAGE" and source.identifier == "Color" and node.image is not None:
        uv_map = _uv_map(node)
        if uv_map is not None and node.image.source in ("FILE", "GENERATED"):
            return Look(shown, node.image, uv_map)
    return Look(shown, plain=False)


def color_source(material: bpy.types.Material) -> tuple[Any, Any]:
    """What a material's colour comes from: the socket, or the colour itself; neither where no one shader has it."""
    shader = _shader(material.node_tree)
    name = None if shader is None else _COLORED.get(shader.type)
    if name is None:
        return None, None
    source = _before(shader.inputs[name])
    return source, None if source is not None else tuple(shader.inputs[name].default_value)


def _shader(tree: Any) -> Any:
    """The node that makes the surface; None where there is none."""
    outputs = [node for node in tree.nodes if node.type == "OUTPUT_MATERIAL"]
    output = next((node for node in outputs if node.is_active_output), None)
    source = None if output is None else _before(output.inputs["Surface"])
    return None if source is None else source.node


def _before(socket: Any) -> Any:
    """The socket that a socket takes its value from, past reroutes; None where it has its own."""
    while socket.is_linked:
        source = socket.links[0].from_socket
        if source.node.type != "REROUTE":
            return source
        socket = source.node.inputs[0]
    return None


def _uv_map(node: Any) -> str | None:
    """The UV map that an image is looked up with; None where it is looked up otherwise."""
    if node.projection != "FLAT":
        return None
    source = _before(node.inputs["Vector"])
    if source is None:
        return ""
    if source.node.type == "UVMAP":
        return str(source.node.uv_map)
    return "" if source.node.type == "TEX_COORD" and source.identifier == "UV" else None


def surface_of(material: bpy.types.Material, baked: bpy.types.Image | None, *, has_uv: bool) -> Surface:
    """A material as the core has it.

    Parameters
    ----------
    material : the material
    baked : what it was baked to, where that was asked for
    has_uv : whether there are UV coordinates; without them no picture can be looked up

    Raises
    ------
    FileError
        A picture that is no file cannot be written into the temporary folder.
    """
    look = look_of(material)
    image = look.image if look.plain else baked
    texture = None if image is None or not has_uv else picture_file(image)
    return Surface(material.name, look.color, None if texture is None else str(texture))


def picture_file(image: bpy.types.Image) -> Path | None:
    """A file of what an image shows: its own, or one in the temporary folder; None where there are no pixels."""
    own = Path(bpy.path.abspath(image.filepath, library=image.library)) if image.filepath else None
    packed: Any = image.packed_file
    if own is not None and packed is None and not image.is_dirty and own.suffix.lower() in _FILES and own.is_file():
        return own
    folder = Path(bpy.app.tempdir or tempfile.gettempdir(), _PICTURES)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if packed is not None and not image.is_dirty and Path(image.filepath or image.name).suffix.lower() in _FILES:
            data = bytes(packed.data)
            ending = Path(image.filepath or image.name).suffix.lower()
            file = folder / f"{hashlib.blake2b(data, digest_size=12).hexdigest()}{ending}"
            if not file.is_file():
                file.write_bytes(data)
            return file
        return _saved(image, folder)
    except (OSError, RuntimeError) as error:
        raise FileError(f"{image.name}: the picture cannot be written into {folder} ({error})") from None


def _saved(image: bpy.types.Image, folder: Path) -> Path | None:
    """The pixels of an image as a PNG of its own; those of a float image are scene-linear."""
    width, height = image.size
    if width == 0 or height == 0:
        return None
    values = np.empty(width * height * image.channels, dtype=np.float32)
    image.pixels.foreach_get(values)  # type: ignore[attr-defined]
    pixels = values.reshape(height, width, image.channels)[::-1]
    if image.channels < 3:
        pixels = np.repeat(pixels[..., :1], 3, axis=2)
    pixels = np.clip(pixels[..., :4], 0.0, 1.0)
    if image.is_float:
        light = pixels[..., :3]
        pixels[..., :3] = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    data = np.round(255.0 * pixels).astype(np.uint8)
    file = folder / f"{hashlib.blake2b(data.tobytes(), digest_size=12).hexdigest()}.png"
    if not file.is_file():
        Picture.fromarray(data).save(file)
    return file
