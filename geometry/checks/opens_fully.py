"""Opens fully: the largest opening, and what locks there."""

from __future__ import annotations

import numpy as np

from ..loops import Loop
from ..model import CellOnFold
from ..motion import Unit
from ..reach import chain_of, locking_cells, reach
from ..spread import Spread
from .findings import Finding

__all__ = ["check_opens_fully"]

_CODE = "opens-fully"


def check_opens_fully(spread: Spread) -> list[Finding]:
    """Findings on opening to 180 degrees.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, one for each cell that locks; measure is the opening reached, in degrees

    Notes
    -----
    Source: DESIGN.md, section 3 (lock angle in closed form, on the cell's own fold) and 5.
    """
    _, high = spread.reachable()
    if not np.isfinite(high) or high >= np.pi:
        return []
    locked = locking_cells(spread.units, np.pi)
    highest = [reach(chain_of(spread.units, item))[1] for item in locked]
    return [_finding(spread, item, float(np.degrees(own))) for item, own in zip(locked, highest, strict=True)]


def _finding(spread: Spread, item: Unit, opening: float) -> Finding:
    message = f"{item.id} locks at an opening of {opening:.2f} degrees: {_limits(item)}"
    panel = spread.panel_of(item.id)
    return Finding(_CODE, "error", panel.piece, panel.id, None, opening, opening, "deg", message)


def _limits(item: Unit) -> str:
    if isinstance(item, CellOnFold):
        closing, opening = np.degrees(item.cell.lock())
        return f"its fold {item.fold} can be between {closing:.2f} and {opening:.2f} degrees"
    if isinstance(item, Loop) and item.path.ends[1] == "dead point":
        return "it lies stretched there, at a dead point, and beyond it may go either way"
    missing = item.missing_mm(float(np.pi)) if isinstance(item, Loop) and item.driver == "spine" else float("nan")
    lacking = f"; to lie flat open its ends would have to miss each other by {missing:.2f} mm"
    # What is in the way only in mid-motion could lie flat open again: there is nothing to tell.
    return "its panels let it go no further" + (lacking if round(missing, 2) > 0.0 else "")
