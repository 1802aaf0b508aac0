"""Lines and labels drawn over a viewport, in colours that people who see few colours can tell apart.

The palette is the one widely recommended for colour-blind readers (Okabe and Ito; values from memory); what a colour
says is always said by a width or a sign as well.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import blf
import bpy
import gpu
from gpu_extras.batch import batch_for_shader
from mathutils import Vector

from .geometry.transforms import Array

__all__ = [
    "DIM",
    "FREE",
    "HOVERED",
    "REFUSED",
    "begin_drawing",
    "draw_label",
    "draw_lines",
    "draw_plate",
    "end_drawing",
]

Color = tuple[float, float, float, float]
#: Blue: can carry; orange: under the pointer; vermilion: refused; grey: not offered. sRGB as drawn.
FREE: Color = (0.0, 0.45, 0.70, 0.95)
HOVERED: Color = (0.90, 0.62, 0.0, 1.0)
REFUSED: Color = (0.84, 0.37, 0.0, 1.0)
DIM: Color = (0.45, 0.45, 0.45, 0.6)
_PLATE: Color = (0.05, 0.05, 0.05, 0.82)
_TEXT: Color = (0.97, 0.97, 0.97, 1.0)
_LETTERS = 13
_AWAY_PX = 18


def begin_drawing(in_space: Callable[[], None], on_screen: Callable[[], None]) -> list[Any]:
    """Call two functions from now on whenever a 3D viewport is drawn; returns what ends it."""
    add: Any = bpy.types.SpaceView3D.draw_handler_add
    return [add(in_space, (), "WINDOW", "POST_VIEW"), add(on_screen, (), "WINDOW", "POST_PIXEL")]


def end_drawing(handlers: list[Any]) -> None:
    """Draw no more what was begun, and empty the list."""
    while handlers:
        bpy.types.SpaceView3D.draw_handler_remove(handlers.pop(), "WINDOW")


def draw_lines(places: Sequence[Vector], color: Sequence[float], width: float) -> None:
    """Draw lines in the world, two places each, over everything, so wide in pixels."""
    if not places:
        return
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    batch = batch_for_shader(shader, "LINES", {"pos": [(place.x, place.y, place.z) for place in places]})
    viewport: Any = gpu.state.viewport_get()
    gpu.state.blend_set("ALPHA")
    gpu.state.depth_test_set("NONE")
    shader.bind()
    shader.uniform_float("viewportSize", (viewport[2], viewport[3]))
    shader.uniform_float("lineWidth", width * _scale())
    shader.uniform_float("color", tuple(color))
    batch.draw(shader)
    gpu.state.blend_set("NONE")


def draw_label(pointer: tuple[float, float], text: str, color: Sequence[float], sign: str) -> None:
    """Draw a sentence on a dark plate beside the pointer, with a sign in a colour before it."""
    scale = _scale()
    font = 0
    blf.size(font, _LETTERS * scale)
    width, height = blf.dimensions(font, f"{sign}  {text}")
    x, y = pointer[0] + _AWAY_PX * scale, pointer[1] + _AWAY_PX * scale
    region = bpy.context.region
    if region is not None:
        x = max(8.0, min(x, _free_width(region) - width - 16 * scale))
    pad = 6 * scale
    draw_plate((x - pad, y - pad), (x + width + pad, y + height + pad), _PLATE)
    for words, shade in ((sign, color), (text, _TEXT)):
        blf.color(font, *tuple(shade))
        left = x if words == sign else x + blf.dimensions(font, f"{sign}  ")[0]
        blf.position(font, left, y, 0)
        blf.draw(font, words)


def _free_width(region: bpy.types.Region) -> float:
    """What of a region's width is seen: the sidebar may lie over it."""
    area: Any = bpy.context.area
    others = [] if area is None else area.regions
    seen = (each.x - region.x for each in others if each.type == "UI" and each.width > 1)
    return float(min([region.width, *seen]))


def draw_plate(low: Sequence[float] | Array, high: Sequence[float] | Array, color: Sequence[float]) -> None:
    """Fill a rectangle of the screen from its lower left to its upper right corner, pixels."""
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    corners = [(low[0], low[1]), (high[0], low[1]), (low[0], high[1]), (high[0], high[1])]
    batch = batch_for_shader(shader, "TRI_STRIP", {"pos": [(float(x), float(y)) for x, y in corners]})
    gpu.state.blend_set("ALPHA")
    shader.bind()
    shader.uniform_float("color", tuple(color))
    batch.draw(shader)
    gpu.state.blend_set("NONE")


def _scale() -> float:
    return bpy.context.preferences.system.ui_scale
