"""Pulling a size by its handle: the value that brings the handle under the pointer, found as the book follows."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from .books import text_of
from .channels import OPENING, hand_key
from .convert import metres
from .designing import change_sizes, part_with, read_design
from .geometry import HingeleafError, Spread, assemble
from .geometry.changes import spec_of
from .geometry.design.editing import set_values
from .geometry.design.handles import Handle, along_line, handles_of, moving_end, place_of, value_in, values_for
from .geometry.design.part import part_of
from .geometry.transforms import Array
from .projecting import Viewport

__all__ = ["Pull", "handle_places", "poses_now", "turning_end"]

_MM_PER_METRE = 1000.0
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
    description = read_design(root)
    spec = spec_of(description, mechanism)
    key = (spec.kind, handle.name)
    if key not in _ENDS:
        before = part_with(root, mechanism)
        try:
            changed = set_values(description, mechanism, values_for(spec, handle, value_in(spec, handle) + _PROBE))
            after = assemble(part_of(changed, [mechanism]))
            other = handles_of(after, mechanism)[handle.name]
        except (HingeleafError, KeyError):
            return 1
        _ENDS[key] = moving_end(handle, other, (poses_now(root, before), poses_now(root, after)))
    return _ENDS[key]


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
        description = read_design(root)
        spec = spec_of(description, self.mechanism)
        for step in (_PROBE, -_PROBE):
            try:
                changed = set_values(description, self.mechanism, values_for(spec, self.handle, self.value + step))
                part = assemble(part_of(changed, [self.mechanism]))
                after = handles_of(part, self.mechanism)[self.name]
            except (HingeleafError, KeyError):
                continue
            return (place_of(after, self.end, poses_now(root, part)) - self._place) / step
        return np.zeros(3)

    def wish(self, root: bpy.types.Object, viewport: Viewport, share: float = 1.0) -> float:
        """The value that brings the handle nearest to the pointer; a share of the way there."""
        inverse = root.matrix_world.inverted_safe()
        origin, sight = viewport.ray()
        start = np.array(inverse @ origin) * _MM_PER_METRE
        way = np.array(inverse.to_3x3() @ sight)
        step = along_line(start, way, self._place, self._way) * share
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
