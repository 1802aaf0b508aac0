"""Panels as slabs of card: which corners, which faces, which material, which place on the artwork."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Polygon, constrained_delaunay_triangles, get_coordinates
from shapely.geometry.polygon import orient

from .creasing import Crease
from .geometry.transforms import Array
from .paper_surface import CREASES, Marks, bends_at, edge_marks, edge_normals, face_marks, folded

__all__ = ["BACK", "EDGE", "FRONT", "ArtBox", "Slab", "make_slab"]

#: Material slots of every panel.
FRONT, BACK, EDGE = 0, 1, 2


@dataclass(frozen=True)
class ArtBox:
    """The rectangle of the net that a piece's artwork covers, mm."""

    left: float
    low: float
    right: float
    high: float

    def place(self, points_mm: Array) -> Array:
        """Where points of the net lie on the printed face's artwork, (n, 2) float, 0 to 1 from its lower left."""
        return np.asarray((points_mm - [self.left, self.low]) / [self.right - self.left, self.high - self.low])

    def place_on_back(self, points_mm: Array) -> Array:
        """The same on the back's artwork, which reads right from behind."""
        return np.asarray([1.0, 0.0] + self.place(points_mm) * [-1.0, 1.0])


@dataclass(frozen=True)
class Slab:
    """A panel as a solid, in its net coordinates.

    Parameters
    ----------
    vertices : (n, 3) float, mm; the printed face's corners first, then the back's in the same order
    faces : corners of each face, counter-clockwise seen from outside
    slots : (faces,) int; FRONT, BACK or EDGE. Along a crease, where nothing is cut, the side of the slab belongs to the
        face that comes to lie outside
    uvs : (corners of all faces, 2) float
    normals : (corners of all faces, 3) float, unit vectors; how light sees the faces
    marks : of the corners of all faces; what they know of creases
    """

    vertices: Array
    faces: tuple[tuple[int, ...], ...]
    slots: Array
    uvs: Array
    normals: Array
    marks: Marks


def make_slab(outline: Polygon, box: ArtBox, caliper_mm: float, creases: Sequence[Crease] = ()) -> Slab:
    """Give a panel the thickness of its card.

    Parameters
    ----------
    outline : the panel with its holes, net coordinates, mm
    box : the piece's art box
    caliper_mm : thickness; the printed face is at z = 0, the back at z = -caliper
    creases : the lines of its outline, or parts of them, that are bent and not cut

    Returns
    -------
    Slab
    """
    rings = _rings(outline)
    flat = np.concatenate(rings)
    count = len(flat)
    vertices = np.concatenate([np.column_stack([flat, np.full(count, height)]) for height in (0.0, -caliper_mm)])
    bends = [[bends_at(*side, creases) for side in zip(ring, np.roll(ring, -1, axis=0), strict=True)] for ring in rings]
    folds = [[folded(side) for side in ring] for ring in bends]
    sides = [fold for ring in folds for fold in ring]
    # A crease may take several sides that lie on one line.
    known = list({id(bend.crease): bend for ring in bends for side in ring for bend in side}.values())
    fronts = _front_faces(outline, flat, whole=len(known) <= CREASES)
    backs = [tuple(count + corner for corner in reversed(face)) for face in fronts]
    edges = _edge_faces([len(ring) for ring in rings], count)
    slots = [FRONT] * len(fronts) + [BACK] * len(backs) + [_slot(fold) for fold in sides]
    places = {FRONT: box.place(flat), BACK: box.place_on_back(flat), EDGE: box.place(flat)}
    faces = (*fronts, *backs, *edges)
    uvs = [places[slot][np.array(face) % count] for face, slot in zip(faces, slots, strict=True)]
    flats = [np.tile([0.0, 0.0, up], (sum(map(len, half)), 1)) for up, half in ((1.0, fronts), (-1.0, backs))]
    rounds = [edge_normals(ring, along).reshape(-1, 3) for ring, along in zip(rings, folds, strict=True)]
    marks = [face_marks(flat[list(face)], known, caliper_mm, back=False) for face in fronts]
    marks += [face_marks(flat[np.array(face) - count], known, caliper_mm, back=True) for face in backs]
    marks += [edge_marks(fold) for fold in sides]
    return Slab(
        vertices, faces, np.array(slots), np.concatenate(uvs), np.concatenate([*flats, *rounds]), Marks.joined(marks)
    )


def _slot(fold: Crease | None) -> int:
    """What the side of a slab shows: the white core, or at a crease the face that comes to lie outside."""
    if fold is None:
        return EDGE
    return FRONT if fold.mountain else BACK


def _rings(outline: Polygon) -> list[Array]:
    """The outline counter-clockwise, then its holes clockwise, each (n, 2) without the repeated end."""
    turned = orient(outline, 1.0)
    return [np.asarray(ring.coords, dtype=float)[:-1, :2] for ring in (turned.exterior, *turned.interiors)]


def _front_faces(outline: Polygon, flat: Array, *, whole: bool) -> list[tuple[int, ...]]:
    """One polygon if it may be one and there is no hole, else triangles between all corners."""
    if whole and not outline.interiors:
        return [tuple(range(len(flat)))]
    number = {(float(x), float(y)): corner for corner, (x, y) in enumerate(flat)}
    faces = []
    for triangle in constrained_delaunay_triangles(outline).geoms:
        first, second, third = corners = get_coordinates(triangle)[:3]
        (ax, ay), (bx, by) = second - first, third - first
        ordered = corners if ax * by > ay * bx else corners[::-1]
        faces.append(tuple(number[float(x), float(y)] for x, y in ordered))
    return faces


def _edge_faces(sizes: Iterable[int], count: int) -> list[tuple[int, ...]]:
    """The cut edges, one face a side of the outline or of a hole."""
    faces: list[tuple[int, ...]] = []
    start = 0
    for size in sizes:
        for corner in range(size):
            here, there = start + corner, start + (corner + 1) % size
            faces.append((here, count + here, count + there, there))
        start += size
    return faces
