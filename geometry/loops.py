"""Loops that are not a cell: straps and arms, boxes, rows of panels, solved by numbers along their motion.

A loop has one driver, the opening or what a hand moves. Its position is followed from a known one by continuation:
steps that adapt, a damped Gauss-Newton correction with exact Jacobians at each, until the driver's range ends, the loop
locks or it comes to a dead point. What was followed is kept; any other position is then found for a whole array of
driver values at once, by interpolation and a correction or two.

Towards the ends of a range a loop often lies flat and its Jacobian loses rank, although the motion passes smoothly. The
last stretch is therefore extrapolated from a polynomial through well-conditioned positions and corrected only in the
directions that the Jacobian still knows. Where a range begins at a dead point, as with a flap that lies in line with
the link that is to lift it, the motion goes like a square root there, and the polynomial is one in that root.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .closures import LoopGeometry
from .dead_points import crossings, narrowed, weakest_strength
from .errors import HingeleafError
from .following import FIRST_STEP, End, followed
from .interpolation import Stretch, interpolated
from .motion import Unit, pose_panels, solve_units
from .settling import CLOSED_MM, FREE, WEAK, settled
from .transforms import Array

__all__ = ["Loop", "Path", "Start"]

#: Free motions are tried out by this much, radians.
_HAIR_RAD = 1e-6
#: Corrections, and corrections from a guess that may be far off.
_MOST, _MOST_AT_START = 8, 60
#: On the way, a position that is corrected by more than this, radians, is no step: three times what one may be off by.
_ASTRAY = 0.1


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
    stretches : what the last stretch at each end is extrapolated from; None where there is none
    free : how many free motions are left, from the Jacobian's rank
    loose : angles that move in them, those at the closing hinges too
    """

    values: Array
    angles: Array
    low: float
    high: float
    ends: tuple[End, End]
    stretches: tuple[Stretch | None, Stretch | None]
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
        angles[misfit > CLOSED_MM] = np.nan
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
        below, above = followed(self._found, self.start.value, first, (self.low, self.high))
        values = np.concatenate([below.values[:0:-1], above.values])
        angles = np.concatenate([below.angles[:0:-1], above.angles])
        if values[-1] - values[0] < 1e-6 * self._span:
            raise self._stuck(first)
        return self._analysed(values, angles, (below.end, above.end), (below.stretch, above.stretch))

    def _first(self) -> Array:
        """The position to start from, (m,) float."""
        known = self._at_values(np.full(len(self.start.guesses), self.start.value))
        found, misfit = self._settled(known, self.start.guesses, most=_MOST_AT_START)
        good = np.flatnonzero(misfit <= CLOSED_MM)
        if not len(good):
            raise HingeleafError(
                f"its loop does not close: at {self.said(self.start.value)} its ends miss each other "
                f"by {np.nanmin(self.geometry.nearest(known, found)):.4g} mm"
            )
        chosen = 0
        if self.start.prefer is not None:
            here = {name: array[good] for name, array in known.items()} | self._columns(found[good])
            liking = self.start.prefer(pose_panels(self.geometry.panels, here, len(good)))
            # The first of those that are liked equally well, so that rounding does not choose.
            chosen = int(np.flatnonzero(liking >= liking.max() - 1e-6)[0])
        return self._unwound(found[good[chosen]])

    def _unwound(self, angles: Array) -> Array:
        """The same position, every turn between half a turn back and half a turn on: dihedral angles count on it."""
        slides = {panel.variable for panel in self.geometry.panels if panel.axis and panel.axis.slides}
        turns = np.array([name not in slides for name in self.geometry.unknowns])
        return np.asarray(np.where(turns, np.pi - (np.pi - angles) % (2 * np.pi), angles))

    @property
    def _span(self) -> float:
        return self.high - self.low

    def said(self, value: float) -> str:
        """A value of the driver as a person reads it."""
        return f"{np.degrees(value):.1f} degrees" if self.driver == "spine" else f"{value:.4g} of {self.driver}"

    def _columns(self, angles: Array) -> dict[str, Array]:
        return {name: angles[:, index] for index, name in enumerate(self.geometry.unknowns)}

    def _at_values(self, values: Array) -> dict[str, Array]:
        """Everything known at driver values."""
        known = {self.driver: values}
        if self.driver != "spine":
            known["spine"] = np.full(len(values), np.pi)
        return solve_units(self.upstream, known)

    def _found(self, values: Array, guess: Array, weak: Array) -> tuple[Array, Array]:
        """Positions at driver values and their misfits."""
        return self._settled(self._at_values(values), guess, weak, within=_ASTRAY)

    def _settled(
        self,
        known: Mapping[str, Array],
        guess: Array,
        weak: Array | float = FREE,
        most: int = _MOST,
        within: float = np.inf,
    ) -> tuple[Array, Array]:
        """Gauss-Newton from guesses, (n, m), to positions and their misfits, (n,) mm; infinite where not known."""
        values = self.geometry.tree.values({name: known[name] for name in self.needs}, len(guess))
        return settled(self.geometry.tree, values, guess, np.broadcast_to(weak, len(guess)), most, within)

    def _polished(self, known: Mapping[str, Array], values: Array) -> tuple[Array, Array]:
        path = self.path
        guess = interpolated(path.values, path.angles, values)
        near = np.zeros(len(values), dtype=bool)
        for stretch in path.stretches:
            if stretch is not None:
                inside = stretch.holds(values)
                guess[inside] = stretch.at(values[inside])
                near |= inside
        return self._settled(known, guess, np.where(near, WEAK, FREE))

    @property
    def in_line_at(self) -> tuple[float, ...]:
        """Ends of its range, driver values, at which it lies in line: a dead point from which it begins like a root."""
        return tuple(stretch.end for stretch in self.path.stretches if stretch is not None and stretch.power == 2)

    def missing_mm(self, value: float) -> float:
        """How far its ends miss each other at the least where it cannot reach; NaN where its hosts cannot either.

        Parameters
        ----------
        value : of the driver, beyond one end of the path
        """
        path = self.path
        last = path.angles[np.argmin(np.abs(path.values - (path.low if value < path.low else path.high)))]
        return self._missing(last, np.array([value]))

    def _missing(self, angles: Array, values: Array) -> float:
        """The largest of the nearest that the ends come at driver values, starting from (m,) angles."""
        apart = self.geometry.nearest(self._at_values(values), np.tile(angles, (len(values), 1)))
        return float(np.nanmax(apart)) if np.isfinite(apart).any() else float("nan")

    def _stuck(self, first: Array) -> HingeleafError:
        beside = self.start.value + np.array([-1.0, 1.0]) * self._span * FIRST_STEP
        worst = self._missing(first, np.clip(beside, self.low, self.high))
        return HingeleafError(
            f"closes at {self.said(self.start.value)} and cannot move: one step further its ends miss "
            f"each other by {worst:.4g} mm"
        )

    def _analysed(
        self,
        values: Array,
        angles: Array,
        ends: tuple[End, End],
        stretches: tuple[Stretch | None, Stretch | None],
    ) -> Path:
        """Free motions and dead points from the Jacobian's singular values along the way."""

        def at(places: Array) -> tuple[Array, Array, Array]:
            """Those places at which the loop closes, its position there, and its Jacobian."""
            known = self._at_values(places)
            found, misfit = self._settled(known, interpolated(values, angles, places))
            good = misfit <= CLOSED_MM
            here = {name: array[good] for name, array in known.items()} | self._columns(found[good])
            return places[good], found[good], self.geometry.misfit_and_jacobian(here)[1]

        every = self._looked_at()
        inside = every[(every > values[0]) & (every < values[-1])]
        low, high = float(values[0]), float(values[-1])
        if not len(inside):
            return Path(values, angles, low, high, ends, stretches, 0, ())
        inside, found, jacobian = at(inside)
        rank, strength, loose = self._rank(inside, found, jacobian)
        if rank:
            dead = crossings(inside, strength)
            dead = np.array(
                [narrowed(place, self._span * FIRST_STEP, lambda x: weakest_strength(at(x)[2], rank)) for place in dead]
            )
            before, after = dead[dead <= self.start.value], dead[dead > self.start.value]
            if len(before):
                low, ends, stretches = float(before.max()), ("dead point", ends[1]), (None, stretches[1])
            if len(after):
                high, ends, stretches = float(after.min()), (ends[0], "dead point"), (stretches[0], None)
        # Between positions that all but coincide there is nothing to interpolate.
        new = np.abs(inside[:, None] - values).min(axis=1) > 1e-7 * self._span
        both = np.concatenate([values, inside[new]])
        order = np.argsort(both)
        every = np.concatenate([angles, found[new]])[order]
        return Path(both[order], every, low, high, ends, stretches, len(self.geometry.unknowns) - rank, loose)

    def _looked_at(self) -> Array:
        """Driver values at which the Jacobian is looked at: closer together near the ends, short of the ends."""
        even = np.arange(self.low, self.high, self._span * FIRST_STEP)[1:]
        dense = self._span * FIRST_STEP / 8 * np.arange(2, 40)
        return np.unique(np.concatenate([even, self.low + dense, self.high - dense]))

    def _rank(self, values: Array, angles: Array, jacobian: Array) -> tuple[int, Array, tuple[str, ...]]:
        """How many directions the Jacobian knows, how strong the weakest is, and what moves in the others."""
        strength = np.linalg.svd(jacobian, compute_uv=False)
        rank = int((strength > FREE * strength[:, :1]).sum(axis=1).max())
        middle = len(jacobian) // 2
        motions = np.linalg.svd(jacobian[middle], full_matrices=True)[2][rank:]
        tried = _HAIR_RAD * np.concatenate([motions, -motions])
        known = self._at_values(np.full(len(tried), values[middle])) | self._columns(angles[middle] + tried)
        every = {**self._columns(tried), **self.geometry.closing_angles(known)}
        moves = {name: float(np.ptp(every[name]) if len(tried) else 0.0) for name in self.gives}
        loose = tuple(name for name, part in moves.items() if part > 0.1 * max(moves.values()))
        return rank, strength[:, rank - 1] / strength[:, 0], loose
