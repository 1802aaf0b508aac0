"""Artwork files as the writers need them: PNG or JPEG bytes."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

from PIL import Image, UnidentifiedImageError

from ..errors import FileError

__all__ = ["Picture", "read_picture"]


@dataclass(frozen=True)
class Picture:
    """A picture: its bytes, their MIME type ("image/png" or "image/jpeg"), and its size in pixels."""

    data: bytes
    mime: str
    width: int
    height: int


def read_picture(file: str) -> Picture:
    """Read an artwork file; PNG and JPEG stay as they are, other kinds become PNG.

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
        with Image.open(io.BytesIO(data)) as image:
            image.load()
            width, height = image.size
            if image.format in ("PNG", "JPEG"):
                return Picture(data, f"image/{image.format.lower()}", width, height)
            stream = io.BytesIO()
            image.convert("RGBA").save(stream, "PNG")
            return Picture(stream.getvalue(), "image/png", width, height)
    except (UnidentifiedImageError, OSError, ValueError) as error:
        raise FileError(f"{file}: is no picture that can be read; use PNG or JPEG ({error})") from None
