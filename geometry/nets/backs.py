"""Backs: each sheet turned over along its long edge, as a duplex printer turns it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from shapely.affinity import affine_transform

from ..transforms import Array
from .drawing import PieceDrawing
from .footer import footer_height_mm, make_footer
from .lines import NetLine
from .registration import REGISTRATION
from .sheets import Sheet

__all__ = ["has_backs", "interleaved", "line_from_behind", "turned_over", "turning"]


def has_backs(sheets: Sequence[Sheet]) -> bool:
    """Whether any piece has artwork or a colour on its back."""
    return any(drawing.is_printed_behind for sheet in sheets for drawing in sheet.pieces)


def turned_over(sheet: Sheet) -> Sheet:
    """The back of a sheet that is turned over along its long edge: artwork of the backs, and nothing to cut.

    An upright sheet turns over left to right, one that lies on its side turns over upwards: both as "flip on long edge"
    does in a printer, so that sheets of both forms go through it in one run. Registration marks come with it and
    coincide with those of the front, seen through the sheet.

    Parameters
    ----------
    sheet : Sheet

    Returns
    -------
    Sheet, of the same size, as it is seen from behind
    """
    linear, shift = _turn(sheet)
    matrix = [*linear.ravel(), *shift]
    pieces: list[PieceDrawing] = []
    for drawing in sheet.pieces:
        art = drawing.back.carried(linear, shift) if drawing.back is not None else None
        fills = () if drawing.fill_back is None else (drawing.fill_back.carried(linear, shift),)
        card = affine_transform(drawing.card, matrix)
        bare = replace(drawing, lines=(), texts=(), back=None, fill_back=None)
        pieces.append(replace(bare, art=art, fills=fills, card=card))
    marks = [_carried(line, linear, shift) for line in sheet.lines if line.name == REGISTRATION]
    footer, margin = replace(sheet.footer, back=True), sheet.margin_mm
    width = sheet.width_mm - 2 * margin
    # Its foot lies behind the foot of the front, at the head of a back that was turned over upwards.
    low = margin if shift[1] == 0.0 else sheet.height_mm - margin - footer_height_mm(width)
    lines, texts = make_footer(footer, margin, low, width)
    return replace(sheet, footer=footer, pieces=tuple(pieces), lines=(*lines, *marks), texts=tuple(texts))


def interleaved(sheets: Sequence[Sheet]) -> list[Sheet]:
    """All sheets for a duplex printer: front, back, front, back."""
    return [side for sheet in sheets for side in (sheet, turned_over(sheet))]


def turning(sheet: Sheet) -> str:
    """How a sheet is turned over along its long edge, in words."""
    return "left to right" if _is_upright(sheet) else "upwards"


def line_from_behind(line: NetLine, sheet: Sheet) -> NetLine:
    """A line of a sheet as it is seen once the sheet is turned over."""
    return _carried(line, *_turn(sheet))


def _is_upright(sheet: Sheet) -> bool:
    return sheet.height_mm >= sheet.width_mm


def _turn(sheet: Sheet) -> tuple[Array, Array]:
    """The mirroring of a sheet turned over along its long edge: (2, 2) float and (2,) float, mm."""
    if _is_upright(sheet):
        return np.diag([-1.0, 1.0]), np.array([sheet.width_mm, 0.0])
    return np.diag([1.0, -1.0]), np.array([0.0, sheet.height_mm])


def _carried(line: NetLine, linear: Array, shift: Array) -> NetLine:
    return replace(line, points=np.asarray(line.points @ linear.T + shift), nodes=None)
