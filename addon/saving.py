"""Saving a .blend so that it appears complete or not at all."""

from __future__ import annotations

import os
from pathlib import Path

import bpy

from .geometry.errors import FileError

__all__ = ["save_blend"]


def save_blend(path: Path) -> None:
    """Save a compressed copy of the open file.

    Parameters
    ----------
    path : where to

    Raises
    ------
    FileError
        It cannot be written.
    """
    part = path.with_name(f".part-{path.name}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        bpy.ops.wm.save_as_mainfile(filepath=str(part), compress=True, copy=True)
        os.replace(part, path)
    except (OSError, RuntimeError) as error:
        reason = getattr(error, "strerror", None) or str(error).strip()
        raise FileError(f"{path}: the Blender file cannot be written ({reason})") from None
    finally:
        part.unlink(missing_ok=True)
