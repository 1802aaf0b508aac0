"""Feet: a panel that stands on its host along a glue line, with its tab, its hinges and the folds it offers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from ..building import Building, HingePlan
from ..closures import Closure
from ..model import Angle, Axis, Fold, GlueArea, HostSide, Panel
from ..transforms import Array, apply, frame, lift, map_between
from .slots import cut_slot, slot_clearance_mm
from .tabs import FOLD_CLEARANCE_MM, TabPlan, tab_ring

__all__ = ["Foot", "add_foot", "add_tab", "close_foot", "stand_on"]


@dataclass(frozen=True)
class Foot:
    """One end of a piece: where a panel of it stands on its host, and how that panel lies on the net.

    Parameters
    ----------
    side : name of the panel within the piece, "left" or "right" in a piece of two
    host : HostSide
    host_start, host_line, host_out : (2,) float; start (mm) and unit direction of the glue line on the host, and
        the unit vector square to it that points away from the host fold
    net_start, net_line, net_up : (2,) float; the same line on the net, and the unit vector into the panel
    outline : Polygon on the net, mm
    tab : TabPlan
    tab_key : the key to change where there is no room for the tab; None: base, width or length of that side
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
    tab_key: str | None = None


def add_foot(building: Building, piece: str, foot: Foot, normal: float, turn: Angle | None = None) -> None:
    """Stand a panel on its host: the panel, its tab, their hinges and folds.

    Parameters
    ----------
    building : Building
    piece : name of the piece
    foot : Foot
    normal : +1 where it stands on the host's printed side (+z), -1 where on its back
    turn : its foot angle; by default the variable PIECE:SIDE
    """
    name = f"{piece}.{foot.side}"
    turn = Angle(name.replace(".", ":")) if turn is None else turn
    stand_on(building, piece, foot, normal, turn)
    add_tab(building, piece, foot, normal, turn, name)


def stand_on(building: Building, piece: str, foot: Foot, normal: float, turn: Angle) -> None:
    """Add a panel that turns on its host, without a tab: parameters as in add_foot."""
    axis = Axis(lift(foot.host_start), _axis_direction(foot, normal), turn)
    name = f"{piece}.{foot.side}"
    building.add_panel(Panel(name, piece, foot.outline, foot.host.panel, _rest(foot, 1.0), axis))


def close_foot(building: Building, piece: str, foot: Foot, normal: float, panel: str) -> Closure:
    """Let a panel that is there already stand on a second host, and close a loop by that.

    Parameters
    ----------
    building, piece, normal : as in add_foot
    foot : its side names the hinge, PIECE.SIDE, and the angle there, the variable PIECE:SIDE; its outline is not read
    panel : the panel that stands there

    Returns
    -------
    Closure
    """
    turn = Angle(f"{piece}:{foot.side}")
    add_tab(building, piece, foot, normal, turn, panel)
    direction = _axis_direction(foot, normal)
    sign = float(np.sign(direction @ lift(foot.host_line)))
    on_host = frame(lift(foot.host_start), direction, lift(foot.host_out))
    on_net = frame(lift(foot.net_start), sign * lift(foot.net_line), lift(foot.net_up))
    return Closure(str(turn.variable), (foot.host.panel, panel), (on_host, on_net), foot.tab.length_mm)


def _axis_direction(foot: Foot, normal: float) -> Array:
    """The direction about which a turn lifts the panel from the host's outer part to the side on which it stands."""
    return np.array([foot.host_out[1], -foot.host_out[0], 0.0]) * normal


def _rest(foot: Foot, outward: float) -> Array:
    """From the net to the host, the panel lying away from its zero side (+1), or folded over it (-1)."""
    on_net = frame(lift(foot.net_start), lift(foot.net_line), lift(foot.net_up))
    on_host = frame(lift(foot.host_start), lift(foot.host_line), outward * lift(foot.host_out))
    return map_between(on_net, on_host)


def _crossed(first: Array, second: Array) -> float:
    """+1 where the second direction lies to the left of the first."""
    return float(np.sign(first[0] * second[1] - first[1] * second[0]))


