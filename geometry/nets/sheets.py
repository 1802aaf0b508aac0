"""Pieces on sheets: as few as the packer finds, one stock a sheet, nothing ever clipped unless tiles are asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import HingeleafError
from ..model import Stock
from .drawing import PieceDrawing
from .footer import Footer, make_footer
from .forms import Form, forms_of, own_form
from .lettering import one_line
from .lines import NetLine, NetText, Placement
from .options import GAP_MM, MARGIN_MM, MOST_DRAWINGS, SheetOptions
from .packing import Bin, Packed, Place, Size, fits, pack, pack_strip
from .parts import copied, named
from .sizes import DEFAULT_SIZES, SheetSize, sheet_size
from .tiles import tiles_of

__all__ = ["GAP_MM", "MARGIN_MM", "Sheet", "lay_out"]

_LIGHT = "score thin folds only lightly"


@dataclass(frozen=True)
class Sheet:
    """One sheet, y upwards from its lower left corner.

    Parameters
    ----------
    footer : what its foot says
    width_mm, height_mm : float
    pieces : their drawings, in sheet coordinates
    lines, texts : of the sheet itself: legend, bar, title
    margin_mm : float, kept free along its edges
    """

    footer: Footer
    width_mm: float
    height_mm: float
    pieces: tuple[PieceDrawing, ...]
    lines: tuple[NetLine, ...]
    texts: tuple[NetText, ...]
    margin_mm: float = MARGIN_MM


@dataclass(frozen=True)
class _Laid:
    """A sheet's form, its stock, and what lies on it."""

    form: Form
    stock: Stock
    pieces: tuple[PieceDrawing, ...]


def lay_out(
    title: str,
    drawings: Sequence[PieceDrawing],
    sheet: str | None = None,
    *,
    options: SheetOptions | None = None,
) -> tuple[tuple[Sheet, ...], tuple[str, ...]]:
    """Lay pieces on sheets.

    Parameters
    ----------
    title : for the foot of each sheet
    drawings : of the pieces, in net coordinates
    sheet : name of a size (see sheet_size); None for the smallest of DEFAULT_SIZES that takes every piece
    options : margins, gaps, copies, tiles, grain; None for the defaults of SheetOptions

    Returns
    -------
    sheets : in the order of the stocks' first pieces
    notes : one sentence for each piece that is larger than the sheet asked for, and for what was asked in vain

    Raises
    ------
    HingeleafError
        The size is not known or too small for the bar of 100 mm, or there are too many copies.
    """
    options = options or SheetOptions()
    _check_copies(len(drawings), options)
    size = sheet_size(sheet) if sheet is not None else _smallest(drawings, options)
    forms = forms_of(size, options)
    notes = _vain(drawings, size, options)
    laid: list[_Laid] = []
    stocks = {drawing.piece.stock.id: drawing.piece.stock for drawing in drawings}
    for stock in stocks.values():
        mine = [drawing.bled(options.gap_mm / 2) for drawing in drawings if drawing.piece.stock.id == stock.id]
        own: list[_Laid] = []
        fitting: list[PieceDrawing] = []
        for drawing in copied(mine, options.copies):
            if any(_fits(drawing, form) for form in forms):
                fitting.append(drawing)
                continue
            parts, note = _too_large(drawing, size, forms)
            if options.tile:
                fitting += parts
            else:
                own.append(_own_sheet(drawing, options))
            notes += [note] if drawing.part.copy == 1 else []
        laid += [*_packed(fitting, stock, forms), *own]
    count = len(laid)
    return tuple(_finished(title, item, number, count) for number, item in enumerate(laid, 1)), tuple(notes)


def _check_copies(count: int, options: SheetOptions) -> None:
    if options.copies > 1 and count * options.copies > MOST_DRAWINGS:
        raise HingeleafError(
            f"{options.copies} copies of {count} pieces are too many to lay out at once: "
            f"write up to {max(1, MOST_DRAWINGS // count)} copies"
        )


def _vain(drawings: Sequence[PieceDrawing], size: SheetSize, options: SheetOptions) -> list[str]:
    """What was asked for and changes nothing."""
    if options.grain is None or size.roll or any(drawing.piece.stock.grain != "any" for drawing in drawings):
        return []
    return ["no stock asks for a grain, so that the grain of the sheets changes nothing: write grain in [stock.NAME]"]


def _smallest(drawings: Sequence[PieceDrawing], options: SheetOptions) -> SheetSize:
    """The smallest default size that takes every piece; the largest where none does."""
    sizes = [sheet_size(name) for name in DEFAULT_SIZES]
    for size in sizes[:-1]:
        try:
            forms = forms_of(size, options)
        except HingeleafError:
            # Wide margins leave it no room; the largest size says so.
            continue
        if all(any(_fits(drawing, form) for form in forms) for drawing in drawings):
            return size
    return sizes[-1]


def _extent(drawing: PieceDrawing) -> tuple[float, float]:
    left, low, right, high = drawing.bounds()
    return right - left, high - low


def _fits(drawing: PieceDrawing, form: Form) -> bool:
    quarters = form.quarters(drawing.piece.stock)
    room = form.room if 0 in quarters else form.room[::-1]
    return fits(_extent(drawing), room, may_turn=len(quarters) == 2)


