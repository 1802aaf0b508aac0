"""Descriptions nearly right: the tables of sound ones with values, keys and tables changed, or their text."""

from __future__ import annotations

import copy
import math
import tomllib
from random import Random
from typing import Any

from geometry.binding.fields import BOOK_TOP, COVER, SPREAD
from geometry.description.fields import PAGE, STOCK, TOP, Field, expand
from geometry.limits import LIMITS
from geometry.mechanisms import KINDS
from tests.fuzz import edges

_DEEPEST = 400
#: All keys there are, by the table in which they stand.
_FIELDS: dict[str, dict[str, Field]] = {
    "": {**expand(TOP), **expand(BOOK_TOP)},
    "page": expand(PAGE),
    "stock": expand(STOCK),
    "checks": expand(LIMITS),
    "cover": expand(COVER),
    "spread": expand(SPREAD),
    **{kind: expand(module.FIELDS) for kind, module in KINDS.items()},
}
_TOKENS = [
    "[", "]", "[[", "]]", "{", "}", "=", '"', '"""', "'", "'''", "#", "\n", "\r", "\r\n", ".", ",", "\0", "\ufeff",
    "[page]",
    "[[mechanism]]", "[stock.card]", "[checks]", "[cover]", "[[spread]]", "format = 2\n", "format = 1\n", "\\u0000",
    "\\",
    "[" * 200, "{a=" * 100, "[[" * 1500, "a.b.c = 1\n", '"" = 1\n', "[a]\n[a]\n", "x" * 3000, "\u202e", "é",
]  # fmt: skip


class Raw(str):
    """A value as it is written."""

    __slots__ = ()


def written(data: dict[str, Any]) -> str:
    """Tables as TOML; what is Raw goes in as it is, wrong or not."""
    lines = [f"{_key(key)} = {_value(value)}" for key, value in data.items() if not _is_table(value)]
    for key, value in data.items():
        if isinstance(value, dict) and all(isinstance(item, dict) for item in value.values()) and value:
            for name, table in value.items():
                lines += [f"[{_key(key)}.{_key(name)}]", *_pairs(table)]
        elif isinstance(value, dict):
            lines += [f"[{_key(key)}]", *_pairs(value)]
        elif _is_table(value):
            for table in value:
                lines += [f"[[{_key(key)}]]", *_pairs(table)]
    return "\n".join(lines) + "\n"


def titled(text: str, title: str, of_last: str) -> str:
    """A text with a title of its own, and one for its last mechanism."""
    head, line, rest = text.partition("\n")
    return f"{head}{line}title = {_quoted(title)}\n{rest}title = {_quoted(of_last)}\n"


def changed(rng: Random, text: str, others: list[str]) -> str:
    """A text with one to some changes: of its tables where it can be read, else as text."""
    for _ in range(rng.choice([1, 1, 2, 3, 6])):
        try:
            data = tomllib.loads(text)
        except (ValueError, RecursionError):
            data = None
        if data is None or rng.random() < 0.15:
            text = _as_text(rng, text)
        else:
            try:
                text = written(_tables(rng, data, others))
            except RecursionError:
                text = _as_text(rng, text)
    return text


def _is_table(value: Any) -> bool:
    return isinstance(value, dict) or (
        isinstance(value, list) and bool(value) and all(isinstance(item, dict) for item in value)
    )


def _pairs(table: dict[str, Any]) -> list[str]:
    return [f"{_key(key)} = {_value(value)}" for key, value in table.items()]


def _key(key: str) -> str:
    plain = key and key.isascii() and all(letter.isalnum() or letter in "-_" for letter in key)
    return key if plain else _quoted(key)


def _quoted(text: str) -> str:
    found = ['"']
    for letter in text:
        code = ord(letter)
        bare = (code >= 0x20 and letter not in '"\\' and code != 0x7F) and not 0xD800 <= code < 0xE000
        found.append(letter if bare else f"\\u{code:04x}")
    return "".join([*found, '"'])


