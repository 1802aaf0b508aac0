"""Faces that cannot be unfolded left out: those without a place, without an area, or there twice."""

from __future__ import annotations

import numpy as np

from ..transforms import Array
from .data import Ints, Mesh, MeshNote
from .faces import Polygons
from .welding import welded_to
from .wording import counted

__all__ = ["faces_with_places", "once", "welded", "whole_faces"]

#: No card is as far away, mm; beyond it sums lose their digits.
_FURTHEST_MM = 1e12


def faces_with_places(mesh: Mesh) -> tuple[Polygons, list[MeshNote]]:
    """The faces all of whose corners are vertices with a place.

    Parameters
    ----------
    mesh : Mesh
    """
    count, sizes = len(mesh.vertices), np.diff(mesh.starts)
    of = np.repeat(np.arange(len(sizes)), sizes)
    named = (mesh.corners >= 0) & (mesh.corners < count)
    placed = np.asarray((np.abs(mesh.vertices) < _FURTHEST_MM).all(axis=1))
    there = placed[np.where(named, mesh.corners, 0)] if count else named
    unnamed = np.bincount(of[~named], minlength=len(sizes)) > 0
    unplaced = (np.bincount(of[named & ~there], minlength=len(sizes)) > 0) & ~unnamed
    notes = []
    for code, faces, why in (
        ("no-vertex", unnamed, "they name vertices that do not exist"),
        ("no-place", unplaced, "they have coordinates that are no numbers, or are much too large"),
    ):
        if faces.any():
            left = np.flatnonzero(faces).tolist()
            notes.append(MeshNote(code, "warning", f"{counted(len(left), 'face')} left out: {why}.", faces=tuple(left)))
    spare = count - len(np.unique(mesh.corners[named]))
    if spare:
        notes.append(MeshNote("unused", "note", f"{counted(spare, 'vertex', 'vertices')} left out: no face uses them."))
    kept = ~(unnamed | unplaced)
    starts = np.concatenate([[0], np.cumsum(sizes[kept])])
    return Polygons(mesh.corners[kept[of]], starts, np.flatnonzero(kept)), notes


def welded(vertices: Array, faces: Polygons, distance_mm: float) -> tuple[Ints, list[MeshNote]]:
    """For each vertex the one that it is one with; those that no face uses stay as they are.

    Parameters
    ----------
    vertices : (v, 3) float, mm
    faces : Polygons
    distance_mm : vertices no further apart are one
    """
    used = np.unique(faces.corners)
    same = np.arange(len(vertices))
    same[used] = used[welded_to(vertices[used], distance_mm)]
    moved = np.flatnonzero(same != np.arange(len(vertices)))
    if not len(moved):
        return same, []
    text = f"{counted(len(moved), 'vertex', 'vertices')} welded to others within {distance_mm:.2g} mm."
    return same, [MeshNote("welded", "note", text, vertices[moved[0]])]


def whole_faces(vertices: Array, faces: Polygons, same: Ints) -> tuple[Polygons, list[MeshNote]]:
    """Faces of welded vertices without corners that repeat the one before; those left with fewer than three are left
    out.

    Parameters
    ----------
    vertices : (v, 3) float, mm
    faces : Polygons
    same : (v,) int, the vertex that each is one with
    """
    corners = same[faces.corners]
    sizes = np.diff(faces.starts)
    of = np.repeat(np.arange(len(sizes)), sizes)
    before = np.arange(len(corners)) - 1
    before[faces.starts[:-1][sizes > 0]] = faces.starts[1:][sizes > 0] - 1
    kept = corners != corners[before]
    # a corner that is passed and at once gone back to, as a, b, a, has nothing on either side; leave it to the loops
    left = np.bincount(of[kept], minlength=len(sizes))
    whole = left >= 3
    kept &= whole[of]
    starts = np.concatenate([[0], np.cumsum(left[whole])])
    result = Polygons(corners[kept], starts, faces.source[whole])
    if whole.all():
        return result, []
    lost = np.flatnonzero(~whole)
    place = _first_place(vertices, faces, lost)
    text = f"{counted(len(lost), 'face')} left out: they have fewer than three corners in different places."
    return result, [MeshNote("degenerate", "note", text, place, tuple(faces.source[lost].tolist()))]


def _first_place(vertices: Array, faces: Polygons, lost: Ints) -> Array | None:
    begin, end = faces.starts[lost[0]], faces.starts[lost[0] + 1]
    return np.asarray(vertices[faces.corners[begin]]) if end > begin else None


def once(vertices: Array, faces: Polygons) -> tuple[Polygons, list[MeshNote]]:
    """Faces without those that have the same edges as an earlier one, whichever way round.

    Parameters
    ----------
    vertices : (v, 3) float, mm
    faces : Polygons
    """
    sizes = np.diff(faces.starts)
    after = np.arange(1, len(faces.corners) + 1)
    after[faces.starts[1:] - 1] = faces.starts[:-1]
    ahead = faces.corners[after]
    edges = np.minimum(faces.corners, ahead) * len(vertices) + np.maximum(faces.corners, ahead)
    of = np.repeat(np.arange(len(sizes)), sizes)
    edges = edges[np.lexsort((edges, of))]
    first = np.ones(len(sizes), dtype=bool)
    for size in np.unique(sizes).tolist():
        these = np.flatnonzero(sizes == size)
        table = edges[faces.starts[these][:, None] + np.arange(size)]
        order = np.lexsort(table.T[::-1])
        first[these[order[1:]]] = (table[order[1:]] != table[order[:-1]]).any(axis=1)
    if first.all():
        return faces, []
    lost = np.flatnonzero(~first)
    kept = first[of]
    starts = np.concatenate([[0], np.cumsum(sizes[first])])
    text = f"{counted(len(lost), 'face')} left out: there is another one in the same place."
    note = MeshNote("double", "note", text, _first_place(vertices, faces, lost), tuple(faces.source[lost].tolist()))
    return Polygons(faces.corners[kept], starts, faces.source[first]), [note]
