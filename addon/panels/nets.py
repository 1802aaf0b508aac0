"""Write the nets."""

import bpy

from .base import SidebarPanel

__all__ = ["HINGELEAF_PT_nets"]


class HINGELEAF_PT_nets(SidebarPanel, bpy.types.Panel):
    """The pieces laid flat, to print and cut"""

    bl_label = "Nets"
    bl_idname = "HINGELEAF_PT_nets"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        self.layout.operator("hingeleaf.write_nets", icon="MOD_UVPROJECT")
        self.layout.operator("hingeleaf.write_templates", icon="GREASEPENCIL")
