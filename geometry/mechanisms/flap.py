"""Flap: a panel hinged on another along a line, lying shut on it until a hand, or what drives it, opens it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from shapely import Polygon, box

from ..building import Building
from ..description.data import MechanismSpec
from ..description.fields import COMMON, Field
from ..errors import HingeleafError, MechanismError
from ..model import Angle, Hand, HostSide
from ..outline import polyline, single_polygon, without_repeats
from ..transforms import Array
from .feet import Foot, add_foot
from .tabs import TabPlan
from .windows import windows

__all__ = ["FIELDS", "HINTS", "FlapPlan", "build", "flap_plan"]

FIELDS = (
    Field("panel", "name", "the panel it is hinged on"),
    Field("at", "point", "middle of its hinge line on that panel's net, [x, y] in mm"),
    Field("turn", "angle", "way the shut flap lies from its hinge, degrees from the net's x axis", "0", -360, 360),
    Field("face", "choice", "on that panel's printed face or its back", "front", choices=("front", "back")),
    Field("length", "length", "of its hinge line", positive=True),
    Field("width", "length", "how far it reaches from its hinge, where it has no edge of its own", "as length"),
    Field("opens_to", "number", "how far a hand opens it, degrees from shut", "180", low=0, high=180),
    Field("rest", "number", "how far it is open where it is left alone, degrees", default="0", low=0, high=180),
    Field("driven", "switch", "a pull-strip or a strap moves it, not a hand", default="false"),
    Field(
        "tab",
        "choice",
        "where its tab is glued: beyond the hinge, in line with the shut flap; under it, hidden; or through a slot, on "
        "the back of the panel",
        default="beyond",
        choices=("beyond", "under", "through"),
    ),
    Field("tab_width", "length", "how far the tab reaches from the hinge", default="10", positive=True),
    Field(
        "edge",
        "line",
        "its free edge from the hinge's left end to its right one, x from the middle of the hinge, y away from it",
        default="straight",
    ),
    Field("holes", "outlines", "windows, in the same coordinates", default="none"),
    *COMMON,
)

HINTS: Mapping[str, str] = {
    "fold": "a flap is hinged on one panel; write panel and at",
    "height": "a flap has length (of its hinge) and width (how far it reaches from it)",
    "angle": "a flap has opens_to, how far a hand opens it, and turn, the way it lies when shut",
    "outline": "a flap has edge, its free edge from one end of its hinge to the other",
    "size": "a flap has length (of its hinge) and width (how far it reaches from it)",
    "travel": "a flap has opens_to, how far a hand opens it",
}


@dataclass(frozen=True)
class FlapPlan:
    """Where a flap is hinged, in its host's net coordinates.

    Parameters
    ----------
    id, host : its name and its host's
    at : (2,) float, mm; middle of the hinge line
    out : (2,) float; unit vector, the way the shut flap lies
    line : (2,) float; unit vector along the hinge, the flap's own x
    normal : +1 on the host's printed face, -1 on its back
    length, width : of the hinge line, and from it to the furthest point of the flap, mm
    """

    id: str
    host: str
    at: Array
    out: Array
    line: Array
    normal: float
    length: float
    width: float


def flap_plan(spec: MechanismSpec) -> FlapPlan:
    """Where a flap is hinged; MechanismError where its edge cannot be cut."""
    values = spec.values
    turn = math.radians(values.get("turn", 0.0))
    normal = -1.0 if values.get("face", "front") == "back" else 1.0
    out = np.array([math.cos(turn), math.sin(turn)])
    line = np.array([out[1], -out[0]]) * normal
    width = float(_outline(spec).bounds[3])
    return FlapPlan(spec.id, values["panel"], np.array(values["at"]), out, line, normal, values["length"], width)


def build(spec: MechanismSpec, building: Building) -> None:
    """Add a flap; MechanismError where it cannot be built."""
    building.panel(spec)
    plan, values = flap_plan(spec), spec.values
    outline = windows(_outline(spec), spec.values.get("holes", ()), "holes")
    building.add_piece(spec, [f"{spec.id}.flap", f"{spec.id}.flap.tab"])
    turn = _turn(spec, building)
    start = plan.at - plan.line * plan.length / 2
    where = values.get("tab", "beyond")
    tab = TabPlan(
        where == "beyond", values.get("tab_width", 10.0), plan.length, 0.0, math.inf, through=where == "through"
    )
    foot = Foot(
        side="flap",
        host=HostSide(plan.host, start, plan.line, plan.out),
        host_start=start,
        host_line=plan.line,
        host_out=plan.out,
        net_start=np.array([-plan.length / 2, 0.0]),
        net_line=np.array([1.0, 0.0]),
        net_up=np.array([0.0, 1.0]),
        outline=outline,
        tab=tab,
        tab_key="length",
    )
    add_foot(building, spec.id, foot, plan.normal, turn)


def _turn(spec: MechanismSpec, building: Building) -> Angle:
    """What turns it: a hand, or a loop that is still to come."""
    values = spec.values
    if values.get("driven", False):
        for key in ("opens_to", "rest"):
            if key in values:
                raise MechanismError("belongs to a flap that a hand opens; what drives this one says how far", key)
        turn = Angle(f"{spec.id}:flap")
        building.add_loose(spec, f"{spec.id}:flap")
        return turn
    opens, rest = values.get("opens_to", 180.0), values.get("rest", 0.0)
    if opens <= 0.0:
        raise MechanismError("is 0; a flap that a hand opens opens by more than that", "opens_to")
    if rest > opens:
        raise MechanismError(f"is {rest:g}; a flap rests between 0, shut, and {opens:g}, as far as it opens", "rest")
    hand = building.add_hand(Hand(spec.id, "deg", 0.0, math.radians(opens), math.radians(rest)))
    return Angle(hand.variable)


def _outline(spec: MechanismSpec) -> Polygon:
    length = spec.values["length"]
    if "edge" not in spec.values:
        width = spec.values.get("width", length)
        if width <= 0.0:
            raise MechanismError("is 0; a flap reaches beyond its hinge by more than that", "width")
        return box(-length / 2, 0.0, length / 2, width)
    if "width" in spec.values:
        raise MechanismError("has no meaning beside edge, which says how far the flap reaches; leave one out", "width")
    try:
        edge = polyline(spec.values["edge"])
        ends = np.array([[-length / 2, 0.0]]), np.array([[length / 2, 0.0]])
        outline = single_polygon(without_repeats(np.concatenate([ends[0], edge, ends[1]])), "the flap")
    except HingeleafError as error:
        raise MechanismError(str(error), "edge") from None
    if outline.bounds[1] < -1e-9:
        raise MechanismError(f"goes {-outline.bounds[1]:g} mm behind the hinge; keep its y above 0", "edge")
    return outline
