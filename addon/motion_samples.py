"""The motion of a book as Blender shows it, frame by frame, whatever it comes from: drivers, constraints, keyframes."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from .books import bound_root_of, camera_of, is_linked
from .filming_backgrounds import SUPPORT_KEY
from .geometry.errors import HingeleafError
from .geometry.transforms import Array

__all__ = [
    "HIDDEN",
    "LONGEST",
    "STEPS",
    "MotionSamples",
    "all_shown",
    "book_objects",
    "is_rendered",
    "refuse_linked",
    "sample_motion",
    "show_again",
    "top_of",
]

#: Property of an object that is hidden because a baked copy of it is shown: whether it was rendered before.
HIDDEN = "hingeleaf_hidden_for_baked"

#: Samples a frame: motion blur, and players that run faster, look between frames.
STEPS = 2
#: More frames are refused: that is a slip of the hand.
LONGEST = 100_000

#: What of a book stands in a scene of its own.
_KINDS = ("MESH", "EMPTY", "CURVE")


@dataclass(frozen=True)
class MotionSamples:
    """Where objects are at some times.

    Parameters
    ----------
    times : (n,) float, frames, rising; STEPS a frame, the first and the last whole
    worlds : by name of the object, (n, 4, 4) float, metres
    strengths : by names of the object and of a modifier that moves what is drawn of it, (n,) float, metres
    """

    times: Array
    worlds: Mapping[str, Array]
    strengths: Mapping[tuple[str, str], Array]


def top_of(root: bpy.types.Object) -> bpy.types.Object:
    """The root of the bound book that a spread is in, else its own."""
    return bound_root_of(root) or root


def refuse_linked(items: Iterable[bpy.types.Object]) -> None:
    """HingeleafError where a book is another file's: its objects cannot be hidden, nor called otherwise for a while."""
    if any(map(is_linked, items)):
        raise HingeleafError("This book is linked from another file: press Make Book Local to change it")


def book_objects(top: bpy.types.Object, *, supports: bool = False) -> list[bpy.types.Object]:
    """What of a book is card: its panels, its covers and what carries them, each after its parent; not its studio.

    What is not rendered, such as the sheet with the bulk map, is none of it, but for what carries something that is;
    nor is what a user has hung there as light or camera.

    Parameters
    ----------
    top : the root of the book
    supports : whether what keeps a bound book level, which moves with it, comes too
    """
    studio = {item for item in _studio_things(top) if not supports or item.get(SUPPORT_KEY) is None}
    found = [top]
    for item in _parents_first(top):
        if item.parent in found and item.type in _KINDS and item not in studio:
            found.append(item)
    kept = {top}
    for item in reversed(found):
        if (is_rendered(item) or item in kept) and item.parent is not None:
            kept |= {item, item.parent}
    return [item for item in found if item in kept]


def is_rendered(item: bpy.types.Object) -> bool:
    """Whether an object is rendered, or would be if no baked copy were shown for it."""
    return bool(item.get(HIDDEN, not item.hide_render))


def _parents_first(item: bpy.types.Object) -> list[bpy.types.Object]:
    below: list[bpy.types.Object] = []
    for child in item.children:
        below += [child, *_parents_first(child)]
    return below


def _studio_things(top: bpy.types.Object) -> set[bpy.types.Object]:
    """The table, and what else stands in a studio without hanging on anything of the book but a root."""
    roots = [top, *(item for item in top.children_recursive if item.type == "EMPTY")]
    cameras = [camera for camera in map(camera_of, roots) if camera is not None]
    studios = [collection for camera in cameras for collection in camera.users_collection]
    parents = {camera.parent for camera in cameras}
    return {item for studio in studios for item in studio.objects if item.parent in parents and item.type != "EMPTY"}


def show_again(context: bpy.types.Context, items: Sequence[bpy.types.Object], *, hidden: bool = False) -> None:
    """Show objects that are hidden behind a baked copy, which are not evaluated; or hide those objects again."""
    for item in items:
        if hidden:
            item[HIDDEN], item.hide_render = is_rendered(item), True
        elif item.get(HIDDEN) is None:
            continue
        else:
            item.hide_render = not item[HIDDEN]
            del item[HIDDEN]
        if context.view_layer is not None and item.name in context.view_layer.objects:
            item.hide_set(hidden, view_layer=context.view_layer)


@contextlib.contextmanager
def all_shown(context: bpy.types.Context, items: Sequence[bpy.types.Object]) -> Iterator[None]:
    """Show objects for the time being, whatever hides them: those that are hidden are not evaluated."""
    layer: Any = context.view_layer
    asleep = [item for item in items if item.get(HIDDEN) is not None]
    disabled = [item for item in items if item.hide_viewport]
    show_again(context, asleep)
    for item in disabled:
        item.hide_viewport = False
    closed = [item for item in items if item.name in layer.objects and item.hide_get(view_layer=layer)]
    for item in closed:
        item.hide_set(False, view_layer=layer)
    try:
        yield
    finally:
        for item in closed:
            item.hide_set(True, view_layer=layer)
        for item in disabled:
            item.hide_viewport = True
        show_again(context, asleep, hidden=True)


def sample_motion(context: bpy.types.Context, items: Sequence[bpy.types.Object], start: int, end: int) -> MotionSamples:
    """Look at objects at every frame of a range, and between; the scene stays at the frame where it is.

    Parameters
    ----------
    context : its scene is played
    items : the objects
    start, end : first and last frame

    Returns
    -------
    MotionSamples

    Raises
    ------
    HingeleafError
        The range is empty or far too long.
    """
    if end < start:
        raise HingeleafError(f"The last frame, {end}, comes before the first, {start}; choose a later one")
    if end - start >= LONGEST:
        raise HingeleafError(f"Frames {start} to {end} are more than {LONGEST}; choose a shorter range")
    scene, count = context.scene, (end - start) * STEPS + 1
    moved = [(item, modifier) for item in items for modifier in item.modifiers if modifier.type == "DISPLACE"]
    worlds = {item.name: np.empty((count, 4, 4)) for item in items}
    strengths = {(item.name, modifier.name): np.empty(count) for item, modifier in moved}
    before = scene.frame_current, scene.frame_subframe
    context.window_manager.progress_begin(0, count)
    try:
        with all_shown(context, items):
            for step in range(count):
                scene.frame_set(start + step // STEPS, subframe=step % STEPS / STEPS)
                depsgraph = context.evaluated_depsgraph_get()
                for item in items:
                    worlds[item.name][step] = np.array(item.evaluated_get(depsgraph).matrix_world)
                for item, modifier in moved:
                    seen: Any = item.evaluated_get(depsgraph).modifiers[modifier.name]
                    strengths[item.name, modifier.name][step] = seen.strength * (1.0 - seen.mid_level)
                context.window_manager.progress_update(step)
    finally:
        scene.frame_set(before[0], subframe=before[1])
        context.window_manager.progress_end()
    return MotionSamples(start + np.arange(count) / STEPS, worlds, strengths)
