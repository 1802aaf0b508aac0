"""Files of models, packed into a book's root as one ZIP, so that a .blend alone can be changed, checked and printed."""

from __future__ import annotations

import base64
import io
import tomllib
import zipfile
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path, PureWindowsPath
from typing import Any

import bpy

from .geometry.unfold.mesh_files import companions, state_of

__all__ = ["are_models_gone", "models_in", "models_of", "pack_models"]

#: Properties of a book's root: a ZIP with the files of its solids' models, their materials and pictures, by the names
#: that its description has for them, as text: bytes put in place of others end at the first zero; and in which state
#: the files were when they were packed.
_KEY, _STATE_KEY = "hingeleaf_models", "hingeleaf_models_state"
#: More is not unpacked.
_MOST_BYTES = 500_000_000


def models_in(text: str, folder: Path) -> dict[str, Path]:
    """The files of the models that a description names, those that are in a folder, by the description's names."""
    names = [name for name in _named(text) if (folder / name).is_file()]
    return {each: folder / each for name in names for each in (name, *companions(folder, name))}


def models_of(root: bpy.types.Object, text: str, folder: Path) -> Mapping[str, Path | bytes]:
    """The same, with what is packed where a model is not in the folder any more."""
    if are_models_gone(root, text, folder):
        return {**_packed(root), **models_in(text, folder)}
    return models_in(text, folder)


def are_models_gone(root: bpy.types.Object, text: str, folder: Path) -> bool:
    """Whether a model that a description names is packed, but not in the folder any more."""
    return any(not (folder / name).is_file() and name in _packed(root) for name in _named(text))


def pack_models(root: bpy.types.Object, text: str, folder: Path) -> None:
    """Pack the files of models as they are in a folder now; what is gone there stays packed."""
    there = models_in(text, folder)
    state = repr([(name, state_of(path)) for name, path in there.items()])
    if root.get(_STATE_KEY, "[]") == state:
        return
    if are_models_gone(root, text, folder):
        return
    stream = io.BytesIO()
    try:
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, path in sorted(there.items()):
                # Without a time: the same files are the same bytes.
                archive.writestr(zipfile.ZipInfo(name), path.read_bytes(), zipfile.ZIP_DEFLATED)
    except OSError:
        # What cannot be read is told where it is shown; it stays as it was packed.
        return
    root[_KEY], root[_STATE_KEY] = base64.b64encode(stream.getvalue()).decode("ascii"), state


def _packed(root: bpy.types.Object) -> Mapping[str, bytes]:
    held: Any = root.get(_KEY)
    return _read(held) if isinstance(held, str) else {}


@lru_cache(maxsize=16)
def _read(text: str) -> Mapping[str, bytes]:
    try:
        with zipfile.ZipFile(io.BytesIO(base64.b64decode(text))) as archive:
            items = [item for item in archive.infolist() if _is_below(item.filename)]
            if sum(item.file_size for item in items) > _MOST_BYTES:
                return {}
            return {item.filename: archive.read(item) for item in items}
    except (zipfile.BadZipFile, OSError, ValueError):
        return {}


def _is_below(name: str) -> bool:
    """Whether a name stays below the folder that it is put into, on any system: the file may come from anyone."""
    return not PureWindowsPath(name).anchor and ".." not in PureWindowsPath(name).parts


@lru_cache(maxsize=16)
def _named(text: str) -> tuple[str, ...]:
    """The models that a description names."""
    if "model" not in text:
        return ()
    try:
        mechanisms = tomllib.loads(text).get("mechanism", [])
    except (tomllib.TOMLDecodeError, RecursionError, ValueError):
        return ()
    tables = mechanisms if isinstance(mechanisms, list) else []
    named = [table.get("model") for table in tables if isinstance(table, dict)]
    return tuple(name for name in named if isinstance(name, str))
