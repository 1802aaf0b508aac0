"""Wheel: a disc that a hand turns about a pivot, seen through a window in the panel that hides it."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from shapely import Point, Polygon
from shapely.affinity import translate

from ..building import Building
from ..description.data import MechanismSpec
from ..description.fields import COMMON, Field
from ..errors import HingeleafError, MechanismError
from ..model import Angle, Axis, Hand, Panel
from ..outline import closed_outline, cut_window
from ..tolerances import CHORD_MM
from ..transforms import Array, frame

__all__ = ["FIELDS", "HINTS", "build"]

FIELDS = (
    Field("panel", "name", "the panel on which it turns"),
    Field("at", "point", "its pivot on that panel's net, [x, y] in mm"),
    Field("face", "choice", "it lies on that panel's back or on its printed face", "back", choices=("back", "front")),
    Field("radius", "length", "of the disc", positive=True),
    Field("window", "outlines", "windows cut in the panel, x and y from the pivot as on the panel's net", "none"),
    Field("slot", "outlines", "finger slots cut in the panel across the disc's rim, likewise", default="none"),
    Field("turns_to", "number", "how far a hand turns it, degrees", default="360", low=0, high=3600),
    Field("beyond", "length", "how far its rim may stand out of the page", default="0"),
    Field("pivot", "length", "diameter of the hole for the pivot in disc and panel; 0 for a mark alone", default="4"),
    *COMMON,
)

HINTS: Mapping[str, str] = {
    "fold": "a wheel turns on one panel; write panel and at",
    "holes": "the windows that show a wheel are cut in its panel; write window",
    "windows": "the windows that show a wheel are cut in its panel; write window",
    "diameter": "a wheel has radius, half of that",
    "outline": "a wheel is round; write radius",
    "size": "a wheel is round; write radius",
    "opens_to": "a wheel has turns_to, how far a hand turns it, degrees",
    "rest": "a wheel is drawn as it rests; turn its artwork",
}


def build(spec: MechanismSpec, building: Building) -> None:
    """Add a wheel; MechanismError where it cannot be built."""
    host, values = building.panel(spec), spec.values
    at, radius, pivot = np.array(values["at"]), values["radius"], values.get("pivot", 4.0) / 2
    turns = values.get("turns_to", 360.0)
    if turns <= 0.0:
        raise MechanismError("is 0; a wheel turns by more than that", "turns_to")
    if pivot >= radius:
        raise MechanismError(f"is {2 * pivot:g} mm wide on a wheel of {2 * radius:g} mm; make it smaller", "pivot")
    behind = values.get("face", "back") == "back"
    disc = _circle(radius)
    if pivot:
        disc = Polygon(disc.exterior, [_circle(pivot).exterior])
    windows, slots = (_windows(spec, key, at) for key in ("window", "slot"))
    _cut(building, host.id, windows, "window")
    _cut(building, host.id, slots, "slot")
    if pivot:
        _cut(building, host.id, (_moved(_circle(pivot), at),), "at")
    elif not building.panels[host.id].outline.contains(Point(at)):
        raise MechanismError(f"is not on the card of {host.id}; the pivot needs card to hold it", "at")
    hand = building.add_hand(
        Hand(spec.id, "deg", 0.0, math.radians(turns), 0.0, values.get("beyond", 0.0), behind, windows, slots)
    )
    # Seen from the host's printed face it turns to the left.
    axis = Axis(np.array([*at, 0.0]), np.array([0.0, 0.0, 1.0]), Angle(hand.variable))
    building.add_piece(spec, [f"{spec.id}.disc"])
    # What is seen through the window is the printed face, from whichever side.
    rest = frame([*at, 0.0], [1.0 if behind else -1.0, 0.0, 0.0], [0.0, 1.0, 0.0])
    building.add_panel(Panel(f"{spec.id}.disc", spec.id, disc, host.id, rest, axis))


def _circle(radius: float) -> Polygon:
    """A circle about 0, 0 as a polygon that is nowhere further from it than curved outlines are from theirs."""
    step = 2 * math.acos(max(0.0, 1 - CHORD_MM / radius))
    count = 4 * math.ceil(math.pi / 2 / step)
    angles = 2 * np.pi * np.arange(count) / count
    return Polygon(radius * np.stack([np.cos(angles), np.sin(angles)], axis=1))


def _moved(shape: Polygon, at: Array) -> Polygon:
    return translate(shape, float(at[0]), float(at[1]))


def _windows(spec: MechanismSpec, key: str, at: Array) -> tuple[Polygon, ...]:
    return tuple(_moved(closed_outline(item), at) for item in spec.values.get(key, ()))


def _cut(building: Building, host: str, windows: tuple[Polygon, ...], key: str) -> None:
    for window in windows:
        panel = building.panels[host]
        try:
            building.add_panel(panel.with_outline(cut_window(panel.outline, window)))
        except HingeleafError as error:
            where = "the hole for its pivot: " if key == "at" else ""
            raise MechanismError(f"{where}{error}", key) from None
