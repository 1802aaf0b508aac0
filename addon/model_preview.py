"""The nets of a model as objects beside it: one mesh a net, with the model's materials, that folds to the model.

A net's mesh has absolute shape keys: places of all its points at some steps of the folding. One property of the empty,
*unfolded*, drives them all through a curve, so it can be keyframed, and the nets fold in a Blender without extensions.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from .books import collection_of, is_linked
from .channels import Curve
from .convert import metres
from .geometry.transforms import Array
from .geometry.unfold.folding import folded_poses
from .materials import plain_material
from .model_mesh import NetMesh, net_meshes, posed
from .model_state import FOLDED_EDGE, NET_KEY, UNFOLDED, iterate_nets, note_built, uv_name_of, wishes_group
from .model_wishes import Model
from .panel_objects import follow
from .set_aside import set_aside

__all__ = [
    "LABELS_KEY",
    "LINE_KIND",
    "Prepared",
    "keyframe_folding",
    "new_root",
    "place_beside",
    "prepared",
    "remove_model",
    "show",
]

#: Attribute of a net's mesh: the kind of the line that a point is an end of; and its property: labels of the lines.
LINE_KIND, LABELS_KEY = "hingeleaf_line", "hingeleaf_labels"
#: Steps of the folding that are tried; the first is taken between whose steps no point is off by more than this, mm.
_STEPS = (9, 17, 33, 65, 129)
_OFF_MM = 0.1
#: Points times steps of all nets together: more would take long to lay out and much of a file.
_MOST = 3_000_000
#: Gaps between the model, the folded model, and the nets, as part of the model's size.
_GAP = 0.12
#: Blender numbers absolute shape keys in tens.
_KEY_STEP = 10.0
_KEYFRAMES = 60
_CARD_KEY = "hingeleaf_card"
_CARD = (0.96, 0.95, 0.92)


@dataclass(frozen=True)
class _Net:
    """A net got ready: its mesh, steps from 0 (the solid) to 1 (flat), and where its points are then, (s, n, 3), mm."""

    mesh: NetMesh
    steps: Array
    places: Array


@dataclass(frozen=True)
class Prepared:
    """All that is needed to show a model: nothing of it can fail."""

    model: Model
    nets: tuple[_Net, ...]
    beside_mm: float


def prepared(model: Model) -> Prepared:
    """Work out where all points of all nets are while they fold; HingeleafError where the core cannot."""
    unfolded = model.unfolded
    meshes = net_meshes(unfolded, model.joins)
    total = sum(len(mesh.flat) for mesh in meshes)
    size = unfolded.facets.size_mm
    solid = unfolded.facets.vertices[unfolded.facets.triangles].reshape(-1, 3)
    beside = float(np.ptp(solid[:, 0])) + _GAP * size
    shifts: list[Array] | None = None
    off, before = 0.0, _STEPS[0]
    for count in _STEPS:
        # Straight lines are off by the square of their length: what will not do is not tried.
        if off * (before / count) ** 2 > 2 * _OFF_MM and 4 * count * total <= _MOST and count != _STEPS[-1]:
            continue
        steps = np.linspace(0.0, 1.0, 2 * count - 1)
        poses = folded_poses(unfolded, steps)
        shifts = _laid_out(meshes, poses, solid, size) if shifts is None else shifts
        found = [_places(*each, steps) for each in zip(meshes, poses, shifts, strict=True)]
        off, before = max(_between(places) for places in found), count
        if off <= _OFF_MM or 2 * count * total > _MOST:
            break
    nets = (_Net(mesh, steps[::2], places[::2]) for mesh, places in zip(meshes, found, strict=True))
    return Prepared(model, tuple(nets), beside)


def _places(mesh: NetMesh, matrices: Array, shift: Array, steps: Array) -> Array:
    return np.array([posed(mesh, matrices[n], 1.0 - step) + step * shift for n, step in enumerate(steps.tolist())])


def _between(places: Array) -> float:
    """How far straight lines between every other step are off at the steps between, mm."""
    middles = (places[:-1:2] + places[2::2]) / 2
    return float(np.linalg.norm(middles - places[1::2], axis=2).max(initial=0.0))


def _laid_out(meshes: Sequence[NetMesh], poses: Sequence[Array], solid: Array, size: float) -> list[Array]:
    """How each net is shifted so that all lie in rows right of the solid, largest first, at its foot."""
    flat = [posed(mesh, matrices[-1], 0.0) for mesh, matrices in zip(meshes, poses, strict=True)]
    boxes = [(places.min(axis=0), places.max(axis=0)) for places in flat]
    gap = _GAP * size / 2
    area = sum(float(np.prod((high - low)[:2] + gap)) for low, high in boxes)
    row = max(1.6 * float(np.sqrt(area)), *(float(high[0] - low[0]) for low, high in boxes))
    left, x, y, deep = float(solid[:, 0].max()) + _GAP * size, 0.0, float(solid[:, 1].min()), 0.0
    shifts = [np.zeros(3)] * len(boxes)
    for number in sorted(range(len(boxes)), key=lambda each: -float(boxes[each][1][1] - boxes[each][0][1])):
        low, high = boxes[number]
        wide, tall = float(high[0] - low[0]), float(high[1] - low[1])
        if x > 0 and x + wide > row:
            x, y, deep = 0.0, y + deep + gap, 0.0
        shifts[number] = np.array([left + x - low[0], y - low[1], float(solid[:, 2].min()) - low[2]])
        x, deep = x + wide + gap, max(deep, tall)
    return shifts


def new_root(context: bpy.types.Context, name: str) -> bpy.types.Object:
    """An empty for the nets of a model, in a collection of its own."""
    root = bpy.data.objects.new(f"Nets: {name}", None)
    root.empty_display_size = 0.05
    root[UNFOLDED] = 1.0
    text = "How far the nets are unfolded: 0 is the model, 1 lies flat"
    limits: Any = root.id_properties_ui(UNFOLDED)
    limits.update(min=0.0, max=1.0, soft_min=0.0, soft_max=1.0, default=1.0, precision=3, step=1, description=text)
    root.property_overridable_library_set(f'["{UNFOLDED}"]', True)
    collection = bpy.data.collections.new(root.name)
    context.scene.collection.children.link(collection)
    collection.objects.link(root)
    return root


def show(root: bpy.types.Object, made: Prepared) -> None:
    """Put the nets of a model in the place of those that were there."""
    _clear_nets(root)
    group = wishes_group(root)
    scale = 1.0 if group.true_size else 1.0 / made.model.scale
    root.scale = (scale, scale, scale)
    collection = collection_of(root)
    materials = [_card(), *(entry.material for entry in group.surfaces)]
    for number, net in enumerate(made.nets, start=1):
        item = bpy.data.objects.new(f"{root.name} {number}", _mesh(root, net, materials))
        item[NET_KEY] = number
        item.parent = root
        item.lock_location = item.lock_rotation = item.lock_scale = (True, True, True)
        collection.objects.link(item)
        _fold_with(root, item, net)
    note_built(root)


def place_beside(root: bpy.types.Object, made: Prepared, origin_m: Array) -> None:
    """Put the empty so that the folded model stands right of the model itself."""
    scale = root.scale[0]
    root.location = (float(origin_m[0] + scale * metres(made.beside_mm)), float(origin_m[1]), float(origin_m[2]))


def _clear_nets(root: bpy.types.Object) -> None:
    """Take the objects of nets away."""
    items = list(iterate_nets(root))
    meshes: list[Any] = [item.data for item in items]
    bpy.data.batch_remove([*items, *meshes])


def remove_model(root: bpy.types.Object) -> None:
    """Take the nets of a model away, with their empty and their collection."""
    _clear_nets(root)
    action = root.animation_data.action if root.animation_data is not None else None
    collection = collection_of(root)
    bpy.data.batch_remove([root])
    set_aside(collection)
    if action is not None and action.users == 0:
        bpy.data.batch_remove([action])


def keyframe_folding(root: bpy.types.Object, frame: int, *, fold: bool) -> int:
    """Let nets fold, or unfold, from a frame on; returns the frame at which that is done."""
    path, ends = f'["{UNFOLDED}"]', (1.0, 0.0) if fold else (0.0, 1.0)
    for value, at in zip(ends, (frame, frame + _KEYFRAMES), strict=True):
        root[UNFOLDED] = value
        root.keyframe_insert(path, frame=at)
    root[UNFOLDED] = ends[0]
    root.update_tag()
    return frame + _KEYFRAMES


def _card() -> bpy.types.Material:
    """The material of plain card."""
    for material in bpy.data.materials:
        if material.get(_CARD_KEY) is not None and not is_linked(material):
            return material
    material = plain_material("Model Card", _CARD, roughness=0.7)
    material[_CARD_KEY] = True
    return material


def _mesh(root: bpy.types.Object, net: _Net, materials: Sequence[bpy.types.Material | None]) -> bpy.types.Mesh:
    """The mesh of a net, lying flat."""
    source = net.mesh
    data: Any = bpy.data.meshes.new(root.name)
    count = 2 * len(source.edges)
    first = len(source.flat) - count
    lines = [(first + 2 * number, first + 2 * number + 1) for number in range(len(source.edges))]
    data.from_pydata(metres(net.places[-1]).tolist(), lines, source.faces)
    for material in materials:
        data.materials.append(material)
    data.polygons.foreach_set("material_index", (source.surfaces + 1).astype(np.int32))
    data.uv_layers.new(name=uv_name_of(root)).uv.foreach_set("vector", source.uv.astype(np.float32).ravel())
    before = np.full(first, -1)
    for name, values in ((FOLDED_EDGE, source.edges), (LINE_KIND, source.kinds)):
        layer = data.attributes.new(name, "INT", "POINT")
        layer.data.foreach_set("value", np.concatenate([before, np.repeat(values, 2)]).astype(np.int32))
    data[LABELS_KEY] = json.dumps(list(source.labels))
    return data  # type: ignore[no-any-return]


def _fold_with(root: bpy.types.Object, item: bpy.types.Object, net: _Net) -> None:
    """Shape keys from flat to folded, driven by the empty's property."""
    for places in net.places[::-1]:
        key: Any = item.shape_key_add(name="Fold", from_mix=False)
        key.interpolation = "KEY_LINEAR"
        key.points.foreach_set("co", metres(places).astype(np.float32).ravel())
    data: Any = item.data
    keys = data.shape_keys
    keys.use_relative = False
    last = _KEY_STEP * (len(net.steps) - 1)
    follow(keys.driver_add("eval_time"), root, UNFOLDED, Curve(np.array([0.0, 1.0]), np.array([last, 0.0])))
