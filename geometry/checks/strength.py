"""Strength: narrow necks between cuts, panels too small to fold, creases that run too near a cut."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache

import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import nearest_points, substring

from ..model import Panel
from ..nets.cuts import find_lines
from ..outline import parts_of
from ..spread import Spread
from ..tolerances import GRID_MM, TOUCH_MM
from .findings import Finding

__all__ = ["check_strength"]

_CODE = "strength"
#: A slit is taken this wide where it parts the card.
_KERF_MM = 1e-3
#: The same where card is drawn in and out again: wider than what is drawn out too far, so that nothing leaps a cut.
_PARTED_MM = 0.02
#: Arcs a quarter circle when card is drawn in and out again, and what may be left over because they are polygons.
_ROUND = 24
_CRUMB_MM = 0.01
#: A crease's ends lie on cuts; so much of its length is left out at each end.
_END_SHARE = 0.2


def check_strength(spread: Spread) -> list[Finding]:
    """Findings on weak places.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding; measure is the width in mm

    Notes
    -----
    Source: DESIGN.md, section 5; the limits are common practice.
    """
    spread = spread.folding
    findings: list[Finding] = []
    for piece in spread.pieces:
        panels = [spread.panels[name] for name in piece.panels]
        hinges = {hinge.id: (hinge.lines[0], hinge.panels) for hinge in spread.creases(piece.id)}
        lines = find_lines({panel.id: panel.outline for panel in panels}, hinges)
        rings = [[*line.points, line.points[0]] if line.closed else line.points for line in lines.cuts]
        cuts = shapely.union_all([LineString(ring) for ring in rings])
        findings.extend(_small_panels(spread, panels))
        findings.extend(_near_creases(spread, piece.id, cuts))
        findings.extend(_necks(spread, piece.id, panels, cuts))
    return findings


def _small_panels(spread: Spread, panels: list[Panel]) -> Iterator[Finding]:
    limit = spread.limits.panel_width
    for panel in panels:
        if panel.role == "tab":
            continue
        circle = shapely.maximum_inscribed_circle(panel.outline, tolerance=0.01)
        width = 2 * circle.length
        if width < limit - 0.02:
            x, y = circle.coords[0]
            message = f"{panel.id} is only {width:.1f} mm wide; it folds cleanly from {limit:g} mm on"
            yield Finding(_CODE, "warning", panel.piece, panel.id, (x, y), None, width, "mm", message)


def _near_creases(spread: Spread, piece_id: str, cuts: BaseGeometry) -> Iterator[Finding]:
    limit = spread.limits.crease_to_cut
    for hinge in spread.creases(piece_id):
        line = LineString(hinge.lines[0])
        middle = substring(line, _END_SHARE, 1 - _END_SHARE, normalized=True)
        for panel in (spread.panels[name] for name in hinge.panels):
            if panel.role == "tab":
                continue
            beside = panel.outline.boundary.intersection(cuts.buffer(_KERF_MM))
            distance = float(middle.distance(beside))
            if distance < min(limit, 0.15 * line.length) - TOUCH_MM:
                place = nearest_points(middle, beside)[0]
                message = (
                    f"the crease {hinge.id} runs {distance:.1f} mm beside a cut and tears there; keep {limit:g} mm"
                )
                yield Finding(_CODE, "warning", piece_id, panel.id, (place.x, place.y), None, distance, "mm", message)


def _necks(spread: Spread, piece_id: str, panels: list[Panel], cuts: BaseGeometry) -> Iterator[Finding]:
    limit = spread.limits.neck
    card = shapely.union_all([panel.outline for panel in panels], grid_size=1e-6).difference(cuts.buffer(_PARTED_MM))
    # Either side of a neck is a cut, and each has been taken wide.
    lost = 2 * _PARTED_MM
    for neck in _bridges(card, limit - lost):
        narrow, wide, place = 0.0, limit - lost, neck.representative_point()
        while wide - narrow > 0.02:
            middle = (narrow + wide) / 2
            found = [part for part in _bridges(card, middle) if part.intersects(neck)]
            if found:
                wide, place = middle, found[0].representative_point()
            else:
                narrow = middle
        wide += lost
        if wide > limit - _PARTED_MM:
            continue
        owner = min(panels, key=lambda panel: panel.outline.distance(place))
        message = (
            f"{piece_id} is only {wide:.1f} mm wide near {place.x:.1f}, {place.y:.1f} mm on its net; {limit:g} mm hold"
        )
        yield Finding(_CODE, "warning", piece_id, owner.id, (place.x, place.y), None, wide, "mm", message)


@lru_cache(maxsize=256)
def _bridges(card: BaseGeometry, width: float) -> tuple[Polygon, ...]:
    """The parts of the card that are narrower than a width and hold wider ones together, at two places or more.

    A point of a free edge is narrow too, but hangs on the card at one place only; it is none. Kept, because most pieces
    stay as they are while the sizes of one are tried.
    """
    wide = card.buffer(-width / 2, quad_segs=_ROUND).buffer(width / 2 + _CRUMB_MM, quad_segs=_ROUND)
    opened = wide.intersection(card)
    found = []
    for part in parts_of(card.difference(wide)):
        contact = part.boundary.intersection(opened.buffer(TOUCH_MM), grid_size=GRID_MM)
        merged = shapely.line_merge(contact) if contact.geom_type == "MultiLineString" else contact
        if sum(line.length > _CRUMB_MM for line in shapely.get_parts(merged)) > 1:
            found.append(part)
    return tuple(found)
