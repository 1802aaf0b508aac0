"""Lay the bulk map beside the book, and take it away again."""

import bpy

from ..books import bound_root_of, camera_of, description_of, panel_objects
from ..bulk import add_bulk, bulk_object, remove_bulk, summary_of
from ..geometry import assemble
from ..presenting import light_again, light_flat, look_down_on, look_through_camera
from .base import BookOperator

__all__ = ["HINGELEAF_OT_show_bulk"]

#: Property of the sheet that keeps how viewports were lit before.
_LIGHT = "hingeleaf_light"


class HINGELEAF_OT_show_bulk(BookOperator, bpy.types.Operator):
    """Lay a map of the closed page beside the book, at true size, colored by thickness; again to take it away"""

    bl_idname = "hingeleaf.show_bulk"
    bl_label = "Show Bulk Map"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context: bpy.types.Context) -> None:
        """Add the map, or remove it."""
        root = self.book(context)
        shown = bulk_object(root)
        if shown is not None:
            light_again(context, shown[_LIGHT])
            remove_bulk(shown)
            if context.scene.camera is not None and context.scene.camera == camera_of(bound_root_of(root) or root):
                look_through_camera(context)
            return
        item = add_bulk(assemble(description_of(root)), root)
        item[_LIGHT] = light_flat(context)
        look_down_on(context, root, [item, *panel_objects(root, "", "page")])
        self.report({"INFO"}, f"Thickest: {summary_of(item)}")
