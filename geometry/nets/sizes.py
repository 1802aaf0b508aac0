"""Sizes of sheets: by name, as width x height, or as a roll of a width."""

from __future__ import annotations

import re
from dataclasses import dataclass

from ..errors import HingeleafError
from ..paper import iso_216_size

__all__ = ["DEFAULT_SIZES", "LONGEST_MM", "SHEETS_KNOWN", "SheetSize", "sheet_size"]

#: Tried in this order where no size is asked for; the first that takes the largest piece is used.
DEFAULT_SIZES = ("A4", "A3", "A2", "A1")

#: Longest side of a sheet. A PDF page ends at 200 inches, 5080 mm (ISO 32000-1, annex C).
LONGEST_MM = 5000.0

_MM_PER_INCH = 25.4

#: US sizes in inches: letter, tabloid or ledger, and ANSI C to E are A to E of ANSI/ASME Y14.1, the arch sizes its
#: architectural ones; the others by trade custom (recalled).
_INCHES = {
    "statement": (5.5, 8.5),
    "executive": (7.25, 10.5),
    "letter": (8.5, 11.0),
    "legal": (8.5, 14.0),
    "tabloid": (11.0, 17.0),
    "ledger": (11.0, 17.0),
    "super-b": (13.0, 19.0),
    "ansi-c": (17.0, 22.0),
    "ansi-d": (22.0, 34.0),
    "ansi-e": (34.0, 44.0),
    "arch-a": (9.0, 12.0),
    "arch-b": (12.0, 18.0),
    "arch-c": (18.0, 24.0),
    "arch-d": (24.0, 36.0),
    "arch-e": (36.0, 48.0),
    "arch-e1": (30.0, 42.0),
}

#: Untrimmed sheets that printers cut A sizes from (ISO 217).
_UNTRIMMED = {
    "RA0": (860.0, 1220.0),
    "RA1": (610.0, 860.0),
    "RA2": (430.0, 610.0),
    "RA3": (305.0, 430.0),
    "RA4": (215.0, 305.0),
    "SRA0": (900.0, 1280.0),
    "SRA1": (640.0, 900.0),
    "SRA2": (450.0, 640.0),
    "SRA3": (320.0, 450.0),
    "SRA4": (225.0, 320.0),
}

#: What may be written, for messages and for help.
SHEETS_KNOWN = (
    f"A0 to A10, B0 to B10, RA0 to SRA4, {', '.join(_INCHES)}, width x height in mm, e.g. 320x450, "
    "or a roll by its width, e.g. roll:610 or roll:610x2000 (no longer than 2000 mm)"
)

_NUMBER = r"(\d+(?:\.\d+)?)"
_SIDES = re.compile(rf"{_NUMBER}\s*[x×]\s*{_NUMBER}\s*(mm|in)?", re.IGNORECASE)
_ROLL = re.compile(rf"roll\s*:\s*{_NUMBER}(?:\s*[x×]\s*{_NUMBER})?\s*(mm|in)?", re.IGNORECASE)


@dataclass(frozen=True)
class SheetSize:
    """A sheet, upright: its name, width and height in mm.

    On a roll the height is the greatest length; each sheet is cut off as long as its pieces need.
    """

    name: str
    width_mm: float
    height_mm: float
    roll: bool = False


def sheet_size(name: str) -> SheetSize:
    """The size of a sheet.

    Parameters
    ----------
    name : a name such as "A4", "SRA3", "letter" or "arch-d"; width and height, "320x450" in mm or "13x19in"; or a roll,
        "roll:610" with free length, "roll:610x2000" with no more than that

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
    (SheetSize(name='A4', width_mm=210.0, height_mm=297.0, roll=False), '320x450')
    >>> sheet_size("roll:610")
    SheetSize(name='roll of 610 mm', width_mm=610.0, height_mm=5000.0, roll=True)
    """
    text = name.strip()
    word = re.sub(r"[\s_]+", "-", text.lower())
    if word in _INCHES:
        width, height = (round(_MM_PER_INCH * inches, 6) for inches in _INCHES[word])
        return SheetSize(word, width, height)
    if text.upper() in _UNTRIMMED:
        return SheetSize(text.upper(), *_UNTRIMMED[text.upper()])
    sides = _SIDES.fullmatch(text)
    if sides:
        short, long = sorted(_millimetres(name, sides[number], sides[3]) for number in (1, 2))
        return SheetSize(f"{short:g}x{long:g}", short, long)
    roll = _ROLL.fullmatch(text)
    if roll:
        width = _millimetres(name, roll[1], roll[3])
        longest = _millimetres(name, roll[2], roll[3]) if roll[2] else LONGEST_MM
        return SheetSize(f"roll of {width:g} mm", width, longest, roll=True)
    try:
        width, height = iso_216_size(text.upper())
    except HingeleafError:
        raise HingeleafError(f'sheet "{name}" is not known: write {SHEETS_KNOWN}') from None
    return SheetSize(text.upper(), width, height)


def _millimetres(name: str, number: str, unit: str | None) -> float:
    length = round(float(number) * (_MM_PER_INCH if unit and unit.lower() == "in" else 1.0), 6)
    if not 0.0 < length <= LONGEST_MM:
        raise HingeleafError(f'sheet "{name}": sides must lie above 0 and up to {LONGEST_MM:.0f} mm')
    return length
