"""Changing what a description says: sizes of a mechanism, the page, its stocks, the title, the limits; a new mechanism.

Each function takes a description and returns another one, read and checked; the old one stays. The text stays to the
letter except for what changes.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Set
from dataclasses import replace
from itertools import count
from typing import Any

import tomlkit

from ..changes import spec_of
from ..description.data import Description, MechanismSpec
from ..description.locate import entries, key_lines
from ..description.reader import parse_description, reread_mechanism
from ..description.values import LONGEST_NAME, NAME, too_long
from ..description.writer import change_mechanism
from ..errors import DescriptionError, HingeleafError
from .sides import sided_edits
from .tables import Edits, changed_lines, new_table, places_of, table_end

__all__ = [
    "add_mechanism",
    "edited",
    "free_id",
    "plain",
    "refuse_id",
    "reread",
    "set_checks",
    "set_page",
    "set_stock",
    "set_title",
    "set_values",
    "with_tables",
]

_TAKEN = ("page", "spine")


def reread(description: Description, text: str) -> Description:
    """The description that another text gives, with the same name and folder.

    Raises
    ------
    DescriptionError
        The text is not sound.
    """
    return parse_description(text, source=description.source, folder=description.folder)


def set_values(description: Description, mechanism_id: str, values: Mapping[str, Any]) -> Description:
    """The description with other values for some keys of one mechanism.

    Only that mechanism's table is read anew, so that a hand can drag a size in a book of a hundred mechanisms.

    Parameters
    ----------
    description : as read
    mechanism_id : its id
    values : key to new value, mm or degrees; None takes the key out. A key of one side, such as angle_left, leaves
        the other side as it is; a key of both sides takes out those of one

    Returns
    -------
    Description: as if the changed text were read; the other mechanisms are the same objects, unless their lines moved

    Raises
    ------
    HingeleafError
        There is no such mechanism.
    DescriptionError
        The changed description is not sound.
    """
    spec = spec_of(description, mechanism_id)
    return edited(description, {mechanism_id: sided_edits(spec, values)})


def edited(description: Description, edits: Mapping[str, Edits]) -> Description:
    """The description with tables of mechanisms changed; see set_values.

    Parameters
    ----------
    description : as read
    edits : by the mechanism's id, what is to change in its table
    """
    if len(edits) == 1:
        ((name, edit),) = edits.items()
        whole = bool({"kind", "id"} & (set(edit.values) | set(edit.renames)))
        return _edited_one(description, name, edit, whole=whole)
    lines = description.text.split("\n")
    for spec in sorted(description.mechanisms, key=lambda spec: -spec.lines.get("", 0)):
        if spec.id in edits:
            head = _head(description, spec)
            end = table_end(lines, head)
            lines[head:end] = changed_lines(lines[head:end], edits[spec.id])
    return reread(description, "\n".join(lines)) if edits else description


def _head(description: Description, spec: MechanismSpec) -> int:
    if "" not in spec.lines:
        raise HingeleafError(f"{description.source}: {spec.place()} must be a table that begins with [[mechanism]]")
    return spec.lines[""] - 1


def _edited_one(description: Description, name: str, edit: Edits, *, whole: bool) -> Description:
    spec = spec_of(description, name)
    if "" not in spec.lines:
        return _edited_in_place(description, spec, edit)
    lines, head = description.text.split("\n"), spec.lines[""] - 1
    end = table_end(lines, head)
    table = changed_lines(lines[head:end], edit)
    text = "\n".join([*lines[:head], *table, *lines[end:]])
    index = description.mechanisms.index(spec)
    changed = None if whole else _reread_table(description, index, table, head)
    if changed is None:
        # Whatever is wrong is told as it is when the whole is read.
        return reread(description, text)
    moved = len(table) - (end - head)
    others = [_moved(item, head, moved) for item in description.mechanisms]
    others[index] = changed
    return replace(description, text=text, mechanisms=tuple(others))


def _reread_table(description: Description, index: int, table: list[str], head: int) -> MechanismSpec | None:
    """A mechanism read from its table's lines, which begin on a line counted from 0; None where they are not sound."""
    text = "\n".join(table)
    try:
        data = tomllib.loads(text.removesuffix("\r"))["mechanism"][0]
        lines = {key: head + line for (_, _, key), line in key_lines(text).items()}
        return reread_mechanism(description, index, data, lines)
    except (tomllib.TOMLDecodeError, DescriptionError):
        return None


def _moved(spec: MechanismSpec, below: int, by: int) -> MechanismSpec:
    """The mechanism with its lines moved, if it stands below a line."""
    if by == 0 or spec.lines[""] - 1 <= below:
        return spec
    return replace(spec, lines={key: line + by for key, line in spec.lines.items()})


def _edited_in_place(description: Description, spec: MechanismSpec, edit: Edits) -> Description:
    """The same for a mechanism that is an item of an inline list."""
    values = dict.fromkeys(edit.renames) | dict(edit.values)
    values |= {new: _raw(spec.values[old]) for old, new in edit.renames.items()}
    return change_mechanism(description, spec.id, values)


