"""Pictures of nets: what the texture coordinates of the model's faces look up, laid on the net at print resolution.

Beyond its faces a picture goes on with the colours at their rim. Its numbers stay those of the textures, sRGB; they are
looked up between pixels (bilinear), in a texture that is halved until its pixels are about as large as those printed.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from ..errors import HingeleafError
from ..nets.pictures import Picture
from ..transforms import Array
from .covering import NetCovering, textured
from .data import Flags, Ints, Mesh
from .lookup import Textures

__all__ = ["DPI", "MM_AN_INCH", "PictureFrame", "check_dpi", "dots_per_mm", "painted", "picture_frame"]

#: Dots an inch that a net is drawn with unless told otherwise, and the most pixels of one picture.
DPI = 300.0
_MOST_PIXELS = 4e7
_LEAST_DPI, _MOST_DPI = 20.0, 1200.0
MM_AN_INCH = 25.4
#: As many pixels are painted at once.
_AT_ONCE = 1_000_000
#: Rims are followed in bits of this many pixels: what each may be nearest to is then a small square.
_BIT = 64
#: Corners are told apart to this part of a pixel.
_SAME = 1e3


@dataclass(frozen=True)
class PictureFrame:
    """Where the picture of a net lies, and how fine it is.

    Parameters
    ----------
    corner : (2,) float, mm; its lower left corner on the net
    width, height : pixels
    dots_per_mm : float
    """

    corner: Array
    width: int
    height: int
    dots_per_mm: float

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of its box."""
        return self.width / self.dots_per_mm, self.height / self.dots_per_mm

    def pixels(self, places: Array) -> Array:
        """Places on the net, (..., 2) float, mm, in pixels from its upper left corner, downwards."""
        top = self.corner + [0.0, self.size_mm[1]]
        return np.asarray((places - top) * [self.dots_per_mm, -self.dots_per_mm])


def check_dpi(dpi: float) -> None:
    """HingeleafError where a resolution is outside its limits."""
    if not _LEAST_DPI <= dpi <= _MOST_DPI:
        raise HingeleafError(f"{dpi:g} dots an inch: write {_LEAST_DPI:g} to {_MOST_DPI:g}")


def picture_frame(mesh: Mesh, cover: NetCovering, *, dpi: float = DPI, bleed_mm: float) -> PictureFrame | None:
    """The frame about all of a net that has a texture, and its bleed; None where nothing has.

    Parameters
    ----------
    mesh : whose surfaces cover it
    cover : what covers the net
    dpi : dots an inch, 20 to 1200; less is taken where the picture would have more than 40 million pixels
    bleed_mm : float, how far colours go on beyond the faces

    Raises
    ------
    HingeleafError
        The resolution is outside its limits.
    """
    check_dpi(dpi)
    kept = textured(mesh)[cover.surface]
    if cover.uv is None or not kept.any():
        return None
    places = cover.places[kept]
    low, high = places.min(axis=(0, 1)) - bleed_mm, places.max(axis=(0, 1)) + bleed_mm
    width, height = high - low
    dots = dots_per_mm((float(width), float(height)), dpi)
    return PictureFrame(low, int(np.ceil(width * dots)), int(np.ceil(height * dots)), dots)


def dots_per_mm(size_mm: tuple[float, float], dpi: float) -> float:
    """How fine a picture of that size is: as asked, or as many pixels as it may have."""
    return min(dpi / MM_AN_INCH, float(np.sqrt(_MOST_PIXELS / (size_mm[0] * size_mm[1]))))


def painted(mesh: Mesh, cover: NetCovering, frame: PictureFrame, bleed_mm: float) -> Picture:
    """Paint the artwork of a net.

    Parameters
    ----------
    mesh, cover, bleed_mm : as for picture_frame
    frame : where

    Returns
    -------
    Picture, PNG in sRGB; what has no texture is white, or clear where a texture is clear in places

    Raises
    ------
    FileError
        A texture cannot be read.
    """
    kept = np.flatnonzero(textured(mesh)[cover.surface])
    uv = np.zeros((0, 3, 2)) if cover.uv is None else cover.uv[kept]
    corners = frame.pixels(cover.places[kept])
    files = [str(mesh.surfaces[at].texture) for at in cover.surface[kept].tolist()]
    reach = bleed_mm * frame.dots_per_mm + 1.5
    pixels = _painted(Textures(corners, uv, files), corners, _rims(corners), (frame.width, frame.height), reach)
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "PNG", compress_level=3)
    return Picture(stream.getvalue(), "image/png", frame.width, frame.height)


@dataclass(frozen=True)
class _Rims:
    """Bits of the rims of what is painted, pixels.

    Parameters
    ----------
    lines : (n, 2, 2) float
    triangle : (n,) int, the one that each belongs to
    """

    lines: Array
    triangle: Ints


