"""What is chosen about sheets, formats and machines wherever nets are written."""

from typing import TYPE_CHECKING, Any, Literal

import bpy
from bpy.props import BoolProperty, EnumProperty, FloatProperty, IntProperty, StringProperty

from ..geometry import HingeleafError
from ..geometry.nets import BLEED_MM, GAP_MM, MARGIN_MM, OVERLAP_MM, CuttingOptions, NetChoices, SheetOptions
from ..geometry.nets.cutting import CreaseStyle
from .base import OperatorBase, Outcome

__all__ = ["FORMATS", "SheetChoices"]

_SHEETS = (
    ("AUTO", "Smallest That Fits", "The smallest of A4, A3, A2 and A1 that takes every piece"),
    ("A4", "A4", "210 × 297 mm"),
    ("A3", "A3", "297 × 420 mm"),
    ("A2", "A2", "420 × 594 mm"),
    ("A1", "A1", "594 × 841 mm"),
    ("letter", "US Letter", "8.5 × 11 inches"),
    ("tabloid", "US Tabloid", "11 × 17 inches"),
    ("OTHER", "Other", "A size that you write yourself, or a roll"),
)
FORMATS = (
    ("svg", "SVG", "For drawing programs"),
    ("pdf", "PDF", "For printing at true size"),
    ("dxf", "DXF", "For laser cutters and CAD"),
    ("cutting", "Cutting", "SVG and DXF with nothing but what a machine cuts and creases, in the order of work"),
    ("booklet", "Assembly", "PDF with the order of assembly, a picture a step"),
)
_GRAINS = (
    ("NONE", "Not Known", "Pieces lie as on their nets; the foot of each sheet shows the grain that they want"),
    ("long", "Long Side", "The fibres of the sheets run along their long side"),
    ("short", "Short Side", "The fibres of the sheets run along their short side"),
)
_CREASES = (
    ("score", "Score", "Whole lines, for a blunt tool"),
    ("dashes", "Dashes", "Cut through in dashes"),
    ("half-cut", "Half-Cut", "Cut half through the card: mountains from the printed face, valleys from the back"),
)


