"""Cross walls: two panels between two walls that stay parallel, as the ends of a box and the layers in it have them."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

import numpy as np
import shapely
from shapely import Polygon, affinity

from ..errors import HingeleafError, MechanismError
from ..outline import common_part, parts_of, polyline, single_polygon, without_repeats
from ..transforms import Array
from .windows import windows

__all__ = ["chevron", "free_edge", "halves", "placed"]


def chevron(distance_mm: float, widths: tuple[float, float]) -> tuple[float, float]:
    """How far the two panels of a cross wall are turned out of the straight line between their walls.

    Parameters
    ----------
    distance_mm : of the two walls
    widths : left and right, mm

    Returns
    -------
    left, right : float, radians, 0 where the wall is stretched flat. Where the widths cannot span the distance at all,
        those of the nearest triangle that there is
    """
    left, right = widths
    distance = max(distance_mm, 1e-9)
    found = []
    for own, other in ((left, right), (right, left)):
        cosine = (distance**2 + own**2 - other**2) / (2 * distance * own)
        found.append(math.acos(min(1.0, max(-1.0, cosine))))
    return found[0], found[1]


def free_edge(line: Any, key: str) -> Array:
    """Points of a free edge, (n, 2) float, mm; none where it was left out."""
    if line is None:
        return np.empty((0, 2))
    try:
        return polyline(line)
    except HingeleafError as error:
        raise MechanismError(str(error), key) from None


def halves(
    widths: tuple[float, float], height: float, edge: tuple[Any, str], holes: tuple[Iterable[Any], str]
) -> tuple[Polygon, Polygon]:
    """The two panels of a cross wall, x from its middle crease, y up from its foot.

    Parameters
    ----------
    widths : from the crease to the left and to the right wall, mm
    height : of its upright edges, mm
    edge : its upper edge from left to right, None where it is straight, and the key that gives it
    holes : windows, and their key

    Raises
    ------
    MechanismError
        The edge crosses something, or nothing is left of the crease.
    """
    left, right = widths
    lower = np.array([[-left, 0.0], [right, 0.0], [right, height]])
    ring = np.concatenate([lower, free_edge(*edge)[::-1], [[-left, height]]])
    try:
        outline = single_polygon(without_repeats(ring), "the outline of the cross wall")
    except HingeleafError as error:
        raise MechanismError(str(error), edge[1]) from None
    outline = windows(outline, *holes)
    low, bottom, high, top = outline.bounds
    found = []
    for start, end in ((low - 1.0, 0.0), (0.0, high + 1.0)):
        parts = parts_of(common_part(outline, shapely.box(start, bottom - 1.0, end, top + 1.0)))
        if len(parts) != 1:
            key = holes[1] if tuple(holes[0]) else edge[1]
            raise MechanismError("leaves a panel in several parts; both must hold together beside the crease", key)
        found.append(parts[0])
    return found[0], found[1]


def placed(outline: Polygon, sign: float, x_mm: float) -> Polygon:
    """An outline on the net: mirrored where the sign is -1, then moved along x."""
    return affinity.affine_transform(outline, [sign, 0.0, 0.0, 1.0, x_mm, 0.0])
