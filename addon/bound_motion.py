"""What moves a bound book: properties of its root, and drivers that Blender works out by itself.

Every driver is an expression of the kind that Blender evaluates without Python, so a file moves in any Blender, also
where scripts are not allowed and without Hingeleaf. All expressions are those of `geometry.binding`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import bpy

from .books import TURN
from .channels import OPENING

__all__ = [
    "Source",
    "angle_key",
    "drive",
    "drive_leaves",
    "drive_opening",
    "leaf_key",
    "remove_curves",
    "separation",
    "undrive",
]

#: Where a variable of an expression comes from: a property of a root, in degrees or mm.
Source = tuple[bpy.types.Object, str]

_LIFT, _HEIGHT = "lift", "height"
_TURN_TEXT = "Turns the whole book through: 0 is closed, at 1 to {count} a spread lies open, {last} is closed again"
_LEAF_TEXT = "How far this leaf is turned besides, in degrees"


def leaf_key(leaf: int) -> str:
    """The property of a bound book's root that turns one leaf besides the others, degrees."""
    return f"leaf_{leaf}"


def angle_key(leaf: int) -> str:
    """The property that says the angle of a leaf, degrees: 0 lies at the right, 180 at the left."""
    return f"leaf_angle_{leaf}"


def _height_key(leaf: int) -> str:
    """The property that says how high a leaf's printed face, or the front board's outside, is at the spine, mm."""
    return f"leaf_{_HEIGHT}_{leaf}"


@dataclass(frozen=True)
class _Range:
    """Limits of a property; what is driven has none that anybody sets."""

    low: float
    high: float
    text: str


def drive_leaves(
    bound: bpy.types.Object, leaves_mm: list[float], gaps_mm: list[float], page_width_mm: float
) -> tuple[str, str]:
    """Give the root of a bound book its properties: the turn, a leaf's own angles, and what follows from them.

    Parameters
    ----------
    bound : its root
    leaves_mm : (n+1), thickness of each leaf
    gaps_mm : (n), between the pages of each closed spread
    page_width_mm : of one page

    Returns
    -------
    names of the properties that say how far the book is lifted so that no leaf dips into the table, and how high the
    outside of the front board is at the spine, both mm
    """
    count = len(gaps_mm)
    text = _TURN_TEXT.format(count=count, last=count + 1)
    _set(bound, TURN, _Range(0.0, count + 1.0, text), float(bound.get(TURN, 1.0)))
    for leaf in range(count + 1):
        _set(bound, leaf_key(leaf), _Range(-180.0, 180.0, _LEAF_TEXT), float(bound.get(leaf_key(leaf), 0.0)))
    # From the last leaf to the first: each needs those behind it.
    for leaf in range(count, -1, -1):
        _derive(bound, angle_key(leaf))
        names = {"turn": (bound, TURN), "own": (bound, leaf_key(leaf))}
        wanted = f"clamp(180 * (turn - {leaf}) + own, 0, 180)"
        if leaf < count:
            names["next"] = bound, angle_key(leaf + 1)
            wanted = f"max({wanted}, next)"
        drive(bound, f'["{angle_key(leaf)}"]', wanted, names)
    _derive(bound, _height_key(count))
    for leaf in range(count - 1, -1, -1):
        _derive(bound, _height_key(leaf))
        names = {"a": (bound, angle_key(leaf)), "b": (bound, angle_key(leaf + 1)), "h": (bound, _height_key(leaf + 1))}
        apart = separation(gaps_mm[leaf], page_width_mm, "(a - b)")
        drive(bound, f'["{_height_key(leaf)}"]', f"h + ({apart} + {_number(leaves_mm[leaf])}) * cos(radians(a))", names)
    _derive(bound, _LIFT)
    # Leaves further back are turned less: the heights rise and then fall, so the lowest is the first or the last.
    lift = f"max(0, -h - {_number(leaves_mm[count])})"
    drive(bound, f'["{_LIFT}"]', lift, {"h": (bound, _height_key(0))})
    _forget_leaves(bound, count)
    return _LIFT, _height_key(0)


def _forget_leaves(bound: bpy.types.Object, count: int) -> None:
    """Remove the properties of leaves that are no more, with what drives or animates them."""
    leaf, gone = count + 1, []
    while bound.get(leaf_key(leaf)) is not None:
        for key in (angle_key(leaf), _height_key(leaf)):
            undrive(bound, f'["{key}"]')
        gone.append(f'["{leaf_key(leaf)}"]')
        for key in (leaf_key(leaf), angle_key(leaf), _height_key(leaf)):
            if bound.get(key) is not None:
                del bound[key]
        leaf += 1
    if gone:
        remove_curves(bound, lambda path: path in gone)


