"""Nets: pieces laid flat, true size, on sheets, as SVG, PDF and DXF.

`draw_piece` makes the drawing of one piece in its net coordinates, `lay_out` packs drawings on sheets, and the writers
put sheets into files; `write_nets` does it all.
"""

from __future__ import annotations

from .classes import LINE_CLASSES, STYLES, LineClass, Style
from .cutting import CREASE_STYLES, CuttingOptions
from .drawing import BLEED_MM, PieceDrawing, draw_piece
from .lines import ArtImage, NetLine, NetText, Placement
from .options import GAP_MM, MARGIN_MM, OVERLAP_MM, SheetOptions
from .parts import Part
from .sheets import Sheet, lay_out
from .sizes import DEFAULT_SIZES, SheetSize, sheet_size
from .write import ALL_FORMATS, FORMATS, NetChoices, NetFiles, write_nets

__all__ = [
    "ALL_FORMATS",
    "BLEED_MM",
    "CREASE_STYLES",
    "DEFAULT_SIZES",
    "FORMATS",
    "GAP_MM",
    "LINE_CLASSES",
    "MARGIN_MM",
    "OVERLAP_MM",
    "STYLES",
    "ArtImage",
    "CuttingOptions",
    "LineClass",
    "NetChoices",
    "NetFiles",
    "NetLine",
    "NetText",
    "Part",
    "PieceDrawing",
    "Placement",
    "Sheet",
    "SheetOptions",
    "SheetSize",
    "Style",
    "draw_piece",
    "lay_out",
    "sheet_size",
    "write_nets",
]
