"""Artwork files on disk: what is painted over there is shown here, without a click.

A timer looks at the state of each artwork file of each book, and at nothing else. Where one has changed and rests, its
bytes are packed in place of the old ones. That is no step of undo: an undo brings old bytes back, and the next look the
new ones. A file that is gone, or cannot be read, leaves the picture as it was. Where the file of a solid's model has
changed, or one of its materials or pictures, its book is built anew.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import bpy

from .artwork import repack
from .books import is_linked, spreads_of
from .bound_fit import fit_bound
from .carrying import (
    BOUND_KEY,
    TEXT_KEY,
    artwork_names,
    file_of,
    has_origins,
    holds,
    images_of_book,
    is_painted_over,
    model_names,
    own_folder,
)
from .designing import change_book, is_changing, is_edited, read_design, spread_of
from .geometry.artwork import opened_picture
from .geometry.errors import HingeleafError
from .presenting import redraw

__all__ = ["forget_files", "look_at_files", "start_looking", "stop_looking"]

#: How often files are looked at, seconds; and how often where no book has artwork.
_OFTEN_S, _SELDOM_S = 0.5, 2.0

#: What reading a strange file, or changing a book meanwhile, may raise; a timer that raises is never called again.
_FAULTS = (
    *(HingeleafError, OSError, ReferenceError, RuntimeError, TypeError, ValueError, SyntaxError),
    *(struct.error, zlib.error),
)

_State = tuple[str, int, int]
#: By book and name: the path, time and size of the file when it was last dealt with.
_SEEN: dict[tuple[str, str], _State] = {}
#: States that were found once and must be found again, so that no half-written file is read.
_FRESH: dict[tuple[str, str], _State] = {}
#: Books that were built anew for a file that came, with its state: once is enough.
_TRIED: set[tuple[str, Path, _State]] = set()


def start_looking() -> None:
    """Begin to look at files; not where there is no window to show anything in."""
    if not bpy.app.background and not bpy.app.timers.is_registered(_look):
        bpy.app.timers.register(_look, first_interval=_SELDOM_S, persistent=True)


def stop_looking() -> None:
    """Look no more."""
    if bpy.app.timers.is_registered(_look):
        bpy.app.timers.unregister(_look)
    forget_files(altogether=True)


def forget_files(*, altogether: bool = False) -> None:
    """Look at every file as if for the first time, as after an undo; altogether, as in another .blend."""
    _SEEN.clear()
    _FRESH.clear()
    if altogether:
        _TRIED.clear()


def _is_readable(file: Path) -> bool:
    try:
        with file.open("rb"):
            return True
    except OSError:
        return False


def _look() -> float:
    application: Any = bpy.app
    if application.is_job_running("RENDER"):
        # Pictures that are being rendered with stay as they are.
        return _OFTEN_S
    names = look_at_files(bpy.context)
    return _SELDOM_S if names is None else _OFTEN_S


def look_at_files(context: bpy.types.Context) -> tuple[str, ...] | None:
    """Look once at all artwork files, and show what has changed in those that rest.

    Parameters
    ----------
    context : of the window

    Returns
    -------
    names of the files that were read anew, as descriptions have them; None where no book has artwork or models
    """
    read: list[str] = []
    names = list(_named())
    elsewhere = bool(names) and has_origins()
    for root, name in names:
        key, file = None, Path()
        try:
            key = root.name_full, name
            file = file_of(root, name, images_of_book(root).get(name) if elsewhere else None)
            if _rests(key, file) and _show(context, root, name, file):
                read.append(name)
        except _FAULTS:
            # Looked at again once its state changes, as half a picture; or at once, where another program holds it.
            if key is not None and not _is_readable(file):
                _SEEN.pop(key, None)
    models = [(item, name) for item in _books() if item.get(TEXT_KEY) is not None for name in model_names(item)]
    read += _read_models(context, models)
    if read:
        redraw(context)
    return tuple(read) if names or models else None


def _read_models(context: bpy.types.Context, models: Sequence[tuple[bpy.types.Object, str]]) -> list[str]:
    """Build the spreads anew whose models have changed; names of the files that have."""
    read: list[str] = []
    for root, name in models:
        try:
            key, file = (root.name_full, f"model {name}"), own_folder(root) / name
            state = _state(file)
            if state is not None and key not in _SEEN:
                # What is shown was built from this.
                _SEEN[key] = state
            if not _rests(key, file):
                continue
            if is_changing(root) or is_edited(root) or _is_busy(context):
                # A hand is at work: later.
                _SEEN[key] = "", 0, 0
                continue
            change_book(context, root, read_design(root))
            read.append(name)
        except _FAULTS:
            # As it was, until the file changes again.
            continue
    return read


def _books() -> Iterator[bpy.types.Object]:
    """Every book, and bound book, that is one of this file."""
    for item in bpy.data.objects:
        if item.get(TEXT_KEY, item.get(BOUND_KEY)) is not None and not is_linked(item) and item.users_collection:
            yield item


def _named() -> Iterator[tuple[bpy.types.Object, str]]:
    """Every book, and bound book, with each name that it has for artwork."""
    for item in _books():
        for name in artwork_names(str(item.get(TEXT_KEY, item.get(BOUND_KEY)))):
            yield item, name


def _rests(key: tuple[str, str], file: Path) -> bool:
    """Whether a file is in another state than when it was dealt with, and has been so for two looks."""
    state = _state(file)
    if state is None or _SEEN.get(key) == state:
        _FRESH.pop(key, None)
        return False
    if _FRESH.get(key) != state:
        _FRESH[key] = state
        return False
    del _FRESH[key]
    _SEEN[key] = state
    return True


def _state(file: Path) -> _State | None:
    """What tells one state of a file from another; None where it is gone."""
    try:
        found = file.stat()
    except (OSError, ValueError):
        return None
    return str(file), found.st_mtime_ns, found.st_size


def _show(context: bpy.types.Context, root: bpy.types.Object, name: str, file: Path) -> bool:
    """Show what is in a file now; False where that is shown already, or was painted over in Blender."""
    image = images_of_book(root).get(name)
    if image is None:
        return _appear(context, root, name, file)
    if is_linked(image) or is_painted_over(image) or holds(image, file):
        return False
    repack(image, file)
    return True


def _appear(context: bpy.types.Context, root: bpy.types.Object, name: str, file: Path) -> bool:
    """Put artwork on whose file was not there, or no picture, when its book was built."""
    tried = root.name_full, file, _SEEN[(root.name_full, name)]
    if tried in _TRIED:
        return False
    is_spread = root.get(TEXT_KEY) is not None
    spreads = [root] if is_spread else spreads_of(root)
    if any(is_changing(item) or is_edited(item) for item in spreads) or _is_busy(context):
        # A hand is at work: later.
        del _SEEN[(root.name_full, name)]
        return False
    _TRIED.add(tried)
    with opened_picture(file) as picture:
        picture.load()
    if is_spread:
        change_book(context, root, read_design(root))
    else:
        fit_bound(context, root, spread_of)
    return name in images_of_book(root)


def _is_busy(context: bpy.types.Context) -> bool:
    """Whether an operator is waiting for the hand in any window."""
    return any(len(window.modal_operators) for window in context.window_manager.windows)
