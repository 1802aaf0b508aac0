"""Play the opening in the viewport."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import bpy
from bpy.props import FloatProperty

from ..books import TURN, bound_root_of, spreads_of
from ..channels import OPENING
from .base import BookOperator, Outcome

__all__ = ["HINGELEAF_OT_play_opening"]

#: A hand opens a page in so many seconds unless told.
_SECONDS = 2.5


class HINGELEAF_OT_play_opening(BookOperator, bpy.types.Operator):
    """Open and close the book in the viewport, over and over, or turn a bound one through; again to stop"""

    bl_idname = "hingeleaf.play_opening"
    bl_label = "Play Opening"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        seconds: float
    else:
        seconds: FloatProperty(
            name="Opening Time",
            description="Seconds to open it",
            default=_SECONDS,
            min=0.2,
            max=60,
            options={"SKIP_SAVE"},
        )

    def execute(self, context: bpy.types.Context) -> Outcome:
        """Set keyframes if there are none, and let Blender play."""
        if context.screen is not None and context.screen.is_animation_playing:
            bpy.ops.screen.animation_cancel(restore_frame=True)
            return {"FINISHED"}
        return super().execute(context)

    def run(self, context: bpy.types.Context) -> None:
        """Keyframe it if nothing is, then play."""
        root = self.book(context)
        bound = bound_root_of(root)
        if bound is not None and not _is_keyed(bound, TURN):
            _key_turn(context, bound, self.seconds)
        elif bound is None and not _is_keyed(root, OPENING):
            _key(context, root, self.seconds)
        if not bpy.app.background and context.screen is not None:
            bpy.ops.screen.animation_play()


def _is_keyed(root: bpy.types.Object, key: str) -> bool:
    """Whether the opening, or the turn, itself has keyframes; a flap's or the place's are none of it."""
    action: Any = None if root.animation_data is None else root.animation_data.action
    if action is None:
        return False
    path = f'["{key}"]'
    if hasattr(action, "fcurves"):
        return action.fcurves.find(path) is not None
    bags = [bag for layer in action.layers for strip in layer.strips for bag in strip.channelbags]
    return any(curve.data_path == path for bag in bags for curve in bag.fcurves)


def _key(context: bpy.types.Context, root: bpy.types.Object, seconds: float) -> None:
    """Closed, open, held, closed; the preview range ends there."""
    ui: Any = root.id_properties_ui(OPENING)
    low, high = (float(ui.as_dict()[name]) for name in ("min", "max"))
    frames = _frames(context, seconds)
    hold = frames // 3
    last = 2 * frames + hold
    _set_keys(context, root, OPENING, [(0, low), (frames, high), (frames + hold, high), (last, low)])


def _key_turn(context: bpy.types.Context, bound: bpy.types.Object, seconds: float) -> None:
    """A bound book turned through from closed to closed, held at every spread; the preview range ends there."""
    frames = _frames(context, seconds)
    hold, keys = frames // 3, [(0, 0.0)]
    for number in range(1, len(spreads_of(bound)) + 1):
        there = keys[-1][0] + frames
        keys += [(there, float(number)), (there + hold, float(number))]
    keys.append((keys[-1][0] + frames, keys[-1][1] + 1.0))
    _set_keys(context, bound, TURN, keys)


def _frames(context: bpy.types.Context, seconds: float) -> int:
    render = context.scene.render
    return round(seconds * render.fps / render.fps_base)


def _set_keys(context: bpy.types.Context, root: bpy.types.Object, key: str, keys: Sequence[tuple[int, float]]) -> None:
    """Keyframes of one property, counted from the scene's first frame; it is set as before afterwards."""
    scene = context.scene
    first, value = scene.frame_start, float(root[key])
    for frame, amount in keys:
        root[key] = amount
        root.keyframe_insert(f'["{key}"]', frame=first + frame)
    root[key] = value
    # The preview range is what is played; the scene's own end is only drawn out, never cut.
    last = first + keys[-1][0]
    scene.frame_end = max(scene.frame_end, last)
    scene.use_preview_range = True
    scene.frame_preview_start, scene.frame_preview_end = first, last
