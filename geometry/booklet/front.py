"""What stands before the steps: tools and materials, cautions, how to read the pictures, and the table of pieces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..model import Panel
from ..nets import PieceDrawing, Sheet
from ..spread import Spread
from .words import Words, counted, listed

__all__ = ["PieceRow", "cautions", "materials", "piece_rows", "tools"]

#: Pieces smaller than this across are named as small.
_SMALL_MM = 60.0
_NARROW_TAB_MM = 6.0


@dataclass(frozen=True)
class PieceRow:
    """A row of the table of pieces, ready to be set."""

    title: str
    stock: str
    size: str
    sheet: str
    creases: str
    glued: str


def piece_rows(spread: Spread, drawings: Sequence[PieceDrawing], sheets: Sequence[Sheet]) -> list[PieceRow]:
    """The table of pieces.

    Parameters
    ----------
    spread : Spread
    drawings : of all its pieces
    sheets : on which they lie

    Returns
    -------
    list of PieceRow, in the order of the pieces
    """
    words = Words(spread)
    rows = []
    for drawing in drawings:
        piece = drawing.piece
        left, low, right, high = drawing.card.bounds
        numbers = [each.footer.number for each in sheets if any(item.piece.id == piece.id for item in each.pieces)]
        glued = sum(spread.panels[area.glued].piece == piece.id for area in spread.glue_areas)
        creases = {hinge.id.split("#")[0] for hinge in spread.creases(piece.id)}
        rows.append(
            PieceRow(
                words.piece(piece.id),
                f"{piece.stock.id}, {piece.stock.grammage_gsm:g} g/m², {piece.stock.caliper_mm:g} mm",
                f"{right - left:.0f} × {high - low:.0f}",
                listed(_runs(numbers)),
                str(len(creases)),
                str(glued),
            )
        )
    return rows


def _runs(numbers: Sequence[int]) -> list[str]:
    """Numbers in rising order, three and more in a row as the first and the last: many copies have very many sheets.

    >>> _runs([1, 2, 4, 5, 6, 9])
    ['1', '2', '4 to 6', '9']
    """
    runs: list[list[int]] = []
    for number in numbers:
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words = ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(number) for number in run] for run in runs)
    return [word for found in words for word in found]


def tools(spread: Spread) -> list[str]:
    """What has to lie ready."""
    items = [
        "craft knife with a new blade, steel ruler, cutting mat",
        "scoring tool: a bone folder's point, an embossing stylus or an empty ball-point pen",
        "bone folder or the back of a spoon, to rub creases down",
    ]
    if spread.glue_areas:
        items += [
            "white craft glue (PVA) that dries clear, and a flat brush or a strip of card to spread it thinly",
            "scrap paper, to lie under a tab while glue is put on it; waxed paper, to lay beside a fresh tab where "
            "glue could come out and stick what must stay free; a damp cloth, to wipe glue off",
            "two boards and a weight, such as heavy books",
        ]
        tabs = [spread.panels[area.glued].outline for area in spread.glue_areas]
        if any(tab.minimum_rotated_rectangle.area / max(tab.length, 1.0) < _NARROW_TAB_MM / 2 for tab in tabs):
            items.append("tweezers, for the narrow tabs")
    if any(area.face == "back" for area in spread.folding.glue_areas):
        items.append("pin and pencil, to mark places on the back")
    pivots = _pivots(spread)
    if pivots:
        items.append(
            f"{counted(len(pivots), 'eyelet or paper rivet')}, to fit the holes, and the tool that sets "
            f"{'it' if len(pivots) == 1 else 'them'}"
        )
    return items


def _pivots(spread: Spread) -> list[Panel]:
    return [panel for panel in spread.panels.values() if panel.axis is not None and panel.axis.pivots]


def materials(spread: Spread, sheets: Sequence[Sheet]) -> list[str]:
    """Card, by stock, and on how many sheets."""
    found = []
    for stock in {piece.stock.id: piece.stock for piece in spread.pieces}.values():
        own = [sheet.footer for sheet in sheets if sheet.footer.stock.id == stock.id]
        sizes = listed(sorted({foot.size_name for foot in own}))
        backs = any(piece.art_back or piece.color_back for piece in spread.pieces if piece.stock.id == stock.id)
        sides = "the nets at 100 %" + (
            " on one side and their backs on the other, turned over along the long edge" if backs else ""
        )
        grain = "" if stock.grain == "any" else ", grain as the arrow on the sheet shows"
        found.append(
            f"{counted(len(own), 'sheet')} ({sizes}) of {stock.id}, {stock.grammage_gsm:g} g/m², "
            f"{stock.caliper_mm:g} mm thick{grain}, printed with {sides}"
        )
    return found


def cautions(spread: Spread, drawings: Sequence[PieceDrawing]) -> list[str]:
    """What can hurt, and whose rules hold."""
    words = Words(spread)
    small = []
    for drawing in drawings:
        left, low, right, high = drawing.card.bounds
        if max(right - left, high - low) < _SMALL_MM:
            small.append(words.piece(drawing.piece.id))
    return [
        "Knives: cut on the mat, along the steel ruler, with the other hand behind the blade; make several light cuts "
        "instead of one hard one; change a blunt blade; cover the blade when you put it down. Cutting is for adults, "
        "and for younger people only with an adult beside them.",
        f"Small parts: {'offcuts, eyelets' if _pivots(spread) else 'offcuts'} and small pieces can be swallowed"
        + (f"; under {_SMALL_MM:g} mm are {listed(small)}" if small else "")
        + ". Keep them away from small children, also when the book is finished.",
        "Glue: follow what its maker says on the label, work in fresh air, and wash it off skin. A machine that "
        "cuts, and a "
        "laser above all, is used as its maker and the rules of the place say.",
        "This booklet says how the pieces go together. It claims no compliance with any rule or standard. Whether a "
        "finished book may be sold, lent or given to children is decided by the rules that hold where you are, and "
        "by people "
        "who are qualified and licensed there to judge it: where this page and their rules differ, theirs hold.",
    ]
