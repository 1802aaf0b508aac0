"""Pictures as PNG files, written from bands of rows, so that no picture is ever held as a whole.

At 1200 dpi the pages of an A5 spread are 145 million pixels.
"""

from __future__ import annotations

import struct
import zlib

import numpy as np
from numpy.typing import NDArray
from PIL import Image

__all__ = ["PngBands"]

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_COLOR_TYPES = {"RGB": 2, "RGBA": 6}
#: Each row is told as what it differs by from the one above it: guides and chequers mostly go on downwards.
_UP = 2
_LEVEL = 4


class PngBands:
    """A picture that becomes a PNG file band by band; it says its resolution.

    Parameters
    ----------
    size_px : width and height of the whole
    dpi : pixels an inch

    Notes
    -----
    Source: Portable Network Graphics (PNG) Specification, W3C; chunks IHDR, pHYs, IDAT, IEND, filter type 2 (Up).

    Examples
    --------
    >>> import io
    >>> png = PngBands((3, 3), 300)
    >>> png.add(Image.new("RGB", (3, 2), (1, 2, 3)))
    >>> png.add(Image.new("RGB", (3, 1), (4, 5, 6)))
    >>> picture = Image.open(io.BytesIO(png.data()))
    >>> picture.size, picture.getpixel((2, 1)), picture.getpixel((0, 2)), round(picture.info["dpi"][0])
    ((3, 3), (1, 2, 3), (4, 5, 6), 300)
    """

    def __init__(self, size_px: tuple[int, int], dpi: float) -> None:
        self.size_px, self.dpi = size_px, dpi
        self._color_type = _COLOR_TYPES["RGB"]
        self._above: NDArray[np.uint8] | None = None
        self._deflate = zlib.compressobj(_LEVEL)
        self._packed: list[bytes] = []

    def add(self, band: Image.Image) -> None:
        """The rows that come next, as wide as the picture, RGB or RGBA, all bands alike."""
        self._color_type = _COLOR_TYPES[band.mode]
        rows = np.asarray(band).reshape(band.height, -1)
        told = np.empty((band.height, rows.shape[1] + 1), dtype=np.uint8)
        told[:, 0] = _UP
        np.subtract(rows[1:], rows[:-1], out=told[1:, 1:])
        told[0, 1:] = rows[0] if self._above is None else rows[0] - self._above
        self._above = rows[-1].copy()
        self._packed.append(self._deflate.compress(told.data))

    def data(self) -> bytes:
        """The file's bytes; nothing can be added after."""
        self._packed.append(self._deflate.flush())
        per_metre = round(self.dpi / 0.0254)
        chunks = [
            _chunk(b"IHDR", struct.pack(">IIBBBBB", *self.size_px, 8, self._color_type, 0, 0, 0)),
            _chunk(b"pHYs", struct.pack(">IIB", per_metre, per_metre, 1)),
            *(_chunk(b"IDAT", packed) for packed in self._packed if packed),
            _chunk(b"IEND", b""),
        ]
        return b"".join([_SIGNATURE, *chunks])


def _chunk(kind: bytes, data: bytes) -> bytes:
    """A part of a PNG file: length, kind, data, checksum."""
    return b"".join([struct.pack(">I", len(data)), kind, data, struct.pack(">I", zlib.crc32(data, zlib.crc32(kind)))])
