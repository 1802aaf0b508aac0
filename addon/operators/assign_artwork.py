"""Put artwork on a piece by hand, and take it off."""

from pathlib import Path
from typing import TYPE_CHECKING

import bpy
from bpy.props import BoolProperty, EnumProperty, StringProperty

from ..carrying import artwork_name, folder_with, note_origin
from ..designing import change_book, finish_change, read_design
from ..geometry.artwork import picture_size
from ..geometry.design.decorating import Face, artwork_of, with_artwork
from ..geometry.errors import FileError, HingeleafError
from ..rig import PIECE_KEY
from .base import BookOperator, Outcome

__all__ = ["FACES", "HINGELEAF_OT_assign_artwork", "HINGELEAF_OT_remove_artwork"]

#: Of a card, for menus.
FACES = (
    ("front", "Printed Face", "The face that is seen on the net"),
    ("back", "Back", "The other face"),
)
_ON = (
    ("PIECE", "Selected Piece", "The piece that the active panel belongs to"),
    ("PAGES", "Pages", "The two pages, as one picture"),
)


class _ArtworkOperator(BookOperator):
    """Works on one face of one piece."""

    if TYPE_CHECKING:
        on: str
        face: Face
    else:
        on: EnumProperty(name="On", description="What the artwork lies on", items=_ON, default="PIECE")
        face: EnumProperty(name="Face", description="Which face of the card", items=FACES, default="front")

    def piece(self, context: bpy.types.Context) -> str:
        """The piece that is meant."""
        item = context.view_layer.objects.active
        if self.on == "PAGES":
            return "page"
        if item is None or item.get(PIECE_KEY) is None:
            raise HingeleafError("No panel is active: select one of the piece that is meant, or choose Pages")
        return str(item[PIECE_KEY])


class HINGELEAF_OT_assign_artwork(_ArtworkOperator, bpy.types.Operator):
    """Put a picture on a piece; it fills the box about the piece's net and its bleed, and is packed into the file"""

    bl_idname = "hingeleaf.assign_artwork"
    bl_label = "Assign Artwork"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        filepath: str
    else:
        filepath: StringProperty(name="File", description="The picture", subtype="FILE_PATH")
        filter_folder: BoolProperty(default=True, options={"HIDDEN"})
        filter_image: BoolProperty(default=True, options={"HIDDEN"})

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the file; without an active panel the pages are meant."""
        item = context.view_layer.objects.active
        if item is None or item.get(PIECE_KEY) is None:
            self.on = "PAGES"
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def run(self, context: bpy.types.Context) -> None:
        """Look at the picture, change the description, change the book."""
        root, file = self.book(context), Path(bpy.path.abspath(self.filepath))
        try:
            picture_size(file)
        except FileError as error:
            raise FileError(f"{file.name}: {error}") from None
        finish_change(context, root)
        description, piece = read_design(root), self.piece(context)
        name = artwork_name(root, file)
        changed = with_artwork(description, piece, self.face, name, folder=folder_with(root, {name: file}))
        for warning in change_book(context, root, changed):
            self.report({"WARNING"}, warning)
        note_origin(root, name, file)


class HINGELEAF_OT_remove_artwork(_ArtworkOperator, bpy.types.Operator):
    """Take the artwork off a piece, so that its card is plain"""

    bl_idname = "hingeleaf.remove_artwork"
    bl_label = "Remove Artwork"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context: bpy.types.Context) -> None:
        """Change the description, change the book."""
        root, piece = self.book(context), self.piece(context)
        finish_change(context, root)
        description = read_design(root)
        if artwork_of(description, piece, self.face) is None:
            where = "printed face" if self.face == "front" else "back"
            raise HingeleafError(f"There is no artwork on the {where} of {piece}")
        change_book(context, root, with_artwork(description, piece, self.face, None))
