"""Objects as one mesh: everything evaluated, modifiers and instances in it, at world size, with materials and marks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from .convert import millimetres
from .geometry import HingeleafError
from .geometry.transforms import Array
from .geometry.unfold.data import Flags, Ints, Mesh, MeshNote
from .model_marks import Marked, marks_of
from .model_materials import Look, look_of

__all__ = ["KINDS", "Gathered", "gather"]

#: Kinds of objects that have faces, or can have them.
KINDS = frozenset({"MESH", "CURVE", "SURFACE", "FONT", "META"})


@dataclass(frozen=True)
class Gathered:
    """What was gathered.

    Parameters
    ----------
    mesh : in mm, its origin at the middle of its foot; its surfaces are named only
    origin_m : (3,) float, where that origin is in the world, metres
    materials : the material of each surface
    has_uv : of each surface, whether its faces have UV coordinates
    uv_name : of the UV map that is rendered
    """

    mesh: Mesh
    origin_m: Array
    materials: tuple[bpy.types.Material, ...]
    has_uv: tuple[bool, ...]
    uv_name: str


@dataclass(frozen=True)
class _Part:
    """One object or instance: places in metres of the world, and for each face a key of its surface or None."""

    places: Array
    corners: Ints
    starts: Ints
    uv: Array
    keys: list[tuple[bpy.types.Material, bool] | None]
    marked: Marked
    uv_name: str


def gather(context: bpy.types.Context, objects: Sequence[bpy.types.Object]) -> Gathered:
    """Make one mesh of objects, as they are seen.

    Parameters
    ----------
    context : of the window
    objects : whatever has faces, or makes instances of what has

    Raises
    ------
    HingeleafError
        None of them has a face.
    """
    wanted = _with_families(context, objects)
    for item in wanted:
        if item.mode == "EDIT":
            item.update_from_editmode()
    depsgraph = context.evaluated_depsgraph_get()
    parts, notes, seen = [], [], set()
    for instance in depsgraph.object_instances:
        shown: Any = instance.object
        owner = instance.parent if instance.is_instance else shown
        # What is no mesh comes a second time, as the mesh that is seen of it.
        if owner is None or owner.original not in wanted or shown.type != "MESH" or not instance.show_self:
            continue
        part = _part(shown, np.array(instance.matrix_world, dtype=float))
        if part is not None:
            parts.append(part)
            seen.add(owner.original)
    for item in objects:
        if item not in seen and item.type != "META":
            notes.append(MeshNote("no-faces", "warning", f"{item.name} has no faces that are seen and is left out."))
    if not parts:
        names = ", ".join(item.name for item in objects[:3])
        raise HingeleafError(f"{names}: no faces are seen there, so nothing can be unfolded; select what has faces")
    return _joined(objects[0].name, parts, notes)


def _with_families(context: bpy.types.Context, objects: Sequence[bpy.types.Object]) -> list[bpy.types.Object]:
    """The objects, and all metaballs that flow together with one of them."""
    families = {item.name.split(".")[0] for item in objects if item.type == "META"}
    others = [
        item
        for item in context.scene.objects
        if item.type == "META" and item.name.split(".")[0] in families and item not in objects
    ]
    return [*objects, *others]


def _part(item: Any, matrix: Array) -> _Part | None:
    """What one evaluated object shows; None where it has no faces."""
    try:
        mesh = item.to_mesh()
    except RuntimeError:
        return None
    if mesh is None or not len(mesh.polygons):
        item.to_mesh_clear()
        return None
    places = _floats(mesh.vertices, "co", 3) @ matrix[:3, :3].T + matrix[:3, 3]
    corners = _ints(mesh.loops, "vertex_index")
    starts = np.append(_ints(mesh.polygons, "loop_start"), len(corners))
    materials = _materials(item, mesh)
    looks = {material: look_of(material) for material in materials if material is not None}
    slots = np.minimum(_ints(mesh.polygons, "material_index"), max(len(materials) - 1, 0)).tolist()
    of_face = [materials[slot] if materials else None for slot in slots]
    maps, name = _uv_maps(mesh)
    uv, has_uv = _uv(maps, name, of_face, looks, starts)
    marked = marks_of(mesh, places)
    item.to_mesh_clear()
    if np.linalg.det(matrix[:3, :3]) < 0:
        order = _turned(starts)
        corners, uv = corners[order], uv[order]
    keys = [None if each is None else (each, has) for each, has in zip(of_face, has_uv.tolist(), strict=True)]
    return _Part(places, corners, starts, uv, keys, marked, name)


def _materials(item: Any, mesh: Any) -> list[bpy.types.Material | None]:
    """The material of each slot: the object's own where it overrides the mesh's."""
    found = [None if each is None else each.original for each in mesh.materials]
    for number, slot in enumerate(item.material_slots):
        if number < len(found) and slot.link == "OBJECT":
            found[number] = None if slot.material is None else slot.material.original
    return found


def _uv_maps(mesh: Any) -> tuple[dict[str, Array], str]:
    """The UV maps by name, each (c, 2) float, and the name of the one that is rendered; "" where there is none."""
    maps = {layer.name: _floats(layer.uv, "vector", 2) for layer in mesh.uv_layers}
    return maps, next((layer.name for layer in mesh.uv_layers if layer.active_render), "")


def _uv(
    maps: dict[str, Array],
    rendered: str,
    of_face: list[bpy.types.Material | None],
    looks: dict[bpy.types.Material, Look],
    starts: Ints,
) -> tuple[Array, Flags]:
    """UV coordinates of each corner from the map that the material means, and of each face whether there are any."""
    count, sizes = int(starts[-1]), np.diff(starts)
    uv = maps[rendered].copy() if rendered in maps else np.zeros((count, 2))
    has = np.full(len(of_face), rendered in maps)
    for material, look in looks.items():
        if look.uv_map and look.uv_map != rendered:
            faces = np.array([each == material for each in of_face])
            has[faces] = look.uv_map in maps
            if look.uv_map in maps:
                chosen = np.repeat(faces, sizes)
                uv[chosen] = maps[look.uv_map][chosen]
    return uv, has


def _turned(starts: Ints) -> Ints:
    """The order of corners in which every face runs the other way round."""
    sizes = np.diff(starts)
    first = np.repeat(starts[:-1], sizes)
    last = np.repeat(starts[1:] - 1, sizes)
    return np.asarray(first + last - np.arange(int(starts[-1])))


def _joined(name: str, parts: Sequence[_Part], notes: Sequence[MeshNote]) -> Gathered:
    """One mesh of all parts, about the middle of its foot."""
    places = np.concatenate([part.places for part in parts])
    used = np.concatenate([part.places[part.corners] for part in parts])
    low, high = used.min(axis=0), used.max(axis=0)
    origin = np.array([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, low[2]])
    before = np.cumsum([0, *(len(part.places) for part in parts)])
    corners = np.concatenate([part.corners + shift for part, shift in zip(parts, before, strict=False)])
    sizes = np.concatenate([np.diff(part.starts) for part in parts])
    keys = list(dict.fromkeys(key for part in parts for key in part.keys if key is not None))
    number = {key: position for position, key in enumerate(keys)}
    surface_of = np.array([-1 if key is None else number[key] for part in parts for key in part.keys])
    marked = [(part.marked.edges + shift, part.marked.marks) for part, shift in zip(parts, before, strict=False)]
    edges = np.concatenate([each for each, _ in marked])
    said = [*notes, *(note for part in parts for note in part.marked.notes)]
    mesh = Mesh(
        name=name,
        vertices=millimetres(places - origin),
        corners=corners,
        starts=np.concatenate([[0], np.cumsum(sizes)]),
        surface_of=surface_of if keys else None,
        uv=np.concatenate([part.uv for part in parts]) if any(has for _, has in keys) else None,
        marked=edges if len(edges) else None,
        marks=np.concatenate([marks for _, marks in marked]) if len(edges) else None,
        notes=tuple(dict.fromkeys(said)),
    )
    uv_name = next((part.uv_name for part in parts if part.uv_name), "UVMap")
    return Gathered(mesh, origin, tuple(each for each, _ in keys), tuple(has for _, has in keys), uv_name)


def _floats(items: Any, name: str, width: int) -> Array:
    found = np.empty(width * len(items), dtype=np.float32)
    items.foreach_get(name, found)
    return found.reshape(-1, width).astype(float)


def _ints(items: Any, name: str) -> NDArray[np.int64]:
    found = np.empty(len(items), dtype=np.int32)
    items.foreach_get(name, found)
    return found.astype(np.int64)
