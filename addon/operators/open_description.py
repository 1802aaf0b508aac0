"""Open a description as a book, and open it again after it was changed."""

from pathlib import Path
from typing import TYPE_CHECKING

import bpy
from bpy.props import BoolProperty, StringProperty

from ..books import collection_of, description_file, spreads_of
from ..bound_books import refuse_other_pages
from ..designing import change_book
from ..geometry import assemble, read_description
from ..geometry.binding import is_book
from ..geometry.description.reader import read_text
from ..open_book import open_book, open_bound
from ..presenting import present
from ..reporting import clear_problems
from .base import BookOperator, Outcome, ReportingOperator

__all__ = ["HINGELEAF_OT_dismiss_problems", "HINGELEAF_OT_open_description", "HINGELEAF_OT_reload_description"]


class HINGELEAF_OT_open_description(ReportingOperator, bpy.types.Operator):
    """Build the book that a description describes, ready to open and close; a bound book with all its spreads"""

    bl_idname = "hingeleaf.open_description"
    bl_label = "Open Description"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        filepath: str
        studio: bool
        alone: bool
    else:
        filepath: StringProperty(name="File", description="The description to open", subtype="FILE_PATH")
        filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})
        studio: BoolProperty(
            name="Studio",
            description="Set the book on a lit table with a camera that sees the whole motion",
            default=True,
        )
        alone: BoolProperty(
            name="Hide Other Collections",
            description="Untick all other collections in the Outliner, so that the book stands alone",
            default=True,
        )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the file."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def run(self, context: bpy.types.Context) -> None:
        """Read, assemble, build."""
        file = bpy.path.abspath(self.filepath)
        if is_book(read_text(Path(file))):
            self._open_bound(context, file)
            return
        description = read_description(file)
        book = open_book(description, assemble(description), context, studio=self.studio)
        self._present(context, book.root, book.root)
        for warning in book.warnings:
            self.report({"WARNING"}, warning)

    def _open_bound(self, context: bpy.types.Context, file: str) -> None:
        """Build a bound book, its first spread lying open and active."""
        bound = open_bound(file, context, studio=self.studio, warn=lambda said: self.report({"WARNING"}, said))
        self._present(context, bound, spreads_of(bound)[0])

    def _present(self, context: bpy.types.Context, whole: bpy.types.Object, active: bpy.types.Object) -> None:
        alone = collection_of(whole) if self.alone else None
        present(context, active, alone=alone, through_camera=self.studio)
        clear_problems(context)


class HINGELEAF_OT_dismiss_problems(bpy.types.Operator):
    """Take this list away; what it says of files stays as it is"""

    bl_idname = "hingeleaf.dismiss_problems"
    bl_label = "Dismiss"
    bl_options = {"INTERNAL"}

    def execute(self, context: bpy.types.Context) -> Outcome:
        """Forget them."""
        clear_problems(context)
        return {"FINISHED"}


class HINGELEAF_OT_reload_description(BookOperator, bpy.types.Operator):
    """Read the active book's file again and change the book to what it says now"""

    bl_idname = "hingeleaf.reload_description"
    bl_label = "Reload Description"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context: bpy.types.Context) -> None:
        """Read, assemble, change in place."""
        root = self.book(context)
        description = read_description(description_file(root))
        refuse_other_pages(root, description)
        warnings = change_book(context, root, description)
        clear_problems(context)
        for warning in warnings:
            self.report({"WARNING"}, warning)
