"""Polygons from PLY files, with their colours and pictures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from ..errors import FileError
from ..transforms import Array
from .data import Ints, Mesh, MeshNote, Surface
from .ply_elements import Column, Header, ListColumn, read_elements, read_header
from .reading import colored, found_beside, mesh_of_faces, missing_note

__all__ = ["read_ply"]

_UV_NAMES = (("s", "t"), ("u", "v"), ("texture_u", "texture_v"))
Columns = Mapping[str, Column | ListColumn]


def read_ply(file: Path, data: bytes) -> Mesh:
    """The mesh of a PLY file; elements that are no vertices or faces are left out.

    Parameters
    ----------
    file : named in errors; a picture is looked for in its folder
    data : its bytes

    Raises
    ------
    FileError
        It is no PLY file, is cut off, has no faces, or a face names a vertex that does not exist.

    Notes
    -----
    Source: The PLY Polygon File Format, G. Turk 1994 (recalled); pictures as MeshLab writes them: a comment
    TextureFile,
    and texcoord lists of faces (recalled).
    """
    header = read_header(file, data)
    elements = read_elements(file, data, header)
    vertices = _vertices(file, elements.get("vertex", {}))
    faces = elements.get("face", {})
    lists = next((faces[name] for name in ("vertex_indices", "vertex_index") if name in faces), None)
    if not isinstance(lists, ListColumn) or not len(lists.sizes):
        more = "; its triangle strips are not read, export it with faces" if "tristrips" in elements else ""
        raise FileError(f"{file.name}: has no faces{more}")
    corners = _corners(file, lists, len(vertices))
    mesh = mesh_of_faces(file.stem, vertices, corners, lists.sizes)
    return _covered(file, header, mesh, elements.get("vertex", {}), faces)


def _single(columns: Columns, name: str) -> Column | None:
    column = columns.get(name)
    return None if column is None or isinstance(column, ListColumn) else column


def _together(columns: Columns, names: tuple[str, ...]) -> Array | None:
    """Columns beside each other, or None where one is missing."""
    found = [column for name in names if (column := _single(columns, name)) is not None]
    return np.stack([column.astype(float) for column in found], axis=1) if len(found) == len(names) else None


def _vertices(file: Path, columns: Columns) -> Array:
    places = _together(columns, ("x", "y", "z"))
    if places is None:
        raise FileError(f"{file.name}: has no vertices with x, y and z")
    return places


def _corners(file: Path, lists: ListColumn, known: int) -> Ints:
    numbers = lists.values
    whole = numbers.astype(np.int64)
    wrong = np.flatnonzero((whole != numbers) | (whole < 0) | (whole >= known))
    if len(wrong):
        face = int(np.searchsorted(np.cumsum(lists.sizes), wrong[0], side="right"))
        raise FileError(
            f"{file.name}: face {face} (counted from 0) names vertex {numbers[wrong[0]]:g}, "
            f"but there are {known}, from 0 on"
        )
    return whole


def _covered(file: Path, header: Header, mesh: Mesh, vertex: Columns, face: Columns) -> Mesh:
    """The mesh with a picture where it has places in one, else with the colours of its faces or vertices."""
    picture, notes = _picture(file, header)
    uv = _uv(mesh, vertex, face)
    count = len(mesh.starts) - 1
    if picture is not None and uv is not None:
        surface = Surface(picture.stem, None, str(picture))
        return replace(mesh, surface_of=np.zeros(count, np.int64), surfaces=(surface,), uv=uv, notes=notes)
    colors = _colors(mesh, vertex, face)
    if colors is None:
        return replace(mesh, uv=uv, notes=notes)
    surface_of, surfaces = colored(colors)
    return replace(mesh, surface_of=surface_of, surfaces=tuple(surfaces), uv=uv, notes=notes)


def _picture(file: Path, header: Header) -> tuple[Path | None, tuple[MeshNote, ...]]:
    for comment in header.comments:
        word, _, name = comment.partition(" ")
        if word.lower() == "texturefile" and name.strip():
            picture = found_beside(file.parent, name.strip())
            missing = missing_note("missing-picture", file.name, name.strip(), "it stays without a picture")
            return picture, () if picture is not None else (missing,)
    return None, ()


def _uv(mesh: Mesh, vertex: Columns, face: Columns) -> Array | None:
    lists = face.get("texcoord")
    sizes = np.diff(mesh.starts)
    if isinstance(lists, ListColumn) and np.array_equal(lists.sizes, 2 * sizes):
        return lists.values.astype(float).reshape(-1, 2)
    for names in _UV_NAMES:
        places = _together(vertex, names)
        if places is not None:
            return np.asarray(places[mesh.corners])
    return None


def _colors(mesh: Mesh, vertex: Columns, face: Columns) -> Array | None:
    """(f, 3) float, sRGB 0..1, of each face, or the mean of its vertices; None where there are no colours."""
    for columns in (face, vertex):
        names = next((n for n in (("red", "green", "blue"), ("r", "g", "b")) if n[0] in columns), None)
        colors = None if names is None else _together(columns, names)
        if colors is None or names is None:
            continue
        kind = columns[names[0]]
        if not isinstance(kind, ListColumn) and (kind.dtype.kind != "f" or colors.max(initial=0.0) > 1):
            colors = colors / (65535 if kind.dtype.itemsize == 2 else 255)
        if columns is face:
            return np.asarray(colors)
        sizes = np.diff(mesh.starts)
        of = np.repeat(np.arange(len(sizes)), sizes)
        sums = [np.bincount(of, colors[mesh.corners, axis], minlength=len(sizes)) for axis in range(3)]
        return np.asarray(np.stack(sums, axis=1) / np.maximum(sizes, 1)[:, None])
    return None
