"""Platform: a layer that stays parallel to the pages, on two supports over the fold and a leg on either side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..building import Building
from ..description.data import MechanismSpec
from ..description.fields import COMMON, Field
from ..errors import MechanismError
from ..linkage import AWAY, PlanarCell
from ..model import Angle, Axis, Fold, HostSide, Panel, Piece
from ..outline import strip
from .astride import ASTRIDE_FIELDS, astride
from .creases import add_crease
from .feet import Foot, add_foot, add_tab
from .glued import host_normal, sides, with_holes
from .tabs import NARROWEST_MM, TAB_FIELDS, TabPlan, tab_plan

__all__ = ["FIELDS", "HINTS", "build"]

FIELDS = (
    *ASTRIDE_FIELDS,
    Field("base", "length", "from the fold to the glue line of each support", positive=True),
    Field("height", "length", "of the supports and the legs, from glue line to layer, on the card", positive=True),
    Field(
        "width",
        "length",
        "of the layer from its middle crease to its leg, and so from the support's foot to the leg's foot",
        positive=True,
        sided=True,
    ),
    *TAB_FIELDS,
    Field("holes", "outlines", "windows in the layer", default="none", sided=True),
    *COMMON,
)

HINTS: Mapping[str, str] = {
    "lean": "a platform always stands away from its fold",
    "base_left": "both supports of a platform have the same base, or the layer would not lie level",
    "base_right": "both supports of a platform have the same base, or the layer would not lie level",
    "height_left": "a platform has one height, or its layer would not stay parallel; a one-sided step is a tent",
    "height_right": "a platform has one height, or its layer would not stay parallel; a one-sided step is a tent",
    "printed": "a platform is printed on the upper face of its layer and the outer faces of its legs",
}

#: Two tabs that meet under the layer, one of the support and one of the leg, keep this far apart.
_BETWEEN_TABS_MM = 2.0


@dataclass(frozen=True)
class _Side:
    """One side of a platform.

    Parameters
    ----------
    name : "left" or "right"
    fold : the host fold, its zero point where the platform begins
    host : its panel on this side
    sign : +1 or -1, on which side of the middle crease it lies on the net
    width : float, mm; of the layer
    normal : +1 where it stands on the host's printed face
    """

    name: str
    fold: Fold
    host: HostSide
    sign: float
    width: float
    normal: float


def build(spec: MechanismSpec, building: Building) -> None:
    """Add a platform; MechanismError where it cannot be built."""
    fold, length = astride(spec, building), spec.values["length"]
    widths = spec.sided("width")
    if None in widths:
        raise MechanismError("is given for one side only; give width, or both width_left and width_right", "width")
    base, height = spec.values["base"], spec.values["height"]
    own = (f"{spec.id}.{name}" for name in ("left", "right"))
    building.add_piece(spec, [name for half in own for name in (half, f"{half}.leg", f"{half}.leg.tab")])
    building.add_cell(spec, PlanarCell(base, base, height, height, AWAY), fold)
    for index, (name, host) in enumerate((("left", fold.left), ("right", fold.right))):
        sign = fold.handed if name == "right" else -fold.handed
        _add_side(spec, building, _Side(name, fold, host, sign, widths[index], host_normal(fold, name)))
    # Both halves are parallel to their pages, so the layer folds as the host fold does.
    panels = (f"{spec.id}.left", f"{spec.id}.right")
    add_crease(building, f"{spec.id}.middle", panels, np.zeros(2), fold.handed, length, fold.dihedral)


def _add_side(spec: MechanismSpec, building: Building, side: _Side) -> None:
    """A support, the parallelogram beside it, and the tab by which the support carries the layer."""
    height, length = spec.values["height"], spec.values["length"]
    cell = f"{spec.id}.{side.name}"
    support = f"{cell}.support"
    tabs = _tabs(spec, side)
    _add_support_piece(spec, building, support, side)
    add_foot(building, support, _support_foot(spec, side, tabs[0]), side.normal, Angle(f"{spec.id}:{side.name}"))
    fold = building.folds[(f"{support}.wall", "outer")]
    building.add_cell(replace(spec, id=cell), PlanarCell(height, side.width, side.width, height, AWAY), fold)
    add_foot(building, spec.id, _leg_foot(spec, side, tabs[1]), side.normal, Angle(f"{cell}:right"))
    shoulder = Angle(f"{cell}:middle")
    place = np.array([side.sign * side.width, 0.0])
    # Inside the parallelogram the crease measures the cell's angle; flat, the layer goes straight on from the leg.
    turn = Angle(shoulder.variable, side.sign, -side.sign * np.pi)
    axis = Axis(np.append(place, 0.0), np.array([0.0, 1.0, 0.0]), turn)
    layer = with_holes(spec, strip(0.0, side.sign * side.width, length), f"holes_{side.name}", side.sign)
    building.add_panel(Panel(cell, spec.id, layer, f"{cell}.leg", np.eye(4), axis))
    add_crease(building, f"{cell}.middle", (cell, f"{cell}.leg"), place, side.sign, length, shoulder.other_side())
    _glue_to_layer(building, support, cell, side, tabs[0])


def _add_support_piece(spec: MechanismSpec, building: Building, support: str, side: _Side) -> None:
    own = building.pieces[spec.id]
    names = (f"{support}.wall", f"{support}.wall.tab", f"{support}.top.tab")
    building.pieces[support] = Piece(support, f"{own.title}, {side.name} support", own.stock, names)


def _tabs(spec: MechanismSpec, side: _Side) -> tuple[TabPlan, TabPlan]:
    """The tabs of the support, which point under the layer, and of the leg, which must leave room for them."""
    index = 0 if side.name == "left" else 1
    room = side.width - _BETWEEN_TABS_MM
    leg = tab_plan(spec, index, length_mm=spec.values["length"], sector_rad=0.0, distance_mm=np.inf)
    wanted = sides(spec, "tab_width", 10.0)[index]
    width = min(wanted, room / 2 if leg.inner else room)
    if width < NARROWEST_MM:
        needed = (2 if leg.inner else 1) * NARROWEST_MM + _BETWEEN_TABS_MM
        raise MechanismError(
            f"is {side.width:g} mm on the {side.name}, too narrow for the tabs under the layer; from {needed:g} mm on "
            f"there is room",
            f"width_{side.name}" if f"width_{side.name}" in spec.values else "width",
        )
    support = TabPlan(False, width, spec.values["length"], 0.0, spec.values["base"])
    return support, replace(leg, width_mm=width) if leg.inner else leg


def _support_foot(spec: MechanismSpec, side: _Side, tab: TabPlan) -> Foot:
    base, height = spec.values["base"], spec.values["height"]
    return Foot(
        side="wall",
        host=side.host,
        host_start=side.host.point(0.0, base),
        host_line=side.host.along,
        host_out=side.host.across,
        net_start=np.array([side.sign * height, 0.0]),
        net_line=np.array([0.0, 1.0]),
        net_up=np.array([-side.sign, 0.0]),
        outline=strip(0.0, side.sign * height, spec.values["length"]),
        tab=tab,
    )


def _leg_foot(spec: MechanismSpec, side: _Side, tab: TabPlan) -> Foot:
    base, height = spec.values["base"], spec.values["height"]
    near, far = side.sign * side.width, side.sign * (side.width + height)
    return Foot(
        side=f"{side.name}.leg",
        host=side.host,
        host_start=side.host.point(0.0, base + side.width),
        host_line=side.host.along,
        host_out=side.host.across,
        net_start=np.array([far, 0.0]),
        net_line=np.array([0.0, 1.0]),
        net_up=np.array([-side.sign, 0.0]),
        outline=strip(near, far, spec.values["length"]),
        tab=tab,
    )


def _glue_to_layer(building: Building, support: str, layer: str, side: _Side, tab: TabPlan) -> None:
    """The tab on which the support carries the layer, glued under it from the middle crease outwards."""
    line, out = np.array([0.0, 1.0]), np.array([side.sign, 0.0])
    foot = Foot(
        side="top",
        host=HostSide(layer, np.zeros(2), line, out),
        host_start=np.zeros(2),
        host_line=line,
        host_out=out,
        net_start=np.zeros(2),
        net_line=line,
        net_up=out,
        outline=building.panels[f"{support}.wall"].outline,
        tab=tab,
    )
    turn = Angle(f"{layer}:left", -1.0, np.pi)
    add_tab(building, support, foot, -1.0, turn, f"{support}.wall")
    # On the other side of this line lies the other half of the layer, which folds: no place to build on.
    del building.folds[(f"{support}.top", "inner")]
