"""Pieces on sheets: packed by rectpack, one stock a sheet, nothing ever clipped."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from rectpack import SORT_AREA, MaxRectsBl, MaxRectsBssf, PackingBin, PackingMode, newPacker
from rectpack.pack_algo import PackingAlgorithm
from shapely.affinity import affine_transform

from ..errors import HingeleafError
from ..model import Stock
from .drawing import PieceDrawing
from .footer import LEAST_WIDTH_MM, Footer, footer_height_mm, make_footer
from .lettering import one_line
from .lines import NetLine, NetText, Placement
from .sizes import DEFAULT_SIZES, SheetSize, sheet_size

__all__ = ["GAP_MM", "MARGIN_MM", "Sheet", "lay_out", "turned_over"]

#: Kept free along the edges: most printers cannot print there.
MARGIN_MM = 8.0

#: Kept free between pieces: twice the bleed.
GAP_MM = 6.0

#: Best short side fit, and bottom left: neither is better for all.
_RULES: tuple[type[PackingAlgorithm], ...] = (MaxRectsBssf, MaxRectsBl)


@dataclass(frozen=True)
class Sheet:
    """One sheet, y upwards from its lower left corner.

    Parameters
    ----------
    footer : what its foot says
    width_mm, height_mm : float
    pieces : their drawings, in sheet coordinates
    lines, texts : of the sheet itself: legend, bar, title
    """

    footer: Footer
    width_mm: float
    height_mm: float
    pieces: tuple[PieceDrawing, ...]
    lines: tuple[NetLine, ...]
    texts: tuple[NetText, ...]


@dataclass(frozen=True)
class _Format:
    """A sheet as it lies: its size, and the room for pieces."""

    name: str
    width: float
    height: float

    @property
    def room(self) -> tuple[float, float]:
        inner = self.width - 2 * MARGIN_MM
        return inner, self.height - 2 * MARGIN_MM - footer_height_mm(inner) - GAP_MM


@dataclass(frozen=True)
class _Laid:
    """A sheet's form, its stock, what lies on it, and how much of it was given a quarter turn."""

    form: _Format
    stock: Stock
    pieces: tuple[PieceDrawing, ...]
    turned_mm2: float


def lay_out(
    title: str, drawings: Sequence[PieceDrawing], sheet: str | None = None
) -> tuple[tuple[Sheet, ...], tuple[str, ...]]:
    """Lay pieces on sheets.

    Parameters
    ----------
    title : for the foot of each sheet
    drawings : of the pieces, in net coordinates
    sheet : name of a size (see sheet_size); None for the smallest of DEFAULT_SIZES that takes every piece

    Returns
    -------
    sheets : in the order of the stocks' first pieces
    notes : one sentence for each piece that needed a sheet larger than asked

    Raises
    ------
    HingeleafError
        The size is not known or too small for the bar of 100 mm.
    """
    size = sheet_size(sheet) if sheet is not None else _smallest(drawings)
    forms = _forms(size)
    laid: list[_Laid] = []
    notes: list[str] = []
    stocks = {drawing.piece.stock.id: drawing.piece.stock for drawing in drawings}
    for stock in stocks.values():
        mine = [drawing for drawing in drawings if drawing.piece.stock.id == stock.id]
        fitting = [drawing for drawing in mine if any(_fits(drawing, form) for form in forms)]
        laid.extend(_pack(fitting, stock, forms))
        for drawing in mine:
            if not any(_fits(drawing, form) for form in forms):
                own, note = _own_sheet(drawing, size)
                laid.append(own)
                notes.append(note)
    count = len(laid)
    return tuple(_finished(title, item, number, count) for number, item in enumerate(laid, 1)), tuple(notes)


def _smallest(drawings: Sequence[PieceDrawing]) -> SheetSize:
    """The smallest default size that takes every piece; the largest where none does."""
    sizes = [sheet_size(name) for name in DEFAULT_SIZES]
    for size in sizes:
        forms = _forms(size)
        if all(any(_fits(drawing, form) for form in forms) for drawing in drawings):
            return size
    return sizes[-1]


def _forms(size: SheetSize) -> list[_Format]:
    """A size upright and on its side, where it has room for the foot."""
    both = [(size.width_mm, size.height_mm), (size.height_mm, size.width_mm)]
    forms = [_Format(size.name, *sides) for sides in (both if both[0] != both[1] else both[:1])]
    usable = [form for form in forms if form.room[0] >= LEAST_WIDTH_MM and form.room[1] >= 20.0]
    if not usable:
        least = LEAST_WIDTH_MM + 2 * MARGIN_MM
        high = math.ceil(20.0 + 2 * MARGIN_MM + footer_height_mm(LEAST_WIDTH_MM) + GAP_MM)
        raise HingeleafError(
            f"sheet {size.name} is too small for the legend and the 100 mm bar: it must be at least "
            f"{least:.0f} x {high} mm"
        )
    return usable


def _may_turn(stock: Stock) -> bool:
    """Whether a quarter turn keeps the grain as the stock asks."""
    return stock.grain == "any"


def _extent(drawing: PieceDrawing) -> tuple[float, float]:
    left, low, right, high = drawing.bounds()
    return right - left, high - low


