"""Solids: folded models that stand rigid on a panel, and the rest of the spread without them.

A solid does not fold with the book. What looks at how the book moves looks at the *folding part* of the spread, in
which nothing is left of a solid but its foot, a rider; `checks/solids.py` looks at the rest of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np

from .model import Stock

if TYPE_CHECKING:
    from .nets.drawing import PieceDrawing
    from .nets.pictures import Picture
    from .spread import Spread
    from .unfold.data import Unfolded
    from .unfold.tabs import Join

__all__ = ["Solid", "folding_part"]


@dataclass(frozen=True, eq=False)
class Solid:
    """A folded model on a panel.

    Parameters
    ----------
    id, title : its name, and what a person calls it
    model : path of its mesh
    stock : its card
    unfolded : its facets and nets, mm; the panel that it stands on is z = 0, its foot about x = y = 0
    joins : its cuts, with their labels and tabs
    pieces : of each net the name of its piece
    facets : of each facet the name of its panel
    tabs : names of the tabs that hold it together
    foot : the panels that are glued on the host
    host, face : the panel that it stands on, and on which face
    height_mm : from its foot to its top
    loose : it is put on to be shown, and taken off before the book is shut
    """

    id: str
    title: str
    model: str
    stock: Stock
    unfolded: Unfolded
    joins: tuple[Join, ...]
    pieces: tuple[str, ...]
    facets: tuple[str, ...]
    tabs: tuple[str, ...]
    foot: tuple[str, ...]
    host: str
    face: Literal["front", "back"]
    height_mm: float
    loose: bool

    @cached_property
    def panels(self) -> frozenset[str]:
        """All its panels."""
        return frozenset((*self.facets, *self.tabs))

    @property
    def across_mm(self) -> float:
        """Diagonal of the box about it on its panel, mm."""
        return float(np.hypot(*np.ptp(self.unfolded.facets.vertices[:, :2], axis=0)))

    @cached_property
    def drawings(self) -> Mapping[str, PieceDrawing]:
        """Its nets, by piece."""
        # The drawing of nets reads spreads.
        from .unfold.drawing import net_drawings

        drawn = net_drawings(self.unfolded, self.joins, stock=self.stock, title=self.title)
        return dict(zip(self.pieces, drawn, strict=True))

    def picture(self, piece: str, box: tuple[float, float, float, float]) -> Picture | None:
        """What is printed on the face of a net, of all that is in a box of its coordinates, mm; None for plain card.

        Raises
        ------
        FileError
            A texture cannot be read.
        """
        from .unfold.face_picture import face_picture

        return face_picture(self.drawings[piece], box)


def folding_part(spread: Spread) -> Spread:
    """The spread with nothing left of its solids but their feet.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    Spread; the same one where it has no solids
    """
    if not spread.solids:
        return spread
    feet = {name for solid in spread.solids for name in solid.foot}
    gone = {name for solid in spread.solids for name in solid.panels} - feet
    panels = {name: panel for name, panel in spread.panels.items() if name not in gone}
    pieces = []
    for piece in spread.pieces:
        kept = tuple(name for name in piece.panels if name not in gone)
        if kept:
            pieces.append(replace(piece, panels=kept))
    return replace(
        spread,
        panels=panels,
        pieces=tuple(pieces),
        hinges=tuple(hinge for hinge in spread.hinges if not gone & set(hinge.panels)),
        glue_areas=tuple(area for area in spread.glue_areas if not gone & {area.host, area.glued}),
        solids=(),
    )
