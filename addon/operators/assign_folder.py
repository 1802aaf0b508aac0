"""Put the artwork of a whole folder on, by the names of its files; and take flat colors off."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import bpy
from bpy.props import BoolProperty, EnumProperty, StringProperty

from ..carrying import artwork_name, folder_with, note_origin
from ..coloring import change_color, piece_of
from ..designing import change_book, design_of, finish_change, read_design
from ..geometry.design.decorating import Face, color_of
from ..geometry.design.matching import Miss, match_artwork, pictures_in, with_matches
from ..geometry.errors import HingeleafError
from .assign_artwork import FACES
from .base import BookOperator, Outcome

__all__ = ["HINGELEAF_OT_assign_folder", "HINGELEAF_OT_remove_color"]


class HINGELEAF_OT_assign_folder(BookOperator, bpy.types.Operator):
    """Put every picture of a folder on the piece that it is named after: cliff.png, cliff-back.png, page.png"""

    bl_idname = "hingeleaf.assign_folder"
    bl_label = "Assign from Folder"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        directory: str
    else:
        directory: StringProperty(name="Folder", description="Where the pictures are", subtype="DIR_PATH")
        filter_folder: BoolProperty(default=True, options={"HIDDEN"})
        filter_image: BoolProperty(default=True, options={"HIDDEN"})

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the folder."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def run(self, context: bpy.types.Context) -> None:
        """Match names, change the description, change the book."""
        root, folder = self.book(context), Path(bpy.path.abspath(self.directory))
        finish_change(context, root)
        description, spread = design_of(root)
        matching = match_artwork(description, spread, pictures_in(folder))
        # Beside a painting, templates without one are nothing wrong.
        missed = [miss for miss in matching.misses if not (matching.matches and miss.is_unpainted)]
        _list_misses(context, folder, missed)
        if not matching.matches:
            why = f"; {matching.misses[0]}" if matching.misses else ""
            raise HingeleafError(f"{folder.name}: no picture is named after a piece of this book{why}")
        files: dict[str, Path] = {}
        for match in matching.matches:
            files[artwork_name(root, match.file, files)] = match.file
        names = {file: name for name, file in files.items()}
        against = folder_with(root, files)
        changed = with_matches(description, matching.matches, names, folder=against)
        for warning in change_book(context, root, changed):
            self.report({"WARNING"}, warning)
        for file, name in names.items():
            note_origin(root, name, file)
        self._say(len(matching.matches), missed, len(matching.misses) - len(missed))

    def _say(self, count: int, missed: Sequence[Miss], blank: int) -> None:
        """Report how many pictures were assigned, which were not, and how many templates have no painting."""
        for miss in missed:
            self.report({"WARNING"}, str(miss))
        left = f", {len(missed)} not (see the sidebar)" if missed else ""
        left += f", {blank} template{'s' * (blank != 1)} without a painting" if blank else ""
        self.report({"INFO"}, f"{count} picture{'s' * (count != 1)} assigned{left}")


def _list_misses(context: bpy.types.Context, folder: Path, misses: Sequence[Miss]) -> None:
    """List in the sidebar what was not assigned, and why."""
    moment: Any = context.window_manager.hingeleaf  # type: ignore[attr-defined]
    moment.problems.clear()
    moment.source = f"{folder.name}: not assigned" if misses else ""
    for miss in misses:
        moment.problems.add().message = str(miss)


class HINGELEAF_OT_remove_color(BookOperator, bpy.types.Operator):
    """Take the flat color off a face of the active panel's piece, so that it is bare card"""

    bl_idname = "hingeleaf.remove_color"
    bl_label = "Remove Color"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        face: Face
    else:
        face: EnumProperty(name="Face", description="Which face of the card", items=FACES, default="front")

    def run(self, context: bpy.types.Context) -> None:
        """Change the description, change the book."""
        root = self.book(context)
        piece = piece_of(root)
        if color_of(read_design(root), piece, self.face) is None:
            where = "printed face" if self.face == "front" else "back"
            raise HingeleafError(f"There is no color on the {where} of {piece}")
        change_color(context, root, piece, self.face, None)
