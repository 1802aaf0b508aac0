"""How far panels are moved along their own normal so that card lies on card.

The core's panels have no thickness, so a tab and the panel it is glued on, a layer that lies flat on the open page, or
a wheel behind it, share one plane; drawn there, they would flicker through each other. The shifts are for the eye only:
a modifier moves what is drawn, never the corners of the mesh or the rig.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .channels import Channel, Curve
from .geometry.model import GlueArea, Panel
from .geometry.outline import carried
from .geometry.spread import Spread
from .geometry.transforms import Array, inverse

__all__ = ["GAP_MM", "Shift", "depth_behind", "resting_shifts"]

#: Air between two sheets that lie on each other, so that no two faces share a plane.
GAP_MM = 0.02

#: A panel whose normal and height differ from its host's by less than this lies on it (mm; and cosine).
_FLAT = 1e-3


@dataclass(frozen=True)
class Shift:
    """How far a panel is drawn along its printed side.

    Parameters
    ----------
    mm : () float where it is always the same, else (n,) float, one a sample
    key : of the channel that it changes with
    values : (n,) float, that channel's samples
    """

    mm: Array
    key: str | None = None
    values: Array | None = None

    def with_mm(self, mm: Array) -> Shift:
        """Another shift that changes with the same channel."""
        return replace(self, mm=mm)


@dataclass(frozen=True)
class _Look:
    """What all shifts of one spread are found from.

    Parameters
    ----------
    spread : the assembled spread
    moved : what a hand moves, by panel: the key of its channel, and its curve
    poses : by panel, (2, 4, 4) float, mm: half way, where it is seen on which side of its host a panel moves, and at
        the widest opening
    """

    spread: Spread
    moved: Mapping[str, tuple[str, Curve]]
    poses: Mapping[str, Array]

    def caliper(self, panel_id: str) -> float:
        """Thickness of a panel's card, mm."""
        return self.spread.piece(self.spread.panels[panel_id].piece).stock.caliper_mm

    def slides_on(self, panel: Panel) -> bool:
        """Whether a hand moves a panel within the plane of its host: a strip, a wheel."""
        return panel.id in self.moved and panel.axis is not None and (panel.axis.slides or panel.axis.pivots)

    def room_under(self, panel: Panel) -> float:
        """What a panel that a hand moves within its host's plane leaves free there for what is glued on it, mm."""
        near = "front" if (panel.rest[2, 2] < 0) != self.behind(panel) else "back"
        areas = self.spread.glue_areas
        cards = [self.caliper(area.glued) for area in areas if area.host == panel.id and area.face == near]
        return max(cards) + GAP_MM if cards else 0.0

    def behind(self, panel: Panel) -> bool:
        """Whether what a hand moves lies on the back of its host."""
        variable = panel.variable
        return any(hand.behind for hand in self.spread.hands if hand.variable == variable)


def resting_shifts(spread: Spread, channels: Sequence[Channel]) -> dict[str, Shift]:
    """The shift of every panel along its printed side.

    Parameters
    ----------
    spread : the assembled spread
    channels : the opening first, then what hands move

    Returns
    -------
    dict of Shift, by panel
    """
    low, high = spread.reachable()
    moved = {name: (channel.key, curve) for channel in channels[1:] for name, curve in channel.curves.items()}
    look = _Look(spread, moved, spread.pose(np.array([(low + high) / 2, high])).matrices)
    glued = {area.glued: area for area in spread.glue_areas}
    shifts: dict[str, Shift] = {}
    for panel_id, panel in spread.panels.items():
        area = glued.get(panel_id)
        if look.slides_on(panel):
            shifts[panel_id] = _sliding_shift(look, shifts, panel)
        elif area is not None and panel.axis is None:
            between = _bridged(look, panel, area)
            shifts[panel_id] = _on_host(look, shifts[area.host], area.host, panel_id, area.face == "back", between)
        elif panel_id in moved:
            shifts[panel_id] = _swinging_shift(look, shifts, panel)
        else:
            shifts[panel_id] = _lying_shift(look, shifts, panel)
    return shifts


def depth_behind(spread: Spread, shifts: Mapping[str, Shift]) -> float:
    """How far card reaches behind the printed faces of the pages, mm: their own, and what lies on their backs."""
    depth = 0.0
    for panel in spread.panels.values():
        caliper = spread.piece(panel.piece).stock.caliper_mm
        if panel.role == "page":
            depth = max(depth, caliper)
        elif panel.parent is not None and spread.panels[panel.parent].role == "page" and _stays_flat(panel):
            shift = shifts[panel.id].mm
            depth = max(depth, float(np.max(caliper - shift if panel.rest[2, 2] > 0 else shift)))
    return depth


