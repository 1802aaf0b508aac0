"""Layer: a cross wall of two panels inside a box, one of several pieces of scenery one behind the other."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from shapely import Polygon

from ..building import Building
from ..description.data import MechanismSpec
from ..description.fields import COMMON, Field
from ..errors import MechanismError
from ..model import Angle, Axis, HostSide, Panel
from ..transforms import Array, apply
from .box import BoxNet, box_net
from .creases import add_crease
from .cross_wall import chevron, halves, placed
from .feet import Foot, add_foot, close_foot
from .glued import sides
from .tabs import TAB_FIELDS, tab_plan

__all__ = ["FIELDS", "HINTS", "build"]

FIELDS = (
    Field("box", "name", "the box between whose side walls it is glued"),
    Field("at", "length", "its place in the box, mm from the box's start"),
    Field(
        "towards",
        "choice",
        "which way its middle crease moves as the book closes: towards the start of the box or its end",
        default="start",
        choices=("start", "end"),
    ),
    Field("height", "length", "of the glue lines on the side walls", default="as the box", positive=True),
    Field(
        "width",
        "length",
        "from its middle crease to each side wall",
        default="the base of the box",
        positive=True,
        sided=True,
    ),
    *TAB_FIELDS,
    Field(
        "edge",
        "line",
        "its upper edge from left to right, x from its middle crease, left negative, y up from the foot",
        default="straight",
    ),
    Field("holes", "outlines", "windows, in the same coordinates; one may lie across the crease", default="none"),
    Field(
        "printed",
        "choice",
        "which face is printed: the one that looks to the start of the box, or to its end",
        default="start",
        choices=("start", "end"),
    ),
    *COMMON,
)

HINTS: Mapping[str, str] = {
    "fold": "a layer stands in a box; write box = its id",
    "length": "a layer has width (from its middle crease to each side wall) and height",
}


def build(spec: MechanismSpec, building: Building) -> None:
    """Add a layer; MechanismError where it cannot be built, HingeleafError where its loop cannot close or move."""
    box = _box(spec, building)
    values = spec.values
    at, height = values["at"], values.get("height", box.height)
    if at > box.length:
        raise MechanismError(f"is {at:g} mm from the start of {box.id}, which is {box.length:g} mm long", "at")
    widths = sides(spec, "width", box.base)
    printed_start = values.get("printed", "start") == "start"
    mirror = box.handed if printed_start else -box.handed
    outlines = [
        placed(half, mirror, 0.0)
        for half in halves(widths, height, (values.get("edge"), "edge"), (values.get("holes", ()), "holes"))
    ]
    names = [f"{spec.id}.left", f"{spec.id}.right"]
    building.add_piece(spec, [*names, *(f"{name}.tab" for name in names)])
    feet = [_foot(spec, box, side, widths, mirror, outlines[index]) for index, side in enumerate(("left", "right"))]
    add_foot(building, spec.id, feet[0], box.inside_normal)
    variable = f"{spec.id}:middle"
    axis = Axis(np.zeros(3), np.array([0.0, mirror, 0.0]), Angle(variable))
    building.add_panel(Panel(names[1], spec.id, outlines[1], names[0], np.eye(4), axis))
    closure = close_foot(building, spec.id, feet[1], box.inside_normal, names[1])
    # A crease that moves towards the printed face is a mountain.
    mountain = (values.get("towards", "start") == "start") == printed_start

    def guesses(poses: Mapping[str, Array], _names: tuple[str, ...]) -> Array:
        ends = [apply(poses[foot.host.panel], foot.host_start[None])[0] for foot in feet]
        left, right = chevron(float(np.linalg.norm(ends[0] - ends[1])), widths)
        turn = left + right
        return np.array([[np.pi / 2 - left, turn if mountain else -turn]])

    building.add_loop(spec, [f"{spec.id}:left", variable], [closure], guesses)
    add_crease(
        building,
        f"{spec.id}.middle",
        (names[0], names[1]),
        np.zeros(2),
        mirror,
        height,
        Angle(variable, 1.0, np.pi),
    )


def _box(spec: MechanismSpec, building: Building) -> BoxNet:
    name = spec.values["box"]
    found = next((item for item in building.description.mechanisms if item.id == name and item.kind == "box"), None)
    if found is None:
        boxes = [item.id for item in building.description.mechanisms if item.kind == "box"]
        known = f"there {'is' if len(boxes) == 1 else 'are'} {', '.join(boxes)}" if boxes else "there is none"
        raise MechanismError(f'"{name}" is no box; {known}', "box")
    return box_net(found, building.fold(found))


def _foot(
    spec: MechanismSpec, box: BoxNet, side: str, widths: tuple[float, float], mirror: float, outline: Polygon
) -> Foot:
    """Its foot on a side wall; the outer part of the host is the one towards which it folds."""
    index = 0 if side == "left" else 1
    sign = -mirror if side == "left" else mirror
    towards = -1.0 if spec.values.get("towards", "start") == "start" else 1.0
    up, out = np.array([0.0, 1.0]), np.array([towards * box.towards_end(side), 0.0])
    start = np.array([box.place(side, spec.values["at"]), 0.0])
    height = spec.values.get("height", box.height)
    return Foot(
        side=side,
        host=HostSide(f"{box.id}.{side}", start, up, out),
        host_start=start,
        host_line=up,
        host_out=out,
        net_start=np.array([sign * widths[index], 0.0]),
        net_line=up,
        net_up=np.array([-sign, 0.0]),
        outline=outline,
        tab=tab_plan(spec, index, length_mm=height, sector_rad=0.0, distance_mm=np.inf),
        tab_key="height",
    )
