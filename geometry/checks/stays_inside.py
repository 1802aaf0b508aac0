"""Stays inside: what sticks out of the closed page."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Point, Polygon, box

from ..model import Panel
from ..spread import Spread
from ..tolerances import SLIVER_MM2
from ..transforms import Array, apply, inverse
from .findings import Finding, Severity

__all__ = ["check_stays_inside", "closed_outline_of"]

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
    rings = [
        apply(matrix, np.asarray(ring.coords))[:, :2] for ring in [panel.outline.exterior, *panel.outline.interiors]
    ]
    return Polygon(rings[0], rings[1:])


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
    limit. Panels that cannot be reached at opening 0 are left to the check of closing flat.
    """
    width, height = spread.page_size_mm
    page = box(0.0, 0.0, width, height)
    margin = spread.margin_mm
    free = box(0.0, margin, width - margin, height - margin)
    motion = spread.pose(np.zeros(1))
    findings = []
    for panel in spread.panels.values():
        matrix = motion.matrices[panel.id][0]
        if panel.role == "page" or not np.isfinite(matrix).all():
            continue
        outline = closed_outline_of(panel, matrix)
        for limit, severity in ((page, "error"), (free, "warning")):
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
        message = f"{panel.id} sticks out {overshoot:.2f} mm beyond {edge} of the closed page ({outside.area:.1f} mm2)"
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
