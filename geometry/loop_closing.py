"""Copies of a loop, each with its own errors: where each stops when it is closed, and what its card must give.

A loop has more to close than it has angles: two panels of a strap turn in one plane, but its ends can also miss each
other sideways. What misses in the directions that the loop moves in (the range of its Jacobian as designed, at the same
driver value) is made up by its angles, solved exactly with the errors in it; what misses in the others, the card takes
up. A copy *stops* where the first is no longer possible, as a cell does.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .copied_tree import CopiedTree, copied_tree
from .loop_errors import ErringLoop
from .model import Hand
from .spread import Spread
from .transforms import Array

__all__ = ["LoopStops", "card_mm", "card_ways", "loop_stops"]

#: Driver values looked at, as parts of the way from where the loop is closed from to where it is shut: each one is
#: nearer by a fiftieth, so that a stop is known to a hundredth of itself; what comes to the last is shut.
_PARTS = np.exp(-0.02 * np.arange(353))
#: Strides in them: the first, and the longest. They double until one fails, and then are halved.
_STRIDE, _LONGEST = 8, 64
#: Copies are first solved where errors turn nothing by more than this, radians, to first order.
_SMALL = 0.1
#: Copies solved at once: few enough that they stay in the processor's cache.
_AT_ONCE = 512
#: Corrections, what is closed, mm, and how far a correction may lead in all, radians.
_MOST, _CLOSED_MM, _FURTHEST = 6, 1e-6, 0.5
#: In the shut spread directions weaker than this part of the strongest are none.
_WEAK = 1e-6

Index = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class LoopStops:
    """Where copies of a loop stop.

    Parameters
    ----------
    short : (n,) float; how far short of where it is shut each stops, radians of opening, or what a hand moves it by; 0:
        it shuts
    stand_off_mm : (n,) float; how far a hinge line of it then stands off its place, square to the page; 0 where it
        does not shut
    """

    short: Array
    stand_off_mm: Array


def _shut_at(spread: Spread, item: ErringLoop) -> float:
    """The driver value at which the loop is as in the shut spread, or as near to that as it gets."""
    hands = [unit.rest for unit in spread.units if isinstance(unit, Hand) and unit.variable == item.loop.driver]
    return float(np.clip(hands[0] if hands else 0.0, item.loop.path.low, item.loop.path.high))


def card_ways(spread: Spread, item: ErringLoop) -> Array:
    """By how much a line's ends miss in the shut spread for an error of 1 mm or 1 degree, first order.

    Parameters
    ----------
    spread : Spread
    item : ErringLoop

    Returns
    -------
    (6 c, d) float, mm; what no motion of the loop makes up, nor of the hand that moves it
    """
    designed = item.designed(np.array([_shut_at(spread, item)]))
    own, by_error = item.jacobians(designed, (item.loop.driver,) if item.by_hand else ())
    return np.asarray(by_error[0] - own[0] @ (np.linalg.pinv(own[0], rcond=_WEAK) @ by_error[0]))


def card_mm(ways: Array, errors: Array) -> Array:
    """The largest miss of a line's end, (n,) float, mm; from card_ways and errors, (n, d), in mm and degrees."""
    off = (errors @ ways.T).reshape(len(errors), len(ways) // 3, 3)
    return np.asarray(np.sqrt((off**2).sum(axis=2)).max(axis=1, initial=0.0))


def loop_stops(spread: Spread, item: ErringLoop, errors: Array, *, known: Array | None = None) -> LoopStops:
    """Close copies of a loop, from where it is known to close until each stops.

    Parameters
    ----------
    spread : Spread
    item : ErringLoop; what its loop stands on is as designed
    errors : (n, d) float, mm and degrees
    known : (n,) float; how far short of shut something else stops each copy: the loop is followed no further, and is
        said to shut if it gets there. Where the copy is not shut then, nothing is said to stand off

    Returns
    -------
    LoopStops
    """
    march = _march(spread, item)
    own = errors * item.units
    copies, begin = _copies(march, own), _begin(march, own)
    goal = np.full(len(own), march.last) if known is None else march.before(known)
    begin = np.minimum(begin, goal)
    first = _solved(march, copies, begin, np.einsum("nmd,nd->nm", march.gain[begin], own))
    # What does not close where it was looked for first is looked for from the beginning.
    lost = np.flatnonzero(~first.closed & (begin > 0))
    begin[lost] = 0
    first.put(lost, _solved(march, copies.at(lost), begin[lost], np.zeros((len(lost), first.off.shape[1]))))
    place, off = _farthest(march, copies, begin, goal, first)
    there = first.closed & (place == goal)
    # It stops between the last value at which it stood and the next.
    following = march.short[np.minimum(place + 1, march.last)]
    short = np.where(there, 0.0, np.where(first.closed, np.sqrt(march.short[place] * following), march.short[0]))
    stand_off, shut = np.zeros(len(own)), np.flatnonzero(there & (goal == march.last))
    stand_off[shut] = _stand_off(march, copies.at(shut), own[shut], off[shut])
    return LoopStops(short, stand_off)


@dataclass(frozen=True)
class _March:
    """A loop as designed at k driver values: from where it is closed from to a hair short of shut, and shut.

    Parameters
    ----------
    item : ErringLoop
    short : (k,) float; how far short of shut each is
    designed : variables there, (k,) float each
    angles : (k, m) float; the unknowns
    ways : (k, m, 6 c) float; the directions in which the misfit changes as the loop moves
    side : (k,) float; sign of the determinant of the Jacobian in these directions
    gain : (k, m, d) float; turn of each unknown for errors of 1 mm or 1 radian, first order
    """

    item: ErringLoop
    short: Array
    designed: Mapping[str, Array]
    angles: Array
    ways: Array
    side: Array
    gain: Array

    @property
    def last(self) -> int:
        """The value a hair short of shut."""
        return len(self.short) - 2

    def before(self, short: Array) -> Index:
        """The last value that is at least so far short of shut, (n,) int; the first, where none is."""
        return np.maximum(np.searchsorted(-self.short[: self.last + 1], -short, side="right") - 1, 0)


def _march(spread: Spread, item: ErringLoop) -> _March:
    path, end = item.loop.path, _shut_at(spread, item)
    begin = float(np.clip(item.loop.start.value, path.low, path.high))
    if abs(begin - end) < 1e-3 * (path.high - path.low):
        begin = (path.low + path.high) / 2
    parts = np.append(_PARTS, 0.0)
    designed = item.designed(end + (begin - end) * parts)
    own, by_error = item.jacobians(designed)
    # Where it is shut the loop may have lost directions that it moves in: those of a hair before are taken.
    own[-1], by_error[-1] = own[-2], by_error[-2]
    ways = np.swapaxes(np.linalg.svd(own, full_matrices=False)[0], 1, 2)
    square = ways @ own
    gain = -np.linalg.solve(square, ways @ by_error) / item.units
    unknowns = item.loop.geometry.unknowns
    angles = np.stack([designed[name] for name in unknowns], axis=1)
    short = abs(begin - end) * parts
    return _March(item, short, designed, angles, ways, np.sign(np.linalg.det(square)), gain)


def _copies(march: _March, errors: Array) -> CopiedTree:
    fixed = {error.variable: errors[:, column] for column, error in enumerate(march.item.errors)}
    return copied_tree(march.item.geometry.tree, fixed, len(errors))


def _begin(march: _March, errors: Array) -> Index:
    """The farthest place at which errors turn nothing by much, to first order, (n,) int."""
    every = np.arange(0, march.last + 1, _STRIDE)
    turned = np.abs(np.einsum("kmd,nd->nkm", march.gain[every], errors)).max(axis=2)
    small = np.cumprod(turned < _SMALL, axis=1).sum(axis=1)
    return np.asarray(every[np.maximum(small - 1, 0)], dtype=np.int64)


def _farthest(march: _March, copies: CopiedTree, begin: Index, goal: Index, first: _Solved) -> tuple[Index, Array]:
    """The last place at which each copy closes, no further than its goal, (n,) int; and the unknowns there, (n, m)."""
    place, off = begin.copy(), first.off.copy()
    slope, stride, longest = np.zeros(off.shape), np.where(first.closed, _STRIDE, 0), np.full(len(place), _LONGEST)
    # Copies that are done make room for others, so that many are always solved at once.
    while len(rows := np.flatnonzero((stride > 0) & (place < goal))[:_AT_ONCE]):
        step = np.minimum(stride[rows], goal[rows] - place[rows])
        found = _solved(march, copies.at(rows), place[rows] + step, off[rows] + slope[rows] * step[:, None])
        good = found.closed
        went, failed = rows[good], rows[~good]
        slope[went] = (found.off[good] - off[went]) / step[good, None]
        off[went] = found.off[good]
        place[went] += step[good]
        stride[failed] //= 2
        longest[failed] = stride[failed]
        stride[went] = np.minimum(2 * stride[went], longest[went])
    return place, off


def _values(march: _March, copies: CopiedTree, place: Index) -> Array:
    """What moves each body, (b, n) float, the unknowns as designed."""
    return copies.tree.values({name: values[place] for name, values in march.designed.items()}, len(place))


@dataclass(frozen=True)
class _Solved:
    """Copies at a place each.

    Parameters
    ----------
    off : (n, m) float, radians; how far the unknowns are off the design where they close
    closed : (n,) bool; whether they do
    """

    off: Array
    closed: Flags

    def put(self, rows: Index, other: _Solved) -> None:
        """Put others in the place of some."""
        self.off[rows], self.closed[rows] = other.off, other.closed


def _solved(march: _March, copies: CopiedTree, place: Index, guess: Array) -> _Solved:
    """Close copies at places from a guess, (n, m), of how far the unknowns are off."""
    off, closed = guess.copy(), np.zeros(len(place), dtype=bool)
    active: Index = np.arange(len(place))
    ways, values = march.ways[place], _values(march, copies, place)
    for _ in range(_MOST):
        if not len(active):
            break
        at = place[active]
        misfit, jacobian = copies.misfit_and_jacobian(copies.tree.with_unknowns(values, march.angles[at] + off[active]))
        misses, square = ways @ misfit[:, :, None], ways @ jacobian
        turn = np.linalg.det(square) * march.side[at]
        done = np.abs(misses[:, :, 0]).max(axis=1) < _CLOSED_MM
        closed[active[done & (turn > 0)]] = True
        left = np.flatnonzero(~done & (np.abs(turn) > 0))
        off[active[left]] -= np.linalg.solve(square[left], misses[left])[:, :, 0]
        near = np.abs(off[active[left]] - guess[active[left]]).max(axis=1, initial=0.0) < _FURTHEST
        left = left[near]
        if len(left) < len(active):
            active, ways, values, copies = active[left], ways[left], values[:, left], copies.at(left)
    return _Solved(off, closed)


def _stand_off(march: _March, copies: CopiedTree, errors: Array, off: Array) -> Array:
    """How far a hinge line stands off where it is by design, square to what the loop stands on, (n,) float, mm."""
    last = march.last + 1
    place = np.full(len(off), last)
    there = _solved(march, copies, place, off + march.angles[march.last] - march.angles[last])
    # What cannot be solved where it is shut is told as it is a hair before.
    turned = np.where(there.closed[:, None], there.off, off)
    place = np.where(there.closed, last, march.last)
    none = _copies(march, np.zeros_like(errors))
    heights = []
    for own, changed in ((copies, turned), (none, np.zeros_like(turned))):
        lines, ends = own.posed(copies.tree.with_unknowns(_values(march, own, place), march.angles[place] + changed))
        heights.append(np.concatenate([*ends[:, :, 2], lines[:, 1, 2]]))
    return np.asarray(np.abs(heights[0] - heights[1]).max(axis=0, initial=0.0))
