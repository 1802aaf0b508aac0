"""The check's result for people and for programs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from .checks.findings import Finding
from .errors import DescriptionError, HingeleafError
from .figures import Figures, figures_data, figures_text
from .model import Hand
from .sampling import hand_range
from .spread import Spread

__all__ = ["SIGNS", "error_data", "report_data", "report_text"]

#: How severities are written in a report.
SIGNS = {"error": "ERROR  ", "warning": "WARNING", "note": "NOTE   "}


def report_data(spread: Spread, findings: Sequence[Finding], figures: Figures | None = None) -> dict[str, Any]:
    """The result of the checks, ready for JSON; figures where they have been worked out already."""
    low, high = np.degrees(spread.reachable())
    return {
        "format": 1,
        "title": spread.title,
        "page_mm": list(spread.page_size_mm),
        "reach_deg": [float(low), float(high)] if np.isfinite(low) else None,
        "pieces": [
            {"id": piece.id, "title": piece.title, "panels": list(piece.panels), "stock": piece.stock.id}
            for piece in spread.pieces
        ],
        "cells": [_cell_data(item.id, item.fold, item.cell.lock()) for item in spread.cells],
        "hands": [_hand_data(spread, hand) for hand in spread.hands],
        "findings": [finding.as_dict() for finding in findings],
        "figures": figures_data(spread, figures),
    }


def _cell_data(name: str, fold: str, lock: tuple[float, float]) -> dict[str, Any]:
    closing, opening = np.degrees(lock)
    limits = [float(closing), float(opening)] if np.isfinite(closing) else None
    return {"id": name, "fold": fold, "fold_limits_deg": limits}


def _hand_data(spread: Spread, hand: Hand) -> dict[str, Any]:
    """A hand's own range and rest, and how far it really gets."""
    reached = [hand.said(value) for value in hand_range(spread, hand)]
    numbers = {"low": hand.low, "high": hand.high, "rest": hand.rest}
    said = {name: hand.said(value) for name, value in numbers.items()}
    return {"id": hand.id, "unit": hand.unit, **said, "reach": reached}


def _hand_text(spread: Spread, hand: Hand) -> str:
    """What a hand moves and how far, to be read."""
    low, high = (hand.said(value) for value in hand_range(spread, hand))
    rest = hand.said(hand.rest)
    return f"  a hand moves {hand.id} from {low:.4g} to {high:.4g} {hand.unit}; left alone it is at {rest:.4g}"


def error_data(error: HingeleafError) -> dict[str, Any]:
    """An input that cannot be read, ready for JSON."""
    if isinstance(error, DescriptionError):
        problems = [
            {"place": problem.place, "message": problem.message, "line": problem.line} for problem in error.problems
        ]
        return {"format": 1, "source": error.source, "problems": problems}
    return {"format": 1, "source": None, "problems": [{"place": "input", "message": str(error), "line": None}]}


def report_text(spread: Spread, findings: Sequence[Finding], figures: Figures | None = None) -> str:
    """The result of the checks, to be read; figures where they have been worked out already."""
    width, height = spread.page_size_mm
    low, high = np.degrees(spread.reachable())
    lines = [
        spread.title,
        f"  pages of {width:g} x {height:g} mm, {len(spread.pieces)} pieces, {len(spread.panels)} panels, "
        f"{len(spread.cells)} cells",
        f"  moves from {low:.2f} to {high:.2f} degrees" if np.isfinite(low) else "  cannot stand at any opening",
    ]
    lines += [_hand_text(spread, hand) for hand in spread.hands]
    for finding in findings:
        lines.append(f"  {SIGNS[finding.severity]} {finding.code}: {finding.message}")
        if finding.remedy:
            lines.append(f"          {finding.remedy}")
    if not findings:
        lines.append("  closes flat, opens fully, stays inside the page, and nothing else is wrong")
    return "\n".join([*lines, *figures_text(spread, figures)])
