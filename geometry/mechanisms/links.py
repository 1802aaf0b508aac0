"""Links: the panel between a pull-strip and the flap that it opens, a slider-crank solved as a loop.

Seen along the flap's hinge: the hinge at 0, the flap a crank of radius r that lies along +x when shut, the strip's end
of the link at s on the same line, the link of length l from there to the crank's end. By the law of cosines
s^2 - 2 s r cos(turn) + r^2 = l^2.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from shapely import Polygon, box

from ..building import Building
from ..description.data import MechanismSpec
from ..errors import HingeleafError, MechanismError
from ..model import HostSide, Panel, Piece
from ..outline import cut_window
from ..transforms import Array, apply, inverse
from .feet import Foot, add_foot, close_foot
from .flap import FlapPlan, flap_plan
from .tabs import TabPlan

__all__ = ["LINK_TAB_MM", "SliderCrank", "add_link", "slider_crank", "way_of"]

#: How far a link's tabs reach where nothing is written.
LINK_TAB_MM = 8.0
#: The strip must be square to the flap's hinge to this.
_SQUARE_DEG = 0.05
#: The slot in which a link goes through its panel is longer and wider than its way by this on each side.
_SLOT_PLAY_MM = 0.5
#: Places nearer to each other than this are one; and so little travel is none.
_SAME_MM = 1e-6
#: Positions of the strip among which one to start from is chosen.
_TRIED = 181


@dataclass(frozen=True)
class SliderCrank:
    """A flap that a strip opens by a link, seen along its hinge.

    Parameters
    ----------
    crank : float, mm; from the flap's hinge to the link's glue line on it
    start, way : float, mm, and +1 or -1; where the link's end on the strip is at rest, and which way it moves;
        positive where the shut flap lies
    link : float, mm; length of the link
    """

    crank: float
    start: float
    way: float
    link: float

    def place(self, moved: Array) -> Array:
        """Where the strip's end of the link is, (n,) float, mm."""
        return np.asarray(self.start + self.way * moved)

    def turn(self, moved: Array) -> Array:
        """How far the flap is open, (n,) float, radians; NaN where the link does not reach.

        Notes
        -----
        Source: the law of cosines.
        """
        place = self.place(moved)
        with np.errstate(invalid="ignore", divide="ignore"):
            cosine = (place**2 + self.crank**2 - self.link**2) / (2 * place * self.crank)
            return np.asarray(np.arccos(cosine))

    def link_turn(self, moved: Array, towards: float) -> Array:
        """The link's angle to the strip, (n,) float, radians, from where it points that way, +1 or -1, along x."""
        turn = self.turn(moved)
        along = self.crank * np.cos(turn) - self.place(moved)
        return np.asarray(np.arctan2(self.crank * np.sin(turn), towards * along))

    @property
    def span(self) -> tuple[float, float]:
        """How near the hinge, and how far from it, the link lets its end on the strip be, mm; in line at either."""
        return abs(self.link - self.crank), self.link + self.crank

    @property
    def free(self) -> float:
        """How far a hand can move the strip from rest until the link lies in line with the flap and stops it, mm."""
        near, far = self.span
        place = abs(self.start)
        if self.start * self.way >= 0.0:
            return max(0.0, far - place)
        # A link as long as the crank lets its end pass through the hinge, and be as far on its other side.
        return max(0.0, place - near) if near > _SAME_MM else place + far

    def best(self, travel: float) -> float:
        """Where in the travel, as far as it is free, the crank and its rod are furthest from lying in line."""
        moved = np.linspace(0.0, min(travel, self.free), _TRIED)
        height = self.crank * np.sin(self.turn(moved))
        return float(moved[np.nanargmax(height)])


def add_link(spec: MechanismSpec, building: Building, normal: float) -> None:
    """Hinge a link on a pull-strip and on the flap that it opens.

    Parameters
    ----------
    spec : the pull-strip, whose panel ID.strip stands
    building : Building
    normal : +1 where the strip slides on its host's printed face, -1 on its back

    Raises
    ------
    MechanismError, HingeleafError
        There is no such flap, it is not square to the strip, or the link does not reach it.
    """
    flap = _flap(spec, building)
    for key in ("link_at", "link_reach"):
        if key not in spec.values:
            raise MechanismError("is missing; a pull-strip that opens a flap needs link_at and link_reach, in mm", key)
    strip = building.panels[f"{spec.id}.strip"]
    out = strip.rest[:2, 0]
    square = math.degrees(math.asin(min(1.0, abs(float(out @ flap.line)))))
    if square > _SQUARE_DEG:
        raise MechanismError(
            f"is {square:.2f} degrees off square to the hinge of {flap.id}; turn the one or the other by that", "turn"
        )
    begin = apply(strip.rest, np.array([[spec.values["link_at"], 0.0]]))[0, :2]
    _check_places(spec, flap, begin)
    plan = slider_crank(spec, strip, flap)
    if plan.link < _SAME_MM:
        raise MechanismError(
            f"puts both ends of the link on the same place; move it away from {plan.start:g} mm", "link_reach"
        )
    near, far = abs(abs(plan.start) - plan.crank), abs(plan.start) + plan.crank
    if not near - 1e-9 <= plan.link <= far + 1e-9:
        raise MechanismError(
            f"is {plan.link:g} mm; left alone, its ends are {near:g} to {far:g} mm apart, as the flap turns",
            "link_length",
        )
    _build_link(spec, building, flap, plan, (begin, normal))


