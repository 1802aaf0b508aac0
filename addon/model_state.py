"""The nets of a model in the file: their empty, and what it remembers.

The empty bears the mesh as it was gathered, the wishes, the choices made by hand, and which edges are folded; all else
is worked out from that. So undo, saving and reopening bring back a whole state.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any, cast

import bpy
import numpy as np

from .books import is_linked
from .geometry import HingeleafError
from .geometry.transforms import Array
from .geometry.unfold.cut_options import Preset
from .geometry.unfold.data import Ints, Mesh, MeshNote, Surface, Unfolded
from .model_gathering import Gathered
from .model_materials import surface_of
from .model_reduction import at_scale
from .model_wishes import Choice, Model, Wishes, chosen, packed

__all__ = [
    "FOLDED_EDGE",
    "NET_KEY",
    "UNFOLDED",
    "all_models",
    "all_models_anywhere",
    "choices_of",
    "found_anew",
    "is_model",
    "is_stale",
    "iterate_nets",
    "list_notes",
    "meant_model",
    "model_of",
    "note_built",
    "packed_of",
    "placed_by",
    "refuse_linked",
    "remember_choices",
    "remember_folds",
    "remember_gathered",
    "sources_of",
    "uv_name_of",
    "wish_size",
    "wishes_group",
    "wishes_of",
    "with_surfaces",
]

#: Property of the empty: 0 where the nets are folded to the model, 1 where they lie flat.
UNFOLDED = "unfolded"
#: Properties of the empty: the mesh, the choices, the folded edges, and the wishes that the objects were made by.
_MESH_KEY, _CHOICES_KEY, _FOLDS_KEY, _BUILT_KEY = (
    "hingeleaf_mesh",
    "hingeleaf_choices",
    "hingeleaf_folds",
    "hingeleaf_built",
)
#: Property of the empty: the name of the UV map.
_UV_KEY = "hingeleaf_uv"
#: Properties of the empty: where the mesh's zero point was in the world, metres, and the first object's matrix then.
_ORIGIN_KEY, _STOOD_KEY = "hingeleaf_origin", "hingeleaf_stood"
#: Attribute of a net's mesh: the edge that a point is an end of.
FOLDED_EDGE = "hingeleaf_edge"


def is_model(item: bpy.types.Object | None) -> bool:
    """Whether an object is the empty of a model's nets."""
    return item is not None and item.get(_MESH_KEY) is not None


def all_models(context: bpy.types.Context) -> list[bpy.types.Object]:
    """The empties of all nets of models in the scene."""
    return [item for item in context.scene.objects if is_model(item)]


def all_models_anywhere() -> list[bpy.types.Object]:
    """The same in the whole file, of those that can be changed."""
    found = (item for item in bpy.data.objects if is_model(item))
    return [item for item in found if not is_linked(item) and item.users_collection]


def meant_model(context: bpy.types.Context) -> bpy.types.Object | None:
    """The nets that are meant: those that the active object is one of, or of; else the last ones."""
    layer = context.view_layer
    active = layer.objects.active if layer is not None else None
    item = active
    while item is not None and not is_model(item):
        item = item.parent
    if item is not None:
        return item
    models = all_models(context)
    own = [root for root in models if active is not None and active in sources_of(root)]
    return (own or models or [None])[-1]  # type: ignore[list-item]


def wishes_group(root: bpy.types.Object) -> Any:
    """The properties of a model's nets."""
    return root.hingeleaf_model  # type: ignore[attr-defined]


def sources_of(root: bpy.types.Object) -> list[bpy.types.Object]:
    """The objects that nets are of; without those that are no more."""
    return [entry.item for entry in wishes_group(root).sources if entry.item is not None]


def wishes_of(root: bpy.types.Object) -> Wishes:
    """What is wished of nets."""
    group = wishes_group(root)
    return Wishes(
        height_mm=round(group.height, 3) if group.size_by == "HEIGHT" else None,
        sheet=group.sheet,
        preset=cast(Preset, group.preset),
        smooth_deg=round(group.smooth, 4),
        flatten_deg=round(group.flatten, 4),
        tab_mm=round(group.tab_width, 4),
        edge_to_edge=group.edge_to_edge,
        faces=group.faces if group.reduce else None,
        sharp=group.sharp,
    )


def choices_of(root: bpy.types.Object) -> tuple[Choice, ...]:
    """The edges that were chosen by hand."""
    return tuple(Choice(tuple(ends), mark) for ends, mark in json.loads(str(root.get(_CHOICES_KEY, "[]"))))


def remember_choices(root: bpy.types.Object, choices: Sequence[Choice]) -> None:
    """Keep the edges that were chosen by hand."""
    root[_CHOICES_KEY] = json.dumps([[choice.ends_mm, choice.mark] for choice in choices])


def remember_folds(root: bpy.types.Object, folds: Ints) -> None:
    """Keep which edges are folded."""
    root[_FOLDS_KEY] = json.dumps(folds.tolist())


def _folds_of(root: bpy.types.Object) -> Ints | None:
    """Which edges are folded; None where that has not been found yet."""
    data = root.get(_FOLDS_KEY)
    return None if data is None else np.array(json.loads(data), dtype=np.int64)


def packed_of(root: bpy.types.Object) -> bytes:
    """The mesh of nets, packed."""
    return zlib.decompress(base64.b85decode(str(root[_MESH_KEY])))


