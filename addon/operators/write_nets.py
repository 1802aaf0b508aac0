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
        spread = assemble(description_of(self.book(context)))
        files = write_nets(
            spread,
            folder,
            sheet=self.chosen_sheet(),
            formats=self.chosen_formats(),
            options=self.sheet_options(),
            spot=self.spot,
            duplex=self.duplex,
            dimensions=self.dimensions,
            cutting=self.cutting_options(),
        )
        for note in files.notes:
            self.report({"WARNING"}, note)
        self.report({"INFO"}, f"Wrote {len(files.paths)} files on {len(files.sheets)} sheets to {self.directory}")
