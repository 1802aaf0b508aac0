"""Where a key stands in a TOML file: the parser keeps no lines, so they are looked up in the text."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

__all__ = ["Entry", "entries", "key_lines"]

_TABLE = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(#.*)?$")
_NAME = r"(?:\"[^\"]*\"|'[^']*'|[A-Za-z0-9_-]+)"
_PART = re.compile(_NAME)
_KEY = re.compile(rf"^\s*({_NAME}(?:\s*\.\s*{_NAME})*)\s*=\s*(.*)$")


@dataclass(frozen=True)
class Entry:
    """A table's head, or a key with its value, in lines counted from 0.

    Parameters
    ----------
    first, last : its lines, both included
    table : the table's name, where it is a head; None where it is a key
    key : the key's parts, () where it is a head
    """

    first: int
    last: int
    table: str | None
    key: tuple[str, ...]


def entries(lines: Sequence[str], start: int = 0) -> Iterator[Entry]:
    """Every table head and key that stands on a line of its own.

    Parameters
    ----------
    lines : of a TOML document
    start : the line to begin with, counted from 0
    """
    number = start
    while number < len(lines):
        line = lines[number]
        last = number
        if head := _TABLE.match(line):
            yield Entry(number, number, head[2].replace(" ", "").replace('"', "").replace("'", ""), ())
        elif key := _KEY.match(line):
            last = _last_line(lines, number, key[2])
            yield Entry(number, last, None, tuple(part.strip().strip("\"'") for part in _PART.findall(key[1])))
        number = last + 1


def key_lines(text: str) -> dict[tuple[str, int, str], int]:
    """Line of every table head and key that stands on a line of its own.

    Parameters
    ----------
    text : a TOML document

    Returns
    -------
    dict from (table, index, key) to line, counted from 1; index counts the tables of that name from 0, key is ""
    for the head itself
    """
    found: dict[tuple[str, int, str], int] = {}
    seen: Counter[str] = Counter()
    table, index = "", 0
    for entry in entries(text.split("\n")):
        if entry.table is not None:
            table = entry.table
            index = seen[table]
            seen[table] += 1
            found[(table, index, "")] = entry.first + 1
            continue
        *inner, last = entry.key
        path = ".".join([*([table] if table else []), *inner])
        found.setdefault((path, index, last), entry.first + 1)
    return found


def _last_line(lines: Sequence[str], first: int, value: str) -> int:
    """The line on which a value ends that begins on a line."""
    for quotes in ('"""', "'''"):
        if value.startswith(quotes) and quotes not in value[3:]:
            return next((n for n in range(first + 1, len(lines)) if quotes in lines[n]), len(lines) - 1)
    depth, number = _depth(value), first
    while depth > 0 and number + 1 < len(lines):
        number += 1
        depth += _depth(lines[number])
    return number


def _depth(text: str) -> int:
    bare = re.sub(r"\"(\\.|[^\"\\])*\"|'[^']*'", "", text).split("#")[0]
    return bare.count("[") + bare.count("{") - bare.count("]") - bare.count("}")
