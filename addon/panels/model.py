"""Nets from any model: lay them, wish, cut and join edges, fold, write."""

from typing import Any

import bpy

from ..model_baking import unplain_materials
from ..model_state import UNFOLDED, choices_of, is_model, meant_model, sources_of, wishes_group
from ..operators.cut_edge import is_picking_edges
from .base import SidebarPanel, draw_text

__all__ = ["HINGELEAF_PT_model", "HINGELEAF_PT_model_notes"]

_ICONS = {"warning": "ERROR", "note": "INFO"}


class HINGELEAF_PT_model(SidebarPanel, bpy.types.Panel):
    """Nets from any model"""

    bl_label = "Model"
    bl_idname = "HINGELEAF_PT_model"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout: Any = self.layout
        root = meant_model(context)
        row = layout.row(align=True)
        row.operator("hingeleaf.unfold_model", icon="MOD_UVPROJECT")
        if root is None:
            draw_text(layout, context, "Select any objects with faces", icon="INFO")
            return
        row.operator("hingeleaf.refresh_model", text="", icon="FILE_REFRESH")
        row.operator("hingeleaf.remove_model_nets", text="", icon="X")
        group = wishes_group(root)
        names = ", ".join(item.name for item in sources_of(root))
        text = f"Nets of {names}" if names else "The model is no more; its nets can be written"
        draw_text(layout, context, text, icon="OBJECT_DATA")
        if group.refusal:
            draw_text(layout, context, group.refusal, icon="CANCEL")
        elif group.figures:
            draw_text(layout, context, group.figures, icon="BLANK1")
        _draw_wishes(layout, group)
        _draw_edges(layout, root)
        column = layout.column(align=True)
        column.prop(root, f'["{UNFOLDED}"]', text="Unfolded", slider=True)
        column.operator_menu_enum("hingeleaf.keyframe_model", "way", icon="KEYTYPE_KEYFRAME_VEC")
        layout.operator_context = "INVOKE_DEFAULT"
        if unplain_materials(root):
            layout.operator("hingeleaf.bake_model", icon="RENDER_STILL")
        layout.operator("hingeleaf.write_model_nets", icon="EXPORT")
        layout.operator("hingeleaf.put_model", icon="BOOKMARKS")


def _draw_wishes(layout: Any, group: Any) -> None:
    """What is wished of the nets."""
    layout = layout.column()
    layout.use_property_split = True
    layout.use_property_decorate = False
    layout.prop(group, "size_by")
    if group.size_by == "HEIGHT":
        layout.prop(group, "height")
    for name in ("sheet", "preset", "smooth", "flatten"):
        layout.prop(group, name)
    column = layout.column(align=True)
    tabs = column.row()
    tabs.active = not group.edge_to_edge
    tabs.prop(group, "tab_width")
    column.prop(group, "edge_to_edge")
    column = layout.column(align=True, heading="Reduce")
    row = column.row(align=True)
    row.prop(group, "reduce", text="")
    part = row.row(align=True)
    part.active = group.reduce
    part.prop(group, "faces", text="")
    column = layout.column(align=True, heading="Edges")
    column.prop(group, "sharp")
    column = layout.column(align=True, heading="Show")
    for name in ("show_lines", "show_labels", "true_size"):
        column.prop(group, name)
    layout.column(heading="Update").prop(group, "follow")


def _draw_edges(layout: Any, root: bpy.types.Object) -> None:
    """Cutting and joining by hand."""
    column = layout.column(align=True)
    column.operator("hingeleaf.pick_edges", icon="RESTRICT_SELECT_OFF", depress=is_picking_edges())
    row = column.row(align=True)
    row.operator("hingeleaf.write_seams", icon="EDGESEL")
    count = len(choices_of(root))
    if count:
        row.operator("hingeleaf.forget_choices", text=f"Forget {count}", icon="LOOP_BACK")


class HINGELEAF_PT_model_notes(SidebarPanel, bpy.types.Panel):
    """What was repaired, and what is wrong with the model"""

    bl_label = "Notes"
    bl_idname = "HINGELEAF_PT_model_notes"
    bl_parent_id = "HINGELEAF_PT_model"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there are any."""
        root = meant_model(context)
        return root is not None and is_model(root) and len(wishes_group(root).notes) > 0

    def draw(self, context: bpy.types.Context) -> None:
        """Draw them, the active one in full."""
        layout: Any = self.layout
        root = meant_model(context)
        if root is None:
            return
        group = wishes_group(root)
        layout.template_list("UI_UL_list", "hingeleaf_model_notes", group, "notes", group, "active_note", rows=3)
        if 0 <= group.active_note < len(group.notes):
            note = group.notes[group.active_note]
            draw_text(layout.box(), context, note.name, icon=_ICONS.get(note.severity, "INFO"))
