"""Which triangles meet at which edge, and which way round each must run.

A half-edge 3 t + i runs from corner i of triangle t to its next corner; its twin is the half-edge of the neighbour
there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..transforms import Array
from .components import components
from .data import Flags, Ints

__all__ = ["Oriented", "half_edge_ends", "oriented", "paired", "turned_over"]


def half_edge_ends(corners: Ints) -> tuple[Ints, Ints]:
    """Start and end vertices of all half-edges, each (3 t,) int."""
    return corners.reshape(-1), np.roll(corners, -1, axis=1).reshape(-1)


def paired(vertices: Array, corners: Ints, parts: Ints | None) -> tuple[Ints, Ints]:
    """Twin of each half-edge.

    Where more than two triangles meet, those of one closed part are paired, and of the others those that run against
    each
    other and bend least; what is left over is a rim.

    Parameters
    ----------
    vertices : (v, 3) float, mm
    corners : (t, 3) int
    parts : (t,) int, of each triangle the closed part that it belongs to, -1 for none; None to leave all rims there

    Returns
    -------
    twins : (3 t,) int, -1 at a rim
    crowded : (k, 2) int, the edges where more than two meet, vertex numbers
    """
    start, end = half_edge_ends(corners)
    low, high = np.minimum(start, end), np.maximum(start, end)
    keys = low * len(vertices) + high
    order = np.argsort(keys, kind="stable")
    _, begins, counts = np.unique(keys[order], return_index=True, return_counts=True)
    twins = np.full(len(keys), -1)
    two = begins[counts == 2]
    twins[order[two]] = order[two + 1]
    twins[order[two + 1]] = order[two]
    many = np.flatnonzero(counts > 2)
    if parts is not None:
        for begin, count in zip(begins[many].tolist(), counts[many].tolist(), strict=True):
            around = order[begin : begin + count]
            for one, other in _pairs_about(vertices, corners, around, start[around] == low[around], parts):
                twins[one], twins[other] = other, one
    firsts = order[begins[many]]
    return twins, np.stack([low[firsts], high[firsts]], axis=1)


def _pairs_about(vertices: Array, corners: Ints, around: Ints, forward: Flags, parts: Ints) -> list[tuple[int, int]]:
    """Pair the half-edges at one edge: those that run against each other, of one closed part, that bend least first."""
    triangle, position = np.divmod(around, 3)
    low = corners[triangle, np.where(forward, position, (position + 1) % 3)]
    high = corners[triangle, np.where(forward, (position + 1) % 3, position)]
    axis = vertices[high[0]] - vertices[low[0]]
    axis = axis / np.linalg.norm(axis)
    away = vertices[corners[triangle, (position + 2) % 3]] - vertices[low[0]]
    away -= (away @ axis)[:, None] * axis
    away /= np.maximum(np.linalg.norm(away, axis=1), np.finfo(float).tiny)[:, None]
    normals = np.where(forward, 1.0, -1.0)[:, None] * np.cross(axis, away)
    first, second = np.triu_indices(len(around), 1)
    bends = np.pi - np.arccos(np.clip(np.einsum("ki,ki->k", away[first], away[second]), -1, 1))
    mountain = np.einsum("ki,ki->k", normals[first], away[second]) < 0
    alike = forward[first] == forward[second]
    part = parts[triangle]
    apart = (part[first] != part[second]) | (part[first] < 0)
    ranked = np.lexsort((~mountain, np.round(bends, 6), apart, alike))
    taken: set[int] = set()
    pairs = []
    for number in ranked.tolist():
        one, other = int(first[number]), int(second[number])
        if one not in taken and other not in taken:
            taken |= {one, other}
            pairs.append((int(around[one]), int(around[other])))
    return pairs


@dataclass(frozen=True)
class Oriented:
    """Triangles that run the same way round throughout each body.

    Parameters
    ----------
    corners : (t, 3) int
    twins : (3 t,) int; twins run against each other
    bodies : (t,) int, the least number of a triangle of its body
    turned : (t,) bool, which were turned over
    one_sided : (k,) int, bodies that have one side only, each cut open
    """

    corners: Ints
    twins: Ints
    bodies: Ints
    turned: Flags
    one_sided: Ints


def oriented(corners: Ints, twins: Ints, areas: Array) -> Oriented:
    """Turn triangles so that neighbours run the same way round, as most of each body's area does already.

    A body with one side only, a Moebius strip for one, is cut open where its two sides meet.

    Parameters
    ----------
    corners : (t, 3) int
    twins : (3 t,) int, -1 at a rim
    areas : (t,) float
    """
    count = len(corners)
    one, other = _links(twins)
    start, _ = half_edge_ends(corners)
    agree = start[one] != start[other]
    t, s = one // 3, other // 3
    # every triangle twice, as it is and turned over: a body of two sides falls in two, one of one side hangs together
    labels = components(
        2 * count,
        np.concatenate([t, t + count]),
        np.concatenate([np.where(agree, s, s + count), np.where(agree, s + count, s)]),
    )
    bodies = np.minimum(labels[:count], labels[count:])
    twisted = labels[:count] == labels[count:]
    against = labels[:count] != bodies
    twins = twins.copy()
    if twisted.any():
        against = _walked(np.flatnonzero(twisted), twins, start, against)
        split = (against[t] ^ against[s]) == agree
        twins[one[split]] = -1
        twins[other[split]] = -1
    balance = np.bincount(bodies, np.where(against, areas, -areas), minlength=count)
    turned = against ^ (balance[bodies] > 0)
    return turned_over(Oriented(corners, twins, bodies, np.zeros_like(turned), np.unique(bodies[twisted])), turned)


def _links(twins: Ints) -> tuple[Ints, Ints]:
    one = np.flatnonzero(twins > np.arange(len(twins)))
    return one, twins[one]


def _walked(triangles: Ints, twins: Ints, start: Ints, against: Flags) -> Flags:
    """Which triangles of one-sided bodies to turn over, walking from neighbour to neighbour."""
    result = against.copy()
    left = set(triangles.tolist())
    while left:
        queue = [min(left)]
        left.discard(queue[0])
        result[queue[0]] = False
        for triangle in queue:
            for half in range(3 * triangle, 3 * triangle + 3):
                other = int(twins[half])
                if other >= 0 and other // 3 in left:
                    left.discard(other // 3)
                    result[other // 3] = result[triangle] ^ bool(start[half] == start[other])
                    queue.append(other // 3)
    return result


def turned_over(state: Oriented, turned: Flags) -> Oriented:
    """Turn triangles over: corners backwards, and the half-edges with them.

    Parameters
    ----------
    state : Oriented
    turned : (t,) bool, such that neighbours run against each other afterwards
    """
    count = len(state.corners)
    corners = np.where(turned[:, None], state.corners[:, ::-1], state.corners)
    # of corners (a, b, c) the half-edges are ab, bc, ca; of (c, b, a) they are cb, ba, ac
    moved = np.where(turned[:, None], np.array([1, 0, 2]), np.arange(3)) + 3 * np.arange(count)[:, None]
    moved = moved.reshape(-1)
    twins = np.full(3 * count, -1)
    has = state.twins >= 0
    twins[moved[has]] = moved[state.twins[has]]
    return Oriented(corners, twins, state.bodies, state.turned ^ turned, state.one_sided)
