"""Outlines as curves that a user edits with Blender's own tools: shown where they are cut, and read back from there."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np

from .books import panels_of
from .convert import from_blender, metres, millimetres, object_frame, to_blender
from .geometry.design.outline_keys import OutlineKey
from .geometry.design.strokes import Stroke, chains_of
from .geometry.errors import HingeleafError
from .geometry.spread import Spread
from .geometry.transforms import Array, inverse

__all__ = ["drawn_key", "is_drawing", "make_drawing", "read_strokes", "remove_drawing"]

#: Properties of a curve that shows an outline: the mechanism and its key.
_MECHANISM, _KEY = "hingeleaf_outline_of", "hingeleaf_outline_key"
#: Inner points of a straight part's handles, as Blender's own vector handles have them.
_THIRD = 1 / 3


def is_drawing(item: bpy.types.Object | None) -> bool:
    """Whether an object is a curve that shows an outline for editing."""
    return item is not None and item.get(_KEY) is not None


def drawn_key(item: bpy.types.Object) -> tuple[str, str]:
    """The mechanism and the key whose outline a curve shows."""
    return str(item[_MECHANISM]), str(item[_KEY])


def make_drawing(root: bpy.types.Object, spread: Spread, key: OutlineKey) -> bpy.types.Object:
    """A curve that shows an outline in the plane of its panel and moves with it.

    Parameters
    ----------
    root : the book
    spread : its spread
    key : the outline

    Returns
    -------
    the curve's object, in the book's collection
    """
    name = f"{key.mechanism} {key.key.replace('_', ' ')}"
    data: Any = bpy.data.curves.new(name, "CURVE")
    data.dimensions, data.fill_mode = "2D", "NONE"
    # On the net, so that the object need not mirror.
    for stroke in key.strokes:
        _add_spline(data, stroke.moved(key.frame))
    item = bpy.data.objects.new(name, data)
    item[_MECHANISM], item[_KEY] = key.mechanism, key.key
    item.show_in_front = True
    item.hide_render = True
    panel = panels_of(root)[key.panel]
    panel.users_collection[0].objects.link(item)
    item.parent = panel
    item.matrix_basis = to_blender(inverse(object_frame(spread.panels[key.panel])))
    return item


def remove_drawing(item: bpy.types.Object) -> None:
    """Remove a curve that showed an outline."""
    data: Any = item.data
    bpy.data.objects.remove(item)
    if data.users == 0:
        bpy.data.curves.remove(data)


def read_strokes(
    context: bpy.types.Context, item: bpy.types.Object, root: bpy.types.Object, spread: Spread, key: OutlineKey
) -> tuple[Stroke, ...]:
    """The lines of an object, seen along the normal of an outline's panel, in the coordinates of the outline's key.

    Parameters
    ----------
    context : of the window
    item : a curve, or a mesh of edges, anywhere in the scene
    root, spread, key : the book, its spread, and the outline

    Returns
    -------
    tuple of Stroke; curves as curves, unless modifiers have a say

    Raises
    ------
    HingeleafError
        The object is neither a curve nor a mesh, or its edges branch.
    """
    if item.type not in ("CURVE", "MESH"):
        raise HingeleafError(f"{item.name} is neither a curve nor a mesh; draw the outline as one of these")
    item.update_from_editmode()
    context.view_layer.update()
    panel = panels_of(root)[key.panel]
    into_net = object_frame(spread.panels[key.panel]) @ from_blender(panel.matrix_world.inverted())
    onto = np.linalg.inv(_in_space(key.frame)) @ into_net @ from_blender(item.matrix_world)
    data: Any = item.data
    if item.type == "CURVE" and not item.modifiers and all(spline.type != "NURBS" for spline in data.splines):
        return tuple(_spline_stroke(spline, onto) for spline in data.splines if _points(spline))
    return _evaluated_strokes(context, item, onto)


def _in_space(frame: Array) -> Array:
    """A frame in the plane as one in space, (3, 3) to (4, 4) float."""
    found = np.eye(4)
    found[:2, :2], found[:2, 3] = frame[:2, :2], frame[:2, 2]
    return found


def _add_spline(data: Any, stroke: Stroke) -> None:
    """A Bezier spline where the line is curved, else one of points."""
    count = len(stroke.points)
    spline = data.splines.new("BEZIER" if stroke.is_curved else "POLY")
    spline.use_cyclic_u = stroke.closed
    places = metres(np.column_stack([stroke.points, np.zeros(count)]))
    if not stroke.is_curved:
        spline.points.add(count - 1)
        spline.points.foreach_set("co", np.column_stack([places, np.ones(count)]).astype(np.float32).ravel())
        return
    spline.bezier_points.add(count - 1)
    for index, point in enumerate(spline.bezier_points):
        before, after = (index - 1) % count, (index + 1) % count
        point.co = places[index]
        for side, part, other, handle in (
            ("left", before, before, stroke.before[index]),
            ("right", index, after, stroke.after[index]),
        ):
            straight = part < stroke.count and stroke.is_straight(part)
            place = stroke.points[index] + _THIRD * (stroke.points[other] - stroke.points[index])
            setattr(point, f"handle_{side}_type", "VECTOR" if straight else "FREE")
            setattr(point, f"handle_{side}", (*metres(place if straight else handle), 0.0))


def _points(spline: Any) -> Any:
    return spline.bezier_points if spline.type == "BEZIER" else spline.points


def _spline_stroke(spline: Any, onto: Array) -> Stroke:
    points = _places(_points(spline), "co", onto)
    if spline.type != "BEZIER":
        return Stroke(points, points, points, bool(spline.use_cyclic_u))
    before, after = (_places(spline.bezier_points, f"handle_{side}", onto) for side in ("left", "right"))
    return Stroke(points, before, after, bool(spline.use_cyclic_u))


def _places(points: Any, name: str, onto: Array) -> Array:
    """Places of a curve's points or handles on the key's plane, (n, 2) float, mm."""
    places = np.array([tuple(getattr(point, name))[:3] for point in points], dtype=float)
    return _laid(places, onto)


def _laid(places: Array, onto: Array) -> Array:
    return np.asarray((millimetres(places) @ onto[:3, :3].T + onto[:3, 3])[:, :2])


def _evaluated_strokes(context: bpy.types.Context, item: bpy.types.Object, onto: Array) -> tuple[Stroke, ...]:
    """The edges of an object as its modifiers leave it."""
    seen = item.evaluated_get(context.evaluated_depsgraph_get())
    mesh = seen.to_mesh()
    try:
        places = np.empty(3 * len(mesh.vertices), dtype=np.float32)
        mesh.vertices.foreach_get("co", places)
        edges = np.empty(2 * len(mesh.edges), dtype=np.int32)
        mesh.edges.foreach_get("vertices", edges)
    finally:
        seen.to_mesh_clear()
    return chains_of(_laid(places.reshape(-1, 3).astype(float), onto), edges.reshape(-1, 2).astype(float))
