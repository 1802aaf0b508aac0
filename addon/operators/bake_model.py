"""Bake the materials of a model that are more than a colour or a picture."""

from collections.abc import Generator
from typing import TYPE_CHECKING

import bpy
from bpy.props import IntProperty

from ..geometry import HingeleafError
from ..model_baking import bake_materials, laid_nets, unplain_materials
from ..model_state import meant_model
from ..model_updating import renew
from ..presenting import redraw
from ..reporting import sentence
from .base import Outcome
from .stepping import SteppingOperator
from .unfold_model import ModelOperator

__all__ = ["HINGELEAF_OT_bake_model"]


class HINGELEAF_OT_bake_model(SteppingOperator, ModelOperator, bpy.types.Operator):
    """Bake materials with more nodes than a color or an image into pictures, with Cycles, for the nets to print"""

    bl_idname = "hingeleaf.bake_model"
    bl_label = "Bake Materials"
    bl_options = {"REGISTER", "UNDO"}

    tick_s = 0.05

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

    def _steps(self, context: bpy.types.Context, root: bpy.types.Object) -> Generator[str, None, None]:
        """Bake one after the other."""
        count, name = len(unplain_materials(root)), root.name
        yield from bake_materials(context, root, self.size)
        renew(context, laid_nets(name))
        self.report({"INFO"}, f"Baked {count} material{'s' * (count != 1)}")

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Bake one after the other, Blender going on between them; Esc stops it."""
        if bpy.app.background:
            return self.execute(context)
        root = self.root(context)
        self.nets = root.name
        return self.begin(context, self._steps(context, root))

    def stop(self, context: bpy.types.Context) -> Outcome:
        """Lay the nets with what is baked already, so that nothing is said of it any more."""
        try:
            renew(context, laid_nets(self.nets))
        except HingeleafError as error:
            self.report({"ERROR"}, sentence(error))
        else:
            self.report({"INFO"}, "Baking was stopped; what is baked already is kept")
        return {"FINISHED"}

    def say(self, context: bpy.types.Context, step: str | None) -> None:
        """Put into the status bar what is baked."""
        context.workspace.status_text_set(None if step is None else f"Baking {step}. Esc stops it")
        if step is None:
            redraw(context)
