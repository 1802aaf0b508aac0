"""The reverse question: which sizes make a mechanism stand as wished, inside the page and closing flat."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .assembly import assemble
from .changes import Change, Sizing, apply_changes, size_of, spec_of, unit_of
from .checks import CHECKS, run_checks
from .checks.stays_inside import check_stays_inside
from .description.data import Description
from .errors import HingeleafError
from .spread import Spread
from .transforms import Array, apply

__all__ = ["Fit", "Wish", "fit", "fit_in_steps", "parse_free", "parse_wish"]

#: Work that stops after every trial; what it gets there is how many there may be, 0 where nobody knows.
Steps = Generator[int, None, Array]

_STEP = 1e-4
_ROUNDS = 60
_GOOD = 1e-3
_LARGEST_SCALE = 8.0
_BISECTIONS = 24
#: A wish misses by this much (mm or degrees) where the mechanism cannot stand at all.
_NOWHERE = 1e3


@dataclass(frozen=True)
class Wish:
    """What is wished for.

    Parameters
    ----------
    kind : largest; tip (place of the middle crease's end, mm); height (of that end above the right page, mm); lean (of
        the middle crease from the upright, degrees, towards the head positive); square (middle crease square to the
        spine); stand (angle between middle crease and open page, degrees)
    target : (n,) float
    opening_deg : float
    """

    kind: str
    target: tuple[float, ...]
    opening_deg: float

    def __str__(self) -> str:
        values = ", ".join(f"{value:g}" for value in self.target)
        return (
            f"{self.kind}{f' {values}' if values else ''} at {self.opening_deg:g} degrees"
            if self.kind != "largest"
            else self.kind
        )


@dataclass(frozen=True)
class Fit:
    """What was found.

    Parameters
    ----------
    description : the scene with the sizes found
    changes : the free sizes, before and after
    misses : for each wish by how much it is missed, mm or degrees
    granted : whether every wish is met and nothing is wrong that was not wrong before
    obstacles : findings that have come up, and bounds that were reached
    """

    description: Description
    changes: tuple[Change, ...]
    misses: tuple[float, ...]
    granted: bool
    obstacles: tuple[str, ...]


@dataclass(frozen=True)
class Free:
    """A size that may be changed, between two bounds."""

    key: str
    low: float
    high: float


_TARGETS = {"largest": 0, "tip": 3, "height": 1, "lean": 1, "square": 0, "stand": 1}


def parse_wish(text: str) -> Wish:
    """A wish from its text: largest, tip=X,Y,Z@OPENING, height=MM@OPENING, lean=DEG@OPENING, square@OPENING, stand=DEG.

    Raises
    ------
    HingeleafError
        It is none of these.

    Examples
    --------
    >>> parse_wish("tip=20,60,45@120")
    Wish(kind='tip', target=(20.0, 60.0, 45.0), opening_deg=120.0)
    """
    head, _, opening = text.partition("@")
    kind, _, values = head.partition("=")
    try:
        target = tuple(float(value) for value in values.split(",")) if values else ()
        degrees = float(opening) if opening else 180.0
    except ValueError:
        target, degrees = (float("nan"),), 180.0
    right = kind in _TARGETS and len(target) == _TARGETS[kind] and np.isfinite([*target, degrees]).all()
    if not right or not 0 <= degrees <= 180:
        raise HingeleafError(
            f'--wish "{text}": write largest, tip=X,Y,Z@OPENING, height=MM@OPENING, lean=DEG@OPENING, '
            "square@OPENING or stand=DEG"
        )
    return Wish(kind, target, degrees)


def parse_free(text: str, value: float) -> Free:
    """A free size from KEY or KEY:LOW:HIGH; without bounds it may shrink to a tenth or grow to ten times.

    Examples
    --------
    >>> parse_free("height:20:90", 50.0)
    Free(key='height', low=20.0, high=90.0)
    """
    key, *bounds = text.split(":")
    try:
        low, high = (float(bound) for bound in bounds) if bounds else _bounds(key, value)
    except ValueError:
        raise HingeleafError(f'--free "{text}": write KEY or KEY:LOW:HIGH, e.g. height:20:90') from None
    if not low < high:
        raise HingeleafError(f'--free "{text}": the lower bound must be below the upper one')
    return Free(key, low, high)


def _bounds(key: str, value: float) -> tuple[float, float]:
    if "angle" in key:
        return 1.0, 179.0
    if key.startswith("at"):
        return value - 500.0, value + 500.0
    return value / 10, value * 10


def fit(description: Description, mechanism: str, wishes: Sequence[Wish], free: Sequence[str]) -> Fit:
    """Find sizes that grant the wishes, or come nearest to it.

    Parameters
    ----------
    description : Description
    mechanism : id of the mechanism that is to stand so
    wishes : at least one
    free : sizes of that mechanism that may change, KEY or KEY:LOW:HIGH

    Returns
    -------
    Fit

    Raises
    ------
    HingeleafError
        No such mechanism or size, or nothing is wished or free.

    Notes
    -----
    Bounded damped Gauss-Newton over the exact kinematics, with what sticks out of the closed page among the residuals;
    "largest" is bisected with all checks. A wish is granted only if run_checks has no finding that was not there.
    """
    steps = fit_in_steps(description, mechanism, wishes, free)
    while True:
        try:
            next(steps)
        except StopIteration as end:
            found: Fit = end.value
            return found


def fit_in_steps(
    description: Description, mechanism: str, wishes: Sequence[Wish], free: Sequence[str]
) -> Generator[int, None, Fit]:
    """The same as fit, stopping after every trial, so that a window can go on meanwhile.

    Yields
    ------
    how many trials there are going to be; 0 where that depends on what comes out
    """
    if not wishes or not free:
        raise HingeleafError("a fit needs at least one --wish and one --free size")
    spread = assemble(description)
    sizes = {text: size_of(description, spread, mechanism, text.split(":")[0]) for text in free}
    frees = [parse_free(text, value) for text, value in sizes.items()]
    start = np.array(list(sizes.values()))
    if not any(item.id == mechanism for item in spread.cells):
        raise HingeleafError(
            f"{mechanism} has no middle crease that could be fitted; name a v-fold, a tent or a cut-in"
        )
    problem = _Problem(description, mechanism, tuple(wishes), tuple(frees))
    if any(wish.kind == "largest" for wish in wishes):
        if len(wishes) > 1:
            raise HingeleafError("largest is a wish of its own; leave the others out")
        found = yield from problem.largest(start, spread)
    else:
        found = yield from problem.nearest(start)
    return problem.result(start, found, spread)


@dataclass(frozen=True)
class _Problem:
    description: Description
    mechanism: str
    wishes: tuple[Wish, ...]
    frees: tuple[Free, ...]

    @cached_property
    def _sizing(self) -> Sizing:
        return Sizing(self.description)

    def changes(self, values: Array) -> dict[tuple[str, str], float]:
        return {(self.mechanism, item.key): float(value) for item, value in zip(self.frees, values, strict=True)}

    def built(self, values: Array) -> Spread | None:
        try:
            return assemble(self._sizing.sized(self.changes(values)))
        except HingeleafError:
            return None

    def residuals(self, values: Array) -> Array:
        """Misses of every wish, and what sticks out of the closed page, mm and degrees."""
        found = self.built(values)
        count = sum(max(1, len(wish.target)) for wish in self.wishes)
        if found is None:
            return np.full(count + 1, _NOWHERE)
        misses = np.concatenate([_miss(found, self.mechanism, wish) for wish in self.wishes])
        outside = [finding.measure for finding in check_stays_inside(found)]
        return np.append(misses, max(outside, default=0.0))

    def nearest(self, start: Array) -> Steps:
        """The best of several descents: from the present sizes, and from sizes a fifth to either side of them."""
        best = yield from self.descend(start)
        for share in (0.8, 1.2, 0.6, 1.6):
            if np.abs(self.residuals(best)).max() < _GOOD:
                break
            other = yield from self.descend(start * share)
            if (self.residuals(other) ** 2).sum() < (self.residuals(best) ** 2).sum():
                best = other
        return best

    def descend(self, start: Array) -> Steps:
        low, high = np.array([item.low for item in self.frees]), np.array([item.high for item in self.frees])
        best = np.clip(start, low, high)
        residual, damping = self.residuals(best), 1e-3
        for _ in range(_ROUNDS):
            if np.abs(residual).max() < 1e-9:
                break
            yield 0
            slopes = [
                self.residuals(best + _STEP * unit) - self.residuals(best - _STEP * unit) for unit in np.eye(len(best))
            ]
            jacobian = np.stack(slopes, axis=1) / (2 * _STEP)
            improved = False
            for _ in range(12):
                # A size at its bound that wants to go beyond is held.
                gradient = jacobian.T @ residual
                held = ((best <= low) & (gradient > 0)) | ((best >= high) & (gradient < 0))
                moving = jacobian[:, ~held]
                normal = moving.T @ moving
                shift = np.zeros(len(best))
                if normal.size:
                    scale = np.diag(np.maximum(np.diag(normal), 1e-12))
                    shift[~held] = -np.linalg.lstsq(normal + damping * scale, moving.T @ residual, rcond=None)[0]
                trial = np.clip(best + shift, low, high)
                tried = self.residuals(trial)
                if tried @ tried < residual @ residual * (1 - 1e-12):
                    best, residual, damping, improved = trial, tried, damping / 5, True
                    break
                damping *= 5
            if not improved:
                break
        return np.asarray(best)

    def largest(self, start: Array, spread: Spread) -> Steps:
        known = {finding.key for finding in run_checks(spread) if finding.code != "stays-inside"}

        def sound(found: Spread) -> bool:
            return all(finding.key in known for check in CHECKS.values() for finding in check(found))

        def stands(scale: float) -> bool:
            values = start * scale
            inside = all(item.low <= value <= item.high for item, value in zip(self.frees, values, strict=True))
            found = self.built(values) if inside else None
            return found is not None and sound(found)

        scales = np.geomspace(1 / _LARGEST_SCALE, _LARGEST_SCALE, 49)
        good = []
        for scale in scales:
            yield len(scales) + _BISECTIONS
            good.append(stands(float(scale)))
        if not any(good):
            return start
        index = len(good) - 1 - good[::-1].index(True)
        low, high = float(scales[index]), float(scales[min(index + 1, len(scales) - 1)])
        for _ in range(_BISECTIONS):
            yield len(scales) + _BISECTIONS
            middle = (low + high) / 2
            low, high = (middle, high) if stands(middle) else (low, middle)
        return np.asarray(start * low)

    def result(self, start: Array, found: Array, before: Spread) -> Fit:
        built = self.built(found)
        if built is None:
            raise HingeleafError(f"{self.mechanism} cannot be built with any of the sizes tried; free other sizes")
        description, spread = apply_changes(self.description, self.changes(found)), built
        unit = spec_of(description, self.mechanism)
        changes = tuple(
            Change(self.mechanism, item.key, float(old), float(new), unit_of(unit, item.key))
            for item, old, new in zip(self.frees, start, found, strict=True)
        )
        misses = tuple(float(np.abs(_miss(spread, self.mechanism, wish)).max()) for wish in self.wishes)
        known = {finding.key for finding in run_checks(before)}
        new = [finding for finding in run_checks(spread) if finding.key not in known]
        obstacles = [finding.message for finding in new]
        for item, value in zip(self.frees, found, strict=True):
            if min(value - item.low, item.high - value) < 1e-6 * (item.high - item.low):
                obstacles.append(f"{item.key} has reached its bound of {value:g}")
        granted = max(misses) < _GOOD and not new
        if not granted and not obstacles:
            obstacles.append("the free sizes alone do not lead there; free another one")
        return Fit(description, changes, misses, granted, tuple(obstacles) if not granted else ())


def _crease(spread: Spread, mechanism: str, opening_deg: float) -> tuple[Array, Array]:
    """Ends of a middle crease in the world, (3,) float, mm; NaN where it is not reached."""
    parts = [hinge for hinge in spread.hinges if hinge.id.split("#")[0] == f"{mechanism}.middle"]
    matrix = spread.pose(np.radians([opening_deg])).matrices[parts[0].panels[0]][0]
    points = apply(matrix, np.array([parts[0].lines[0][0], parts[-1].lines[0][1]]))
    return points[0], points[1]


def _miss(spread: Spread, mechanism: str, wish: Wish) -> Array:
    """By how much a wish is missed, (n,) float, mm or degrees."""
    if wish.kind == "largest":
        return np.zeros(1)
    foot, tip = _crease(spread, mechanism, wish.opening_deg)
    if not np.isfinite(tip).all():
        return np.full(max(1, len(wish.target)), _NOWHERE)
    line = (tip - foot) / np.sqrt(((tip - foot) ** 2).sum())
    if wish.kind == "tip":
        return np.asarray(tip - np.array(wish.target))
    if wish.kind == "height":
        return np.array([tip[2] - wish.target[0]])
    if wish.kind == "lean":
        return np.array([np.degrees(np.arctan2(line[1], np.hypot(line[0], line[2]))) - wish.target[0]])
    if wish.kind == "square":
        return np.array([np.degrees(np.arcsin(np.clip(line[1], -1.0, 1.0)))])
    return np.array([np.degrees(np.arcsin(np.clip(line[2], -1.0, 1.0))) - wish.target[0]])