def _value(value: Any, depth: int = 0) -> str:
    if isinstance(value, Raw):
        return str(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, float):
        return "nan" if math.isnan(value) else ("inf" if value > 0 else "-inf") if math.isinf(value) else repr(value)
    if isinstance(value, list) and depth < _DEEPEST:
        return "[" + ", ".join(_value(item, depth + 1) for item in value) + "]"
    if isinstance(value, dict) and depth < _DEEPEST:
        return "{" + ", ".join(f"{_key(key)} = {_value(item, depth + 1)}" for key, item in value.items()) + "}"
    return str(value)[:5000]


def _fields_of(name: str, table: dict[str, Any]) -> dict[str, Field]:
    if name == "mechanism":
        return _FIELDS.get(str(table.get("kind")), _FIELDS["v-fold"])
    return _FIELDS.get(name, {})


def _some_table(rng: Random, data: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    found = [("", data)]
    for key, value in data.items():
        tables = value if isinstance(value, list) else [value]
        for table in tables:
            if not isinstance(table, dict):
                continue
            inner = [item for item in table.values() if isinstance(item, dict)] if key == "stock" else []
            found += [(key, item) for item in inner or [table]]
    return rng.choice(found[1:] or found) if rng.random() < 0.9 else found[0]


def _names(data: dict[str, Any]) -> list[str]:
    tables = data.get("mechanism", [])
    own = [str(table.get("id")) for table in tables if isinstance(table, dict)] if isinstance(tables, list) else []
    parts = ["", ".left", ".right", ".middle", ".glue", ".tab", ".top", ".start", ".end", ".0", ".1"]
    return ["spine", "page.left", "page.right", *(name + part for name in own for part in parts)]


def _new_value(rng: Random, field: Field | None, old: Any, data: dict[str, Any]) -> Any:
    """A value for a key: mostly of its type and near or at an edge, sometimes of another."""
    if rng.random() < 0.12 or field is None:
        return rng.choice([Raw(edges.number(rng)), edges.text(rng), [], {}, [[]], True, [Raw(edges.number(rng))] * 3])
    kind = field.type
    if kind in ("number", "length", "angle"):
        limits = [limit for limit in (field.low, field.high) if limit is not None]
        known = isinstance(old, (int, float)) and abs(old) < 1e300
        pool = [edges.number(rng), edges.near(rng, float(old)) if known else "20"]
        return Raw(rng.choice([*pool, *(repr(float(limit)) for limit in limits)]))
    if kind in ("numbers", "lengths", "point", "size"):
        if kind == "size" and rng.random() < 0.3:
            return rng.choice(["A5", "A4", "A10", "A11", "B5 landscape", "letter", "A-1", "a5", "A" + "9" * 20])
        count = 2 if kind in ("point", "size") and rng.random() < 0.9 else rng.choice([0, 1, 2, 3, 4, 5, 200])
        return [Raw(edges.number(rng)) for _ in range(count)]
    if kind == "choice":
        return rng.choice([*field.choices, *field.choices, edges.text(rng)])
    if kind == "switch":
        return rng.random() < 0.5
    if kind == "name":
        return rng.choice([*_names(data), *_names(data), edges.text(rng)])
    if kind in ("line", "outline"):
        return outline(rng)
    if kind == "outlines":
        return [outline(rng) for _ in range(rng.choice([0, 1, 1, 2, 30]))]
    return edges.text(rng)


def outline(rng: Random) -> Any:
    """An outline or a line: points or path data."""
    if rng.random() < 0.5:
        count = rng.choice([0, 1, 2, 3, 3, 4, 8, 500])
        scale = rng.choice([1e-3, 10, 50, 1e3, 1e6])
        points = [[round(rng.uniform(-scale, scale), 3), round(rng.uniform(-scale, scale), 3)] for _ in range(count)]
        if points and rng.random() < 0.2:
            points[rng.randrange(count)] = [Raw(edges.number(rng)), Raw(edges.number(rng))]
        return points
    return path_data(rng)


def path_data(rng: Random) -> str:
    """Path data in SVG's syntax, mostly right."""
    wants = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}
    words = ["M 0 0"]
    for _ in range(rng.choice([1, 2, 3, 5, 9])):
        letter = rng.choice(list(wants))
        count = wants[letter] + (rng.choice([0, 0, 0, 0, 1, -1]) if wants[letter] else 0)
        drawn = [
            edges.number(rng) if rng.random() < 0.1 else f"{rng.uniform(-60, 60):.2f}" for _ in range(max(count, 0))
        ]
        if letter == "A" and len(drawn) >= 5:
            drawn[3], drawn[4] = rng.choice("01"), rng.choice("01")
        words += [letter.lower() if rng.random() < 0.3 else letter, *drawn]
    return rng.choice([" ", ","]).join(words)


