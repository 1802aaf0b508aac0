"""Play the opening in the viewport."""

from typing import TYPE_CHECKING, Any

import bpy
from bpy.props import FloatProperty

from ..channels import OPENING
from .base import BookOperator, Outcome

__all__ = ["HINGELEAF_OT_play_opening"]

#: A hand opens a page in so many seconds unless told.
_SECONDS = 2.5


class HINGELEAF_OT_play_opening(BookOperator, bpy.types.Operator):
    """Open and close the book in the viewport, over and over; again to stop. Your own keyframes stay"""

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
        if not _is_keyed(root):
            _key(context, root, self.seconds)
        if not bpy.app.background and context.screen is not None:
            bpy.ops.screen.animation_play()


def _is_keyed(root: bpy.types.Object) -> bool:
    """Whether the opening itself has keyframes; a flap's or the place's are none of it."""
    action: Any = None if root.animation_data is None else root.animation_data.action
    if action is None:
        return False
    path = f'["{OPENING}"]'
    if hasattr(action, "fcurves"):
        return action.fcurves.find(path) is not None
    bags = [bag for layer in action.layers for strip in layer.strips for bag in strip.channelbags]
    return any(curve.data_path == path for bag in bags for curve in bag.fcurves)


def _key(context: bpy.types.Context, root: bpy.types.Object, seconds: float) -> None:
    """Closed, open, held, closed; the preview range ends there."""
    scene = context.scene
    ui: Any = root.id_properties_ui(OPENING)
    limits = ui.as_dict()
    frames = round(seconds * scene.render.fps / scene.render.fps_base)
    hold, first, value = frames // 3, scene.frame_start, float(root[OPENING])
    for frame, opening in (
        (first, limits["min"]),
        (first + frames, limits["max"]),
        (first + frames + hold, limits["max"]),
        (first + 2 * frames + hold, limits["min"]),
    ):
        root[OPENING] = float(opening)
        root.keyframe_insert(f'["{OPENING}"]', frame=frame)
    root[OPENING] = value
    # The preview range is what is played; the scene's own end is only drawn out, never cut.
    last = first + 2 * frames + hold
    scene.frame_end = max(scene.frame_end, last)
    scene.use_preview_range = True
    scene.frame_preview_start, scene.frame_preview_end = first, last
