"""Where two outlines meet along a line: the part of a hinge that is really there."""

from __future__ import annotations

import numpy as np
from shapely import Polygon

from .tolerances import TOUCH_MM
from .transforms import Array

__all__ = ["common_spans", "edge_spans"]

Span = tuple[float, float]


def edge_spans(outline: Polygon, origin: Array, direction: Array) -> list[Span]:
    """Parts of a line that are edges of an outline.

    Parameters
    ----------
    outline : Polygon, mm
    origin : (2,) float, mm, on the line
    direction : (2,) float, unit vector

    Returns
    -------
    list of (start, end), mm from the origin along the direction, in order
    """
    spans: list[Span] = []
    for ring in [outline.exterior, *outline.interiors]:
        offset = np.asarray(ring.coords, dtype=float) - origin
        along = offset @ direction
        across = offset @ np.array([-direction[1], direction[0]])
        near = np.abs(across) <= TOUCH_MM
        for index in np.flatnonzero(near[:-1] & near[1:]):
            low, high = sorted((float(along[index]), float(along[index + 1])))
            if high - low > TOUCH_MM:
                spans.append((low, high))
    return _joined(spans)


def common_spans(first: list[Span], second: list[Span]) -> list[Span]:
    """Parts that two lists of spans have in common."""
    spans = []
    for low_a, high_a in first:
        for low_b, high_b in second:
            low, high = max(low_a, low_b), min(high_a, high_b)
            if high - low > TOUCH_MM:
                spans.append((low, high))
    return _joined(spans)


def _joined(spans: list[Span]) -> list[Span]:
    joined: list[Span] = []
    for low, high in sorted(spans):
        if joined and low <= joined[-1][1] + TOUCH_MM:
            joined[-1] = (joined[-1][0], max(joined[-1][1], high))
        else:
            joined.append((low, high))
    return joined
