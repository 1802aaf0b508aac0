"""Reading a book description strictly: every problem is found and reported at once, with its place."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from ..assembly import assemble
from ..description.data import Description
from ..description.locate import key_lines
from ..description.reader import describes_book, parsed, read_description, read_text
from ..description.table_reader import TableReader
from ..errors import DescriptionError, FileError, HingeleafError, Problem
from ..files import is_there
from ..spread import Spread
from .binding import Binding, bind
from .data import BookDescription, Cover
from .fields import BOOK_TOP, COVER, SPREAD

__all__ = ["MOST_SPREADS", "is_book", "names_book", "parse_book", "read_book", "read_bound", "read_spreads"]

#: A bound book with more leaves than this is a mistake in the file, not a book.
MOST_SPREADS = 64
_HEAD = re.compile(r"^\s*\[\[\s*spread\s*\]\]", re.MULTILINE)
_HINTS = {
    "page": "the pages are described in the spreads' own files",
    "stock": "the card is described in the spreads' own files",
    "mechanism": "mechanisms are described in the spreads' own files",
    "checks": "the limits are set in the spreads' own files",
    "board": "write it below [cover]",
    "square": "write it below [cover]",
    "file": "write it below [[spread]]",
}


def is_book(text: str) -> bool:
    """Whether a text describes a bound book, and not one spread.

    Examples
    --------
    >>> is_book('format = 1\\n[[spread]]\\nfile = "sea.toml"\\n'), is_book('format = 1\\n[page]\\nsize = "A5"\\n')
    (True, False)
    """
    try:
        return describes_book(tomllib.loads(text.removeprefix("\ufeff")))
    except (ValueError, RecursionError):
        # What is wrong with it is said by whoever reads it.
        return _HEAD.search(text) is not None


def names_book(path: str | Path) -> bool:
    """Whether a file describes a bound book, and not one spread; FileError where it cannot be read.

    A pipe is not looked into, for it can be read only once: it is taken for a spread.
    """
    return is_there(path) and is_book(read_text(Path(path)))


def read_book(path: str | Path) -> BookDescription:
    """Read a book file; the spreads' own files are only looked for, not read.

    Parameters
    ----------
    path : a TOML file

    Returns
    -------
    BookDescription

    Raises
    ------
    FileError
        The file cannot be read.
    DescriptionError
        It can be read but not bound; carries every problem.
    """
    file = Path(path)
    return parse_book(read_text(file), source=file.name, folder=file.resolve().parent)


def parse_book(text: str, *, source: str = "book", folder: Path | None = None, look: bool = True) -> BookDescription:
    """Read a book description from its text; see read_book. Unless told to look, its spreads may be elsewhere."""
    data = parsed(text, source)
    if not describes_book(data):
        message = (
            "describes one spread; a bound book names the files of its spreads, each below [[spread]] with "
            'file = "NAME.toml"'
            if data.keys() & {"page", "mechanism"}
            else 'needs at least one spread; write [[spread]] and below it file = "NAME.toml"'
        )
        raise DescriptionError([Problem("the file", message)], source)
    reader = _Reader(text, source, (folder or Path.cwd()).resolve(), key_lines(text))
    reader.look = look
    book = reader.read(data)
    if reader.problems:
        raise DescriptionError(reader.problems, source)
    return book


def read_spreads(book: BookDescription) -> tuple[tuple[Description, ...], tuple[Spread, ...]]:
    """Read and assemble the spreads of a book.

    Raises
    ------
    DescriptionError
        Some cannot be read or built; carries every problem of every one, each with its file's name.
    """
    descriptions: list[Description] = []
    spreads: list[Spread] = []
    problems: list[Problem] = []
    for index, path in enumerate(book.paths):
        try:
            description = read_description(path)
            spreads.append(assemble(description))
            descriptions.append(description)
        except DescriptionError as error:
            problems.extend(_of_spread(book, index, problem) for problem in error.problems)
        except HingeleafError as error:
            problems.append(Problem(book.place(index), str(error), book.line(index)))
    if problems:
        raise DescriptionError(problems, book.source)
    return tuple(descriptions), tuple(spreads)


def read_bound(path: str | Path) -> Binding:
    """Read a book file, read and assemble its spreads, and bind them.

    Parameters
    ----------
    path : a TOML file

    Returns
    -------
    Binding

    Raises
    ------
    FileError
        The file cannot be read.
    DescriptionError
        It cannot be bound; carries every problem of the book and of its spreads.
    """
    book = read_book(path)
    return bind(book, *read_spreads(book))


def _of_spread(book: BookDescription, index: int, problem: Problem) -> Problem:
    """A problem of a spread's file as one of the book."""
    where = f", line {problem.line}" if problem.line is not None else ""
    return Problem(f"{book.files[index]}{where}, {problem.place}", problem.message, book.line(index))


