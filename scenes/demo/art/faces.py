"""What a piece shows: the card of its panels, the faces of a box, and plain backs."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geometry import Spread
from geometry.artwork import art_box

from .carving import Wobble, hatch, union
from .sheet import Sheet

__all__ = ["back_sheet", "draw_plain", "front_sheet", "shown"]


def shown(spread: Spread, piece_id: str, *ends: str) -> BaseGeometry:
    """The card of a piece's panels with these endings, on its net; of all but its tabs where none is named."""
    names = [name for name in spread.piece(piece_id).panels if not name.endswith(".tab")]
    if ends:
        names = [f"{piece_id}.{end}" for end in ends]
    return union([shapely.buffer(spread.panels[name].outline, 0.01, join_style="mitre") for name in names])


def front_sheet(spread: Spread, piece_id: str, ground: str) -> Sheet:
    """An empty sheet of a piece's printed face."""
    return Sheet(art_box(spread, piece_id), ground)


def back_sheet(spread: Spread, piece_id: str, ground: str) -> Sheet:
    """An empty sheet of a piece's back, as it is seen: its net turned over left to right."""
    left, low, right, high = art_box(spread, piece_id)
    return Sheet((-right, low, -left, high), ground)


def draw_plain(sheet: Sheet, cuts: tuple[str, ...], seed: int, *, way: float = 0.0, spacing: float = 2.6) -> None:
    """Print a back that nobody looks at for long: its ground, cut all over."""
    rng = np.random.default_rng(seed)
    for number, ink in enumerate(cuts):
        marks = hatch(
            sheet.area,
            way,
            rng,
            spacing=spacing * (1.0 + 0.5 * number),
            length=(2.0, 6.0),
            width=(0.25, 0.55),
            share=0.6,
        )
        sheet.lay(Wobble(seed + 1, 0.2, 4.0)(marks), ink)
