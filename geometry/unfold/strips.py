"""Strips beyond the outline of a net: to which of its sides what lies beyond it is nearest."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from ..transforms import Array
from .data import Ints

__all__ = ["following", "rim_strips"]

#: A corner's tip is no further away than this many widths of the strip; what is cut off is beyond any bleed there.
_MOST_MITRE = 1.5
#: So wide is a half-plane, in widths of the strip and lengths of a side.
_WIDE = 10.0
#: What strips have in common below this is rounding, mm2; normals nearer than this are parallel.
_LEAST_MM2, _SIDE_BY_SIDE = 1e-7, 1e-6


def rim_strips(rims: Array, kinds: Ints, width_mm: float) -> list[BaseGeometry]:
    """The strip beyond each side, up to its neighbours' at the corners.

    Parameters
    ----------
    rims : (n, 2, 2) float, mm; sides with the net to their left
    kinds : (n,) int; strips of one kind may lie on each other, those of two kinds part in the middle
    width_mm : how far they reach

    Returns
    -------
    an area for each side
    """
    along = rims[:, 1] - rims[:, 0]
    along /= np.linalg.norm(along, axis=1)[:, None]
    out = np.column_stack([along[:, 1], -along[:, 0]])
    tips = np.repeat(width_mm * out[:, None], 2, axis=1)
    for number, after in enumerate(following(rims)):
        if after >= 0 and _corner(along[number], along[after]) > np.pi + 1e-9:
            tip = out[number] + out[after]
            size = float(np.hypot(*tip))
            # At a spike both sides look away from each other, and the tip lies straight ahead.
            tip = along[number] if size < _SIDE_BY_SIDE else tip / size * min(2.0 / size, _MOST_MITRE)
            tip = tip * width_mm
            tips[number, 1] = tips[after, 0] = tip
    corners = np.stack([rims[:, 0], rims[:, 0] + tips[:, 0], rims[:, 1] + tips[:, 1], rims[:, 1]], axis=1)
    hulls = shapely.convex_hull(shapely.multipoints(corners.reshape(-1, 2), indices=np.repeat(np.arange(len(rims)), 4)))
    reach = shapely.buffer(shapely.linestrings(rims), width_mm)
    strips = np.array(shapely.intersection(hulls, reach), dtype=object)
    first, second = shapely.STRtree(strips).query(strips, predicate="intersects")
    opposed = kinds[first] != kinds[second]
    first, second = first[opposed], second[opposed]
    shared = np.array(shapely.intersection(strips[first], strips[second]), dtype=object)
    both = np.flatnonzero(shapely.area(shared) > _LEAST_MM2)
    kept: list[BaseGeometry] = list(strips)
    for at in both.tolist():
        one, other = int(first[at]), int(second[at])
        half = _nearer(rims[one], out[one], rims[other], out[other], width_mm)
        if half is not None:
            kept[one] = kept[one].difference(shared[at].difference(half))
    return kept


def following(sides: Array) -> list[int]:
    """Of each side the next one along the outline; -1 where there is none.

    Parameters
    ----------
    sides : (n, 2, 2) float, with the net to their left; where several begin in one point, what lies beyond the net is
        gone round
    """
    starting: dict[tuple[float, ...], list[int]] = {}
    for number, start in enumerate(sides[:, 0].tolist()):
        starting.setdefault(tuple(start), []).append(number)
    along = sides[:, 1] - sides[:, 0]
    found = []
    for number, end in enumerate(sides[:, 1].tolist()):
        choice: Sequence[int] = starting.get(tuple(end), ())
        if len(choice) > 1:
            choice = sorted(choice, key=lambda other: _corner(along[number], along[other]))
        found.append(choice[0] if choice else -1)
    return found


def _corner(before: Array, after: Array) -> float:
    """The angle beyond the net between two sides that follow each other, above 0 to a whole turn, radians."""
    back = np.arctan2(-before[1], -before[0])
    return float((np.arctan2(after[1], after[0]) - back) % (2 * np.pi)) or 2 * np.pi


def _nearer(own: Array, out: Array, other: Array, other_out: Array, width_mm: float) -> Polygon | None:
    """What is nearer to one side than to another that faces it; None where they lie side by side."""
    normal = other_out - out
    size = float(np.hypot(*normal))
    if size < _SIDE_BY_SIDE:
        return None
    normal /= size
    level = (float(other_out @ other[0]) - float(out @ own[0])) / size
    middle = own.mean(axis=0)
    foot = middle + (level - float(normal @ middle)) * normal
    reach = _WIDE * (width_mm + float(np.hypot(*(own[1] - own[0]))))
    side = reach * np.array([-normal[1], normal[0]])
    # Its own distance, out . (p - own), is at most that of the other where normal . p is at least the level.
    return Polygon([foot - side, foot + side, foot + side + 2 * reach * normal, foot - side + 2 * reach * normal])
