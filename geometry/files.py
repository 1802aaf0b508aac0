"""Writing files so that they appear complete or not at all."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from pathlib import Path

from .errors import FileError

__all__ = ["is_there", "make_folder", "write_file", "write_files"]


def is_there(path: str | Path) -> bool:
    """Whether a file is there that can be opened; False for a name that no disk takes, or a folder closed to us."""
    # Path.is_file raises for such names.
    return os.path.isfile(path)  # noqa: PTH113


def make_folder(path: str | Path) -> Path:
    """Make a folder and those above it.

    Raises
    ------
    FileError
        It cannot be made.
    """
    folder = Path(path)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(f"{folder}: the folder cannot be made ({error.strerror or error})") from None
    return folder


def write_file(path: str | Path, data: bytes) -> None:
    """Write bytes to a file; an old file stays until the new one is complete.

    Raises
    ------
    FileError
        It cannot be written; nothing is left behind.
    """
    write_files({Path(path): data})


def write_files(contents: Mapping[Path, bytes] | Iterable[tuple[Path, bytes]]) -> tuple[Path, ...]:
    """Write several files, all or none: old files stay until all new ones are complete.

    All are first written beside their places. Only then do they take them, one by one, while a second name keeps each
    old file; should one not get its place, those before it give theirs back.

    Parameters
    ----------
    contents : what goes into each file; of an iterator each is asked for when those before it are on the disk

    Returns
    -------
    tuple of Path, in the same order

    Raises
    ------
    FileError
        One cannot be written; then no file is new, changed or gone, and nothing is left behind.
    """
    written: dict[Path, Path] = {}
    try:
        for file, data in contents.items() if isinstance(contents, Mapping) else contents:
            if file not in written:
                written[file] = _beside(file)
            _fill(file, written[file], data)
        _take_places(written)
    finally:
        for new in written.values():
            new.unlink(missing_ok=True)
    return tuple(written)


def _beside(file: Path) -> Path:
    """A new empty file in the same folder."""
    try:
        handle, name = tempfile.mkstemp(prefix=f".{file.name}.", dir=file.parent)
        os.close(handle)
    except OSError as error:
        raise _cannot(file, error) from None
    return Path(name)


def _fill(file: Path, new: Path, data: bytes) -> None:
    try:
        new.write_bytes(data)
        new.chmod(_mode())
    except OSError as error:
        raise _cannot(file, error) from None


def _take_places(written: Mapping[Path, Path]) -> None:
    """Put new files into their places, or leave all as it was."""
    old: dict[Path, Path] = {}
    done: list[Path] = []
    try:
        for file, new in written.items():
            if len(written) > 1 and file.is_file():
                old[file] = _kept(file)
            try:
                os.replace(new, file)
            except OSError as error:
                raise _cannot(file, error) from None
            done.append(file)
    finally:
        if len(done) < len(written):
            for file in reversed(done):
                _give_back(file, old.pop(file, None))
        for kept in old.values():
            kept.unlink(missing_ok=True)


def _give_back(file: Path, kept: Path | None) -> None:
    """Undo what was put into a place; what was there before comes back."""
    try:
        if kept is None:
            file.unlink(missing_ok=True)
        else:
            os.replace(kept, file)
    except OSError as error:
        was = f"; what was there is in {kept}" if kept is not None else ""
        raise FileError(f"{file}: is new, and cannot be undone ({error.strerror or error}){was}") from None


def _kept(file: Path) -> Path:
    """A second name for an old file, or a copy where the disk knows no second names."""
    kept = _beside(file)
    try:
        kept.unlink()
        try:
            os.link(file, kept)
        except OSError:
            shutil.copy2(file, kept)
    except OSError as error:
        kept.unlink(missing_ok=True)
        raise _cannot(file, error) from None
    return kept


def _cannot(file: Path, error: OSError) -> FileError:
    return FileError(f"{file}: cannot be written ({error.strerror or error})")


def _mode() -> int:
    """The permissions a new file would have; a temporary file is made private."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
