"""Checking a book step by step, so that a window can show how far it is and stop it."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass

import bpy

from .books import description_of
from .carrying import gone_files
from .geometry import Spread, assemble
from .geometry.checks import CHECKS, Finding, worst_first
from .geometry.checks.artwork import gone_artwork
from .geometry.figures import figures_text
from .geometry.remedies import each_with_remedy

__all__ = ["Checked", "check_at_once", "check_in_steps"]

#: Shares of the whole that the checks and the remedies take, about.
_CHECKS, _REMEDIES = 0.35, 0.55


@dataclass(frozen=True)
class Checked:
    """What a check found: of which spread, the findings with their remedies, and the lines of figures."""

    spread: Spread
    findings: tuple[Finding, ...]
    figures: str


def check_in_steps(root: bpy.types.Object) -> Generator[tuple[float, str], None, Checked]:
    """Check a book.

    Parameters
    ----------
    root : the book; its description is read at the first step

    Yields
    ------
    how much is done, 0 to 1, and what comes next

    Returns
    -------
    Checked

    Raises
    ------
    HingeleafError
        The description cannot be read or built.
    """
    description = description_of(root)
    spread = assemble(description)
    found: list[Finding] = []
    for number, (code, check) in enumerate(CHECKS.items()):
        yield _CHECKS * number / len(CHECKS), code
        found.extend(check(spread))
    found.extend(gone_artwork(spread, gone_files(root, description.folder)))
    mended: list[Finding] = []
    worst = worst_first(found)
    yield _CHECKS, "remedies"
    for number, finding in enumerate(each_with_remedy(description, spread, worst), start=1):
        mended.append(finding)
        yield _CHECKS + _REMEDIES * number / len(worst), f"remedy {number} of {len(worst)}"
    yield _CHECKS + _REMEDIES, "accuracy"
    return Checked(spread, tuple(mended), "\n".join(figures_text(spread)))


def check_at_once(root: bpy.types.Object) -> Checked:
    """The same without a stop; HingeleafError as in check_in_steps."""
    steps = check_in_steps(root)
    while True:
        try:
            next(steps)
        except StopIteration as end:
            checked: Checked = end.value
            return checked
