"""Loops: what can flop because nothing holds it, and where a loop comes to a dead point."""

from __future__ import annotations

from typing import Literal

import numpy as np

from ..loops import Loop
from ..model import Hinge
from ..spread import Spread
from .findings import Finding, Severity

__all__ = ["check_free_motions", "check_loop_dead_points"]


def check_free_motions(spread: Spread) -> list[Finding]:
    """Errors where a loop can move although nothing moves it.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, code "free-motion", one a loop; measure is the number of free motions

    Notes
    -----
    Source: DESIGN.md, section 3: the rank of the loop's Jacobian, sampled along its motion.
    """
    return [_free_motion(spread, loop) for loop in spread.loops if loop.path.free]


def _free_motion(spread: Spread, loop: Loop) -> Finding:
    count = loop.path.free
    hinges = [hinge for name in loop.path.loose if (hinge := _hinge_of(spread, loop, name)) is not None]
    names = [hinge.id for hinge in hinges] or list(loop.path.loose)
    moved = "the opening" if loop.driver == "spine" else "what a hand does"
    message = (
        f"{loop.id} can flop about {_listed(names)}: besides {moved} it has {count} free motion{'s' * (count > 1)}; "
        f"give it {count} panel{'s' * (count > 1)} fewer, or hold it in more places"
    )
    return _finding(spread, loop, "free-motion", "error", hinges[:1], (None, float(count), "motions"), message)


def check_loop_dead_points(spread: Spread) -> list[Finding]:
    """Warnings where a loop's motion ends because it comes to a dead point.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, code "dead-point", one an end; opening_deg is where, None where a hand moves the loop; measure is
    0 degrees: it is the dead point itself

    Notes
    -----
    Source: DESIGN.md, section 3: there the Jacobian loses rank between positions on both sides that close. A loop that
    lies flat in the closed or the open book does so too, but there the motion ends anyway.
    """
    return [
        _dead_point(spread, loop, value)
        for loop in spread.loops
        for value, end in zip((loop.path.low, loop.path.high), loop.path.ends, strict=True)
        if end == "dead point"
    ]


def _dead_point(spread: Spread, loop: Loop, value: float) -> Finding:
    opening = float(np.degrees(value)) if loop.driver == "spine" else None
    where = f"{loop.said(value)} of opening" if opening is not None else loop.said(value)
    own = [hinge for name in loop.geometry.unknowns if (hinge := _hinge_of(spread, loop, name)) is not None]
    creases = [hinge for hinge in own if hinge.kind == "crease"] or own
    about = f" about {_listed([hinge.id for hinge in creases])}" if creases else ""
    message = (
        f"{loop.id} comes to a dead point at {where}: there it lies stretched or folded shut, and from there on it may "
        f"turn either way{about}; change its sizes so that it does not come straight on the way"
    )
    return _finding(spread, loop, "dead-point", "warning", creases[:1], (opening, 0.0, "deg"), message)


def _hinge_of(spread: Spread, loop: Loop, variable: str) -> Hinge | None:
    """The hinge whose angle a variable of the loop is: between two of its panels, the tab's crease left out."""
    pairs = [{panel.id, panel.parent} for panel in loop.geometry.panels if panel.variable == variable]
    pairs += [set(closure.panels) for closure in loop.geometry.closures if closure.variable == variable]
    return next((hinge for hinge in spread.hinges if set(hinge.panels) in pairs), None)


def _listed(names: list[str]) -> str:
    """Names of hinges as a person reads them: glue lines by the line that panel and tab share."""
    short = [name.removesuffix(".glue") for name in names]
    return short[0] if len(short) == 1 else f"{', '.join(short[:-1])} and {short[-1]}"


def _finding(
    spread: Spread,
    loop: Loop,
    code: str,
    severity: Severity,
    hinges: list[Hinge],
    measured: tuple[float | None, float, Literal["deg", "motions"]],
    message: str,
) -> Finding:
    panel, place = spread.panel_of(loop.id), None
    if hinges:
        panel = spread.panels[hinges[0].panels[0]]
        x, y = hinges[0].lines[0].mean(axis=0)
        place = (float(x), float(y))
    opening, measure, unit = measured
    return Finding(code, severity, panel.piece, panel.id, place, opening, measure, unit, message)
