"""What a hand moves, over its whole travel: a pull-strip in its guides and in the page, and what stops it short."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import Polygon, box
from shapely.geometry.base import BaseGeometry

from ..description.data import MechanismSpec
from ..mechanisms.flap import FlapPlan, flap_plan
from ..mechanisms.links import LINK_TAB_MM, SliderCrank, slider_crank
from ..model import Hand, Panel
from ..sampling import hand_range
from ..spread import Spread
from ..tolerances import SLIVER_MM2, TOUCH_MM
from ..transforms import Array, apply, inverse
from .findings import Finding
from .stays_inside import closed_outline_of, page_of

__all__ = ["check_hand_locks", "check_pull_strips"]

_STRIP = "pull-strip"
_LOCKS = "hand-locks"
#: A range that ends by less before the hand's own is the rounding of a dead point.
_SHORT = 1e-6
#: A remedy's place for a link's glue line is looked for this finely.
_STEP_MM = 0.5


def check_hand_locks(spread: Spread) -> list[Finding]:
    """Errors where a loop stops a hand before the end of its range.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding; measure is how far it really gets from its own low end, mm or degrees
    """
    findings = []
    for hand in spread.hands:
        low, high = (hand.said(value) for value in hand_range(spread, hand))
        own_low, own_high = hand.said(hand.low), hand.said(hand.high)
        if low <= own_low + _SHORT and high >= own_high - _SHORT:
            continue
        panel = _moved_panel(spread, hand)
        linked = _linked(spread, hand)
        loops = ", ".join(loop.id for loop in spread.loops if loop.driver == hand.variable)
        message = (
            f"{hand.id} moves only from {low:.2f} to {high:.2f} {hand.unit}, not from {own_low:g} to {own_high:g}: "
            f"there {_stopping(linked, loops)} stops it; {_remedy(linked, high - own_low)}"
        )
        findings.append(Finding(_LOCKS, "error", panel.piece, panel.id, None, None, high - own_low, hand.unit, message))
    return findings


@dataclass(frozen=True)
class _Linked:
    """A pull-strip that opens a flap.

    Parameters
    ----------
    spec : the pull-strip
    strip : its panel
    flap : what it opens
    """

    spec: MechanismSpec
    strip: Panel
    flap: FlapPlan

    def crank(self, spec: MechanismSpec) -> SliderCrank:
        """The slider-crank that they are, with other values of the pull-strip's."""
        return slider_crank(spec, self.strip, self.flap)


def _linked(spread: Spread, hand: Hand) -> _Linked | None:
    """The pull-strip that a hand moves, where it opens a flap; None of any other hand."""
    specs = {spec.id: spec for spec in spread.mechanisms}
    spec = specs.get(hand.id)
    if spec is None or spec.kind != _STRIP or "drives" not in spec.values:
        return None
    return _Linked(spec, spread.panels[f"{spec.id}.strip"], flap_plan(specs[spec.values["drives"]]))


def _stopping(linked: _Linked | None, loops: str) -> str:
    """What stops a hand short."""
    if linked is None:
        return f"the loop of {loops}"
    plan = linked.crank(linked.spec)
    return f"its link of {plan.link:g} mm, glued {plan.crank:g} mm from the hinge, lies in line with the flap and"


def _remedy(linked: _Linked | None, free: float) -> str:
    """What would let it move: less travel; and where the link could be glued for the whole of it, if anywhere."""
    if linked is None:
        return "let it move no further"
    less = f"write travel = {np.floor((free + _SHORT) * 100) / 100:g}"
    spec, crank = linked.spec, linked.crank(linked.spec).crank
    # Its tab may point either way from the glue line.
    tab = spec.values.get("link_tab", LINK_TAB_MM)
    places = np.arange(np.ceil(tab / _STEP_MM) * _STEP_MM, linked.flap.width - tab, _STEP_MM)
    others = [linked.crank(_glued_at(spec, place)) for place in places]
    enough = [other.crank for other in others if _moves(other) and other.free >= spec.values["travel"]]
    if not enough:
        return less
    return f"{less}, or link_reach = {min(enough, key=lambda reach: abs(reach - crank)):g}"


