"""Where a key stands in a TOML file: the parser keeps no lines, so they are looked up in the text."""

from __future__ import annotations

import re
from collections import Counter

__all__ = ["key_lines"]

_TABLE = re.compile(r"^\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(#.*)?$")
_NAME = r"(?:\"[^\"]*\"|'[^']*'|[A-Za-z0-9_-]+)"
_PART = re.compile(_NAME)
_KEY = re.compile(rf"^\s*({_NAME}(?:\s*\.\s*{_NAME})*)\s*=\s*(.*)$")


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
    lines: dict[tuple[str, int, str], int] = {}
    seen: Counter[str] = Counter()
    table, index = "", 0
    closing, depth = "", 0
    for number, line in enumerate(text.split("\n"), start=1):
        if closing:
            if closing in line:
                closing = ""
            continue
        if depth > 0:
            depth += _depth(line)
            continue
        head = _TABLE.match(line)
        if head:
            table = head[2].replace(" ", "").replace('"', "").replace("'", "")
            index = seen[table]
            seen[table] += 1
            lines[(table, index, "")] = number
            continue
        key = _KEY.match(line)
        if not key:
            continue
        *inner, last = (part.strip().strip("\"'") for part in _PART.findall(key[1]))
        path = ".".join([*([table] if table else []), *inner])
        lines.setdefault((path, index, last), number)
        value = key[2]
        for quotes in ('"""', "'''"):
            if value.startswith(quotes) and quotes not in value[3:]:
                closing = quotes
        depth = max(0, _depth(value)) if not closing else 0
    return lines


def _depth(text: str) -> int:
    bare = re.sub(r"\"(\\.|[^\"\\])*\"|'[^']*'", "", text).split("#")[0]
    return bare.count("[") + bare.count("{") - bare.count("]") - bare.count("}")