def _too_large(drawing: PieceDrawing, size: SheetSize, forms: Sequence[Form]) -> tuple[tuple[PieceDrawing, ...], str]:
    """The tiles of a piece that no form takes, and a sentence about it; none where tiles are not asked for."""
    options, stock = forms[0].options, drawing.piece.stock
    width, height = _extent(drawing)
    what = f'"{one_line(drawing.piece.title)}" is {width:.1f} x {height:.1f} mm and does not fit on {size.name}'
    if not options.tile:
        form = own_form(width, height, options)
        turned = any(fits((width, height), one.room, may_turn=True) for one in forms)
        why = "with its margins and legend" + (" unless turned across its grain" if turned else "")
        return (), (
            f"{what} {why}: its sheet is {form.width:g} x {form.height:g} mm; "
            "the option tile (--tile) splits it over several sheets instead"
        )
    rooms = [form.room if quarter == 0 else form.room[::-1] for form in forms for quarter in form.quarters(stock)]
    tiles = tiles_of(drawing, rooms, options.overlap_mm)
    names = ", ".join(tile.part.tile for tile in tiles)
    return tiles, f"{what}: it is split into {len(tiles)} tiles, {names}, that overlap by {options.overlap_mm:g} mm"


def _packed(drawings: Sequence[PieceDrawing], stock: Stock, forms: Sequence[Form]) -> list[_Laid]:
    """Pieces of one stock on as few sheets as the packer finds, upright and on their side both tried.

    Where the grain turns a piece, its room is turned instead, and what lies in it is turned back with it.
    """
    may_turn = stock.grain == "any"
    turned = [form.quarters(stock) == (1,) for form in forms]
    bins = [
        Bin(number, *(form.room[::-1] if turn else form.room))
        for number, (form, turn) in enumerate(zip(forms, turned, strict=True))
    ]
    gap = forms[0].options.gap_mm
    extents = [_extent(drawing) for drawing in drawings]
    laid = []
    sheets = pack(extents, bins, gap_mm=gap, may_turn=may_turn)
    for sheet in sorted(sheets, key=lambda sheet: min(place.number for place in sheet.places)):
        form, turn = forms[sheet.bin], turned[sheet.bin]
        if form.roll:
            sheet = _shortened(sheet, extents, form, turn, may_turn)
            form = form.cut_off(sheet.width if turn else sheet.height)
        pieces = []
        for place in sorted(sheet.places, key=lambda place: place.number):
            across, down = (place.y, place.x) if turn else (place.x, place.y)
            pieces.append(_placed(drawings[place.number], form, int(turn or place.turned), across, down))
        laid.append(_Laid(form, stock, tuple(pieces)))
    return laid


def _shortened(sheet: Packed, extents: Sequence[Size], form: Form, turn: bool, may_turn: bool) -> Packed:
    """What lies on one length of a roll, packed again for a short one, if that is shorter."""
    numbers = [place.number for place in sheet.places]
    sizes = [extents[number][::-1] if turn else extents[number] for number in numbers]
    strip = pack_strip(sizes, form.room[0], gap_mm=form.options.gap_mm, may_turn=may_turn)
    if strip.height >= (sheet.width if turn else sheet.height):
        return sheet
    places = [
        Place(numbers[place.number], *((place.y, place.x) if turn else (place.x, place.y)), place.turned)
        for place in strip.places
    ]
    return Packed(sheet.bin, tuple(places), *((strip.height, strip.width) if turn else (strip.width, strip.height)))


def _placed(drawing: PieceDrawing, form: Form, quarter: int, across: float, down: float) -> PieceDrawing:
    """The drawing on its sheet, so far from the left margin and from the upper one."""
    left, _, right, high = drawing.bounds()
    margin = form.options.margin_mm
    at_left, at_top = margin + across, form.height - margin - down
    if quarter:
        return drawing.moved(Placement(1, np.array([at_left + high, at_top - right])))
    return drawing.moved(Placement(0, np.array([at_left - left, at_top - high])))


def _own_sheet(drawing: PieceDrawing, options: SheetOptions) -> _Laid:
    form = own_form(*_extent(drawing), options)
    return _Laid(form, drawing.piece.stock, (_placed(drawing, form, 0, 0.0, 0.0),))


def _finished(title: str, laid: _Laid, number: int, count: int) -> Sheet:
    grain = laid.form.grain_of(laid.stock)
    is_light = any(line.light for drawing in laid.pieces for line in drawing.lines)
    footer = Footer(
        one_line(title),
        number,
        count,
        laid.form.name,
        laid.stock,
        grain=grain,
        pieces=named(laid.pieces),
        remark=_LIGHT if is_light else "",
    )
    return _with_foot(footer, laid.form.width, laid.form.height, laid.form.options.margin_mm, laid.pieces)


def _with_foot(footer: Footer, width: float, height: float, margin: float, pieces: tuple[PieceDrawing, ...]) -> Sheet:
    lines, texts = make_footer(footer, margin, margin, width - 2 * margin)
    return Sheet(footer, width, height, pieces, tuple(lines), tuple(texts), margin)
