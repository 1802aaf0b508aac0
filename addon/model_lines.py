"""The lines of nets as they lie now, and drawing them over viewports: cuts, mountains, valleys, and labels.

What is drawn is read from the objects alone, so it is drawn as long as they are there, however they came to be.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import blf
import bpy
import gpu
import numpy as np
from bpy_extras import view3d_utils
from gpu_extras.batch import batch_for_shader
from mathutils import Matrix, Vector

from .geometry.nets import STYLES
from .geometry.transforms import Array
from .geometry.unfold.data import Ints
from .marking import begin_drawing, end_drawing
from .model_mesh import CUT_LINE, MOUNTAIN_LINE, TAB_LINE, VALLEY_LINE
from .model_preview import LABELS_KEY, LINE_KIND
from .model_state import FOLDED_EDGE, all_models, iterate_nets, wishes_group

__all__ = ["NetLines", "lines_of", "register_drawing", "unregister_drawing"]

_CUT, _MOUNTAIN, _VALLEY = (
    (*(part / 255 for part in STYLES[name].color), 1.0) for name in ("cut", "mountain", "valley")
)
#: Kinds of lines, their colours and widths in pixels.
_DRAWN = (
    (CUT_LINE, _CUT, 2.0),
    (TAB_LINE, _CUT, 1.0),
    (MOUNTAIN_LINE, _MOUNTAIN, 2.2),
    (VALLEY_LINE, _VALLEY, 2.2),
)
#: Dashes of valleys, and the gap between two, as parts of the nets' mean line.
_DASH = 0.12
#: Lines come so much nearer to the viewer, as part of the distance, so that they lie on their card.
_NEARER = 0.0015
_MOST_LABELS = 600
_LABEL_PX, _ASIDE_PX = 11.0, 11.0
#: What goes wrong where Blender's data vanishes or is half restored; a frame without lines is no harm.
_MISSED = (AttributeError, KeyError, ReferenceError, RuntimeError, ValueError)
_HANDLERS: list[Any] = []


@dataclass(frozen=True)
class NetLines:
    """The lines of a net in the world.

    Parameters
    ----------
    ends : (n, 2, 3) float, metres
    edges : (n,) int, the edge of the model that each is, -1 for the outline of a tab
    kinds : (n,) int
    labels : of each, "" for none
    """

    ends: Array
    edges: Ints
    kinds: Ints
    labels: tuple[str, ...]


def lines_of(context: bpy.types.Context, item: bpy.types.Object) -> NetLines:
    """The lines of the object of a net, however far it is folded now."""
    data: Any = item.evaluated_get(context.evaluated_depsgraph_get()).data
    edges, kinds = (_values(data, name) for name in (FOLDED_EDGE, LINE_KIND))
    count = 2 * int(np.count_nonzero(kinds >= 0) // 2)
    places = np.empty(3 * len(data.vertices), dtype=np.float32)
    data.vertices.foreach_get("co", places)
    matrix = np.array(item.matrix_world, dtype=float)
    points = places.reshape(-1, 3)[len(kinds) - count :].astype(float) @ matrix[:3, :3].T + matrix[:3, 3]
    own: Any = item.data
    labels = _labels(str(own.get(LABELS_KEY, "[]")))
    return NetLines(points.reshape(-1, 2, 3), edges[-count::2], kinds[-count::2], labels)


@lru_cache(maxsize=128)
def _labels(text: str) -> tuple[str, ...]:
    return tuple(json.loads(text))


def _values(data: Any, name: str) -> Ints:
    found = np.empty(len(data.vertices), dtype=np.int32)
    data.attributes[name].data.foreach_get("value", found)
    return found.astype(np.int64)


def _draw_view() -> None:
    context = bpy.context
    try:
        for root in all_models(context):
            if wishes_group(root).show_lines:
                for item in iterate_nets(root):
                    if item.visible_get():
                        _draw_lines(context, lines_of(context, item))
    except _MISSED:
        return


def _draw_lines(context: bpy.types.Context, lines: NetLines) -> None:
    """All lines of a net, valleys dashed."""
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    scale = context.preferences.system.ui_scale
    matrices: Any = gpu.matrix
    gpu.state.blend_set("ALPHA")
    gpu.state.depth_test_set("LESS_EQUAL")
    with matrices.push_pop():
        matrices.multiply_matrix(_nearer(context))
        for kind, color, width in _DRAWN:
            ends = lines.ends[lines.kinds == kind]
            if not len(ends):
                continue
            if kind == VALLEY_LINE:
                ends = _dashed(ends)
            places: Any = ends.reshape(-1, 3).astype(np.float32)
            batch = batch_for_shader(shader, "LINES", {"pos": places})
            shader.uniform_float("viewportSize", (context.region.width, context.region.height))
            shader.uniform_float("lineWidth", width * scale)
            shader.uniform_float("color", color)
            batch.draw(shader)
    gpu.state.depth_test_set("NONE")
    gpu.state.blend_set("NONE")


def _nearer(context: bpy.types.Context) -> Matrix:
    """What brings things a hair nearer to the viewer without moving them on the screen."""
    view = context.region_data
    if view.is_perspective:
        pulled = Matrix.Diagonal((1.0 - _NEARER, 1.0 - _NEARER, 1.0 - _NEARER, 1.0))
    else:
        pulled = Matrix.Translation((0.0, 0.0, _NEARER * view.view_distance))
    return view.view_matrix.inverted() @ pulled @ view.view_matrix


def _dashed(ends: Array) -> Array:
    """Lines as dashes, (m, 2, 3)."""
    lengths = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    step = max(_DASH * float(lengths.mean()), 1e-12)
    counts = np.clip(np.round(lengths / step), 1, 200).astype(np.int64)
    of = np.repeat(np.arange(len(ends)), counts)
    number = np.arange(len(of)) - np.repeat(np.cumsum(counts) - counts, counts)
    start, along = ends[of, 0], ends[of, 1] - ends[of, 0]
    # A dash, a gap, a dash ...: the line begins and ends with a dash.
    first = (number / (counts[of] - 0.4))[:, None]
    last = ((number + 0.6) / (counts[of] - 0.4))[:, None]
    return np.stack([start + first * along, start + last * along], axis=1)


def _draw_pixels() -> None:
    context = bpy.context
    try:
        for root in all_models(context):
            if wishes_group(root).show_labels:
                for item in iterate_nets(root):
                    if item.visible_get():
                        _draw_labels(context, lines_of(context, item))
    except _MISSED:
        return


def _draw_labels(context: bpy.types.Context, lines: NetLines) -> None:
    """The labels of cuts, at their middles."""
    font, scale = 0, context.preferences.system.ui_scale
    blf.size(font, _LABEL_PX * scale)
    blf.color(font, 0.05, 0.05, 0.05, 1.0)
    region: Any = context.region
    labelled = [number for number, label in enumerate(lines.labels) if label][:_MOST_LABELS]
    for number in labelled:
        start, end = (
            view3d_utils.location_3d_to_region_2d(region, region.data, Vector(place))
            for place in lines.ends[number].tolist()
        )
        if start is None or end is None or (end - start).length < 1.0:
            continue
        # Beside the line, on the facet, which lies left of it.
        along = (end - start).normalized()
        width, height = blf.dimensions(font, lines.labels[number])
        place = (start + end) / 2 + Vector((-along.y, along.x)) * _ASIDE_PX * scale
        blf.position(font, place.x - width / 2, place.y - height / 2, 0)
        blf.draw(font, lines.labels[number])


def register_drawing() -> None:
    """Begin to draw."""
    _HANDLERS.extend(begin_drawing(_draw_view, _draw_pixels))


def unregister_drawing() -> None:
    """Draw no more."""
    end_drawing(_HANDLERS)
