"""Make the film, and see how far it is."""

import bpy

from ..books import active_book, active_bound
from ..filming_backgrounds import BACKGROUNDS, background_of
from .base import SidebarPanel

__all__ = ["HINGELEAF_PT_film"]


class HINGELEAF_PT_film(SidebarPanel, bpy.types.Panel):
    """The book as a film"""

    bl_label = "Film"
    bl_idname = "HINGELEAF_PT_film"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout = self.layout
        moment = context.window_manager.hingeleaf  # type: ignore[attr-defined]
        if moment.film_share >= 0.0:
            row = layout.row(align=True)
            row.progress(factor=moment.film_share, text=f"{moment.film_share:.0%}  {moment.film_label}")
            row.operator("hingeleaf.stop_film", text="", icon="X")
            return
        root = active_bound(context) or active_book(context)
        if root is not None:
            label = BACKGROUNDS[background_of(root)].label
            layout.operator_menu_enum("hingeleaf.set_background", "background", text=label, icon="WORLD")
        layout.operator("hingeleaf.make_film", icon="RENDER_ANIMATION")
        layout.operator("hingeleaf.make_stills", icon="RENDER_STILL")
        column = layout.column(align=True)
        column.operator("hingeleaf.save_for_farm", icon="NETWORK_DRIVE")
        column.operator("hingeleaf.join_film", icon="SEQUENCE")
