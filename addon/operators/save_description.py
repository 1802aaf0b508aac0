"""Save the book's description as a file, with its artwork beside it."""

from pathlib import Path
from typing import TYPE_CHECKING

import bpy
from bpy.props import BoolProperty, StringProperty

from ..books import description_file
from ..carrying import artwork_files
from ..designing import change_book, design_of, finish_change
from ..geometry import parse_description
from ..geometry.errors import FileError
from ..geometry.files import make_folder, write_files
from .base import BookOperator, Outcome
from .saving_dialog import SavingDialog

__all__ = ["HINGELEAF_OT_save_description", "new_files"]


def new_files(folder: Path, artwork: dict[str, bytes], *, replace: bool) -> dict[Path, bytes]:
    """What has to be written of the artwork; what is there already is left as it is."""
    found: dict[Path, bytes] = {}
    for name, data in artwork.items():
        file = folder / name
        if not file.is_file():
            found[file] = data
        elif file.read_bytes() != data:
            if not replace:
                raise FileError(f"{file}: another picture is there; tick Replace Artwork, or choose another folder")
            found[file] = data
    return found


class HINGELEAF_OT_save_description(SavingDialog, BookOperator, bpy.types.Operator):
    """Save the description of the book as a file, with its artwork beside it"""

    bl_idname = "hingeleaf.save_description"
    bl_label = "Save Description As"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        filepath: str
        replace: bool
    else:
        filepath: StringProperty(name="File", description="Where the description is saved", subtype="FILE_PATH")
        filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})
        replace: BoolProperty(
            name="Replace Artwork",
            description="Put the artwork of the book in place of other pictures that have the same names there",
            default=False,
        )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the file, beginning with where it is now."""
        self.filepath = str(description_file(self.book(context)).with_suffix(".toml"))
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def ended(self, name: str) -> str:
        """A description's."""
        return bpy.path.ensure_ext(name, ".toml")

    def run(self, context: bpy.types.Context) -> None:
        """Write all files or none, then let the book be that of the file."""
        root, file = self.book(context), self.file()
        finish_change(context, root)
        # What cannot be built would be refused when its files are there already.
        description, _ = design_of(root)
        files = new_files(file.parent, artwork_files(root), replace=self.replace)
        for folder in dict.fromkeys([file.parent, *(item.parent for item in files)]):
            make_folder(folder)
        write_files({**files, file: description.text.encode("utf-8")})
        change_book(context, root, parse_description(description.text, source=file.name, folder=file.parent))
        self.report({"INFO"}, f"{file.name} saved" + (f", and {len(files)} pictures" if files else ""))
