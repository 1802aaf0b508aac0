"""Open a description, choose the book, open and close it."""

from typing import Any

import bpy

from ..books import active_book, all_books, bound_root_of
from ..channels import HANDS, OPENING
from ..operators.make_local import linked_root
from .base import SidebarPanel, draw_text

__all__ = ["HINGELEAF_PT_book"]


class HINGELEAF_PT_book(SidebarPanel, bpy.types.Panel):
    """The book and its opening"""

    bl_label = "Book"
    bl_idname = "HINGELEAF_PT_book"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout: Any = self.layout
        row = layout.row(align=True)
        row.operator("hingeleaf.new_book", icon="FILE_NEW")
        row.operator("hingeleaf.open_description", text="Open", icon="FILE_FOLDER")
        root = active_book(context)
        if root is not None:
            saving = "save_description" if bound_root_of(root) is None else "save_bound"
            row.operator(f"hingeleaf.{saving}", text="", icon="FILE_TICK")
            row.operator("hingeleaf.reload_description", text="", icon="FILE_REFRESH")
        if linked_root(context) is not None:
            layout.operator("hingeleaf.make_book_local", icon="LIBRARY_DATA_DIRECT")
        _draw_problems(layout, context)
        books = [book for book in all_books(context) if bound_root_of(book) is None]
        if len(books) > 1 or (books and root not in books):
            column = layout.column(align=True)
            for book in books:
                entry = column.operator("hingeleaf.show_book", text=book.name, depress=book == root)
                entry.name = book.name  # type: ignore[attr-defined]
        if root is not None:
            row = layout.row(align=True)
            row.label(text=root.name, icon="EMPTY_AXIS")
            row.operator("hingeleaf.change_pages", text="Pages", icon="GREASEPENCIL")
            if bound_root_of(root) is None:
                # The leaves of a bound book open its spreads.
                row = layout.row(align=True)
                row.prop(root, f'["{OPENING}"]', text="Opening (degrees)", slider=True)
                playing = context.screen is not None and context.screen.is_animation_playing
                row.operator("hingeleaf.play_opening", text="", icon="PAUSE" if playing else "PLAY")
            for key, label in root.get(HANDS, {}).items():
                layout.prop(root, f'["{key}"]', text=label, slider=True)


def _draw_problems(layout: Any, context: bpy.types.Context) -> None:
    """Every problem of the description that could not be opened."""
    moment = context.window_manager.hingeleaf  # type: ignore[attr-defined]
    if not moment.problems:
        return
    box = layout.box()
    count = len(moment.problems)
    row = box.row()
    row.label(text=f"{moment.source}: {count} problem{'s' * (count != 1)}", icon="ERROR")
    row.operator("hingeleaf.dismiss_problems", text="", icon="X", emboss=False)
    for problem in moment.problems:
        draw_text(box, context, problem.message)
