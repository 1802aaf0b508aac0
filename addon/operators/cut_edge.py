"""Cut a model's nets at an edge, or join them there: by its number, or by clicking it in the viewport."""

from typing import TYPE_CHECKING

import bpy
from bpy.props import IntProperty

from ..geometry import HingeleafError
from ..model_picking import EdgePicker, changed_at
from ..model_state import model_of
from ..model_updating import show_choice
from ..presenting import redraw
from ..projecting import viewport_at
from ..reporting import sentence
from .base import Outcome
from .unfold_model import ModelOperator

__all__ = ["HINGELEAF_OT_cut_edge", "HINGELEAF_OT_pick_edges", "is_picking_edges", "stop_picking_edges"]

_HELP = "Click a fold to cut it, a cut to join it    Right click or Esc: done"


class HINGELEAF_OT_cut_edge(ModelOperator, bpy.types.Operator):
    """Cut the nets at a fold, or join them at a cut"""

    bl_idname = "hingeleaf.cut_edge"
    bl_label = "Toggle Cut"
    bl_options = {"REGISTER", "UNDO", "INTERNAL"}

    if TYPE_CHECKING:
        edge: int
    else:
        edge: IntProperty(name="Edge", description="Number of the edge", default=-1, options={"SKIP_SAVE"})

    def run(self, context: bpy.types.Context) -> None:
        """Cut or join, and lay the nets."""
        root = self.root(context)
        model, choice = changed_at(model_of(context, root), root, self.edge)
        show_choice(context, root, model, choice)
        redraw(context)


class HINGELEAF_OT_pick_edges(ModelOperator, bpy.types.Operator):
    """Click edges on the nets or on the model: a fold is cut, a cut is joined; the model's mesh stays as it is"""

    bl_idname = "hingeleaf.pick_edges"
    bl_label = "Edit Cuts"
    bl_options = {"REGISTER"}

    # Of the class, but no ClassVar: `typing` would cache it, and so hold Blender's types until after the end of Blender
    # 4.5, whose process then never ends.
    _picker: EdgePicker | None = None

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there are nets, and nothing is edited."""
        if not super().poll(context):
            return False
        if context.mode != "OBJECT":
            cls.poll_message_set("Leave Edit Mode first")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Without a window there is nothing to click."""
        raise HingeleafError("Edges are picked with the mouse in a 3D viewport")

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Begin to ask, in whatever 3D viewport the pointer is."""
        again = HINGELEAF_OT_pick_edges._picker is not None
        stop_picking_edges(context)
        if again:
            # The button ends what it began.
            return {"CANCELLED"}
        try:
            HINGELEAF_OT_pick_edges._picker = EdgePicker(context, self.root(context))
        except HingeleafError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        self.asking = HINGELEAF_OT_pick_edges._picker
        context.window_manager.modal_handler_add(self)
        context.workspace.status_text_set(f"{self.bl_label}: {_HELP}")
        redraw(context)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Follow the pointer; a click changes an edge, and the next one can follow."""
        picker = HINGELEAF_OT_pick_edges._picker
        if picker is None or self.asking is not picker:
            return {"CANCELLED"}
        undone = event.type == "Z" and (event.ctrl or event.oskey)
        ended = event.type in ("ESC", "RIGHTMOUSE") and event.value == "PRESS"
        if ended or undone or picker.root is None or context.mode != "OBJECT":
            stop_picking_edges(context)
            return {"CANCELLED", "PASS_THROUGH"} if undone else {"CANCELLED"}
        if event.type == "MOUSEMOVE":
            picker.move(context, viewport_at(context, event))
            redraw(context)
        elif event.type == "LEFTMOUSE" and event.value == "PRESS":
            return self._click(context, event, picker)
        return {"PASS_THROUGH"}

    def cancel(self, context: bpy.types.Context) -> None:
        """Blender ends it, as when a file is loaded."""
        stop_picking_edges(context)

    def _click(self, context: bpy.types.Context, event: bpy.types.Event, picker: EdgePicker) -> Outcome:
        viewport = viewport_at(context, event)
        root = picker.root
        if viewport is None or root is None:
            return {"PASS_THROUGH"}
        picker.move(context, viewport)
        if picker.hover < 0:
            self.report({"INFO"}, "No edge is under the pointer; click a line of the nets or an edge of the model")
            return {"RUNNING_MODAL"}
        try:
            model, choice = changed_at(model_of(context, root), root, picker.hover)
            show_choice(context, root, model, choice)
        except HingeleafError as error:
            picker.refuse(sentence(error))
            context.workspace.status_text_set(f"{sentence(error)}    {_HELP}")
            redraw(context)
            return {"RUNNING_MODAL"}
        # Each click is a step of its own.
        bpy.ops.ed.undo_push(message=self.bl_label)
        context.workspace.status_text_set(f"{self.bl_label}: {_HELP}")
        picker.move(context, viewport)
        redraw(context)
        return {"RUNNING_MODAL"}


def is_picking_edges() -> bool:
    """Whether edges are being asked for."""
    return HINGELEAF_OT_pick_edges._picker is not None


def stop_picking_edges(context: bpy.types.Context) -> None:
    """End asking for edges."""
    picker = HINGELEAF_OT_pick_edges._picker
    if picker is None:
        return
    picker.close()
    HINGELEAF_OT_pick_edges._picker = None
    if context.workspace is not None:
        context.workspace.status_text_set(None)
    redraw(context)
