"""Hingeleaf in Blender: open a description, see it move, check it, film it, print it."""

import bpy

from . import film_job, operators, panels, properties

_CLASSES = (*properties.CLASSES, *operators.CLASSES, *panels.CLASSES)


def register() -> None:
    """Called by Blender when the extension is enabled."""
    for cls in _CLASSES:
        bpy.utils.register_class(cls)
    properties.register_properties()
    operators.register_menus()


def unregister() -> None:
    """Called by Blender when the extension is disabled."""
    film_job.stop_running()
    operators.unregister_menus()
    properties.unregister_properties()
    for cls in reversed(_CLASSES):
        bpy.utils.unregister_class(cls)