def _tables(rng: Random, data: dict[str, Any], others: list[str]) -> dict[str, Any]:
    data = copy.deepcopy(data)
    name, table = _some_table(rng, data)
    fields = _fields_of(name, table)
    keys = [key for key in table if not _is_table(table[key])]
    what = rng.random()
    if what < 0.5 and keys:
        key = rng.choice(keys)
        table[key] = _new_value(rng, fields.get(key), table[key], data)
    elif what < 0.68 and fields:
        key = rng.choice(list(fields))
        table[key] = _new_value(rng, fields[key], None, data)
    elif what < 0.74 and keys:
        del table[rng.choice(keys)]
    elif what < 0.78:
        table[edges.text(rng)] = Raw(edges.number(rng))
    elif what < 0.82 and keys:
        table[rng.choice(keys)] = edges.text(rng)
    elif what < 0.84 and name == "mechanism":
        table["kind"] = rng.choice(list(KINDS))
    elif what < 0.86 and isinstance(data.get(name), list):
        data[name].append(copy.deepcopy(table))
    else:
        _grafted(rng, data, others)
    return data


def _grafted(rng: Random, data: dict[str, Any], others: list[str]) -> None:
    """Tables of another description among these, standing on whatever there is."""
    other = tomllib.loads(rng.choice(others))
    for key in ("mechanism", "spread"):
        given = other.get(key)
        if not given or not isinstance(data.setdefault(key, []), list):
            continue
        table = copy.deepcopy(rng.choice(given))
        if "id" in table and rng.random() < 0.9:
            table["id"] = f"{table['id']}-{rng.randrange(1000)}"
        for host in ("fold", "panel"):
            if host in table and rng.random() < 0.7:
                table[host] = rng.choice(_names(data))
        data[key].append(table)


def _as_text(rng: Random, text: str) -> str:
    place = rng.randrange(len(text) + 1)
    what = rng.randrange(5)
    if what == 0:
        return text[:place] + rng.choice(_TOKENS) + text[place:]
    if what == 1:
        return text[:place] + text[place + rng.choice([1, 1, 5, 50]) :]
    lines = text.splitlines(keepends=True) or [""]
    line = rng.randrange(len(lines))
    if what == 2:
        return "".join([*lines[:line], lines[line], lines[line], *lines[line + 1 :]])
    if what == 3:
        return "".join(lines[:line] + lines[line + 1 :])
    head, equals, _ = lines[line].partition("=")
    return "".join([*lines[:line], f"{head}{equals} {edges.number(rng)}\n", *lines[line + 1 :]])


def resized(rng: Random, text: str, others: list[str]) -> str:
    """A text with one number of one mechanism a little other, or a mechanism of another text added."""
    data = tomllib.loads(text)
    if rng.random() < 0.25:
        _grafted(rng, data, others)
    name, table = _some_table(rng, {"mechanism": data.get("mechanism", [])})
    keys = [key for key, value in table.items() if isinstance(value, (int, float)) and not isinstance(value, bool)]
    if name and keys:
        key = rng.choice(keys)
        value = table[key] * rng.choice([1 + 1e-12, 1.001, rng.uniform(0.5, 1.5), rng.uniform(0.9, 1.1)])
        table[key] = rng.choice([value, value, round(value), 90.0, 45.0])
    return written(data)
