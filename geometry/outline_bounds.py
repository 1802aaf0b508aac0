"""How large the parts of a drawing may be: SVG from anywhere is read in time that its size does not run away with.

The patterns that svgelements looks for take a time that grows with the square of a text, or faster, where it is made
for that; transforms are handed down and style sheets copied to every shape. So long numbers, long attributes, and much
of them for many shapes are refused before it sees them. The bounds are far above what drawing programs write.
"""

from __future__ import annotations

import re
from xml.etree import ElementTree

from .errors import HingeleafError

__all__ = ["check_bounds"]

_LONG_NUMBER = re.compile(r"[0-9]{40}")
#: Characters of all paths and points together, and of any other attribute.
_MOST_OF_LINES, _MOST_OF_ONE = 2_000_000, 10_000
_LINES = ("d", "points")
#: Characters of a style sheet, and what it may say of one name.
_MOST_OF_STYLE, _MOST_OF_NAME = 200_000, 4000
#: Characters of transforms and styles, each as often as shapes get it from what they stand in.
_MOST_HANDED_DOWN = 20_000_000


def check_bounds(root: ElementTree.Element, shapes: int) -> None:
    """Refuse a drawing with parts out of all proportion, and leave only whole rules in its style sheets.

    Parameters
    ----------
    root : the drawing; its style sheets are written anew
    shapes : how many it has, each as often as it is used

    Raises
    ------
    HingeleafError
        It has such a part; the message says which.
    """
    lines = 0
    for element in root.iter():
        for key, text in element.items():
            if key.startswith("{"):
                continue
            if key in _LINES:
                lines += len(text)
            elif len(text) > _MOST_OF_ONE:
                raise HingeleafError(f"has a {key} of more than {_MOST_OF_ONE} characters; save the outlines alone")
            if _LONG_NUMBER.search(text):
                raise HingeleafError(f"has a number of 40 digits or more in {key}; round it")
    if lines > _MOST_OF_LINES:
        raise HingeleafError(f"has paths of more than {_MOST_OF_LINES} characters; simplify them")
    largest = max(map(_tidied, _styles(root)), default=0)
    if shapes * (largest + _handed_down(root)) > _MOST_HANDED_DOWN:
        raise HingeleafError("has transforms or styles that are too long for so many shapes; save the outlines alone")


def _styles(root: ElementTree.Element) -> list[ElementTree.Element]:
    return [element for element in root.iter() if isinstance(element.tag, str) and element.tag.endswith("style")]


def _tidied(style: ElementTree.Element) -> int:
    """Leave only whole rules, without comments; returns how much is said of one name at most."""
    text = style.text or ""
    if len(text) > _MOST_OF_STYLE:
        raise HingeleafError(f"has a style sheet of more than {_MOST_OF_STYLE} characters; save the outlines alone")
    said: dict[str, int] = {}
    rules = []
    for part in _without_comments(text).split("}")[:-1]:
        names, brace, body = part.rpartition("{")
        if not brace or not names.strip() or not body.strip():
            continue
        rules.append(f"{names.strip()} {{{body.strip()}}}")
        for name in names.split(","):
            said[name.strip()] = said.get(name.strip(), 0) + len(body)
    style.text = "\n".join(rules)
    most = max(said.values(), default=0)
    if most > _MOST_OF_NAME:
        raise HingeleafError(f"has a style sheet with more than {_MOST_OF_NAME} characters for one name; shorten it")
    return most


def _without_comments(text: str) -> str:
    first, *others = text.split("/*")
    return "".join([first, *(part.partition("*/")[2] for part in others)])


def _handed_down(element: ElementTree.Element) -> int:
    """Characters of transforms and styles along the longest way down; its depth has been limited."""
    own = len(element.get("transform", "")) + len(element.get("style", ""))
    return own + max(map(_handed_down, element), default=0)
