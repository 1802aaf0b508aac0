"""Mechanisms as Blender assets: an object that shows one as it stands, and carries its text and its artwork.

Such an object is no part of a book. Dropped into a scene it is noticed, and the mechanism is put onto the nearest fold.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector

from .books import panels_of
from .carrying import name_of
from .geometry import Description, Spread
from .geometry.changes import spec_of
from .geometry.design.arranging import fold_under
from .geometry.design.copying import family
from .geometry.trees import owner_of
from .projecting import world_points

__all__ = [
    "after_update",
    "artwork_of",
    "cutting_of",
    "is_dropped",
    "make_asset",
    "mark_seen",
    "remove_dropped",
    "snapshot",
    "stop_watching",
    "window_showing",
]

#: Properties of an asset's object: the mechanism's text, and its kind.
_TEXT, _KIND = "hingeleaf_cutting", "hingeleaf_cutting_kind"
#: The collection that holds the assets made in a file; it is not shown.
_SHELF = "Hingeleaf Assets"


def cutting_of(item: bpy.types.Object) -> str:
    """The mechanism's text that an object carries; "" for other objects."""
    return str(item.get(_TEXT, ""))


def is_dropped(item: bpy.types.Object | None) -> bool:
    """Whether an object is an asset's copy in a scene, not the asset itself."""
    return item is not None and bool(cutting_of(item)) and (item.asset_data is None or item.library is not None)


def snapshot(
    context: bpy.types.Context, root: bpy.types.Object, description: Description, spread: Spread, mechanism: str
) -> bpy.types.Object:
    """A mechanism with all that stands on it as one mesh, as it stands now.

    Parameters
    ----------
    context : of the window
    root : the book
    description, spread : its design
    mechanism : its id

    Returns
    -------
    the object, in no collection; its origin is where the mechanism stands on its fold, its axes are the book's
    """
    members = set(family(description, mechanism))
    items = [item for name, item in panels_of(root).items() if owner_of(name) in members]
    context.view_layer.update()
    origin = _origin(root, description, spread, mechanism, items)
    onto = (Matrix.Translation(origin) @ root.matrix_world.to_quaternion().to_matrix().to_4x4()).inverted()
    mesh = bpy.data.meshes.new(mechanism)
    _join(context, items, onto, mesh)
    return bpy.data.objects.new(str(spec_of(description, mechanism).values.get("title", mechanism)), mesh)


def _origin(
    root: bpy.types.Object,
    description: Description,
    spread: Spread,
    mechanism: str,
    items: Iterable[bpy.types.Object],
) -> Vector:
    """Where a mechanism stands, in the world."""
    spec = spec_of(description, mechanism)
    at, fold, panels = spec.values.get("at", 0.0), fold_under(spec, spread), panels_of(root)
    if fold is not None:
        along = float(at[1]) if isinstance(at, tuple) else float(at)
        name, point = fold.left.panel, fold.left.point(along)
    elif "panel" in spec.values:
        name, point = str(spec.values["panel"]), np.array(at, dtype=float)
    else:
        places = [item.matrix_world.translation for item in items]
        return sum(places, Vector()) / max(len(places), 1)
    return world_points(panels[name], spread.panels[name], point[None])[0]


def _join(context: bpy.types.Context, items: Iterable[bpy.types.Object], onto: Matrix, target: bpy.types.Mesh) -> None:
    """Put the meshes of several objects, as they are seen, into one."""
    import bmesh

    slots: dict[bpy.types.Material | None, int] = {}
    graph = context.evaluated_depsgraph_get()
    whole = bmesh.new()
    try:
        for item in items:
            part: Any = bpy.data.meshes.new_from_object(item.evaluated_get(graph), depsgraph=graph)
            part.transform(onto @ item.matrix_world)
            own = [slots.setdefault(material, len(slots)) for material in item.data.materials]  # type: ignore[union-attr]
            indices = np.empty(len(part.polygons), dtype=np.int32)
            part.polygons.foreach_get("material_index", indices)
            part.polygons.foreach_set("material_index", np.array(own, dtype=np.int32)[indices])
            whole.from_mesh(part)
            bpy.data.meshes.remove(part)
        whole.to_mesh(target)
    finally:
        whole.free()
    for material in slots:
        target.materials.append(material)


