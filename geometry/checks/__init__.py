"""What is known before anything is cut: one module a check, all run by run_checks."""

from __future__ import annotations

from ..spread import Spread
from .artwork import check_artwork
from .closes_flat import check_closes_flat
from .findings import Finding
from .opens_fully import check_opens_fully
from .stays_inside import check_stays_inside

__all__ = ["CHECKS", "Finding", "run_checks"]

CHECKS = (check_closes_flat, check_opens_fully, check_stays_inside, check_artwork)
_RANK = {"error": 0, "warning": 1, "note": 2}


def run_checks(spread: Spread) -> tuple[Finding, ...]:
    """Run every check.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    tuple of Finding, errors first
    """
    findings = [finding for check in CHECKS for finding in check(spread)]
    return tuple(sorted(findings, key=lambda finding: _RANK[finding.severity]))
