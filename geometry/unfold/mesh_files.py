"""Meshes from files: OBJ, STL and PLY, in millimetres as they say."""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path, PurePosixPath

import numpy as np

from ..errors import FileError
from .data import Mesh
from .obj_file import read_obj
from .ply_file import read_ply
from .reading import read_whole
from .stl_file import read_stl

__all__ = ["MESH_SUFFIXES", "State", "companions", "model_states", "read_mesh", "state_of"]

_READERS = {".obj": read_obj, ".stl": read_stl, ".ply": read_ply}
#: How the names of files end that can be read.
MESH_SUFFIXES = tuple(_READERS)
#: Where an OBJ file names its materials, and these their pictures.
_LIBRARY = re.compile(rb"^\s*mtllib\s+(.+?)\s*$", re.MULTILINE)
_PICTURE = re.compile(rb"^\s*map_Kd\s+(?:.*\s)?(\S+)\s*$", re.MULTILINE | re.IGNORECASE)

#: What tells one state of a file from another: when it was changed, ns, and its size; zeros where there is none.
State = tuple[int, int]


def read_mesh(path: str | Path) -> Mesh:
    """Read a mesh; its numbers are taken as millimetres, and nothing is repaired.

    Parameters
    ----------
    path : an OBJ file (with its MTL file and pictures beside it), a binary or ASCII STL or PLY file

    Raises
    ------
    FileError
        The file cannot be read, says what no mesh can be, or has no faces.
    """
    file = Path(path)
    reader = _READERS.get(file.suffix.lower())
    if reader is None:
        raise FileError(f"{file.name}: is not of a kind that can be read; use one of {', '.join(MESH_SUFFIXES)}")
    data = read_whole(file)
    # damaged numbers are no numbers; facets_of tells of them
    with np.errstate(invalid="ignore", over="ignore"):
        return reader(file, data)


def state_of(file: Path) -> State:
    """The state of a file."""
    try:
        found = file.stat()
    except (OSError, ValueError):
        return 0, 0
    return found.st_mtime_ns, found.st_size


def companions(folder: Path, name: str) -> tuple[str, ...]:
    """The files that belong to a model's file: its materials and their pictures, those that are there.

    Parameters
    ----------
    folder : of a description
    name : of the model's file, as the description has it

    Returns
    -------
    their names, as the description would have them
    """
    here, found = PurePosixPath(name).parent, []
    for library in _named(folder / name, state_of(folder / name), _LIBRARY):
        found.append(str(here / library))
        pictures = _named(folder / found[-1], state_of(folder / found[-1]), _PICTURE)
        found += [str(here / picture.strip('"')) for picture in pictures]
    whole = folder.resolve()
    there = (each for each in dict.fromkeys(found) if (folder / each).is_file())
    # A model may name files anywhere; none outside the description's folder are its own.
    return tuple(each for each in there if (folder / each).resolve().is_relative_to(whole))


def model_states(file: Path) -> tuple[tuple[str, State], ...]:
    """What tells one state of a model from another: each of its files with its state."""
    names = (file.name, *companions(file.parent, file.name))
    return tuple((name, state_of(file.parent / name)) for name in names)


@lru_cache(maxsize=256)
def _named(file: Path, _state: State, pattern: re.Pattern[bytes]) -> tuple[str, ...]:
    """The files that a file in that state names; none where it cannot be read."""
    try:
        return tuple(each.decode() for each in pattern.findall(file.read_bytes()))
    except (OSError, UnicodeDecodeError):
        return ()
