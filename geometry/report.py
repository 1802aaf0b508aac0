"""The check's result for people and for programs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from .checks.findings import Finding
from .errors import DescriptionError, HingeleafError
from .figures import figures_data, figures_text
from .spread import Spread

__all__ = ["error_data", "report_data", "report_text"]

_SIGN = {"error": "ERROR  ", "warning": "WARNING", "note": "NOTE   "}


def report_data(spread: Spread, findings: Sequence[Finding]) -> dict[str, Any]:
    """The result of the checks, ready for JSON."""
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
        "findings": [finding.as_dict() for finding in findings],
        "figures": figures_data(spread),
    }


def _cell_data(name: str, fold: str, lock: tuple[float, float]) -> dict[str, Any]:
    closing, opening = np.degrees(lock)
    limits = [float(closing), float(opening)] if np.isfinite(closing) else None
    return {"id": name, "fold": fold, "fold_limits_deg": limits}


def error_data(error: HingeleafError) -> dict[str, Any]:
    """An input that cannot be read, ready for JSON."""
    if isinstance(error, DescriptionError):
        problems = [
            {"place": problem.place, "message": problem.message, "line": problem.line} for problem in error.problems
        ]
        return {"format": 1, "source": error.source, "problems": problems}
    return {"format": 1, "source": None, "problems": [{"place": "input", "message": str(error), "line": None}]}


def report_text(spread: Spread, findings: Sequence[Finding]) -> str:
    """The result of the checks, to be read."""
    width, height = spread.page_size_mm
    low, high = np.degrees(spread.reachable())
    lines = [
        spread.title,
        f"  pages of {width:g} x {height:g} mm, {len(spread.pieces)} pieces, {len(spread.panels)} panels, "
        f"{len(spread.cells)} cells",
        f"  moves from {low:.2f} to {high:.2f} degrees" if np.isfinite(low) else "  cannot stand at any opening",
    ]
    for finding in findings:
        lines.append(f"  {_SIGN[finding.severity]} {finding.code}: {finding.message}")
        if finding.remedy:
            lines.append(f"          {finding.remedy}")
    if not findings:
        lines.append("  closes flat, opens fully, stays inside the page, and nothing else is wrong")
    return "\n".join([*lines, *figures_text(spread)])