def _fits(drawing: PieceDrawing, form: _Format) -> bool:
    width, height = _extent(drawing)
    across, up = form.room
    upright = width <= across and height <= up
    return upright or (_may_turn(drawing.piece.stock) and height <= across and width <= up)


def _pack(drawings: Sequence[PieceDrawing], stock: Stock, forms: Sequence[_Format]) -> list[_Laid]:
    """Pieces of one stock on as few sheets as the packer finds, upright and on their side both tried."""
    if not drawings:
        return []
    orders = [[form] for form in forms]
    orders += [list(forms), list(reversed(forms))] if len(forms) > 1 else []
    tries = [_packed(drawings, stock, order, rule) for order in orders for rule in _RULES]
    whole = [packed for packed in tries if sum(len(item.pieces) for item in packed) == len(drawings)]
    return min(whole, key=lambda packed: (len(packed), round(sum(item.turned_mm2 for item in packed), 3)))


def _packed(
    drawings: Sequence[PieceDrawing], stock: Stock, forms: Sequence[_Format], rule: type[PackingAlgorithm]
) -> list[_Laid]:
    """Sheets of these forms with the pieces that fit on them, packed by one of rectpack's rules."""
    packer = newPacker(
        mode=PackingMode.Offline,
        bin_algo=PackingBin.BFF,
        pack_algo=rule,
        sort_algo=SORT_AREA,
        rotation=_may_turn(stock),
    )
    for form in forms:
        across, up = form.room
        packer.add_bin(_micrometres(across + GAP_MM), _micrometres(up + GAP_MM), count=math.inf, bid=form)
    sizes = [tuple(_micrometres(side + GAP_MM) for side in _extent(drawing)) for drawing in drawings]
    for index, (width, height) in enumerate(sizes):
        packer.add_rect(width, height, rid=index)
    packer.pack()
    laid = []
    for pallet in packer:
        placed, turned_mm2 = [], 0.0
        for rect in sorted(pallet, key=lambda rect: rect.rid):
            quarter = int((rect.width, rect.height) != sizes[rect.rid])
            turned_mm2 += quarter * drawings[rect.rid].card.area
            x, top = rect.x / 1000.0, rect.y / 1000.0
            placed.append(_placed(drawings[rect.rid], pallet.bid, quarter, x, top))
        laid.append(_Laid(pallet.bid, stock, tuple(placed), turned_mm2))
    return laid


def _micrometres(length_mm: float) -> int:
    """Whole micrometres, rounded up, as the packer wants integers."""
    return math.ceil(round(length_mm * 1000.0, 3))


def _placed(drawing: PieceDrawing, form: _Format, quarter: int, x: float, top: float) -> PieceDrawing:
    """The drawing on its sheet, x from the left margin and top from the upper margin."""
    left, _, right, high = drawing.bounds()
    at_left, at_top = MARGIN_MM + x, form.height - MARGIN_MM - top
    if quarter:
        return drawing.moved(Placement(1, np.array([at_left + high, at_top - right])))
    return drawing.moved(Placement(0, np.array([at_left - left, at_top - high])))


def _own_sheet(drawing: PieceDrawing, size: SheetSize) -> tuple[_Laid, str]:
    """A sheet as large as one piece needs."""
    width, height = _extent(drawing)
    across = max(math.ceil(width), LEAST_WIDTH_MM)
    up = math.ceil(height + footer_height_mm(across) + GAP_MM)
    form = _Format("own size", across + 2 * MARGIN_MM, up + 2 * MARGIN_MM)
    form = _Format(f"{form.width:g}x{form.height:g} mm", form.width, form.height)
    note = (
        f'"{drawing.piece.title}" is {width:.1f} x {height:.1f} mm and does not fit on {size.name} with its margins '
        f"and legend: its sheet is {form.width:g} x {form.height:g} mm"
    )
    return _Laid(form, drawing.piece.stock, (_placed(drawing, form, 0, 0.0, 0.0),), 0.0), note


def _finished(title: str, laid: _Laid, number: int, count: int) -> Sheet:
    footer = Footer(one_line(title), number, count, laid.form.name, laid.stock)
    return _with_foot(footer, laid.form.width, laid.form.height, laid.pieces)


def _with_foot(footer: Footer, width: float, height: float, pieces: tuple[PieceDrawing, ...]) -> Sheet:
    lines, texts = make_footer(footer, MARGIN_MM, MARGIN_MM, width - 2 * MARGIN_MM)
    return Sheet(footer, width, height, pieces, tuple(lines), tuple(texts))


def turned_over(sheet: Sheet) -> Sheet:
    """The back of a sheet that is turned over left to right: artwork of the backs, and nothing to cut.

    Parameters
    ----------
    sheet : Sheet

    Returns
    -------
    Sheet, of the same size
    """
    pieces = []
    for drawing in sheet.pieces:
        art = drawing.back.turned_over(sheet.width_mm) if drawing.back is not None else None
        card = affine_transform(drawing.card, [-1.0, 0.0, 0.0, 1.0, sheet.width_mm, 0.0])
        pieces.append(replace(drawing, lines=(), texts=(), art=art, back=None, card=card))
    return _with_foot(replace(sheet.footer, back=True), sheet.width_mm, sheet.height_mm, tuple(pieces))