def way_of(spec: MechanismSpec) -> float:
    """Which way a hand moves a pull-strip: +1 where it pulls it out, -1 where it pushes it in."""
    return -1.0 if spec.values.get("way", "out") == "in" else 1.0


def slider_crank(spec: MechanismSpec, strip: Panel, flap: FlapPlan) -> SliderCrank:
    """The slider-crank that a pull-strip, its link and a flap are; nothing of it is checked.

    Parameters
    ----------
    spec : the pull-strip, with its link's values
    strip : its panel ID.strip
    flap : the flap that it opens
    """
    out = strip.rest[:2, 0]
    begin = apply(strip.rest, np.array([[spec.values["link_at"], 0.0]]))[0, :2]
    start = float((begin - flap.at) @ flap.out)
    crank = float(spec.values["link_reach"])
    link = spec.values.get("link_length", abs(start - crank))
    return SliderCrank(crank, start, way_of(spec) * float(np.sign(out @ flap.out)), link)


def _flap(spec: MechanismSpec, building: Building) -> FlapPlan:
    name = spec.values["drives"]
    found = next((item for item in building.description.mechanisms if item.id == name and item.kind == "flap"), None)
    if found is None:
        raise MechanismError(f'"{name}" is no flap; write the id of a flap with driven = true', "drives")
    if f"{name}:flap" not in building.loose:
        reason = "is moved by something else already" if found.values.get("driven") else "is moved by hand"
        raise MechanismError(
            f"{name} {reason}; a flap that a pull-strip opens has driven = true and no other", "drives"
        )
    if found.values["panel"] != spec.values["panel"]:
        raise MechanismError(f"{name} is hinged on {found.values['panel']}; the strip must slide there too", "panel")
    return flap_plan(found)


def _check_places(spec: MechanismSpec, flap: FlapPlan, begin: Array) -> None:
    """MechanismError where the link does not end on the strip and on the flap, the whole width of it."""
    reach, at, length = spec.values["link_reach"], spec.values["link_at"], spec.values["length"]
    if not 0.0 < reach <= flap.width:
        raise MechanismError(f"is {reach:g} mm; {flap.id} reaches from its hinge to {flap.width:g} mm", "link_reach")
    if at > length:
        raise MechanismError(f"is {at:g} mm; {spec.id} reaches from its inner end to {length:g} mm", "link_at")
    if abs(float((begin - flap.at) @ flap.out)) < _SAME_MM:
        raise MechanismError(
            f"puts the link's end on the very hinge of {flap.id}, where it turns with it and opens nothing; move it "
            f"along the strip",
            "link_at",
        )
    half, aside = _width(spec) / 2, abs(float((begin - flap.at) @ flap.line))
    if aside + half > flap.length / 2 + 1e-9:
        raise MechanismError(
            f"runs {aside + half - flap.length / 2:.2f} mm beside {flap.id}, link included; move it aside, or write a "
            f"smaller link_width",
            "at",
        )


def _width(spec: MechanismSpec) -> float:
    width = spec.values.get("link_width", spec.values["width"] - 4.0)
    if width <= 0.0:
        raise MechanismError("must be given for a strip of 4 mm or less", "link_width")
    return float(width)


