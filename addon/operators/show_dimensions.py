"""Show the sizes of the selected mechanism in the viewport."""

import bpy

from ..presenting import redraw
from .base import BookOperator

__all__ = ["HINGELEAF_OT_show_dimensions"]


class HINGELEAF_OT_show_dimensions(BookOperator, bpy.types.Operator):
    """Show the sizes of the selected mechanism on its standing panels, as its description names them; again to hide"""

    bl_idname = "hingeleaf.show_dimensions"
    bl_label = "Show Dimensions"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context: bpy.types.Context) -> None:
        """Show or hide them."""
        check = context.scene.hingeleaf  # type: ignore[attr-defined]
        check.show_dimensions = not check.show_dimensions
        redraw(context)
