"""The facets as flat pieces that can hang on each other: how each is laid beside its neighbour.

A place in a plane is one complex number here, x + iy, and a placement is two: z becomes turn * z + shift, with a turn
of length 1. So nothing is ever mirrored, and placements of thousands of facets are chained in a few numpy operations.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..transforms import Array
from .data import Facets, Ints

__all__ = ["Hinges", "Places", "hinges_of"]

#: Places in a plane, complex.
Places = NDArray[np.complex128]

#: A triangle that is flatter than this share of its longest side has no area to overlap with.
_THIN = 1e-10


@dataclass(frozen=True)
class Hinges:
    """Where facets can hang on each other.

    Parameters
    ----------
    count : number of facets
    edges : (m,) int, numbers of the edges that lie between two facets
    first, second : (m,) int, the two facets
    turns, shifts : (m,) complex; lays the second facet's plane beside the first in the first's plane
    lengths : (m,) float, mm
    corners : (t, 3) complex, counter-clockwise triangles of all facets in their own planes, those of a facet together
    starts : (f + 1,) int, where each facet's triangles begin
    depths : (t,) float, the smallest height of each triangle, mm
    of : (t,) int, the facet of each triangle
    """

    count: int
    edges: Ints
    first: Ints
    second: Ints
    turns: Places
    shifts: Places
    lengths: Array
    corners: Places
    starts: Ints
    depths: Array
    of: Ints


def hinges_of(facets: Facets) -> Hinges:
    """Lay every two neighbours beside each other.

    Parameters
    ----------
    facets : Facets

    Returns
    -------
    Hinges: the edges at a rim, without length, or with the same facet on both sides are none
    """
    lengths = facets.lengths_mm
    use = (facets.sides[:, 1] >= 0) & (facets.sides[:, 0] != facets.sides[:, 1]) & (lengths > 0)
    edges = np.nonzero(use)[0]
    ends, sides = facets.edges[edges], facets.sides[edges]
    near = _in_planes(facets, ends, np.repeat(sides[:, :1], 2, axis=1))
    far = _in_planes(facets, ends, np.repeat(sides[:, 1:], 2, axis=1))
    turns = (near[:, 1] - near[:, 0]) * np.conj(far[:, 1] - far[:, 0])
    turns /= np.abs(turns)
    shifts = near.mean(axis=1) - turns * far.mean(axis=1)
    corners, depths, of = _triangles(facets)
    starts = np.searchsorted(of, np.arange(len(facets.rings) + 1))
    return Hinges(
        len(facets.rings), edges, sides[:, 0], sides[:, 1], turns, shifts, lengths[edges], corners, starts, depths, of
    )


def _in_planes(facets: Facets, vertices: Ints, planes: Ints) -> Places:
    """Vertices in the planes of facets."""
    frames = facets.frames[planes]
    away = facets.vertices[vertices] - frames[..., :3, 3]
    return np.asarray((away * frames[..., :3, 0]).sum(axis=-1) + 1j * (away * frames[..., :3, 1]).sum(axis=-1))


def _triangles(facets: Facets) -> tuple[Places, Array, Ints]:
    """All triangles with an area in the planes of their facets, counter-clockwise, in the order of the facets."""
    order = np.argsort(facets.facet_of, kind="stable")
    of = facets.facet_of[order].astype(np.int64)
    corners = _in_planes(facets, facets.triangles[order], np.repeat(of[:, None], 3, axis=1))
    sides = np.roll(corners, -1, axis=1) - corners
    double = sides[:, 0].real * sides[:, 1].imag - sides[:, 0].imag * sides[:, 1].real
    longest = np.abs(sides).max(axis=1, initial=0.0)
    corners = np.where(double[:, None] < 0, corners[:, ::-1], corners)
    thick = np.abs(double) > _THIN * longest**2
    return corners[thick], np.abs(double[thick]) / longest[thick], of[thick]
