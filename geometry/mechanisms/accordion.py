"""Accordion: a row of pleats from one host of a fold to the other, its inner creases carried by props."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely
from shapely import Polygon, affinity

from ..building import Building
from ..description.data import MechanismSpec
from ..description.fields import COMMON, PRINTED, Field
from ..errors import HingeleafError, MechanismError
from ..linkage import AWAY, PlanarCell
from ..model import Angle, Fold, HostSide, Piece
from ..outline import common_part, parts_of, single_polygon, without_repeats
from ..transforms import Array
from .astride import ASTRIDE_FIELDS, astride
from .creases import add_crease
from .cross_wall import free_edge
from .feet import Foot, add_foot, add_tab, stand_on
from .glued import host_normal, sides
from .tabs import TAB_FIELDS, TabPlan, tab_plan
from .windows import windows

__all__ = ["FIELDS", "HINTS", "ValleyAngle", "build"]

#: Left props stand in the first half of the length, right ones in the second, this far apart, or they would cross.
_BETWEEN_PROPS_MM = 2.0
#: A tab stays this far from the next line that something stands on, and from a ridge.
_TAB_CLEARANCE_MM = 1.0

FIELDS = (
    *ASTRIDE_FIELDS,
    Field(
        "bases",
        "lengths",
        "one a pleat, from the left: half of what it spans when the fold is flat; together the distance of either glue "
        "line from the fold",
        positive=True,
    ),
    Field("heights", "lengths", "one a pleat: from its ridge to the line below it, on the card", positive=True),
    *TAB_FIELDS,
    Field(
        "edge_start",
        "line",
        "free edge at the start, x on the card from the left glue line to the right, y along the fold from there",
        default="straight",
    ),
    Field("edge_end", "line", "free edge at the end, in the same way", default="straight"),
    Field("holes", "outlines", "windows, x from the left glue line, y along the fold from the start", default="none"),
    PRINTED,
    *COMMON,
)

HINTS: Mapping[str, str] = {
    "base": "an accordion has bases, one a pleat",
    "height": "an accordion has heights, one a pleat",
    "pleats": "an accordion has as many pleats as it has bases and heights",
    "widths": "an accordion has bases and heights, one a pleat",
}


@dataclass(frozen=True)
class ValleyAngle:
    """The angle in a valley between two pleats: of the foot angles there, less the fold's angle.

    Parameters
    ----------
    id : the valley's name
    before, after : the foot angles of the pleats on its left and right
    host : the fold's dihedral angle
    """

    id: str
    before: Angle
    after: Angle
    host: Angle

    @property
    def needs(self) -> frozenset[str]:
        """Variables that it is computed from."""
        return frozenset(str(angle.variable) for angle in (self.before, self.after, self.host) if angle.variable)

    @property
    def gives(self) -> tuple[str]:
        """The one angle."""
        return (f"{self.id}:valley",)

    def solve(self, variables: Mapping[str, Array]) -> dict[str, Array]:
        """The angle at each position, (n,) float, radians."""
        return {self.gives[0]: self.before.of(variables) + self.after.of(variables) - self.host.of(variables)}


@dataclass(frozen=True)
class _Row:
    """The row of pleats on its net: x from the left glue line, mirrored where that reads the wrong way round.

    Parameters
    ----------
    id : the accordion's name
    fold : measured from the accordion's start
    length : mm
    bases, heights : one a pleat, mm
    outer : whether the outer face is printed
    outline : the whole row, not mirrored
    """

    id: str
    fold: Fold
    length: float
    bases: tuple[float, ...]
    heights: tuple[float, ...]
    outer: bool
    outline: Polygon

    @property
    def mirror(self) -> float:
        return self.fold.handed if self.outer else -self.fold.handed

    @property
    def normal(self) -> float:
        """+1 where the inside of the row, on which the props are glued, is its printed face."""
        return -1.0 if self.outer else 1.0

    def line(self, number: int) -> float:
        """The x of the line on which pleat number + 1 begins and pleat number ends."""
        return 2.0 * sum(self.heights[:number])

    def foot(self, number: int) -> float:
        """How far that line is from the left host, measured along the right host; from the right one: base less it."""
        return sum(self.bases[:number])

    @property
    def base(self) -> float:
        return sum(self.bases)

    def panel(self, start: float, end: float) -> Polygon:
        """The part of the outline between two lines, on the net."""
        low, bottom, high, top = self.outline.bounds
        start = low - 1.0 if start == 0.0 else start
        end = high + 1.0 if end == self.line(len(self.bases)) else end
        parts = parts_of(common_part(self.outline, shapely.box(start, bottom - 1.0, end, top + 1.0)))
        if len(parts) != 1:
            raise MechanismError("must leave every panel of the row in one part", "holes")
        return affinity.scale(parts[0], self.mirror, 1.0, origin=(0.0, 0.0))


def build(spec: MechanismSpec, building: Building) -> None:
    """Add an accordion; MechanismError where it cannot be built."""
    fold = astride(spec, building, "the props would have to go through the card under it")
    row = _row(spec, fold)
    count = len(row.bases)
    pleats = [f"{row.id}.pleat{number}.{side}" for number in range(1, count + 1) for side in ("left", "right")]
    building.add_piece(spec, [*pleats, f"{pleats[0]}.tab", f"{pleats[-1]}.tab"])
    for number, (base, height) in enumerate(zip(row.bases, row.heights, strict=True), start=1):
        cell = PlanarCell(base, base, height, height, AWAY)
        building.add_cell(spec, cell, fold, f"pleat{number}")
    for number in range(1, count):
        _add_props(spec, building, row, number)
    for number, side in ((1, "left"), (count, "right")):
        index = 0 if side == "left" else 1
        reach = row.bases[0 if side == "left" else -1] - _TAB_CLEARANCE_MM
        tab = tab_plan(spec, index, length_mm=row.length, sector_rad=0.0, distance_mm=row.base)
        tab = replace(tab, width_mm=min(tab.width_mm, reach)) if tab.inner else tab
        host = fold.left if side == "left" else fold.right
        foot = _row_foot(row, number, side, host, host.point(0.0, row.base), tab)
        add_foot(building, row.id, foot, host_normal(fold, side), _foot_angle(row, number, side))
    _add_creases(building, row)


def _row(spec: MechanismSpec, fold: Fold) -> _Row:
    values = spec.values
    bases, heights = values["bases"], values["heights"]
    if len(bases) != len(heights):
        raise MechanismError(f"has {len(heights)} numbers, bases has {len(bases)}; write one each a pleat", "heights")
    if len(bases) < 2:
        raise MechanismError("has one pleat; write at least two, or a tent", "bases")
    width, length = 2 * sum(heights), values["length"]
    start, end = (free_edge(values.get(key), key) for key in ("edge_start", "edge_end"))
    # Its two ends, with their free edges, one after the other all round.
    parts = [[[0.0, 0.0]], start, [[width, 0.0], [width, length]], end[::-1] + [0.0, length], [[0.0, length]]]
    try:
        ring = without_repeats(np.concatenate([np.asarray(part) for part in parts if len(part)]))
        outline = single_polygon(ring, "the outline of the row")
    except HingeleafError as error:
        raise MechanismError(str(error), next((key for key in values if key.startswith("edge_")), "length")) from None
    outline = windows(outline, values.get("holes", ()), "holes")
    return _Row(spec.id, fold, length, bases, heights, values.get("printed", "outer") == "outer", outline)


def _foot_angle(row: _Row, number: int, side: str) -> Angle:
    return Angle(f"{row.id}.pleat{number}:{side}")


def _row_foot(row: _Row, number: int, side: str, host: HostSide, host_start: Array, tab: TabPlan) -> Foot:
    """The foot of one panel of the row on a host or on the prop that carries it."""
    low, high = row.line(number - 1), row.line(number)
    ridge = (low + high) / 2
    left = side == "left"
    return Foot(
        side=f"pleat{number}.{side}",
        host=host,
        host_start=host_start,
        host_line=host.along,
        host_out=host.across,
        net_start=np.array([row.mirror * (low if left else high), 0.0]),
        net_line=np.array([0.0, 1.0]),
        net_up=np.array([row.mirror if left else -row.mirror, 0.0]),
        outline=row.panel(low, ridge) if left else row.panel(ridge, high),
        tab=tab,
        tab_key="bases" if tab.inner and row.length > 10 else "length",
    )


def _add_props(spec: MechanismSpec, building: Building, row: _Row, number: int) -> None:
    """Carry the valley after a pleat by two props: from the left host, parallel to the right one; and the other way."""
    across = row.foot(number)
    half = (row.length - _BETWEEN_PROPS_MM) / 2
    width = min(sides(spec, "tab_width", 10.0))
    for side, at, long, span, pleat, neighbour in (
        ("left", row.base - across, across, (0.0, half), number, row.bases[number]),
        ("right", across, row.base - across, (row.length - half, row.length), number + 1, row.bases[number - 1]),
    ):
        piece = f"{row.id}.{side}{number}"
        host = row.fold.left if side == "left" else row.fold.right
        up = np.array([row.fold.handed if side == "left" else -row.fold.handed, 0.0])
        foot = Foot(
            side="prop",
            host=host,
            host_start=host.point(span[0], at),
            host_line=host.along,
            host_out=host.across,
            net_start=np.array([0.0, span[0]]),
            net_line=np.array([0.0, 1.0]),
            net_up=up,
            outline=shapely.box(min(0.0, up[0] * long), span[0], max(0.0, up[0] * long), span[1]),
            tab=TabPlan(True, min(width, neighbour - _TAB_CLEARANCE_MM), half, 0.0, at),
            tab_key="bases" if half > 10 else "length",
        )
        names = (f"{piece}.prop", f"{piece}.prop.tab", f"{piece}.top.tab")
        whole = building.pieces[row.id]
        building.pieces[piece] = Piece(piece, f"{whole.title}, {side} prop {number}", whole.stock, names)
        add_foot(building, piece, foot, host_normal(row.fold, side), row.fold.dihedral)
        _carry(building, row, (piece, pleat, "right" if side == "left" else "left"), up, long, span, width)


def _carry(
    building: Building,
    row: _Row,
    names: tuple[str, int, str],
    up: Array,
    long: float,
    span: tuple[float, float],
    tab_width: float,
) -> None:
    """Hang a panel of the row on the top of a prop, which is glued inside it."""
    piece, pleat, side = names
    top = HostSide(f"{piece}.prop", up * long, np.array([0.0, 1.0]), up)
    nothing = TabPlan(False, 0.0, 0.0, 0.0, np.inf)
    foot = _row_foot(row, pleat, side, top, top.origin, nothing)
    angle = _foot_angle(row, pleat, side)
    # The props' outer face is the printed one, and the row rises on that side.
    stand_on(building, row.id, foot, 1.0, angle)
    host = HostSide(f"{row.id}.{foot.side}", foot.net_start, foot.net_line, foot.net_up)
    reach = row.heights[pleat - 1] - _TAB_CLEARANCE_MM
    glued = Foot(
        side="top",
        host=host,
        host_start=host.point(span[0]),
        host_line=host.along,
        host_out=host.across,
        net_start=up * long + [0.0, span[0]],
        net_line=np.array([0.0, 1.0]),
        net_up=-up,
        outline=Polygon(),
        tab=TabPlan(False, min(tab_width, reach), span[1] - span[0], 0.0, np.inf),
        tab_key="heights" if reach < tab_width else "length",
    )
    add_tab(building, piece, glued, row.normal, Angle(angle.variable, -1.0, np.pi), f"{piece}.prop")


def _add_creases(building: Building, row: _Row) -> None:
    """Ridges and valleys, ID.pleat1.middle and ID.valley1 and so on."""
    count = len(row.bases)
    for number in range(1, count + 1):
        name = f"{row.id}.pleat{number}"
        inside = Angle(f"{name}:middle")
        ridge = (row.line(number - 1) + row.line(number)) / 2
        panels = (f"{name}.left", f"{name}.right")
        printed = inside.other_side() if row.outer else inside
        at = np.array([row.mirror * ridge, 0.0])
        add_crease(building, f"{name}.middle", panels, at, row.mirror, row.length, printed)
    for number, following in pairwise(range(1, count + 1)):
        name = f"{row.id}.valley{number}"
        before, after = _foot_angle(row, number, "right"), _foot_angle(row, following, "left")
        unit = ValleyAngle(name, before, after, row.fold.dihedral)
        building.add_unit(unit)
        outside = Angle(unit.gives[0])
        panels = (f"{row.id}.pleat{number}.right", f"{row.id}.pleat{following}.left")
        printed = outside if row.outer else outside.other_side()
        at = np.array([row.mirror * row.line(number), 0.0])
        add_crease(building, name, panels, at, row.mirror, row.length, printed)
