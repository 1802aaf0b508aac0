"""What is drawn over 3D viewports: the outline and the name of the active finding, and the sizes of a mechanism.

Both are in the coordinates of panels' objects, so they stay on the card while the book moves; they are worked out once
for each description, and drawing only moves them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import blf
import bpy
import gpu
import numpy as np
from gpu_extras.batch import batch_for_shader

from .books import active_book, panel_object
from .carrying import TEXT_KEY
from .convert import to_object
from .designing import mechanism_of, part_with
from .found import is_stale, on_screen, shown_check, symbols_in
from .geometry.design.measured import drawn_sizes
from .geometry.transforms import Array
from .marking import begin_drawing, draw_plate, end_drawing
from .tinting import SEVERITY_COLORS, linear

__all__ = ["DIMMED", "SYMBOL_PX", "register_handlers", "severity_color", "unregister_handlers"]

#: Width of a symbol before Blender's resolution scale, and how much of what is out of date is seen.
SYMBOL_PX, DIMMED = 26.0, 0.35
_TEXT_PX, _LINE_PX, _CASING_PX, _OUTLINE_PX = 12.0, 1.6, 3.6, 3.0
_PAD_PX, _GAP_PX = 4.0, 2.0
#: What goes wrong where Blender's data vanishes or is half restored, and the core's own errors; a frame without an
#: overlay is no harm, an error in a draw handler is printed for every frame.
_MISSED = (AttributeError, KeyError, ReferenceError, RuntimeError, ValueError)

_HANDLERS: list[Any] = []
RGBA = tuple[float, float, float, float]


@dataclass(frozen=True)
class _Lines:
    """Lines on one panel and texts at them.

    Parameters
    ----------
    panel : its name
    pairs : (2 n, 3) float, metres, in its object's coordinates
    texts : place, (3,) float, and what is written
    """

    panel: str
    pairs: Array
    texts: tuple[tuple[Array, str], ...] = ()


@dataclass(frozen=True)
class _Sizes:
    """The sizes of one mechanism, and the text of the description that they follow from."""

    text: str
    mechanism: str
    lines: tuple[_Lines, ...]


_KEPT: dict[str, _Sizes] = {}


def severity_color(severity: str, alpha: float = 1.0) -> RGBA:
    """The color of a severity, sRGB and alpha, 0 to 1."""
    red, green, blue = (channel / 255.0 for channel in SEVERITY_COLORS[severity])
    return red, green, blue, alpha


def _sizes(root: bpy.types.Object, mechanism: str) -> tuple[_Lines, ...]:
    """The sizes of a mechanism, worked out again only where the description or the mechanism is another."""
    text, kept = root[TEXT_KEY], _KEPT.get(root.name_full)
    if kept is None or (kept.text, kept.mechanism) != (text, mechanism):
        # Kept first, so that what cannot be worked out is not tried for every frame.
        _KEPT[root.name_full] = _Sizes(text, mechanism, ())
        spread = part_with(root, mechanism)
        lines = []
        for size in drawn_sizes(spread, mechanism):
            panel = spread.panels[size.panel]
            pairs, place = to_object(panel, size.lines.reshape(-1, 2)), to_object(panel, size.place[None])[0]
            lines.append(_Lines(size.panel, pairs, ((place, size.text),)))
        _KEPT[root.name_full] = _Sizes(text, mechanism, tuple(lines))
    return _KEPT[root.name_full].lines


def _measured(context: bpy.types.Context) -> Iterator[tuple[bpy.types.Object, _Lines]]:
    """The sizes that are shown, each with the object that it lies on."""
    check: Any = getattr(context.scene, "hingeleaf", None)
    root, mechanism = active_book(context), mechanism_of(context.active_object)
    if check is None or root is None or not check.show_dimensions or not mechanism:
        return
    for lines in _sizes(root, mechanism):
        item = panel_object(root, lines.panel)
        if item is not None and item.visible_get():
            yield item, lines


def _outlined(context: bpy.types.Context) -> Iterator[tuple[bpy.types.Object, Array]]:
    """The panels of the active finding, and the borders of their printed faces, (2 n, 3) float."""
    check = shown_check(context)
    if check is None or not 0 <= check.active < len(check.findings):
        return
    finding = check.findings[check.active]
    for name in dict.fromkeys(name for name in (finding.panel or finding.anchor, finding.other) if name):
        item = panel_object(check.book, name)
        if item is not None and item.visible_get():
            yield item, _border(item.data)


def _border(mesh: Any) -> Array:
    """The border of a slab's printed face: its side faces begin with an edge of it; the back's corners come last."""
    count = len(mesh.vertices)
    points = np.empty(3 * count, dtype=np.float32)
    mesh.vertices.foreach_get("co", points)
    ends = np.empty(2 * len(mesh.edges), dtype=np.int32)
    mesh.edges.foreach_get("vertices", ends)
    pairs = ends.reshape(-1, 2)
    front = pairs[(pairs < count // 2).all(axis=1)]
    faces = (tuple(face.vertices) for face in mesh.polygons)
    sides = {frozenset((face[0], face[-1])) for face in faces if min(face) < count // 2 <= max(face)}
    kept = [pair for pair in front.tolist() if frozenset(pair) in sides]
    return np.asarray(points.reshape(-1, 3)[np.array(kept, dtype=np.int64).ravel()], dtype=float)


def _draw_lines(context: bpy.types.Context, item: bpy.types.Object, pairs: Array, color: RGBA, width: float) -> None:
    """Lines on an object, cased in dark or light so that they are seen on any card."""
    if not len(pairs):
        return
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    places: Any = pairs.astype(np.float32)
    batch = batch_for_shader(shader, "LINES", {"pos": places})
    matrices: Any = gpu.matrix
    scale = context.preferences.system.ui_scale
    gpu.state.blend_set("ALPHA")
    gpu.state.depth_test_set("NONE")
    with matrices.push_pop():
        matrices.multiply_matrix(item.matrix_world)
        shader.uniform_float("viewportSize", (context.region.width, context.region.height))
        for stroke, shade in ((width + _CASING_PX - _LINE_PX, _against(color)), (width, color)):
            shader.uniform_float("lineWidth", stroke * scale)
            shader.uniform_float("color", shade)
            batch.draw(shader)
    gpu.state.blend_set("NONE")


def _against(color: RGBA) -> RGBA:
    """Black under light colors, white under dark ones, at the same strength."""
    red, green, blue, _ = linear((round(255 * color[0]), round(255 * color[1]), round(255 * color[2])))
    shade = 0.0 if 0.2126 * red + 0.7152 * green + 0.0722 * blue > 0.18 else 1.0
    return shade, shade, shade, 0.75 * color[3]


def _theme_color(context: bpy.types.Context) -> RGBA:
    """The color in which the theme writes over viewports."""
    high: Any = context.preferences.themes[0].view_3d.space.text_hi
    red, green, blue = high
    return float(red), float(green), float(blue), 1.0


def _shown(context: bpy.types.Context) -> bool:
    space: Any = context.space_data
    return space is not None and space.type == "VIEW_3D" and bool(space.overlay.show_overlays)


def _draw_in_space() -> None:
    """Lines, in the world."""
    context = bpy.context
    if not _shown(context):
        return
    for item, lines in _measured(context):
        _draw_lines(context, item, lines.pairs, _theme_color(context), _LINE_PX)
    for item, border in _outlined(context):
        check = shown_check(context)
        alpha = DIMMED if is_stale(check) else 1.0
        _draw_lines(context, item, border, severity_color(check.findings[check.active].severity, alpha), _OUTLINE_PX)


def _draw_on_screen() -> None:
    """Texts, in the region's pixels."""
    context = bpy.context
    if not _shown(context):
        return
    scale = context.preferences.system.ui_scale
    taken: list[tuple[Array, Array]] = []
    check = shown_check(context)
    if check is not None and 0 <= check.active < len(check.findings):
        for symbol in symbols_in(context, SYMBOL_PX * scale):
            if symbol.index == check.active:
                alpha = DIMMED if is_stale(check) else 1.0
                above = symbol.place + np.array([0.0, 0.8 * SYMBOL_PX * scale])
                _write(context, above, check.findings[check.active].short, taken, alpha)
    for item, lines in _measured(context):
        for place, text in lines.texts:
            at = on_screen(context, item, place)
            if at is not None:
                _write(context, at + [0.0, _GAP_PX * scale], text, taken)


