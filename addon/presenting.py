"""Putting a book before the user's eyes: alone, active, and through its camera."""

from __future__ import annotations

import bpy

__all__ = ["hide_other_collections", "look_through_camera", "make_active", "select"]

#: Zoom at which the picture nearly fills the viewport beside an open sidebar.
_CAMERA_ZOOM = 14.0


def hide_other_collections(context: bpy.types.Context, shown: bpy.types.Collection) -> None:
    """Untick every collection of the view layer but one; a tick in the Outliner brings each back."""
    for layer in context.view_layer.layer_collection.children:
        layer.exclude = layer.collection != shown


def make_active(context: bpy.types.Context, item: bpy.types.Object) -> None:
    """Select one object and nothing else."""
    select(context, [item])


def select(context: bpy.types.Context, items: list[bpy.types.Object]) -> None:
    """Select some objects and nothing else, and make the first active."""
    context.view_layer.update()
    for other in context.view_layer.objects:
        other.select_set(other in items)
    if items:
        context.view_layer.objects.active = items[0]


def look_through_camera(context: bpy.types.Context) -> None:
    """Turn every 3D viewport to the scene's camera and let it show artwork."""
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            for space in area.spaces:
                if isinstance(space, bpy.types.SpaceView3D):
                    space.region_3d.view_perspective = "CAMERA"
                    space.region_3d.view_camera_zoom = _CAMERA_ZOOM
                    space.region_3d.view_camera_offset = (0.0, 0.0)
                    space.shading.color_type = "TEXTURE"
