"""The exact motion as samples: few openings, between which straight interpolation is accurate enough."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import shapely

from .errors import HingeleafError
from .model import Hand
from .motion import pose_panels, solve_units
from .spread import Spread
from .tolerances import RIG_MM
from .transforms import Array, apply

__all__ = ["hand_range", "sample_hand", "sample_turns"]

_FIRST_STEPS = 36
_MOST_ROUNDS = 40
#: Part of the whole range below which nothing is divided further.
_SMALLEST_STEP = 1e-9 / np.pi
#: Errors are looked at in these parts of each interval; the tolerance is halved, for what lies between them.
_PARTS = (0.25, 0.5, 0.75)


def sample_turns(
    spread: Spread, tolerance_mm: float = RIG_MM, *, reached: tuple[float, float] | None = None
) -> tuple[Array, dict[str, Array]]:
    """Openings and hinge angles that carry the motion when interpolated in straight lines.

    Parameters
    ----------
    spread : Spread
    tolerance_mm : no panel corner may be off by more between two samples, through the whole chain of parents
    reached : the openings to sample between, radians; by default all that the spread reaches

    Returns
    -------
    openings_deg : (n,) float, rising, over the reachable openings
    turns_rad : for every panel that the opening turns, (n,) float, the angle of its axis

    Raises
    ------
    HingeleafError
        The spread cannot stand at any opening.
    """
    low, high = spread.reachable() if reached is None else reached
    if not np.isfinite(low):
        raise HingeleafError(f"{spread.title}: its mechanisms cannot stand together at any opening")
    values, turns = _sampled(spread, "spine", (low, high), tolerance_mm)
    return np.degrees(values), turns


def sample_hand(spread: Spread, hand: Hand, tolerance_mm: float = RIG_MM) -> tuple[Array, dict[str, Array]]:
    """The same for what a hand moves: how far it has moved it, and what turns or slides with it.

    Parameters
    ----------
    spread : Spread
    hand : one of its hands
    tolerance_mm : as in sample_turns

    Returns
    -------
    values : (n,) float, rising, radians or mm
    turns : for every panel that this hand turns or slides, (n,) float, radians or mm
    """
    return _sampled(spread, hand.variable, hand_range(spread, hand), tolerance_mm)


def hand_range(spread: Spread, hand: Hand) -> tuple[float, float]:
    """How far a hand really gets, (low, high), radians or mm: its own range, less what its loops do not allow."""
    low, high = hand.low, hand.high
    for loop in spread.loops:
        if loop.driver == hand.variable:
            low, high = max(low, loop.path.low), min(high, loop.path.high)
    return low, high


def _sampled(
    spread: Spread, root: str, reached: tuple[float, float], tolerance_mm: float
) -> tuple[Array, dict[str, Array]]:
    values = np.linspace(*reached, _FIRST_STEPS + 1)
    bad = np.ones(_FIRST_STEPS, dtype=bool)
    smallest = _SMALLEST_STEP * (reached[1] - reached[0])
    for _ in range(_MOST_ROUNDS):
        error = np.zeros(len(values) - 1)
        error[bad] = _errors(spread, root, values[:-1][bad], values[1:][bad])
        bad = (error > tolerance_mm / 2) & (np.diff(values) > smallest)
        if not bad.any():
            break
        middles = (values[:-1][bad] + values[1:][bad]) / 2
        keep = np.insert(bad, np.flatnonzero(bad) + 1, True)
        values = np.sort(np.concatenate([values, middles]))
        bad = keep
    variables = _solved(spread, root, values)
    moved = spread.moved_by(root)
    turns: dict[str, Array] = {}
    for panel in spread.panels.values():
        if panel.axis is not None and panel.variable in moved:
            turns[panel.id] = panel.axis.turn.of(variables)
    return values, turns


def _solved(spread: Spread, root: str, values: Array) -> dict[str, Array]:
    known = {"spine": np.full(len(values), np.pi)}
    return solve_units(spread.units, {**known, root: values})


def _errors(spread: Spread, root: str, starts: Array, ends: Array) -> Array:
    """Largest corner error inside each interval, (k,) float, mm."""
    first, last = _solved(spread, root, starts), _solved(spread, root, ends)
    worst = np.zeros(len(starts))
    hulls = {name: panel.outline.convex_hull for name, panel in spread.panels.items()}
    corners = {name: shapely.get_coordinates(hull)[:-1] for name, hull in hulls.items()}
    for part in _PARTS:
        exact = _solved(spread, root, starts + part * (ends - starts))
        worst = np.fmax(worst, _worst_corner(spread, corners, exact, _between(first, last, part)))
    return worst


def _between(first: Mapping[str, Array], last: Mapping[str, Array], part: float) -> dict[str, Array]:
    return {name: first[name] + part * (last[name] - first[name]) for name in first}


def _worst_corner(
    spread: Spread, corners: Mapping[str, Array], exact: Mapping[str, Array], near: Mapping[str, Array]
) -> Array:
    true_pose = pose_panels(spread.panels.values(), exact)
    near_pose = pose_panels(spread.panels.values(), near)
    worst = np.zeros(len(exact["spine"]))
    for name, points in corners.items():
        off = apply(true_pose[name], points) - apply(near_pose[name], points)
        worst = np.fmax(worst, np.sqrt((off**2).sum(axis=2)).max(axis=1))
    return worst
