"""Writing a book description back: what was read stays as it was written, comments and layout included."""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.items import Table

from ..description.locate import key_lines

__all__ = ["new_book_text", "set_book"]

_NEW = """format = 1
title = ""
"""


def new_book_text(title: str, files: Sequence[str]) -> str:
    """The text of a book of some spreads, with a plain cover.

    Parameters
    ----------
    title : of the book
    files : of its spreads, from the front

    Examples
    --------
    >>> print(new_book_text("Sea", ["storm.toml"]))
    format = 1
    title = "Sea"
    <BLANKLINE>
    [[spread]]
    file = "storm.toml"
    <BLANKLINE>
    """
    return set_book(_NEW, title=title, files=files)


def set_book(
    text: str,
    *,
    title: str | None = None,
    cover: Mapping[str, Any] | None = None,
    files: Sequence[str] | None = None,
) -> str:
    """The text of a book with some of it changed; everything else stays to the letter.

    Parameters
    ----------
    text : of a book description
    title : its new name
    cover : key to new value; None takes the key out, so that its default holds
    files : of its spreads, from the front; the table of a spread that stays is kept with its comments

    Examples
    --------
    >>> text = new_book_text("Sea", ["calm.toml", "storm.toml"])
    >>> changed = set_book(text, cover={"board": 3.0}, files=["storm.toml"])
    >>> print(changed)
    format = 1
    title = "Sea"
    <BLANKLINE>
    [cover]
    board = 3.0
    <BLANKLINE>
    [[spread]]
    file = "storm.toml"
    <BLANKLINE>
    """
    document: Any = tomlkit.parse(text.removeprefix("\ufeff"))
    if title is not None:
        document["title"] = title
    old = list(document.get("spread", []))
    if files is not None and list(files) != [str(table.get("file")) for table in old]:
        document.pop("spread", None)
        if files:
            document["spread"] = _tables(files, old)
    if cover and "cover" in document:
        _change_cover(document, cover)
    written = _ended(tomlkit.dumps(document))
    new = {key: value for key, value in (cover or {}).items() if value is not None}
    return _with_cover(written, new) if new and "cover" not in document else written


def _ended(text: str) -> str:
    return text.rstrip("\n") + "\n"


def _with_cover(text: str, values: Mapping[str, Any]) -> str:
    """A text that has no cover with a new one before its spreads, and before what is said just above the first."""
    table: Any = tomlkit.table()
    for key, value in values.items():
        table[key] = value
    head = f"[cover]\n{_ended(tomlkit.dumps(table))}"
    lines = [f"{line}\n" for line in text.removesuffix("\n").split("\n")]
    place = key_lines(text).get(("spread", 0, ""), 0) - 1
    if place < 0 or not lines[place].lstrip().startswith("[["):
        return f"{text}\n{head}"
    while place and lines[place - 1].lstrip().startswith("#"):
        place -= 1
    before, after = "".join(lines[:place]), "".join(lines[place:])
    gap = "" if not before.strip() or before.endswith("\n\n") else "\n"
    return f"{before}{gap}{head}\n{after}"


def _change_cover(document: Any, values: Mapping[str, Any]) -> None:
    table = document["cover"]
    for key, value in values.items():
        if value is not None:
            table[key] = value
        elif key in table:
            del table[key]
    if not table and "#" not in table.as_string():
        del document["cover"]


def _tables(names: Sequence[str], old: Sequence[Any]) -> Any:
    """A table for each name: the old one as it is, where there is one."""
    known: dict[str, list[Any]] = {}
    for table in old:
        known.setdefault(str(table.get("file")), []).append(table)
    tables = tomlkit.aot()
    for name in names:
        given = known[name].pop(0) if known.get(name) else {"file": name}
        if isinstance(given, Table):
            tables.append(copy.deepcopy(given))
            continue
        table = tomlkit.table()
        for key, value in given.items():
            table[key] = value
        tables.append(table)
    return tables