def add_tab(building: Building, piece: str, foot: Foot, normal: float, turn: Angle, panel: str) -> None:
    """Glue a panel that is there already: its tab, its hinges PIECE.SIDE and the folds they offer.

    Parameters
    ----------
    building, piece, foot, normal : as in add_foot; the foot's outline is not read
    turn : the angle between the panel and the outer part of its host
    panel : the panel that stands there
    """
    name = f"{piece}.{foot.side}"
    through = foot.tab.through
    ring = tab_ring(foot.tab, _tab_key(foot), slot_clearance_mm(building, piece) if through else FOLD_CLEARANCE_MM)
    tab = Polygon(foot.net_start + ring[:, :1] * foot.net_line - ring[:, 1:] * foot.net_up)
    tab_name = f"{name}.tab"
    rest = _rest(foot, 1.0 if foot.tab.inner else -1.0)
    building.add_panel(Panel(tab_name, piece, tab, foot.host.panel, rest, None, "tab"))
    if foot.tab.default:
        building.default_tabs.add(tab_name)
    on_host = Polygon(apply(rest, np.asarray(tab.exterior.coords))[:, :2])
    if through:
        root = foot.host_start + np.array([[ring[0, 0]], [ring[1, 0]]]) * foot.host_line
        on_host = cut_slot(building, piece, foot.host.panel, root, on_host)
    # A tab that goes through its host is glued on the other face.
    front = (normal > 0) != through
    building.glue_areas.append(GlueArea(foot.host.panel, tab_name, on_host, "front" if front else "back"))

    # Through the outer side the crease measures pi + foot angle with an inner tab, the foot angle with an outer one.
    at_crease = Angle(turn.variable, turn.scale, turn.offset + np.pi) if foot.tab.inner else turn
    outward = _crossed(foot.host_line, foot.host_out)
    printed_outer = _crossed(foot.net_line, foot.net_up) * outward * normal < 0
    if not printed_outer:
        at_crease = at_crease.other_side()
    tab_turn = Angle(None, 1.0, np.pi if foot.tab.inner else 0.0)
    lines = (foot.net_start, foot.net_start), (foot.net_line, foot.net_line)
    on_host_lines = (foot.net_start, foot.host_start), (foot.net_line, foot.host_line)
    host_panel = foot.host.panel
    building.hinges += [
        HingePlan(name, "crease", (panel, tab_name), *lines, at_crease, (panel, tab_name)),
        HingePlan(f"{name}.glue", "glue", (panel, host_panel), *on_host_lines, turn, (panel,)),
        HingePlan(f"{tab_name}.glue", "glue", (tab_name, host_panel), *on_host_lines, tab_turn, (tab_name,)),
    ]
    _add_folds(building, foot, name, turn, -normal * outward, panel)


def _tab_key(foot: Foot) -> str:
    """The size to change where there is no room for a tab."""
    if foot.tab_key is not None:
        return foot.tab_key
    if foot.tab.sector_rad:
        return f"width_{foot.side}"
    return f"base_{foot.side}" if foot.tab.inner and foot.tab.distance_mm < foot.tab.width_mm else "length"


def _add_folds(building: Building, foot: Foot, name: str, turn: Angle, handed: float, panel_id: str) -> None:
    start, length = foot.tab.begins_mm, foot.tab.length_mm
    panel = HostSide(panel_id, foot.net_start, foot.net_line, foot.net_up)
    tab = HostSide(f"{name}.tab", foot.net_start, foot.net_line, -foot.net_up)
    outer_host = HostSide(foot.host.panel, foot.host_start, foot.host_line, foot.host_out)
    inner_host = HostSide(foot.host.panel, foot.host_start, foot.host_line, -foot.host_out)
    inside = Angle(turn.variable, -turn.scale, np.pi - turn.offset)
    building.add_fold(Fold(name, "outer", panel, outer_host, turn, handed, start, length))
    building.add_fold(Fold(name, "inner", panel, inner_host, inside, -handed, start, length))
    if foot.tab.through:
        # Panel and tab lie on either side of the host: nothing can be cut from both as from one card.
        return
    if foot.tab.inner:
        building.add_fold(Fold(name, "tab", panel, tab, inside, -handed, start, length))
    else:
        building.add_fold(Fold(name, "tab", panel, tab, turn, handed, start, length))
