"""Save a bound book: its own file, the files of its spreads, and all artwork beside them."""

from typing import TYPE_CHECKING

import bpy
from bpy.props import BoolProperty, StringProperty

from ..books import BOUND_SOURCE, description_file, spreads_of
from ..bound_files import SavedFiles, distinct_files, place_of
from ..bound_fit import book_of, remember_book
from ..carrying import artwork_files, own_folder
from ..designing import change_book, read_design
from ..geometry import parse_description
from ..geometry.binding import parse_book
from ..geometry.binding.writer import set_book
from ..geometry.errors import FileError
from ..geometry.files import make_folder, write_files
from .base import Outcome
from .bind_arrange import BoundOperator
from .saving_dialog import SavingDialog

__all__ = ["HINGELEAF_OT_save_bound"]


class HINGELEAF_OT_save_bound(SavingDialog, BoundOperator, bpy.types.Operator):
    """Save the bound book as a file, with the descriptions of its spreads and all artwork beside it"""

    bl_idname = "hingeleaf.save_bound"
    bl_label = "Save Book As"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        filepath: str
        replace: bool
    else:
        filepath: StringProperty(name="File", description="Where the book's own file is saved", subtype="FILE_PATH")
        filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})
        replace: BoolProperty(
            name="Replace Files",
            description="Put spreads and artwork of the book in place of other files that have the same names there",
            default=False,
        )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the file, beginning with where it is now."""
        bound = self.bound(context)
        self.filepath = str(own_folder(bound) / str(bound[BOUND_SOURCE]))
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def ended(self, name: str) -> str:
        """A description's."""
        return bpy.path.ensure_ext(name, ".toml")

    def run(self, context: bpy.types.Context) -> None:
        """Write all files or none, then let the book be that of the files."""
        bound, file = self.bound(context), self.file()
        book, roots = book_of(bound), spreads_of(bound)
        texts = [read_design(root).text for root in roots]
        names = distinct_files(book.files, texts, file.name)
        text = book.text if tuple(names) == book.files else set_book(book.text, files=names)
        places = [file.parent / name for name in names]
        if place_of(file) in map(place_of, places):
            raise FileError(f"{file.name} is the file of a spread of this book: choose another name for the book")
        saved = SavedFiles(replace=self.replace)
        for name, data in artwork_files(bound).items():
            saved.add(file.parent / name, data, "the cover")
        for place, root, said in zip(places, roots, texts, strict=True):
            for name, data in artwork_files(root).items():
                saved.add(place.parent / name, data, root.name)
            saved.add(place, said.encode(), root.name, may_replace=place == description_file(root))
        files = {**saved.files, file: text.encode()}
        for folder in dict.fromkeys([file.parent, *(item.parent for item in files)]):
            make_folder(folder)
        write_files(files)
        remember_book(bound, parse_book(text, source=file.name, folder=file.parent, look=False))
        for place, root, said in zip(places, roots, texts, strict=True):
            change_book(context, root, parse_description(said, source=place.name, folder=place.parent))
        self.report({"INFO"}, f"{file.name} saved with {len(roots)} spread{'s' * (len(roots) != 1)}")
