"""An outline suggested from the alpha of artwork."""

from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

import bpy
from bpy.props import BoolProperty, EnumProperty, FloatProperty, StringProperty

from ..designing import change_book, design_of, finish_change, mechanism_of
from ..geometry.design.alpha_outline import outline_from_alpha
from ..geometry.design.decorating import Face, artwork_of
from ..geometry.errors import FileError, HingeleafError
from ..geometry.tracing import TraceOptions, read_alpha
from .assign_artwork import FACES
from .base import BookOperator

__all__ = ["HINGELEAF_OT_outline_from_alpha"]

#: Letters that a line of the redo panel takes at its usual width.
_LINE = 38


class HINGELEAF_OT_outline_from_alpha(BookOperator, bpy.types.Operator):
    """Cut the active panel's mechanism along the alpha of its artwork; hinges stay where they are"""

    bl_idname = "hingeleaf.outline_from_alpha"
    bl_label = "Outline from Alpha"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        face: Face
        threshold: float
        tolerance: float
        feature: float
        windows: bool
        said: str
    else:
        face: EnumProperty(name="Face", description="Whose artwork is traced", items=FACES, default="front")
        threshold: FloatProperty(
            name="Threshold",
            description="How opaque the artwork is at least where there is card",
            default=0.5,
            min=0.01,
            max=1.0,
            subtype="FACTOR",
        )
        tolerance: FloatProperty(
            name="Tolerance (mm)",
            description="How far the outline may be off the edge of the alpha; more makes it smoother",
            default=0.2,
            min=0.01,
            max=10.0,
            soft_max=2.0,
            precision=2,
            step=5,
        )
        feature: FloatProperty(
            name="Feature (mm)",
            description="The narrowest that is cut: thinner parts are left out, narrower gaps and holes are closed",
            default=1.5,
            min=0.0,
            max=50.0,
            soft_max=10.0,
            precision=2,
            step=10,
        )
        windows: BoolProperty(name="Windows", description="Cut holes in the artwork out as windows", default=True)
        said: StringProperty(options={"HIDDEN", "SKIP_SAVE"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a panel of a mechanism is active, in Object Mode."""
        if not super().poll(context):
            return False
        if context.mode != "OBJECT" or not mechanism_of(context.view_layer.objects.active):
            cls.poll_message_set("Select a panel of a mechanism in Object Mode")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Trace, change the description, change the book."""
        root = self.book(context)
        finish_change(context, root)
        description, spread = design_of(root)
        mechanism = mechanism_of(context.view_layer.objects.active)
        file = artwork_of(description, mechanism, self.face)
        if file is None:
            where = "printed face" if self.face == "front" else "back"
            raise HingeleafError(f"There is no artwork on the {where} of {mechanism}: assign one with alpha first")
        options = TraceOptions(self.threshold, round(self.tolerance, 4), round(self.feature, 4))
        alpha = read_alpha(file)
        try:
            found = outline_from_alpha(
                description, spread, mechanism, alpha, face=self.face, options=options, windows=self.windows
            )
        except FileError:
            raise
        except HingeleafError as error:
            raise HingeleafError(f"{Path(file).name}: {error}") from None
        change_book(context, root, found.description)
        self.said = "\n".join([str(found), *found.notes])
        for note in found.notes:
            self.report({"WARNING"}, f"{mechanism}: {note}")
        self.report({"INFO"}, f"Outline of {mechanism}: {found}")

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the redo panel: what can be changed, and what came out."""
        layout: Any = self.layout
        layout.use_property_split = True
        for name in ("face", "threshold", "tolerance", "feature", "windows"):
            layout.prop(self, name)
        column = layout.column(align=True)
        for said in self.said.split("\n") if self.said else ():
            for number, line in enumerate(wrap(said[:1].upper() + said[1:], _LINE)):
                column.label(text=line, icon="BLANK1" if number else "INFO")
