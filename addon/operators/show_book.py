"""Show one of several books alone."""

from typing import TYPE_CHECKING

import bpy
from bpy.props import StringProperty

from ..books import all_books, bound_root_of, camera_of, collection_of
from ..geometry import HingeleafError
from ..presenting import hide_other_collections, look_through_camera, make_active
from ..tinting import show_tints
from .base import ReportingOperator

__all__ = ["HINGELEAF_OT_show_book"]


class HINGELEAF_OT_show_book(ReportingOperator, bpy.types.Operator):
    """Show this book alone, through its own camera"""

    bl_idname = "hingeleaf.show_book"
    bl_label = "Show Book"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        name: str
    else:
        name: StringProperty(name="Book", description="Name of the book's root object")

    def run(self, context: bpy.types.Context) -> None:
        """Hide the others and look at this one."""
        root = next((book for book in all_books(context) if book.name == self.name), None)
        if root is None:
            raise HingeleafError(f'There is no book "{self.name}" in this scene')
        hide_other_collections(context, collection_of(root))
        make_active(context, root)
        camera = camera_of(bound_root_of(root) or root)
        if camera is not None:
            context.scene.camera = camera
            look_through_camera(context)
        show_tints(context)
