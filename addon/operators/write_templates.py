"""Write templates to paint artwork on."""

from typing import TYPE_CHECKING

import bpy
from bpy.props import BoolProperty, EnumProperty, FloatProperty, StringProperty

from ..books import active_bound
from ..bound_fit import binding_of
from ..designing import spread_of
from ..geometry import HingeleafError
from ..geometry.templates import DPI, TemplateFiles, TemplateOptions, write_book_templates, write_templates
from ..panel_objects import PIECE_KEY
from .base import BookOperator, Outcome

__all__ = ["HINGELEAF_OT_write_templates"]

_FORMATS = (
    ("png", "PNG", "Guides on transparent ground, to lie over the painting"),
    ("svg", "SVG", "Guides in layers, locked, over an empty layer to paint on"),
    ("white", "PNG on White", "Guides on white ground"),
)


class HINGELEAF_OT_write_templates(BookOperator, bpy.types.Operator):
    """Write templates to paint on, front and back of every piece: outline, creases, glue, bleed, what will be seen"""

    bl_idname = "hingeleaf.write_templates"
    bl_label = "Write Templates"

    if TYPE_CHECKING:
        directory: str
        dpi: float
        formats: set[str]
        selected: bool
        whole_book: bool
        test_card: bool
    else:
        directory: StringProperty(name="Folder", description="Where the templates are written", subtype="DIR_PATH")
        filter_folder: BoolProperty(default=True, options={"HIDDEN"})
        dpi: FloatProperty(
            name="Resolution (dpi)",
            description="Pixels an inch; printers ask for 300",
            default=DPI,
            min=30,
            max=2400,
            precision=0,
        )
        formats: EnumProperty(
            name="Formats",
            description="Kinds of file to write",
            items=_FORMATS,
            options={"ENUM_FLAG"},
            default={"png", "svg"},
        )
        selected: BoolProperty(name="Selected Piece", description="Only the piece of the active panel", default=False)
        whole_book: BoolProperty(
            name="Whole Book",
            description="A folder for each spread of the bound book, and one for the boards of its cover",
            default=True,
        )
        test_card: BoolProperty(
            name="Test Cards",
            description="Also a numbered 10 mm checkerboard for each, to see where every part comes to lie",
            default=False,
        )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the folder."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the choices beside the folder."""
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.column(align=True).prop(self, "formats")
        layout.prop(self, "dpi")
        only = layout.column(heading="Only")
        only.prop(self, "selected")
        if active_bound(context) is not None:
            whole = layout.column(heading="Spreads")
            whole.active = not self.selected
            whole.prop(self, "whole_book")
        layout.column(heading="Check").prop(self, "test_card")

    def run(self, context: bpy.types.Context) -> None:
        """Draw and write."""
        if not self.directory:
            raise HingeleafError("Choose the folder that the templates are to be written into")
        if not self.formats:
            raise HingeleafError("Choose at least one kind of file")
        result = self._write(context, bpy.path.abspath(self.directory))
        self.report({"INFO"}, f"Wrote {len(result.paths)} files for {len(result.lines)} templates to {self.directory}")

    def _write(self, context: bpy.types.Context, folder: str) -> TemplateFiles:
        bound = active_bound(context)
        if bound is not None and self.whole_book and not self.selected:
            return write_book_templates(binding_of(bound, spread_of), folder, self._options(None))
        return write_templates(spread_of(self.book(context)), folder, self._options(self._piece(context)))

    def _piece(self, context: bpy.types.Context) -> str | None:
        if not self.selected:
            return None
        item = context.active_object
        piece = "" if item is None else str(item.get(PIECE_KEY, ""))
        if not piece:
            raise HingeleafError("Select a panel of the piece that a template is wanted for")
        return piece

    def _options(self, piece: str | None) -> TemplateOptions:
        formats = tuple(name for name, _, _ in _FORMATS if name in self.formats)
        pieces = None if piece is None else (piece,)
        return TemplateOptions(dpi=self.dpi, formats=formats, test_card=self.test_card, pieces=pieces)
