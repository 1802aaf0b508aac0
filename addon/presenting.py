"""Putting a book before the user's eyes: alone, active, and through its camera."""

from __future__ import annotations

from collections.abc import Iterator

import bpy
import numpy as np
from mathutils import Vector

__all__ = [
    "hide_other_collections",
    "light_again",
    "light_flat",
    "look_down_on",
    "look_through_camera",
    "make_active",
    "present",
    "redraw",
    "select",
]

#: Zoom at which the picture nearly fills the viewport beside an open sidebar.
_CAMERA_ZOOM = 14.0
#: Width of a viewport's picture at the distance of one lens length, mm (measured), and its share kept for each border.
_VIEWPORT_MM = 72.0
_BORDER = 0.08


def hide_other_collections(context: bpy.types.Context, shown: bpy.types.Collection) -> None:
    """Untick every collection of the view layer but one; a tick in the Outliner brings each back."""
    for layer in context.view_layer.layer_collection.children:
        layer.exclude = layer.collection != shown and shown not in list(layer.collection.children_recursive)


def make_active(context: bpy.types.Context, item: bpy.types.Object) -> None:
    """Select one object and nothing else."""
    select(context, [item])


def select(context: bpy.types.Context, items: list[bpy.types.Object]) -> None:
    """Select some objects and nothing else, and make the first active."""
    context.view_layer.update()
    # What lies in a collection that is not ticked cannot be selected.
    items = [item for item in items if item.name in context.view_layer.objects]
    for other in context.view_layer.objects:
        other.select_set(other in items)
    if items:
        context.view_layer.objects.active = items[0]


def present(
    context: bpy.types.Context, active: bpy.types.Object, *, alone: bpy.types.Collection | None, through_camera: bool
) -> None:
    """Show what was opened or made: one object active, one collection alone unless None, through the scene's camera."""
    if alone is not None:
        hide_other_collections(context, alone)
    make_active(context, active)
    if through_camera:
        look_through_camera(context)


def look_through_camera(context: bpy.types.Context) -> None:
    """Turn every 3D viewport to the scene's camera and let it show artwork."""
    for _, space in _viewports(context):
        space.region_3d.view_perspective = "CAMERA"
        space.region_3d.view_camera_zoom = _CAMERA_ZOOM
        space.region_3d.view_camera_offset = (0.0, 0.0)
        space.shading.color_type = "TEXTURE"
        # Lamps, and lines from every panel to what it hangs on, would lie over the picture.
        space.overlay.show_extras = False
        space.overlay.show_relationship_lines = False
        space.overlay.show_object_origins = False


def look_down_on(context: bpy.types.Context, root: bpy.types.Object, items: list[bpy.types.Object]) -> None:
    """Turn every 3D viewport to look square down on objects that lie on a book's page plane."""
    context.view_layer.update()
    corners = np.array([item.matrix_world @ Vector(corner) for item in items for corner in item.bound_box])
    low, high = corners.min(axis=0), corners.max(axis=0)
    turn = root.matrix_world.to_quaternion()
    for area, space in _viewports(context):
        covered = _sidebar_share(area)
        width = float((high - low).max()) / (1.0 - covered - 2 * _BORDER)
        view = space.region_3d
        view.view_perspective, view.view_rotation = "PERSP", turn
        view.view_distance = width * space.lens / _VIEWPORT_MM
        view.view_location = Vector((low + high) / 2) + turn @ Vector((covered * width / 2, 0.0, 0.0))
        space.shading.color_type = "TEXTURE"


def _sidebar_share(area: bpy.types.Area) -> float:
    """How much of a viewport's width its sidebar covers, 0 to 0.5."""
    widths = {region.type: region.width for region in area.regions}
    return min(0.5, widths.get("UI", 0) / max(widths.get("WINDOW", 1), 1))


def redraw(context: bpy.types.Context) -> None:
    """Let every 3D viewport, with its sidebar, be drawn again."""
    for area, _ in _viewports(context):
        area.tag_redraw()


def light_flat(context: bpy.types.Context) -> str:
    """Show colors in solid viewports as they are, without light and shade; returns how the first was lit."""
    lights = []
    for _, space in _viewports(context):
        lights.append(space.shading.light)
        space.shading.light = "FLAT"
    return lights[0] if lights else "STUDIO"


def light_again(context: bpy.types.Context, light: str) -> None:
    """Light solid viewports as before; one that somebody has lit otherwise meanwhile stays so."""
    for _, space in _viewports(context):
        if space.shading.light == "FLAT":
            space.shading.light = light  # type: ignore[assignment]


def _viewports(context: bpy.types.Context) -> Iterator[tuple[bpy.types.Area, bpy.types.SpaceView3D]]:
    """Every 3D viewport of every window, and the area that shows it."""
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            for space in area.spaces:
                if isinstance(space, bpy.types.SpaceView3D):
                    yield area, space
