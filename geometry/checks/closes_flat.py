"""Closes flat: how far the closed spread stands off the page, or the opening at which it jams."""

from __future__ import annotations

import numpy as np

from ..linkage import PlanarCell, closing_partner
from ..loops import Loop
from ..motion import Unit, solve_cells
from ..reach import chain_of, locking_cells, reach
from ..spread import Spread
from ..tolerances import FLAT_MM
from ..transforms import apply
from .findings import Finding, Severity

__all__ = ["check_closes_flat", "closing_error"]

_CODE = "closes-flat"


def check_closes_flat(spread: Spread) -> list[Finding]:
    """Findings on closing.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding; measure in degrees where it jams, in mm where it stands off the page

    Notes
    -----
    Source: DESIGN.md, section 5. A gap below the card's caliper is a warning: the card gives, the eye sees it.
    """
    spread = spread.folding
    low, _ = spread.reachable()
    if not np.isfinite(low):
        return [_never(spread)]
    locked = locking_cells(spread.units, 0.0) if low > 0.0 else []
    findings = [_jam(spread, item, reach(chain_of(spread.units, item))[0]) for item in locked]
    return findings + _standing_off(spread)


def _never(spread: Spread) -> Finding:
    names = sorted({item.id for item in locking_cells(spread.units, np.pi / 2)}) or [spread.units[0].id]
    message = f"{', '.join(names)} cannot stand at any opening: the added panels are too short to meet"
    return Finding(_CODE, "error", _piece_of(spread, names[0]), None, None, None, 180.0, "deg", message)


def _jam(spread: Spread, item: Unit, low: float) -> Finding:
    opening = float(np.degrees(low))
    gap = 2 * spread.page_size_mm[0] * np.sin(low / 2)
    piece = _piece_of(spread, item.id)
    message = f"{item.id} jams at an opening of {opening:.2f} degrees; the book's fore edge stays {gap:.2f} mm open"
    missing = item.missing_mm(0.0) if isinstance(item, Loop) and item.driver == "spine" else float("nan")
    # What is in the way only in mid-motion could lie flat shut again: there is nothing to tell.
    if round(missing, 2) > 0.0:
        message += f", and pressed shut its ends would miss each other by {missing:.2f} mm"
    severity = _severity(spread, piece, gap)
    return Finding(_CODE, severity, piece, spread.panel_of(item.id).id, None, opening, opening, "deg", message)


def _standing_off(spread: Spread) -> list[Finding]:
    motion = spread.pose(np.zeros(1))
    worst: dict[str, tuple[float, str, tuple[float, float]]] = {}
    for panel in spread.panels.values():
        matrix = motion.matrices[panel.id][0]
        if not np.isfinite(matrix).all():
            continue
        corners = np.asarray(panel.outline.exterior.coords)
        heights = np.abs(apply(matrix, corners)[:, 2])
        # The first of those that are equally high, so that rounding does not choose.
        index = int(np.flatnonzero(heights >= heights.max() - FLAT_MM)[0])
        owner = _mechanism_of(spread, panel.id)
        if heights[index] > worst.get(owner, (0.0,))[0] + FLAT_MM:
            worst[owner] = (float(heights[index]), panel.id, (float(corners[index, 0]), float(corners[index, 1])))
    findings = []
    for owner, (height, panel_id, place) in worst.items():
        piece = spread.panels[panel_id].piece
        message = f"{owner} stands {height:.3g} mm off the page when the book is closed"
        severity = _severity(spread, piece, height)
        findings.append(Finding(_CODE, severity, piece, panel_id, place, 0.0, height, "mm", message))
    return findings


def _severity(spread: Spread, piece: str, gap_mm: float) -> Severity:
    return "error" if gap_mm > spread.piece(piece).stock.caliper_mm else "warning"


def _mechanism_of(spread: Spread, panel_id: str) -> str:
    return panel_id.split(".")[0]


def _piece_of(spread: Spread, mechanism: str) -> str:
    return spread.panel_of(mechanism).piece


def closing_error(spread: Spread, mechanism: str) -> float | None:
    """By how much the right panel of a cell misses the size with which it closes flat.

    Parameters
    ----------
    spread : Spread
    mechanism : id of a mechanism

    Returns
    -------
    float, degrees (spherical) or mm (planar), the change that the right panel needs; None where there is no such cell
    or its host fold does not close itself
    """
    item = next((item for item in spread.cells if item.id == mechanism), None)
    if item is None:
        return None
    closed = float(item.host.of(solve_cells(np.zeros(1), spread.units))[0])
    flat = round(closed / np.pi) * np.pi if np.isfinite(closed) else np.nan
    if not abs(closed - flat) < 1e-9:
        return None
    cell = item.cell
    if isinstance(cell, PlanarCell):
        hosts, added, other = (cell.base_left, cell.base_right), cell.width_left, cell.width_right
        return closing_partner(flat, cell.branch, hosts, added) - other
    hosts, added, other = (cell.alpha_left, cell.alpha_right), cell.beta_left, cell.beta_right
    return float(np.degrees(closing_partner(flat, cell.branch, hosts, added) - other))