def _write(
    context: bpy.types.Context, place: Array, text: str, taken: list[tuple[Array, Array]], alpha: float = 1.0
) -> None:
    """A text on a plate, over the middle of its foot, inside what of the region is seen, where none is yet."""
    scale = context.preferences.system.ui_scale
    blf.size(0, _TEXT_PX * scale)
    size = np.array([blf.dimensions(0, text)[0], _TEXT_PX * scale])
    pad = _PAD_PX * scale
    left, right = _seen(context)
    place = place - [size[0] / 2, 0.0]
    place[0] = max(left + pad, min(place[0], right - pad - size[0]))
    low, high = place - pad, place + size + pad
    for _ in range(len(taken)):
        hit = [other for other in taken if (low < other[1]).all() and (high > other[0]).all()]
        if not hit:
            break
        step = np.array([0.0, max(other[1][1] for other in hit) - low[1]])
        low, high = low + step, high + step
    taken.append((low, high))
    color = _theme_color(context)
    draw_plate(low, high, _against((*color[:3], alpha)))
    blf.position(0, float(low[0] + pad), float(low[1] + pad + 0.15 * size[1]), 0.0)
    blf.color(0, *color[:3], alpha)
    blf.draw(0, text)


def _seen(context: bpy.types.Context) -> tuple[float, float]:
    """From where to where a region is seen beside its area's toolbar and sidebar, pixels."""
    widths = {region.type: region.width for region in context.area.regions if region.width > 1}
    return float(widths.get("TOOLS", 0)), float(context.region.width - widths.get("UI", 0))


def _quietly(draw: Callable[[], None]) -> Callable[[], None]:
    """The same, without errors."""

    def drawn() -> None:
        try:
            draw()
        except _MISSED:
            return

    return drawn


def register_handlers() -> None:
    """Draw over every 3D viewport from now on."""
    _HANDLERS.extend(begin_drawing(_quietly(_draw_in_space), _quietly(_draw_on_screen)))


def unregister_handlers() -> None:
    """No longer."""
    end_drawing(_HANDLERS)
    _KEPT.clear()
