"""A book as plain keyframes: a copy of its objects that moves without drivers, constraints or anything of Hingeleaf."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from .books import TURN, active_book, find_object
from .channels import HANDS, OPENING
from .geometry.errors import HingeleafError
from .geometry.transforms import Array
from .keyframes import channels_of, needed_keys, needed_numbers, write_keys
from .motion_samples import (
    HIDDEN,
    STEPS,
    MotionSamples,
    book_objects,
    refuse_linked,
    sample_motion,
    show_again,
    top_of,
)
from .set_aside import set_aside

__all__ = [
    "BAKED",
    "TOLERANCE_MM",
    "bake_book",
    "baked_of",
    "bases_of",
    "is_hidden",
    "meant_bakes",
    "moves",
    "remove_baked",
    "show_book",
]

#: Property of the collection of a baked copy: the root of the book that is hidden behind it.
BAKED = "hingeleaf_baked"
#: Where keyframes are left out, no corner is off by more, with all that carries it, mm.
TOLERANCE_MM = 0.01

#: Samples that differ by less, metres or parts of a matrix, are one place.
_MOVED = 1e-6
#: Objects with shapes that are theirs.
_SHAPED = ("MESH", "CURVE")


def bake_book(
    context: bpy.types.Context, root: bpy.types.Object, start: int, end: int, *, every: bool, keep: bool
) -> tuple[bpy.types.Collection, int]:
    """Copy a book's objects and give the copies keyframes; the book is hidden, or goes.

    Parameters
    ----------
    context : its scene is played and gets the copy
    root : the book; where it is a spread of a bound book, all of that is baked
    start, end : first and last frame
    every : a keyframe on every frame, and straight lines between; otherwise only those that are needed, between frames
        too, for every corner to be within TOLERANCE_MM at frames and half frames
    keep : whether the book stays, hidden

    Returns
    -------
    the collection of the copies, and how many keyframes they have

    Raises
    ------
    HingeleafError
        Nothing moves in that range, or it is none, or the book is another file's; then nothing was changed.
    """
    top = top_of(root)
    remaining = baked_of(context, top)
    items = book_objects(top, supports=True)
    refuse_linked(items)
    samples = sample_motion(context, items, start, end)
    if not moves(samples):
        raise HingeleafError(
            f"Nothing of {top.name} moves from frame {start} to {end}: give its opening keyframes first, or press Play"
        )
    for collection in remaining:
        remove_baked(context, collection)
    # Also where a copy was deleted by hand.
    show_book(context, top)
    copies = _copy(items)
    collection = bpy.data.collections.new(f"{top.name} Baked")
    context.scene.collection.children.link(collection)
    for copy in copies.values():
        collection.objects.link(copy)
    count = _write(items, copies, samples, every=every)
    if keep:
        collection[BAKED] = top
        show_again(context, items, hidden=True)
    else:
        _remove(items)
    return collection, count


def moves(samples: MotionSamples) -> bool:
    """Whether anything moves."""
    every = (*samples.worlds.values(), *samples.strengths.values())
    return any(np.ptp(places, axis=0).max() > _MOVED for places in every)


def bases_of(items: Sequence[bpy.types.Object], samples: MotionSamples, *, inverses: bool) -> dict[str, Array]:
    """Every object against its parent, by name, (n, 4, 4) float, metres.

    Parameters
    ----------
    items : each after its parent
    samples : of them
    inverses : whether the parents' inverses, as Blender keeps them, are left to it
    """
    names, found = {item.name for item in items}, {}
    for item in items:
        world = samples.worlds[item.name]
        if item.parent is None or item.parent.name not in names:
            found[item.name] = world
            continue
        local = np.linalg.inv(samples.worlds[item.parent.name]) @ world
        found[item.name] = np.linalg.inv(np.array(item.matrix_parent_inverse)) @ local if inverses else local
    return found


def _copy(items: Sequence[bpy.types.Object]) -> dict[str, bpy.types.Object]:
    """Copies with shapes of their own, without drivers, constraints and Hingeleaf's own properties."""
    copies: dict[str, bpy.types.Object] = {}
    # What nothing is driven by yet, too: the opening of a book whose panels stand still, what hands would move.
    moving = {OPENING, TURN, *_moving_keys(items), *(key for item in items for key in item.get(HANDS, {}))}
    for item in items:
        copy = item.copy()
        copy.name = f"{item.name} Baked"
        if item.data is not None and item.type in _SHAPED:
            copy.data = item.data.copy()
            copy.data.name = f"{item.data.name} Baked"
        copy.animation_data_clear()
        copy.constraints.clear()
        for key in [key for key in list(copy.keys()) if key.startswith("hingeleaf") or key in moving]:
            del copy[key]
        copy.lock_location = copy.lock_rotation = copy.lock_scale = (False, False, False)
        copy.hide_select = False
        copy.parent = None if item.parent is None else copies.get(item.parent.name)
        # After the parent: setting that resets it.
        copy.matrix_parent_inverse = item.matrix_parent_inverse if copy.parent is not None else Matrix()
        copy.delta_location = copy.delta_rotation_euler = (0.0, 0.0, 0.0)
        copy.delta_scale = (1.0, 1.0, 1.0)
        copies[item.name] = copy
    return copies


def _moving_keys(items: Sequence[bpy.types.Object]) -> set[str]:
    """Names of the properties that drivers of a book read or set: nothing moves by them any more."""
    paths: set[str] = set()
    for item in items:
        drivers: Any = () if item.animation_data is None else item.animation_data.drivers
        for curve in drivers:
            paths.add(curve.data_path)
            paths |= {target.data_path for variable in curve.driver.variables for target in variable.targets}
    return {path[2:-2] for path in paths if path.startswith('["')}


