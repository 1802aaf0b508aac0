"""How a closed spread is drawn in a bound book: card on card, as high as it will be, instead of all in one plane.

As with what lies on each other in the open book (resting.py), only what is drawn moves, never the corners of the mesh
or the rig. As the spread opens, the layers come together as fast as its pages cease to stand off from each other.
A mesh that is drawn elsewhere is made anew at every frame, so only panels move that can be seen between the pages, or
that would come through them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import bpy
import numpy as np

from .channels import OPENING, Curve
from .convert import metres, printed_side
from .geometry.binding import Binding
from .geometry.model import Panel
from .geometry.transforms import Array, apply
from .panel_objects import RESTING, follow

__all__ = ["apart_until", "lay_closed", "lay_open"]

_CLOSED = "Closed Stack"
_PATH = f'modifiers["{_CLOSED}"].strength'
#: Layers nearer to where they are drawn anyway stay there, mm: every one that moves costs time in playback.
_LEAST_MM = 0.05
#: Whoever looks into a closed spread sees no deeper than so many times what stands between its pages; panels further
#: in stay where they are drawn in the open one, as does their share of the time.
_SEEN = 4.0
#: A panel steeper than this (cosine) stands on edge in the closed spread.
_STEEP = 1e-3


def apart_until(gap_mm: float, page_width_mm: float) -> float:
    """The opening up to which the pages of a spread stand off from each other, degrees."""
    return float(np.degrees(2.0 * np.arcsin(min(gap_mm / page_width_mm, 1.0))))


def lay_closed(binding: Binding, number: int, root: bpy.types.Object, panels: Mapping[str, bpy.types.Object]) -> None:
    """Let the panels of a spread come to lie on each other as it closes.

    Parameters
    ----------
    binding : of the book
    number : of the spread, from 1
    root : of the spread
    panels : its objects
    """
    spread = binding.spreads[number - 1]
    until = apart_until(float(binding.gaps_mm[number - 1]), binding.page_size_mm[0])
    low = spread.reachable()[0]
    poses = binding.spread_pose(number, np.array([low])) if np.isfinite(low) else {}
    heights = binding.closed_heights(number)
    for name, item in panels.items():
        panel = spread.panels.get(name)
        if panel is None:
            continue
        way = 0.0
        if name in poses and abs(poses[name][0, 2, 2]) > _STEEP:
            pose, caliper = poses[name][0], spread.piece(panel.piece).stock.caliper_mm
            wanted = _drawn_mm(pose, heights[name], caliper) - _resting_mm(item, panel)
            # Drawn as in the open book it would have its underside there.
            low_mm = heights[name] - float(np.sign(pose[2, 2])) * wanted
            if _is_seen(binding, number, panel, pose) or _sticks_out(binding, number, low_mm, caliper):
                way = wanted
        _lay(item, panel, root, way, until)


def lay_open(panels: Mapping[str, bpy.types.Object]) -> None:
    """Let panels be drawn in a closed spread as they are in an open one, as in a book that is not bound."""
    for item in panels.values():
        _forget(item)


def _is_seen(binding: Binding, number: int, panel: Panel, pose: Array) -> bool:
    """Whether a panel of a closed spread comes so near to foot, head or fore edge that it is seen between the pages."""
    corners = apply(pose, np.asarray(panel.outline.exterior.coords))
    width, height = binding.page_size_mm
    inside = min(width - corners[:, 0].max(), corners[:, 1].min(), height - corners[:, 1].max())
    return bool(inside < _SEEN * float(binding.gaps_mm[number - 1]))


def _sticks_out(binding: Binding, number: int, low_mm: float, caliper_mm: float) -> bool:
    """Whether card with its underside there is not hidden between the pages."""
    return low_mm < -_LEAST_MM or low_mm + caliper_mm > float(binding.gaps_mm[number - 1]) + _LEAST_MM


def _drawn_mm(pose: Array, underside_mm: float, caliper_mm: float) -> float:
    """How far along its printed side a panel has to be drawn so that its card lies as high as it will."""
    height = float(pose[2, 3])
    return underside_mm + caliper_mm - height if pose[2, 2] > 0 else height - underside_mm


def _resting_mm(item: bpy.types.Object, panel: Panel) -> float:
    """How far along its printed side a panel is drawn already, what hands move at rest."""
    modifier: Any = item.modifiers.get(RESTING)
    if modifier is None:
        return 0.0
    strength, animation = float(modifier.strength), item.animation_data
    drivers: Any = () if animation is None else animation.drivers
    for curve in drivers:
        if curve.data_path == f'modifiers["{RESTING}"].strength':
            target = curve.driver.variables[0].targets[0]
            key = target.data_path[2:-2]
            rest = target.id.id_properties_ui(key).as_dict().get("default", 0.0)
            strength = float(curve.evaluate(rest))
    return 1000.0 * strength * float(np.sign(printed_side(panel).sum()))


def _lay(item: bpy.types.Object, panel: Panel, root: bpy.types.Object, way_mm: float, until_deg: float) -> None:
    if abs(way_mm) < _LEAST_MM:
        _forget(item)
        return
    modifier: Any = item.modifiers.get(_CLOSED)
    if modifier is None:
        modifier = item.modifiers.new(_CLOSED, "DISPLACE")
    side = printed_side(panel)
    modifier.direction, modifier.mid_level = "XYZ"[int(np.argmax(np.abs(side)))], 0.0
    amount = float(metres(way_mm * np.sign(side.sum())))
    samples = Curve(np.array([0.0, until_deg]), np.array([amount, 0.0]))
    curve: Any = item.animation_data.drivers.find(_PATH) if item.animation_data is not None else None
    if curve is None:
        curve = item.driver_add(_PATH)
    follow(curve, root, OPENING, samples)
    # Beyond its samples the spread is open and nothing is moved; other curves have samples all the way.
    curve.extrapolation = "CONSTANT"


def _forget(item: bpy.types.Object) -> None:
    modifier: Any = item.modifiers.get(_CLOSED)
    if modifier is not None:
        item.driver_remove(_PATH)
        item.modifiers.remove(modifier)
