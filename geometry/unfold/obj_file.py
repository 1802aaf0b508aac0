"""Polygons from OBJ files, with their materials."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from ..errors import FileError
from ..transforms import Array
from .data import Ints, Mesh, MeshNote, Surface
from .mtl_file import Material, read_materials
from .reading import colored, decoded, found_beside, mesh_of_faces, missing_note

__all__ = ["read_obj"]

#: Free forms, which are no polygons.
_FREE_FORMS = {"curv", "curv2", "surf"}


@dataclass
class _Parts:
    """What has been read so far."""

    points: list[list[float]] = field(default_factory=list)
    colors: dict[int, list[float]] = field(default_factory=dict)
    uv: list[tuple[float, float]] = field(default_factory=list)
    corners: list[int] = field(default_factory=list)
    uv_corners: list[int] = field(default_factory=list)
    sizes: list[int] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    materials: list[int] = field(default_factory=list)
    names: dict[str, int] = field(default_factory=dict)
    libraries: list[tuple[int, str]] = field(default_factory=list)
    free_forms: int = 0


def read_obj(file: Path, data: bytes) -> Mesh:
    """The mesh of an OBJ file: all its objects and groups as one.

    Parameters
    ----------
    file : named in errors; material libraries are looked for in its folder
    data : its bytes

    Raises
    ------
    FileError
        A line cannot be read, a face names a vertex that does not exist, or there is no face.

    Notes
    -----
    Source: Wavefront object files, version 3.0 (recalled).
    """
    parts = _Parts()
    material = -1
    for line, text in _statements(decoded(data)):
        word, _, rest = text.partition(" ")
        if word == "v":
            _vertex(file, line, rest, parts)
        elif word == "f":
            _face(file, line, rest, parts)
            parts.materials.append(material)
        elif word == "vt":
            _texture_place(file, line, rest, parts)
        elif word == "usemtl":
            material = parts.names.setdefault(rest.strip(), len(parts.names)) if rest.strip() else -1
        elif word == "mtllib":
            parts.libraries.append((line, rest.strip()))
        elif word in _FREE_FORMS:
            parts.free_forms += 1
    if not parts.sizes:
        more = ", only curved surfaces; export it as polygons" if parts.free_forms else ""
        raise FileError(f"{file.name}: has no faces{more}")
    return _mesh(file, parts)


def _statements(text: str) -> Iterator[tuple[int, str]]:
    """Statements and the lines that they begin in, without comments; a backslash at the end of a line continues it."""
    held, begun = "", 0
    for line, raw in enumerate(text.split("\n"), 1):
        part = raw.split("#", 1)[0].replace("\t", " ").strip() if "#" in raw or "\t" in raw else raw.strip()
        if part.endswith("\\"):
            held += part[:-1] + " "
            begun = begun or line
        elif held:
            yield begun, (held + part).strip()
            held, begun = "", 0
        elif part:
            yield line, part
    if held.strip():
        yield begun, held.strip()


def _numbers(file: Path, line: int, rest: str, what: str) -> list[float]:
    try:
        return [float(word) for word in rest.split()]
    except ValueError:
        raise FileError(f'{file.name}, line {line}: {what} must be numbers, not "{rest[:60]}"') from None


def _vertex(file: Path, line: int, rest: str, parts: _Parts) -> None:
    numbers = _numbers(file, line, rest, "a vertex")
    if len(numbers) < 3:
        raise FileError(f"{file.name}, line {line}: a vertex needs three numbers, not {len(numbers)}")
    if len(numbers) >= 6:
        parts.colors[len(parts.points)] = numbers[3:6]
    parts.points.append(numbers[:3])


def _texture_place(file: Path, line: int, rest: str, parts: _Parts) -> None:
    numbers = _numbers(file, line, rest, "a place in the texture")
    if not numbers:
        raise FileError(f"{file.name}, line {line}: a place in the texture needs two numbers")
    parts.uv.append((numbers[0], numbers[1] if len(numbers) > 1 else 0.0))


def _face(file: Path, line: int, rest: str, parts: _Parts) -> None:
    """Add a face; negative numbers count back from the vertices read so far. Here counted from 0, -1 for no place."""
    words = rest.split()
    if not words:
        raise FileError(f"{file.name}, line {line}: a face needs at least three corners")
    for word in words:
        fields = word.split("/")
        try:
            vertex = int(fields[0])
            uv = int(fields[1]) if len(fields) > 1 and fields[1] else 0
        except ValueError:
            raise FileError(f'{file.name}, line {line}: "{word[:40]}" is no corner; write 3, 3/2 or 3/2/1') from None
        parts.corners.append(_counted(file, line, vertex, len(parts.points), "vertex"))
        parts.uv_corners.append(_counted(file, line, uv, len(parts.uv), "place in the texture") if uv else -1)
    parts.sizes.append(len(words))
    parts.lines.append(line)


def _counted(file: Path, line: int, number: int, known: int, what: str) -> int:
    """Counted from 0; of numbers beyond those read so far it is told at the end of the file."""
    if number > 0:
        return number - 1
    if number == 0 or -number > known:
        reason = "numbers begin with 1" if number == 0 else f"only {known} come before it"
        raise FileError(f"{file.name}, line {line}: names {what} {number}, but {reason}")
    return known + number


def _mesh(file: Path, parts: _Parts) -> Mesh:
    corners, uv_corners, sizes = np.array(parts.corners), np.array(parts.uv_corners), np.array(parts.sizes)
    for numbers, known, what in (
        (corners, len(parts.points), "vertex"),
        (uv_corners, len(parts.uv), "place in the texture"),
    ):
        wrong = np.flatnonzero(numbers >= known)
        if len(wrong):
            face = int(np.searchsorted(np.cumsum(sizes), wrong[0], side="right"))
            raise FileError(
                f"{file.name}, line {parts.lines[face]}: names {what} {int(numbers[wrong[0]]) + 1}, "
                f"but the file has only {known}"
            )
    plain = mesh_of_faces(file.stem, np.array(parts.points, dtype=float), corners, sizes)
    return _covered(file, parts, plain, uv_corners)


def _covered(file: Path, parts: _Parts, mesh: Mesh, uv_corners: Ints) -> Mesh:
    """The mesh with surfaces from materials, or from colours of its vertices where it has none."""
    known, notes = _libraries(file, parts.libraries)
    materials = [known.get(name, Material(Surface(name))) for name in parts.names]
    if parts.libraries:
        notes += [
            MeshNote("missing-material", "warning", f'{file.name} uses the material "{name}", which no library has.')
            for name in parts.names
            if name not in known and not any(note.code == "missing-library" for note in notes)
        ]
    if parts.free_forms:
        text = f"{file.name} has {parts.free_forms} curved surfaces or curves, which are left out."
        notes.append(MeshNote("free-forms", "warning", text))
    surface_of = np.array(parts.materials)
    surfaces = [material.surface for material in materials]
    uv = _uv(parts, mesh, uv_corners, surface_of, materials)
    if uv is not None:
        surface_of, surfaces = _without_places(mesh, uv_corners, surface_of, surfaces)
    if parts.colors:
        surface_of, surfaces = _vertex_colors(parts, mesh, surface_of, surfaces)
    covered = (surface_of >= 0).any()
    return replace(
        mesh,
        surface_of=surface_of if covered else None,
        surfaces=tuple(surfaces) if covered else (),
        uv=uv,
        notes=tuple(notes),
    )


def _libraries(file: Path, named: Sequence[tuple[int, str]]) -> tuple[dict[str, Material], list[MeshNote]]:
    known: dict[str, Material] = {}
    notes: list[MeshNote] = []
    for line, text in named:
        # one name with blanks, or several names
        whole = found_beside(file.parent, text)
        for name in [text] if whole is not None else text.split():
            library = found_beside(file.parent, name)
            if library is None:
                notes.append(
                    missing_note(
                        "missing-library", f"{file.name}, line {line},", name, "its materials stay without colours"
                    )
                )
                continue
            materials, more = read_materials(library)
            known = {**materials, **known}
            notes += more
    return known, notes


def _uv(parts: _Parts, mesh: Mesh, uv_corners: Ints, surface_of: Ints, materials: Sequence[Material]) -> Array | None:
    if not (uv_corners >= 0).any():
        return None
    uv = np.concatenate([np.array(parts.uv, dtype=float), np.zeros((1, 2))])[uv_corners]
    if any(material.scale != (1.0, 1.0) or material.offset != (0.0, 0.0) for material in materials):
        of = np.repeat(surface_of, np.diff(mesh.starts))
        scales = np.array([*(material.scale for material in materials), (1.0, 1.0)])
        offsets = np.array([*(material.offset for material in materials), (0.0, 0.0)])
        uv = uv * scales[of] + offsets[of]
    return np.asarray(uv)


def _without_places(
    mesh: Mesh, uv_corners: Ints, surface_of: Ints, surfaces: Sequence[Surface]
) -> tuple[Ints, list[Surface]]:
    """Faces without places in a texture have only the colour of their material."""
    blank = np.bincount(np.repeat(np.arange(len(surface_of)), np.diff(mesh.starts)), uv_corners < 0) > 0
    result, every = surface_of.copy(), list(surfaces)
    for number, surface in enumerate(surfaces):
        faces = blank & (surface_of == number)
        if surface.texture is not None and faces.any():
            result[faces] = len(every)
            every.append(replace(surface, texture=None))
    return result, every


def _vertex_colors(
    parts: _Parts, mesh: Mesh, surface_of: Ints, surfaces: Sequence[Surface]
) -> tuple[Ints, list[Surface]]:
    """Faces without a material have the mean colour of their vertices, if all have one."""
    colors = np.full((len(mesh.vertices), 3), np.nan)
    colors[list(parts.colors)] = list(parts.colors.values())
    if np.nanmax(colors) > 1:
        colors /= 255
    means = np.add.reduceat(colors[mesh.corners], mesh.starts[:-1], axis=0) / np.diff(mesh.starts)[:, None]
    faces = (surface_of < 0) & np.isfinite(means).all(axis=1)
    if not faces.any():
        return surface_of, list(surfaces)
    numbers, more = colored(means[faces])
    result = surface_of.copy()
    result[faces] = numbers + len(surfaces)
    return result, [*surfaces, *more]
