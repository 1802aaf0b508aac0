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
_AT_ONCE = 1024
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
    off = (errors @ ways.T).reshape(len(errors), -1, 3)
    return np.asarray(np.sqrt((off**2).sum(axis=2)).max(axis=1, initial=0.0))


def loop_stops(spread: Spread, item: ErringLoop, errors: Array) -> LoopStops:
    """Close copies of a loop, from where it is known to close until each stops.

    Parameters
    ----------
    spread : Spread
    item : ErringLoop; what its loop stands on is as designed
    errors : (n, d) float, mm and degrees

    Returns
    -------
    LoopStops
    """
    march = _march(spread, item)
    parts = [_walked(march, errors[begin : begin + _AT_ONCE] * item.units) for begin in range(0, len(errors), _AT_ONCE)]
    short = np.concatenate([part[0] for part in parts]) if parts else np.zeros(0)
    off = np.concatenate([part[1] for part in parts]) if parts else np.zeros(0)
    return LoopStops(short, off)


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


def _walked(march: _March, errors: Array) -> tuple[Array, Array]:
    """How far short of shut copies stop, (n,), and how far lines then stand off, (n,) mm; errors in mm and radians."""
    count, last = len(errors), len(march.short) - 2
    every = np.arange(0, last + 1, _STRIDE)
    turned = np.abs(np.einsum("kmd,nd->nkm", march.gain[every], errors)).max(axis=2)
    small = np.cumprod(turned < _SMALL, axis=1).sum(axis=1)
    place: Index = every[np.maximum(small - 1, 0)].astype(np.int64)
    off = np.einsum("nmd,nd->nm", march.gain[place], errors)
    off, stands = _solved(march, errors, place, off)
    # What does not close where it was looked for first is looked for from the beginning.
    lost = np.flatnonzero(~stands & (place > 0))
    place[lost] = 0
    off[lost], stands[lost] = _solved(march, errors[lost], place[lost], np.zeros((len(lost), off.shape[1])))
    slope, stride, longest = np.zeros(off.shape), np.where(stands, _STRIDE, 0), np.full(count, _LONGEST)
    while len(rows := np.flatnonzero((stride > 0) & (place < last))):
        step = np.minimum(stride[rows], last - place[rows])
        guess = off[rows] + slope[rows] * step[:, None]
        there, good = _solved(march, errors[rows], place[rows] + step, guess)
        went, failed = rows[good], rows[~good]
        slope[went] = (there[good] - off[went]) / step[good, None]
        off[went] = there[good]
        place[went] += step[good]
        stride[failed] //= 2
        longest[failed] = stride[failed]
        stride[went] = np.minimum(2 * stride[went], longest[went])
    shut = stands & (place == last)
    # It stops between the last value at which it stood and the next.
    following = march.short[np.minimum(place + 1, last)]
    short = np.where(shut, 0.0, np.where(stands, np.sqrt(march.short[place] * following), march.short[0]))
    return short, np.where(shut, _stand_off(march, errors, off), 0.0)


def _values(march: _March, errors: Array, place: Index) -> Array:
    """What moves each body, (b, n) float, the unknowns as designed."""
    known = {name: values[place] for name, values in march.designed.items()}
    known |= {error.variable: errors[:, column] for column, error in enumerate(march.item.errors)}
    return march.item.geometry.tree.values(known, len(place))


def _solved(march: _March, errors: Array, place: Index, off: Array) -> tuple[Array, Flags]:
    """How far the unknowns are off where copies close at places, (n, m), from a guess; and which close."""
    tree = march.item.geometry.tree
    values, ways = _values(march, errors, place), march.ways[place]
    designed, found = march.angles[place], off.copy()
    closed, active = np.zeros(len(off), dtype=bool), np.arange(len(off))
    for _ in range(_MOST):
        if not len(active):
            break
        posed = tree.posed(tree.with_unknowns(values[:, active], designed[active] + found[active]))
        misses = (ways[active] @ tree.misfit(posed)[:, :, None])[:, :, 0]
        square = ways[active] @ tree.jacobian(posed)
        turn = np.linalg.det(square) * march.side[place[active]]
        done = np.abs(misses).max(axis=1) < _CLOSED_MM
        closed[active[done & (turn > 0)]] = True
        sound = ~done & (np.abs(turn) > 0)
        active = active[sound]
        found[active] -= np.linalg.solve(square[sound], misses[sound, :, None])[:, :, 0]
        active = active[np.abs(found[active] - off[active]).max(axis=1, initial=0.0) < _FURTHEST]
    return found, closed


def _stand_off(march: _March, errors: Array, off: Array) -> Array:
    """How far a hinge line stands off where it is by design, square to what the loop stands on, (n,) float, mm."""
    tree, last = march.item.geometry.tree, len(march.short) - 1
    place = np.full(len(off), last)
    there, good = _solved(march, errors, place, off + march.angles[last - 1] - march.angles[last])
    # What cannot be solved where it is shut is told as it is a hair before.
    found, place = np.where(good[:, None], there, off), np.where(good, last, last - 1)
    heights = []
    for own, turned in ((errors, found), (np.zeros_like(errors), np.zeros_like(found))):
        posed = tree.posed(tree.with_unknowns(_values(march, own, place), march.angles[place] + turned))
        lines = posed.bodies[tree.under] @ tree.lines[:, None]
        heights.append(np.concatenate([posed.ends[:, :, 2], lines[:, :, 2, [1, 1]]]))
    return np.asarray(np.abs(heights[0] - heights[1]).max(axis=(0, 2), initial=0.0))
