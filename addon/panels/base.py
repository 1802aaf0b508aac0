"""What all panels share: their place, and text that breaks into lines."""

import textwrap
from typing import TYPE_CHECKING, Any

import bpy

__all__ = ["SidebarPanel", "draw_text"]

#: Mean width of a letter of the interface font at scale 1, pixels (measured in the default theme).
_LETTER_PX = 6.6
_BORDER_PX = 46


if TYPE_CHECKING:
    _Panel = bpy.types.Panel
else:
    _Panel = object


class SidebarPanel(_Panel):
    """Stands in the sidebar of the 3D viewport."""

    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = "Hingeleaf"


def draw_text(layout: Any, context: bpy.types.Context, text: str, *, icon: str = "NONE") -> None:
    """Draw a sentence in as many lines as the region's width asks for."""
    scale = context.preferences.system.ui_scale
    letters = max(16, int((context.region.width / scale - _BORDER_PX) / _LETTER_PX))
    column = layout.column(align=True)
    column.scale_y = 0.8
    for number, line in enumerate(textwrap.wrap(text, letters)):
        first = icon if number == 0 else "BLANK1"
        column.label(text=line, icon="NONE" if icon == "NONE" else first)
