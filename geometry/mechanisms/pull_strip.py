"""Pull-strip: a strip that slides on a panel between guides, and may open a flap by a link."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from shapely import Polygon, box

from ..building import Building
from ..description.data import MechanismSpec
from ..description.fields import COMMON, Field
from ..errors import MechanismError
from ..model import Angle, Axis, GlueArea, Hand, Panel, Piece
from ..outline import closed_outline, parts_of, without
from ..transforms import Array, apply, frame
from .links import add_link, way_of
from .windows import windows

__all__ = ["FIELDS", "GUIDE_PLAY_MM", "HINTS", "build"]

#: A guide leaves the strip this much room on each side: a knife follows a line to 0.1 mm, card swells in damp air.
GUIDE_PLAY_MM = 0.5
#: How far a guide reaches beyond the strip on each side, to be glued there.
_EAR_MM = 8.0

FIELDS = (
    Field("panel", "name", "the panel on which it slides"),
    Field("at", "point", "middle of its inner end on that panel's net while it is left alone, [x, y] in mm"),
    Field("turn", "angle", "way from its inner end to its handle, degrees from the net's x axis", "0", -360, 360),
    Field("face", "choice", "slides on that panel's printed face or its back", "front", choices=("front", "back")),
    Field("length", "length", "from its inner end to the end of its handle", positive=True),
    Field("width", "length", "its width", positive=True),
    Field("travel", "length", "how far a hand moves it, mm", positive=True),
    Field("way", "choice", "a hand pulls it out, towards its handle, or pushes it in", "out", choices=("out", "in")),
    Field("guides", "lengths", "middles of its guides, mm from its inner end while it is left alone", positive=True),
    Field("guide_width", "length", "width of each guide along the strip", default="8", positive=True),
    Field("beyond", "length", "how far its handle may stand out of the page, anywhere in its travel", default="0"),
    Field("outline", "outline", "its shape, x from its inner end, y from its middle line", default="length by width"),
    Field("holes", "outlines", "windows, in the same coordinates", default="none"),
    Field("drives", "name", "the flap that it opens, on the same panel and square to it", default="none"),
    Field("link_at", "length", "where the link to that flap is hinged on it, mm from its inner end", default="none"),
    Field("link_reach", "length", "where the link is glued on the flap, mm from the flap's hinge", default="none"),
    Field(
        "link_length",
        "length",
        "of the link between its two creases",
        default="such that the flap is shut while the strip is left alone",
        positive=True,
    ),
    Field("link_width", "length", "width of the link", default="the strip's width less 4", positive=True),
    Field("link_tab", "length", "how far its tabs reach", default="8", positive=True),
    *COMMON,
)

HINTS: Mapping[str, str] = {
    "fold": "a pull-strip slides on one panel; write panel and at",
    "height": "a pull-strip has length (to the end of its handle) and width",
    "size": "a pull-strip has length (to the end of its handle) and width",
    "handle": "the handle is the strip's outer end; give it a shape with outline, and say with beyond how far it may "
    "stand out of the page",
    "angle": "a pull-strip has turn, the way from its inner end to its handle, degrees from the net's x axis",
    "tab": "a pull-strip is held by guides; the tabs of its link are as long as link_tab says",
}


@dataclass(frozen=True)
class _Lane:
    """Where it slides, on its host's net: middle of the inner end, way to the handle, the strip's own y, and its side.

    The side, normal, is +1 on the host's printed face and -1 on its back.
    """

    host: str
    at: Array
    out: Array
    aside: Array
    normal: float

    def rest(self, along: float = 0.0) -> Array:
        """From net coordinates with x along the lane to the host's, (4, 4) float."""
        return frame([*(self.at + along * self.out), 0.0], [*self.out, 0.0], [*self.aside, 0.0])


def build(spec: MechanismSpec, building: Building) -> None:
    """Add a pull-strip; MechanismError where it cannot be built, HingeleafError where its loop cannot move."""
    building.panel(spec)
    values = spec.values
    lane = _lane(spec)
    hand = building.add_hand(
        Hand(spec.id, "mm", 0.0, values["travel"], 0.0, values.get("beyond", 0.0), lane.normal < 0)
    )
    name = f"{spec.id}.strip"
    building.add_piece(spec, [name])
    axis = Axis(
        np.array([*lane.at, 0.0]), np.array([*(way_of(spec) * lane.out), 0.0]), Angle(hand.variable), slides=True
    )
    building.add_panel(Panel(name, spec.id, _outline(spec), lane.host, lane.rest(), axis))
    for number, place in enumerate(values["guides"], start=1):
        _add_guide(spec, building, lane, f"guide{number}", place)
    if "drives" in values:
        add_link(spec, building, lane.normal)
    else:
        for key in ("link_at", "link_reach", "link_length", "link_width", "link_tab"):
            if key in values:
                raise MechanismError("belongs to a pull-strip that opens a flap; write drives, or leave it out", key)


def _lane(spec: MechanismSpec) -> _Lane:
    turn = math.radians(spec.values.get("turn", 0.0))
    normal = -1.0 if spec.values.get("face", "front") == "back" else 1.0
    out = np.array([math.cos(turn), math.sin(turn)])
    aside = normal * np.array([-out[1], out[0]])
    return _Lane(spec.values["panel"], np.array(spec.values["at"]), out, aside, normal)


def _outline(spec: MechanismSpec) -> Polygon:
    values = spec.values
    length, half = values["length"], values["width"] / 2
    outline: Polygon = box(0.0, -half, length, half)
    if "outline" in values:
        outline = closed_outline(values["outline"])
        low, _, high, _ = outline.bounds
        if max(abs(low), abs(high - length)) > 1e-6:
            raise MechanismError(f"reaches from {low:g} to {high:g} mm; the strip from 0 to {length:g}", "outline")
    return windows(outline, values.get("holes", ()), "holes")


def _add_guide(spec: MechanismSpec, building: Building, lane: _Lane, side: str, place: float) -> None:
    """A bridge of card across the strip, glued on its host to both sides of it."""
    name = f"{spec.id}.{side}"
    half = spec.values.get("guide_width", 8.0) / 2
    free = spec.values["width"] / 2 + GUIDE_PLAY_MM
    whole = box(-half, -free - _EAR_MM, half, free + _EAR_MM)
    ears = parts_of(without(whole, box(-half - 1.0, -free, half + 1.0, free)))
    rest = lane.rest(place)
    host = building.panels[lane.host].outline
    stock = building.description.stocks[spec.values["stock"]]
    title = f"{spec.values.get('title', spec.id)}, guide {side.removeprefix('guide')}"
    building.pieces[name] = Piece(name, title, stock, (f"{name}.bridge",))
    building.add_panel(Panel(f"{name}.bridge", name, whole, lane.host, rest, None, "rider"))
    for ear in ears:
        on_host = Polygon(apply(rest, np.asarray(ear.exterior.coords))[:, :2])
        if not host.buffer(1e-6).covers(on_host):
            raise MechanismError(
                f"at {place:g} mm puts a guide beyond {lane.host}; it is glued {_EAR_MM:g} mm wide on both sides of "
                f"the strip and needs card there",
                "guides",
            )
        face: Literal["front", "back"] = "front" if lane.normal > 0 else "back"
        building.glue_areas.append(GlueArea(lane.host, f"{name}.bridge", on_host, face))
