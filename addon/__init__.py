"""Hingeleaf in Blender: design a spread, see it move, check it, film it, print it."""

import bpy

from . import design_properties, designing, film_job, gizmos, handlers, operators, overlays, panels, properties, tinting

_CLASSES = (*properties.CLASSES, *design_properties.CLASSES, *operators.CLASSES, *panels.CLASSES, *gizmos.CLASSES)


def register() -> None:
    """Called by Blender when the extension is enabled."""
    for cls in _CLASSES:
        bpy.utils.register_class(cls)
    properties.register_properties()
    design_properties.register_design()
    operators.register_menus()
    handlers.register_handlers()
    overlays.register_handlers()
    tinting.register_handlers()


def unregister() -> None:
    """Called by Blender when the extension is disabled."""
    film_job.stop_running()
    operators.stop_picking(bpy.context)
    handlers.unregister_handlers()
    tinting.unregister_handlers()
    overlays.unregister_handlers()
    panels.remove_swatches()
    operators.unregister_menus()
    design_properties.unregister_design()
    properties.unregister_properties()
    designing.forget_designs()
    for cls in reversed(_CLASSES):
        bpy.utils.unregister_class(cls)
