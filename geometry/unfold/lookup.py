"""Colours of textures: which pixel of which picture belongs to a place in a triangle."""

from __future__ import annotations

import io
from collections.abc import Sequence

import numpy as np
from PIL import Image

from ..nets.pictures import read_picture
from ..transforms import Array
from .data import Ints

__all__ = ["Textures"]

#: A texture is halved at most so often.
_MOST_HALVED = 8
#: Coordinates no further beyond a texture than this are rounding; where any are, the texture is a tile.
_BEYOND = 1e-4
#: From the rim of a triangle inwards, of a texture's pixel: nearer to it, pixels from beyond would be mixed in.
_INSIDE = 0.5


class Textures:
    """The textures of triangles, looked up by places in them.

    Parameters
    ----------
    corners : (t, 3, 2) float, of the triangles, in pixels of what is painted
    uv : (t, 3, 2) float
    files : of each triangle its texture

    Raises
    ------
    FileError
        A texture cannot be read.
    """

    def __init__(self, corners: Array, uv: Array, files: Sequence[str]) -> None:
        self._names = list(dict.fromkeys(files))
        known = {file: number for number, file in enumerate(self._names)}
        self._file = np.array([known[file] for file in files])
        self._levels = [[_premultiplied(file)] for file in self._names]
        self._corners, self._inverse = corners, _inverses(corners)
        self._uv = uv
        self._halved = self._wanted()
        self._is_tile = [bool(np.any(np.abs(uv[self._file == at] - 0.5) > 0.5 + _BEYOND)) for at in range(len(known))]
        self._inside = self._margins()

    @property
    def are_clear(self) -> bool:
        """Whether any of them lets the card be seen."""
        return any(levels[0][..., 3].min() < 255 for levels in self._levels)

    def colors(self, triangle: Ints, places: Array, *, at_rim: bool = False) -> np.ndarray:
        """Colours, (n, 4) uint8, at places in triangles, (n, 2) float; beyond a triangle those at its rim.

        What is asked for at the rim, to go on beyond it, is taken half a pixel of the texture further inside.
        """
        moved = places - self._corners[triangle, 0]
        second, third = np.einsum("nij,nj->in", self._inverse[triangle], moved)
        shares = np.stack([1.0 - second - third, second, third])
        shares = np.maximum(shares, self._inside[triangle].T if at_rim else 0.0)
        shares /= shares.sum(axis=0)
        uv = np.einsum("cn,nci->ni", shares, self._uv[triangle])
        group = self._file[triangle] * (_MOST_HALVED + 1) + self._halved[triangle]
        found = np.empty((len(triangle), 4), dtype=np.uint8)
        for each in np.unique(group):
            mine = group == each
            file, halved = divmod(int(each), _MOST_HALVED + 1)
            found[mine] = _between(self._level(file, halved), uv[mine], tile=self._is_tile[file])
        return found

    def _level(self, file: int, halved: int) -> np.ndarray:
        levels = self._levels[file]
        while len(levels) <= halved:
            levels.append(np.asarray(Image.fromarray(levels[-1]).reduce(2)))
        return levels[halved]

    def _wanted(self) -> Ints:
        """How often the texture of each triangle is halved: until its pixels are about as large as the painted ones."""
        sizes = np.array([levels[0].shape[1::-1] for levels in self._levels])[self._file]
        texels = (
            np.stack([self._uv[:, 1] - self._uv[:, 0], self._uv[:, 2] - self._uv[:, 0]], axis=2) * sizes[:, :, None]
        )
        steps = np.linalg.norm(texels @ self._inverse, ord=2, axis=(1, 2))
        smallest = np.log2(np.array([min(levels[0].shape[:2]) for levels in self._levels]))[self._file]
        halved = np.round(np.log2(np.maximum(steps, 1.0)))
        return np.asarray(np.minimum(halved, np.minimum(smallest, _MOST_HALVED)), dtype=np.int64)

    def _margins(self) -> Array:
        """The least share of each corner, (t, 3) float: so far inside a place is at the rim."""
        sizes = np.array([levels[0].shape[1::-1] for levels in self._levels])[self._file] / 2.0 ** self._halved[:, None]
        texels = self._uv * sizes[:, None]
        sides = np.linalg.norm(np.roll(texels, -1, axis=1) - np.roll(texels, 1, axis=1), axis=2)
        first, second = texels[:, 1] - texels[:, 0], texels[:, 2] - texels[:, 0]
        doubled = np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0])
        heights = doubled[:, None] / np.maximum(sides, 1e-12)
        return np.asarray(np.minimum(_INSIDE / np.maximum(heights, 1e-12), 0.2))


def _inverses(corners: Array) -> Array:
    """What turns places from the first corner into shares of the other two, (t, 2, 2) float; 0 where flat as a line."""
    sides = np.stack([corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]], axis=2)
    determinants = np.linalg.det(sides)
    fine = np.abs(determinants) > 1e-12
    inverse = np.zeros_like(sides)
    inverse[fine] = np.linalg.inv(sides[fine])
    return inverse


def _premultiplied(file: str) -> np.ndarray:
    """The pixels of a texture, (h, w, 4) uint8, colours times alpha."""
    with Image.open(io.BytesIO(read_picture(file).data)) as image:
        pixels = np.array(image.convert("RGBA"))
    if pixels[..., 3].min() < 255:
        alpha = pixels[..., 3:].astype(np.uint16)
        pixels[..., :3] = (pixels[..., :3] * alpha + 127) // 255
    return pixels


def _between(pixels: np.ndarray, uv: Array, *, tile: bool) -> np.ndarray:
    """Colours between pixels, (n, 4) uint8, alpha no longer in the colours."""
    rows, columns = pixels.shape[:2]
    x, y = uv[:, 0] * columns - 0.5, (1.0 - uv[:, 1]) * rows - 0.5
    left, top = np.floor(x), np.floor(y)
    right_part, low_part = (x - left)[:, None], (y - top)[:, None]
    west, east = _counted(left, columns, tile), _counted(left + 1, columns, tile)
    north, south = _counted(top, rows, tile), _counted(top + 1, rows, tile)
    upper = pixels[north, west] * (1.0 - right_part) + pixels[north, east] * right_part
    lower = pixels[south, west] * (1.0 - right_part) + pixels[south, east] * right_part
    mixed = upper * (1.0 - low_part) + lower * low_part
    alpha = mixed[:, 3:]
    mixed[:, :3] *= 255.0 / np.maximum(alpha, 1e-9)
    return np.asarray(np.clip(np.round(mixed), 0, 255), dtype=np.uint8)


def _counted(numbers: Array, count: int, tile: bool) -> Ints:
    whole = numbers.astype(np.int64)
    return whole % count if tile else np.clip(whole, 0, count - 1)
