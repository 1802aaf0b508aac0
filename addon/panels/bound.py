"""A bound book: turn it through, choose the spread that is worked on, rearrange it."""

from typing import Any

import bpy

from ..books import NUMBER_KEY, TURN, active_book, active_bound, all_books, spreads_of
from ..bound_motion import leaf_key
from ..bound_rig import thickness_of
from .base import SidebarPanel

__all__ = ["HINGELEAF_PT_bound", "HINGELEAF_PT_leaves"]


class HINGELEAF_PT_bound(SidebarPanel, bpy.types.Panel):
    """The bound book and its spreads"""

    bl_label = "Bound Book"
    bl_idname = "HINGELEAF_PT_bound"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout: Any = self.layout
        bound = active_bound(context)
        row = layout.row(align=True)
        row.operator("hingeleaf.new_bound_book", text="New", icon="FILE_NEW")
        if bound is None:
            if all_books(context):
                row.operator("hingeleaf.bind_spreads", icon="BOOKMARKS")
            return
        row.operator("hingeleaf.save_bound", text="Save As", icon="FILE_TICK")
        row = layout.row(align=True)
        row.label(text=bound.name, icon="BOOKMARKS")
        row.operator("hingeleaf.change_cover", text="Cover", icon="GREASEPENCIL")
        row = layout.row(align=True)
        row.prop(bound, f'["{TURN}"]', text="Turn", slider=True)
        playing = context.screen is not None and context.screen.is_animation_playing
        row.operator("hingeleaf.play_opening", text="", icon="PAUSE" if playing else "PLAY")
        _draw_spreads(layout, context, bound)
        row = layout.row(align=True)
        row.label(text=f"{thickness_of(bound):.1f} mm thick closed")
        row.operator("hingeleaf.take_apart", icon="X")


def _draw_spreads(layout: Any, context: bpy.types.Context, bound: bpy.types.Object) -> None:
    """The spreads from the front; a click turns to one and makes it the one that is worked on."""
    active = active_book(context)
    row = layout.row()
    column = row.column(align=True)
    for root in spreads_of(bound):
        number = int(root[NUMBER_KEY])
        entry = column.operator("hingeleaf.show_spread", text=f"{number}  {root.name}", depress=root == active)
        entry.number = number
    column = row.column(align=True)
    column.operator("hingeleaf.add_spread", text="", icon="ADD")
    column.operator("hingeleaf.remove_spread", text="", icon="REMOVE")
    column.operator("hingeleaf.move_spread", text="", icon="TRIA_UP").way = "EARLIER"
    column.operator("hingeleaf.move_spread", text="", icon="TRIA_DOWN").way = "LATER"


class HINGELEAF_PT_leaves(SidebarPanel, bpy.types.Panel):
    """What every leaf is turned besides"""

    bl_label = "Leaves"
    bl_idname = "HINGELEAF_PT_leaves"
    bl_parent_id = "HINGELEAF_PT_bound"
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a bound book."""
        return active_bound(context) is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Draw them, from the front."""
        layout: Any = self.layout
        bound = active_bound(context)
        if bound is None:
            return
        column = layout.column(align=True)
        leaf = 0
        while bound.get(leaf_key(leaf)) is not None:
            column.prop(bound, f'["{leaf_key(leaf)}"]', text=f"Leaf {leaf} (degrees)", slider=True)
            leaf += 1
