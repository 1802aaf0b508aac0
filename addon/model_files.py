"""A model as files beside a description: OBJ, MTL and its pictures."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from .geometry.errors import FileError
from .geometry.unfold.data import Mesh, Surface

__all__ = ["model_files"]

#: Folder of models beside a description.
_MODELS = "models"


def model_files(mesh: Mesh, stem: str) -> tuple[str, dict[str, bytes]]:
    """The files of a model.

    Parameters
    ----------
    mesh : with its surfaces, mm
    stem : of their names

    Returns
    -------
    the name of the mesh's file as a description has it, and what is in each file, by name

    Raises
    ------
    FileError
        A picture cannot be read.
    """
    files: dict[str, bytes] = {}
    lines = []
    for number, surface in enumerate(mesh.surfaces):
        lines.append(f"newmtl surface-{number}")
        red, green, blue = surface.color or (1.0, 1.0, 1.0)
        lines.append(f"Kd {red:.6f} {green:.6f} {blue:.6f}")
        if surface.texture is not None:
            name = f"{stem}-{number}{Path(surface.texture).suffix.lower()}"
            files[f"{_MODELS}/{name}"] = _content(surface)
            lines.append(f"map_Kd {name}")
    files[f"{_MODELS}/{stem}.mtl"] = ("\n".join(lines) + "\n").encode()
    mesh_name = f"{_MODELS}/{stem}.obj"
    files[mesh_name] = _obj(mesh, stem)
    return mesh_name, files


def _content(surface: Surface) -> bytes:
    try:
        return Path(str(surface.texture)).read_bytes()
    except OSError as error:
        raise FileError(f"{surface.texture}: the picture cannot be read ({error.strerror or error})") from None


def _obj(mesh: Mesh, stem: str) -> bytes:
    """The mesh as OBJ, in mm, z up, every digit that a double has."""
    used = np.unique(mesh.corners)
    number = np.zeros(len(mesh.vertices), dtype=np.int64)
    number[used] = np.arange(1, len(used) + 1)
    lines = [f"mtllib {stem}.mtl", *(f"v {x!r} {y!r} {z!r}" for x, y, z in mesh.vertices[used].tolist())]
    if mesh.uv is not None:
        lines += [f"vt {u!r} {v!r}" for u, v in mesh.uv.tolist()]
    surfaces: Sequence[int] = [-1] * (len(mesh.starts) - 1) if mesh.surface_of is None else mesh.surface_of.tolist()
    # Plain card first: no word of the format takes a material off again.
    order = sorted(range(len(surfaces)), key=lambda face: surfaces[face])
    last = -1
    for face in order:
        if surfaces[face] != last:
            last = surfaces[face]
            lines.append(f"usemtl surface-{last}")
        corners = range(int(mesh.starts[face]), int(mesh.starts[face + 1]))
        places = number[mesh.corners[mesh.starts[face] : mesh.starts[face + 1]]].tolist()
        if mesh.uv is None:
            lines.append("f " + " ".join(map(str, places)))
        else:
            lines.append("f " + " ".join(f"{v}/{c + 1}" for v, c in zip(places, corners, strict=True)))
    return ("\n".join(lines) + "\n").encode()
