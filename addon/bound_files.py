"""The files that a bound book is saved as, no two of which may take the same place."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path, PurePosixPath

from .geometry.errors import FileError

__all__ = ["BOOK_FILE", "SavedFiles", "content_of", "distinct_files", "free_name", "place_of"]

#: Name of the file of a bound book until it is saved under another.
BOOK_FILE = "book.toml"


class SavedFiles:
    """What has to be written so that all files of a book are in their places.

    Parameters
    ----------
    replace : whether files that are there already and hold something else may be replaced

    Attributes
    ----------
    files : what goes into each; without those that are there already as they are to be
    """

    def __init__(self, *, replace: bool) -> None:
        self.files: dict[Path, bytes] = {}
        self._replace = replace
        self._taken: dict[str, tuple[bytes, str]] = {}

    def add(self, file: Path, data: bytes, owner: str, *, may_replace: bool = False) -> None:
        """Note a file.

        Parameters
        ----------
        file, data : where it is put, and what is in it
        owner : what it belongs to, for messages
        may_replace : whether what is there is an earlier state of the same

        Raises
        ------
        FileError
            Something else of the book has that place, or another file is there and may not be replaced.
        """
        known, other = self._taken.setdefault(place_of(file), (data, owner))
        if known != data:
            raise FileError(
                f"{file}: {other} and {owner} have different files of this name; "
                "assign one of them again from a file with another name, then save the book"
            )
        if file.is_file() and content_of(file) == data:
            return
        if file.is_file() and not (may_replace or self._replace):
            raise FileError(f"{file}: another file is there; tick Replace Files, or choose another folder")
        self.files[file] = data


def place_of(file: Path | str) -> str:
    """What two files of one place have in common, also on a disk that takes small and capital letters for the same."""
    return os.path.normpath(file).replace("\\", "/").casefold()


def content_of(file: Path) -> bytes:
    """What is in a file; FileError where it cannot be read."""
    try:
        return file.read_bytes()
    except OSError as error:
        raise FileError(f"{file}: cannot be read ({error.strerror or error}); choose another folder or file") from None


def distinct_files(files: Sequence[str], texts: Sequence[str], book_file: str) -> list[str]:
    """Names for the files of a book's spreads, no one of which is for two different texts.

    Parameters
    ----------
    files : the names that they have, from the front; one may come twice
    texts : of the descriptions
    book_file : the name of the book's own file

    Examples
    --------
    >>> distinct_files(["sea.toml", "sea.toml", "Sea.toml"], ["calm", "calm", "storm"], "book.toml")
    ['sea.toml', 'sea.toml', 'Sea-2.toml']
    """
    found: list[str] = []
    known: dict[str, str] = {}
    for name, text in zip(files, texts, strict=True):
        if known.setdefault(place_of(name), text) != text:
            name = free_name(name, [*files, *found, book_file])
            known[place_of(name)] = text
        found.append(name)
    return found


def free_name(name: str, taken: Sequence[str]) -> str:
    """A spread's file name that is not taken, nor the book's own."""
    path, number = PurePosixPath(name or "spread.toml"), 1
    known = {place_of(item) for item in (*taken, BOOK_FILE)}
    found = path.with_suffix(".toml")
    while place_of(str(found)) in known:
        number += 1
        found = path.with_name(f"{path.stem}-{number}.toml")
    return str(found)
