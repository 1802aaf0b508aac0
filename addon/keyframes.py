"""Samples of a motion as plain keyframes with straight lines between: which are needed, and writing them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Quaternion

from .geometry.transforms import Array

__all__ = ["Channels", "channels_of", "needed_keys", "needed_numbers", "write_keys"]

#: What changes by less, metres, radians or shares, does not move: so much is noise of single precision.
_STILL = 1e-6


@dataclass(frozen=True)
class Channels:
    """An object's own location, rotation and scale at some times.

    Parameters
    ----------
    by_euler : whether the rotation is angles about x, y and z, else a quaternion
    values : (n, 9 or 10) float; location in metres, rotation, scale
    """

    by_euler: bool
    values: Array

    @property
    def paths(self) -> list[tuple[str, int]]:
        """Data path and index of every column."""
        turn, count = ("rotation_euler", 3) if self.by_euler else ("rotation_quaternion", 4)
        return [(path, index) for path, size in (("location", 3), (turn, count), ("scale", 3)) for index in range(size)]

    def matrices(self, values: Array) -> Array:
        """What Blender makes of values of the channels, (n, columns) to (n, 4, 4) float."""
        found = np.zeros((len(values), 4, 4))
        turn = values[:, 3:-3]
        rotation = _from_euler(turn) if self.by_euler else _from_quaternion(turn)
        found[:, :3, :3] = rotation * values[:, None, -3:]
        found[:, :3, 3], found[:, 3, 3] = values[:, :3], 1.0
        return found


def channels_of(bases: Array, *, by_euler: bool) -> Channels:
    """The channels that give transforms.

    Parameters
    ----------
    bases : (n, 4, 4) float, metres; each object against where its parent carries it
    by_euler : whether it is to turn by angles about x, y and z, else by a quaternion
    """
    places, rotations, sizes = zip(*(Matrix(basis.tolist()).decompose() for basis in bases), strict=True)
    turns = _near_angles(rotations) if by_euler else _near_quaternions(rotations)
    values = np.column_stack([np.array(places, dtype=float), turns, np.array(sizes, dtype=float)])
    # What stands still is written once; the noise of single precision is no motion.
    still = np.ptp(values, axis=0) < _STILL
    values[:, still] = values[0, still]
    return Channels(by_euler, values)


def _near_angles(turns: Sequence[Quaternion]) -> Array:
    """Angles, (n, 3) float, that never jump by a whole turn."""
    found = [turns[0].to_euler("XYZ")]
    for turn in turns[1:]:
        found.append(turn.to_euler("XYZ", found[-1]))
    return np.array(found, dtype=float)


def _near_quaternions(turns: Sequence[Quaternion]) -> Array:
    """Quaternions, (n, 4) float, that never change to their negative, which is the same rotation."""
    found = np.array(turns, dtype=float)
    for number in range(1, len(found)):
        if found[number] @ found[number - 1] < 0.0:
            found[number] *= -1.0
    return found


def _from_euler(turns: Array) -> Array:
    """Rotations about x, then y, then z, (n, 3) radians to (n, 3, 3) float."""
    (cx, cy, cz), (sx, sy, sz) = np.cos(turns).T, np.sin(turns).T
    rows = [
        [cy * cz, sx * sy * cz - cx * sz, cx * sy * cz + sx * sz],
        [cy * sz, sx * sy * sz + cx * cz, cx * sy * sz - sx * cz],
        [-sy, sx * cy, cx * cy],
    ]
    return np.moveaxis(np.array(rows), 2, 0)


def _from_quaternion(turns: Array) -> Array:
    """Quaternions, made unit ones as Blender does, (n, 4) to (n, 3, 3) float."""
    w, x, y, z = (turns / np.linalg.norm(turns, axis=1, keepdims=True)).T
    rows = [
        [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
        [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
        [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
    ]
    return np.moveaxis(np.array(rows), 2, 0)


def needed_keys(channels: Channels, bases: Array, reach_m: float, tolerance_m: float) -> list[int]:
    """The samples between which straight lines of the channels carry every point well enough.

    Parameters
    ----------
    channels, bases : of an object, at all samples
    reach_m : no point that the object carries is further from its origin
    tolerance_m : no point may be off by more at any sample

    Returns
    -------
    list of numbers of samples, rising, with the first and the last

    Notes
    -----
    The interval that is off by too much is split where it is off most (Ramer 1972, Douglas and Peucker 1973, recalled).
    """

    def off(values: Array, first: int, last: int) -> Array:
        miss = channels.matrices(values) - bases[first:last]
        turned = np.linalg.norm(miss[:, :3, :3], axis=(1, 2)) * reach_m
        return np.asarray(turned + np.linalg.norm(miss[:, :3, 3], axis=1))

    return _split(channels.values, off, tolerance_m)


def needed_numbers(values: Array, tolerance: float) -> list[int]:
    """The same for one number, (n,) float."""
    column = values[:, None]
    return _split(column, lambda shown, first, last: np.abs(shown - column[first:last])[:, 0], tolerance)


def _split(values: Array, off: Any, tolerance: float) -> list[int]:
    kept, open_ = {0, len(values) - 1}, [(0, len(values) - 1)]
    while open_:
        first, last = open_.pop()
        if last - first < 2:
            continue
        shares = (np.arange(first + 1, last) - first)[:, None] / (last - first)
        misses = off(values[first] + shares * (values[last] - values[first]), first + 1, last)
        worst = int(np.argmax(misses))
        if misses[worst] > tolerance:
            middle = first + 1 + worst
            kept.add(middle)
            open_ += [(first, middle), (middle, last)]
    return sorted(kept)


def write_keys(item: bpy.types.Object, path: str, index: int, times: Array, values: Sequence[float] | Array) -> None:
    """Give a channel of an object keyframes with straight lines between; one that stands still keeps its value."""
    values = np.asarray(values, dtype=float)
    if np.ptp(values) == 0.0:
        return
    animation: Any = item.animation_data or item.animation_data_create()
    if animation.action is None:
        animation.action = bpy.data.actions.new(item.name)
    curve: Any = animation.action.fcurve_ensure_for_datablock(item, path, index=index)
    points = curve.keyframe_points
    points.add(len(times))
    samples = np.column_stack([times, values]).astype(np.float32)
    for name in ("co", "handle_left", "handle_right"):
        points.foreach_set(name, samples.ravel())
    kinds: Any = bpy.types.Keyframe.bl_rna.properties["interpolation"]
    points.foreach_set("interpolation", np.full(len(times), kinds.enum_items["LINEAR"].value, dtype=np.int32))
    curve.update()
