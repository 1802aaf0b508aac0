"""What v-fold and tent share: a piece of two panels on a cell, each with its foot and tab on a host."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from ..building import Building, HingePlan
from ..description.data import MechanismSpec
from ..errors import HingeleafError, MechanismError
from ..linkage import AWAY, Cell
from ..model import Angle, Axis, Fold, GlueArea, HostSide, Panel
from ..outline import closed_outline, cut_window
from ..transforms import Array, apply, frame, lift, map_between
from .tabs import TabPlan, tab_ring

__all__ = ["Foot", "Glued", "host_normal", "sides", "stand", "with_holes"]


@dataclass(frozen=True)
class Foot:
    """One added panel: where it stands on its host, and how it lies on the net.

    Parameters
    ----------
    side : "left" or "right"
    host : HostSide
    host_start, host_line, host_out : (2,) float; start (mm) and unit direction of the glue line on the host, and
        the unit vector square to it that points away from the host fold
    net_start, net_line, net_up : (2,) float; the same line on the net, and the unit vector into the panel
    outline : Polygon on the net, mm
    tab : TabPlan
    """

    side: str
    host: HostSide
    host_start: Array
    host_line: Array
    host_out: Array
    net_start: Array
    net_line: Array
    net_up: Array
    outline: Polygon
    tab: TabPlan


@dataclass(frozen=True)
class Glued:
    """A glued piece of two panels.

    Parameters
    ----------
    fold : the host fold, measured so that the sectors add up to at most 180 degrees
    cell : Cell
    feet : left and right
    crease_length_mm : length of the middle crease, which runs on the net from (0, 0) along +y
    outer : whether the outer face is printed
    """

    fold: Fold
    cell: Cell
    feet: tuple[Foot, Foot]
    crease_length_mm: float
    outer: bool


def sides(spec: MechanismSpec, name: str, default: float) -> tuple[float, float]:
    """Left and right value of a sided number, with the default where nothing was given."""
    left, right = spec.sided(name)
    return (default if left is None else float(left), default if right is None else float(right))


def with_holes(spec: MechanismSpec, outline: Polygon, key: str, mirror: float) -> Polygon:
    """The outline with the holes that a key lists, in the coordinates x away from the crease, y along it."""
    for hole in spec.values.get(key, spec.values.get(key.rsplit("_", 1)[0], ())):
        try:
            ring = np.asarray(closed_outline(hole).exterior.coords) * [mirror, 1.0]
            outline = cut_window(outline, Polygon(ring))
        except HingeleafError as error:
            raise MechanismError(str(error), key) from None
    return outline


def host_normal(fold: Fold, side: str) -> float:
    """+1 where the mechanism stands on the printed side (+z) of the host, -1 where on its back."""
    host = fold.left if side == "left" else fold.right
    return (fold.handed if side == "left" else -fold.handed) * host.turns_left


def stand(spec: MechanismSpec, building: Building, glued: Glued) -> None:
    """Add the piece: panels, tabs, hinges, and the folds it offers."""
    names = [f"{spec.id}.left", f"{spec.id}.right"]
    building.add_piece(spec, [*names, *(f"{name}.tab" for name in names)])
    building.add_cell(spec, glued.cell, glued.fold)
    for foot in glued.feet:
        _add_foot(spec, building, glued, foot)
    _add_middle(spec, building, glued)


def _add_foot(spec: MechanismSpec, building: Building, glued: Glued, foot: Foot) -> None:
    name = f"{spec.id}.{foot.side}"
    normal = host_normal(glued.fold, foot.side)
    turn = Angle(name.replace(".", ":"))
    line3, out3, up3 = lift(foot.host_line), lift(foot.host_out), lift(foot.net_up)
    on_net = frame(lift(foot.net_start), lift(foot.net_line), up3)
    outward = map_between(on_net, frame(lift(foot.host_start), line3, out3))
    inward = map_between(on_net, frame(lift(foot.host_start), line3, -out3))
    axis = Axis(lift(foot.host_start), np.array([out3[1], -out3[0], 0.0]) * normal, turn)
    building.add_panel(Panel(name, spec.id, foot.outline, foot.host.panel, outward, axis))

    ring = tab_ring(foot.tab, _tab_key(foot))
    tab = Polygon(foot.net_start + ring[:, :1] * foot.net_line - ring[:, 1:] * foot.net_up)
    rest = outward if foot.tab.inner else inward
    building.add_panel(Panel(f"{name}.tab", spec.id, tab, foot.host.panel, rest, None, "tab"))
    on_host = Polygon(apply(rest, np.asarray(tab.exterior.coords))[:, :2])
    building.glue_areas.append(GlueArea(foot.host.panel, f"{name}.tab", on_host, "front" if normal > 0 else "back"))

    # Through the outer side the crease measures pi + foot angle with an inner tab, the foot angle with an outer one.
    at_crease = Angle(turn.variable, 1.0, np.pi) if foot.tab.inner else turn
    if not glued.outer:
        at_crease = at_crease.other_side()
    host_panel = foot.host.panel
    tab_turn = Angle(None, 1.0, np.pi if foot.tab.inner else 0.0)
    lines = (foot.net_start, foot.net_start), (foot.net_line, foot.net_line)
    on_host_lines = (foot.net_start, foot.host_start), (foot.net_line, foot.host_line)
    tab_name = f"{name}.tab"
    building.hinges += [
        HingePlan(name, "crease", (name, tab_name), *lines, at_crease, (name, tab_name)),
        HingePlan(f"{name}.glue", "glue", (name, host_panel), *on_host_lines, turn, (name,)),
        HingePlan(f"{tab_name}.glue", "glue", (tab_name, host_panel), *on_host_lines, tab_turn, (tab_name,)),
    ]
    _add_foot_folds(building, glued, foot, name, turn)


def _tab_key(foot: Foot) -> str:
    """The size to change where there is no room for a tab."""
    if foot.tab.sector_rad:
        return f"width_{foot.side}"
    return f"base_{foot.side}" if foot.tab.inner and foot.tab.distance_mm < foot.tab.width_mm else "length"


def _add_foot_folds(building: Building, glued: Glued, foot: Foot, name: str, turn: Angle) -> None:
    length = foot.tab.length_mm
    panel = HostSide(name, foot.net_start, foot.net_line, foot.net_up)
    tab = HostSide(f"{name}.tab", foot.net_start, foot.net_line, -foot.net_up)
    outer_host = HostSide(foot.host.panel, foot.host_start, foot.host_line, foot.host_out)
    inner_host = HostSide(foot.host.panel, foot.host_start, foot.host_line, -foot.host_out)
    handed = glued.fold.handed if foot.side == "right" else -glued.fold.handed
    inside = Angle(turn.variable, -1.0, np.pi)
    building.add_fold(Fold(name, "outer", panel, outer_host, turn, handed, 0.0, length))
    building.add_fold(Fold(name, "inner", panel, inner_host, inside, -handed, 0.0, length))
    if foot.tab.inner:
        building.add_fold(Fold(name, "tab", panel, tab, inside, -handed, 0.0, length))
    else:
        building.add_fold(Fold(name, "tab", panel, tab, turn, handed, 0.0, length))


def _add_middle(spec: MechanismSpec, building: Building, glued: Glued) -> None:
    name = f"{spec.id}.middle"
    fold, branch = glued.fold, glued.cell.branch
    mirror = fold.handed if glued.outer else -fold.handed
    origin, along = np.zeros(2), np.array([0.0, 1.0])
    left = HostSide(f"{spec.id}.left", origin, along, np.array([-mirror, 0.0]))
    right = HostSide(f"{spec.id}.right", origin, along, np.array([mirror, 0.0]))
    inside = Angle(f"{spec.id}:middle")
    printed_inside = (branch == AWAY) != glued.outer
    panels = (left.panel, right.panel)
    dihedral = inside if printed_inside else inside.other_side()
    building.hinges.append(HingePlan(name, "crease", panels, (origin, origin), (along, along), dihedral, panels))
    handed = -fold.handed * branch
    length = glued.crease_length_mm
    building.add_fold(Fold(name, "valley", left, right, inside, handed, 0.0, length))
    building.add_fold(Fold(name, "mountain", left, right, inside.other_side(), -handed, 0.0, length))