class _Reader(TableReader):
    """Collects problems while it reads."""

    look = True

    def read(self, data: dict[str, Any]) -> BookDescription:
        tables = ("cover", "spread")
        top = {key: value for key, value in data.items() if key not in tables}
        values = self.table(top, BOOK_TOP, "", 0, "top of the file", extra=tables, hints=_HINTS)
        self.check_format(values)
        cover = self.cover(data.get("cover", {}))
        files = self.files(data.get("spread", []))
        title = values.get("title", Path(self.source).stem)
        return BookDescription(title, self.source, self.folder, self.text, cover, files, self.lines)

    def cover(self, data: Any) -> Cover:
        if not isinstance(data, dict):
            self.problem("cover", "must be one table that begins with [cover]", self.line("cover", 0, ""))
            return Cover()
        values = self.table(data, COVER, "cover", 0, "cover")
        plain = Cover()
        art = {key: self.artwork(values, key) for key in ("art_front", "art_back")}
        return Cover(
            values.get("board", plain.board_mm),
            values.get("square", plain.square_mm),
            values.get("color", plain.color),
            values.get("lining", plain.lining),
            **art,
        )

    def artwork(self, values: Mapping[str, Any], key: str) -> str | None:
        """Absolute path of an artwork file; whether it is there is looked at by the check."""
        if key not in values:
            return None
        path = self.below(values[key], f"cover, {key}", self.line("cover", 0, key), beside="the book")
        return None if path is None else str(path)

    def files(self, data: Any) -> tuple[str, ...]:
        if not isinstance(data, list) or not all(isinstance(item, dict) for item in data):
            self.problem("spread", "must be tables that begin with [[spread]]", self.line("spread", 0, ""))
            return ()
        if not data:
            self.problem("spread", 'is missing; write [[spread]] and below it file = "NAME.toml"', None)
        if len(data) > MOST_SPREADS:
            self.problem("spread", f"are {len(data)}; one book takes at most {MOST_SPREADS}", None)
            return ()
        found = []
        for index, table in enumerate(data):
            values = self.table(table, SPREAD, "spread", index, f"spread {index + 1}")
            if "file" in values:
                self.spread_file(values["file"], index)
                found.append(values["file"])
        return tuple(found)

    def spread_file(self, name: str, index: int) -> None:
        """Say what keeps a file from being a spread of this book."""
        place, line = f"spread {index + 1}, file", self.line("spread", index, "file")
        if "\\" in name:
            self.problem(place, f'"{name}" has a \\ in it; write folders with /, e.g. sea/storm.toml', line)
            return
        path = self.below(name, place, line, beside="the book")
        if path is None or not self.look:
            return
        if path == (self.folder / self.source).resolve():
            self.problem(place, f'"{name}" is the book itself; name the file of a spread', line)
            return
        if not is_there(path):
            what = "is a folder" if os.path.isdir(path) else "is not there"  # noqa: PTH112 - Path.is_dir may raise
            self.problem(place, f'"{name}" {what}{self.near(name, path)}', line)
            return
        try:
            text = read_text(path)
        except FileError as error:
            self.problem(place, str(error), line)
            return
        if is_book(text):
            self.problem(place, f'"{name}" is a bound book itself; name the files of its spreads one by one', line)

    def near(self, name: str, path: Path) -> str:
        """A file of nearly that name, for a hint."""
        try:
            beside = sorted(file.name for file in path.parent.glob("*.toml") if is_there(file))
        except OSError:
            return ""
        close = get_close_matches(path.name, [file for file in beside if file != self.source], 1)
        return f"; did you mean {Path(name).with_name(close[0]).as_posix()}?" if close else ""
