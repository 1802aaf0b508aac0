"""The tables of a description as lines of text: changing keys of one, and where each mechanism's table begins and ends.

What is not changed stays to the letter: comments, spaces, the way numbers are written.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import tomlkit
from tomlkit.exceptions import TOMLKitError

from ..description.data import Description
from ..description.locate import entries
from ..errors import HingeleafError

__all__ = ["Edits", "Place", "changed_lines", "new_table", "places_of", "table_end", "written"]

#: Numbers are written to this many places: a millionth of a millimetre.
_PLACES = 6
_KEY = re.compile(r"^(\s*)(\"[^\"]*\"|'[^']*'|[A-Za-z0-9_-]+)(\s*=)")


@dataclass(frozen=True)
class Edits:
    """What is to change in one table.

    Parameters
    ----------
    values : key to new value; None takes the key out
    renames : old to new name of keys whose values stay as they are written; done first
    beside : new keys to the keys beside which they are to stand
    """

    values: Mapping[str, Any]
    renames: Mapping[str, str] = field(default_factory=dict)
    beside: Mapping[str, Sequence[str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Place:
    """Where a mechanism's table stands in the text, in lines counted from 0.

    Parameters
    ----------
    first : its first line; comments directly over its head belong to it
    head : its head
    last : its last line; comments directly under its last key belong to it
    """

    first: int
    head: int
    last: int


def places_of(description: Description) -> dict[str, Place]:
    """Where each mechanism's table stands, by id.

    Raises
    ------
    HingeleafError
        The mechanisms are not written as tables of their own.
    """
    lines = description.text.split("\n")
    heads = {spec.lines[""] - 1: spec.id for spec in description.mechanisms if "" in spec.lines}
    if len(heads) < len(description.mechanisms):
        raise HingeleafError(
            f"{description.source}: mechanisms must be written as tables that begin with [[mechanism]]"
        )
    places: dict[str, Place] = {}
    id_, head, last = "", 0, 0
    for entry in [*entries(lines), None]:
        if entry is not None and entry.table is None:
            last = entry.last
            continue
        next_first = len(lines) if entry is None else _with_comments(lines, entry.first, last)
        if id_:
            places[id_] = Place(places[id_].first, head, _with_remarks(lines, last, next_first))
        if entry is None:
            break
        id_ = heads.get(entry.first, "")
        head = last = entry.first
        if id_:
            places[id_] = Place(next_first, head, last)
    return places


def _with_comments(lines: Sequence[str], head: int, last: int) -> int:
    """The first of the comments directly over a head."""
    while head - 1 > last and lines[head - 1].lstrip().startswith("#"):
        head -= 1
    return head


def _with_remarks(lines: Sequence[str], last: int, stop: int) -> int:
    """The last of the comments directly under a key."""
    while last + 1 < stop and lines[last + 1].lstrip().startswith("#"):
        last += 1
    return last


def table_end(lines: Sequence[str], head: int) -> int:
    """The line after a table's last, counted from 0: the next table's head, or the end of the text."""
    return next((entry.first for entry in entries(lines, head + 1) if entry.table is not None), len(lines))


def changed_lines(lines: Sequence[str], edits: Edits) -> list[str]:
    """A table with some keys changed.

    Parameters
    ----------
    lines : of one table, its head first
    edits : what is to change

    Raises
    ------
    HingeleafError
        A key is not written on lines of its own, so that it cannot be changed by itself.
    """
    table = _Table(lines)
    for old, new in edits.renames.items():
        table.rename(old, new)
    for key, value in edits.values.items():
        if value is not None:
            table.set(key, value, edits.beside.get(key, ()))
    for key, value in edits.values.items():
        if value is None:
            table.remove(key)
    return table.lines()


def new_table(values: Mapping[str, Any], head: str = "[[mechanism]]", end: str = "") -> list[str]:
    """Lines of a new table; keys of value None are left out.

    Parameters
    ----------
    values : key to value, kind and id among them
    head : its first line
    end : what each line ends with, a carriage return where the text has them
    """
    rows = [f"{key} = {written(value)}" for key, value in values.items() if value is not None]
    return [line + end for line in (head, *rows)]


class _Table:
    """A table's lines while keys are changed: parts, each a key with its value, or a line of something else."""

    def __init__(self, lines: Sequence[str]) -> None:
        self.end = "\r" if lines and lines[0].endswith("\r") else ""
        self.parts: list[tuple[str, list[str]]] = []
        done = 0
        for entry in entries(lines, 1):
            self.parts += [("", [line]) for line in lines[done : entry.first]]
            self.parts.append((".".join(entry.key), list(lines[entry.first : entry.last + 1])))
            done = entry.last + 1
        self.parts += [("", [line]) for line in lines[done:]]

    def lines(self) -> list[str]:
        return [line for _, part in self.parts for line in part]

    def index(self, key: str) -> int:
        """Where a key stands; -1 where it does not."""
        return next((number for number, (name, _) in enumerate(self.parts) if name == key), -1)

    def rename(self, old: str, new: str) -> None:
        number = self.index(old)
        if number < 0:
            raise HingeleafError(f"{old} is not written on a line of its own")
        first, *rest = self.parts[number][1]
        self.parts[number] = new, [_KEY.sub(lambda match: f"{match[1]}{new}{match[3]}", first), *rest]

    def remove(self, key: str) -> None:
        self.parts = [part for part in self.parts if part[0] != key]

    def set(self, key: str, value: Any, beside: Sequence[str]) -> None:
        number = self.index(key)
        if number >= 0:
            self.parts[number] = key, _replaced(self.parts[number][1], key, value)
            return
        after = self._place(key, beside)
        if not self.parts[after][1][-1].endswith(self.end):
            # The last line of a text may lack the carriage return that the others have.
            self.parts[after][1][-1] += self.end
        self.parts.insert(after + 1, (key, [f"{key} = {written(value)}{self.end}"]))

    def _place(self, key: str, beside: Sequence[str]) -> int:
        """The part after which a new key is written: one that it belongs beside, left before right, or the last key."""
        right = self.index(f"{key.removesuffix('_left')}_right") if key.endswith("_left") else -1
        if right > 0 and beside:
            return right - 1
        near = [index for index in (self.index(name) for name in beside) if index >= 0]
        return max(near) if near else max((n for n, (name, _) in enumerate(self.parts) if name), default=0)


