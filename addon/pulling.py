"""Pulling a size by its handle: the value that brings the handle under the pointer, found as the book follows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from .books import text_of
from .channels import OPENING, hand_key
from .convert import metres, millimetres
from .designing import change_sizes, part_with, read_design
from .geometry import HingeleafError, Spread, assemble
from .geometry.changes import spec_of
from .geometry.design.editing import set_values
from .geometry.design.handles import Handle, along_line, handles_of, moving_end, place_of, value_in, values_for
from .geometry.design.part import part_of
from .geometry.transforms import Array
from .projecting import Viewport

__all__ = ["Pull", "handle_places", "poses_now", "turning_end"]

#: By how much a size is changed to see what moves, mm or degrees.
_PROBE = 0.01
#: Which end of a size moves, by kind and handle; it is the same for all of a kind.
_ENDS: dict[tuple[str, str], int] = {}
#: The handles that were drawn last, and for what.
_PLACES: dict[str, Any] = {}
#: At most so much is changed from one event to the next, mm or degrees, so that nothing flies off.
_LARGEST_STEP = 60.0


def poses_now(root: bpy.types.Object, spread: Spread) -> Mapping[str, Array]:
    """The pose of every panel of a spread, or of a part, at the book's present opening; (4, 4) float, mm."""
    opening = np.radians([float(root.get(OPENING, 180.0))])
    hands = {}
    for hand in spread.hands:
        value = root.get(hand_key(hand.id))
        if value is not None:
            hands[hand.id] = float(np.radians(value)) if hand.unit == "deg" else float(value)
    return {name: matrix[0] for name, matrix in spread.pose(opening, hands).matrices.items()}


def turning_end(root: bpy.types.Object, mechanism: str, handle: Handle) -> int:
    """Which end of a size moves when it changes."""
    key = (spec_of(read_design(root), mechanism).kind, handle.name)
    if key not in _ENDS:
        found = _probed(root, mechanism, handle, _PROBE)
        if found is None:
            return 1
        after, other = found
        _ENDS[key] = moving_end(handle, other, (poses_now(root, part_with(root, mechanism)), poses_now(root, after)))
    return _ENDS[key]


def _probed(root: bpy.types.Object, mechanism: str, handle: Handle, step: float) -> tuple[Spread, Handle] | None:
    """The part and the handle with the size a little larger, without changing the book; None where it cannot be so."""
    description = read_design(root)
    spec = spec_of(description, mechanism)
    try:
        changed = set_values(description, mechanism, values_for(spec, handle, value_in(spec, handle) + step))
        part = assemble(part_of(changed, [mechanism]))
        return part, handles_of(part, mechanism)[handle.name]
    except (HingeleafError, KeyError):
        return None


def handle_places(root: bpy.types.Object, mechanism: str) -> dict[str, tuple[Handle, Vector, Vector]]:
    """Every handle of a mechanism, with its place in the world and the way along which it is drawn there."""
    spread = part_with(root, mechanism)
    # Asked for whenever a viewport is drawn, and nearly always the same as before.
    hands = tuple(float(root.get(hand_key(hand.id), 0.0)) for hand in spread.hands)
    where = tuple(np.array(root.matrix_world, dtype=float).ravel().tolist())
    state = text_of(root), mechanism, float(root.get(OPENING, 180.0)), hands, where
    if _PLACES.get("state") == state:
        known: dict[str, tuple[Handle, Vector, Vector]] = _PLACES["places"]
        return known
    poses = poses_now(root, spread)
    found: dict[str, tuple[Handle, Vector, Vector]] = {}
    for name, handle in handles_of(spread, mechanism).items():
        end = turning_end(root, mechanism, handle)
        place = place_of(handle, end, poses)
        if not np.isfinite(place).all():
            continue
        way = poses[handle.panel][:3, :3] @ np.append(handle.way, 0.0) * (1.0 if end else -1.0)
        world = root.matrix_world @ Vector(metres(place).tolist())
        found[name] = handle, world, (root.matrix_world.to_3x3() @ Vector(way.tolist())).normalized()
    _PLACES.update(state=state, places=found)
    return found


class Pull:
    """One pull at one handle, from press to release.

    Parameters
    ----------
    root : the book
    mechanism : its id
    name : of the handle
    """

    def __init__(self, root: bpy.types.Object, mechanism: str, name: str) -> None:
        self.root_name, self.mechanism, self.name = root.name, mechanism, name
        spread = part_with(root, mechanism)
        handles = handles_of(spread, mechanism)
        if name not in handles:
            raise HingeleafError(f"{mechanism} has no handle for {name}")
        self.handle = handles[name]
        self.end = turning_end(root, mechanism, self.handle)
        self.value = self.start = value_in(spec_of(read_design(root), mechanism), self.handle)
        self._place = place_of(self.handle, self.end, poses_now(root, spread))
        self._way = self._first_way(root)
        self.refusal = ""

    def _first_way(self, root: bpy.types.Object) -> Array:
        """How far the handle goes for one mm or degree more, (3,) float, mm."""
        for step in (_PROBE, -_PROBE):
            found = _probed(root, self.mechanism, self.handle, step)
            if found is not None:
                part, after = found
                return (place_of(after, self.end, poses_now(root, part)) - self._place) / step
        return np.zeros(3)

    def wish(self, root: bpy.types.Object, viewport: Viewport) -> float:
        """The value that brings the handle nearest to the pointer."""
        inverse = root.matrix_world.inverted_safe()
        origin, sight = viewport.ray()
        start = millimetres(np.array(inverse @ origin))
        way = np.array(inverse.to_3x3() @ sight)
        step = along_line(start, way, self._place, self._way)
        return self.value + float(np.clip(step, -_LARGEST_STEP, _LARGEST_STEP))

    def set(self, context: bpy.types.Context, root: bpy.types.Object, value: float) -> bool:
        """Give the size a value; False, with the reason kept, where it cannot have it."""
        if abs(value - self.value) < 1e-9:
            return True
        spec = spec_of(read_design(root), self.mechanism)
        try:
            change_sizes(context, root, self.mechanism, values_for(spec, self.handle, value), quick=True)
        except HingeleafError as error:
            self.refusal = str(error)
            return False
        self.refusal = ""
        spread = part_with(root, self.mechanism)
        handle = handles_of(spread, self.mechanism).get(self.name)
        if handle is not None:
            place = place_of(handle, self.end, poses_now(root, spread))
            way = (place - self._place) / (value - self.value)
            if np.isfinite(way).all() and abs(value - self.value) > 1e-3:
                self._way = way
            self._place = place
        self.value = value
        return True
