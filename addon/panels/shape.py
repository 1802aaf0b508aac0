"""The outline and the artwork of the selected panel, sizes found by a wish, and the mechanism as an asset."""

from pathlib import PurePath
from typing import Any, Literal

import bpy

from ..assets import is_dropped
from ..books import active_book
from ..designing import mechanism_of, read_design
from ..geometry import HingeleafError
from ..geometry.design.decorating import artwork_of, color_of
from ..outline_editing import is_drawing
from ..panel_objects import PANEL_KEY, PIECE_KEY
from .base import SidebarPanel, draw_text

__all__ = ["HINGELEAF_PT_shape"]


class HINGELEAF_PT_shape(SidebarPanel, bpy.types.Panel):
    """The selected panel: its outline and its artwork"""

    bl_label = "Outline and Artwork"
    bl_idname = "HINGELEAF_PT_shape"
    bl_parent_id = "HINGELEAF_PT_mechanisms"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout: Any = self.layout
        root = active_book(context)
        item = context.view_layer.objects.active if context.view_layer is not None else None
        if item is not None and is_drawing(item):
            draw_text(layout, context, "Shape the curve in Edit Mode, then apply it", icon="INFO")
            row = layout.row(align=True)
            row.operator("hingeleaf.apply_outline", text="Apply", icon="CHECKMARK")
            row.operator("hingeleaf.cancel_outline", text="Cancel", icon="X")
            return
        if item is not None and is_dropped(item):
            layout.operator("hingeleaf.place_asset", icon="SNAP_EDGE")
            return
        if root is None or item is None or not item.get(PANEL_KEY):
            draw_text(layout, context, "Select a panel in the viewport", icon="INFO")
            if root is not None:
                _draw_folder(layout)
            return
        if mechanism_of(item):
            _draw_outline(layout)
        _draw_artwork(layout, root, item.get(PIECE_KEY, ""))
        if mechanism_of(item):
            layout.separator()
            layout.operator("hingeleaf.fit_sizes", icon="FULLSCREEN_ENTER")
            layout.operator("hingeleaf.mark_asset", text="Mark as Asset", icon="ASSET_MANAGER")


def _draw_outline(layout: Any) -> None:
    row = layout.row(align=True)
    row.operator_context = "EXEC_DEFAULT"
    row.operator_menu_enum("hingeleaf.edit_outline", "key", text="Edit Outline", icon="IPO_BEZIER")
    row = layout.row(align=True)
    row.operator_context = "INVOKE_DEFAULT"
    row.operator_menu_enum("hingeleaf.outline_from_object", "key", text="From Object")
    row.operator_menu_enum("hingeleaf.outline_from_svg", "key", text="From SVG")
    row.operator_context = "EXEC_DEFAULT"
    row.operator("hingeleaf.outline_from_alpha", text="From Alpha")


def _draw_artwork(layout: Any, root: bpy.types.Object, piece: str) -> None:
    """Buttons for both faces of the piece, each with the file and the color that are on it."""
    layout.operator_context = "INVOKE_DEFAULT"
    column = layout.column(align=True)
    column.label(text=f"Artwork of {'the pages' if piece == 'page' else piece}")
    faces: tuple[Literal["front", "back"], ...] = ("front", "back")
    for face in faces:
        try:
            file, color = artwork_of(read_design(root), piece, face), color_of(read_design(root), piece, face)
        except HingeleafError:
            column.label(text="It has none of its own", icon="INFO")
            break
        row = column.row(align=True)
        text = face.capitalize() if file is None else f"{face.capitalize()}: {PurePath(file).name}"
        _face_button(row, "assign", face, text, "IMAGE_DATA")
        cross = row.row(align=True)
        cross.enabled = file is not None
        _face_button(cross, "remove", face, "", "X")
        row = column.row(align=True)
        split = row.split(factor=0.4, align=True)
        split.label(text=f"{face.capitalize()} Color")
        field = split.row(align=True)
        # Where nobody has given one, it shows that of the card, a little dimmer.
        field.active = color is not None
        field.prop(root.hingeleaf, f"color_{face}", text="")  # type: ignore[attr-defined]
        cross = row.row(align=True)
        cross.enabled = color is not None
        cross.operator("hingeleaf.remove_color", text="", icon="X").face = face
    _draw_folder(layout)


def _draw_folder(layout: Any) -> None:
    layout.operator_context = "INVOKE_DEFAULT"
    layout.operator("hingeleaf.assign_folder", icon="FILE_FOLDER")
    layout.operator("hingeleaf.write_templates", icon="GREASEPENCIL")


def _face_button(row: Any, what: str, face: str, text: str, icon: str) -> None:
    entry = row.operator(f"hingeleaf.{what}_artwork", text=text, icon=icon)
    entry.on, entry.face = "PIECE", face