class SheetChoices(OperatorBase):
    """The choices beside the folder that nets are written into."""

    if TYPE_CHECKING:
        directory: str
        sheet: str
        other_sheet: str
        formats: set[str]
        margin: float
        gap: float
        bleed: float
        copies: int
        tile: bool
        overlap: float
        grain: Literal["NONE", "long", "short"]
        dimensions: bool
        duplex: bool
        spot: bool
        crease: CreaseStyle
        nicks: float
    else:
        directory: StringProperty(name="Folder", description="Where the nets are written", subtype="DIR_PATH")
        filter_folder: BoolProperty(default=True, options={"HIDDEN"})
        sheet: EnumProperty(name="Sheet", description="Size of the sheets", items=_SHEETS, default="AUTO")
        other_sheet: StringProperty(
            name="Size", description="Any size, such as SRA3, 500x700 (mm), 13x19in, or roll:600 for a roll", default=""
        )
        formats: EnumProperty(
            name="Formats",
            description="Kinds of file to write",
            items=FORMATS,
            options={"ENUM_FLAG"},
            default={name for name, _, _ in FORMATS},
        )
        margin: FloatProperty(
            name="Margin (mm)", description="Kept free along the edges of a sheet", default=MARGIN_MM, min=0, max=200
        )
        gap: FloatProperty(name="Gap (mm)", description="Kept free between pieces", default=GAP_MM, min=0, max=200)
        bleed: FloatProperty(
            name="Bleed (mm)", description="How far artwork is printed beyond a piece", default=BLEED_MM, min=0, max=20
        )
        copies: IntProperty(name="Copies", description="How often the spread is laid out", default=1, min=1, max=2000)
        tile: BoolProperty(name="Tile", description="Split a piece larger than the sheet over several", default=False)
        overlap: FloatProperty(
            name="Overlap (mm)", description="How far tiles overlap", default=OVERLAP_MM, min=5, max=50
        )
        grain: EnumProperty(
            name="Grain", description="The side of the sheet along which its fibres run", items=_GRAINS, default="NONE"
        )
        dimensions: BoolProperty(name="Dimensions", description="Draw the sizes of every piece on it", default=False)
        duplex: BoolProperty(
            name="Duplex",
            description="Also one PDF of fronts and backs in turn, for a duplex printer",
            default=False,
        )
        spot: BoolProperty(
            name="Spot Colors",
            description="Cut lines and creases as separations of their own in the PDF, for a print shop",
            default=False,
        )
        crease: EnumProperty(name="Creases", description="How a machine makes creases", items=_CREASES, default="score")
        nicks: FloatProperty(
            name="Nicks (mm)",
            description="Card left in outlines so that a piece stays in its sheet; 0 for none",
            default=0,
            min=0,
            max=5,
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
        sheets = layout.column()
        sheets.prop(self, "sheet")
        if self.sheet == "OTHER":
            sheets.prop(self, "other_sheet")
        for name in ("margin", "gap", "copies", "grain"):
            sheets.prop(self, name)
        sheets.column(heading="Large Pieces").prop(self, "tile")
        if self.tile:
            sheets.prop(self, "overlap")
        self.draw_drawing(sheets)
        self._draw_printing(layout)
        cutting = layout.column()
        cutting.active = "cutting" in self.formats
        for name in ("crease", "nicks"):
            cutting.prop(self, name)

    def _draw_printing(self, layout: Any) -> None:
        printing = layout.column()
        printing.active = bool(self.formats & {"svg", "pdf"})
        printing.prop(self, "bleed")
        for heading, name in (("Backs", "duplex"), ("Print Shop", "spot")):
            row = printing.column(heading=heading)
            row.active = "pdf" in self.formats
            row.prop(self, name)

    def draw_drawing(self, layout: Any) -> None:
        """Draw the choices about what is drawn on pieces."""
        layout.column(heading="Draw").prop(self, "dimensions")

    def chosen_folder(self) -> str:
        """The folder; HingeleafError where none is chosen, or a sheet without its size."""
        if not self.directory:
            raise HingeleafError("Choose the folder that the nets are to be written into")
        if self.sheet == "OTHER" and not self.other_sheet.strip():
            raise HingeleafError("Write the size of the sheets, such as 500x700 or roll:600, or choose one")
        return bpy.path.abspath(self.directory)

    def chosen_sheet(self) -> str | None:
        """The size of the sheets, None for the smallest that fits."""
        return {"AUTO": None, "OTHER": self.other_sheet.strip()}.get(self.sheet, self.sheet)

    def chosen_formats(self) -> list[str]:
        """Kinds of file, in their order."""
        return [name for name, _, _ in FORMATS if name in self.formats]

    def sheet_options(self) -> SheetOptions:
        """What is chosen about sheets, as the core has it."""
        return SheetOptions(
            margin_mm=self.margin,
            gap_mm=self.gap,
            copies=self.copies,
            tile=self.tile,
            overlap_mm=self.overlap,
            grain=None if self.grain == "NONE" else self.grain,
            bleed_mm=self.bleed,
        )

    def net_choices(self) -> NetChoices:
        """All that is chosen, as the core has it."""
        return {
            "sheet": self.chosen_sheet(),
            "formats": self.chosen_formats(),
            "options": self.sheet_options(),
            "spot": self.spot,
            "duplex": self.duplex,
            "dimensions": self.dimensions,
            "cutting": self.cutting_options(),
        }

    def cutting_options(self) -> CuttingOptions | None:
        """What is chosen about machines; None where no files for them are written."""
        return CuttingOptions(crease=self.crease, nick_mm=self.nicks) if "cutting" in self.formats else None
