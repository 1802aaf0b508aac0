"""Which panels pass through each other: flat polygons in space, many pairs and many openings at once.

Outlines are drawn in by CLEARANCE_MM first, so that panels which meet along a hinge, or stand on each other, do not
count. Two drawn-in panels cross where the line in which their planes meet runs inside both.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from .outline import parts_of
from .transforms import Array

__all__ = ["CLEARANCE_MM", "Crossings", "PanelEdges", "find_crossings", "panel_edges"]

#: Panels are drawn in by this much before they are tried against each other: a tenth of a common card's caliper.
CLEARANCE_MM = 0.03
#: Planes that meet at a smaller sine than this are parallel; card then lies on card.
_PARALLEL = 1e-9
#: At most so many numbers are held at once.
_CHUNK = 4_000_000

Index = NDArray[np.int64]


@dataclass(frozen=True)
class PanelEdges:
    """All panels' drawn-in outlines as edges, padded to the same number.

    Parameters
    ----------
    names : n panels
    starts, ends : (n, e, 2) float, mm, net coordinates; padding repeats the first edge's start
    real : (n, e) bool, False for padding
    hulls : (n, h, 2) float, mm; corners of the convex hulls, padded with repeats
    """

    names: tuple[str, ...]
    starts: Array
    ends: Array
    real: NDArray[np.bool_]
    hulls: Array


@dataclass(frozen=True)
class Crossings:
    """Panels found in each other.

    Parameters
    ----------
    opening, first, second : (k,) int; index of the opening and of the two panels
    depth : (k,) float, mm; how far one has gone through the other: the smaller of the length along which they
        cross and the least reach beyond the other's plane
    place : (k, 2) float, mm; the middle of the crossing, in the first panel's net coordinates
    """

    opening: Index
    first: Index
    second: Index
    depth: Array
    place: Array


def panel_edges(outlines: Mapping[str, Polygon]) -> PanelEdges:
    """Prepare panels for find_crossings.

    Parameters
    ----------
    outlines : by panel name, net coordinates, mm; panels that vanish when drawn in are left out
    """
    names, edges, hulls = [], [], []
    for name, outline in outlines.items():
        drawn_in = parts_of(outline.buffer(-CLEARANCE_MM, join_style="mitre"))
        rings = [np.asarray(ring.coords) for part in drawn_in for ring in (part.exterior, *part.interiors)]
        if not rings:
            continue
        names.append(name)
        edges.append(np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings]))
        hulls.append(shapely.get_coordinates(shapely.MultiPolygon(drawn_in).convex_hull)[:-1])
    width = max((len(item) for item in edges), default=1)
    starts, ends = np.zeros((len(names), width, 2)), np.zeros((len(names), width, 2))
    real = np.zeros((len(names), width), dtype=bool)
    corners = np.zeros((len(names), max((len(item) for item in hulls), default=1), 2))
    for index, (own, hull) in enumerate(zip(edges, hulls, strict=True)):
        starts[index], ends[index] = own[0, 0], own[0, 0]
        starts[index, : len(own)], ends[index, : len(own)] = own[:, 0], own[:, 1]
        real[index, : len(own)] = True
        corners[index] = hull[0]
        corners[index, : len(hull)] = hull
    return PanelEdges(tuple(names), starts, ends, real, corners)


def find_crossings(edges: PanelEdges, matrices: Array, pairs: Sequence[tuple[int, int]] | Index) -> Crossings:
    """Try pairs of panels at every opening.

    Parameters
    ----------
    edges : n panels
    matrices : (m, n, 4, 4) float; poses at m openings, NaN where not reached
    pairs : (p, 2) int, indices of panels

    Returns
    -------
    Crossings

    Notes
    -----
    Source: derived here. Broad phase on the panels' bounds, swept over all openings and then at each; narrow
    phase on the line common to both planes: the stretches of it inside each outline, by the even-odd
    rule over all edges, holes included.
    """
    parts = _candidates(edges, matrices, np.asarray(pairs, dtype=np.int64))
    found = [_narrow(edges, matrices, part) for part in parts]
    if not found:
        none = np.zeros(0, dtype=np.int64)
        return Crossings(none, none, none, np.zeros(0), np.zeros((0, 2)))
    return Crossings(
        np.concatenate([item.opening for item in found]),
        np.concatenate([item.first for item in found]),
        np.concatenate([item.second for item in found]),
        np.concatenate([item.depth for item in found]),
        np.concatenate([item.place for item in found]),
    )


def _candidates(edges: PanelEdges, matrices: Array, pairs: Index) -> Iterator[tuple[Index, Index, Index]]:
    """(opening, first, second) whose bounds overlap and that reach through each other's planes, in portions."""
    if not len(pairs) or not len(matrices):
        return
    low, high = _bounds(edges, matrices)
    swept_low, swept_high = np.fmin.reduce(low, axis=2), np.fmax.reduce(high, axis=2)
    first, second = pairs[:, 0], pairs[:, 1]
    meet = (swept_low[:, first] < swept_high[:, second]) & (swept_low[:, second] < swept_high[:, first])
    pairs = pairs[meet.all(axis=0)]
    portion = max(1, _CHUNK // len(matrices))
    for begin in range(0, len(pairs), portion):
        first, second = pairs[begin : begin + portion].T
        near = np.ones((len(first), len(matrices)), dtype=bool)
        for axis in range(3):
            near &= (low[axis, first] < high[axis, second]) & (low[axis, second] < high[axis, first])
        pair, opening = np.nonzero(near)
        one, two = first[pair], second[pair]
        for own, other in ((0, 1), (1, 0)):
            both = (one, two)
            keep = _reaches(edges, matrices, opening, both[own], both[other])
            opening, one, two = opening[keep], one[keep], two[keep]
        size = max(1, _CHUNK // (4 * edges.starts.shape[1]))
        for start in range(0, len(opening), size):
            cut = slice(start, start + size)
            yield opening[cut], one[cut], two[cut]


def _bounds(edges: PanelEdges, matrices: Array) -> tuple[Array, Array]:
    """Bounds of every panel at every opening, low and high, each (3, n, m) float, mm."""
    low = np.empty((3, len(edges.names), len(matrices)))
    high = np.empty_like(low)
    portion = max(1, _CHUNK // (edges.hulls.size + 1))
    for begin in range(0, len(matrices), portion):
        part = matrices[begin : begin + portion]
        for axis in range(3):
            row = part[:, :, axis]
            corners = row[:, :, None, 0] * edges.hulls[:, :, 0] + row[:, :, None, 1] * edges.hulls[:, :, 1]
            corners += row[:, :, None, 3]
            low[axis, :, begin : begin + portion] = corners.min(axis=2).T
            high[axis, :, begin : begin + portion] = corners.max(axis=2).T
    return low, high


def _along(direction: Array, matrices: Array, opening: Index, own: Index) -> tuple[Array, Array]:
    """Coefficients of how far own's points (x, y) lie along a direction (k, 3): (k, 2) and (k,)."""
    mine = matrices.reshape(-1, 16).take(opening * matrices.shape[1] + own, axis=0)
    x, y, z = direction[:, 0], direction[:, 1], direction[:, 2]
    row = [x * mine[:, index] + y * mine[:, 4 + index] + z * mine[:, 8 + index] for index in (0, 1, 3)]
    return np.stack(row[:2], axis=1), row[2]


def _plane_row(matrices: Array, opening: Index, own: Index, other: Index) -> tuple[Array, Array]:
    """Coefficients of the distance of own's points (x, y) from other's plane: (k, 2) and (k,)."""
    its = matrices.reshape(-1, 16).take(opening * matrices.shape[1] + other, axis=0)
    row, offset = _along(its[:, 2:11:4], matrices, opening, own)
    return row, offset - (its[:, 2] * its[:, 3] + its[:, 6] * its[:, 7] + its[:, 10] * its[:, 11])


def _heights(points: Array, row: Array, offset: Array) -> Array:
    """Distances of points (k, c, 2) from k planes, (k, c) float, mm."""
    return np.asarray(points[..., 0] * row[:, :1] + points[..., 1] * row[:, 1:] + offset[:, None])


def _reaches(edges: PanelEdges, matrices: Array, opening: Index, own: Index, other: Index) -> NDArray[np.bool_]:
    row, offset = _plane_row(matrices, opening, own, other)
    distance = _heights(edges.hulls[own], row, offset)
    return np.asarray((distance.min(axis=1) < 0) & (distance.max(axis=1) > 0))


def _narrow(edges: PanelEdges, matrices: Array, part: tuple[Index, Index, Index]) -> Crossings:
    opening, one, two = part
    line = np.cross(matrices[opening, one, :3, 2], matrices[opening, two, :3, 2])
    size = np.sqrt((line**2).sum(axis=1))
    keep = size > _PARALLEL
    opening, one, two = opening[keep], one[keep], two[keep]
    line = line[keep] / size[keep, None]
    first, reach_one = _stretches(edges, matrices, opening, one, two, line)
    second, reach_two = _stretches(edges, matrices, opening, two, one, line)
    low, high, length = np.zeros(len(opening)), np.zeros(len(opening)), np.zeros(len(opening))
    for a in range(0, first.shape[1], 2):
        for b in range(0, second.shape[1], 2):
            start = np.maximum(first[:, a], second[:, b])
            end = np.minimum(first[:, a + 1], second[:, b + 1])
            both = np.isfinite(start) & np.isfinite(end)
            common = np.subtract(end, start, out=np.zeros(len(end)), where=both)
            longer = common > length
            low, high = np.where(longer, start, low), np.where(longer, end, high)
            length = np.where(longer, common, length)
    hit = length > 0
    depth = np.minimum(length, np.minimum(reach_one, reach_two))[hit]
    place = _place(matrices, opening[hit], one[hit], two[hit], line[hit], (low[hit] + high[hit]) / 2)
    return Crossings(opening[hit], one[hit], two[hit], depth, place)


def _stretches(
    edges: PanelEdges, matrices: Array, opening: Index, own: Index, other: Index, line: Array
) -> tuple[Array, Array]:
    """Where the common line enters and leaves a panel, (k, 2c) float, sorted, padded with infinity; and its reach."""
    row, offset = _plane_row(matrices, opening, own, other)
    starts, ends = edges.starts[own], edges.ends[own]
    at_start, at_end = _heights(starts, row, offset), _heights(ends, row, offset)
    crosses = ((at_start >= 0) != (at_end >= 0)) & edges.real[own]
    share = np.where(crosses, at_start / np.where(crosses, at_start - at_end, 1.0), 0.0)
    frame, base = _along(line, matrices, opening, own)
    from_start, to_end = _heights(starts, frame, base), _heights(ends, frame, base)
    place = np.where(crosses, from_start + share * (to_end - from_start), np.inf)
    most = int(crosses.sum(axis=1).max(initial=0))
    place = np.sort(place, axis=1)[:, : most + most % 2]
    reach = np.minimum(at_start.max(axis=1), -at_start.min(axis=1))
    return place, reach


def _place(matrices: Array, opening: Index, one: Index, two: Index, line: Array, along: Array) -> Array:
    """A point of the common line in the first panel's net coordinates, (k, 2) float."""
    row, offset = _plane_row(matrices, opening, one, two)
    direction, base = _along(line, matrices, opening, one)
    system = np.stack([row, direction], axis=1)
    return np.asarray(np.linalg.solve(system, np.stack([-offset, along - base], axis=1)[..., None])[..., 0])
