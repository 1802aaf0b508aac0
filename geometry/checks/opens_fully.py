"""Opens fully: the largest opening, and what locks there."""

from __future__ import annotations

import numpy as np

from ..model import CellOnFold
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
    locked = locking_cells(spread.cells, np.pi)
    highest = [reach(chain_of(spread.cells, item))[1] for item in locked]
    return [_finding(spread, item, float(np.degrees(own))) for item, own in zip(locked, highest, strict=True)]


def _finding(spread: Spread, item: CellOnFold, opening: float) -> Finding:
    closing, opening_lock = np.degrees(item.cell.lock())
    limits = f"its fold {item.fold} can be between {closing:.2f} and {opening_lock:.2f} degrees"
    message = f"{item.id} locks at an opening of {opening:.2f} degrees: {limits}"
    panel = spread.panels[f"{item.id}.left"]
    return Finding(_CODE, "error", panel.piece, panel.id, None, opening, opening, "deg", message)
