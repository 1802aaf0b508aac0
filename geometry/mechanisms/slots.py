"""Slots: the slit in a host through which a tab goes to the host's back."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from ..building import Building
from ..errors import HingeleafError, MechanismError
from ..outline import cut_window, parts_of, without
from ..tolerances import TOUCH_MM
from ..transforms import Array

__all__ = ["cut_slot", "slot_clearance_mm"]

#: A slot is wider than the card that goes through it by this: a knife follows a line to about 0.1 mm, on both sides.
_PLAY_MM = 0.2
#: It is longer than the tab by this at each end, so that the tab slides in without being bent.
_END_PLAY_MM = 0.5


def _width_mm(building: Building, piece: str) -> float:
    return building.pieces[piece].stock.caliper_mm + _PLAY_MM


def slot_clearance_mm(building: Building, piece: str) -> float:
    """How far from the host fold a tab of a piece must begin, so that its slot keeps clear of that crease."""
    across = float(np.hypot(_width_mm(building, piece) / 2, _END_PLAY_MM))
    return building.description.limits.crease_to_cut + across + TOUCH_MM


def cut_slot(building: Building, piece: str, host: str, root: Array, tab: Polygon) -> Polygon:
    """Cut a slot for a tab into its host.

    Parameters
    ----------
    building : Building
    piece : whose tab it is; the slot is as wide as its card and 0.2 mm more
    host : the panel
    root : (2, 2) float, mm; the tab's ends on the glue line, on the host's net
    tab : the tab where it lies behind the host, on the host's net

    Returns
    -------
    Polygon; what of the tab is glued, beyond the slot

    Raises
    ------
    MechanismError
        The slot is not inside the host, or too near to its edges, cuts or creases.
    """
    panel = building.panels[host]
    along = (root[1] - root[0]) / np.hypot(*(root[1] - root[0]))
    aside = np.array([-along[1], along[0]]) * _width_mm(building, piece) / 2
    start, end = root[0] - _END_PLAY_MM * along, root[1] + _END_PLAY_MM * along
    slot = Polygon([start - aside, end - aside, end + aside, start + aside])
    _refuse_near(building, host, slot)
    try:
        building.add_panel(panel.with_outline(cut_window(panel.outline, slot)))
    except HingeleafError:
        raise MechanismError(
            f"the slot for it is not inside {host}; move it, or use a tab on the front", "tab"
        ) from None
    return max(parts_of(without(tab, slot)), key=lambda part: part.area)


def _refuse_near(building: Building, host: str, slot: Polygon) -> None:
    """Keep a slot off what would tear: edges and cuts by the neck, creases by what a crease needs beside a cut."""
    panel, limits = building.panels[host], building.description.limits
    if not panel.outline.contains(slot):
        reach = max(shapely.Point(point).distance(panel.outline) for point in shapely.get_coordinates(slot))
        raise MechanismError(
            f"the slot for it reaches {reach:.2f} mm beyond {host}; move it inwards, or use a tab on the front", "tab"
        )
    mates = [building.panels[name].outline for name in building.pieces[panel.piece].panels if name != host]
    mates = [mate for mate in mates if mate.distance(panel.outline) <= TOUCH_MM]
    near: BaseGeometry = shapely.union_all(mates).buffer(2 * TOUCH_MM)
    for what, line, needed in (
        ("crease", panel.outline.boundary.intersection(near), limits.crease_to_cut),
        ("edge or cut", panel.outline.boundary.difference(near), limits.neck),
    ):
        distance = float(slot.distance(line)) if not line.is_empty else np.inf
        if distance < needed - TOUCH_MM:
            raise MechanismError(
                f"the slot for it comes within {distance:.2f} mm of the nearest {what} of {host}; {needed:g} mm hold: "
                f"move it, or use a tab on the front",
                "tab",
            )
