"""Triangles from STL files, binary and ASCII."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..errors import FileError
from ..transforms import Array
from .data import Mesh
from .reading import decoded, mesh_of_faces
from .welding import welded_to

__all__ = ["read_stl"]

_HEAD, _EACH = 84, 50
_TRIANGLE = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")])


def read_stl(file: Path, data: bytes) -> Mesh:
    """The mesh of an STL file; its triangles share the vertices that they repeat exactly.

    Parameters
    ----------
    file : named in errors
    data : its bytes

    Raises
    ------
    FileError
        It is no STL file, is cut off, or has no triangles.

    Notes
    -----
    Source: StereoLithography Interface Specification, 3D Systems 1989 (recalled). Many binary files begin with "solid"
    like ASCII ones, so their length decides.
    """
    count = int.from_bytes(data[80:84], "little") if len(data) >= _HEAD else -1
    if count >= 0 and len(data) == _HEAD + _EACH * count:
        points = _binary(data, count)
    elif _looks_like_text(data):
        points = _ascii(file, data)
    elif count < 0:
        raise FileError(f"{file.name}: is no STL file: it has {len(data)} bytes, a binary one has at least {_HEAD}")
    elif len(data) < _HEAD + _EACH * count:
        held = max(0, (len(data) - _HEAD) // _EACH)
        raise FileError(f"{file.name}: is cut off, or no STL file: it should have {count} triangles and holds {held}")
    else:
        points = _binary(data, count)
    if not len(points):
        raise FileError(f"{file.name}: has no triangles")
    finite = np.nan_to_num(points.reshape(-1, 3), nan=np.inf)
    used, corners = np.unique(welded_to(finite, 0.0), return_inverse=True)
    vertices = points.reshape(-1, 3)[used]
    return mesh_of_faces(file.stem, vertices, corners.reshape(-1), np.full(len(points), 3))


def _binary(data: bytes, count: int) -> Array:
    return np.frombuffer(data, _TRIANGLE, count, _HEAD)["corners"].astype(float)


def _looks_like_text(data: bytes) -> bool:
    head = data[:1000].lstrip().lower()
    return head.startswith(b"solid") and (b"facet" in data[:100_000].lower() or b"endsolid" in data.lower())


def _ascii(file: Path, data: bytes) -> Array:
    """(t, 3, 3) float, corners of all triangles."""
    numbers: list[tuple[float, float, float]] = []
    facet_line = 0
    for line, text in enumerate(decoded(data).splitlines(), 1):
        words = text.split()
        if not words:
            continue
        word = words[0].lower()
        if word == "vertex":
            numbers.append(_vertex(file, line, words))
        elif word == "facet":
            facet_line = line
        elif word in ("endfacet", "endloop") and len(numbers) % 3:
            raise FileError(
                f"{file.name}, line {line}: the facet that begins in line {facet_line} has other than three vertices"
            )
        elif word not in ("endfacet", "endloop", "outer", "solid", "endsolid", "color"):
            raise FileError(f'{file.name}, line {line}: "{words[0][:40]}" is no word of an STL file')
    if len(numbers) % 3:
        raise FileError(f"{file.name}: is cut off in the facet that begins in line {facet_line}")
    return np.array(numbers, dtype=float).reshape(-1, 3, 3)


def _vertex(file: Path, line: int, words: list[str]) -> tuple[float, float, float]:
    try:
        x, y, z = (float(word) for word in words[1:])
    except ValueError:
        raise FileError(f"{file.name}, line {line}: a vertex needs three numbers") from None
    return x, y, z