def drive_opening(spread: bpy.types.Object, bound: bpy.types.Object, number: int) -> None:
    """Let the leaves open a spread; number counts from 1."""
    names = {"a": (bound, angle_key(number - 1)), "b": (bound, angle_key(number))}
    drive(spread, f'["{OPENING}"]', "a - b", names)


def separation(gap_mm: float, page_width_mm: float, opening: str) -> str:
    """An expression for how far the left page stands off, mm; `opening` is one for the opening in degrees."""
    return f"max(0, {_number(gap_mm)} - {_number(page_width_mm)} * sin(radians({opening}) / 2))"


def _number(value: float) -> str:
    """A number as an expression has it; Blender's simple ones know no exponents."""
    return f"{value:.6f}"


def drive(item: bpy.types.Object, path: str, expression: str, names: Mapping[str, Source], index: int = -1) -> None:
    """Let an expression of properties drive a channel, where it does not do so already.

    Parameters
    ----------
    item, path, index : the channel; -1 of what is no vector
    expression : what it follows
    names : by name, where each comes from
    """
    curve: Any = _driver_of(item, path, index)
    if curve is not None and _follows(curve.driver, names):
        if curve.driver.expression != expression:
            curve.driver.expression = expression
        return
    if curve is not None:
        item.driver_remove(path, index)
    curve = item.driver_add(path, index)
    while curve.modifiers:
        curve.modifiers.remove(curve.modifiers[0])
    # A curve without points passes on what the expression says; Blender's own straight one loses small values.
    curve.keyframe_points.clear()
    driver = curve.driver
    driver.type = "SCRIPTED"
    for name, (source, key) in names.items():
        variable = driver.variables.new()
        variable.name, variable.type = name, "SINGLE_PROP"
        variable.targets[0].id = source
        variable.targets[0].data_path = f'["{key}"]'
    driver.expression = expression


def undrive(item: bpy.types.Object, path: str, index: int = -1) -> None:
    """Let nothing drive a channel any more."""
    if _driver_of(item, path, index) is not None:
        item.driver_remove(path, index)


def remove_curves(item: bpy.types.Object, is_gone: Callable[[str], bool]) -> None:
    """Remove keyframes of some channels of an object; an action that others use too stays what it is for them.

    Parameters
    ----------
    item : the object
    is_gone : whether the channel of a data path loses its keyframes
    """
    animation: Any = item.animation_data
    if animation is None or animation.action is None or not any(is_gone(curve.data_path) for curve in _curves(item)):
        return
    if all(is_gone(curve.data_path) for curve in _curves(item)):
        animation.action = None
        return
    if animation.action.users > 1 or animation.action.library is not None:
        identifier = animation.action_slot.identifier
        animation.action = animation.action.copy()
        animation.action_slot = animation.action.slots[identifier]
    for bag in _bags(item):
        for curve in [curve for curve in bag.fcurves if is_gone(curve.data_path)]:
            bag.fcurves.remove(curve)


def _curves(item: bpy.types.Object) -> list[Any]:
    return [curve for bag in _bags(item) for curve in bag.fcurves]


def _bags(item: bpy.types.Object) -> list[Any]:
    """What holds the curves of an object's action that are for this object."""
    animation: Any = item.animation_data
    if animation.action_slot is None:
        return []
    strips = [strip for layer in animation.action.layers for strip in layer.strips]
    found = [strip.channelbag(animation.action_slot) for strip in strips]
    return [bag for bag in found if bag is not None]


def _driver_of(item: bpy.types.Object, path: str, index: int) -> Any:
    animation: Any = item.animation_data
    return None if animation is None else animation.drivers.find(path, index=max(index, 0))


def _follows(driver: Any, names: Mapping[str, Source]) -> bool:
    """Whether a driver follows an expression of the same properties already, be it another one."""
    if driver.type != "SCRIPTED":
        return False
    found = {item.name: (item.targets[0].id, item.targets[0].data_path) for item in driver.variables}
    return found == {name: (source, f'["{key}"]') for name, (source, key) in names.items()}


def _set(item: bpy.types.Object, key: str, limits: _Range, value: float) -> None:
    """A property that a user sets and keyframes."""
    item[key] = min(max(value, limits.low), limits.high)
    ui: Any = item.id_properties_ui(key)
    low, high = limits.low, limits.high
    ui.update(min=low, max=high, soft_min=low, soft_max=high, default=0.0, precision=3, step=5, description=limits.text)
    item.property_overridable_library_set(f'["{key}"]', True)


def _derive(item: bpy.types.Object, key: str) -> None:
    """A property that follows from others."""
    if item.get(key) is None:
        item[key] = 0.0