def _rims(corners: Array) -> _Rims:
    """The sides of triangles that no other triangle has, in short bits."""
    ends = np.stack([corners, np.roll(corners, -1, axis=1)], axis=2).reshape(-1, 2, 2)
    keys = np.round(ends * _SAME).astype(np.int64)
    (x1, y1), (x2, y2) = np.moveaxis(keys, 0, -1)
    swapped = (x1 > x2) | ((x1 == x2) & (y1 > y2))
    keys[swapped] = keys[swapped][:, ::-1]
    _, index, counts = np.unique(keys.reshape(-1, 4), axis=0, return_inverse=True, return_counts=True)
    alone = np.flatnonzero(counts[index.reshape(-1)] == 1)
    lines = ends[alone]
    lengths = np.hypot(*(lines[:, 1] - lines[:, 0]).T)
    steps = np.maximum(1, np.ceil(lengths / _BIT)).astype(np.int64)
    of = np.repeat(np.arange(len(lines)), steps)
    part = np.arange(len(of)) - np.repeat(np.cumsum(steps) - steps, steps)
    shares = np.stack([part, part + 1], axis=1) / steps[of][:, None]
    starts, along = lines[of, 0], lines[of, 1] - lines[of, 0]
    return _Rims(starts[:, None] + shares[..., None] * along[:, None], alone[of] // 3)


def _painted(textures: Textures, corners: Array, rims: _Rims, size: tuple[int, int], reach: float) -> np.ndarray:
    """The picture, (h, w, 3 or 4) uint8, painted band by band."""
    width, height = size
    painted = np.full((height, width, 4), (255, 255, 255, 0), dtype=np.uint8)
    rows = max(16, _AT_ONCE // width)
    tops, feet = corners[..., 1].min(axis=1), corners[..., 1].max(axis=1)
    rim_tops, rim_feet = rims.lines[..., 1].min(axis=1), rims.lines[..., 1].max(axis=1)
    for top in range(0, height, rows):
        foot = min(height, top + rows)
        mine = np.flatnonzero((tops < foot + 1) & (feet > top - 1))
        numbers = _numbered(corners, mine, top, (width, foot - top))
        y, x = np.nonzero(numbers >= 0)
        places = np.column_stack([x + 0.5, y + top + 0.5])
        painted[y + top, x] = textures.colors(numbers[y, x], places)
        near = np.flatnonzero((rim_tops < foot + reach) & (rim_feet > top - reach))
        if len(near):
            y, x, triangle, places = _beyond(rims, near, numbers < 0, top, reach)
            painted[y + top, x] = textures.colors(triangle, places, at_rim=True)
    return painted if textures.are_clear else painted[..., :3]


def _numbered(corners: Array, mine: Ints, top: int, size: tuple[int, int]) -> Ints:
    """The triangle at each pixel of a band, (h, w) int; -1 where there is none."""
    image = Image.new("I", size, 0)
    draw = ImageDraw.Draw(image)
    # Pillow's pixels have their middles at whole numbers.
    for number, points in zip(mine.tolist(), (corners[mine] - [0.5, top + 0.5]).reshape(-1, 6).tolist(), strict=True):
        draw.polygon(points, fill=number + 1)
    return np.asarray(image, dtype=np.int64) - 1


def _beyond(rims: _Rims, near: Ints, bare: Flags, top: int, reach: float) -> tuple[Ints, Ints, Ints, Array]:
    """Bare pixels of a band that are near to a rim: row, column, triangle at the rim, and the nearest place on it."""
    height, width = bare.shape
    distance = np.full(bare.shape, reach**2, dtype=np.float32)
    owner = np.full(bare.shape, -1, dtype=np.int64)
    for number, line in zip(near.tolist(), rims.lines[near] - [0.5, top + 0.5], strict=True):
        for part, squared in _around(line, reach, width, height):
            closer = (squared < distance[part]) & bare[part]
            distance[part][closer] = squared[closer]
            owner[part][closer] = number
    y, x = np.nonzero(owner >= 0)
    lines = rims.lines[owner[y, x]]
    places = np.column_stack([x + 0.5, y + top + 0.5])
    along = lines[:, 1] - lines[:, 0]
    share = np.einsum("ni,ni->n", places - lines[:, 0], along) / np.maximum(np.einsum("ni,ni->n", along, along), 1e-12)
    return y, x, rims.triangle[owner[y, x]], lines[:, 0] + np.clip(share, 0.0, 1.0)[:, None] * along


def _around(line: Array, reach: float, width: int, height: int) -> Iterator[tuple[tuple[slice, slice], Array]]:
    """The part of a band about a line, and the squared distance of each of its pixels from the line."""
    (left, head), (right, foot) = line.min(axis=0) - reach, line.max(axis=0) + reach
    first, last = max(0, int(left)), min(width, int(right) + 2)
    upper, lower = max(0, int(head)), min(height, int(foot) + 2)
    if first >= last or upper >= lower:
        return
    x, y = np.arange(first, last) - line[0, 0], np.arange(upper, lower)[:, None] - line[0, 1]
    across, down = line[1] - line[0]
    share = np.clip((x * across + y * down) / max(across**2 + down**2, 1e-12), 0.0, 1.0)
    yield (slice(upper, lower), slice(first, last)), (x - share * across) ** 2 + (y - share * down) ** 2
