"""Reading the tables of a file: every key against its field, every problem with its place and line."""

from __future__ import annotations

import os
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from ..errors import HingeleafError, Problem
from .fields import Field, expand
from .values import check_value

__all__ = ["TableReader"]

#: Of a name too long for any file so much is shown.
_LONGEST_SHOWN = 40


class TableReader:
    """Collects problems while it reads.

    Parameters
    ----------
    text : of the file
    source : its name for messages
    folder : where files that it names are looked for
    lines : (table, index, key) to line, counted from 1
    """

    def __init__(self, text: str, source: str, folder: Path, lines: Mapping[tuple[str, int, str], int]) -> None:
        self.text, self.source, self.folder, self.lines = text, source, folder, lines
        self.problems: list[Problem] = []

    def line(self, table: str, index: int, key: str) -> int | None:
        """Line of a key, or of its table's head."""
        return self.lines.get((table, index, key), self.lines.get((table, index, "")))

    def problem(self, place: str, message: str, line: int | None) -> None:
        """Note one."""
        self.problems.append(Problem(place, message, line))

    def table(
        self,
        table: Mapping[str, Any],
        fields: tuple[Field, ...],
        name: str,
        index: int,
        place: str,
        *,
        extra: tuple[str, ...] = (),
        hints: Mapping[str, str] | None = None,
    ) -> dict[str, Any]:
        """Check every key of one table; returns the values that are right."""
        keys = expand(fields)
        values: dict[str, Any] = {}
        for key, value in table.items():
            line = self.line(name, index, key)
            where = f"{place}, {key}" if name else key
            if key not in keys:
                near = get_close_matches(key, [*keys, *extra], 1)
                hint = (hints or {}).get(key) or (
                    f"did you mean {near[0]}?" if near else f"known are {', '.join(sorted([*keys, *extra]))}"
                )
                self.problem(where, f"is no key here; {hint}", line)
                continue
            try:
                values[key] = check_value(keys[key], value)
            except HingeleafError as error:
                self.problem(where, str(error), line)
        for field in fields:
            given = {field.name, f"{field.name}_left", f"{field.name}_right"} if field.sided else {field.name}
            if field.default is None and not given & set(table):
                self.problem(place, f"needs {field.name} ({field.meaning})", self.line(name, index, ""))
            if field.sided and given <= set(table):
                message = f"is overruled by {field.name}_left and {field.name}_right; leave one of the three out"
                self.problem(f"{place}, {field.name}", message, self.line(name, index, field.name))
        return values

    def check_format(self, values: Mapping[str, Any]) -> None:
        """Note a version of the format that is not this one."""
        if "format" in values and values["format"] != 1:
            later = (
                "; a later Hingeleaf wrote it: update this one, which may not know what else it says here"
                if values["format"] > 1
                else ""
            )
            message = f"is {values['format']:g}; this version reads format 1{later}"
            self.problem("format", message, self.line("", 0, "format"))

    def below(self, name: str, place: str, line: int | None, *, beside: str) -> Path | None:
        """Absolute path of a file that a key names; it must lie in the own file's folder or below."""
        # Not Path.resolve, which raises for a link to itself on some Python.
        path = Path(os.path.realpath(self.folder / name)) if "\0" not in name else self.folder
        if Path(name).is_absolute() or not path.is_relative_to(self.folder) or path == self.folder:
            self.problem(place, f'"{name}" must be a file beside {beside} or in a folder below', line)
            return None
        try:
            path.is_file()
        except PermissionError:
            # A folder closed to us; whoever looks for the file says so.
            return path
        except OSError as error:
            short = name if len(name) <= _LONGEST_SHOWN else f"{name[:_LONGEST_SHOWN]}..."
            self.problem(place, f'"{short}" cannot be the name of a file ({error.strerror or error})', line)
            return None
        return path
