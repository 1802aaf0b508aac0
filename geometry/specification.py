"""What a publisher asks for: pieces, glue points, lengths of cuts and creases, card and sheets, weight, thickness."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from .booklet.plan import assembly_steps
from .checks.bulk import bulk_map
from .nets import PieceDrawing, Sheet, SheetOptions, draw_piece, lay_out
from .nets.lines import NetLine
from .nets.listing import sheet_numbers
from .spread import Spread

__all__ = ["PieceFigures", "Specification", "StockFigures", "compared_text", "specification", "specification_text"]

_G_PER_MM2_OF_GSM = 1e-6


@dataclass(frozen=True)
class PieceFigures:
    """One piece: names, its size on the net (mm), its area (mm2), weight (g), lengths of lines (mm), its sheet."""

    id: str
    title: str
    stock: str
    width_mm: float
    height_mm: float
    area_mm2: float
    weight_g: float
    cut_mm: float
    crease_mm: float
    sheet: int


@dataclass(frozen=True)
class StockFigures:
    """One stock: its card, pieces, their area (mm2) and weight (g); sheets and their area (mm2), for so many copies."""

    id: str
    grammage_gsm: float
    caliper_mm: float
    pieces: int
    sheets: int
    area_mm2: float
    sheet_area_mm2: float
    weight_g: float
    copies: int = 1

    @property
    def used(self) -> float:
        """Part of the sheets that is in pieces, 0 to 1."""
        return self.copies * self.area_mm2 / self.sheet_area_mm2 if self.sheet_area_mm2 else 0.0


@dataclass(frozen=True)
class Specification:
    """A spread in numbers.

    Parameters
    ----------
    title, page_mm : of the spread
    copies : how many the sheets are for; everything else is for one
    pieces, stocks : each with its figures
    glue_points : places where card is glued on card
    glue_area_mm2 : their area together
    cut_mm, crease_mm : lengths of all lines
    assembly_steps : steps of the booklet of assembly; None where the spread cannot stand, and has none
    hand_operations : what a hand does in them: each piece with creases is folded, each cut-in pushed out, each glue
        point glued, and after each glued piece the page is shut and pressed
    weight_g : of all card
    thickness_mm : of the closed spread at its bulkiest, pages included
    gusset_mm : width of spine that lets it close
    """

    title: str
    page_mm: tuple[float, float]
    copies: int
    pieces: tuple[PieceFigures, ...]
    stocks: tuple[StockFigures, ...]
    glue_points: int
    glue_area_mm2: float
    cut_mm: float
    crease_mm: float
    assembly_steps: int | None
    hand_operations: int
    weight_g: float
    thickness_mm: float
    gusset_mm: float

    def as_dict(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        data = asdict(self)
        for written, stock in zip(data["stocks"], self.stocks, strict=True):
            written["used"] = stock.used
        return {"format": 1, **data}


def specification(spread: Spread, *, sheet: str | None = None, options: SheetOptions | None = None) -> Specification:
    """Measure a spread on its own nets and sheets, so that no number can differ from what is cut.

    Parameters
    ----------
    spread : Spread
    sheet : size of the sheets, as for nets
    options : of the sheets, as for nets; sheets are counted for all copies, everything else is for one

    Returns
    -------
    Specification

    Raises
    ------
    HingeleafError
        The sheet size is not known, or it cannot be laid out so.
    """
    drawings = [draw_piece(spread, piece.id) for piece in spread.pieces]
    options = options or SheetOptions()
    sheets, _ = lay_out(spread.title, drawings, sheet, options=options)
    numbers = sheet_numbers(sheets)
    pieces = tuple(_piece(drawing, numbers[drawing.piece.id][0]) for drawing in drawings)
    bulk = bulk_map(spread)
    return Specification(
        title=spread.title,
        page_mm=spread.page_size_mm,
        pieces=pieces,
        copies=options.copies,
        stocks=_stocks(spread, pieces, sheets, options.copies),
        glue_points=len(spread.glue_areas) + sum(join.tab is None for solid in spread.solids for join in solid.joins),
        glue_area_mm2=sum(area.outline.area for area in spread.glue_areas),
        cut_mm=sum(piece.cut_mm for piece in pieces),
        crease_mm=sum(piece.crease_mm for piece in pieces),
        assembly_steps=_assembly_steps(spread, sheets),
        hand_operations=_hand_operations(spread, pieces),
        weight_g=sum(piece.weight_g for piece in pieces),
        thickness_mm=bulk.worst.thickness_mm,
        gusset_mm=bulk.gusset_mm,
    )


def _piece(drawing: PieceDrawing, sheet: int) -> PieceFigures:
    left, low, right, high = drawing.card.bounds
    stock, area = drawing.piece.stock, drawing.card.area
    return PieceFigures(
        id=drawing.piece.id,
        title=drawing.piece.title,
        stock=stock.id,
        width_mm=right - left,
        height_mm=high - low,
        area_mm2=area,
        weight_g=area * stock.grammage_gsm * _G_PER_MM2_OF_GSM,
        cut_mm=_length(drawing.lines, "cut"),
        crease_mm=_length(drawing.lines, "mountain", "valley"),
        sheet=sheet,
    )


def _length(lines: Sequence[NetLine], *classes: str) -> float:
    return sum(line.length_mm for line in lines if line.line_class in classes)


def _stocks(
    spread: Spread, pieces: Sequence[PieceFigures], sheets: Sequence[Sheet], copies: int
) -> tuple[StockFigures, ...]:
    stocks = {piece.stock.id: piece.stock for piece in spread.pieces}
    found = []
    for name, stock in stocks.items():
        own = [piece for piece in pieces if piece.stock == name]
        mine = [sheet for sheet in sheets if sheet.footer.stock.id == name]
        area = sum(sheet.width_mm * sheet.height_mm for sheet in mine)
        found.append(
            StockFigures(
                id=name,
                grammage_gsm=stock.grammage_gsm,
                caliper_mm=stock.caliper_mm,
                pieces=len(own),
                sheets=len(mine),
                area_mm2=sum(piece.area_mm2 for piece in own),
                sheet_area_mm2=area,
                weight_g=sum(piece.weight_g for piece in own),
                copies=copies,
            )
        )
    return tuple(found)


def _assembly_steps(spread: Spread, sheets: Sequence[Sheet]) -> int | None:
    if not np.isfinite(spread.reachable()).all():
        return None
    return len(assembly_steps(spread, sheets))


def _hand_operations(spread: Spread, pieces: Sequence[PieceFigures]) -> int:
    folded = sum(piece.crease_mm > 0 for piece in pieces)
    pushed_out = len({panel.id.split(".")[0] for panel in spread.panels.values() if panel.role == "strip"})
    glued_pieces = {spread.panels[area.glued].piece for area in spread.glue_areas}
    return folded + pushed_out + len(spread.glue_areas) + len(glued_pieces)


def specification_text(spec: Specification) -> str:
    """The specification, to be read."""
    width, height = spec.page_mm
    lines = [
        f"{spec.title}: pages of {width:g} x {height:g} mm",
        f"  {len(spec.pieces)} pieces, {spec.glue_points} glue points ({spec.glue_area_mm2 / 100:.1f} cm2), "
        f"{spec.hand_operations} operations by hand"
        + (f" in {spec.assembly_steps} steps" if spec.assembly_steps is not None else ""),
        f"  cuts {spec.cut_mm / 1000:.2f} m, creases {spec.crease_mm / 1000:.2f} m",
        f"  card {spec.weight_g:.1f} g; closed {spec.thickness_mm:.1f} mm at its bulkiest, "
        f"a spine {spec.gusset_mm:.1f} mm wide lets it close",
    ]
    for stock in spec.stocks:
        sheets = f"{stock.sheets} sheet{'s' * (stock.sheets != 1)}"
        sheets += f" for {spec.copies} copies" * (spec.copies > 1)
        lines.append(
            f"  {stock.id}, {stock.grammage_gsm:g} g/m2, {stock.caliper_mm:g} mm: {stock.pieces} pieces on {sheets}, "
            f"{stock.copies * stock.area_mm2 / 100:.0f} cm2 of {stock.sheet_area_mm2 / 100:.0f} "
            f"({100 * stock.used:.0f} %), "
            f"{stock.weight_g:.1f} g"
        )
    lines += [
        f"    {piece.title}: {piece.width_mm:.1f} x {piece.height_mm:.1f} mm, {piece.stock}, sheet {piece.sheet}, "
        f"{piece.weight_g:.1f} g, cuts {piece.cut_mm:.0f} mm, creases {piece.crease_mm:.0f} mm"
        for piece in spec.pieces
    ]
    return "\n".join(lines)


#: What two versions are compared by: field, words, unit, digits.
_COMPARED = (
    ("glue_points", "glue points", "", 0),
    ("hand_operations", "operations by hand", "", 0),
    ("cut_mm", "cuts", "mm", 0),
    ("crease_mm", "creases", "mm", 0),
    ("glue_area_mm2", "glued area", "mm2", 0),
    ("weight_g", "weight", "g", 1),
    ("thickness_mm", "thickness closed", "mm", 2),
    ("gusset_mm", "spine width", "mm", 2),
)


def compared_text(before: Specification, after: Specification) -> str:
    """Two versions of a design beside each other: what changed, and by how much.

    Parameters
    ----------
    before, after : Specification

    Returns
    -------
    str, a line for each number that is not the same, and for each piece that came or went
    """
    lines = [f"{before.title} -> {after.title}"]
    rows = [("pieces", float(len(before.pieces)), float(len(after.pieces)), "", 0)]
    rows.append(("sheets", _sheets(before), _sheets(after), "", 0))
    rows += [(words, getattr(before, key), getattr(after, key), unit, digits) for key, words, unit, digits in _COMPARED]
    for words, old, new, unit, digits in rows:
        if round(old, digits) != round(new, digits):
            change = new - old
            share = f", {100 * change / old:+.0f} %" if old else ""
            lines.append(f"  {words}: {old:.{digits}f} -> {new:.{digits}f} {unit} ({change:+.{digits}f}{share})")
    ids = [{piece.id: piece.title for piece in spec.pieces} for spec in (before, after)]
    lines += [f"  gone: {title}" for name, title in ids[0].items() if name not in ids[1]]
    lines += [f"  new: {title}" for name, title in ids[1].items() if name not in ids[0]]
    return "\n".join(lines if len(lines) > 1 else [*lines, "  no difference"])


def _sheets(spec: Specification) -> float:
    return float(sum(stock.sheets for stock in spec.stocks))