def _write(
    items: Sequence[bpy.types.Object],
    copies: Mapping[str, bpy.types.Object],
    samples: MotionSamples,
    *,
    every: bool,
) -> int:
    """Keyframes for all copies; returns how many."""
    whole = list(range(0, len(samples.times), STEPS))
    every_base = bases_of(items, samples, inverses=True)
    reaches, tolerance_m = _reaches(items, samples), 0.001 * TOLERANCE_MM / _longest_chain(items, every_base)
    count = 0
    for name, bases in every_base.items():
        copy = copies[name]
        free = not any(constraint.enabled for constraint in bpy.data.objects[name].constraints)
        channels = channels_of(bases, by_euler=free and copy.rotation_mode == "XYZ")
        copy.rotation_mode = "XYZ" if channels.by_euler else "QUATERNION"
        keys = whole if every else needed_keys(channels, bases, reaches[name], tolerance_m)
        for column, (path, index) in enumerate(channels.paths):
            values = channels.values[keys, column]
            getattr(copy, path)[index] = float(values[0])
            write_keys(copy, path, index, samples.times[keys], values)
            count += len(keys) * bool(np.ptp(values))
    for (name, modifier), strengths in samples.strengths.items():
        keys = whole if every else needed_numbers(strengths, tolerance_m)
        copies[name].modifiers[modifier].strength = float(strengths[0])  # type: ignore[attr-defined]
        copies[name].modifiers[modifier].mid_level = 0.0  # type: ignore[attr-defined]
        if np.ptp(strengths[keys]) > _MOVED:
            write_keys(copies[name], f'modifiers["{modifier}"].strength', 0, samples.times[keys], strengths[keys])
            count += len(keys)
    return count


def _longest_chain(items: Sequence[bpy.types.Object], bases: Mapping[str, Array]) -> int:
    """How many objects that move carry each other at most, and what moves a drawn one besides; their errors add up."""
    found: dict[str, int] = {}
    for item in items:
        above = found.get(item.parent.name, 0) if item.parent is not None else 0
        found[item.name] = above + bool(np.ptp(bases[item.name], axis=0).max() > _MOVED)
    return 1 + max(found.values())


def _reaches(items: Sequence[bpy.types.Object], samples: MotionSamples) -> dict[str, float]:
    """How far from each object's origin anything is that it carries, at any time, metres; by name."""
    boxes = {
        item.name: samples.worlds[item.name] @ np.column_stack([np.array(item.bound_box), np.ones(8)]).T
        for item in items
        if item.type == "MESH"
    }
    carried: dict[str, set[str]] = {item.name: {item.name} for item in items}
    for item in reversed(items):
        if item.parent is not None and item.parent.name in carried:
            carried[item.parent.name] |= carried[item.name]
    found = {}
    for name, names in carried.items():
        origin = samples.worlds[name][:, :3, 3:]
        away = [np.linalg.norm(boxes[other][:, :3] - origin, axis=1).max() for other in names if other in boxes]
        found[name] = float(max(away, default=0.0))
    return found


def _remove(items: Sequence[bpy.types.Object]) -> None:
    """Remove a book; what else hangs on it, such as its studio, stays where it is."""
    for child in {child for item in items for child in item.children} - set(items):
        place = child.matrix_world.copy()
        child.parent = None
        child.matrix_world = place
    _remove_with_shapes(items)


def _remove_with_shapes(items: Sequence[bpy.types.Object]) -> None:
    """Remove objects, and their meshes and curves where nothing else has them."""
    shapes = {item.data for item in items if item.data is not None and item.type in _SHAPED}
    bpy.data.batch_remove(items)
    bpy.data.batch_remove([shape for shape in shapes if shape.users == 0])


def baked_of(context: bpy.types.Context, root: bpy.types.Object) -> list[bpy.types.Collection]:
    """The collections of baked copies of a book, or of the bound book it is in."""
    top = top_of(root)
    return [item for item in context.scene.collection.children_recursive if _book_of(item) == top]


def _book_of(collection: bpy.types.Collection) -> bpy.types.Object | None:
    """The book that a baked copy is of; older files know it by its name."""
    book = collection.get(BAKED)
    return find_object(book) if isinstance(book, str) else book


def meant_bakes(context: bpy.types.Context) -> list[bpy.types.Collection]:
    """The baked copy that the active object is of, else those of the active book."""
    layer = context.view_layer
    active = layer.objects.active if layer is not None else None
    own = [] if active is None else [item for item in active.users_collection if item.get(BAKED) is not None]
    root = active_book(context)
    return own or ([] if root is None else baked_of(context, root))


def is_hidden(root: bpy.types.Object) -> bool:
    """Whether a book is hidden behind a baked copy, even where that was deleted by hand."""
    top = top_of(root)
    return any(item.get(HIDDEN) is not None for item in (top, *top.children_recursive))


def show_book(context: bpy.types.Context, root: bpy.types.Object) -> None:
    """Show a book that is hidden behind a baked copy."""
    top = top_of(root)
    show_again(context, [top, *top.children_recursive])


def remove_baked(context: bpy.types.Context, collection: bpy.types.Collection) -> None:
    """Take a baked copy away, with its keyframes, and show the book again."""
    top = _book_of(collection)
    items = list(collection.objects)
    actions = {item.animation_data.action for item in items if item.animation_data is not None}
    _remove_with_shapes(items)
    set_aside(collection)
    unused = [action for action in actions if action is not None and action.users == 0]
    bpy.data.batch_remove(unused)
    if top is not None:
        show_book(context, top)