def make_asset(context: bpy.types.Context, item: bpy.types.Object, text: str, kind: str, said: str) -> None:
    """Mark an object as the asset of a mechanism, and put it away where it is not seen.

    Parameters
    ----------
    context : of the window
    item : from snapshot
    text : the mechanism's cutting
    kind : of mechanism
    said : what it is, for its tooltip
    """
    item[_TEXT], item[_KIND] = text, kind
    item.hide_render = True
    shelf = bpy.data.collections.get(_SHELF) or bpy.data.collections.new(_SHELF)
    if shelf.name not in context.scene.collection.children:
        context.scene.collection.children.link(shelf)
    shelf.objects.link(item)
    context.view_layer.layer_collection.children[shelf.name].exclude = True
    item.asset_mark()
    asset: Any = item.asset_data
    asset.description = said
    for tag in ("Hingeleaf", kind):
        asset.tags.new(tag, skip_if_exists=True)
    mark_seen()
    if not bpy.app.background:
        item.asset_generate_preview()


def artwork_of(item: bpy.types.Object) -> dict[str, bpy.types.Image]:
    """The pictures that an asset carries, by the names that its text has for them."""
    found: dict[str, bpy.types.Image] = {}
    for slot in item.material_slots:
        tree: Any = None if slot.material is None else slot.material.node_tree
        for node in () if tree is None else tree.nodes:
            if node.type == "TEX_IMAGE" and node.image is not None and name_of(node.image):
                found[name_of(node.image)] = node.image
    return found


def remove_dropped(item: bpy.types.Object) -> None:
    """Remove an asset's copy, and of what it brought along what nothing else uses."""
    mesh: Any = item.data
    materials = {slot.material for slot in item.material_slots if slot.material is not None}
    images = set(artwork_of(item).values())
    bpy.data.objects.remove(item)
    for blocks in ([mesh], materials, images):
        bpy.data.batch_remove([block for block in blocks if block is not None and block.users == 0])


# Noticing what is dropped

#: How many objects there were when it was looked last; and which copies have been looked at.
_LOOKED: dict[str, int] = {"objects": -1}
_SEEN: set[int] = set()
_SOON_S = 0.05


def mark_seen() -> None:
    """Leave alone whatever copies there are now, as after a file was opened."""
    _LOOKED["objects"] = len(bpy.data.objects)
    _SEEN.update(item.session_uid for item in bpy.data.objects if cutting_of(item))


def after_update(*_: object) -> None:
    """Called after every update of the scene: looks only when the number of objects has changed."""
    count = len(bpy.data.objects)
    if count == _LOOKED["objects"]:
        return
    grown = count > _LOOKED["objects"]
    _LOOKED["objects"] = count
    if grown and any(True for _ in _dropped()) and not bpy.app.timers.is_registered(_place_now):
        bpy.app.timers.register(_place_now, first_interval=_SOON_S)


def _dropped() -> Iterator[bpy.types.Object]:
    """Copies that nobody has looked at yet."""
    for item in bpy.data.objects:
        if cutting_of(item) and item.session_uid not in _SEEN and is_dropped(item):
            yield item


def _place_now() -> float | None:
    """Put what was dropped onto its fold; waits while it is still being dragged."""
    waiting = False
    for item in list(_dropped()):
        window = window_showing(bpy.context.window_manager.windows, item)
        if window is None:
            continue
        if any(operator.bl_idname == "TRANSFORM_OT_translate" for operator in _modal(window)):
            waiting = True
            continue
        _SEEN.add(item.session_uid)
        with bpy.context.temp_override(window=window):
            try:
                bpy.ops.hingeleaf.place_asset("EXEC_DEFAULT", True, name=item.name)  # type: ignore[attr-defined]
            except RuntimeError as error:
                # How an operator that was called says what it reported, or why it is unavailable.
                _say(window, str(error))
    return _SOON_S if waiting else None


def _say(window: bpy.types.Window, text: str) -> None:
    """Say at the pointer why what was dropped could not be put up."""
    sentence = text.removeprefix("Error: ").strip().splitlines()[-1]

    def draw(menu: Any, context: bpy.types.Context) -> None:
        menu.layout.label(text=sentence)

    with bpy.context.temp_override(window=window):
        bpy.context.window_manager.popup_menu(draw, title="Place Asset on Fold", icon="ERROR")


def _modal(window: bpy.types.Window) -> Iterable[Any]:
    """What is going on in a window."""
    found: Iterable[Any] = getattr(window, "modal_operators", ())
    return found


def window_showing(windows: Iterable[bpy.types.Window], item: bpy.types.Object) -> bpy.types.Window | None:
    """The window that shows an object's scene; None where none does."""
    return next((window for window in windows if item.name in window.view_layer.objects), None)


def stop_watching() -> None:
    """Look no more."""
    if bpy.app.timers.is_registered(_place_now):
        bpy.app.timers.unregister(_place_now)
    _SEEN.clear()
    _LOOKED["objects"] = -1
