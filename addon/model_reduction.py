"""Fewer faces, by Blender's own Decimate modifier on a copy; and how far that is from the shape as it was."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Any

import bpy
import numpy as np
from mathutils.bvhtree import BVHTree

from .geometry import HingeleafError
from .geometry.transforms import Array
from .geometry.unfold.data import CUT, KEEP, Ints, Mesh, MeshNote

__all__ = ["ShapeError", "at_scale", "reduced", "shape_error"]

#: Points that are looked at on each of the two shapes, besides their corners.
_SAMPLES = 20_000
#: Places of Decimate's mesh are single precision; it works at about this size, mm, whatever the mesh's own.
_WORKING_MM = 1000.0
_TRIES = 4
#: The model's faces are told apart by their material; this many are remembered.
_SEED = 7


@dataclass(frozen=True)
class ShapeError:
    """How far two shapes are from each other, both ways, mm."""

    largest_mm: float
    mean_mm: float


def reduced(context: bpy.types.Context, mesh: Mesh, faces: int) -> Mesh:
    """A mesh with no more than so many triangles.

    Parameters
    ----------
    context : of the window; a copy stands in its scene for a moment
    mesh : as it was gathered
    faces : how many are wanted

    Returns
    -------
    Mesh: the same one if it has no more; else one of triangles, with a note that says how far it is from the shape

    Raises
    ------
    HingeleafError
        Nothing is left of it.
    """
    triangles = int(np.maximum(np.diff(mesh.starts) - 2, 0).sum())
    if triangles <= faces:
        return mesh
    size = max(mesh.size_mm, 1e-9)
    with _standing(context, mesh, _WORKING_MM / size) as item:
        modifier: Any = item.modifiers.new("Reduce", "DECIMATE")
        modifier.decimate_type, modifier.use_collapse_triangulate = "COLLAPSE", True
        ratio = faces / triangles
        for _ in range(_TRIES):
            modifier.ratio = ratio
            found = _read(context, item, mesh, size / _WORKING_MM)
            count = len(found.starts) - 1
            if count <= faces:
                break
            ratio *= 0.98 * faces / count
    if not len(found.corners):
        raise HingeleafError(f"{mesh.name}: nothing is left of it with {faces} faces; allow more")
    error = shape_error(mesh, found)
    text = (
        f"Reduced from {triangles} to {len(found.starts) - 1} triangles: the shape is off by up to "
        f"{{:.2g}} mm, {{:.2g}} mm on average."
    )
    # The numbers are those of the mesh as it came; whoever scales it scales them.
    return replace(found, notes=(*mesh.notes, _ReducedNote("reduced", "note", text, error=error)))


@dataclass(frozen=True)
class _ReducedNote(MeshNote):
    """Says the shape error at whatever scale."""

    error: ShapeError = ShapeError(0.0, 0.0)

    def scaled(self, scale: float) -> MeshNote:
        """The note of the mesh made so many times as large."""
        text = self.text.format(self.error.largest_mm * scale, self.error.mean_mm * scale)
        return MeshNote(self.code, self.severity, text)


def at_scale(note: MeshNote, scale: float) -> MeshNote:
    """A note as it reads for a mesh made so many times as large."""
    return note.scaled(scale) if isinstance(note, _ReducedNote) else note


@contextmanager
def _standing(context: bpy.types.Context, mesh: Mesh, scale: float) -> Iterator[bpy.types.Object]:
    """A mesh as an object of the scene, taken away again afterwards."""
    data: Any = bpy.data.meshes.new("Hingeleaf Reduction")
    faces = [mesh.face(number).tolist() for number in range(len(mesh.starts) - 1)]
    data.from_pydata((mesh.vertices * scale).tolist(), [], faces)
    item = bpy.data.objects.new(data.name, data)
    try:
        if mesh.uv is not None:
            data.uv_layers.new(name="UVMap").uv.foreach_set("vector", mesh.uv.astype(np.float32).ravel())
        if mesh.surface_of is not None:
            for _ in range(int(mesh.surface_of.max(initial=-1)) + 2):
                data.materials.append(None)
            data.polygons.foreach_set("material_index", (mesh.surface_of + 1).astype(np.int32))
        _mark(data, mesh)
        context.scene.collection.objects.link(item)
        yield item
    finally:
        bpy.data.objects.remove(item)
        bpy.data.meshes.remove(data)


def _mark(data: Any, mesh: Mesh) -> None:
    """Carry what is asked for at edges as their own attribute; Decimate keeps it where it keeps the edge."""
    if mesh.marked is None or mesh.marks is None:
        return
    ends = np.empty(2 * len(data.edges), dtype=np.int32)
    data.edges.foreach_get("vertices", ends)
    asked = {tuple(sorted(pair)): mark for pair, mark in zip(mesh.marked.tolist(), mesh.marks.tolist(), strict=True)}
    values = [asked.get(tuple(sorted(pair)), 0) for pair in ends.reshape(-1, 2).tolist()]
    data.edges.foreach_set("use_seam", [value == CUT for value in values])
    data.edges.foreach_set("use_edge_sharp", [value == KEEP for value in values])
    data.attributes.new("hingeleaf_mark", "INT", "EDGE").data.foreach_set("value", values)


def _read(context: bpy.types.Context, item: bpy.types.Object, mesh: Mesh, scale: float) -> Mesh:
    """What the modifiers make of the copy."""
    seen: Any = item.evaluated_get(context.evaluated_depsgraph_get())
    data = seen.to_mesh()
    vertices = _array(data.vertices, "co", 3, np.float32).astype(float) * scale
    corners = _array(data.loops, "vertex_index", 1, np.int32).ravel().astype(np.int64)
    starts = np.append(_array(data.polygons, "loop_start", 1, np.int32).ravel().astype(np.int64), len(corners))
    uv = None
    if mesh.uv is not None and len(data.uv_layers):
        uv = _array(data.uv_layers[0].uv, "vector", 2, np.float32).astype(float)
    surface_of = None
    if mesh.surface_of is not None:
        surface_of = _array(data.polygons, "material_index", 1, np.int32).ravel().astype(np.int64) - 1
    edges, marks = _marked(data)
    seen.to_mesh_clear()
    return replace(
        mesh, vertices=vertices, corners=corners, starts=starts, uv=uv, surface_of=surface_of, marked=edges, marks=marks
    )


def _marked(data: Any) -> tuple[Ints | None, Ints | None]:
    layer = data.attributes.get("hingeleaf_mark")
    if layer is None or layer.domain != "EDGE":
        return None, None
    values = _array(layer.data, "value", 1, np.int32).ravel().astype(np.int64)
    ends = _array(data.edges, "vertices", 2, np.int32).astype(np.int64)
    asked = values > 0
    return (ends[asked], values[asked]) if asked.any() else (None, None)


def _array(items: Any, name: str, width: int, kind: Any) -> Any:
    found = np.empty(width * len(items), dtype=kind)
    items.foreach_get(name, found)
    return found.reshape(-1, width)


def shape_error(one: Mesh, other: Mesh) -> ShapeError:
    """How far two meshes are from each other: from points all over each to the nearest place on the other.

    Notes
    -----
    The symmetric Hausdorff distance and its mean, sampled as in P. Cignoni, C. Rocchini, R. Scopigno, "Metro: measuring
    error on simplified surfaces", Computer Graphics Forum 17 (1998), recalled.
    """
    there, back = _distances(one, other), _distances(other, one)
    both = np.concatenate([there, back])
    return ShapeError(float(both.max()), (float(there.mean()) + float(back.mean())) / 2)


def _distances(from_: Mesh, to: Mesh) -> Array:
    """From points all over a mesh to the nearest place on another, mm."""
    tree: Any = BVHTree.FromPolygons(to.vertices.tolist(), [to.face(n).tolist() for n in range(len(to.starts) - 1)])
    found = [tree.find_nearest(point)[3] for point in _points_on(from_).tolist()]
    return np.array([0.0 if distance is None else distance for distance in found])


def _points_on(mesh: Mesh) -> Array:
    """Corners, and points spread evenly over the area."""
    sizes = np.diff(mesh.starts)
    fans = np.maximum(sizes - 2, 0)
    first = np.repeat(mesh.starts[:-1], fans)
    step = np.arange(int(fans.sum())) - np.repeat(np.cumsum(fans) - fans, fans)
    a, b, c = (mesh.vertices[mesh.corners[first + shift]] for shift in (0, step + 1, step + 2))
    areas = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    corners = mesh.vertices[np.unique(mesh.corners)]
    if areas.sum() <= 0:
        return np.asarray(corners)
    random = np.random.default_rng(_SEED)
    chosen = random.choice(len(areas), _SAMPLES, p=areas / areas.sum())
    u, v = random.random((2, _SAMPLES, 1))
    over = u + v > 1
    u, v = np.where(over, 1 - u, u), np.where(over, 1 - v, v)
    return np.concatenate([corners, a[chosen] + u * (b - a)[chosen] + v * (c - a)[chosen]])
