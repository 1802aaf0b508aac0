"""From a spread to a booklet in a file."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..errors import HingeleafError
from ..files import write_file
from ..nets import SheetOptions, draw_piece, lay_out, sheet_size
from ..spread import Spread
from .front import cautions, materials, piece_rows, tools
from .laid_flat import draw_net, draw_sheet
from .plan import WIDE_RAD, assembly_steps
from .states import reading
from .steps import NetPicture, Picture, SheetPicture, SpreadPicture
from .view import Drawing, draw_view
from .words import Words, counted

__all__ = ["PAPERS", "booklet_bytes", "write_booklet"]

#: What a booklet can be printed on.
PAPERS = ("A4", "letter")


def write_booklet(
    spread: Spread,
    path: str | Path,
    *,
    paper: str = "A4",
    sheet: str | None = None,
    options: SheetOptions | None = None,
) -> int:
    """Write the order of assembly, with a picture of each step, as PDF.

    Parameters
    ----------
    spread : Spread
    path : the file
    paper : "A4" or "letter", the size of its pages
    sheet, options : size of the sheets of the nets and how pieces are laid on them, as for nets; their numbers stand in
        the booklet

    Returns
    -------
    int, the number of steps

    Raises
    ------
    HingeleafError
        The paper or the sheet is not known, or the spread cannot stand at any opening.
    FileError
        The file cannot be written.
    """
    data, steps = booklet_bytes(spread, paper=paper, sheet=sheet, options=options)
    write_file(path, data)
    return steps


def booklet_bytes(
    spread: Spread, *, paper: str = "A4", sheet: str | None = None, options: SheetOptions | None = None
) -> tuple[bytes, int]:
    """The booklet as a file's contents, and the number of its steps; see write_booklet."""
    from .pdf import Booklet, booklet_pdf

    sizes = {name.lower(): name for name in PAPERS}
    if paper.lower() not in sizes:
        raise HingeleafError(f'paper "{paper}" is not known: write {" or ".join(PAPERS)}')
    drawings = {piece.id: draw_piece(spread, piece.id) for piece in spread.pieces}
    sheets, _ = lay_out(spread.title, list(drawings.values()), sheet, options=options)
    numbered = {each.footer.number: each for each in sheets}
    words = Words(spread)
    names = {piece.id: words.piece(piece.id) for piece in spread.pieces}
    steps = assembly_steps(spread, sheets)

    def draw(picture: Picture) -> Drawing:
        if isinstance(picture, SpreadPicture):
            return draw_view(spread, picture)
        if isinstance(picture, NetPicture):
            return draw_net(drawings[picture.piece], picture)
        if isinstance(picture, SheetPicture):
            return draw_sheet(numbered[picture.number], names)
        raise TypeError(f"{picture!r} is no picture")

    booklet = Booklet(
        title=spread.title,
        page=sheet_size(sizes[paper.lower()]),
        facts=_facts(spread, len(sheets), len(steps), options or SheetOptions()),
        cover=_cover(spread),
        tools=tuple(tools(spread)),
        materials=tuple(materials(spread, sheets)),
        cautions=tuple(cautions(spread, list(drawings.values()))),
        rows=tuple(piece_rows(spread, list(drawings.values()), sheets)),
        steps=steps,
        draw=draw,
    )
    return booklet_pdf(booklet), len(steps)


def _cover(spread: Spread) -> SpreadPicture:
    opening = min(WIDE_RAD, reading(spread)[1])
    return SpreadPicture("The finished spread", "standing", opening, tuple(spread.panels), moved=0.4)


def _facts(spread: Spread, sheets: int, steps: int, options: SheetOptions) -> tuple[str, ...]:
    width, height = spread.page_size_mm
    facts = [
        f"A spread of two pages of {width:g} × {height:g} mm: {counted(len(spread.pieces), 'piece')} on "
        f"{counted(sheets, 'sheet')}, {counted(len(spread.glue_areas), 'place')} to glue, {counted(steps, 'step')}.",
        "Read all steps once before you begin. Do them in their order: what is glued later hides what is glued "
        "earlier.",
    ]
    if options.copies > 1:
        facts.append(
            f"The sheets carry {options.copies} copies; the steps are those of one. Put one together after the other."
        )
    low, high = np.degrees(reading(spread))
    if low > 0.5:
        facts.append(
            f"As it is designed this spread does not shut: it stops at {low:.1f}°. Have the design mended before you "
            f"cut it."
        )
    if high < 179.5:
        facts.append(
            f"As it is designed this spread opens to {high:.0f}° and no further: that is all the way, and it "
            f"must not be forced."
        )
    return tuple(facts)
