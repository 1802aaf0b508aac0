"""Outlines of regions of triangles, with what lies between the same two regions on one line as one edge."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..transforms import Array
from .data import Ints
from .faces import simple_loops
from .pairing import half_edge_ends
from .repair import Repaired

__all__ = ["Outlines", "outlines"]


@dataclass(frozen=True)
class Outlines:
    """Rings of regions, not yet sorted into outer ones and holes.

    Parameters
    ----------
    rings : of each region its rings of vertex numbers
    edges : (e, 2) int, vertex numbers as they run in the first region's ring
    sides : (e, 2) int, regions; -1 at a rim
    marks : (e,) int
    """

    rings: list[list[Ints]]
    edges: Ints
    sides: Ints
    marks: Ints


def outlines(state: Repaired, region: Ints, *, loose: bool) -> Outlines:
    """Rings and edges of regions.

    Parameters
    ----------
    state : Repaired
    region : (t,) int, of each triangle
    loose : whether a run between two regions may zigzag by as much as its parts are long and still be one edge; else
        only
        by the rounding of coordinates
    """
    start, end = half_edge_ends(state.corners)
    mine = np.repeat(region, 3)
    while True:
        other = np.where(state.twins >= 0, mine[state.twins], -1)
        border = _without_slits(np.flatnonzero(mine != other), start, end, mine, other)
        loops = _loops(border, start, end, mine)
        slits = [half for loop in loops if len(loop) == 2 for half in loop]
        if not slits:
            return _straightened(state, loops, start, mine, other, loose)
        # what is hinged in a slit inside one region cannot be cut out of one card with it: it ends there
        twins = state.twins.copy()
        twins[[half for half in twins[slits].tolist() if half >= 0]] = -1
        twins[slits] = -1
        state = replace(state, twins=twins)


def _without_slits(border: Ints, start: Ints, end: Ints, mine: Ints, other: Ints) -> Ints:
    """Border half-edges without rims that run along each other inside one region."""
    rims = border[other[border] < 0]
    if not len(rims):
        return border
    ends = np.sort(np.stack([start[rims], end[rims]], axis=1), axis=1)
    key = np.concatenate([mine[rims][:, None], ends], axis=1)
    _, group, counts = np.unique(key, axis=0, return_inverse=True, return_counts=True)
    forward = np.bincount(group.reshape(-1), start[rims] < end[rims])
    slit = ((counts == 2) & (forward == 1))[group.reshape(-1)]
    return np.setdiff1d(border, rims[slit], assume_unique=True)


def _loops(border: Ints, start: Ints, end: Ints, mine: Ints) -> list[list[int]]:
    """Border half-edges in closed loops that come to no vertex twice."""
    firsts: dict[tuple[int, int], list[int]] = {}
    regions, starts, ends = mine[border].tolist(), start[border].tolist(), end[border].tolist()
    numbers = border.tolist()
    place = {half: position for position, half in enumerate(numbers)}
    for half, number, vertex in zip(numbers, regions, starts, strict=True):
        firsts.setdefault((number, vertex), []).append(half)
    loops: list[list[int]] = []
    used: set[int] = set()
    for half in numbers:
        if half in used:
            continue
        walk: list[int] = []
        while half not in used:
            used.add(half)
            walk.append(half)
            at = place[half]
            ahead = [near for near in firsts.get((regions[at], ends[at]), []) if near not in used]
            if not ahead:
                break
            half = ahead[0]
        loops.extend([walk[position] for position in loop] for loop in simple_loops([starts[place[h]] for h in walk]))
    return loops


def _straightened(
    state: Repaired, loops: list[list[int]], start: Ints, mine: Ints, other: Ints, loose: bool
) -> Outlines:
    """Leave out vertices on straight lines between the same two regions."""
    following: dict[int, int] = {}
    for loop in loops:
        following.update(zip(loop, [*loop[1:], loop[0]], strict=True))
    passed = _passed(state, loops, following, other)
    counterpart: dict[int, int] = {}
    for loop in loops:
        for run in _runs(loop, passed, state.vertices[start[loop]]):
            if mine[run[0]] < other[run[0]] or other[run[0]] < 0:
                places = state.vertices[[*start[run], start[following[run[-1]]]]]
                zigzag = float(np.linalg.norm(np.diff(places, axis=0), axis=1).mean()) if loose else 0.0
                near_mm = state.rounding_mm if other[run[0]] < 0 else max(zigzag, state.rounding_mm)
                for position in _straight(places, near_mm):
                    same = run[position] if other[run[0]] < 0 else int(state.twins[run[position - 1]])
                    counterpart[run[position]], counterpart[same] = same, run[position]
    return _collected(state, _without_collapse(loops, counterpart), start, mine, other)


def _without_collapse(loops: list[list[int]], counterpart: dict[int, int]) -> list[tuple[list[int], list[int]]]:
    """All loops with what is left of each; all of a loop stays that would have fewer than three corners."""
    again = True
    while again:
        again = False
        for loop in loops:
            gone = [half for half in loop if half in counterpart]
            if gone and len(loop) - len(gone) < 3:
                again = True
                for half in gone:
                    counterpart.pop(counterpart.pop(half), None)
    return [(loop, [half for half in loop if half not in counterpart]) for loop in loops]


def _collected(
    state: Repaired, loops: list[tuple[list[int], list[int]]], start: Ints, mine: Ints, other: Ints
) -> Outlines:
    rings: list[list[Ints]] = [[] for _ in range(int(mine.max()) + 1)]
    edges, sides, marks = [], [], []
    for loop, kept in loops:
        rings[int(mine[loop[0]])].append(start[kept])
        for half, then in zip(kept, [*kept[1:], kept[0]], strict=True):
            if mine[half] < other[half] or other[half] < 0:
                edges.append((int(start[half]), int(start[then])))
                sides.append((int(mine[half]), int(other[half])))
                marks.append(int(state.marks[half]))
    return Outlines(rings, np.array(edges), np.array(sides), np.array(marks))


def _passed(state: Repaired, loops: list[list[int]], following: dict[int, int], other: Ints) -> set[int]:
    """Half-edges at whose start both regions go on along each other."""
    passed: set[int] = set()
    twins, marks = state.twins, state.marks
    for loop in loops:
        before = loop[-1]
        for half in loop:
            alike = other[half] == other[before] and marks[half] == marks[before]
            if alike and (other[half] < 0 or following.get(int(twins[half])) == int(twins[before])):
                passed.add(half)
            before = half
    return passed


def _runs(loop: list[int], passed: set[int], places: Array) -> list[list[int]]:
    """Parts of a loop between vertices that stay; of a loop that lies in one other region two far from each other
    stay."""
    stays = [position for position, half in enumerate(loop) if half not in passed]
    if len(stays) == len(loop):
        return []
    if not stays:
        corner = int(np.argmax(np.linalg.norm(places - places.mean(axis=0), axis=1)))
        opposite = int(np.argmax(np.linalg.norm(places - places[corner], axis=1)))
        stays = sorted({corner, opposite})
        passed = passed - {loop[position] for position in stays}
    turned = loop[stays[0] :] + loop[: stays[0]]
    runs: list[list[int]] = []
    for half in turned:
        if half not in passed or not runs:
            runs.append([half])
        else:
            runs[-1].append(half)
    return [run for run in runs if len(run) > 1]


def _straight(points: Array, straight_mm: float) -> list[int]:
    """Positions of points within a distance of the line between the corners beside them.

    Notes
    -----
    Source: Ramer 1972, Douglas and Peucker 1973 (recalled).
    """
    straight: list[int] = []
    parts = [(0, len(points) - 1)]
    while parts:
        first, last = parts.pop()
        if last - first < 2:
            continue
        chord = points[last] - points[first]
        length = float(np.linalg.norm(chord))
        inner = points[first + 1 : last] - points[first]
        if length > 0:
            along = inner @ chord / length
            off = np.linalg.norm(inner - along[:, None] * (chord / length), axis=1)
            off = np.where((along < 0) | (along > length), np.linalg.norm(inner, axis=1), off)
        else:
            off = np.linalg.norm(inner, axis=1)
        worst = int(np.argmax(off))
        if off[worst] <= straight_mm:
            straight.extend(range(first + 1, last))
        else:
            parts += [(first, first + 1 + worst), (first + 1 + worst, last)]
    return straight
