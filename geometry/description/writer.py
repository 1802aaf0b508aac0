"""Writing a description back: what was read stays as it was written, comments and layout included."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import tomlkit

from ..errors import HingeleafError
from ..files import write_file
from .data import Description
from .reader import parse_description

__all__ = ["change_mechanism", "write_description"]


def write_description(description: Description, path: str | Path) -> None:
    """Write a description to a file, complete or not at all.

    Parameters
    ----------
    description : as read, or as changed by change_mechanism
    path : the file; an old one is replaced

    Raises
    ------
    FileError
        The file cannot be written.
    """
    write_file(path, description.text.encode("utf-8"))


def change_mechanism(description: Description, mechanism_id: str, values: Mapping[str, Any]) -> Description:
    """The description with some keys of one mechanism changed; everything else stays to the letter.

    Parameters
    ----------
    description : as read
    mechanism_id : its id
    values : key to new value; None takes the key out, so that its default holds

    Returns
    -------
    Description, read and checked anew

    Raises
    ------
    HingeleafError
        There is no such mechanism.
    DescriptionError
        The changed description is not sound.

    Examples
    --------
    >>> before = parse_description('''
    ... format = 1
    ... [page]
    ... size = "A5"
    ... [[mechanism]]
    ... kind = "v-fold"
    ... id = "hill"
    ... fold = "spine"
    ... at = 60
    ... angle = 45    # steep
    ... height = 50
    ... ''')
    >>> print(change_mechanism(before, "hill", {"angle": 40}).text.splitlines()[-2])
    angle = 40    # steep
    """
    document = tomlkit.parse(description.text)
    tables: Any = document.get("mechanism", [])
    table = next((item for item in tables if item.get("id") == mechanism_id), None)
    if table is None:
        raise HingeleafError(f'{description.source}: there is no mechanism "{mechanism_id}"')
    for key, value in values.items():
        if value is not None:
            table[key] = value
        elif key in table:
            del table[key]
    return parse_description(tomlkit.dumps(document), source=description.source, folder=description.folder)
