"""What Blender's edges ask for: seams are cut, sharp edges are kept whole, and flagged ones are better not cut.

Sharp edges are also made by shading, by an angle and everywhere at once; such are no wish about cutting and left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .geometry.transforms import Array
from .geometry.unfold.data import AVOID, CUT, FREE, KEEP, Flags, Ints, MeshNote

__all__ = ["AVOIDED", "Marked", "marks_of"]

#: Attribute of edges that are better not cut, as a flag.
AVOIDED = "hingeleaf_avoid"
#: Bends that differ by less are one, radians.
_SAME_RAD = 1e-3


@dataclass(frozen=True)
class Marked:
    """Edges at which something is asked for.

    Parameters
    ----------
    edges : (m, 2) int, vertices
    marks : (m,) int
    notes : what was left out, and why
    """

    edges: Ints
    marks: Ints
    notes: Sequence[MeshNote] = ()


def marks_of(mesh: Any, places: Array) -> Marked:
    """The marks of an evaluated mesh.

    Parameters
    ----------
    mesh : of Blender's
    places : (v, 3) float, its vertices in the world
    """
    count = len(mesh.edges)
    ends = np.empty(2 * count, dtype=np.int32)
    mesh.edges.foreach_get("vertices", ends)
    edges = ends.reshape(-1, 2).astype(np.int64)
    marks, notes = np.full(count, FREE), []
    marks[_avoided(mesh, count)] = AVOID
    kept = _flags(mesh.edges, "use_edge_sharp", count)
    if kept.any() and _is_shading(mesh, places, edges, kept):
        text = f"{mesh.name}: its sharp edges are those of shading by an angle, so they are no marks."
        notes.append(MeshNote("shading", "note", text))
    else:
        marks[kept] = KEEP
    marks[_flags(mesh.edges, "use_seam", count)] = CUT
    asked = np.flatnonzero(marks != FREE)
    return Marked(edges[asked], marks[asked], tuple(notes))


def _flags(items: Any, name: str, count: int) -> Flags:
    found = np.zeros(count, dtype=bool)
    items.foreach_get(name, found)
    return found


def _avoided(mesh: Any, count: int) -> Flags:
    found = mesh.attributes.get(AVOIDED)
    if found is None or found.domain != "EDGE" or found.data_type != "BOOLEAN" or len(found.data) != count:
        return np.zeros(count, dtype=bool)
    return _flags(found.data, "value", count)


def _is_shading(mesh: Any, places: Array, edges: Ints, sharp: Flags) -> bool:
    """Whether all edges that bend by more than some angle are sharp and no others, and they could not all be kept."""
    faces, bends = _neighbours(mesh, places, edges)
    between = faces[:, 1] >= 0
    if not (sharp & between).any():
        return False
    soft = bends[between & ~sharp]
    if len(soft) and bends[between & sharp].min() <= soft.max() + _SAME_RAD:
        return False
    return _has_loop(faces[between & sharp], len(mesh.polygons))


def _neighbours(mesh: Any, places: Array, edges: Ints) -> tuple[Ints, Array]:
    """Of each edge its two faces, (e, 2) int with -1 at a rim, and how far they bend, (e,) float."""
    count = len(mesh.loops)
    loops, totals, vertices = (np.empty(size, dtype=np.int32) for size in (count, len(mesh.polygons), count))
    mesh.loops.foreach_get("edge_index", loops)
    mesh.loops.foreach_get("vertex_index", vertices)
    mesh.polygons.foreach_get("loop_total", totals)
    of = np.repeat(np.arange(len(totals)), totals)
    starts = np.concatenate([[0], np.cumsum(totals)])
    after = np.arange(1, count + 1)
    after[starts[1:] - 1] = starts[:-1]
    normals = np.zeros((len(totals), 3))
    np.add.at(normals, of, np.cross(places[vertices], places[vertices[after]]))
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-300)[:, None]
    faces = np.full((len(edges), 2), -1)
    order = np.argsort(loops, kind="stable")
    first = np.append(True, np.diff(loops[order]) != 0)
    faces[loops[order][first], 0] = of[order][first]
    second = ~first
    faces[loops[order][second], 1] = of[order][second]
    cosine = np.einsum("ei,ei->e", normals[faces[:, 0]], normals[faces[:, 1]])
    return faces, np.where(faces[:, 1] >= 0, np.arccos(np.clip(cosine, -1.0, 1.0)), 0.0)


def _has_loop(pairs: Ints, count: int) -> bool:
    """Whether faces that hang together at some edges do so in a loop."""
    above = list(range(count))

    def top(face: int) -> int:
        while above[face] != face:
            above[face] = above[above[face]]
            face = above[face]
        return face

    for one, other in pairs.tolist():
        first, second = top(one), top(other)
        if first == second:
            return True
        above[first] = second
    return False
