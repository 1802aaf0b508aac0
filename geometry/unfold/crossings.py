"""Facets that pass through each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from ..transforms import Array
from .data import Facets, Flags, Ints, MeshNote
from .wording import counted

__all__ = ["crossing_notes", "crossing_triangles"]

#: With more triangles crossings are not looked for.
_MOST_TRIANGLES = 200_000
_AT_ONCE = 1_000_000


def crossing_notes(facets: Facets, near_mm: float) -> list[MeshNote]:
    """A warning if facets pass through each other, with the faces of the mesh that they come from.

    Parameters
    ----------
    facets : Facets
    near_mm : how far rounding may move a vertex
    """
    if len(facets.triangles) > _MOST_TRIANGLES:
        text = f"With {len(facets.triangles)} triangles the mesh is too large to look for faces that cross each other."
        return [MeshNote("not-looked", "note", text)]
    pairs, places = crossing_triangles(facets.vertices, facets.triangles, facets.facet_of, near_mm)
    if not len(pairs):
        return []
    owners = np.unique(np.sort(facets.facet_of[pairs], axis=1), axis=0)
    faces = np.unique(np.concatenate([facets.source[facet] for facet in np.unique(owners).tolist()]))
    text = (
        f"{counted(len(owners), 'pair')} of facets pass through each other, first near "
        f"{', '.join(f'{value:.1f}' for value in places[0].tolist())} mm; the folded card cannot do that."
    )
    return [MeshNote("crossing", "warning", text, places[0], tuple(faces.tolist()))]


def crossing_triangles(vertices: Array, triangles: Ints, facet_of: Ints, near_mm: float) -> tuple[Ints, Array]:
    """Pairs of triangles of different facets of which an edge of one goes through the other.

    Triangles that touch, along an edge, in a corner or lying on each other, do not cross.

    Parameters
    ----------
    vertices : (v, 3) float, mm
    triangles : (t, 3) int
    facet_of : (t,) int
    near_mm : what goes no deeper touches

    Returns
    -------
    pairs : (k, 2) int, triangles
    places : (k, 3) float, where the first edge found goes through
    """
    first, second = _near(vertices, triangles, facet_of)
    inner = _inner_edges(triangles, facet_of)
    found = [_Hits.none()]
    for begin in range(0, len(first), _AT_ONCE):
        one, other = first[begin : begin + _AT_ONCE], second[begin : begin + _AT_ONCE]
        kept = _both_sides(vertices, triangles, one, other, near_mm)
        for a, b in ((one[kept], other[kept]), (other[kept], one[kept])):
            found += [_pierced(vertices, triangles, inner, a, b, corner, near_mm) for corner in range(3)]
    hits = _Hits.together(found)
    crossing = _through(hits)
    pairs, index = np.unique(hits.pairs[crossing], axis=0, return_index=True)
    return pairs, hits.places[crossing][index]


@dataclass(frozen=True)
class _Hits:
    """Edges that meet triangles.

    Parameters
    ----------
    pairs : (k, 2) int, triangles, the lesser first
    places : (k, 3) float, where
    ridges : (k, 4) int, ends of the edge and ends of the side of the triangle that it meets; -1 where it meets the
        inside
    sides : (k,) float, on which side of the edge the triangle lies that it meets in a side
    """

    pairs: Ints
    places: Array
    ridges: Ints
    sides: Array

    @classmethod
    def none(cls) -> _Hits:
        return cls(np.zeros((0, 2), np.int64), np.zeros((0, 3)), np.zeros((0, 4), np.int64), np.zeros(0))

    @classmethod
    def together(cls, parts: Sequence[_Hits]) -> _Hits:
        return cls(
            np.concatenate([part.pairs for part in parts]),
            np.concatenate([part.places for part in parts]),
            np.concatenate([part.ridges for part in parts]),
            np.concatenate([part.sides for part in parts]),
        )


def _through(hits: _Hits) -> Flags:
    """Which hits go through: inside a triangle, or through a ridge whose triangles lie on both sides of the edge."""
    inside = hits.ridges[:, 0] < 0
    if inside.all():
        return inside
    _, group = np.unique(hits.ridges, axis=0, return_inverse=True)
    group = group.reshape(-1)
    left = np.bincount(group, hits.sides > 0) > 0
    right = np.bincount(group, hits.sides < 0) > 0
    return np.asarray(inside | (left & right)[group])


def _turn() -> Array:
    """A turn about no particular axis, so that walls along the axes do not lie over each other."""
    x = np.array([0.36, 0.48, 0.8])
    y = np.cross(x, [0.8, 0.6, 0.0])
    y /= np.linalg.norm(y)
    return np.stack([x, y, np.cross(x, y)])


def _near(vertices: Array, triangles: Ints, facet_of: Ints) -> tuple[Ints, Ints]:
    """Pairs of triangles of different facets whose boxes meet; none if they are too many."""
    places = (vertices @ _turn().T)[triangles]
    low, high = places.min(axis=1), places.max(axis=1)
    boxes = shapely.box(low[:, 0], low[:, 1], high[:, 0], high[:, 1])
    tree = shapely.STRtree(boxes)
    first, second = tree.query(boxes)
    kept = first < second
    first, second = first[kept], second[kept]
    kept = (low[first, 2] <= high[second, 2]) & (low[second, 2] <= high[first, 2])
    kept &= facet_of[first] != facet_of[second]
    return first[kept], second[kept]


def _inner_edges(triangles: Ints, facet_of: Ints) -> Flags:
    """Which edges of triangles lie inside their facet, (t, 3) bool; edge i runs from corner i to the next."""
    start, end = triangles.reshape(-1), np.roll(triangles, -1, axis=1).reshape(-1)
    keys = np.stack([np.repeat(facet_of, 3), np.minimum(start, end), np.maximum(start, end)])
    order = np.lexsort(keys)
    same = (keys[:, order[1:]] == keys[:, order[:-1]]).all(axis=0)
    inner = np.zeros(len(start), dtype=bool)
    inner[order[1:][same]] = True
    inner[order[:-1][same]] = True
    return inner.reshape(-1, 3)


def _planes(corners: Array) -> Array:
    """Unit normals of triangles, (k, 3) float."""
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return np.asarray(normals / np.maximum(np.linalg.norm(normals, axis=1), np.finfo(float).tiny)[:, None])


def _heights(corners: Array, of: Array) -> Array:
    """Heights of the corners of one triangle over the plane of another, (k, 3) float."""
    return np.asarray(np.einsum("kci,ki->kc", of - corners[:, :1], _planes(corners)))


def _both_sides(vertices: Array, triangles: Ints, one: Ints, other: Ints, near_mm: float) -> Flags:
    """Which pairs each have corners on both sides of the other's plane."""
    a, b = vertices[triangles[one]], vertices[triangles[other]]
    over, under = _heights(a, b), _heights(b, a)
    return np.asarray(
        (over.max(axis=1) > near_mm)
        & (over.min(axis=1) < -near_mm)
        & (under.max(axis=1) > near_mm)
        & (under.min(axis=1) < -near_mm)
    )


