"""Panels as slabs of card: which corners, which faces, which material, which place on the artwork."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from shapely import Polygon, constrained_delaunay_triangles, get_coordinates
from shapely.geometry.polygon import orient

from .geometry.transforms import Array

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
    slots : (faces,) int; FRONT, BACK or EDGE
    uvs : (corners of all faces, 2) float
    """

    vertices: Array
    faces: tuple[tuple[int, ...], ...]
    slots: Array
    uvs: Array


def make_slab(outline: Polygon, box: ArtBox, caliper_mm: float) -> Slab:
    """Give a panel the thickness of its card.

    Parameters
    ----------
    outline : the panel with its holes, net coordinates, mm
    box : the piece's art box
    caliper_mm : thickness; the printed face is at z = 0, the back at z = -caliper

    Returns
    -------
    Slab
    """
    rings = _rings(outline)
    flat = np.concatenate(rings)
    count = len(flat)
    top = np.column_stack([flat, np.zeros(count)])
    bottom = np.column_stack([flat, np.full(count, -caliper_mm)])
    fronts = _front_faces(outline, flat)
    backs = [tuple(count + corner for corner in reversed(face)) for face in fronts]
    edges = _edge_faces([len(ring) for ring in rings], count)
    slots = np.repeat([FRONT, BACK, EDGE], [len(fronts), len(backs), len(edges)])
    front_uv = box.place(flat)
    both = np.concatenate([front_uv, box.place_on_back(flat)])
    one = np.concatenate([front_uv, front_uv])
    uvs = [both[list(face)] for face in (*fronts, *backs)] + [one[list(face)] for face in edges]
    return Slab(np.concatenate([top, bottom]), (*fronts, *backs, *edges), slots, np.concatenate(uvs))


def _rings(outline: Polygon) -> list[Array]:
    """The outline counter-clockwise, then its holes clockwise, each (n, 2) without the repeated end."""
    turned = orient(outline, 1.0)
    return [np.asarray(ring.coords, dtype=float)[:-1, :2] for ring in (turned.exterior, *turned.interiors)]


def _front_faces(outline: Polygon, flat: Array) -> list[tuple[int, ...]]:
    """One polygon where there is no hole, else triangles between all corners."""
    if not outline.interiors:
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
