"""Write the nets of the active book."""

import bpy

from ..books import description_of
from ..geometry import assemble
from ..geometry.nets import write_nets
from .base import BookOperator
from .sheet_choices import SheetChoices

__all__ = ["HINGELEAF_OT_write_nets"]


class HINGELEAF_OT_write_nets(SheetChoices, BookOperator, bpy.types.Operator):
    """Write every piece laid flat, true size, with all that a printer, a cutting machine and a gluing hand need"""

    bl_idname = "hingeleaf.write_nets"
    bl_label = "Write Nets"

    def run(self, context: bpy.types.Context) -> None:
        """Assemble and write."""
        folder = self.chosen_folder()
        files = write_nets(assemble(description_of(self.book(context))), folder, **self.net_choices())
        for note in files.notes:
            self.report({"WARNING"}, note)
        self.report({"INFO"}, f"Wrote {len(files.paths)} files on {len(files.sheets)} sheets to {self.directory}")
