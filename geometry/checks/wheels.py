"""Wheels: a window shows the wheel everywhere over its whole turn and keeps clear of the pivot; a finger gets at it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import Point, Polygon

from ..model import Hand, Panel
from ..spread import Spread
from ..tolerances import TOUCH_MM
from ..transforms import Array, apply
from .findings import Finding, Severity

__all__ = ["check_wheels"]

_CODE = "wheel"


@dataclass(frozen=True)
class _Disc:
    """A wheel on its host's net: pivot (2,), the radius that it fills however it is turned, and its pivot's hole's."""

    panel: Panel
    host: Panel
    outline: Polygon
    pivot: Array
    radius: float
    hole: float


def check_wheels(spread: Spread) -> list[Finding]:
    """Findings on wheels.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding; places are on the net of the panel on which the wheel turns, measure is in mm

    Notes
    -----
    Exact over the whole turn, not sampled: what a wheel fills however it is turned is a ring about its pivot.
    """
    findings: list[Finding] = []
    for hand in spread.hands:
        disc = _disc_of(spread, hand)
        if disc is not None:
            findings += _windows(spread, hand, disc)
            findings += _in_reach(hand, disc)
    return findings


def _disc_of(spread: Spread, hand: Hand) -> _Disc | None:
    """What a hand turns in the plane of its host; None where it does something else."""
    for panel in spread.panels.values():
        axis = panel.axis
        if axis is None or panel.variable != hand.variable or not axis.pivots:
            continue
        rings = [
            apply(panel.rest, np.asarray(ring.coords))[:, :2]
            for ring in (panel.outline.exterior, *panel.outline.interiors)
        ]
        pivot = np.asarray(axis.point[:2])
        inner = [np.hypot(*(ring - pivot).T).max() for ring in rings[1:]]
        outline = Polygon(rings[0])
        radius = float(outline.exterior.distance(Point(pivot)))
        return _Disc(panel, spread.panels[str(panel.parent)], outline, pivot, radius, float(max(inner, default=0.0)))
    return None


def _windows(spread: Spread, hand: Hand, disc: _Disc) -> Iterator[Finding]:
    neck = spread.limits.neck
    for window in hand.windows:
        points = shapely.get_coordinates(window)
        far = np.hypot(*(points - disc.pivot).T)
        place, beyond = points[np.argmax(far)], float(far.max()) - disc.radius
        if beyond > TOUCH_MM:
            message = (
                f"the window of {hand.id} reaches {beyond:.2f} mm past the wheel's rim and shows what lies behind it; "
                f"make the wheel's radius at least {disc.radius + beyond + neck:.1f} mm, or the window smaller"
            )
            yield _finding(disc, "error", place, beyond, message)
        elif -beyond < neck - TOUCH_MM:
            message = (
                f"the window of {hand.id} comes within {-beyond:.2f} mm of the wheel's rim; {neck:g} mm hide the rim "
                f"even where hand and pivot are a little off"
            )
            yield _finding(disc, "warning", place, -beyond, message)
        near = float(window.distance(Point(disc.pivot))) - disc.hole
        if near < neck - TOUCH_MM:
            message = (
                f"the window of {hand.id} comes within {max(near, 0.0):.2f} mm of its pivot; {neck:g} mm of card "
                f"hold it"
            )
            yield _finding(disc, "error" if near < TOUCH_MM else "warning", disc.pivot, max(near, 0.0), message)
    if not hand.windows and Polygon(disc.host.outline.exterior).contains(disc.outline):
        message = f"nothing of {hand.id} is seen: {disc.host.id} hides all of it; cut a window"
        yield _finding(disc, "warning", disc.pivot, 0.0, message)


def _in_reach(hand: Hand, disc: _Disc) -> Iterator[Finding]:
    card = Polygon(disc.host.outline.exterior)
    rim = disc.outline.exterior
    if card.contains(disc.outline) and not any(slot.intersects(rim) for slot in hand.slots):
        short = float(card.exterior.distance(disc.outline))
        message = (
            f"no finger gets at the rim of {hand.id}: it lies {short:.2f} mm inside the edge of {disc.host.id} and "
            f"under no slot; move it out by more than that, or cut a slot across its rim"
        )
        yield _finding(disc, "warning", disc.pivot, short, message)


def _finding(disc: _Disc, severity: Severity, place: ArrayLike, measure: float, message: str) -> Finding:
    x, y = np.asarray(place, dtype=float)
    return Finding(_CODE, severity, disc.panel.piece, disc.panel.id, (float(x), float(y)), None, measure, "mm", message)
