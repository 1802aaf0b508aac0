"""A mesh put right: welded, without degenerate and double faces, cut into triangles that run the same way round."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ..errors import HingeleafError
from ..transforms import Array
from .bodies import Bodies, closed_bodies, outward
from .cleaning import faces_with_places, once, welded, whole_faces
from .data import CUT, FREE, KEEP, Ints, Mesh, MeshNote
from .faces import Polygons, split_faces
from .mesh_options import MeshOptions
from .needles import Edge, without_needles
from .pairing import Oriented, half_edge_ends, oriented, paired, turned_over
from .wording import counted

__all__ = ["Repaired", "area_vectors", "repaired"]

#: Coordinates of single precision are this near to what was meant, as a part of the largest: two roundings.
_SINGLE = 2.0**-22
#: And no further than this part of the size, so that a net folds back to where the mesh is.
_NEAREST = 4e-7


@dataclass(frozen=True)
class Repaired:
    """Triangles of a mesh that is put right.

    Parameters
    ----------
    mesh : as it came, scaled
    corners : (t, 3) int, vertices of the mesh, counter-clockwise seen from outside
    source : (t,) int, the face of the mesh
    twins : (3 t,) int, the half-edge on the other side of each, -1 at a rim
    marks : (3 t,) int, what is asked for at each half-edge
    rounding_mm : how far from a plane a vertex may lie by the rounding of its coordinates alone
    notes : what was done
    """

    mesh: Mesh
    corners: Ints
    source: Ints
    twins: Ints
    marks: Ints
    rounding_mm: float
    notes: tuple[MeshNote, ...]

    @property
    def vertices(self) -> Array:
        """(v, 3) float, mm, all vertices of the mesh."""
        return self.mesh.vertices


def area_vectors(vertices: Array, corners: Ints) -> Array:
    """Normals of triangles as long as their areas, (t, 3) float, mm2."""
    a, b, c = np.moveaxis(vertices[corners], 1, 0)
    return np.asarray(np.cross(b - a, c - a) / 2)


def repaired(mesh: Mesh, options: MeshOptions) -> Repaired:
    """Put a mesh right as far as that can be done, and say what was done.

    Parameters
    ----------
    mesh : Mesh
    options : MeshOptions

    Raises
    ------
    HingeleafError
        Nothing is left to unfold, or a height is asked for that the mesh cannot have.
    """
    faces, notes = faces_with_places(mesh)
    notes = [*mesh.notes, *notes]
    if not len(faces.source) or not len(faces.corners):
        raise HingeleafError(f"{mesh.name}: has no faces with corners in space; nothing can be unfolded")
    mesh = _scaled(mesh, faces, options)
    used = mesh.vertices[faces.corners]
    size = float(np.linalg.norm(np.ptp(used, axis=0)))
    rounding = min(_SINGLE * float(np.abs(used).max()), _NEAREST * size)
    same, more = welded(mesh.vertices, faces, 2 * rounding if options.weld_mm is None else options.weld_mm)
    notes += more
    faces, more = whole_faces(mesh.vertices, faces, same)
    notes += more
    faces, more = once(mesh.vertices, faces)
    notes += more
    soup, crossing = split_faces(mesh.vertices, faces)
    asked = _asked(mesh, same)
    soup, more = without_needles(mesh.vertices, soup, asked, 2 * rounding)
    if not len(soup.source):
        raise HingeleafError(f"{mesh.name}: none of its faces has an area; nothing can be unfolded")
    notes += _shape_notes(mesh, faces, np.intersect1d(crossing, soup.source), rounding) + more
    state, more = _consistent(mesh.vertices, soup.corners, soup.source)
    notes += more
    marks = _marks(state.corners, asked, len(mesh.vertices))
    return Repaired(mesh, state.corners, soup.source, state.twins, marks, rounding, tuple(notes))


def _scaled(mesh: Mesh, faces: Polygons, options: MeshOptions) -> Mesh:
    scale = options.scale
    if options.height_mm is not None:
        height = float(np.ptp(mesh.vertices[faces.corners][:, 2]))
        if not height > 0:
            raise HingeleafError(
                f"{mesh.name}: has no height along z, so it cannot be made {options.height_mm:g} mm high; give a scale"
            )
        scale = options.height_mm / height
    return mesh if scale == 1.0 else replace(mesh, vertices=mesh.vertices * scale)


def _shape_notes(mesh: Mesh, faces: Polygons, crossing: Ints, rounding: float) -> list[MeshNote]:
    """Which faces are not flat, and which cross themselves."""
    notes = []
    uneven = _uneven_faces(mesh.vertices, faces, rounding)
    if len(uneven):
        place = mesh.vertices[faces.corners[faces.starts[uneven[0]]]]
        text = f"{counted(len(uneven), 'face')} of more than three corners split into triangles: they are not flat."
        notes.append(MeshNote("not-flat", "note", text, place, tuple(faces.source[uneven].tolist())))
    if len(crossing):
        text = f"{counted(len(crossing), 'face')} with an outline that crosses itself, cut into a fan of triangles."
        place = mesh.vertices[mesh.face(int(crossing[0]))[0]]
        notes.append(MeshNote("twisted", "warning", text, place, tuple(crossing.tolist())))
    return notes


def _uneven_faces(vertices: Array, faces: Polygons, rounding: float) -> Ints:
    """Positions of faces whose corners do not lie in one plane."""
    sizes = np.diff(faces.starts)
    of = np.repeat(np.arange(len(sizes)), sizes)
    after = np.arange(1, len(faces.corners) + 1)
    after[faces.starts[1:] - 1] = faces.starts[:-1]
    places = vertices[faces.corners]
    centre = np.add.reduceat(places, faces.starts[:-1]) / sizes[:, None]
    moved = places - centre[of]
    normal = np.add.reduceat(np.cross(moved, moved[after]), faces.starts[:-1])
    normal /= np.maximum(np.linalg.norm(normal, axis=1), np.finfo(float).tiny)[:, None]
    off = np.maximum.reduceat(np.abs(np.einsum("ci,ci->c", moved, normal[of])), faces.starts[:-1])
    return np.flatnonzero((off > rounding) & (sizes > 3))


def _consistent(vertices: Array, corners: Ints, source: Ints) -> tuple[Oriented, list[MeshNote]]:
    """Triangles that run the same way round in each body, outwards where it is closed."""
    areas = np.linalg.norm(area_vectors(vertices, corners), axis=1)
    twins, crowded = paired(vertices, corners, None)
    state = oriented(corners, twins, areas)
    way = outward(vertices, state.corners, state.twins, state.bodies)
    state = turned_over(state, way.turned)
    turned = state.turned
    if len(crowded):
        closed = closed_bodies(state.corners, state.twins, state.bodies)
        parts = np.where(closed[state.bodies], state.bodies, -1)
        twins, crowded = paired(vertices, state.corners, parts)
        state = oriented(state.corners, twins, areas)
        way = outward(vertices, state.corners, state.twins, state.bodies)
        state = turned_over(state, way.turned)
        turned = turned ^ state.turned
    faces = np.unique(source[turned])
    return state, _way_notes(vertices, state, source, faces, crowded, way)


def _way_notes(
    vertices: Array, state: Oriented, source: Ints, turned: Ints, crowded: Ints, way: Bodies
) -> list[MeshNote]:
    notes = []
    if len(crowded):
        text = (
            f"{counted(len(crowded), 'edge')} with more than two faces: of these, those that belong together or bend "
            "least were joined, the rest end there."
        )
        notes.append(MeshNote("non-manifold", "warning", text, vertices[crowded[0]].mean(axis=0)))
    if len(turned):
        text = f"{counted(len(turned), 'face')} turned over: they ran the other way round than the rest, or inwards."
        place = vertices[state.corners[np.flatnonzero(source == turned[0])[0]]].mean(axis=0)
        notes.append(MeshNote("turned", "note", text, place, tuple(turned.tolist())))
    for code, labels, what, text in (
        ("one-sided", state.one_sided, ("body", "bodies"), "with one side only cut open along a line."),
        ("hollow", way.hollows, ("hollow", "hollows"), "inside closed bodies, left to face inwards."),
        ("inside", way.inside, ("closed body", "closed bodies"), "inside other ones, unfolded as well."),
    ):
        if len(labels):
            place = vertices[state.corners[labels[0]]].mean(axis=0)
            severity: Literal["note", "warning"] = "note" if code == "hollow" else "warning"
            notes.append(MeshNote(code, severity, f"{counted(len(labels), *what)} {text}", place))
    return notes


def _asked(mesh: Mesh, same: Ints) -> dict[Edge, int]:
    """What is asked for at edges of welded vertices; to cut goes before to keep, to keep before the rest."""
    asked: dict[Edge, int] = {}
    if mesh.marked is None or mesh.marks is None:
        return asked
    inside = ((mesh.marked >= 0) & (mesh.marked < len(same))).all(axis=1)
    ends = np.sort(same[mesh.marked[inside]], axis=1).tolist()
    order = {CUT: 2, KEEP: 1}
    for (low, high), mark in zip(ends, mesh.marks[inside].tolist(), strict=True):
        known = asked.get((low, high), FREE)
        if mark != FREE and (known == FREE or order.get(mark, 0) > order.get(known, 0)):
            asked[low, high] = mark
    return asked


def _marks(corners: Ints, asked: dict[Edge, int], count: int) -> Ints:
    """What is asked for at each half-edge, (3 t,) int."""
    start, end = half_edge_ends(corners)
    marks = np.full(len(start), FREE)
    if not asked:
        return marks
    ends = np.array(list(asked))
    keys = ends[:, 0] * count + ends[:, 1]
    order = np.argsort(keys)
    wanted = np.minimum(start, end) * count + np.maximum(start, end)
    at = np.minimum(np.searchsorted(keys, wanted, sorter=order), len(keys) - 1)
    found = keys[order][at] == wanted
    marks[found] = np.array(list(asked.values()))[order][at[found]]
    return marks
