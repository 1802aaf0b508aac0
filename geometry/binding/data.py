"""A book description as data: what a book file says, checked but not yet bound."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

__all__ = ["BookDescription", "Cover"]


@dataclass(frozen=True)
class Cover:
    """The two boards and what they are covered with.

    Parameters
    ----------
    board_mm : thickness of a board
    square_mm : how far boards reach beyond the pages at head, foot and fore edge
    color, lining : sRGB 0..1; the outside, and the inside about the pages
    art_front, art_back : artwork of the boards' outsides (absolute paths), None where plain
    """

    board_mm: float = 2.0
    square_mm: float = 2.5
    color: tuple[float, float, float] = (0x7A / 255, 0x2E / 255, 0x26 / 255)
    lining: tuple[float, float, float] = (0xED / 255, 0xE8 / 255, 0xDE / 255)
    art_front: str | None = None
    art_back: str | None = None


@dataclass(frozen=True)
class BookDescription:
    """A whole book file.

    Parameters
    ----------
    title : name of the book
    source : the file's name for messages
    folder : where its spreads and its artwork are looked for
    text : the TOML text it was read from
    cover : its boards
    files : of its spreads, as written, from the front
    lines : (table, index, key) to line in the file, counted from 1
    """

    title: str
    source: str
    folder: Path
    text: str
    cover: Cover
    files: tuple[str, ...]
    lines: Mapping[tuple[str, int, str], int]

    @property
    def paths(self) -> tuple[Path, ...]:
        """The files of its spreads, absolute, from the front."""
        return tuple(Path(os.path.realpath(self.folder / name)) for name in self.files)

    @property
    def names(self) -> tuple[str, ...]:
        """A short name for each spread, no two the same: its file's, with a number where it would come again.

        Examples
        --------
        >>> book = BookDescription("", "", Path(), "", Cover(), ("sea.toml", "land/sea.toml", "sky.toml"), {})
        >>> book.names
        ('sea', 'sea-2', 'sky')
        """
        names: list[str] = []
        for file in self.files:
            stem = name = PurePosixPath(file).stem
            number = 1
            while name in names:
                number += 1
                name = f"{stem}-{number}"
            names.append(name)
        return tuple(names)

    def place(self, index: int) -> str:
        """Place for a message about one spread; index counted from 0."""
        return f'spread {index + 1} "{self.files[index]}"'

    def line(self, index: int) -> int | None:
        """Line of the file name of one spread; index counted from 0."""
        return self.lines.get(("spread", index, "file"), self.lines.get(("spread", index, "")))
