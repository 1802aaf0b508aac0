"""Continuation: a motion followed from a known position, both ways at once, until its range ends or it locks.

Steps adapt. A number of them are tried at once: the positions ahead are guessed by a polynomial through those behind
and corrected together. They are then gone through one by one as if each had been stepped to from the one before: the
first that does not close, or is not where the three before it lead, ends this round, and the next steps are shorter.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from .interpolation import Stretch, interpolated, predicted, surprises
from .settling import CLOSED_MM, FREE, WEAK
from .transforms import Array

__all__ = ["FIRST_STEP", "End", "Walked", "followed"]

#: Parts of the driver's range: the first step, the longest and the shortest.
FIRST_STEP = 1 / 180
_LONGEST, _SHORTEST = 1 / 45, 1e-10
#: Steps tried at once; where one has failed, the way that it was to go is divided into so many.
_AT_ONCE, _PARTS = 16, 8
#: A step is taken back when it leads this far from where it was to lead, radians.
_LARGEST_SURPRISE = 0.03
#: The last stretch that is tried, as a part of the range, and which root of the distance it is a polynomial in; then
#: the one that is tried where that does not close.
_STRETCHES = ((1 / 360, 1), (1 / 5760, 2))
#: Positions that the extrapolation rests on.
_NODES = 10

End = Literal["range", "lock", "dead point"]


@dataclass(frozen=True)
class Walked:
    """The way from the start to one end.

    Parameters
    ----------
    values : (k,) float; driver values, the start first
    angles : (k, m) float; the unknowns there
    end : what stopped it
    stretch : what the last stretch is extrapolated from; None where there is none
    """

    values: Array
    angles: Array
    end: End
    stretch: Stretch | None


@dataclass(frozen=True)
class _Asked:
    """Positions to be found: at driver values, (n,), from guesses, (n, m); the rest as in settling.settled."""

    values: Array
    guess: Array
    weak: float = FREE


#: Positions, (n, m) float, and by how much each misses, (n,) float, mm.
_Answer = tuple[Array, Array]
_Way = Generator[_Asked, _Answer, Walked]


def followed(
    settle: Callable[[Array, Array, Array], _Answer], start: float, first: Array, ends: tuple[float, float]
) -> tuple[Walked, Walked]:
    """Follow a motion both ways.

    Parameters
    ----------
    settle : from driver values, (n,), guesses, (n, m), and how weak a direction may be, (n,), to positions and misfits
    start : driver value
    first : (m,) float; the position there
    ends : of the driver's range

    Returns
    -------
    The ways to the lower end and to the upper one. What both ask for is found together.
    """
    span = ends[1] - ends[0]
    done: dict[int, Walked] = {}
    asked: dict[int, _Asked] = {}
    ways = [_way(start, first, end, span) for end in ends]

    def heard(number: int, answer: _Answer | None) -> None:
        try:
            asked[number] = next(ways[number]) if answer is None else ways[number].send(answer)
        except StopIteration as stop:
            asked.pop(number, None)
            done[number] = stop.value

    for number in (0, 1):
        heard(number, None)
    while asked:
        order = list(asked.items())
        found, misfit = settle(
            np.concatenate([item.values for _, item in order]),
            np.concatenate([item.guess for _, item in order]),
            np.concatenate([np.full(len(item.values), item.weak) for _, item in order]),
        )
        begin = 0
        for number, item in order:
            rows = slice(begin, begin + len(item.values))
            heard(number, (found[rows], misfit[rows]))
            begin = rows.stop
    return done[0], done[1]


def _way(start: float, first: Array, end: float, span: float) -> _Way:
    """Follow the motion from the start to one end of the range."""
    sign = float(np.sign(end - start)) or 1.0
    values, angles = np.array([start]), first[None]
    step, parts, untried = span * FIRST_STEP / _PARTS, _PARTS, list(_STRETCHES)
    while (left := abs(end - values[-1])) > 1e-12 * span:
        if untried and left <= span * untried[0][0] * 1.000001:
            stretch = yield from _last_stretch(values, angles, end, span, *untried.pop(0))
            if stretch is not None:
                last = stretch.at(np.array([end]))
                return Walked(np.append(values, end), np.concatenate([angles, last]), "range", stretch)
            continue
        kept = span * untried[0][0] if untried else 0.0
        ahead = _ahead(step, parts, span * _LONGEST, left - kept if left > kept else left)
        places = values[-1] + sign * ahead
        guess = predicted(values, angles, places)
        found, misfit = yield _Asked(places, guess)
        closed = misfit <= CLOSED_MM
        good = closed & (np.abs(found - guess).max(axis=1) <= _LARGEST_SURPRISE)
        before = len(values)
        values, angles = np.concatenate([values, places]), np.concatenate([angles, found])
        good &= surprises(values, angles, before) <= _LARGEST_SURPRISE
        taken = len(good) if good.all() else int(np.argmin(good))
        values, angles = values[: before + taken], angles[: before + taken]
        gaps = np.diff(ahead, prepend=0.0)
        if taken == len(good):
            step, parts = min(2 * gaps[-1], span * _LONGEST), 1
        elif gaps[taken] < span * _SHORTEST:
            return Walked(values, angles, "lock", None)
        else:
            # Where it did not close there may be a lock, and nothing to be found behind it.
            parts = _PARTS if closed[taken] else _AT_ONCE
            step = gaps[taken] / parts
    return Walked(values, angles, "range", None)


def _ahead(step: float, parts: int, longest: float, allowed: float) -> Array:
    """How far ahead positions are looked for: so many steps alike, then each twice as long as the one before it."""
    doubled = np.maximum(np.arange(_AT_ONCE) - (parts - 1), 0)
    ahead = np.cumsum(np.minimum(step * 2.0**doubled, longest))
    short = ahead < allowed - 1e-3 * step
    return ahead if short.all() else np.append(ahead[short], allowed)


def _last_stretch(
    values: Array, angles: Array, end: float, span: float, part: float, power: int
) -> Generator[_Asked, _Answer, Stretch | None]:
    """Positions to extrapolate the last stretch from, where that works."""
    length = span * part
    roots: Array = length ** (1 / power) * np.arange(1, _NODES + 1, dtype=np.float64)
    places = end + np.sign(values[0] - end) * roots**power
    if abs(places[-1] - end) > abs(values[0] - end) or len(values) < 3:
        return None
    order = np.argsort(values)
    found, misfit = yield _Asked(places, interpolated(values[order], angles[order], places))
    if (misfit > CLOSED_MM).any():
        return None
    stretch = Stretch(end, length, power, roots, found)
    last = np.array([end])
    _, misfit = yield _Asked(last, stretch.at(last), WEAK)
    return stretch if misfit[0] <= CLOSED_MM else None
