"""Which way out is: bodies that are closed turned outwards, hollows in them inwards."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..transforms import Array
from .data import Flags, Ints
from .pairing import half_edge_ends

__all__ = ["Bodies", "closed_bodies", "outward"]

#: Work that is not done, points times triangles, to find out what lies inside what.
_MOST_ANGLES = 100_000_000


@dataclass(frozen=True)
class Bodies:
    """Closed bodies, and how they lie in each other.

    Parameters
    ----------
    turned : (t,) bool, triangles to be turned over
    hollows : bodies that face inwards because they are a hollow in another one
    inside : other bodies that lie in another one
    """

    turned: Flags
    hollows: Ints
    inside: Ints


def closed_bodies(corners: Ints, twins: Ints, bodies: Ints) -> Flags:
    """Which bodies have no rim, (t,) bool by label; rims that run along each other both ways do not count.

    Parameters
    ----------
    corners : (t, 3) int
    twins : (3 t,) int
    bodies : (t,) int, the label of each triangle's body
    """
    count = len(corners)
    result = np.zeros(count, dtype=bool)
    result[bodies] = True
    start, end = half_edge_ends(corners)
    rims = np.flatnonzero(twins < 0)
    if not len(rims):
        return result
    of = bodies[rims // 3]
    low, high = np.minimum(start[rims], end[rims]), np.maximum(start[rims], end[rims])
    order = np.lexsort((high, low, of))
    table = np.stack([of, low, high], axis=1)[order]
    group = np.concatenate([[0], np.cumsum((table[1:] != table[:-1]).any(axis=1))])
    sums = np.bincount(group, np.where(start[rims] < end[rims], 1, -1)[order])
    result[of[order][sums[group] != 0]] = False
    return result


def outward(vertices: Array, corners: Ints, twins: Ints, bodies: Ints) -> Bodies:
    """Which triangles to turn over so that closed bodies run counter-clockwise seen from outside.

    A body inside another one that faces inwards already is a hollow and stays so.

    Parameters
    ----------
    vertices : (v, 3) float, mm
    corners : (t, 3) int
    twins : (3 t,) int
    bodies : (t,) int, the label of each triangle's body
    """
    count = len(corners)
    closed = closed_bodies(corners, twins, bodies)
    moved = vertices[corners] - vertices[corners].mean(axis=(0, 1))
    a, b, c = np.moveaxis(moved, 1, 0)
    volumes = np.bincount(bodies, np.einsum("ti,ti->t", a, np.cross(b, c)) / 6, minlength=count)
    labels = np.flatnonzero(closed)
    depth = _depths(vertices, corners, bodies, labels)
    hollows = labels[(depth % 2 == 1) & (volumes[labels] < 0)]
    wrong = closed & (volumes < 0)
    wrong[hollows] = False
    return Bodies(wrong[bodies], hollows, np.setdiff1d(labels[depth > 0], hollows))


def _depths(vertices: Array, corners: Ints, bodies: Ints, labels: Ints) -> Ints:
    """In how many others each closed body lies, (k,) int."""
    depth = np.zeros(len(labels), dtype=np.int64)
    if len(labels) < 2:
        return depth
    order = np.argsort(bodies, kind="stable")
    begins = np.searchsorted(bodies[order], labels)
    ends = np.searchsorted(bodies[order], labels, side="right")
    parts = [order[begin:end] for begin, end in zip(begins, ends, strict=True)]
    boxes = np.array(
        [(vertices[corners[part]].min(axis=(0, 1)), vertices[corners[part]].max(axis=(0, 1))) for part in parts]
    )
    points = vertices[corners[labels]].mean(axis=1)
    work = 0
    for number, part in enumerate(parts):
        low, high = boxes[number]
        within = np.flatnonzero(((boxes[:, 0] >= low) & (boxes[:, 1] <= high)).all(axis=1))
        within = within[within != number]
        work += len(within) * len(part)
        if work > _MOST_ANGLES:
            return depth
        for each in within:
            depth[each] += abs(_winding(points[each], vertices[corners[part]])) > 0.5
    return depth


def _winding(point: Array, triangles: Array) -> float:
    """How many times triangles go round a point.

    Notes
    -----
    Source: solid angle of a triangle, van Oosterom and Strackee 1983 (recalled).
    """
    a, b, c = np.moveaxis(triangles - point, 1, 0)
    la, lb, lc = (np.linalg.norm(each, axis=1) for each in (a, b, c))
    above = np.einsum("ti,ti->t", a, np.cross(b, c))
    below = (
        la * lb * lc
        + np.einsum("ti,ti->t", a, b) * lc
        + np.einsum("ti,ti->t", b, c) * la
        + np.einsum("ti,ti->t", c, a) * lb
    )
    return float(np.arctan2(above, below).sum() / (2 * np.pi))
