"""Vertices that are one though a mesh has them several times."""

from __future__ import annotations

import itertools

import numpy as np

from ..transforms import Array
from .components import components
from .data import Ints

__all__ = ["welded_to"]

_PRIMES = np.array([73856093, 19349663, 83492791], dtype=np.int64)


def welded_to(points: Array, distance_mm: float) -> Ints:
    """For each point the first one that it is one with.

    Parameters
    ----------
    points : (n, 3) float, mm, all finite
    distance_mm : points no further apart are one; 0 for those that are equal

    Returns
    -------
    (n,) int

    Notes
    -----
    Derived here: two points nearer than half a cell share a cell in one of eight grids, each moved by half a cell or
    not
    along each axis.
    """
    if not len(points):
        return np.zeros(0, dtype=np.int64)
    _, first, inverse = np.unique(points + 0.0, axis=0, return_index=True, return_inverse=True)
    inverse = inverse.reshape(-1)
    if distance_mm <= 0:
        return np.asarray(first[inverse])
    unique = points[first]
    links = [_links(unique, distance_mm, shift) for shift in itertools.product((0.0, 0.5), repeat=3)]
    pairs = np.concatenate(links)
    labels = components(len(unique), pairs[:, 0], pairs[:, 1])
    least = np.full(len(unique), len(points))
    np.minimum.at(least, labels, first)
    return np.asarray(least[labels][inverse])


def _links(points: Array, distance_mm: float, shift: tuple[float, ...]) -> Ints:
    """Pairs of near points that lie in one cell of a grid, (k, 2) int."""
    cells = np.floor((points - points.min(axis=0)) / (2 * distance_mm) + shift)
    keys = (np.mod(cells, 2.0**40).astype(np.int64) * _PRIMES).sum(axis=1)
    order = np.argsort(keys, kind="stable")
    same = keys[order][1:] == keys[order][:-1]
    if not same.any():
        return np.zeros((0, 2), dtype=np.int64)
    begins = np.maximum.accumulate(np.where(np.concatenate([[True], ~same]), np.arange(len(order)), 0))
    after = np.flatnonzero(same) + 1
    pairs = np.concatenate(
        [np.stack([order[after - 1], order[after]], 1), np.stack([order[begins[after]], order[after]], 1)]
    )
    apart = np.linalg.norm(points[pairs[:, 0]] - points[pairs[:, 1]], axis=1)
    return np.asarray(pairs[apart <= distance_mm])
