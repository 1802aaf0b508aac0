"""Meshes from files: OBJ, STL and PLY, in millimetres as they say."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..errors import FileError
from .data import Mesh
from .obj_file import read_obj
from .ply_file import read_ply
from .reading import read_whole
from .stl_file import read_stl

__all__ = ["MESH_SUFFIXES", "read_mesh"]

_READERS = {".obj": read_obj, ".stl": read_stl, ".ply": read_ply}
#: How the names of files end that can be read.
MESH_SUFFIXES = tuple(_READERS)


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
