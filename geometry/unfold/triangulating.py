"""Polygons of a plane cut into triangles between their own corners."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from ..transforms import Array
from .data import Flags, Ints

__all__ = ["flat_polygons", "triangulated"]


def flat_polygons(flat: Sequence[Sequence[Array]]) -> NDArray[np.object_]:
    """Shapely polygons of rings: the outer one first, then holes.

    Parameters
    ----------
    flat : of each polygon its rings, each (k, 2) float

    Returns
    -------
    (n,) object
    """
    outer = [rings[0] for rings in flat]
    shells = _linear_rings(outer)
    holes = [ring for rings in flat for ring in rings[1:]]
    polygons = np.asarray(shapely.polygons(shells))
    if holes:
        of = np.array([number for number, rings in enumerate(flat) for _ in rings[1:]])
        hole_rings = _linear_rings(holes)
        for number in np.unique(of):
            polygons[number] = shapely.polygons(shells[number], hole_rings[of == number])
    return polygons


def _linear_rings(rings: Sequence[Array]) -> NDArray[np.object_]:
    of = np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])
    return np.asarray(shapely.linearrings(np.concatenate(rings), indices=of))


def triangulated(rings: Sequence[Sequence[Ints]], flat: Sequence[Sequence[Array]]) -> tuple[Ints, Ints, Flags]:
    """Constrained Delaunay triangles of polygons, without new corners.

    Parameters
    ----------
    rings : of each polygon its rings of vertex numbers, the outer one first and counter-clockwise, then holes
    flat : their places in a plane, each (k, 2) float

    Returns
    -------
    triangles : (t, 3) int, vertex numbers, counter-clockwise in the plane
    of : (t,) int, the polygon of each
    done : (n,) bool; False for a polygon that crosses itself, which then has no triangles
    """
    if not rings:
        return np.zeros((0, 3), dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros(0, dtype=bool)
    polygons = flat_polygons(flat)
    done = shapely.is_valid(polygons)
    polygons[~done] = shapely.Polygon()
    pieces, within = shapely.get_parts(shapely.constrained_delaunay_triangles(polygons), return_index=True)
    places = shapely.get_coordinates(pieces).reshape(-1, 4, 2)[:, :3]
    known = np.concatenate([ring for each in flat for ring in each])
    numbers = np.concatenate([ring for each in rings for ring in each])
    of_known = np.repeat(np.arange(len(rings)), [sum(len(ring) for ring in each) for each in rings])
    triangles = _looked_up(known, of_known, numbers, places.reshape(-1, 2), np.repeat(within, 3)).reshape(-1, 3)
    (ax, ay), (bx, by), (cx, cy) = np.moveaxis(places, 0, -1)
    clockwise = (bx - ax) * (cy - ay) < (by - ay) * (cx - ax)
    triangles[clockwise] = triangles[clockwise][:, ::-1]
    ok = (triangles >= 0).all(axis=1)
    done = done & (np.bincount(within[~ok], minlength=len(rings)) == 0)
    kept = done[within]
    return triangles[kept], within[kept], done


def _looked_up(known: Array, of_known: Ints, numbers: Ints, places: Array, of: Ints) -> Ints:
    """Vertex numbers of places by their exact coordinates, (k,) int; -1 where there is none."""
    every = np.concatenate([known, places]) + 0.0
    polygon = np.concatenate([of_known, of])
    order = np.lexsort((every[:, 1], every[:, 0], polygon))
    new = np.ones(len(order), dtype=bool)
    new[1:] = (polygon[order][1:] != polygon[order][:-1]) | (every[order][1:] != every[order][:-1]).any(axis=1)
    group = np.empty(len(order), dtype=np.int64)
    group[order] = np.cumsum(new) - 1
    number_of = np.full(int(new.sum()), -1)
    number_of[group[: len(known)]] = numbers
    return np.asarray(number_of[group[len(known) :]])
