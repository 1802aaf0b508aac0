"""Regions that are nearly flat made flat: their corners moved into their planes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..transforms import Array
from .data import Ints
from .faces import plane_axes

__all__ = ["furthest_off", "levelled", "region_frames"]

_ROUNDS = 150


def region_frames(vertices: Array, rings: Sequence[Sequence[Ints]]) -> Array:
    """Plane coordinates of regions: the origin is the mean of the outer corners, z the normal of all that they enclose.

    Parameters
    ----------
    vertices : (v, 3) float, mm
    rings : of each region its rings of vertex numbers, the outer one first and counter-clockwise from outside

    Returns
    -------
    (n, 4, 4) float, to space
    """
    corners, ahead, of = _corners(rings)
    firsts = vertices[[each[0][0] for each in rings]]
    moved = vertices[corners] - firsts[of]
    normals = _sums(np.cross(moved, vertices[ahead] - firsts[of]), of, len(rings))
    outer = np.concatenate([each[0] for each in rings])
    of_outer = np.repeat(np.arange(len(rings)), [len(each[0]) for each in rings])
    centres = _sums(vertices[outer] - firsts[of_outer], of_outer, len(rings))
    centres /= np.array([len(each[0]) for each in rings])[:, None]
    frames = np.zeros((len(rings), 4, 4))
    lengths = np.linalg.norm(normals, axis=1)
    normals[lengths == 0] = (0.0, 0.0, 1.0)
    z = normals / np.where(lengths == 0, 1.0, lengths)[:, None]
    frames[:, :3, 0], frames[:, :3, 1] = plane_axes(z)
    frames[:, :3, 2] = z
    frames[:, :3, 3] = firsts + centres
    frames[:, 3, 3] = 1.0
    return frames


def furthest_off(vertices: Array, rings: Sequence[Sequence[Ints]], frames: Array) -> Array:
    """How far the corners of each region lie from its plane at most, (n,) float, mm."""
    corners, _, of = _corners(rings)
    off = np.abs(np.einsum("ci,ci->c", vertices[corners] - frames[of, :3, 3], frames[of, :3, 2]))
    result = np.zeros(len(rings))
    np.maximum.at(result, of, off)
    return result


def _corners(rings: Sequence[Sequence[Ints]]) -> tuple[Ints, Ints, Ints]:
    """All corners, the corner after each in its ring, and the region of each."""
    every = [ring for each in rings for ring in each]
    sizes = np.array([len(ring) for ring in every])
    corners = np.concatenate(every)
    after = np.arange(1, len(corners) + 1)
    ends = np.cumsum(sizes)
    after[ends - 1] = ends - sizes
    of = np.repeat(np.repeat(np.arange(len(rings)), [len(each) for each in rings]), sizes)
    return corners, corners[after], of


def _sums(values: NDArray[np.floating[Any]], of: Ints, count: int) -> Array:
    sums = [np.bincount(of, values[:, axis], minlength=count) for axis in range(3)]
    return np.asarray(np.stack(sums, axis=1), dtype=float)


def levelled(vertices: Array, rings: Sequence[Sequence[Ints]], near_mm: float) -> Array:
    """Move corners until each region's corners lie in one plane, or as nearly as they come.

    Parameters
    ----------
    vertices : (v, 3) float, mm
    rings : of each region its rings of vertex numbers
    near_mm : corners nearer to their planes are not moved further

    Returns
    -------
    (v, 3) float, mm

    Notes
    -----
    Source: Bouaziz, Deuss, Schwartzburg, Weise and Pauly 2012, "Shape-Up" (recalled): every region's corners are
    projected into their best plane, every corner goes to the mean of where its regions want it, and so on.
    """
    many = [each for each in rings if sum(len(ring) for ring in each) > 3]
    if not many:
        return vertices.copy()
    corners, _, of = _corners(many)
    result = vertices.copy()
    shares = np.maximum(np.bincount(corners, minlength=len(vertices)), 1)[:, None]
    for _ in range(_ROUNDS):
        frames = region_frames(result, many)
        off = np.einsum("ci,ci->c", result[corners] - frames[of, :3, 3], frames[of, :3, 2])
        if np.abs(off).max() <= near_mm:
            break
        result = result - _sums(off[:, None] * frames[of, :3, 2], corners, len(vertices)) / shares
    return result
