"""How pieces are laid on sheets, as far as a user can choose it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..artwork import BLEED_MM
from ..errors import HingeleafError

__all__ = ["GAP_MM", "MARGIN_MM", "MOST_DRAWINGS", "OVERLAP_MM", "SheetGrain", "SheetOptions"]

#: Kept free along the edges: most printers cannot print there.
MARGIN_MM = 8.0

#: Kept free between pieces: twice the bleed.
GAP_MM = 6.0

#: How far the tiles of one piece overlap: wide enough to glue.
OVERLAP_MM = 10.0

#: Most drawings that copies may make; more would take minutes to lay out and write.
MOST_DRAWINGS = 2000

#: A wider bleed would be nothing but mirror images.
_WIDEST_BLEED_MM = 20.0
#: Nobody needs more, and a slip of the decimal point is told.
_WIDEST_MM = 200.0
#: Narrower ones leave no room for a cross, wider ones are most of a sheet.
_OVERLAPS_MM = (5.0, 50.0)

#: The side of the sheet along which its fibres run.
SheetGrain = Literal["long", "short"]


@dataclass(frozen=True)
class SheetOptions:
    """What a user can choose about sheets beside their size.

    Parameters
    ----------
    margin_mm : float, kept free along the edges of a sheet, 0 to 200
    gap_mm : float, kept free between pieces, 0 to 200; with less than twice the bleed, the bleed is half the gap
    copies : how often the whole spread is laid out, from 1
    tile : whether a piece that is larger than the sheet is split over several, instead of getting a sheet of its own
    overlap_mm : float, how far its tiles overlap, 5 to 50
    grain : side of the sheet along which its grain runs; pieces whose stock asks for a grain are then laid so that it
        does. None where it is not known: such pieces then lie as on their nets, and the foot shows the grain wanted
    bleed_mm : float, how far artwork is printed beyond the card, 0 to 20

    Raises
    ------
    HingeleafError
        A number is outside its limits.
    """

    margin_mm: float = MARGIN_MM
    gap_mm: float = GAP_MM
    copies: int = 1
    tile: bool = False
    overlap_mm: float = OVERLAP_MM
    grain: SheetGrain | None = None
    bleed_mm: float = BLEED_MM

    def __post_init__(self) -> None:
        """Refuse what cannot be laid out."""
        if not 0.0 <= self.bleed_mm <= _WIDEST_BLEED_MM:
            raise HingeleafError(f"a bleed of {self.bleed_mm:g} mm: write 0 to {_WIDEST_BLEED_MM:.0f} mm")
        for words, value in (("margin", self.margin_mm), ("gap", self.gap_mm)):
            if not 0.0 <= value <= _WIDEST_MM:
                raise HingeleafError(f"a {words} of {value:g} mm: write 0 to {_WIDEST_MM:.0f} mm")
        low, high = _OVERLAPS_MM
        if not low <= self.overlap_mm <= high:
            raise HingeleafError(f"an overlap of {self.overlap_mm:g} mm: write {low:.0f} to {high:.0f} mm")
        if not 1 <= self.copies <= MOST_DRAWINGS:
            raise HingeleafError(f"{self.copies} copies: write a whole number from 1 to {MOST_DRAWINGS}")
        if self.grain not in (None, "long", "short"):
            raise HingeleafError(
                f'grain "{self.grain}": write long or short, the side of the sheet along which it runs'
            )