def _moves(plan: SliderCrank) -> bool:
    """Whether a link can be built, its ends apart, that does not have to pass through the flap's hinge."""
    near, far = plan.span
    return plan.link > TOUCH_MM and TOUCH_MM < near <= abs(plan.start) + TOUCH_MM and abs(plan.start) <= far + TOUCH_MM


def _glued_at(spec: MechanismSpec, reach: float) -> MechanismSpec:
    return replace(spec, values={**spec.values, "link_reach": float(reach)})


def check_pull_strips(spread: Spread) -> list[Finding]:
    """Errors where a strip leaves its guides, sticks in them or in glue, or stands out of the page further than it may.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding; places are on the strip's net, measure is in mm

    Notes
    -----
    Exact over the whole travel, not sampled: a strip moves straight, so what it passes through a guide is one stretch
    of it, and it stands out the most at an end of its travel.
    """
    findings: list[Finding] = []
    for hand in spread.hands:
        panel = _moved_panel(spread, hand)
        if panel.axis is None or not panel.axis.slides:
            continue
        low, high = hand_range(spread, hand)
        for guide in spread.panels.values():
            if guide.piece.startswith(f"{hand.id}.guide"):
                findings += _in_guide(spread, panel, _passage(spread, panel, guide, (low, high)))
        findings += _over_glue(spread, hand, panel, (low, high))
        findings += _in_page(spread, hand, panel, (low, high))
    return findings


def _moved_panel(spread: Spread, hand: Hand) -> Panel:
    """The panel that a hand itself moves."""
    for panel in spread.panels.values():
        if panel.variable == hand.variable:
            return panel
    return spread.panel_of(hand.id)


@dataclass(frozen=True)
class _Passage:
    """What of a strip passes through a guide.

    Parameters
    ----------
    guide, panel : its name and its panel's
    start, end : float, mm; from where to where on the strip's net
    free : half the width that the guide leaves
    """

    guide: str
    panel: str
    start: float
    end: float
    free: float


def _passage(spread: Spread, strip: Panel, guide: Panel, travel: tuple[float, float]) -> _Passage:
    place = inverse(strip.rest) @ guide.rest
    along = apply(place, np.asarray(guide.outline.exterior.coords))[:, 0]
    way = 1.0 if strip.axis is None else float(np.sign(strip.rest[:3, 0] @ strip.axis.direction))
    moved = [way * value for value in travel]
    back = inverse(strip.rest)
    ears = [area.outline for area in spread.glue_areas if area.glued == guide.id]
    heights = [np.abs(apply(back, np.asarray(ear.exterior.coords))[:, 1]).min() for ear in ears]
    free = float(min(heights, default=0.0))
    return _Passage(guide.piece, guide.id, float(along.min()) - max(moved), float(along.max()) - min(moved), free)


def _in_guide(spread: Spread, strip: Panel, passage: _Passage) -> Iterator[Finding]:
    low, _, high, _ = strip.outline.bounds
    for short, end in ((low - passage.start, low), (passage.end - high, high)):
        if short > TOUCH_MM:
            message = (
                f"{strip.id} leaves {passage.guide} by {short:.2f} mm within its travel; move the guide or make the "
                f"strip longer by that, or let it travel less"
            )
            yield _finding(strip, (end, 0.0), short, message, passage.panel)
    within = strip.outline.intersection(box(passage.start, -1e4, passage.end, 1e4))
    wide = np.abs(shapely.get_coordinates(within)[:, 1]).max(initial=0.0) - passage.free
    if wide > TOUCH_MM:
        x, y = max(shapely.get_coordinates(within), key=lambda point: abs(point[1]))
        message = (
            f"{strip.id} sticks in {passage.guide}: it is {wide:.2f} mm too wide on one side where it has to pass; cut "
            f"it narrower there, move the guide, or let it travel less"
        )
        yield _finding(strip, (x, y), wide, message, passage.panel)
    for area in spread.glue_areas:
        if area.host == strip.id and area.face == "front":
            left, _, right, _ = area.outline.bounds
            common = min(right, passage.end) - max(left, passage.start)
            if common > TOUCH_MM:
                message = (
                    f"{area.glued} strikes {passage.guide}: {common:.2f} mm of it would have to pass under the guide"
                )
                yield _finding(strip, ((left + right) / 2, 0.0), common, message, passage.panel)


