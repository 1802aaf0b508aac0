"""The forms that a sheet may take: upright or on its side, the room for pieces on it, and the way its grain runs."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from ..errors import HingeleafError
from ..model import Stock
from .footer import LEAST_WIDTH_MM, footer_height_mm
from .options import SheetOptions
from .sizes import SheetSize

__all__ = ["Form", "forms_of", "own_form"]

#: A sheet with less room for pieces than this is refused.
_LEAST_ROOM_MM = 20.0
#: The foot keeps at least the bleed away from the pieces.
_ABOVE_FOOT_MM = 3.0


@dataclass(frozen=True)
class Form:
    """A sheet as it lies.

    Parameters
    ----------
    name : of its size
    width, height : float, mm; on a roll the height is the greatest length
    options : its margins, gaps and grain
    grain : the way its fibres run, or None where that is not known
    roll : whether it is cut off where its pieces end
    """

    name: str
    width: float
    height: float
    options: SheetOptions
    grain: Literal["up", "across"] | None = None
    roll: bool = False

    @property
    def room(self) -> tuple[float, float]:
        """Width and height for pieces, mm."""
        return self.width - 2 * self.options.margin_mm, self.height - self.around_mm

    @property
    def around_mm(self) -> float:
        """What margins and foot take of its height."""
        return _around_mm(self.width - 2 * self.options.margin_mm, self.options)

    def quarters(self, stock: Stock) -> tuple[int, ...]:
        """The quarter turns in which pieces of a stock may lie on it, so that the grain runs as the stock asks."""
        if stock.grain == "any":
            return 0, 1
        if self.grain is None:
            return (0,)
        return (0,) if (stock.grain == "height") == (self.grain == "up") else (1,)

    def grain_of(self, stock: Stock) -> Literal["up", "across"] | None:
        """The way the grain has to run on it for a stock; None where that does not matter."""
        if stock.grain == "any":
            return None
        return self.grain or ("up" if stock.grain == "height" else "across")

    def cut_off(self, used_mm: float) -> Form:
        """A roll's form cut off where its pieces end, in whole millimetres."""
        height = min(self.height, float(math.ceil(round(used_mm + self.around_mm, 3))))
        return replace(self, name=f"{self.name}, {height:g} mm long", height=height)


def _around_mm(width_mm: float, options: SheetOptions) -> float:
    return 2 * options.margin_mm + footer_height_mm(width_mm) + max(options.gap_mm, _ABOVE_FOOT_MM)


def forms_of(size: SheetSize, options: SheetOptions) -> list[Form]:
    """The forms of a size that have room for the foot and for pieces: upright, and on its side where it is no roll.

    Raises
    ------
    HingeleafError
        There is none.
    """
    if size.roll:
        if options.grain == "short":
            raise HingeleafError("the grain of a roll runs along its length: leave the grain out, or write long")
        forms = [Form(size.name, size.width_mm, size.height_mm, options, "up", roll=True)]
    else:
        both = [(size.width_mm, size.height_mm), (size.height_mm, size.width_mm)]
        ways: dict[str | None, tuple[Literal["up", "across"] | None, ...]] = {
            None: (None, None),
            "long": ("up", "across"),
            "short": ("across", "up"),
        }
        forms = [Form(size.name, *sides, options, way) for sides, way in zip(both, ways[options.grain], strict=True)]
        forms = forms[:1] if size.width_mm == size.height_mm else forms
    usable = [form for form in forms if form.room[0] >= LEAST_WIDTH_MM and form.room[1] >= _LEAST_ROOM_MM]
    if not usable:
        raise HingeleafError(_too_small(size, options))
    return usable


def _too_small(size: SheetSize, options: SheetOptions) -> str:
    width = math.ceil(LEAST_WIDTH_MM + 2 * options.margin_mm)
    height = math.ceil(_LEAST_ROOM_MM + _around_mm(LEAST_WIDTH_MM, options))
    wanted = f"{width} mm wide and {height} mm long" if size.roll else f"{width} x {height} mm"
    return (
        f"sheet {size.name} is too small for the legend and the 100 mm bar: with margins of {options.margin_mm:g} mm "
        f"it must be at least {wanted}"
    )


def own_form(width_mm: float, height_mm: float, options: SheetOptions) -> Form:
    """A sheet as large as one piece needs."""
    across = max(math.ceil(width_mm), LEAST_WIDTH_MM)
    width = across + 2 * options.margin_mm
    height = math.ceil(height_mm) + math.ceil(_around_mm(across, options))
    return Form(f"{width:g}x{height:g} mm", width, height, options)
