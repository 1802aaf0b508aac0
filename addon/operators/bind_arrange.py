"""Rearrange a bound book: show, add, remove and move its spreads, and change its cover."""

from collections.abc import Mapping
from itertools import chain, count
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, Any

import bpy
from bpy.props import EnumProperty, FloatProperty, FloatVectorProperty, IntProperty, StringProperty

from ..books import NUMBER_KEY, active_book, active_bound, bound_root_of, camera_of, collection_of, spreads_of
from ..bound_books import add_spread, change_cover, move_spread, remove_spread, show_spread
from ..bound_files import content_of, place_of
from ..bound_fit import book_of, mended_book
from ..carrying import artwork_name, folder_with, note_origin, own_folder
from ..designing import finish_changes, read_design
from ..geometry import HingeleafError, assemble
from ..geometry.artwork import picture_size
from ..geometry.binding.fields import COVER
from ..geometry.design.starting import new_description
from ..geometry.errors import FileError
from ..presenting import hide_other_collections, make_active
from ..reporting import sentence
from .base import Outcome, ReportingOperator
from .bind_spreads import is_bound_there

__all__ = ["CLASSES", "BoundOperator"]


class BoundOperator(ReportingOperator):
    """Works on the active bound book."""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a bound book that can be changed."""
        return is_bound_there(cls, context)  # type: ignore[arg-type]

    def bound(self, context: bpy.types.Context) -> bpy.types.Object:
        """The root of the active bound book, all of it built."""
        bound = active_bound(context)
        if bound is None:
            raise HingeleafError("There is no bound book in this scene")
        said = finish_changes(context)
        if said:
            raise HingeleafError(said)
        mended_book(bound)
        return bound

    def spread(self, context: bpy.types.Context) -> bpy.types.Object:
        """The root of the spread that is meant: the active book's."""
        root = active_book(context)
        if root is None or bound_root_of(root) is None:
            raise HingeleafError("Select a spread of the bound book first")
        return root


class HINGELEAF_OT_show_spread(ReportingOperator, bpy.types.Operator):
    """Turn the book so that this spread lies open, and make it the one that is worked on"""

    bl_idname = "hingeleaf.show_spread"
    bl_label = "Show Spread"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        number: int
    else:
        number: IntProperty(name="Spread", description="Its number, from the front", default=1, min=1)

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a bound book."""
        if active_bound(context) is None:
            cls.poll_message_set("Open a book file, make a bound book, or bind the spreads of the scene first")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Turn it, make it active."""
        bound = active_bound(context)
        roots = [] if bound is None else spreads_of(bound)
        if bound is None or self.number > len(roots):
            raise HingeleafError(f"The book has {len(roots)} spreads; there is no spread {self.number}")
        show_spread(bound, self.number)
        hide_other_collections(context, collection_of(bound))
        make_active(context, roots[self.number - 1])
        camera = camera_of(bound)
        if camera is not None:
            context.scene.camera = camera


