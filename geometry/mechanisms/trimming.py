"""Tabs trimmed where, as they come by default, they would lie on what they must keep off.

A tab whose width nobody asked for takes its shape by itself: where it would reach over an edge, a cut or a crease of
its host, over another tab there, or over card of its own piece on the net, that part is cut off, 1 mm further than it
would touch. Nothing is trimmed where that would leave less glue than the narrowest tab that a hand can glue, or let go
more than half of the crease; then the checks say what is wrong. A tab whose width the description gives, one that goes
through a slot, and one that carries something stay as they are.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from ..building import Building, HingePlan
from ..model import GlueArea, Panel, Trim
from ..outline import carried, common_part, parts_of, without
from ..tolerances import SLIVER_MM2, TOUCH_MM
from ..transforms import inverse

__all__ = ["trim_tabs"]

#: What is trimmed keeps this far off, as glue does off the host fold: a hand lays a tab to about half of that.
_CLEAR_MM = 1.0
#: Strips of a tab narrower than this are cut off too; they would tear.
_NARROWEST_MM = 2.0


def trim_tabs(building: Building) -> tuple[Trim, ...]:
    """Trim the tabs of everything that has been built; their panels are replaced in the building.

    Parameters
    ----------
    building : with all its cuts made

    Returns
    -------
    tuple of Trim
    """
    areas = [area for area in building.glue_areas if building.panels[area.glued].role == "tab"]
    free = _free(building, areas)
    trims: list[Trim] = []
    for area in areas:
        if area.glued in free:
            for fault in _own_faults(building, area):
                trims += _trim(building, area, fault)
    for one, two in _neighbours(building, areas):
        trims += _apart(building, [area for area in (two, one) if area.glued in free], (one, two))
    return tuple(trims)


@dataclass(frozen=True)
class _Fault:
    """What a tab lies on and must not: its shape on the tab's net, and what it is."""

    shape: BaseGeometry
    over: str


def _free(building: Building, areas: list[GlueArea]) -> set[str]:
    """The tabs that may be trimmed."""
    carrying = {area.host for area in building.glue_areas} | {panel.parent for panel in building.panels.values()}
    folded = [name for plan in building.hinges if plan.kind == "crease" for name in plan.panels]
    names = {area.glued for area in areas if area.glued in building.default_tabs}
    return {name for name in names if name not in carrying and folded.count(name) == 1}


def _own_faults(building: Building, area: GlueArea) -> Iterator[_Fault]:
    """What of the host and of its own piece a tab lies on."""
    tab, host = building.panels[area.glued], building.panels[area.host]
    lying = carried(tab.outline, tab.rest)
    # Most tabs lie inside their hosts, which is quickly seen; rounding is for the slower way.
    outside = Polygon() if host.outline.covers(lying) else without(lying, host.outline)
    if outside.area > SLIVER_MM2:
        yield _Fault(_on_net(tab, outside), f"an edge, a cut or a crease of {area.host}")
    for name in building.pieces[tab.piece].panels:
        if name != tab.id and _overlap(tab.outline, building.panels[name].outline):
            yield _Fault(building.panels[name].outline, f"{name} on the net")


def _on_net(tab: Panel, region: BaseGeometry) -> BaseGeometry:
    return shapely.union_all([carried(part, inverse(tab.rest)) for part in parts_of(region)])


def _neighbours(building: Building, areas: list[GlueArea]) -> Iterator[tuple[GlueArea, GlueArea]]:
    """Tabs that are glued over each other, the later one second.

    Tabs only get smaller meanwhile, so that only those that touch at first can ever meet.
    """
    if len(areas) < 2:
        return
    shapes = [_lying(building, area) for area in areas]
    firsts, seconds = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    for second, first in sorted(zip(seconds.tolist(), firsts.tolist(), strict=True)):
        one, two = areas[first], areas[second]
        same = first < second and (one.host, one.face) == (two.host, two.face)
        if same and _overlap(_lying(building, one), _lying(building, two)):
            yield one, two


def _overlap(one: Polygon, two: Polygon) -> bool:
    return bool(one.intersects(two)) and common_part(one, two).area > SLIVER_MM2


def _lying(building: Building, area: GlueArea) -> Polygon:
    """A tab as it lies on its host."""
    tab = building.panels[area.glued]
    return carried(tab.outline, tab.rest)


def _apart(building: Building, free: list[GlueArea], pair: tuple[GlueArea, GlueArea]) -> list[Trim]:
    """One of two tabs gives way to the other: the one that keeps more of itself, the later of two that keep as much."""
    shares = []
    for area in free:
        tab = building.panels[area.glued]
        rest = _rest(building, tab, _beside(building, area, pair).shape)
        shares.append(-1.0 if rest is None else round(rest.area / tab.outline.area, 6))
    if not shares:
        return []
    area = free[int(np.argmax(shares))]
    return _trim(building, area, _beside(building, area, pair))


def _beside(building: Building, area: GlueArea, pair: tuple[GlueArea, GlueArea]) -> _Fault:
    """The other tab of a pair, on the net of this one."""
    other = next(item for item in pair if item.glued != area.glued)
    return _Fault(_on_net(building.panels[area.glued], _lying(building, other)), other.glued)


def _trim(building: Building, area: GlueArea, fault: _Fault) -> list[Trim]:
    """Trim one tab for one fault; nothing where that would leave too little."""
    tab = building.panels[area.glued]
    rest = _rest(building, tab, fault.shape)
    if rest is None:
        return []
    building.add_panel(tab.with_outline(rest))
    return [Trim(tab.id, area.host, fault.over, tab.outline.area - rest.area)]


def _rest(building: Building, tab: Panel, shape: BaseGeometry) -> Polygon | None:
    """What is left of a tab that keeps off a shape on its net; None where it is too little."""
    root = _crease(building, tab.id)
    half = _NARROWEST_MM / 2
    left: BaseGeometry = without(tab.outline, shape.buffer(_CLEAR_MM, join_style="mitre"))
    left = common_part(left, left.buffer(-half, join_style="mitre").buffer(half, join_style="mitre"))
    parts = [part for part in parts_of(left) if part.distance(root) < TOUCH_MM]
    if not parts:
        return None
    rest = max(parts, key=lambda part: part.area)
    limit = building.description.limits.tab_width
    least = common_part(tab.outline, root.buffer(limit, cap_style="flat"))
    reach = max(root.distance(shapely.Point(corner)) for corner in shapely.get_coordinates(rest))
    held = [_on_root(outline, root) for outline in (rest, tab.outline)]
    enough = rest.area >= least.area and reach >= limit - TOUCH_MM and held[0] >= held[1] / 2
    return rest if enough else None


def _on_root(outline: Polygon, root: LineString) -> float:
    """How much of an outline lies on the crease, mm."""
    return float(outline.boundary.intersection(root.buffer(TOUCH_MM, cap_style="flat")).length)


def _crease(building: Building, tab: str) -> LineString:
    """The line of a tab's crease on its net, drawn out beyond both its ends."""
    plan: HingePlan = next(plan for plan in building.hinges if plan.kind == "crease" and tab in plan.panels)
    index = plan.panels.index(tab)
    origin, along = plan.origins[index], plan.directions[index]
    far = float(np.abs((shapely.get_coordinates(building.panels[tab].outline) - origin) @ along).max())
    return LineString([origin - far * along, origin + far * along])