def _build_link(
    spec: MechanismSpec, building: Building, flap: FlapPlan, plan: SliderCrank, at: tuple[Array, float]
) -> None:
    begin, normal = at
    if plan.free < _SAME_MM:
        raise MechanismError(_stuck(spec, flap, plan), "way")
    best = plan.best(spec.values["travel"])
    if normal != flap.normal:
        _cut_slot(spec, building, flap, plan, begin)
    piece, panel = f"{spec.id}.link", f"{spec.id}.link.arm"
    stock = building.description.stocks[spec.values["stock"]]
    panels = (panel, f"{panel}.tab", f"{piece}.end.tab")
    building.pieces[piece] = Piece(piece, f"{spec.values.get('title', spec.id)}, link", stock, panels)
    towards = float(np.sign(plan.crank - plan.start)) or 1.0
    # Whatever face the strip lies on, the link stands on the side on which the flap opens.
    add_foot(building, piece, _first(spec, building, flap, plan, (begin, towards)), normal * flap.normal)
    # Beyond the hinge the link lies over the shut flap, otherwise under it.
    side = -1.0 if plan.start > 0.0 else 1.0
    closure = close_foot(building, piece, _last(spec, flap, plan, begin, towards), side, panel)

    def guesses(_poses: Mapping[str, Array], names: tuple[str, ...]) -> Array:
        moved = np.array([best])
        found = {f"{spec.id}:link:arm": plan.link_turn(moved, towards), f"{flap.id}:flap": plan.turn(moved)}
        return np.array([[float(found[name][0]) for name in names]])

    building.add_loop(spec, [f"{spec.id}:link:arm"], [closure], guesses, begin=best)


def _stuck(spec: MechanismSpec, flap: FlapPlan, plan: SliderCrank) -> str:
    """What is wrong where the link lies in line with the flap at rest, and the hand can only pull or press on that."""
    near, far = plan.span
    other = replace(plan, way=-plan.way)
    end = plan.start + plan.way * spec.values["travel"]
    place, held = abs(plan.start), "far" if plan.start * plan.way > 0.0 else "near"
    back = "in" if way_of(spec) > 0.0 else "out"
    return (
        f"moves the link's end from {plan.start:g} to {end:g} mm of the hinge of {flap.id}, counted to the flap; a "
        f"link of {plan.link:g} mm, glued {plan.crank:g} mm from that hinge, lets it be {near:g} to {far:g} mm away, "
        f'and left alone it is as {held} as that, {place:g} mm. Write way = "{back}", which it can move by '
        f"{other.free:g} mm, or move link_at"
    )


def _first(spec: MechanismSpec, building: Building, flap: FlapPlan, plan: SliderCrank, at: tuple[Array, float]) -> Foot:
    """Its foot on the strip."""
    _, towards = at
    width, strip = _width(spec), building.panels[f"{spec.id}.strip"]
    back = inverse(strip.rest)[:2, :2]
    out, line = back @ (towards * flap.out), back @ (towards * flap.line)
    middle = np.array([spec.values["link_at"], 0.0])
    start = middle - line * width / 2
    return Foot(
        side="arm",
        host=HostSide(strip.id, start, line, out),
        host_start=start,
        host_line=line,
        host_out=out,
        net_start=np.array([-width / 2, 0.0]),
        net_line=np.array([1.0, 0.0]),
        net_up=np.array([0.0, 1.0]),
        outline=box(-width / 2, 0.0, width / 2, plan.link),
        tab=TabPlan(True, spec.values.get("link_tab", LINK_TAB_MM), width, 0.0, math.inf),
        tab_key="link_width",
    )


def _last(spec: MechanismSpec, flap: FlapPlan, plan: SliderCrank, begin: Array, towards: float) -> Foot:
    """Its foot on the flap, in the flap's own coordinates: x along the hinge, y away from it."""
    width = _width(spec)
    line, out = np.array([towards, 0.0]), np.array([0.0, towards])
    start = np.array([float((begin - flap.at) @ flap.line), plan.crank]) - line * width / 2
    return Foot(
        side="end",
        host=HostSide(f"{flap.id}.flap", start, line, out),
        host_start=start,
        host_line=line,
        host_out=out,
        net_start=np.array([-width / 2, plan.link]),
        net_line=np.array([1.0, 0.0]),
        net_up=np.array([0.0, -1.0]),
        outline=box(0.0, 0.0, 1.0, 1.0),
        tab=TabPlan(False, spec.values.get("link_tab", LINK_TAB_MM), width, 0.0, math.inf),
        tab_key="link_width",
    )


def _cut_slot(spec: MechanismSpec, building: Building, flap: FlapPlan, plan: SliderCrank, begin: Array) -> None:
    """The slot along which the link goes from a strip on the one face to a flap on the other."""
    half, way = _width(spec) / 2 + _SLOT_PLAY_MM, plan.way * flap.out
    first, last = begin - _SLOT_PLAY_MM * way, begin + (spec.values["travel"] + _SLOT_PLAY_MM) * way
    aside = half * flap.line
    host = building.panels[flap.host]
    try:
        slot = Polygon([first - aside, last - aside, last + aside, first + aside])
        building.add_panel(host.with_outline(cut_window(host.outline, slot)))
    except HingeleafError:
        raise MechanismError(
            f"the slot for its link, {spec.values['travel'] + 2 * _SLOT_PLAY_MM:g} x {2 * half:g} mm, is not inside "
            f"{host.id} or meets another cut; move the strip, or let it slide on the face on which the flap lies",
            "face",
        ) from None
