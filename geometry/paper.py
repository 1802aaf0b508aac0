"""Paper: standard sizes and the stock a spread is made of."""

from __future__ import annotations

from .errors import HingeleafError

__all__ = ["caliper_mm", "hex_color", "iso_216_size", "parse_color"]

_SERIES = {"A": (841, 1189), "B": (1000, 1414)}


def iso_216_size(name: str) -> tuple[float, float]:
    """Size of an ISO 216 sheet, upright.

    Parameters
    ----------
    name : e.g. "A5" or "B6", numbers 0 to 10; "A5 landscape" lies on its side

    Returns
    -------
    (width, height) : float, mm

    Raises
    ------
    HingeleafError
        The name is no ISO 216 size.

    Notes
    -----
    Source: ISO 216: each size is the larger one halved across its height, rounded down to whole millimetres.

    Examples
    --------
    >>> iso_216_size("A4"), iso_216_size("A5 landscape")
    ((210.0, 297.0), (210.0, 148.0))
    """
    words = name.split()
    series, number = (words[0][:1], words[0][1:]) if words else ("", "")
    turned = words[1:] == ["landscape"]
    valid = series in _SERIES and number.isdecimal() and number == str(int(number)) and int(number) <= 10
    if not valid or (len(words) > 1 and not turned):
        raise HingeleafError(f'"{name}" is no ISO 216 size; write A0 to A10 or B0 to B10, or [width, height] in mm')
    width, height = _SERIES[series]
    for _ in range(int(number)):
        width, height = height // 2, width
    return (float(height), float(width)) if turned else (float(width), float(height))


def caliper_mm(grammage_gsm: float, bulk_cm3_g: float) -> float:
    """Thickness of a card from its grammage and bulk.

    Parameters
    ----------
    grammage_gsm : float, g/m^2
    bulk_cm3_g : float, cm^3/g

    Returns
    -------
    float, mm

    Notes
    -----
    Source: ISO 534 (thickness in micrometres = grammage x bulk).

    Examples
    --------
    >>> caliper_mm(250, 1.2)
    0.3
    """
    return grammage_gsm * bulk_cm3_g / 1000.0


def hex_color(color: tuple[float, float, float]) -> str:
    """A colour, sRGB 0..1, as parse_color reads it, to the nearest of 255 steps.

    Examples
    --------
    >>> hex_color(parse_color("#f7f3e8"))
    '#f7f3e8'
    """
    return "#" + "".join(f"{round(255 * min(max(value, 0.0), 1.0)):02x}" for value in color)


def parse_color(text: str) -> tuple[float, float, float]:
    """Colour from "#rrggbb", as sRGB 0..1.

    Raises
    ------
    HingeleafError
        The text is not of that form.
    """
    digits = text[1:]
    if len(text) != 7 or text[0] != "#" or any(digit not in "0123456789abcdefABCDEF" for digit in digits):
        raise HingeleafError(f'"{text}" is no colour; write # and six hexadecimal digits, e.g. "#f7f3e8"')
    red, green, blue = (int(digits[index : index + 2], 16) / 255.0 for index in (0, 2, 4))
    return red, green, blue