def _raw(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def add_mechanism(
    description: Description, kind: str, mechanism_id: str, values: Mapping[str, Any], *, after: str | None = None
) -> Description:
    """The description with one more mechanism.

    Parameters
    ----------
    description : as read
    kind, mechanism_id : of the new one; the id must be free, see free_id
    values : its keys; those of value None are left out
    after : the mechanism under which it is written; by default the last

    Raises
    ------
    HingeleafError
        There is no mechanism of the id after which it is to stand.
    DescriptionError
        The new mechanism is not sound, or its id is taken.
    """
    return with_tables(description, [{"kind": kind, "id": mechanism_id, **values}], after=after)


def with_tables(
    description: Description, tables: list[dict[str, Any]] | list[list[str]], *, after: str | None = None
) -> Description:
    """The description with more mechanisms, each its keys with kind and id, or its table's lines."""
    description = plain(description)
    lines = description.text.split("\n")
    end = "\r" if lines[0].endswith("\r") else ""
    places = places_of(description)
    if after is not None:
        spec_of(description, after)
    last = places[after].last if after is not None else max((place.last for place in places.values()), default=None)
    if last is None:
        last = max(number for number, line in enumerate(lines) if line.strip() or number == 0)
    if end and not lines[last].endswith(end):
        lines[last] += end
    new: list[str] = []
    for table in tables:
        rows = (
            new_table(table, end=end) if isinstance(table, dict) else [line.removesuffix("\r") + end for line in table]
        )
        new += [end, *rows]
    rest = lines[last + 1 :] or [""]
    return reread(description, "\n".join([*lines[: last + 1], *new, *rest]))


def plain(description: Description) -> Description:
    """The description with its mechanisms written as tables of their own, if they are in an inline list."""
    if all("" in spec.lines for spec in description.mechanisms):
        return description
    document = tomlkit.parse(description.text)
    tables: list[dict[str, Any]] = document.pop("mechanism").unwrap()
    lines = tomlkit.dumps(document).rstrip("\n").split("\n")
    for table in tables:
        lines += ["", *new_table(table)]
    return reread(description, "\n".join([*lines, ""]))


def free_id(description: Description, stem: str, taken: Set[str] = frozenset()) -> str:
    """An id that no mechanism has yet: the stem, or with a number, v-fold-2.

    Parameters
    ----------
    description : as read
    stem : a kind, or an id whose number is counted on
    taken : ids that are not to be given either
    """
    taken = {spec.id for spec in description.mechanisms} | set(_TAKEN) | taken
    if stem not in taken:
        return stem
    root, _, number = stem.rpartition("-")
    stem = root if root and number.isdecimal() else stem
    return next(name for name in (_numbered(stem, number) for number in count(2)) if name not in taken)


def _numbered(stem: str, number: int) -> str:
    """A name with a number, no longer than names are."""
    end = f"-{number}"
    return f"{stem[: LONGEST_NAME - len(end)]}{end}"


def refuse_id(description: Description, name: str) -> None:
    """HingeleafError where a mechanism cannot bear a name: it is ill-formed, reserved or taken."""
    if not NAME.match(name) or name in _TAKEN:
        raise HingeleafError(
            f'"{name}" is no name for a mechanism; use letters, digits, - and _, beginning with a letter, and not page '
            f"or spine"
        )
    if too_long(name):
        raise HingeleafError(f'"{name[:20]}..." {too_long(name)}')
    if any(spec.id == name for spec in description.mechanisms):
        raise HingeleafError(f'there is a mechanism "{name}" already; give each its own name')


def set_title(description: Description, title: str) -> Description:
    """The description with another title; DescriptionError where it is empty."""
    return _set_in(description, "", {"title": title})


def set_page(description: Description, values: Mapping[str, Any]) -> Description:
    """The description with other values for keys of its page; None takes a key out.

    Raises
    ------
    DescriptionError
        The changed description is not sound.
    """
    return _set_in(description, "page", values)


def set_stock(description: Description, name: str, values: Mapping[str, Any]) -> Description:
    """The description with other values for keys of a stock, which is made if there is none of that name.

    Raises
    ------
    DescriptionError
        The changed description is not sound.
    """
    return _set_in(description, f"stock.{name}", values)


def set_checks(description: Description, values: Mapping[str, Any]) -> Description:
    """The description with other limits for its checks; None takes one out, so that its default holds.

    Raises
    ------
    DescriptionError
        The changed description is not sound.
    """
    return _set_in(description, "checks", values)


def _set_in(description: Description, table: str, values: Mapping[str, Any]) -> Description:
    """The description with keys of one table that is no mechanism changed; the table is made where there is none."""
    lines = description.text.split("\n")
    end = "\r" if lines[0].endswith("\r") else ""
    heads = [entry for entry in entries(lines) if entry.table is not None]
    first = heads[0].first if heads else len(lines)
    if not table:
        # The top of the file has no head; a line stands in for it.
        lines[:first] = changed_lines([end, *lines[:first]], Edits(values))[1:]
    elif head := next((entry for entry in heads if entry.table == table), None):
        stop = table_end(lines, head.first)
        lines[head.first : stop] = changed_lines(lines[head.first : stop], Edits(values))
    else:
        before = next((entry.first for entry in heads if entry.table == "mechanism"), None)
        at = len(lines) if before is None else before
        lines[at:at] = [*new_table(values, f"[{table}]", end), end]
    return reread(description, "\n".join(lines))
