"""Glue: every tab lies on its host, clear of cuts, creases, other tabs and the host fold, and is wide enough."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import numpy as np
import shapely
from shapely import LineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from ..model import GlueArea
from ..spread import Spread
from ..tolerances import SLIVER_MM2, TOUCH_MM
from .findings import Finding, Severity

__all__ = ["check_glue"]

_CODE = "glue"


def check_glue(spread: Spread) -> list[Finding]:
    """Findings on what is glued.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding; places are on the host's net. Measure, mm: how far a tab reaches beyond its host, its distance from
    the fold, its width, or the width of an overlap; mm2: the glue that a rider lacks

    Notes
    -----
    Source: DESIGN.md, section 5.
    """
    spread = spread.folding
    findings: list[Finding] = []
    for area in spread.glue_areas:
        if spread.panels[area.glued].role == "tab":
            findings.extend(_tab_findings(spread, area))
    findings.extend(_overlaps(spread))
    findings.extend(_loose_riders(spread))
    return findings


def _tab_findings(spread: Spread, area: GlueArea) -> Iterator[Finding]:
    outside = area.outline.difference(spread.panels[area.host].outline)
    if outside.area > SLIVER_MM2:
        reach = _reach(outside, spread.panels[area.host].outline)
        message = f"{area.glued} reaches {reach:.2f} mm beyond {area.host}: over its edge, a crease or a cut"
        yield _finding(spread, area, "error", reach, outside, message)
    clear = spread.limits.fold_clearance
    for line in _host_fold(spread, area):
        distance = float(area.outline.distance(line))
        if distance < clear - TOUCH_MM:
            message = f"{area.glued} comes within {distance:.2f} mm of the fold it stands on; {clear:g} mm keep it free"
            yield _finding(spread, area, "warning", distance, area.outline, message)
    width = _depth(spread, area)
    if width < spread.limits.tab_width - TOUCH_MM:
        message = f"{area.glued} is only {width:.1f} mm wide; a hand needs {spread.limits.tab_width:g} mm"
        yield _finding(spread, area, "warning", width, area.outline, message)


def _finding(
    spread: Spread,
    area: GlueArea,
    severity: Severity,
    measure: float,
    where: BaseGeometry,
    message: str,
    other: str | None = None,
    unit: Literal["mm", "mm2"] = "mm",
) -> Finding:
    place = where.representative_point()
    piece = spread.panels[area.glued].piece
    return Finding(_CODE, severity, piece, area.glued, (place.x, place.y), None, measure, unit, message, other=other)


def _reach(outside: BaseGeometry, host: Polygon) -> float:
    """How far a region lies off the host at the most; in a notch of the host no corner of it may."""
    near = max(float(host.distance(Point(point))) for point in shapely.get_coordinates(outside))
    low, high = near, near + float(np.sqrt(outside.area))
    while high - low > TOUCH_MM:
        middle = (low + high) / 2
        if outside.difference(host.buffer(middle)).is_empty:
            high = middle
        else:
            low = middle
    return low if low > near + TOUCH_MM else near


def _host_fold(spread: Spread, area: GlueArea) -> list[LineString]:
    """The fold that the tab's mechanism stands on, as lines on the host's net."""
    # A mechanism of several pieces has one fold that it stands on.
    mechanism = spread.panels[area.glued].piece.split(".")[0]
    fold = next((item.fold for item in spread.cells if item.id == mechanism), None)
    lines = []
    for hinge in spread.hinges:
        if fold is not None and hinge.id.split("#")[0] in (fold, f"{fold}.glue") and area.host in hinge.panels:
            lines.append(LineString(hinge.lines[hinge.panels.index(area.host)]))
    return lines


def _depth(spread: Spread, area: GlueArea) -> float:
    """How far a tab reaches beyond its crease."""
    for hinge in spread.hinges:
        if hinge.kind == "crease" and area.glued in hinge.panels:
            start, end = hinge.lines[hinge.panels.index(area.glued)]
            along = (end - start) / np.hypot(*(end - start))
            offset = np.asarray(spread.panels[area.glued].outline.exterior.coords) - start
            return float(np.max(np.abs(offset @ np.array([-along[1], along[0]]))))
    return 0.0


def _overlaps(spread: Spread) -> Iterator[Finding]:
    areas = spread.glue_areas
    if not areas:
        return
    tree = shapely.STRtree([area.outline for area in areas])
    for one, two in zip(*tree.query([area.outline for area in areas], predicate="intersects"), strict=True):
        first, second = areas[min(one, two)], areas[max(one, two)]
        if one >= two or first.host != second.host or first.face != second.face:
            continue
        common = first.outline.intersection(second.outline)
        if common.area <= SLIVER_MM2:
            continue
        tabs = all(spread.panels[area.glued].role == "tab" for area in (first, second))
        low_x, low_y, high_x, high_y = common.bounds
        measure = float(min(high_x - low_x, high_y - low_y))
        message = f"{first.glued} and {second.glued} are glued over each other on {first.host} ({common.area:.1f} mm2)"
        yield _finding(spread, second, "error" if tabs else "warning", measure, common, message, first.glued)


def _loose_riders(spread: Spread) -> Iterator[Finding]:
    least = spread.limits.glued_share
    for panel in spread.panels.values():
        if panel.role != "rider":
            continue
        areas = [area for area in spread.glue_areas if area.glued == panel.id]
        share = sum(area.outline.area for area in areas) / panel.outline.area
        if share < least:
            message = f"only {100 * share:.0f} % of {panel.id} lie on {areas[0].host}; glue needs {100 * least:.0f} %"
            lacking = (least - share) * panel.outline.area
            yield _finding(spread, areas[0], "warning", lacking, areas[0].outline, message, unit="mm2")
