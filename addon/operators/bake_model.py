"""Bake the materials of a model that are more than a colour or a picture."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

import bpy
from bpy.props import IntProperty

from ..geometry import HingeleafError
from ..model_baking import bake_materials, unplain_materials
from ..model_state import meant_model
from ..model_updating import renew
from ..presenting import redraw
from ..reporting import sentence
from .base import Outcome
from .unfold_model import ModelOperator

__all__ = ["HINGELEAF_OT_bake_model"]

_TICK_S = 0.05


class HINGELEAF_OT_bake_model(ModelOperator, bpy.types.Operator):
    """Bake materials with more nodes than a color or an image into pictures, with Cycles, for the nets to print"""

    bl_idname = "hingeleaf.bake_model"
    bl_label = "Bake Materials"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        size: int
    else:
        size: IntProperty(
            name="Size (pixels)", description="Width and height of each picture", default=1024, min=16, max=8192
        )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether any material needs it."""
        if not super().poll(context):
            return False
        root = meant_model(context)
        if root is None or not unplain_materials(root):
            cls.poll_message_set("All materials of the model are plain colors or images: nothing needs baking")
            return False
        if context.mode != "OBJECT":
            cls.poll_message_set("Leave Edit Mode first")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Bake all, and lay the nets with them."""
        for _ in self._steps(context, self.root(context)):
            pass

    def _steps(self, context: bpy.types.Context, root: bpy.types.Object) -> Iterator[str]:
        """Bake one after the other."""
        count = len(unplain_materials(root))
        yield from bake_materials(context, root, self.size)
        renew(context, root)
        self.report({"INFO"}, f"Baked {count} material{'s' * (count != 1)}")

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Bake one after the other, Blender going on between them; Esc stops it."""
        if bpy.app.background:
            return self.execute(context)
        self.steps = self._steps(context, self.root(context))
        self.label = ""
        self.timer = context.window_manager.event_timer_add(_TICK_S, window=context.window)
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Go on by one material."""
        if event.type == "ESC" and event.value == "PRESS":
            self._end(context)
            self.report({"INFO"}, "Baking was stopped; what is baked already is kept")
            return {"FINISHED"}
        if event.type != "TIMER":
            return {"PASS_THROUGH"}
        try:
            self.label = next(self.steps)
        except StopIteration:
            self._end(context)
            return {"FINISHED"}
        except HingeleafError as error:
            self._end(context)
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        context.workspace.status_text_set(f"Baking {self.label}. Esc stops it")
        return {"RUNNING_MODAL"}

    def cancel(self, context: bpy.types.Context) -> None:
        """Blender ends it, as when a file is loaded."""
        self._end(context)

    def _end(self, context: bpy.types.Context) -> None:
        context.window_manager.event_timer_remove(self.timer)
        context.workspace.status_text_set(None)
        redraw(context)
