"""Sizes of sheets: by name, or as width x height in millimetres."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ..errors import HingeleafError
from ..paper import iso_216_size

__all__ = ["DEFAULT_SIZES", "SheetSize", "sheet_size"]

#: Tried in this order where no size is asked for; the first that takes the largest piece is used.
DEFAULT_SIZES = ("A4", "A3", "A2", "A1")

#: US sizes in inches (ANSI/ASME Y14.1 for letter, A, and tabloid, B; legal by trade custom; recalled).
_INCHES = {"letter": (8.5, 11.0), "legal": (8.5, 14.0), "tabloid": (11.0, 17.0)}
_LARGEST_MM = 5000.0


@dataclass(frozen=True)
class SheetSize:
    """A sheet, upright: its name, width and height in mm."""

    name: str
    width_mm: float
    height_mm: float


def sheet_size(name: str) -> SheetSize:
    """The size of a sheet.

    Parameters
    ----------
    name : "A0" to "A10", "B0" to "B10", "letter", "legal", "tabloid", or width and height in mm as "320x450"

    Returns
    -------
    SheetSize, upright (the writers turn sheets as the pieces need)

    Raises
    ------
    HingeleafError
        There is no such size.

    Examples
    --------
    >>> sheet_size("a4"), sheet_size("450 x 320").name
    (SheetSize(name='A4', width_mm=210.0, height_mm=297.0), '320x450')
    """
    text = name.strip()
    if text.lower() in _INCHES:
        width, height = (round(25.4 * inches, 6) for inches in _INCHES[text.lower()])
        return SheetSize(text.lower(), width, height)
    numbers = re.fullmatch(r"(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)(?:\s*mm)?", text, re.IGNORECASE)
    if numbers:
        short, long = sorted(float(number) for number in numbers.groups())
        if not 0.0 < short <= long <= _LARGEST_MM:
            raise HingeleafError(f'sheet "{name}": sides must lie above 0 and up to {_LARGEST_MM:.0f} mm')
        return SheetSize(f"{short:g}x{long:g}", short, long)
    try:
        width, height = iso_216_size(text.upper())
    except HingeleafError:
        raise HingeleafError(
            f'sheet "{name}" is not known: write A0 to A10, B0 to B10, letter, legal, tabloid, '
            "or width x height in mm, e.g. 320x450"
        ) from None
    return SheetSize(text.upper(), width, height)