def _over_glue(spread: Spread, hand: Hand, strip: Panel, travel: tuple[float, float]) -> Iterator[Finding]:
    """Card glued on its host, on the same face, where the strip has to slide."""
    if strip.axis is None:
        return
    lane = _swept(strip, strip.axis.direction[:2], travel)
    for area in spread.glue_areas:
        own = area.glued.startswith(f"{hand.id}.")
        if own or area.host != strip.parent or (area.face == "back") != hand.behind:
            continue
        common = lane.intersection(area.outline)
        if common.area > SLIVER_MM2:
            left, low, right, high = common.bounds
            short = float(min(right - left, high - low))
            message = (
                f"{area.glued} is glued over the way of {strip.id}, {short:.2f} mm wide ({common.area:.1f} mm2), and "
                f"would hold it; let the strip slide on the other face, or move the one or the other"
            )
            back = apply(inverse(strip.rest), np.array([[*common.representative_point().coords[0], 0.0]]))[0]
            yield _finding(strip, (float(back[0]), float(back[1])), short, message, area.glued)


def _swept(strip: Panel, way: Array, travel: tuple[float, float]) -> BaseGeometry:
    """All that a strip covers of its host over its travel, in the host's net coordinates."""
    ring = apply(strip.rest, np.asarray(strip.outline.exterior.coords))[:, :2]
    first, last = (ring + moved * way for moved in travel)
    edges = [Polygon([first[index], first[index + 1], last[index + 1], last[index]]) for index in range(len(ring) - 1)]
    return shapely.union_all([Polygon(first), Polygon(last), *(edge.buffer(0) for edge in edges)])


def _in_page(spread: Spread, hand: Hand, strip: Panel, travel: tuple[float, float]) -> Iterator[Finding]:
    """The strip moved to either end of its travel, the book closed."""
    limit = page_of(spread, strip)
    motion = spread.pose(np.zeros(len(travel)), {hand.id: np.array(travel)})
    worst: tuple[float, float, tuple[float, float]] = (0.0, 0.0, (0.0, 0.0))
    for moved, matrix in zip(travel, motion.matrices[strip.id], strict=True):
        if moved == hand.rest or not np.isfinite(matrix).all():
            # At rest it is the check of staying inside that looks.
            continue
        outside = closed_outline_of(strip, matrix).difference(limit)
        for x, y in shapely.get_coordinates(outside) if outside.area > SLIVER_MM2 else ():
            over = float(limit.distance(shapely.Point(x, y)))
            if over > worst[0]:
                place = apply(inverse(matrix), np.array([[x, y, 0.0]]))[0]
                worst = (over, moved, (float(place[0]), float(place[1])))
    over, moved, place_mm = worst
    if over > TOUCH_MM:
        message = (
            f"{strip.id}, moved {moved:g} mm, stands {over + hand.beyond_mm:.2f} mm out of the page; its handle may "
            f"stand out {hand.beyond_mm:g} mm: write beyond = {over + hand.beyond_mm:.4g}, or make it shorter"
        )
        yield _finding(strip, place_mm, over, message)


def _finding(
    strip: Panel, place: tuple[float, float], measure: float, message: str, other: str | None = None
) -> Finding:
    where = (float(place[0]), float(place[1]))
    return Finding(_STRIP, "error", strip.piece, strip.id, where, None, float(measure), "mm", message, other=other)
