"""Cuts of nets as seams of the model's own meshes."""

from __future__ import annotations

import bpy
import numpy as np

from .books import is_linked
from .convert import millimetres
from .geometry import HingeleafError
from .geometry.transforms import Array
from .geometry.unfold.data import CUT
from .model_gathering import gather
from .model_state import choices_of, model_of, sources_of

__all__ = ["write_seams"]

#: Places that are nearer than this part of the model's size are one.
_SAME = 1e-5


def write_seams(context: bpy.types.Context, root: bpy.types.Object, *, every: bool) -> tuple[int, int]:
    """Mark cuts as seams on the meshes of the model.

    Parameters
    ----------
    context : of the window
    root : the empty of the nets
    every : all cuts, else only those chosen by hand, and clear the seams where edges were joined by hand

    Returns
    -------
    how many edges of meshes were marked or cleared, and how many cuts have no edge of a mesh

    Raises
    ------
    HingeleafError
        There is nothing to write, or the model is being edited or is another one by now.
    """
    meshes = [item for item in sources_of(root) if item.type == "MESH" and not is_linked(item)]
    if not meshes:
        raise HingeleafError("The model has no mesh of its own that seams could be marked on")
    if any(item.mode != "OBJECT" for item in meshes):
        raise HingeleafError("Leave Edit Mode first")
    model = model_of(context, root)
    choices = choices_of(root)
    facets, size = model.unfolded.facets, model.unfolded.facets.size_mm / model.scale
    wanted = [(np.array(choice.ends_mm).reshape(2, 3), choice.mark == CUT) for choice in choices]
    if every:
        cuts = facets.vertices[facets.edges[model.unfolded.cuts]] / model.scale
        wanted = [(ends, True) for ends in cuts]
    if not wanted:
        raise HingeleafError("No edge was cut or joined by hand; choose All Cuts to mark every cut")
    origin = gather(context, sources_of(root)).origin_m
    found = np.zeros(len(wanted), dtype=bool)
    marked = 0
    for item in meshes:
        marked += _mark(item, origin, wanted, found, _SAME * size)
    return marked, int(np.count_nonzero(~found))


def _mark(
    item: bpy.types.Object, origin_m: Array, wanted: list[tuple[Array, bool]], found: Array, within: float
) -> int:
    """Mark the edges of one mesh that lie on wanted lines; returns how many."""
    mesh = item.data
    if not isinstance(mesh, bpy.types.Mesh):
        return 0
    places = np.empty(3 * len(mesh.vertices), dtype=np.float32)
    mesh.vertices.foreach_get("co", places)
    matrix = np.array(item.matrix_world, dtype=float)
    points = millimetres(places.reshape(-1, 3).astype(float) @ matrix[:3, :3].T + matrix[:3, 3] - origin_m)
    ends = np.empty(2 * len(mesh.edges), dtype=np.int32)
    mesh.edges.foreach_get("vertices", ends)
    seams = np.zeros(len(mesh.edges), dtype=bool)
    mesh.edges.foreach_get("use_seam", seams)
    lines = points[ends.reshape(-1, 2)]
    count = 0
    for number, (line, cut) in enumerate(wanted):
        on = _on_line(lines, line, within)
        if on.any():
            found[number] = True
            seams[on] = cut
            count += int(np.count_nonzero(on))
    mesh.edges.foreach_set("use_seam", seams)
    mesh.update()
    return count


def _on_line(lines: Array, line: Array, within: float) -> Array:
    """Which lines, (e, 2, 3), lie wholly on another one, (2, 3): several edges of a mesh can be one of the nets."""
    along = line[1] - line[0]
    length = float(np.linalg.norm(along))
    if length <= 0.0:
        return np.zeros(len(lines), dtype=bool)
    along = along / length
    moved = lines - line[0]
    at = moved @ along
    away = np.linalg.norm(moved - at[..., None] * along, axis=2)
    return np.asarray(((away <= within) & (at >= -within) & (at <= length + within)).all(axis=1))
