"""What all readers of mesh files share: bytes, text, pictures beside the file, colours as surfaces."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ..errors import FileError
from ..files import is_there
from ..transforms import Array
from .data import Ints, Mesh, MeshNote, Surface

__all__ = ["colored", "decoded", "found_beside", "mesh_of_faces", "missing_note", "read_whole"]

_LARGEST_BYTES = 2_000_000_000
#: With more colours than this they are rounded to so many steps a channel.
_MOST_COLORS, _STEPS = 256, 31


def read_whole(file: Path) -> bytes:
    """All bytes of a file.

    Raises
    ------
    FileError
        It cannot be read, is empty, or is too large.
    """
    try:
        size = file.stat().st_size
        if size > _LARGEST_BYTES:
            raise FileError(f"{file.name}: is larger than {_LARGEST_BYTES / 1e9:g} GB; export it with fewer faces")
        data = file.read_bytes()
    except FileNotFoundError:
        raise FileError(f"{file}: there is no such file") from None
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or error
        raise FileError(f"{file}: cannot be read ({reason})") from None
    if not data.strip():
        raise FileError(f"{file.name}: is empty")
    return data


def decoded(data: bytes) -> str:
    """Text as UTF-8, or as Latin-1 where it is not.

    >>> decoded("Dach".encode()), decoded("Tür".encode("latin-1"))
    ('Dach', 'Tür')
    """
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def found_beside(folder: Path, name: str) -> Path | None:
    """A file that another one names: as it says, seen from its folder, else of that name in the folder; None if
    missing.

    Parameters
    ----------
    folder : of the file that names it
    name : path with slashes of either kind
    """
    slashed = name.replace("\\", "/")
    for candidate in (folder / name, folder / slashed, folder / slashed.rsplit("/", 1)[-1]):
        try:
            if is_there(candidate):
                return candidate
        except ValueError:
            continue
    return None


def missing_note(code: str, named_in: str, name: str, instead: str) -> MeshNote:
    """A warning that a file is missing which another one names."""
    return MeshNote(code, "warning", f'{named_in} names "{name}", which is not there; {instead}.')


def mesh_of_faces(name: str, vertices: Array, corners: Ints, sizes: Ints) -> Mesh:
    """A plain mesh from its corners and the number of corners of each face."""
    return Mesh(name, vertices, corners, np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64))


def colored(colors: Array) -> tuple[Ints, list[Surface]]:
    """Surfaces for colours; very many colours are rounded.

    Parameters
    ----------
    colors : (f, 3) float, sRGB 0..1

    Returns
    -------
    (f,) int, the number of each in the surfaces; the surfaces
    """
    steps = np.round(np.clip(colors, 0, 1) * 255).astype(np.int64)
    kinds, numbers = np.unique(steps, axis=0, return_inverse=True)
    if len(kinds) > _MOST_COLORS:
        coarse = np.round(steps / 255 * _STEPS) / _STEPS * 255
        kinds, numbers = np.unique(np.round(coarse).astype(np.int64), axis=0, return_inverse=True)
    return numbers.reshape(-1), [_color_surface(kind) for kind in kinds.tolist()]


def _color_surface(kind: Sequence[int]) -> Surface:
    red, green, blue = kind
    return Surface(f"#{red:02x}{green:02x}{blue:02x}", (red / 255, green / 255, blue / 255))
