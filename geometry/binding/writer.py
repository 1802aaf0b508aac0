"""Writing a book description back: what was read stays as it was written, comments and layout included."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit

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
    old = list(document.pop("spread", [])) if files is not None or "cover" not in document else None
    if cover:
        _set_cover(document, cover)
    if old is not None:
        known = {str(table.get("file")): table for table in old}
        names = [str(table.get("file")) for table in old] if files is None else files
        if names:
            document["spread"] = _tables(names, known)
    return tomlkit.dumps(document).rstrip("\n") + "\n"


def _set_cover(document: Any, values: Mapping[str, Any]) -> None:
    if "cover" not in document:
        table: Any = tomlkit.table()
        document["cover"] = table
    table = document["cover"]
    for key, value in values.items():
        if value is not None:
            table[key] = value
        elif key in table:
            del table[key]
    if not table:
        del document["cover"]


def _tables(names: Sequence[str], known: Mapping[str, Any]) -> Any:
    tables = tomlkit.aot()
    for name in names:
        table: Any = tomlkit.table()
        for key, value in known.get(name, {"file": name}).items():
            table[key] = value
        tables.append(table)
    return tables
