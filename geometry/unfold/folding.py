"""Nets that fold up to the solid: where every facet is on the way."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..transforms import Array, rotation_about
from .data import Facets, Ints, Net, Unfolded
from .placing import net_bounds

__all__ = ["folded_poses", "laid_out"]

#: Between nets that lie beside each other, and between them and the solid.
_GAP_MM = 10.0


def folded_poses(unfolded: Unfolded, amounts: ArrayLike) -> tuple[Array, ...]:
    """Where every facet of every net is as the nets fold up.

    Parameters
    ----------
    unfolded : Unfolded
    amounts : (n,) float; 0 is the solid, 1 the flat nets, laid out to the right of where the solid stands

    Returns
    -------
    of each net (n, k, 4, 4) float, mm: from its net's coordinates to space, for each amount and each of its facets, in
    their order. Every crease turns evenly; the first facet travels straight from its place in the solid
    """
    shares = np.atleast_1d(np.asarray(amounts, dtype=float))
    return tuple(
        _poses(unfolded.facets, net, shares, shift)
        for net, shift in zip(unfolded.nets, laid_out(unfolded), strict=True)
    )


def laid_out(unfolded: Unfolded) -> Array:
    """How far each net is moved so that the nets lie in a row to the right of the solid, (n, 3) float, mm.

    Their feet lie in line with the nearest side of the solid, on the plane on which it stands.
    """
    used = unfolded.facets.vertices
    left, low, ground = float(used[:, 0].max()), float(used[:, 1].min()), float(used[:, 2].min())
    shifts = []
    for number in range(len(unfolded.nets)):
        west, south, east, _ = net_bounds(unfolded, number)
        shifts.append([left + _GAP_MM - west, low - south, ground])
        left += _GAP_MM + east - west
    return np.array(shifts).reshape(-1, 3)


def _poses(facets: Facets, net: Net, shares: Array, shift: Array) -> Array:
    placed = _in_space(net.placed)
    found = np.empty((len(shares), len(net.facets), 4, 4))
    found[:, 0] = _travelling(facets, net, placed[0], shares, shift)
    for level in _levels(net.parents)[1:]:
        turned = _turned(facets, net, level, shares)
        found[:, level] = found[:, net.parents[level]] @ turned
    # The solid as it is, not as many small turns add up to it.
    found[shares == 0.0] = facets.frames[net.facets] @ np.linalg.inv(placed)
    return found


def _in_space(placed: Array) -> Array:
    """Placements in the plane, (k, 2, 3) float, as (k, 4, 4)."""
    matrices = np.tile(np.eye(4), (len(placed), 1, 1))
    matrices[:, :2, :2], matrices[:, :2, 3] = placed[:, :, :2], placed[:, :, 2]
    return matrices


def _levels(parents: Ints) -> list[Ints]:
    """Positions of the facets by how many creases they are away from the first."""
    depths = np.zeros(len(parents), dtype=np.int64)
    for position, parent in enumerate(parents.tolist()):
        if parent >= 0:
            depths[position] = depths[parent] + 1
    return [np.flatnonzero(depths == depth) for depth in range(int(depths.max(initial=0)) + 1)]


def _turned(facets: Facets, net: Net, level: Ints, shares: Array) -> Array:
    """What turns each facet of a level about its crease, in net coordinates, (n, m, 4, 4) float."""
    edges, mine = net.folds[level], net.facets[level]
    ends = facets.vertices[facets.edges[edges]]
    is_second = facets.sides[edges, 0] != mine
    ends[is_second] = ends[is_second][:, ::-1]
    frames, placed = facets.frames[mine], net.placed[level]
    flat = np.einsum("mei,mij->mej", ends - frames[:, None, :3, 3], frames[:, :3, :2])
    lines = np.einsum("mei,mji->mej", flat, placed[:, :, :2]) + placed[:, None, :, 2]
    along = lines[:, 1] - lines[:, 0]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    # The facet lies to the left: a mountain turns it downwards.
    angles = -np.outer(1.0 - shares, facets.bends[edges])
    sines, versines = np.sin(angles), 1.0 - np.cos(angles)
    zero = np.zeros(len(level))
    cross = np.moveaxis(
        np.array([[zero, zero, along[:, 1]], [zero, zero, -along[:, 0]], [-along[:, 1], along[:, 0], zero]]), 2, 0
    )
    turn = np.eye(3) + sines[..., None, None] * cross + versines[..., None, None] * (cross @ cross)
    start = np.column_stack([lines[:, 0], zero])
    matrices = np.zeros((*angles.shape, 4, 4))
    matrices[..., :3, :3], matrices[..., 3, 3] = turn, 1.0
    matrices[..., :3, 3] = start - np.einsum("nmij,mj->nmi", turn, start)
    return matrices


def _travelling(facets: Facets, net: Net, placed: Array, shares: Array, shift: Array) -> Array:
    """The first facet on its way from the solid to the flat net, (n, 4, 4) float."""
    solid = facets.frames[net.facets[0]] @ np.linalg.inv(placed)
    ring = facets.flat[int(net.facets[0])][0]
    middle = np.append(net.placed[0][:, :2] @ ring.mean(axis=0) + net.placed[0][:, 2], 0.0)
    axis, angle = _axis_and_angle(solid[:3, :3])
    turns = rotation_about(np.zeros(3), axis, angle * (1.0 - shares))
    begins, ends = solid[:3, :3] @ middle + solid[:3, 3], middle + shift
    places = np.outer(1.0 - shares, begins) + np.outer(shares, ends)
    turns[:, :3, 3] = places - turns[:, :3, :3] @ middle
    return turns


def _axis_and_angle(turn: Array) -> tuple[Array, float]:
    """The unit axis, (3,) float, and the angle, 0 to pi, of a rotation, (3, 3) float."""
    off = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    angle = float(np.arctan2(np.linalg.norm(off), np.trace(turn) - 1.0))
    if np.linalg.norm(off) > 1e-6:
        return off / np.linalg.norm(off), angle
    if angle < 1.0:
        return np.array([0.0, 0.0, 1.0]), angle
    # Half a turn: what it leaves in place.
    kept = (turn + np.eye(3)) / 2
    axis = kept[:, int(np.argmax(np.diag(kept)))]
    return np.asarray(axis / np.linalg.norm(axis)), angle
