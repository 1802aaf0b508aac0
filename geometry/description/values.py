"""Checking one value against its field."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any

from ..errors import HingeleafError
from ..outline import closed_outline, polyline
from ..paper import iso_216_size, parse_color
from .fields import Field

__all__ = ["LONGEST_NAME", "NAME", "check_value", "name_of", "too_long"]

NAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]*\Z")
#: Names go into names of files, of which disks take 255 bytes: NAME-front-template-on-white.png is 28 longer.
LONGEST_NAME = 200
_MOST_MM = 5000.0
_LEAST_PAGE_MM = 10.0


def check_value(field: Field, value: Any) -> Any:
    """The value as the core uses it: numbers as float, sizes as pairs; outlines stay as written.

    Raises
    ------
    HingeleafError
        The value is of the wrong type or impossible; the message says what would be right.
    """
    return _CHECKS[field.type](field, value)


#: Longer ones are no titles, and whoever shortens them to fit a sheet would take minutes.
_LONGEST_TEXT = 1000


def _number(field: Field, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise HingeleafError(f"must be a number, not {name_of(value)}")
    try:
        number = float(value)
    except OverflowError:
        raise HingeleafError("is too large a number") from None
    if not math.isfinite(number):
        raise HingeleafError("must be a finite number")
    low, high = field.low, field.high
    if (low is not None and number < low) or (high is not None and number > high):
        raise HingeleafError(f"is {number:g}; it must lie between {low:g} and {high:g}")
    if field.type in ("number", "numbers", "length", "lengths") and abs(number) > _MOST_MM:
        raise HingeleafError(f"is {number:g}; it must be at most {_MOST_MM:g}")
    return number


def _length(field: Field, value: Any) -> float:
    number = _number(field, value)
    if number < 0 or (field.positive and number == 0):
        raise HingeleafError(f"is {number:g} mm; it must be {'above 0' if field.positive else '0 or more'}")
    return number


def _lengths(field: Field, value: Any) -> tuple[float, ...]:
    return _each(field, value, _length)


def _numbers(field: Field, value: Any) -> tuple[float, ...]:
    return _each(field, value, _number)


def _each(field: Field, value: Any, check: Callable[[Field, Any], float]) -> tuple[float, ...]:
    if not isinstance(value, list) or not value:
        raise HingeleafError(f"must be a list of numbers, e.g. [20, 30], not {name_of(value)}")
    found = []
    for index, item in enumerate(value, start=1):
        try:
            found.append(check(field, item))
        except HingeleafError as error:
            raise HingeleafError(f"number {index} {error}") from None
    return tuple(found)


def _angle(field: Field, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise HingeleafError(f"must be an angle in degrees, not {name_of(value)}")
    value = _number(Field(field.name, "angle", ""), value)
    low, high = (0.0 if field.low is None else field.low), (180.0 if field.high is None else field.high)
    if not low < value < high:
        raise HingeleafError(f"is {value:g} degrees; it must lie between {low:g} and {high:g}, neither included")
    return float(value)


def _text(field: Field, value: Any) -> str:
    if not isinstance(value, str) or not value.strip():
        raise HingeleafError(f"must be text in quotes, not {name_of(value)}")
    if len(value) > _LONGEST_TEXT:
        raise HingeleafError(f"has {len(value)} characters; at most {_LONGEST_TEXT} are taken")
    return value


def _name(field: Field, value: Any) -> str:
    text = _text(field, value)
    if not all(NAME.match(part) for part in text.split(".")):
        raise HingeleafError(f'"{text}" is no name; use letters, digits, - and _, beginning with a letter')
    return text


def too_long(name: str) -> str:
    """What is wrong with a name that is longer than names are; "" where it is not."""
    if len(name) <= LONGEST_NAME:
        return ""
    return f"has {len(name)} characters; a name has at most {LONGEST_NAME}, or no file can be called by it"


def _choice(field: Field, value: Any) -> str:
    if value not in field.choices:
        raise HingeleafError(f"must be one of {', '.join(field.choices)}, not {name_of(value)}")
    return str(value)


def _switch(_field: Field, value: Any) -> bool:
    if not isinstance(value, bool):
        raise HingeleafError(f"must be true or false, not {name_of(value)}")
    return value


def _line(field: Field, value: Any) -> Any:
    if value == "edge":
        return value
    polyline(value)
    return value


def _outline(field: Field, value: Any) -> Any:
    closed_outline(value)
    return value


def _outlines(field: Field, value: Any) -> Any:
    if not isinstance(value, list):
        raise HingeleafError("must be a list of outlines, each a list of [x, y] pairs or path data")
    for index, item in enumerate(value, start=1):
        try:
            closed_outline(item)
        except HingeleafError as error:
            raise HingeleafError(f"number {index} {error}") from None
    return value


def _point(field: Field, value: Any) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise HingeleafError(f"must be [x, y] in mm, not {name_of(value)}")
    plain = Field(field.name, "number", "")
    return _number(plain, value[0]), _number(plain, value[1])


def _size(field: Field, value: Any) -> tuple[float, float]:
    if isinstance(value, str):
        return iso_216_size(value)
    width, height = _point(field, value)
    if width <= 0 or height <= 0:
        raise HingeleafError(f"is {width:g} x {height:g} mm; both must be above 0")
    if min(width, height) < _LEAST_PAGE_MM:
        raise HingeleafError(f"is {width:g} x {height:g} mm; a page is at least {_LEAST_PAGE_MM:g} mm wide and high")
    return width, height


def _color(field: Field, value: Any) -> tuple[float, float, float]:
    return parse_color(_text(field, value))


def name_of(value: Any) -> str:
    """A wrong value in words, for a message."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'the text "{value[:40]}"'
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    if isinstance(value, int) and abs(value) > 10**40:
        return "a number of more than 40 digits"
    return str(value)[:40]


_CHECKS = {
    "text": _text,
    "name": _name,
    "number": _number,
    "length": _length,
    "lengths": _lengths,
    "numbers": _numbers,
    "angle": _angle,
    "choice": _choice,
    "switch": _switch,
    "line": _line,
    "outline": _outline,
    "outlines": _outlines,
    "point": _point,
    "size": _size,
    "file": _text,
    "color": _color,
}
