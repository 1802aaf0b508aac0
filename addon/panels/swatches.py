"""Squares of one color, as icons for legends."""

from __future__ import annotations

from typing import Any

import bpy
import bpy.utils.previews

from ..tinting import Color

__all__ = ["remove_swatches", "swatch"]

_SIZE = 16
_ICONS: list[Any] = []


def swatch(color: Color) -> int:
    """The number of an icon in that color, sRGB, 0 to 255."""
    if not _ICONS:
        _ICONS.append(bpy.utils.previews.new())
    icons, name = _ICONS[0], "{:02x}{:02x}{:02x}".format(*color)
    if name not in icons:
        icon = icons.new(name)
        icon.icon_size = (_SIZE, _SIZE)
        icon.icon_pixels_float = (*(channel / 255.0 for channel in color), 1.0) * _SIZE**2
    return int(icons[name].icon_id)


def remove_swatches() -> None:
    """Free them all."""
    while _ICONS:
        bpy.utils.previews.remove(_ICONS.pop())
