"""The exact motion as samples: few openings, between which straight interpolation is accurate enough."""

from __future__ import annotations

import numpy as np
import shapely

from .errors import HingeleafError
from .motion import pose_panels, solve_cells
from .spread import Spread
from .tolerances import RIG_MM
from .transforms import Array, apply

__all__ = ["sample_turns"]

_FIRST_STEPS = 36
_MOST_ROUNDS = 40
_SMALLEST_STEP_RAD = 1e-9
#: Errors are looked at in these parts of each interval; the tolerance is halved, for what lies between them.
_PARTS = (0.25, 0.5, 0.75)


def sample_turns(spread: Spread, tolerance_mm: float = RIG_MM) -> tuple[Array, dict[str, Array]]:
    """Openings and hinge angles that carry the motion when interpolated in straight lines.

    Parameters
    ----------
    spread : Spread
    tolerance_mm : no panel corner may be off by more between two samples, through the whole chain of parents

    Returns
    -------
    openings_deg : (n,) float, rising, over the reachable openings
    turns_rad : for every turning panel (n,) float, the angle of its axis

    Raises
    ------
    HingeleafError
        The spread cannot stand at any opening.
    """
    low, high = spread.reachable()
    if not np.isfinite(low):
        raise HingeleafError(f"{spread.title}: its mechanisms cannot stand together at any opening")
    openings = np.linspace(low, high, _FIRST_STEPS + 1)
    bad = np.ones(_FIRST_STEPS, dtype=bool)
    for _ in range(_MOST_ROUNDS):
        error = np.zeros(len(openings) - 1)
        error[bad] = _errors(spread, openings[:-1][bad], openings[1:][bad])
        bad = (error > tolerance_mm / 2) & (np.diff(openings) > _SMALLEST_STEP_RAD)
        if not bad.any():
            break
        middles = (openings[:-1][bad] + openings[1:][bad]) / 2
        keep = np.insert(bad, np.flatnonzero(bad) + 1, True)
        openings = np.sort(np.concatenate([openings, middles]))
        bad = keep
    variables = solve_cells(openings, spread.cells)
    turns: dict[str, Array] = {}
    for panel in spread.panels.values():
        if panel.axis is not None and panel.axis.turn.variable is not None:
            angle = panel.axis.turn
            turns[panel.id] = angle.offset + angle.scale * variables[str(angle.variable)]
    return np.degrees(openings), turns


def _errors(spread: Spread, starts: Array, ends: Array) -> Array:
    """Largest corner error inside each interval, (k,) float, mm."""
    first, last = solve_cells(starts, spread.cells), solve_cells(ends, spread.cells)
    worst = np.zeros(len(starts))
    hulls = {name: panel.outline.convex_hull for name, panel in spread.panels.items()}
    corners = {name: shapely.get_coordinates(hull)[:-1] for name, hull in hulls.items()}
    for part in _PARTS:
        exact = solve_cells(starts + part * (ends - starts), spread.cells)
        straight = {name: first[name] + part * (last[name] - first[name]) for name in first}
        true_pose = pose_panels(spread.panels.values(), exact)
        near_pose = pose_panels(spread.panels.values(), straight)
        for name, points in corners.items():
            off = apply(true_pose[name], points) - apply(near_pose[name], points)
            worst = np.fmax(worst, np.sqrt((off**2).sum(axis=2)).max(axis=1))
    return worst