def _replaced(lines: Sequence[str], key: str, value: Any) -> list[str]:
    """A key's lines with another value; its comment stays."""
    end = "\r" if lines[-1].endswith("\r") else ""
    text = "\n".join(line.removesuffix("\r") for line in lines)
    try:
        item: Any = tomlkit.parse(text + "\n").item(key)
        before = item.as_string()
        at = text.index(before, text.index("="))
    except (TOMLKitError, ValueError, KeyError) as error:
        raise HingeleafError(f"{key} cannot be changed by itself ({error})") from None
    if _same(item.unwrap(), value):
        return list(lines)
    now = written(value, decimal=isinstance(item, tomlkit.items.Float) and float(item).is_integer())
    changed = text[:at] + now + text[at + len(before) :]
    return [line + end for line in changed.split("\n")]


def _same(old: Any, new: Any) -> bool:
    new = _plain(new)
    numbers = isinstance(old, (int, float)) and isinstance(new, (int, float))
    return bool(old == new) and (numbers or type(old) is type(new)) and isinstance(old, bool) == isinstance(new, bool)


def _plain(value: Any) -> Any:
    """A value as TOML has it: tuples and arrays as lists, numpy's numbers as Python's."""
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, (list, tuple, np.ndarray)):
        return [_plain(item) for item in value]
    return value


def written(value: Any, *, decimal: bool = False) -> str:
    """A value as it is written in a description.

    Parameters
    ----------
    value : text, number, true or false, or a list of them
    decimal : whether a whole number is written with a point, as 40.0

    Examples
    --------
    >>> written(40.0), written(40.0, decimal=True), written(2 / 3), written([[0, 1.5], (2, 3)])
    ('40', '40.0', '0.666667', '[[0, 1.5], [2, 3]]')
    """
    value = _plain(value)
    if isinstance(value, list):
        return "[" + ", ".join(written(item) for item in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and np.isfinite(value):
        number = round(value, _PLACES) + 0.0
        if number.is_integer() and not decimal:
            return str(int(number))
        return np.format_float_positional(number, trim="0")
    if isinstance(value, int) and decimal and abs(value) < 10**15:
        return f"{value}.0"
    if isinstance(value, (str, int, float)):
        return tomlkit.item(value).as_string()
    raise HingeleafError(
        f"a value must be text, a number, true or false, or a list of them, not {type(value).__name__}"
    )
