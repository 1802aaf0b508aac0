"""Loops that are not a cell: straps and arms, boxes, rows of panels, solved by numbers along their motion.

A loop has one driver, the opening or what a hand moves. Its position is followed from a known one by continuation:
steps that adapt, a damped Gauss-Newton correction with exact Jacobians at each, until the driver's range ends, the loop
locks or it comes to a dead point. What was followed is kept; any other position is then found for a whole array of
driver values at once, by interpolation and a correction or two.

Towards the ends of a range a loop often lies flat and its Jacobian loses rank, although the motion passes smoothly. The
last stretch is therefore extrapolated from a polynomial through well-conditioned positions and corrected only in the
directions that the Jacobian still knows.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from .closures import LoopGeometry
from .errors import HingeleafError
from .motion import Unit, pose_panels, solve_units
from .transforms import Array

__all__ = ["Loop", "Path", "Start"]

#: A closure that misses by less is closed: far below what the rounding of a chain of ten panels adds up to.
_CLOSED_MM = 1e-9
#: Directions of the Jacobian weaker than this part of the strongest are free motions.
_FREE = 1e-8
#: Within the last stretch of a range, directions weaker than this are left to the extrapolation.
_WEAK = 0.02
#: Parts of the driver's range: the first step, the longest, the shortest, and the last stretch.
_FIRST, _LONGEST, _SHORTEST, _STRETCH = 1 / 180, 1 / 45, 1e-10, 1 / 360
#: Positions that the extrapolation rests on.
_NODES = 10
#: A step is taken back when the correction moves an angle by more than this, radians.
_LARGEST_CORRECTION = 0.03
#: Corrections from a guess that may be far off.
_MOST_AT_START = 60

End = Literal["range", "lock", "dead point"]


@dataclass(frozen=True)
class Start:
    """Where a loop is known to close, or nearly.

    Parameters
    ----------
    value : of the driver
    guesses : (g, m) float; values of the unknowns to start from, the best first
    prefer : of the positions that close there, from the poses of the loop's panels, (k, 4, 4) float each, to a number
        each, (k,) float: the one with the largest is meant; None where the first guess that closes is
    """

    value: float
    guesses: Array
    prefer: Callable[[Mapping[str, Array]], Array] | None = None


@dataclass(frozen=True)
class Path:
    """What continuation found.

    Parameters
    ----------
    values : (k,) float, rising; driver values
    angles : (k, m) float; the unknowns there
    low, high : float; driver values between which the loop moves
    ends : what stopped it at each
    stretches : the positions (values, angles) that the last stretch at each end is extrapolated from; None where there
        is none
    free : how many free motions are left, from the Jacobian's rank
    loose : unknowns that move in them
    """

    values: Array
    angles: Array
    low: float
    high: float
    ends: tuple[End, End]
    stretches: tuple[tuple[Array, Array] | None, tuple[Array, Array] | None]
    free: int
    loose: tuple[str, ...]


@dataclass(frozen=True)
class Loop:
    """Loops that are solved together.

    Parameters
    ----------
    id : the mechanism's name
    driver : variable that moves it
    low, high : float; the driver's range
    geometry : panels, unknowns and closures
    upstream : what gives the other variables that the loop needs, in solving order
    start : Start
    """

    id: str
    driver: str
    low: float
    high: float
    geometry: LoopGeometry
    upstream: tuple[Unit, ...]
    start: Start

    @property
    def needs(self) -> frozenset[str]:
        """Variables that it is solved from."""
        return self.geometry.inputs() | {self.driver}

    @property
    def gives(self) -> tuple[str, ...]:
        """Variables that it solves for."""
        return (*self.geometry.unknowns, *(closure.variable for closure in self.geometry.closures))

    def solve(self, variables: Mapping[str, Array]) -> dict[str, Array]:
        """The loop's variables at each position, (n,) float; NaN where it cannot be reached.

        Parameters
        ----------
        variables : what is known, (n,) float each
        """
        values = variables[self.driver]
        path = self.path
        result = {name: np.full(len(values), np.nan) for name in self.gives}
        hair = 1e-12 * self._span
        good = (values >= path.low - hair) & (values <= path.high + hair)
        for name in self.geometry.inputs():
            good &= np.isfinite(variables[name])
        if not good.any():
            return result
        known = {name: array[good] for name, array in variables.items() if len(array) == len(values)}
        angles, misfit = self._polished(known, np.clip(values[good], path.low, path.high))
        angles[misfit > _CLOSED_MM] = np.nan
        found = {**known, **self._columns(angles)}
        for name, array in {**self._columns(angles), **self.geometry.closing_angles(found)}.items():
            result[name][good] = array
        return result

    @cached_property
    def path(self) -> Path:
        """The motion as continuation follows it.

        Raises
        ------
        HingeleafError
            The loop does not close at its start, or it closes there and cannot move; carries the misfit.
        """
        first = self._first()
        below, above = self._walk(first, self.low), self._walk(first, self.high)
        values = np.concatenate([below[0][:0:-1], above[0]])
        angles = np.concatenate([below[1][:0:-1], above[1]])
        if values[-1] - values[0] < 1e-6 * self._span:
            raise self._stuck(first)
        return self._analysed(values, angles, (below[2], above[2]), (below[3], above[3]))

    def _first(self) -> Array:
        """The position to start from, (m,) float."""
        known = self._at_values(np.full(len(self.start.guesses), self.start.value))
        found, misfit = self._settled(known, self.start.guesses, most=_MOST_AT_START)
        good = np.flatnonzero(misfit <= _CLOSED_MM)
        if not len(good):
            raise HingeleafError(
                f"its loop does not close: at {self._said(self.start.value)} its ends miss each other "
                f"by {misfit.min():.3f} mm"
            )
        if self.start.prefer is None:
            return np.asarray(found[good[0]])
        here = {name: array[good] for name, array in known.items()} | self._columns(found[good])
        liking = self.start.prefer(pose_panels(self.geometry.panels, here, len(good)))
        # The first of those that are liked equally well, so that rounding does not choose.
        return np.asarray(found[good[np.flatnonzero(liking >= liking.max() - 1e-6)[0]]])

    @property
    def _span(self) -> float:
        return self.high - self.low

    def _said(self, value: float) -> str:
        return f"{np.degrees(value):.1f} degrees" if self.driver == "spine" else f"{value:.4g} of {self.driver}"

    def _columns(self, angles: Array) -> dict[str, Array]:
        return {name: angles[:, index] for index, name in enumerate(self.geometry.unknowns)}

    def _at_values(self, values: Array) -> dict[str, Array]:
        """Everything known at driver values."""
        known = {self.driver: values}
        if self.driver != "spine":
            known["spine"] = np.full(len(values), np.pi)
        return solve_units(self.upstream, known)

    def _settled(
        self, known: Mapping[str, Array], guess: Array, *, weak: float = _FREE, most: int = 8
    ) -> tuple[Array, Array]:
        """Gauss-Newton from guesses, (n, m), to positions and their misfits, (n,) mm; infinite where not known."""
        angles = guess.copy()
        misfit = np.full(len(guess), np.inf)
        active = np.all([np.isfinite(known[name]) for name in self.needs], axis=0)
        for _ in range(most):
            if not active.any():
                break
            rows = np.flatnonzero(active)
            here = {name: array[rows] for name, array in known.items()} | self._columns(angles[rows])
            off, jacobian = self.geometry.misfit_and_jacobian(here)
            misfit[rows] = np.abs(off).max(axis=1)
            step = -np.einsum("nij,nj->ni", np.linalg.pinv(jacobian, rcond=weak), off)
            length = np.abs(step).max(axis=1, initial=0.0)
            step *= np.minimum(1.0, 0.3 / np.maximum(length, 1e-300))[:, None]
            moving = (length > 1e-15) & (misfit[rows] > 1e-13)
            angles[rows[moving]] += step[moving]
            active[rows] = moving
        rows = np.flatnonzero(active)
        if len(rows):
            here = {name: array[rows] for name, array in known.items()} | self._columns(angles[rows])
            misfit[rows] = np.abs(self.geometry.misfit(here)).max(axis=1)
        return angles, misfit

    def _walk(self, first: Array, end: float) -> tuple[Array, Array, End, tuple[Array, Array] | None]:
        """Follow the motion from the start to one end of the range."""
        span, sign = self._span, float(np.sign(end - self.start.value)) or 1.0
        values, angles = [self.start.value], [first]
        step, stretch = span * _FIRST, span * _STRETCH
        tried_end = False
        while abs(end - values[-1]) > 1e-12 * span:
            left = abs(end - values[-1])
            if left <= stretch * 1.000001 and not tried_end:
                tried_end = True
                nodes = self._last_stretch(np.array(values), np.array(angles), end, sign)
                if nodes is not None:
                    values.append(end)
                    angles.append(_extrapolated(*nodes, np.array([end]))[0])
                    return np.array(values), np.array(angles), "range", nodes
            ahead = min(step, left if tried_end or left <= stretch else left - stretch)
            value = values[-1] + sign * ahead
            guess = _predicted(values, angles, value)
            found, misfit = self._settled(self._at_values(np.array([value])), guess[None], most=6)
            off = float(np.abs(found[0] - guess).max())
            if misfit[0] <= _CLOSED_MM and off <= _LARGEST_CORRECTION:
                values.append(value)
                angles.append(found[0])
                step = min(step * (2.0 if off < _LARGEST_CORRECTION / 8 else 1.0), span * _LONGEST)
            elif step < span * _SHORTEST:
                return np.array(values), np.array(angles), "lock", None
            else:
                step = min(step, ahead) / 2
        return np.array(values), np.array(angles), "range", None

    def _last_stretch(self, values: Array, angles: Array, end: float, sign: float) -> tuple[Array, Array] | None:
        """Positions to extrapolate the last stretch from, where that works."""
        places: Array = np.asarray(end - sign * self._span * _STRETCH * np.arange(1, _NODES + 1), dtype=np.float64)
        if abs(places[-1] - end) > abs(values[0] - end) or len(values) < 3:
            return None
        order = np.argsort(values)
        guess = _interpolated(values[order], angles[order], places)
        found, misfit = self._settled(self._at_values(places), guess)
        if (misfit > _CLOSED_MM).any():
            return None
        last = _extrapolated(places, found, np.array([end]))
        _, misfit = self._settled(self._at_values(np.array([end])), last, weak=_WEAK)
        return (places, found) if misfit[0] <= _CLOSED_MM else None

    def _polished(self, known: Mapping[str, Array], values: Array) -> tuple[Array, Array]:
        path = self.path
        guess = _interpolated(path.values, path.angles, values)
        stretch = self._span * _STRETCH
        near = np.zeros(len(values), dtype=bool)
        for end, nodes in zip((path.low, path.high), path.stretches, strict=True):
            if nodes is not None:
                inside = np.abs(values - end) < stretch
                guess[inside] = _extrapolated(*nodes, values[inside])
                near |= inside
        angles, misfit = guess, np.zeros(len(values))
        for part, weak in ((near, _WEAK), (~near, _FREE)):
            if part.any():
                own = {name: array[part] for name, array in known.items()}
                angles[part], misfit[part] = self._settled(own, guess[part], weak=weak)
        return angles, misfit

    def _stuck(self, first: Array) -> HingeleafError:
        beside = self.start.value + np.array([-1.0, 1.0]) * self._span * _FIRST
        known = self._at_values(np.clip(beside, self.low, self.high))
        _, misfit = self._settled(known, np.tile(first, (2, 1)), most=_MOST_AT_START)
        worst = float(misfit[np.isfinite(misfit)].max(initial=0.0))
        return HingeleafError(
            f"closes at {self._said(self.start.value)} and cannot move: one step further its ends miss "
            f"each other by {worst:.3f} mm"
        )

    def _analysed(
        self,
        values: Array,
        angles: Array,
        ends: tuple[End, End],
        stretches: tuple[tuple[Array, Array] | None, tuple[Array, Array] | None],
    ) -> Path:
        """Free motions and dead points from the Jacobian's singular values along the way."""
        even = np.arange(self.low, self.high, self._span * _FIRST)[1:]
        inside = even[(even > values[0]) & (even < values[-1])]
        known = self._at_values(inside)
        found, misfit = self._settled(known, _interpolated(values, angles, inside))
        good = misfit <= _CLOSED_MM
        inside, found = inside[good], found[good]
        low, high = float(values[0]), float(values[-1])
        free = 0
        loose: tuple[str, ...] = ()
        if len(inside):
            here = {name: array[good] for name, array in known.items()} | self._columns(found)
            jacobian = self.geometry.misfit_and_jacobian(here)[1]
            _, strength, motions = np.linalg.svd(jacobian, full_matrices=True)
            strength = strength[:, : len(self.geometry.unknowns)]
            known_directions = (strength > _FREE * strength[:, :1]).sum(axis=1)
            rank = int(known_directions.max())
            free = len(self.geometry.unknowns) - rank
            if free:
                moves = np.abs(motions[len(inside) // 2, rank:]).max(axis=0)
                loose = tuple(
                    n for n, part in zip(self.geometry.unknowns, moves, strict=True) if part > 0.1 * moves.max()
                )
            dead = _crossings(inside, strength[:, rank - 1] / strength[:, 0]) if rank else np.zeros(0)
            before, after = dead[dead <= self.start.value], dead[dead > self.start.value]
            if len(before):
                low, ends, stretches = float(before.max()), ("dead point", ends[1]), (None, stretches[1])
            if len(after):
                high, ends, stretches = float(after.min()), (ends[0], "dead point"), (stretches[0], None)
        every = np.concatenate([values, inside])
        order = np.unique(every, return_index=True)[1]
        return Path(every[order], np.concatenate([angles, found])[order], low, high, ends, stretches, free, loose)


def _crossings(values: Array, strength: Array) -> Array:
    """Where the weakest direction's strength comes down to zero and rises again: a V whose two arms meet there."""
    found = []
    for middle in range(3, len(values) - 3):
        if strength[middle] != strength[middle - 2 : middle + 3].min():
            continue
        zeros = []
        for near, far in ((middle - 1, middle - 2), (middle + 1, middle + 2)):
            slope = (strength[near] - strength[far]) / (values[near] - values[far])
            if slope:
                zeros.append(values[near] - strength[near] / slope)
        step = values[middle + 1] - values[middle]
        if len(zeros) == 2 and abs(zeros[0] - zeros[1]) < 0.1 * step and abs(zeros[0] - values[middle]) < step:
            found.append(float(sum(zeros)) / 2)
    return np.asarray(found, dtype=np.float64)


def _predicted(values: list[float], angles: list[Array], value: float) -> Array:
    """The way on, through the last three positions."""
    last = min(len(values), 3)
    return np.asarray(_lagrange(np.array(values[-last:])[None], np.array(angles[-last:])[None], np.array([value]))[0])


def _interpolated(values: Array, angles: Array, places: Array) -> Array:
    """Cubic interpolation between positions, (p, m) float."""
    width = min(4, len(values))
    first = np.clip(np.searchsorted(values, places) - 2, 0, len(values) - width)
    rows = first[:, None] + np.arange(width)
    return _lagrange(values[rows], angles[rows], places)


def _extrapolated(values: Array, angles: Array, places: Array) -> Array:
    """The polynomial through all positions, (p, m) float."""
    shape = len(places), *values.shape
    return _lagrange(np.broadcast_to(values, shape), np.broadcast_to(angles, (len(places), *angles.shape)), places)


def _lagrange(values: Array, angles: Array, places: Array) -> Array:
    """Lagrange interpolation: values (p, k), angles (p, k, m), places (p,) to (p, m)."""
    count = values.shape[1]
    result = np.zeros((len(places), angles.shape[2]))
    for index in range(count):
        others = [other for other in range(count) if other != index]
        weight = np.prod((places[:, None] - values[:, others]) / (values[:, [index]] - values[:, others]), axis=1)
        result += weight[:, None] * angles[:, index]
    return result
