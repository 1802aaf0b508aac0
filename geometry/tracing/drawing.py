"""A traced outline as SVG, in millimetres, to be opened in a drawing program."""

from __future__ import annotations

import numpy as np

from ..design.strokes import Stroke
from ..nets.lettering import one_line
from ..nets.svg import child, number, svg_bytes, svg_root
from .trace import Trace

__all__ = ["trace_svg"]


def trace_svg(trace: Trace, title: str) -> bytes:
    """Write a traced outline, a path a separate part, holes in it.

    Parameters
    ----------
    trace : Trace
    title : of the drawing

    Returns
    -------
    bytes, UTF-8
    """
    width, height = trace.edge.size_mm
    root = svg_root(one_line(title), width, height)
    style = {"fill": "none", "stroke": "#d0021b", "stroke-width": "0.1", "fill-rule": "evenodd"}
    layer = child(root, "g", {"id": "outline", **style})
    turned = np.array([[1.0, 0.0, 0.0], [0.0, -1.0, height], [0.0, 0.0, 1.0]])
    for index, shape in enumerate(trace.shapes, start=1):
        data = " ".join(_data(stroke.moved(turned)) for stroke in (shape.outline, *shape.holes))
        child(layer, "path", {"id": f"part-{index}", "d": data})
    return svg_bytes(root)


def _data(stroke: Stroke) -> str:
    """A closed line as the data of a path."""
    words = ["M", _said(stroke.points[0])]
    for part in range(stroke.count):
        end = (part + 1) % len(stroke.points)
        if stroke.is_straight(part):
            words += ["L", _said(stroke.points[end])]
        else:
            words += ["C", _said(stroke.after[part]), _said(stroke.before[end]), _said(stroke.points[end])]
    return " ".join([*words, "Z"])


def _said(point: np.typing.NDArray[np.float64]) -> str:
    return f"{number(float(point[0]))},{number(float(point[1]))}"
