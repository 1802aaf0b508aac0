"""A mesh, its flat facets, and the nets that they are laid out as.

Three stages, each a frozen value: a `Mesh` as it comes from a file or from Blender, the `Facets` that it has once it is
repaired and its coplanar faces are joined, and the `Net`s, in each of which some facets lie flat beside each other.

Conventions: millimetres; a facet's ring runs counter-clockwise seen from outside, holes clockwise; the printed face
of the
card is the outside, and a net shows it. A net's coordinates are the plane of the net, x to the right, y up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..model import Color
from ..transforms import Array

__all__ = ["AVOID", "CUT", "FREE", "KEEP", "Facets", "Flags", "Ints", "Mesh", "MeshNote", "Net", "Surface", "Unfolded"]

Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]

#: What is asked for at an edge: nothing, to be cut, never to be cut, better not to be cut.
FREE = 0
CUT = 1
KEEP = 2
AVOID = 3


@dataclass(frozen=True)
class Surface:
    """What covers faces: a colour, or a picture that the UV coordinates look up.

    Parameters
    ----------
    name : of the material
    color : sRGB 0..1, or None for plain card
    texture : path of a picture, or None
    """

    name: str
    color: Color | None = None
    texture: str | None = None


@dataclass(frozen=True)
class Mesh:
    """A polygon mesh as it came, nothing repaired.

    Parameters
    ----------
    name : what a person calls it
    vertices : (v, 3) float, mm
    corners : (c,) int, vertex numbers of all faces one after the other
    starts : (f + 1,) int, where each face begins in corners; the last is c
    surface_of : (f,) int, number in surfaces, -1 for plain card; None where all is plain
    surfaces : what covers the faces
    uv : (c, 2) float, texture coordinates of each corner, v upwards; None where there are none
    marked : (m, 2) int, vertices of edges at which something is asked for
    marks : (m,) int, CUT, KEEP or AVOID
    notes : what a person should know about how it was read
    """

    name: str
    vertices: Array
    corners: Ints
    starts: Ints
    surface_of: Ints | None = None
    surfaces: Sequence[Surface] = ()
    uv: Array | None = None
    marked: Ints | None = None
    marks: Ints | None = None
    notes: Sequence[MeshNote] = ()

    @property
    def size_mm(self) -> float:
        """Diagonal of the box about all vertices that a face uses, mm; 0 without faces."""
        if not len(self.corners):
            return 0.0
        used = self.vertices[self.corners]
        return float(np.linalg.norm(used.max(axis=0) - used.min(axis=0)))

    def face(self, number: int) -> Ints:
        """Vertex numbers of one face, (k,) int."""
        return self.corners[self.starts[number] : self.starts[number + 1]]


@dataclass(frozen=True)
class MeshNote:
    """What was repaired, or what is wrong with a mesh.

    Parameters
    ----------
    code : e.g. welded, degenerate, non-manifold, crossing
    severity : "note" where it was put right, "warning" where the net may not be what is wanted
    text : one sentence for a person: what, how many, what was done
    place_mm : (3,) float, where it is, or None
    faces : numbers of the faces of the mesh that it is about
    """

    code: str
    severity: Literal["note", "warning"]
    text: str
    place_mm: Array | None = None
    faces: tuple[int, ...] = ()


@dataclass(frozen=True)
class Facets:
    """Flat facets that meet at straight edges.

    Every edge lies between two facets, or at the rim of one. What lies between the same two facets on one line is one
    edge. Facets that touch only in a vertex do not meet.

    Parameters
    ----------
    vertices : (v, 3) float, mm
    rings : of each facet its rings of vertex numbers, the outer one first, then holes; they do not repeat their first
        vertex
    frames : (f, 4, 4) float; each facet's own plane coordinates (x, y, 0) to space; z is its outward normal
    flat : of each facet its rings in its own plane, each (k, 2) float, mm
    triangles : (t, 3) int, vertex numbers; a triangulation of all facets without new vertices
    facet_of : (t,) int, the facet of each triangle
    edges : (e, 2) int, vertex numbers; as it runs in the ring of its first facet
    sides : (e, 2) int, the two facets; the second is -1 at a rim
    bends : (e,) float, radians; how far the card bends there from flat: above 0 a mountain, below 0 a valley seen from
        outside; 0 at a rim
    marks : (e,) int, FREE, CUT, KEEP or AVOID
    mesh : what they were made from
    source : of each facet the numbers of the faces of the mesh that it was joined from
    notes : what was repaired, and what is wrong
    """

    vertices: Array
    rings: tuple[tuple[Ints, ...], ...]
    frames: Array
    flat: tuple[tuple[Array, ...], ...]
    triangles: Ints
    facet_of: Ints
    edges: Ints
    sides: Ints
    bends: Array
    marks: Ints
    mesh: Mesh
    source: tuple[Ints, ...]
    notes: tuple[MeshNote, ...] = ()

    @property
    def size_mm(self) -> float:
        """Diagonal of the box about all vertices, mm."""
        used = self.vertices[self.triangles]
        return float(np.linalg.norm(used.max(axis=(0, 1)) - used.min(axis=(0, 1)))) if len(used) else 0.0

    @property
    def areas_mm2(self) -> Array:
        """Area of each facet, (f,) float, mm2."""
        a, b, c = np.moveaxis(self.vertices[self.triangles], 1, 0)
        each = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
        return np.asarray(np.bincount(self.facet_of, each, minlength=len(self.rings)), dtype=float)

    @property
    def lengths_mm(self) -> Array:
        """Length of each edge, (e,) float, mm."""
        start, end = np.moveaxis(self.vertices[self.edges], 1, 0)
        return np.asarray(np.linalg.norm(end - start, axis=1))


@dataclass(frozen=True)
class Net:
    """Facets that hang together, laid flat.

    Parameters
    ----------
    facets : (k,) int, numbers of its facets; the first is the one that the others hang on
    placed : (k, 2, 3) float; each facet's own plane coordinates to the net's: placed @ (x, y, 1). Turned and moved,
        never
        mirrored
    parents : (k,) int, position in facets of the one that each hangs on, which comes before it; -1 for the first
    folds : (k,) int, number of the edge at which each hangs; -1 for the first
    """

    facets: Ints
    placed: Array
    parents: Ints
    folds: Ints


@dataclass(frozen=True)
class Unfolded:
    """A mesh as nets.

    Parameters
    ----------
    facets : Facets
    nets : every facet is in exactly one of them
    cuts : (c,) int, edges with two facets that are in no net's folds
    notes : what a person should know about how it was cut
    """

    facets: Facets
    nets: tuple[Net, ...]
    cuts: Ints
    notes: tuple[MeshNote, ...] = ()
