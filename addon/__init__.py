"""Hingeleaf in Blender: design a spread, see it move, check it, film it, print it."""

import bpy

from . import (
    design_properties,
    designing,
    film_job,
    gizmos,
    handlers,
    model_lines,
    model_properties,
    model_updating,
    operators,
    overlays,
    panels,
    properties,
    tinting,
)

_CLASSES = (
    *properties.CLASSES,
    *design_properties.CLASSES,
    *model_properties.CLASSES,
    *operators.CLASSES,
    *panels.CLASSES,
    *gizmos.CLASSES,
)


def register() -> None:
    """Called by Blender when the extension is enabled."""
    for cls in _CLASSES:
        bpy.utils.register_class(cls)
    properties.register_properties()
    design_properties.register_design()
    model_properties.register_model()
    operators.register_menus()
    handlers.register_handlers()
    overlays.register_handlers()
    model_updating.register_handlers()
    model_lines.register_drawing()
    tinting.register_handlers()


def unregister() -> None:
    """Called by Blender when the extension is disabled."""
    film_job.stop_running()
    operators.stop_picking(bpy.context)
    operators.stop_picking_edges(bpy.context)
    model_lines.unregister_drawing()
    model_updating.unregister_handlers()
    handlers.unregister_handlers()
    tinting.unregister_handlers()
    overlays.unregister_handlers()
    panels.remove_swatches()
    operators.unregister_menus()
    model_properties.unregister_model()
    design_properties.unregister_design()
    properties.unregister_properties()
    designing.forget_designs()
    for cls in reversed(_CLASSES):
        bpy.utils.unregister_class(cls)
