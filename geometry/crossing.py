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

__all__ = ["CLEARANCE_MM", "Crossings", "Index", "PanelEdges", "find_crossings", "pairs_apart", "panel_edges"]

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
    middles, halves : (n, 2) float, mm; the rectangle about each panel: its middle, half its width and height
    """

    names: tuple[str, ...]
    starts: Array
    ends: Array
    real: NDArray[np.bool_]
    middles: Array
    halves: Array


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
    names, edges, bounds = [], [], []
    drawn_in = shapely.buffer(np.array(list(outlines.values()), dtype=object), -CLEARANCE_MM, join_style="mitre")
    for name, shape in zip(outlines, drawn_in, strict=True):
        parts = parts_of(shape)
        rings = [shapely.get_coordinates(ring) for part in parts for ring in (part.exterior, *part.interiors)]
        if not rings:
            continue
        names.append(name)
        edges.append(np.concatenate([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings]))
        bounds.append(shape.bounds)
    width = max((len(item) for item in edges), default=1)
    starts, ends = np.zeros((len(names), width, 2)), np.zeros((len(names), width, 2))
    real = np.zeros((len(names), width), dtype=bool)
    for index, own in enumerate(edges):
        starts[index], ends[index] = own[0, 0], own[0, 0]
        starts[index, : len(own)], ends[index, : len(own)] = own[:, 0], own[:, 1]
        real[index, : len(own)] = True
    box = np.array(bounds).reshape(-1, 4)
    middles, halves = (box[:, :2] + box[:, 2:]) / 2, (box[:, 2:] - box[:, :2]) / 2
    return PanelEdges(tuple(names), starts, ends, real, middles, halves)


def pairs_apart(bodies: Sequence[str]) -> Index:
    """Pairs of panels that belong to different bodies, (k, 2) int; bodies names that of each panel."""
    names = np.asarray(bodies)
    first, second = np.triu_indices(len(names), 1)
    apart = names[first] != names[second]
    return np.stack([first[apart], second[apart]], axis=1)


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
    # One row a matrix entry, all poses in it, and last each plane's distance from the origin along its normal.
    rows = np.empty((17, matrices.shape[0] * matrices.shape[1]))
    rows[:16] = matrices.reshape(-1, 16).T
    rows[16] = rows[2] * rows[3] + rows[6] * rows[7] + rows[10] * rows[11]
    parts = _candidates(edges, matrices, rows, np.asarray(pairs, dtype=np.int64))
    found = [_narrow(edges, rows, part) for part in parts]
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


@dataclass(frozen=True)
class _Part:
    """Pairs at openings that may cross, k of them, with the distance of each one's points from the other's plane.

    Parameters
    ----------
    opening, one, two : (k,) int
    row_one, offset_one : (k, 2), (k,) float; distance of the first's point (x, y) from the second's plane
    row_two, offset_two : the same the other way round
    """

    opening: Index
    one: Index
    two: Index
    row_one: Array
    offset_one: Array
    row_two: Array
    offset_two: Array

    def only(self, keep: NDArray[np.bool_] | slice) -> _Part:
        """Some of them."""
        return _Part(*(getattr(self, name)[keep] for name in _Part.__dataclass_fields__))


def _candidates(edges: PanelEdges, matrices: Array, rows: Array, pairs: Index) -> Iterator[_Part]:
    """Pairs whose bounds overlap and that reach through each other's planes, in portions."""
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
        pose = opening * len(edges.names)
        row_one, offset_one = _plane_row(rows, pose + one, pose + two)
        keep = _reaches(edges, one, row_one, offset_one)
        opening, one, two, row_one, offset_one = opening[keep], one[keep], two[keep], row_one[keep], offset_one[keep]
        pose = opening * len(edges.names)
        row_two, offset_two = _plane_row(rows, pose + two, pose + one)
        part = _Part(opening, one, two, row_one, offset_one, row_two, offset_two)
        part = part.only(_reaches(edges, two, row_two, offset_two))
        size = max(1, _CHUNK // (4 * edges.starts.shape[1]))
        for first_row in range(0, len(part.opening), size):
            yield part.only(slice(first_row, first_row + size))


def _bounds(edges: PanelEdges, matrices: Array) -> tuple[Array, Array]:
    """Bounds of every panel at every opening, low and high, each (3, n, m) float, mm; those of its rectangle."""
    x, y = edges.middles.T
    middle = matrices[:, :, :3, 0] * x[:, None] + matrices[:, :, :3, 1] * y[:, None] + matrices[:, :, :3, 3]
    width, height = edges.halves.T
    half = np.abs(matrices[:, :, :3, 0]) * width[:, None] + np.abs(matrices[:, :, :3, 1]) * height[:, None]
    return (middle - half).transpose(2, 1, 0).copy(), (middle + half).transpose(2, 1, 0).copy()


def _along(direction: Array, rows: Array, at: Index) -> tuple[Array, Array]:
    """Coefficients of how far poses' points (x, y) lie along directions (3, k): (k, 2) and (k,)."""
    x, y, z = direction
    found = [x * rows[c].take(at) + y * rows[4 + c].take(at) + z * rows[8 + c].take(at) for c in (0, 1, 3)]
    return np.stack(found[:2], axis=1), found[2]


def _plane_row(rows: Array, own: Index, other: Index) -> tuple[Array, Array]:
    """Coefficients of the distance of own's points (x, y) from other's plane: (k, 2) and (k,)."""
    normal = np.stack([rows[c].take(other) for c in (2, 6, 10)])
    row, offset = _along(normal, rows, own)
    return row, offset - rows[16].take(other)


def _heights(points: Array, row: Array, offset: Array) -> Array:
    """Distances of points (k, c, 2) from k planes, (k, c) float, mm."""
    return np.asarray(points[..., 0] * row[:, :1] + points[..., 1] * row[:, 1:] + offset[:, None])


def _reaches(edges: PanelEdges, own: Index, row: Array, offset: Array) -> NDArray[np.bool_]:
    """Whether the rectangles about panels reach through planes."""
    middle, half = edges.middles[own], edges.halves[own]
    away = np.abs(middle[:, 0] * row[:, 0] + middle[:, 1] * row[:, 1] + offset)
    return np.asarray(away < np.abs(row[:, 0]) * half[:, 0] + np.abs(row[:, 1]) * half[:, 1])


def _narrow(edges: PanelEdges, rows: Array, part: _Part) -> Crossings:
    pose = part.opening * len(edges.names)
    first_normal = [rows[c].take(pose + part.one) for c in (2, 6, 10)]
    second_normal = [rows[c].take(pose + part.two) for c in (2, 6, 10)]
    line = np.stack(
        [first_normal[a] * second_normal[b] - first_normal[b] * second_normal[a] for a, b in ((1, 2), (2, 0), (0, 1))]
    )
    size = np.sqrt((line**2).sum(axis=0))
    keep = size > _PARALLEL
    part, line, pose = part.only(keep), line[:, keep] / size[keep], pose[keep]
    opening, one, two = part.opening, part.one, part.two
    first, reach_one = _stretches(edges, one, (part.row_one, part.offset_one), _along(line, rows, pose + one))
    second, reach_two = _stretches(edges, two, (part.row_two, part.offset_two), _along(line, rows, pose + two))
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
    direction = _along(line[:, hit], rows, pose[hit] + one[hit])
    place = _place(part.only(hit), direction, (low[hit] + high[hit]) / 2)
    return Crossings(opening[hit], one[hit], two[hit], depth, place)


def _stretches(
    edges: PanelEdges, own: Index, plane: tuple[Array, Array], line: tuple[Array, Array]
) -> tuple[Array, Array]:
    """Where the common line enters and leaves a panel, (k, 2c) float, sorted, padded with infinity; and its reach."""
    row, offset = plane
    starts, ends = edges.starts[own], edges.ends[own]
    at_start, at_end = _heights(starts, row, offset), _heights(ends, row, offset)
    item, edge = np.nonzero(((at_start >= 0) != (at_end >= 0)) & edges.real[own])
    before, after = at_start[item, edge], at_end[item, edge]
    share = (before / (before - after))[:, None]
    points = starts[item, edge] * (1 - share) + ends[item, edge] * share
    frame, base = line
    along = points[:, 0] * frame[item, 0] + points[:, 1] * frame[item, 1] + base[item]
    counts = np.bincount(item, minlength=len(own))
    most = int(counts.max(initial=0))
    place = np.full((len(own), most + most % 2), np.inf)
    place[item, np.arange(len(item)) - np.repeat(np.cumsum(counts) - counts, counts)] = along
    place.sort(axis=1)
    reach = np.minimum(at_start.max(axis=1), -at_start.min(axis=1))
    return place, reach


def _place(part: _Part, line: tuple[Array, Array], along: Array) -> Array:
    """A point of the common line in the first panel's net coordinates, (k, 2) float."""
    direction, base = line
    system = np.stack([part.row_one, direction], axis=1)
    right = np.stack([-part.offset_one, along - base], axis=1)
    return np.asarray(np.linalg.solve(system, right[..., None])[..., 0])