class HINGELEAF_OT_add_spread(BoundOperator, bpy.types.Operator):
    """Add an empty spread after the active one, with pages of the same card"""

    bl_idname = "hingeleaf.add_spread"
    bl_label = "Add Spread"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        title: str
    else:
        title: StringProperty(name="Title", description="Name of the spread", default="New Spread")

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for its title."""
        return context.window_manager.invoke_props_dialog(self, confirm_text="Add Spread")  # type: ignore[return-value]

    def run(self, context: bpy.types.Context) -> None:
        """Make it, bind it, show it."""
        bound, root = self.bound(context), self.spread(context)
        old = read_design(root)
        stock = old.stocks[old.page.stock]
        description = new_description(
            self.title.strip() or "New Spread",
            page_mm=(old.page.width_mm, old.page.height_mm),
            margin_mm=old.page.margin_mm,
            grammage_gsm=stock.grammage_gsm,
            color="#" + "".join(f"{round(255 * value):02x}" for value in stock.color),
            folder=own_folder(root),
        )
        after = spreads_of(bound).index(root) + 1
        made = add_spread(context, bound, description, assemble(description), after)
        show_spread(bound, int(made[NUMBER_KEY]))
        make_active(context, made)


class HINGELEAF_OT_remove_spread(BoundOperator, bpy.types.Operator):
    """Take the active spread out of the book and delete it"""

    bl_idname = "hingeleaf.remove_spread"
    bl_label = "Remove Spread"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a spread can be spared."""
        if not super().poll(context):
            return False
        bound = active_bound(context)
        if bound is None or len(spreads_of(bound)) < 2:
            cls.poll_message_set("A bound book keeps one spread at least")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Delete it, show the one in its place."""
        bound, root = self.bound(context), self.spread(context)
        place = int(root[NUMBER_KEY])
        remove_spread(context, bound, root)
        roots = spreads_of(bound)
        number = min(place, len(roots))
        show_spread(bound, number)
        make_active(context, roots[number - 1])


class HINGELEAF_OT_move_spread(BoundOperator, bpy.types.Operator):
    """Let the active spread change places with the one before or behind it"""

    bl_idname = "hingeleaf.move_spread"
    bl_label = "Move Spread"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        way: str
    else:
        way: EnumProperty(
            name="Way",
            description="Where to",
            items=(("EARLIER", "Earlier", "Towards the front"), ("LATER", "Later", "Towards the back")),
        )

    def run(self, context: bpy.types.Context) -> None:
        """Move it, and keep it in sight."""
        bound, root = self.bound(context), self.spread(context)
        move_spread(context, bound, root, -1 if self.way == "EARLIER" else 1)
        show_spread(bound, int(root[NUMBER_KEY]))
        make_active(context, root)


_LIMITS = {field.name: (field.low, field.high) for field in COVER}


class HINGELEAF_OT_change_cover(BoundOperator, bpy.types.Operator):
    """Change the boards of the bound book and what they are covered with"""

    bl_idname = "hingeleaf.change_cover"
    bl_label = "Cover"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        board: float
        square: float
        color: tuple[float, float, float]
        lining: tuple[float, float, float]
        art_front: str
        art_back: str
    else:
        board: FloatProperty(
            name="Board (mm)",
            description="Thickness of the two boards",
            default=2.0,
            min=_LIMITS["board"][0],
            max=_LIMITS["board"][1],
        )
        square: FloatProperty(
            name="Square (mm)",
            description="How far the boards reach beyond the pages",
            default=2.5,
            min=_LIMITS["square"][0],
            max=_LIMITS["square"][1],
        )
        color: FloatVectorProperty(
            name="Cloth",
            description="What the boards are covered with",
            subtype="COLOR_GAMMA",
            size=3,
            min=0,
            max=1,
        )
        lining: FloatVectorProperty(
            name="Lining",
            description="Inside of the boards",
            subtype="COLOR_GAMMA",
            size=3,
            min=0,
            max=1,
        )
        art_front: StringProperty(
            name="Front Artwork",
            description="Picture on the outside of the front board; empty for plain cloth",
            subtype="FILE_PATH",
        )
        art_back: StringProperty(
            name="Back Artwork", description="Picture on the outside of the back board; empty for plain cloth",
            subtype="FILE_PATH",
        )  # fmt: skip

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Show what it has now."""
        bound = active_bound(context)
        if bound is None:
            return {"CANCELLED"}
        try:
            cover = book_of(bound).cover
        except HingeleafError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        self.board, self.square, self.color, self.lining = cover.board_mm, cover.square_mm, cover.color, cover.lining
        self.art_front, self.art_back = cover.art_front or "", cover.art_back or ""
        return context.window_manager.invoke_props_dialog(self, confirm_text="Change Cover")  # type: ignore[return-value]

    def run(self, context: bpy.types.Context) -> None:
        """Write what is different, and fit the book."""
        bound = self.bound(context)
        cover = book_of(bound).cover
        values: dict[str, Any] = {}
        for key, before in (("board", cover.board_mm), ("square", cover.square_mm)):
            now = round(getattr(self, key), 3)
            if self.properties.is_property_set(key) and abs(now - before) > 1e-3:
                values[key] = now
        for key, color in (("color", cover.color), ("lining", cover.lining)):
            new = [float(value) for value in getattr(self, key)]
            if self.properties.is_property_set(key) and max(abs(a - b) for a, b in zip(new, color, strict=True)) > 1e-3:
                values[key] = "#" + "".join(f"{round(255 * value):02x}" for value in new)
        added = self._pictures(bound, values)
        for warning in change_cover(context, bound, values, folder=folder_with(bound, added) if added else None):
            self.report({"WARNING"}, warning)
        for name, file in added.items():
            note_origin(bound, name, file)

    def _pictures(self, bound: bpy.types.Object, values: dict[str, Any]) -> dict[str, Path]:
        """Put the names of new pictures into the values; returns their files by these names."""
        cover = book_of(bound).cover
        added: dict[str, Path] = {}
        for key in ("art_front", "art_back"):
            if not self.properties.is_property_set(key):
                continue
            said, before = getattr(self, key), getattr(cover, key)
            if not said:
                values[key] = None
            elif bpy.path.abspath(said) != before:
                file = Path(bpy.path.abspath(said))
                try:
                    picture_size(file)
                except FileError as error:
                    raise FileError(f"{file.name}: {error}") from None
                values[key] = _free_name(bound, artwork_name(bound, file), file, added)
                added[values[key]] = file
        return added


def _free_name(bound: bpy.types.Object, name: str, file: Path, added: Mapping[str, Path]) -> str:
    """A name for a new picture, with a number where another that is new as well has it."""
    taken = {place_of(other): each for other, each in added.items()}

    def is_free(wanted: str) -> bool:
        other = taken.get(place_of(wanted))
        if other is None:
            return wanted == name or not (own_folder(bound) / wanted).is_file()
        return wanted in added and content_of(other) == content_of(file)

    path = PurePosixPath(name)
    numbered = (str(path.with_stem(f"{path.stem}-{number}")) for number in count(2))
    return next(wanted for wanted in chain([name], numbered) if is_free(wanted))


CLASSES = (
    HINGELEAF_OT_show_spread,
    HINGELEAF_OT_add_spread,
    HINGELEAF_OT_remove_spread,
    HINGELEAF_OT_move_spread,
    HINGELEAF_OT_change_cover,
)