def _pierced(
    vertices: Array, triangles: Ints, inner: Flags, piercing: Ints, pierced: Ints, corner: int, near_mm: float
) -> _Hits:
    """Where the edges from one corner of the first triangles meet the second ones."""
    after = (corner + 1) % 3
    a, b = vertices[triangles[piercing]], vertices[triangles[pierced]]
    heights = _heights(b, a)
    from_, to = heights[:, corner], heights[:, after]
    through = (np.minimum(from_, to) < -near_mm) & (np.maximum(from_, to) > near_mm)
    piercing, pierced, a, b = piercing[through], pierced[through], a[through], b[through]
    share = (from_ / np.where(through, from_ - to, 1.0))[through]
    edge = a[:, after] - a[:, corner]
    point = a[:, corner] + share[:, None] * edge
    normals = _planes(b)
    along = np.roll(b, -1, axis=1) - b
    along /= np.linalg.norm(along, axis=2)[:, :, None]
    inward = np.einsum("ksi,ksi->ks", np.cross(normals[:, None], along), point[:, None] - b)
    hit = (inward > -near_mm).all(axis=1)
    # a side that lies inside its facet is no side
    at_side = (inward <= near_mm) & ~inner[pierced]
    hit &= at_side.sum(axis=1) < 2
    side = np.argmax(at_side, axis=1)
    grazing = at_side.any(axis=1)
    rows = np.arange(len(side))
    ends = np.stack([triangles[piercing, corner], triangles[piercing, after]], axis=1)
    ridge = np.stack([triangles[pierced, side], triangles[pierced, (side + 1) % 3]], axis=1)
    low, high = np.sort(ridge, axis=1).T
    sides = np.einsum("ki,ki->k", np.cross(edge, vertices[high] - vertices[low]), b[rows, (side + 2) % 3] - point)
    # seen along the edge from its lesser end, so that both triangles that have it say the same
    sides = np.where(ends[:, 0] < ends[:, 1], sides, -sides)
    ridges = np.where(grazing[:, None], np.concatenate([np.sort(ends, axis=1), np.sort(ridge, axis=1)], axis=1), -1)
    pairs = np.sort(np.stack([piercing, pierced], axis=1), axis=1)
    return _Hits(pairs[hit], point[hit], ridges[hit], np.where(grazing, sides, 0.0)[hit])