def uv_name_of(root: bpy.types.Object) -> str:
    """The name of the UV map that the model's materials look up."""
    return str(root.get(_UV_KEY, "UVMap"))


def remember_gathered(root: bpy.types.Object, gathered: Gathered, sources: Sequence[bpy.types.Object]) -> None:
    """Keep a gathered mesh with its materials; pictures that were baked stay with their materials."""
    group = wishes_group(root)
    baked = {entry.material: entry.baked for entry in group.surfaces}
    group.sources.clear()
    for item in sources:
        group.sources.add().item = item
    group.surfaces.clear()
    for material, has_uv in zip(gathered.materials, gathered.has_uv, strict=True):
        entry = group.surfaces.add()
        entry.material, entry.has_uv, entry.baked = material, has_uv, baked.get(material)
    # As text: bytes that are put in the place of others end at their first zero.
    root[_MESH_KEY] = base64.b85encode(zlib.compress(packed(gathered.mesh), 1)).decode()
    root[_UV_KEY] = gathered.uv_name
    root[_ORIGIN_KEY] = gathered.origin_m.tolist()
    root[_STOOD_KEY] = np.array(sources[0].matrix_world, dtype=float).ravel().tolist()


def placed_by(root: bpy.types.Object) -> Array | None:
    """From the gathered mesh, metres, to where the model stands now, (4, 4) float; None where it is no more."""
    sources = sources_of(root)
    if not sources or root.get(_STOOD_KEY) is None or sources[0].users_collection == ():
        return None
    stood = np.array(root[_STOOD_KEY], dtype=float).reshape(4, 4)
    if abs(np.linalg.det(stood)) < 1e-18:
        return None
    shift = np.eye(4)
    shift[:3, 3] = np.array(root[_ORIGIN_KEY], dtype=float)
    return np.asarray(np.array(sources[0].matrix_world, dtype=float) @ np.linalg.inv(stood) @ shift)


def wish_size(root: bpy.types.Object, wishes: Wishes, mesh: Mesh) -> None:
    """Put the size that is wished at first among the wishes, without laying nets anew."""
    group = wishes_group(root)
    used = mesh.vertices[mesh.corners][:, 2]
    group["size_by"] = 0 if wishes.height_mm is not None else 1
    group["height"] = max(1.0, float(np.ptp(used))) if wishes.height_mm is None else wishes.height_mm


def model_of(context: bpy.types.Context, root: bpy.types.Object) -> Model:
    """The model as its nets show it; HingeleafError where it cannot be worked out."""
    return chosen(context, packed_of(root), wishes_of(root), choices_of(root), _folds_of(root))


def found_anew(context: bpy.types.Context, root: bpy.types.Object) -> Model:
    """The model with its cuts found anew; HingeleafError where it cannot be unfolded."""
    return chosen(context, packed_of(root), wishes_of(root), choices_of(root), None)


def with_surfaces(root: bpy.types.Object, unfolded: Unfolded) -> Unfolded:
    """The nets with what is printed on them now; FileError where a picture cannot be written."""
    group = wishes_group(root)
    surfaces = [
        Surface("") if entry.material is None else surface_of(entry.material, entry.baked, has_uv=entry.has_uv)
        for entry in group.surfaces
    ]
    facets = unfolded.facets
    return replace(unfolded, facets=replace(facets, mesh=replace(facets.mesh, surfaces=tuple(surfaces))))


def is_stale(root: bpy.types.Object) -> bool:
    """Whether the objects were made by other wishes."""
    return str(root.get(_BUILT_KEY, "")) != _asked(root)


def note_built(root: bpy.types.Object) -> None:
    """The objects are made as it is wished now."""
    root[_BUILT_KEY] = _asked(root)


def _asked(root: bpy.types.Object) -> str:
    """All that the objects are made by but the mesh."""
    return f"{wishes_of(root).text()} {wishes_group(root).true_size}"


def list_notes(root: bpy.types.Object, model: Model, more: Sequence[MeshNote] = ()) -> None:
    """Show in the sidebar what was repaired and what is wrong, warnings first."""
    group = wishes_group(root)
    group.notes.clear()
    facets = model.unfolded.facets
    said = [*more, *(at_scale(note, model.scale) for note in facets.notes), *model.unfolded.notes]
    for note in sorted(dict.fromkeys((note.severity, note.text) for note in said), key=lambda note: note[0] == "note"):
        entry = group.notes.add()
        entry.severity, entry.name = note
    group.active_note = 0 if len(group.notes) else -1
    glued = float(facets.lengths_mm[[join.edge for join in model.joins]].sum()) if model.joins else 0.0
    nets, count = len(model.unfolded.nets), len(facets.rings)
    group.figures = (
        f"{nets} net{'s' * (nets != 1)}, {count} facets, {len(model.folds)} folds, "
        f"{len(model.joins)} edges to glue ({glued:.0f} mm)"
    )


def iterate_nets(root: bpy.types.Object) -> Iterator[bpy.types.Object]:
    """The objects of nets."""
    for item in root.children:
        if item.type == "MESH" and item.get(NET_KEY) is not None:
            yield item


#: Property of the object of a net: its number from 1.
NET_KEY = "hingeleaf_model_net"


def refuse_linked(root: bpy.types.Object) -> None:
    """HingeleafError where nets belong to another file."""
    if is_linked(root):
        raise HingeleafError(f"{root.name} is linked from another file and cannot be changed here")
