"""Artwork files as the writers need them: PNG or JPEG bytes, in sRGB."""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np
from PIL import Image, ImageCms

from ..artwork import opened_picture
from ..errors import FileError

__all__ = ["Picture", "prints_as_it_is", "read_picture"]

#: Modes of Pillow's that are sRGB, or its greys, as they are.
_PLAIN = ("1", "L", "LA", "P", "RGB", "RGBA")
#: A profile by which no value of a ramp moves by more, of 255, is that of sRGB: its curves and matrix are rounded.
_SAME = 3
#: Values of each channel of the ramp, denser in the dark, where curves part most.
_RAMP = (0, 8, 16, 32, 55, 96, 144, 200, 255)


@dataclass(frozen=True)
class Picture:
    """A picture: its bytes, their MIME type ("image/png" or "image/jpeg"), and its size in pixels."""

    data: bytes
    mime: str
    width: int
    height: int


def read_picture(file: str) -> Picture:
    """Read an artwork file: PNG and JPEG in sRGB stay as they are, to the byte; everything else becomes PNG in sRGB.

    What lies on its side in the file is turned upright, and of an animated file the first picture is taken. A picture
    that names no colour space is taken for sRGB; one that brings another profile is converted by it.

    Parameters
    ----------
    file : path

    Returns
    -------
    Picture

    Raises
    ------
    FileError
        The file cannot be read or is no picture.
    """
    try:
        data = Path(file).read_bytes()
    except OSError as error:
        raise FileError(f"{file}: the artwork cannot be read ({error.strerror or error})") from None
    try:
        with opened_picture(io.BytesIO(data)) as image:
            image.load()
            return _picture(data, image)
    except FileError as error:
        raise FileError(f"{file}: {error}") from None


def prints_as_it_is(file: str | Path) -> bool:
    """Whether read_picture leaves a file as it is, told from its head: any reader then shows what is printed.

    Parameters
    ----------
    file : path

    Raises
    ------
    FileError
        The file cannot be read or is no picture.
    """
    with opened_picture(file) as image:
        return _is_plain(image)


def _is_plain(image: Image.Image) -> bool:
    """Whether a picture is PNG or JPEG, sRGB, upright in its file, and one picture."""
    # One colour that is clear: drawn so in SVG, but not in PDF.
    keyed = "transparency" in image.info and image.mode in ("1", "L", "RGB")
    plain = image.format in ("PNG", "JPEG") and image.mode in _PLAIN and not keyed
    return plain and getattr(image, "n_frames", 1) == 1 and _foreign_profile(image) is None


def _picture(data: bytes, image: Image.Image) -> Picture:
    width, height = image.size
    # A picture that was turned upright has no format any more.
    if image.format is not None and _is_plain(image):
        return Picture(data, f"image/{image.format.lower()}", width, height)
    converted = _in_srgb(image, _foreign_profile(image))
    stream = io.BytesIO()
    converted.save(stream, "PNG", icc_profile=None, compress_level=3)
    return Picture(stream.getvalue(), "image/png", width, height)


def _foreign_profile(image: Image.Image) -> ImageCms.ImageCmsProfile | None:
    """The profile that a picture brings, where it is not that of sRGB."""
    data = image.info.get("icc_profile")
    if not data:
        return None
    try:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(data))
    except (OSError, ImageCms.PyCMSError):
        # A broken profile says nothing.
        return None
    return None if _is_srgb(data) else profile


@lru_cache(maxsize=64)
def _is_srgb(data: bytes) -> bool:
    """Whether colours stay as they are by a profile: names say little, "Linear sRGB" is another."""
    profile = ImageCms.ImageCmsProfile(io.BytesIO(data))
    is_grey = profile.profile.xcolor_space.strip() == "GRAY"
    ramp = np.tile(np.arange(256), (3, 1)) if is_grey else np.array(np.meshgrid(_RAMP, _RAMP, _RAMP)).reshape(3, -1)
    colors = Image.fromarray(np.ascontiguousarray(ramp.T[None], dtype=np.uint8))
    image = colors.convert("L") if is_grey else colors
    try:
        converted = ImageCms.profileToProfile(image, profile, ImageCms.createProfile("sRGB"), outputMode="RGB")
    except (OSError, ValueError, ImageCms.PyCMSError):
        # It is for other pictures, such as inks.
        return False
    moved = np.abs(np.asarray(converted, dtype=int).reshape(-1, 3) - ramp.T)
    return int(moved.max()) <= _SAME


def _in_srgb(image: Image.Image, profile: ImageCms.ImageCmsProfile | None) -> Image.Image:
    clear = image.convert("RGBA").getchannel("A") if "A" in image.mode or "transparency" in image.info else None
    colors = (
        image.convert("RGB") if image.mode in ("P", "RGBA") else image.convert("L") if image.mode == "LA" else image
    )
    if profile is not None:
        try:
            converted = ImageCms.profileToProfile(colors, profile, ImageCms.createProfile("sRGB"), outputMode="RGB")
            colors = converted if converted is not None else colors
        except ImageCms.PyCMSError:
            # The profile is for other pictures than this: its numbers are taken as they are.
            pass
    if colors.mode.startswith("I"):
        # 16 bits a channel: the upper eight are what can be printed.
        colors = colors.convert("I").point([value / 256 for value in range(65536)], "L")
    colors = colors.convert("RGB")
    if clear is not None:
        colors.putalpha(clear)
    return colors
