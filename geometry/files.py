"""Writing files so that they appear complete or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from .errors import FileError

__all__ = ["make_folder", "write_file"]


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
    file = Path(path)
    name = None
    try:
        handle, name = tempfile.mkstemp(prefix=f".{file.name}.", dir=file.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        os.chmod(name, _mode())
        os.replace(name, file)
        name = None
    except OSError as error:
        raise FileError(f"{file}: cannot be written ({error.strerror or error})") from None
    finally:
        if name is not None:
            Path(name).unlink(missing_ok=True)


def _mode() -> int:
    """The permissions a new file would have; a temporary file is made private."""
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
