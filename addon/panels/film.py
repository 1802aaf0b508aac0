"""Make the film, and see how far it is."""

import bpy

from .base import SidebarPanel

__all__ = ["HINGELEAF_PT_film"]


class HINGELEAF_PT_film(SidebarPanel, bpy.types.Panel):
    """The opening as a film"""

    bl_label = "Film"
    bl_idname = "HINGELEAF_PT_film"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout = self.layout
        moment = context.window_manager.hingeleaf  # type: ignore[attr-defined]
        if moment.film_share < 0.0:
            layout.operator("hingeleaf.make_film", icon="RENDER_ANIMATION")
            return
        row = layout.row(align=True)
        row.progress(factor=moment.film_share, text=f"{moment.film_share:.0%}  {moment.film_label}")
        row.operator("hingeleaf.stop_film", text="", icon="X")
