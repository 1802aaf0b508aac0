"""The findings of the check."""

from typing import Any

import bpy

from ..books import active_book
from ..bulk import bulk_object, legend_of
from ..found import is_stale
from .base import SidebarPanel, draw_text

__all__ = ["HINGELEAF_PT_check", "HINGELEAF_PT_figures", "HINGELEAF_UL_findings"]

_ICONS = {"error": "CANCEL", "warning": "ERROR", "note": "INFO"}


class HINGELEAF_UL_findings(bpy.types.UIList):
    """Findings, one a line; a click goes there"""

    bl_idname = "HINGELEAF_UL_findings"

    def draw_item(  # type: ignore[override]
        self,
        context: bpy.types.Context,
        layout: bpy.types.UILayout,
        data: object,
        item: bpy.types.PropertyGroup,
        icon: int,
        active_data: object,
        active_property: str,
        index: int = 0,
        flt_flag: int = 0,
    ) -> None:
        """Draw one line."""
        row = layout.row(align=True)
        row.alignment = "LEFT"
        text = item.short  # type: ignore[attr-defined]
        sign = _ICONS[item.severity]  # type: ignore[attr-defined]
        entry = row.operator("hingeleaf.show_finding", text=text, icon=sign, emboss=False)  # type: ignore[arg-type]
        entry.index = index  # type: ignore[attr-defined]


class HINGELEAF_PT_check(SidebarPanel, bpy.types.Panel):
    """What is known before anything is cut"""

    bl_label = "Check"
    bl_idname = "HINGELEAF_PT_check"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout = self.layout
        moment = context.window_manager.hingeleaf  # type: ignore[attr-defined]
        if moment.check_share >= 0.0:
            layout.progress(factor=moment.check_share, text=f"{moment.check_share:.0%}  {moment.check_label}")
            layout.label(text="Esc stops it")
            return
        layout.operator_context = "INVOKE_DEFAULT"
        layout.operator("hingeleaf.check_book", icon="CHECKMARK")
        check = context.scene.hingeleaf  # type: ignore[attr-defined]
        if check.book is None or check.book != active_book(context):
            return
        if is_stale(check):
            draw_text(layout, context, "The book has changed since: check again", icon="FILE_REFRESH")
        if not check.findings and is_stale(check):
            return
        if not check.findings:
            draw_text(layout, context, f"{check.book.name} passes every check", icon="CHECKMARK")
            return
        layout.template_list("HINGELEAF_UL_findings", "", check, "findings", check, "active", rows=4)
        if 0 <= check.active < len(check.findings):
            _draw_finding(layout.box(), context, check.findings[check.active])


class HINGELEAF_PT_figures(SidebarPanel, bpy.types.Panel):
    """Bulk, speed, and how accurate the hand must be, mechanism by mechanism"""

    bl_label = "Bulk and Accuracy"
    bl_idname = "HINGELEAF_PT_figures"
    bl_parent_id = "HINGELEAF_PT_check"
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether the active book has been checked."""
        check = context.scene.hingeleaf  # type: ignore[attr-defined]
        return check.book is not None and check.book == active_book(context) and bool(check.figures)

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout: Any = self.layout
        root = active_book(context)
        if root is not None:
            _draw_bulk(layout, root)
        column = layout.column(align=True)
        for line in context.scene.hingeleaf.figures.splitlines():  # type: ignore[attr-defined]
            draw_text(column, context, line.strip(), icon="DOT" if line.startswith("    ") else "NONE")


def _draw_bulk(layout: Any, root: bpy.types.Object) -> None:
    """The button of the bulk map, and while it lies there what its colors mean."""
    shown = bulk_object(root)
    text = "Show Bulk Map" if shown is None else "Hide Bulk Map"
    layout.operator("hingeleaf.show_bulk", text=text, icon="MESH_GRID", depress=shown is not None)
    if shown is None:
        return
    column = layout.column(align=True)
    for meaning, material in legend_of(shown):
        row = column.split(factor=0.15, align=True)
        row.prop(material, "diffuse_color", text="")
        row.label(text=meaning)


def _draw_finding(box: bpy.types.UILayout, context: bpy.types.Context, finding: bpy.types.PropertyGroup) -> None:
    """The active finding in full."""
    draw_text(box, context, finding.message, icon=_ICONS[finding.severity])  # type: ignore[attr-defined]
    if finding.has_opening:  # type: ignore[attr-defined]
        box.label(text=f"At an opening of {finding.opening:.1f}°")  # type: ignore[attr-defined]
    if finding.remedy:  # type: ignore[attr-defined]
        draw_text(box, context, finding.remedy, icon="MODIFIER")  # type: ignore[attr-defined]
    check = context.scene.hingeleaf  # type: ignore[attr-defined]
    if finding.mending and not is_stale(check):  # type: ignore[attr-defined]
        index = check.active
        box.operator("hingeleaf.apply_remedy", icon="MODIFIER").index = index  # type: ignore[attr-defined]
