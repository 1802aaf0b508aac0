"""Make a bound book of new empty spreads, or of the single books in the scene; and take one apart again."""

from pathlib import PurePosixPath
from typing import TYPE_CHECKING

import bpy
from bpy.props import BoolProperty, IntProperty, StringProperty

from ..books import active_bound, all_books, bound_root_of, collection_of, is_linked, spreads_of
from ..bound_apart import take_apart
from ..bound_books import bind_books
from ..bound_files import BOOK_FILE
from ..designing import finish_change
from ..geometry import HingeleafError, assemble
from ..geometry.binding import parse_book
from ..geometry.binding.writer import new_book_text
from ..geometry.design.starting import file_name
from ..open_book import build_bound
from ..presenting import present
from ..reporting import clear_problems
from .base import Outcome, ReportingOperator
from .new_book import HINGELEAF_OT_new_book, PagesOperator, add_page_properties, starting_folder

__all__ = [
    "HINGELEAF_OT_bind_spreads",
    "HINGELEAF_OT_new_bound_book",
    "HINGELEAF_OT_take_apart",
    "is_bound_there",
    "picture_size",
]


def picture_size(context: bpy.types.Context) -> tuple[int, int]:
    """Size of the pictures that the scene takes, pixels."""
    return context.scene.render.resolution_x, context.scene.render.resolution_y


def _single_books(context: bpy.types.Context) -> list[bpy.types.Object]:
    """The books in the scene that are not bound and can be changed."""
    return [root for root in all_books(context) if bound_root_of(root) is None and not is_linked(root)]


@add_page_properties
class HINGELEAF_OT_new_bound_book(PagesOperator, bpy.types.Operator):
    """Make a bound book of several empty spreads, ready to build on"""

    bl_idname = "hingeleaf.new_bound_book"
    bl_label = "New Bound Book"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        count: int
        studio: bool
        alone: bool
    else:
        count: IntProperty(name="Spreads", description="How many", default=3, min=1, max=64)
        studio: BoolProperty(name="Studio", description="Set the book on a lit table with a camera", default=True)
        alone: BoolProperty(
            name="Hide Other Collections",
            description="Untick all other collections in the Outliner, so that the book stands alone",
            default=True,
        )

    poll = HINGELEAF_OT_new_book.poll

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for title, pages and number of spreads."""
        return context.window_manager.invoke_props_dialog(self, confirm_text="Make Book")  # type: ignore[return-value]

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the choices."""
        super().draw(context)
        self.layout.prop(self, "count")

    def run(self, context: bpy.types.Context) -> None:
        """Make it, and build it."""
        title, folder = self.title.strip(), starting_folder()
        if not title:
            raise HingeleafError("Give the book a title")
        names = [f"{title} {number}" for number in range(1, self.count + 1)]
        descriptions = [self.described(name) for name in names]
        text = new_book_text(title, [PurePosixPath(file_name(name)).name for name in names])
        book = parse_book(text, source=BOOK_FILE, folder=folder, look=False)
        spreads = [assemble(description) for description in descriptions]
        bound = build_bound(book, (descriptions, spreads), context, studio=self.studio)
        alone = collection_of(bound) if self.alone else None
        present(context, spreads_of(bound)[0], alone=alone, through_camera=self.studio)
        clear_problems(context)


class HINGELEAF_OT_bind_spreads(ReportingOperator, bpy.types.Operator):
    """Bind all single books of the scene, in the order in which they came, into one book with boards"""

    bl_idname = "hingeleaf.bind_spreads"
    bl_label = "Bind Spreads"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        title: str
        studio: bool
    else:
        title: StringProperty(name="Title", description="Name of the bound book", default="Bound Book")
        studio: BoolProperty(
            name="Studio", description="Set the book on a lit table with a camera, in place of theirs", default=True
        )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is something to bind."""
        if context.mode != "OBJECT":
            cls.poll_message_set("Leave Edit Mode first")
            return False
        if not _single_books(context):
            cls.poll_message_set("Make or open the books of single spreads first")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Bind them."""
        roots = _single_books(context)
        for root in roots:
            finish_change(context, root)
        title = self.title.strip() or "Bound Book"
        bound = bind_books(context, roots, title, picture_size(context), studio=self.studio)
        present(context, roots[0], alone=collection_of(bound), through_camera=self.studio)
        clear_problems(context)


class HINGELEAF_OT_take_apart(ReportingOperator, bpy.types.Operator):
    """Take the bound book apart into single books, one a spread"""

    bl_idname = "hingeleaf.take_apart"
    bl_label = "Take Apart"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a bound book that can be changed."""
        return is_bound_there(cls, context)

    def run(self, context: bpy.types.Context) -> None:
        """Take it apart, and show the spread that was meant."""
        bound = active_bound(context)
        if bound is None:
            raise HingeleafError("There is no bound book in this scene")
        for root in spreads_of(bound):
            finish_change(context, root)
        roots = take_apart(context, bound, picture_size(context))
        present(context, roots[0], alone=collection_of(roots[0]), through_camera=True)


def is_bound_there(cls: type[bpy.types.Operator], context: bpy.types.Context) -> bool:
    """Whether there is a bound book that can be changed; tells the operator why not."""
    bound = active_bound(context)
    if bound is None:
        cls.poll_message_set("Open a book file, make a bound book, or bind the spreads of the scene first")
    elif is_linked(bound):
        cls.poll_message_set("This book is linked from another file: press Make Book Local to change it")
    elif context.mode != "OBJECT":
        cls.poll_message_set("Leave Edit Mode first")
    else:
        return True
    return False
