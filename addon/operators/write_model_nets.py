"""Write the nets of a model."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import bpy
from bpy.props import BoolProperty, EnumProperty, IntProperty

from ..geometry import HingeleafError
from ..geometry.unfold.artwork import DPI
from ..geometry.unfold.write import MODEL_FORMATS, write_unfolded
from ..model_state import meant_model, model_of, wishes_of, with_surfaces
from .base import Outcome
from .sheet_choices import FORMATS, SheetChoices
from .unfold_model import ModelOperator

__all__ = ["HINGELEAF_OT_write_model_nets"]


class HINGELEAF_OT_write_model_nets(SheetChoices, ModelOperator, bpy.types.Operator):
    """Write the nets of the model as they lie there, with its artwork, tabs and labels"""

    bl_idname = "hingeleaf.write_model_nets"
    bl_label = "Write Model Nets"

    if TYPE_CHECKING:
        angles: bool
        dpi: int
    else:
        formats: EnumProperty(
            name="Formats",
            description="Kinds of file to write",
            items=[each for each in FORMATS if each[0] in MODEL_FORMATS],
            options={"ENUM_FLAG"},
            default=set(MODEL_FORMATS),
        )
        angles: BoolProperty(
            name="Angles", description="Write the angle between the faces at each crease", default=False
        )
        dpi: IntProperty(
            name="Artwork (dpi)", description="Dots an inch of artwork", default=round(DPI), min=36, max=1200
        )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the folder, beginning with the sheet that the nets fit."""
        root = meant_model(context)
        if root is not None and not self.properties.is_property_set("sheet"):
            chosen = wishes_of(root).sheet
            self.sheet = "AUTO" if chosen == "NONE" else chosen
        return super().invoke(context, event)

    def draw_drawing(self, layout: Any) -> None:
        """Draw the choices about what is drawn on nets."""
        layout.column(heading="Draw").prop(self, "angles")
        layout.prop(self, "dpi")

    def run(self, context: bpy.types.Context) -> None:
        """Write them."""
        folder = self.chosen_folder()
        if not self.chosen_formats():
            raise HingeleafError(f"Choose a kind of file that a model has: {', '.join(MODEL_FORMATS)}")
        root = self.root(context)
        model = model_of(context, root)
        with _waiting(context):
            files = write_unfolded(
                with_surfaces(root, model.unfolded),
                model.joins,
                folder,
                angles=self.angles,
                smooth_deg=wishes_of(root).smooth_deg,
                dpi=self.dpi,
                **self.net_choices(),
            )
        for note in files.notes:
            self.report({"WARNING"}, note)
        self.report({"INFO"}, f"Wrote {len(files.paths)} files on {len(files.sheets)} sheets to {self.directory}")


@contextmanager
def _waiting(context: bpy.types.Context) -> Iterator[None]:
    """The pointer says that it takes a while; in a window only."""
    window = None if bpy.app.background else context.window
    if window is not None:
        window.cursor_modal_set("WAIT")
    try:
        yield
    finally:
        if window is not None:
            window.cursor_modal_restore()
