"""Marching squares: the lines along which a grid of values crosses a level, between its points and in closed rings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..errors import HingeleafError
from ..transforms import Array

__all__ = ["level_rings"]

#: More crossings than this are grain, not a shape.
_MOST_CROSSINGS = 1_000_000
#: For each of the 16 cases of a cell, the sides where its lines begin and end, the inside on the left; a bit is set
#: where a corner is inside: 1 upper left, 2 upper right, 4 lower right, 8 lower left. Sides: 0 upper, 1 right, 2 lower,
#: 3 left. The two saddles (5 and 10) are parted, as if their middle were outside.
_LINES: dict[int, tuple[tuple[int, int], ...]] = {
    1: ((0, 3),), 2: ((1, 0),), 3: ((1, 3),), 4: ((2, 1),), 5: ((0, 3), (2, 1)), 6: ((2, 0),), 7: ((2, 3),),
    8: ((3, 2),), 9: ((0, 2),), 10: ((1, 0), (3, 2)), 11: ((1, 2),), 12: ((3, 1),), 13: ((0, 1),), 14: ((3, 0),),
}  # fmt: skip

Integers = NDArray[np.int64]


def level_rings(values: NDArray[np.floating] | NDArray[np.uint8], level: float) -> list[Array]:
    """Rings about all that is at or above a level.

    Parameters
    ----------
    values : (h, w), finite; beyond its border all is taken to be as far below the level as its points are above it
    level : float, above 0

    Returns
    -------
    list of (n, 2) float, in steps of the grid: x is the column, y the row, downwards; each ring runs round what is
    inside in one sense and round its holes in the other, and does not repeat its first point

    Raises
    ------
    HingeleafError
        There are more crossings than any shape has.

    Notes
    -----
    Source: marching squares (Lorensen and Cline 1987, in the plane), with linear interpolation; recalled.
    """
    inside = np.pad(np.asarray(values) >= level, 1)
    corners = inside.view(np.uint8)
    case = corners[:-1, :-1] | corners[:-1, 1:] << 1 | corners[1:, 1:] << 2 | corners[1:, :-1] << 3
    rows, columns = np.nonzero((case != 0) & (case != 15))
    if len(rows) > _MOST_CROSSINGS:
        raise HingeleafError(
            f"its edge crosses {len(rows):,} pixels: that is grain, not a shape; smooth it, or choose another threshold"
        )
    cases = case[rows, columns]
    starts, ends = [], []
    for number, lines in _LINES.items():
        at = np.flatnonzero(cases == number)
        for first, last in lines:
            starts.append(_sides(rows[at], columns[at], first, inside.shape))
            ends.append(_sides(rows[at], columns[at], last, inside.shape))
    if not len(rows):
        return []
    found, follow = _followed(np.concatenate(starts), np.concatenate(ends))
    places = _crossings(found, np.asarray(values), level, inside.shape)
    return [places[ring] for ring in _rings(follow)]


def _sides(rows: Integers, columns: Integers, side: int, shape: tuple[int, ...]) -> Integers:
    """Numbers of the grid's lines on one side of cells: those to the right first, then those downwards."""
    height, width = shape
    if side in (0, 2):
        return np.asarray((rows + (side == 2)) * width + columns)
    return np.asarray(height * width + rows * width + columns + (side == 1))


def _followed(starts: Integers, ends: Integers) -> tuple[Integers, Integers]:
    """Every crossed line of the grid once, and for each the number of the one that comes after it."""
    order = np.argsort(starts, kind="stable")
    found = starts[order]
    return found, np.searchsorted(found, ends[order])


def _crossings(numbers: Integers, values: NDArray[np.generic], level: float, shape: tuple[int, ...]) -> Array:
    """Where lines of the grid are crossed, (n, 2) float; the grid is padded by one."""
    height, width = shape
    down = numbers >= height * width
    rows, columns = np.divmod(numbers - np.where(down, height * width, 0), width)
    one, two = (_at(values, rows + step * down, columns + step * ~down, level) for step in (0, 1))
    one = np.where(np.isnan(one), 2 * level - two, one)
    two = np.where(np.isnan(two), 2 * level - one, two)
    share = (level - one) / (two - one)
    return np.column_stack([columns + share * ~down, rows + share * down]) - 1.0


def _at(values: NDArray[np.generic], rows: Integers, columns: Integers, level: float) -> Array:
    """Values of the grid at places of the padded one; NaN beyond its border."""
    height, width = values.shape
    beyond = (rows < 1) | (columns < 1) | (rows > height) | (columns > width)
    found = values[np.clip(rows - 1, 0, height - 1), np.clip(columns - 1, 0, width - 1)].astype(float)
    # A point that is exactly on the level is inside: by a hair, so that no line has two ends there.
    found = np.where(found == level, level + 1e-6, found)
    return np.where(beyond, np.nan, found)


def _rings(follow: Integers) -> list[Integers]:
    """The rings that a permutation runs through."""
    after: list[int] = follow.tolist()
    seen = bytearray(len(after))
    found = []
    for first in range(len(after)):
        if seen[first]:
            continue
        ring, place = [], first
        while not seen[place]:
            seen[place] = 1
            ring.append(place)
            place = after[place]
        found.append(np.array(ring))
    return found