def _stays_flat(panel: Panel) -> bool:
    return panel.axis is None or panel.axis.slides or panel.axis.pivots


def _sliding_shift(look: _Look, shifts: Mapping[str, Shift], panel: Panel) -> Shift:
    """Shift of a strip or a wheel: on the face of its host that it moves on."""
    host = str(panel.parent)
    return _on_host(look, shifts[host], host, panel.id, look.behind(panel), look.room_under(panel))


def _bridged(look: _Look, panel: Panel, area: GlueArea) -> float:
    """What a glued panel leaves free under it for a strip that it holds, mm."""
    rooms = [0.0]
    outline = carried(panel.outline, panel.rest)
    for other in look.spread.panels.values():
        if other.parent != area.host or not look.slides_on(other) or look.behind(other) != (area.face == "back"):
            continue
        if outline.intersects(carried(other.outline, other.rest)):
            rooms.append(look.room_under(other) + look.caliper(other.id) + GAP_MM)
    return max(rooms)


def _swinging_shift(look: _Look, shifts: Mapping[str, Shift], panel: Panel) -> Shift:
    """Shift of a panel that a hand swings over its host, face up and face down: as a sheet of card rolls over.

    Its middle plane is kept as far above the host, where it lies flat, as the tab between them is thick, and passes
    through the hinge where it stands upright.
    """
    area = next((area for area in _own_areas(look, panel) if area.host == panel.parent), None)
    if area is None or panel.axis is None:
        return Shift(np.array(0.0))
    key, curve = look.moved[panel.id]
    swung = panel.axis.motion(curve.amounts) @ panel.rest
    behind = _is_behind(panel, swung[len(swung) // 2], area)
    # A tab that goes through a slot is on the other face.
    tab_mm = look.caliper(area.glued) + GAP_MM if behind == (area.face == "back") else 0.0
    # On another flap it lies as that one does at first.
    face = Shift(shifts[area.host].mm.reshape(-1)[:1])
    up = _on_host(look, face, area.host, panel.id, behind, tab_mm, upward=True)
    half = look.caliper(panel.id) / 2
    return Shift(half + (up.mm - half) * swung[:, 2, 2], key, curve.values)


def _lying_shift(look: _Look, shifts: Mapping[str, Shift], panel: Panel) -> Shift:
    """Shift of a turning panel: above its host and the tab between them where it lies flat on it when open."""
    for area in _own_areas(look, panel):
        if area.host not in shifts:
            continue
        half_way, widest = inverse(look.poses[area.host]) @ look.poses[panel.id]
        if abs(widest[2, 3]) < _FLAT and abs(abs(widest[2, 2]) - 1.0) < _FLAT:
            behind = _is_behind(panel, half_way, area)
            tab_mm = look.caliper(area.glued) + GAP_MM if behind == (area.face == "back") else 0.0
            return _on_host(look, shifts[area.host], area.host, panel.id, behind, tab_mm, upward=widest[2, 2] > 0)
    return Shift(np.array(0.0))


def _own_areas(look: _Look, panel: Panel) -> list[GlueArea]:
    """Where the piece of a panel is glued."""
    panels = look.spread.panels
    return [area for area in look.spread.glue_areas if panels[area.glued].piece == panel.piece]


def _is_behind(panel: Panel, onto_host: Array, area: GlueArea) -> bool:
    """Whether a panel moves behind its host; one that never rises lies on the face that it is glued to."""
    middle = panel.outline.centroid
    height = float(onto_host[2] @ [middle.x, middle.y, 0.0, 1.0])
    return height < 0.0 if abs(height) > _FLAT else area.face == "back"


def _on_host(
    look: _Look, face: Shift, host: str, panel_id: str, behind: bool, between_mm: float, *, upward: bool | None = None
) -> Shift:
    """Shift that lays a panel on one face of its host.

    Parameters
    ----------
    look : _Look
    face : of the host
    host, panel_id : names
    behind : on the host's back
    between_mm : card between them
    upward : whether its printed side looks where its host's does; as it rests on its host unless told
    """
    caliper = look.caliper(panel_id)
    if upward is None:
        upward = bool(look.spread.panels[panel_id].rest[2, 2] > 0)
    if behind:
        low = face.mm - look.caliper(host) - GAP_MM - between_mm - caliper
    else:
        low = face.mm + GAP_MM + between_mm
    return face.with_mm(np.asarray(low + caliper if upward else -low))
