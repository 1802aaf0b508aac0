"""Hand the motion on: as plain keyframes, or as a file for other programs."""

import bpy

from ..baking import is_hidden, meant_bakes
from ..books import active_book
from .base import SidebarPanel

__all__ = ["HINGELEAF_PT_export"]


class HINGELEAF_PT_export(SidebarPanel, bpy.types.Panel):
    """The book with its motion, without Hingeleaf"""

    bl_label = "Export"
    bl_idname = "HINGELEAF_PT_export"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout = self.layout
        row = layout.row(align=True)
        row.operator("hingeleaf.bake_motion", icon="KEYFRAME_HLT")
        root = active_book(context)
        if meant_bakes(context) or (root is not None and is_hidden(root)):
            row.operator("hingeleaf.remove_bake", text="", icon="X")
        row = layout.row(align=True)
        row.operator("hingeleaf.export_gltf", icon="EXPORT")
        row.operator("hingeleaf.export_usd", text="USD")
