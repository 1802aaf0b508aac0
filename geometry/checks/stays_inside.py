"""Stays inside: what sticks out of the closed page."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Point, Polygon, box

from ..model import Panel
from ..outline import carried
from ..spread import Spread
from ..tolerances import SLIVER_MM2
from ..transforms import Array, apply, inverse
from .findings import Finding, Severity

__all__ = ["check_stays_inside", "closed_outline_of", "page_of"]

_CODE = "stays-inside"


def closed_outline_of(panel: Panel, matrix: Array) -> Polygon:
    """A panel's outline as it lies on the closed page, in world x and y.

    Parameters
    ----------
    panel : Panel
    matrix : (4, 4) float, its pose at opening 0

    Returns
    -------
    Polygon, mm
    """
    return carried(panel.outline, matrix)


def page_of(spread: Spread, panel: Panel) -> Polygon:
    """The closed page, and beyond its outer edges as far as a handle or a rim may stand out of it.

    Parameters
    ----------
    spread : Spread
    panel : whose limit it is

    Returns
    -------
    Polygon, mm; x from the spine, y from the foot
    """
    width, height = spread.page_size_mm
    more = sum(hand.beyond_mm for hand in spread.hands if hand.variable == panel.variable)
    limit: Polygon = box(0.0, -more, width + more, height + more)
    return limit


def check_stays_inside(spread: Spread) -> list[Finding]:
    """Findings on panels that stick out of the closed page, or into its margin.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding; measure is the largest overshoot in mm, the message gives the area

    Notes
    -----
    Source: DESIGN.md, section 5. The margin counts along the three outer edges; at the spine the fold itself is the
    limit. A handle or a rim may stand out as far as its mechanism says. Panels that cannot be reached at opening 0 are
    left to the check of closing flat.
    """
    spread = spread.folding
    width, height = spread.page_size_mm
    margin = spread.margin_mm
    free = box(0.0, margin, width - margin, height - margin)
    motion = spread.pose(np.zeros(1))
    findings = []
    for panel in spread.panels.values():
        matrix = motion.matrices[panel.id][0]
        if panel.role == "page" or not np.isfinite(matrix).all():
            continue
        outline = closed_outline_of(panel, matrix)
        page = page_of(spread, panel)
        # What may stand out of the page may stand in its margin.
        limits = [(page, "error")] if page.bounds[3] > height else [(page, "error"), (free, "warning")]
        for limit, severity in limits:
            outside = outline.difference(limit)
            if outside.area > SLIVER_MM2:
                findings.append(_finding(panel, matrix, outside, limit, severity))  # type: ignore[arg-type]
                break
    return findings


def _finding(panel: Panel, matrix: Array, outside: Polygon, limit: Polygon, severity: Severity) -> Finding:
    points = shapely.get_coordinates(outside)
    distances = np.array([limit.distance(Point(point)) for point in points])
    index = int(np.argmax(distances))
    overshoot, (x, y) = float(distances[index]), points[index]
    low_x, low_y, high_x, high_y = limit.bounds
    edges = {"the spine": low_x - x, "the foot": low_y - y, "the fore edge": x - high_x, "the head": y - high_y}
    edge = max(edges, key=lambda name: edges[name])
    if severity == "warning":
        message = f"{panel.id} reaches {overshoot:.2f} mm into the margin at {edge} ({outside.area:.1f} mm2)"
    elif edge == "the spine":
        message = f"{panel.id} snags the spine: {overshoot:.2f} mm of it lie beyond the fold ({outside.area:.1f} mm2)"
    else:
        # A limit that lies beyond the page's foot is one of a handle or a rim.
        allowed = max(0.0, -low_y)
        more = f", {overshoot:.2f} mm more than it may," if allowed else ""
        message = (
            f"{panel.id} sticks out {overshoot + allowed:.2f} mm{more} beyond {edge} of the closed page "
            f"({outside.area:.1f} mm2)"
        )
    place = apply(inverse(matrix), np.array([[x, y, 0.0]]))[0]
    return Finding(
        _CODE,
        severity,
        panel.piece,
        panel.id,
        (float(place[0]), float(place[1])),
        0.0,
        overshoot,
        "mm",
        message,
        area_mm2=float(outside.area),
    )
