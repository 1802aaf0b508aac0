"""Write the nets of the active book."""

from typing import TYPE_CHECKING

import bpy
from bpy.props import EnumProperty, StringProperty

from ..books import description_of
from ..geometry import HingeleafError, assemble
from ..geometry.nets import write_nets
from .base import BookOperator, Outcome

__all__ = ["HINGELEAF_OT_write_nets"]

_SHEETS = (
    ("AUTO", "Smallest That Fits", "The smallest of A4, A3, A2 and A1 that takes every piece"),
    ("A4", "A4", "210 × 297 mm"),
    ("A3", "A3", "297 × 420 mm"),
    ("A2", "A2", "420 × 594 mm"),
    ("A1", "A1", "594 × 841 mm"),
    ("letter", "US Letter", "8.5 × 11 inches"),
    ("tabloid", "US Tabloid", "11 × 17 inches"),
)
_FORMATS = (
    ("svg", "SVG", "For drawing programs and cutting machines"),
    ("pdf", "PDF", "For printing at true size"),
    ("dxf", "DXF", "For laser cutters and CAD"),
)


class HINGELEAF_OT_write_nets(BookOperator, bpy.types.Operator):
    """Write every piece laid flat, true size, with cut lines, creases, tabs and gluing marks"""

    bl_idname = "hingeleaf.write_nets"
    bl_label = "Write Nets"

    if TYPE_CHECKING:
        directory: str
        sheet: str
        formats: set[str]
    else:
        directory: StringProperty(name="Folder", description="Where the nets are written", subtype="DIR_PATH")
        filter_folder: bpy.props.BoolProperty(default=True, options={"HIDDEN"})
        sheet: EnumProperty(name="Sheet", description="Size of the sheets", items=_SHEETS, default="AUTO")
        formats: EnumProperty(
            name="Formats",
            description="Kinds of file to write",
            items=_FORMATS,
            options={"ENUM_FLAG"},
            default={"svg", "pdf", "dxf"},
        )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the folder."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def run(self, context: bpy.types.Context) -> None:
        """Assemble and write."""
        if not self.directory:
            raise HingeleafError("Choose the folder that the nets are to be written into")
        spread = assemble(description_of(self.book(context)))
        sheet = None if self.sheet == "AUTO" else self.sheet
        formats = [name for name, _, _ in _FORMATS if name in self.formats]
        files = write_nets(spread, bpy.path.abspath(self.directory), sheet=sheet, formats=formats)
        for note in files.notes:
            self.report({"WARNING"}, note)
        self.report({"INFO"}, f"Wrote {len(files.paths)} files on {len(files.sheets)} sheets to {self.directory}")
