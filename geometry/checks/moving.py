"""Motion: how much faster than the opening a tip moves, and where a fold is near a dead point."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..model import CellOnFold
from ..motion import Motion
from ..spread import Spread
from ..transforms import Array, apply
from .findings import Finding

__all__ = ["Speed", "check_motion", "speeds"]


def check_motion(spread: Spread) -> list[Finding]:
    """Warnings where a cell comes near a dead point on its way.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, code "dead-point": the loop lies flat or folded at an opening at which it should move, and may go
    either way there

    Notes
    -----
    Source: DESIGN.md, section 5. Looked at every degree of the reachable openings. A stretch that begins with the
    closed book, in which the card is held, or ends with the spread lying open, which a hand helps over, is none.
    """
    openings = _openings(spread)
    if len(openings) < 3:
        return []
    motion = spread.pose(np.radians(openings))
    found = (_dead_point(spread, item, openings, motion) for item in spread.cells)
    return [finding for finding in found if finding is not None]


def _openings(spread: Spread) -> Array:
    low, high = np.degrees(spread.reachable())
    return np.arange(np.ceil(low), np.floor(high) + 0.5, 1.0) if np.isfinite(low) else np.zeros(0)


def _dead_point(spread: Spread, item: CellOnFold, openings: Array, motion: Motion) -> Finding | None:
    limit = spread.limits.dead_point
    middle = np.degrees(motion.variables[f"{item.id}:middle"])
    flat = np.minimum(middle, 180.0 - middle)
    near = _inside(flat < limit)
    if not near.any():
        return None
    index = np.flatnonzero(near)[np.argmin(flat[near])]
    panel = spread.panels[f"{item.id}.left"]
    message = (
        f"{item.id} is near a dead point from {openings[near][0]:g} to {openings[near][-1]:g} degrees: its middle "
        f"crease is within {limit:g} degrees of {'flat' if middle[index] > 90 else 'folded shut'} and may go either way"
    )
    opening, measure = float(openings[index]), float(flat[index])
    return Finding("dead-point", "warning", panel.piece, panel.id, None, opening, measure, "deg", message)


def _inside(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The flags without the stretches that begin at the first or end at the last opening."""
    inside = flags.copy()
    if flags.all():
        inside[:] = False
    elif flags.any():
        inside[: int(np.argmin(flags))] = False
        inside[len(flags) - int(np.argmin(flags[::-1])) :] = False
    return inside


@dataclass(frozen=True)
class Speed:
    """The fastest tip of a mechanism: mm a degree of opening, and where that is."""

    mechanism: str
    panel: str
    place_mm: tuple[float, float]
    opening_deg: float
    mm_per_deg: float


def speeds(spread: Spread) -> tuple[Speed, ...]:
    """How fast each mechanism's fastest tip moves.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    tuple of Speed, one a cell
    """
    openings = _openings(spread)
    if len(openings) < 3:
        return ()
    motion = spread.pose(np.radians(openings))
    return tuple(_speed(spread, item, openings, motion) for item in spread.cells)


def _speed(spread: Spread, item: CellOnFold, openings: Array, motion: Motion) -> Speed:
    best = Speed(item.id, f"{item.id}.left", (0.0, 0.0), 0.0, -1.0)
    for side in ("left", "right"):
        panel = spread.panels[f"{item.id}.{side}"]
        corners = np.asarray(panel.outline.exterior.coords)
        path = apply(motion.matrices[panel.id], corners)
        step = np.sqrt((np.diff(path, axis=0) ** 2).sum(axis=2)) / np.diff(openings)[:, None]
        row, column = np.unravel_index(int(np.nanargmax(step)), step.shape)
        if step[row, column] > best.mm_per_deg:
            place = (float(corners[column, 0]), float(corners[column, 1]))
            opening = float((openings[row] + openings[row + 1]) / 2)
            best = Speed(item.id, panel.id, place, opening, float(step[row, column]))
    return best
