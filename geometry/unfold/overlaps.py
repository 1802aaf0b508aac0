"""Which triangles of a net overlap.

Two triangles overlap if no side of either parts them (separating axes, exact for convex outlines). A side parts them
even where they reach across it by a hair: 1e-10 of the smaller height of the two, which leaves less than 1e-9 of
either's area in common, or the rounding of places in a large net where that is more. So touching along edges and in
vertices is allowed, and anything that can be seen, or measured by an overlay, is not.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from ..transforms import Array
from .data import Ints
from .hinges import Places

__all__ = ["REACH", "ROUNDING", "apart", "boxes_of", "meet", "near_pairs", "overlapping_pairs"]

#: How far triangles may reach into each other, as a share of the smaller height of the two.
REACH = 1e-10

#: Rounding of a place in a net, as a share of its largest coordinate.
ROUNDING = 1e-13

_NEXT = np.array([1, 2, 0])


def boxes_of(corners: Places) -> tuple[Array, Array, Array, Array]:
    """Left, bottom, right and top of triangles, (n,) float each."""
    x, y = corners.real, corners.imag
    return x.min(axis=-1), y.min(axis=-1), x.max(axis=-1), y.max(axis=-1)


def apart(one: Places, other: Places, depth: Array) -> NDArray[np.bool_]:
    """Whether triangles have no area in common.

    Parameters
    ----------
    one, other : (n, 3) complex, counter-clockwise
    depth : (n,) float, how far they may reach into each other, mm

    Returns
    -------
    (n,) bool
    """
    near, far = np.concatenate([one, other]), np.concatenate([other, one])
    sides = near[:, _NEXT] - near
    sides /= np.abs(sides)
    # How far each corner of the other lies to the left of each side; the inside is to the left.
    inside = (np.conj(sides)[:, :, None] * (far[:, None, :] - near[:, :, None])).imag.max(axis=2)
    least = inside.min(axis=1)
    return np.asarray(np.minimum(least[: len(one)], least[len(one) :]) <= depth)


def near_pairs(corners: Places, group: Ints) -> tuple[Ints, Ints]:
    """Pairs of triangles of one group whose boxes meet, the smaller number first, in a fixed order.

    Parameters
    ----------
    corners : (t, 3) complex
    group : (t,) int, small numbers

    Returns
    -------
    (p,) int, (p,) int
    """
    left, bottom, right, top = boxes_of(corners)
    count = int(group.max(initial=-1)) + 1
    least, most = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(least, group, left)
    np.maximum.at(most, group, right)
    used = np.isfinite(least)
    # Side by side, so that groups do not meet; what they are moved by is not more exact than this, so boxes grow by it.
    widths = np.where(used, most, 0.0) - np.where(used, least, 0.0)
    spare = 1e-12 * (widths.sum() + 1.0) + 0.01 * widths.max(initial=0.0)
    move = np.concatenate([[0.0], np.cumsum(widths + 3 * spare)[:-1]]) - np.where(used, least, 0.0)
    hair = 1e-12 * (widths.sum() + 1.0)
    boxes = shapely.box(left + move[group] - hair, bottom, right + move[group] + hair, top)
    first, second = shapely.STRtree(boxes).query(boxes)
    keep = first < second
    first, second = first[keep], second[keep]
    order = np.lexsort((second, first))
    return first[order].astype(np.int64), second[order].astype(np.int64)


def overlapping_pairs(corners: Places, depths: Array, of: Ints, net: Ints) -> tuple[Ints, Ints]:
    """Pairs of facets that overlap within one net.

    Parameters
    ----------
    corners : (t, 3) complex, triangles as they lie
    depths : (t,) float, their smallest heights, mm
    of : (t,) int, the facet of each
    net : (f,) int, the net of each facet; facets of different nets do not overlap wherever they lie

    Returns
    -------
    (p,) int, (p,) int: facets, the smaller number first, each pair once
    """
    first, second = near_pairs(corners, net[of])
    keep = of[first] != of[second]
    first, second = first[keep], second[keep]
    limit = np.maximum(REACH * np.minimum(depths[first], depths[second]), ROUNDING * np.abs(corners).max(initial=0.0))
    hit = ~apart(corners[first], corners[second], limit)
    if not hit.any():
        none = np.zeros(0, dtype=np.int64)
        return none, none
    pairs = np.unique(np.sort(np.stack([of[first[hit]], of[second[hit]]], axis=1), axis=1), axis=0)
    return pairs[:, 0], pairs[:, 1]


def meet(one: Places, one_depths: Array, other: Places, other_depths: Array) -> bool:
    """Whether any of some triangles overlaps any of others.

    Parameters
    ----------
    one, other : (n, 3) and (m, 3) complex
    one_depths, other_depths : (n,) and (m,) float, their smallest heights, mm
    """
    first, second = shapely.STRtree(shapely.box(*boxes_of(other))).query(shapely.box(*boxes_of(one)))
    far = ROUNDING * max(float(np.abs(one).max(initial=0.0)), float(np.abs(other).max(initial=0.0)))
    limit = np.maximum(REACH * np.minimum(one_depths[first], other_depths[second]), far)
    return not bool(apart(one[first], other[second], limit).all())
