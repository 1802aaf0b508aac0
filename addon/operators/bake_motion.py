"""Turn the active book's motion into plain keyframes, and back."""

from typing import TYPE_CHECKING, Any, Literal

import bpy
from bpy.props import BoolProperty, EnumProperty, IntProperty

from ..baking import bake_book, meant_bakes, remove_baked, show_book
from .base import BookOperator, Outcome

__all__ = ["HINGELEAF_OT_bake_motion", "HINGELEAF_OT_remove_bake", "frame_range"]

_KEYS = (
    ("NEEDED", "Where Needed", "As few as keep every corner within 0.01 mm, between frames too"),
    ("EVERY", "On Every Frame", "One on every frame"),
)


def frame_range(context: bpy.types.Context) -> tuple[int, int]:
    """What is played: the preview range, else the scene's."""
    scene: Any = context.scene
    if scene.use_preview_range:
        return scene.frame_preview_start, scene.frame_preview_end
    return scene.frame_start, scene.frame_end


class HINGELEAF_OT_bake_motion(BookOperator, bpy.types.Operator):
    """Copy the book with its motion as plain keyframes, for animating on by hand. The book itself stays, hidden"""

    bl_idname = "hingeleaf.bake_motion"
    bl_label = "Bake to Keyframes"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        start: int
        end: int
        spacing: Literal["NEEDED", "EVERY"]
        keep: bool
    else:
        start: IntProperty(name="Start Frame", description="First frame that is baked", default=1)
        end: IntProperty(name="End Frame", description="Last frame that is baked", default=250)
        spacing: EnumProperty(
            name="Keyframes",
            description="Where there are keyframes; straight lines between",
            items=_KEYS,
            default="NEEDED",
        )
        keep: BoolProperty(
            name="Keep the Book",
            description="Hide the book instead of deleting it, so that its design can still be changed",
            default=True,
        )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the frames; those that are played unless told."""
        self.start, self.end = frame_range(context)
        return context.window_manager.invoke_props_dialog(self)  # type: ignore[return-value]

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the choices."""
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        for name in ("start", "end", "spacing", "keep"):
            layout.prop(self, name)

    def run(self, context: bpy.types.Context) -> None:
        """Bake."""
        root = self.book(context)
        made, count = bake_book(context, root, self.start, self.end, every=self.spacing == "EVERY", keep=self.keep)
        self.report({"INFO"}, f"{made.name}: {len(made.objects)} objects, {count} keyframes")


class HINGELEAF_OT_remove_bake(BookOperator, bpy.types.Operator):
    """Delete the baked copy of the book, and show the book again"""

    bl_idname = "hingeleaf.remove_bake"
    bl_label = "Remove Baked Copy"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context: bpy.types.Context) -> None:
        """Remove the copy that is active, else all of the active book's; a copy may have been deleted by hand."""
        found = meant_bakes(context)
        for collection in found:
            remove_baked(context, collection)
        if not found:
            show_book(context, self.book(context))
