"""Facets where they lie in their nets."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..transforms import Array
from .data import Facets, Ints, Net, Unfolded
from .hinges import Places
from .limits import Limits, hull_of

__all__ = ["matrices", "net_bounds", "net_of", "placed_rings"]


_ANY = Limits()


def placed_rings(unfolded: Unfolded, net_number: int) -> list[list[Array]]:
    """Outlines of the facets of a net as they lie in it.

    Parameters
    ----------
    unfolded : Unfolded
    net_number : of the net

    Returns
    -------
    for each facet of the net, in its order, its rings, outer one first, each (k, 2) float, mm
    """
    net = unfolded.nets[net_number]
    return [
        [ring @ placed[:, :2].T + placed[:, 2] for ring in unfolded.facets.flat[facet]]
        for facet, placed in zip(net.facets.tolist(), net.placed, strict=True)
    ]


def net_bounds(unfolded: Unfolded, net_number: int) -> tuple[float, float, float, float]:
    """Left, bottom, right and top of a net, mm."""
    corners = np.concatenate([rings[0] for rings in placed_rings(unfolded, net_number)])
    left, bottom = corners.min(axis=0).tolist()
    right, top = corners.max(axis=0).tolist()
    return left, bottom, right, top


def net_of(
    facets: Facets,
    order: Sequence[int],
    parents: Ints,
    folds: Ints,
    turns: Places,
    shifts: Places,
    limits: Limits = _ANY,
) -> Net:
    """A net from facets in an order in which each comes after the one that it hangs on.

    Parameters
    ----------
    facets : Facets
    order : numbers of the facets of the net
    parents : (f,) int, facet that each facet hangs on
    folds : (f,) int, edge at which it hangs
    turns, shifts : (f,) complex; each facet's own plane to one of the net's
    limits : the room that the net is turned to fit in, or else its smallest box lies across

    Returns
    -------
    Net. Its coordinates lie between a power of two, mm, and twice that: all are rounded to the same step then, and an
    overlay of neighbouring facets finds their common corners where numbers of many sizes, near 0, can lead it astray
    """
    index = np.asarray(order, dtype=np.int64)
    turn, shift = turns[index], shifts[index]
    outer = [facets.flat[facet][0] for facet in order]
    counts = [len(ring) for ring in outer]
    flat = np.concatenate(outer)
    corners = np.repeat(turn, counts) * (flat[:, 0] + 1j * flat[:, 1]) + np.repeat(shift, counts)
    hull = hull_of(corners)
    level = limits.turn_for(hull)
    hull, turn, shift = hull * level, turn * level, shift * level
    least = complex(hull.real.min(), hull.imag.min())
    size = max(float(np.ptp(hull.real)), float(np.ptp(hull.imag)))
    base = 2.0 ** np.ceil(np.log2(1.001 * size)) if size > 0 else 1.0
    shift = shift - least + base * (1 + 1j) * 1.0001
    position = {facet: number for number, facet in enumerate(order)}
    above = [position.get(int(parents[facet]), -1) for facet in order]
    return Net(index, matrices(turn, shift), np.array(above, dtype=np.int64), folds[index])


def matrices(turns: Places, shifts: Places) -> Array:
    """Placements as matrices, (n, 2, 3) float."""
    rows = [[turns.real, -turns.imag, shifts.real], [turns.imag, turns.real, shifts.imag]]
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=1)
