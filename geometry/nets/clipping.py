"""Drawings cut off at a window."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import shapely
from shapely import LinearRing, LineString, Polygon
from shapely.geometry.base import BaseGeometry

from .classes import STYLES
from .lines import NetLine

__all__ = ["clipped"]

#: Shorter leftovers are rounding.
_SHORTEST_MM = 1e-6


def clipped(lines: Sequence[NetLine], window: Polygon) -> tuple[NetLine, ...]:
    """Lines as far as they lie in a window.

    Parameters
    ----------
    lines : in drawing order
    window : Polygon, mm

    Returns
    -------
    tuple of NetLine; what is cut off is open there, only a tinted area stays closed, along the window's edge
    """
    return tuple(part for line in lines for part in _clipped(line, window))


def _clipped(line: NetLine, window: Polygon) -> Iterator[NetLine]:
    stroke = LinearRing(line.points) if line.closed else LineString(line.points)
    if window.covers(stroke):
        yield line
    elif line.closed and line.tinted and STYLES[line.line_class].tint:
        for part in shapely.get_parts(Polygon(line.points).intersection(window)):
            if isinstance(part, Polygon) and not part.is_empty:
                yield replace(line, points=shapely.get_coordinates(part.exterior)[:-1])
    else:
        for part in _parts(stroke.intersection(window)):
            yield replace(line, points=shapely.get_coordinates(part), closed=False)


def _parts(found: BaseGeometry) -> list[LineString]:
    """What of a line is left, joined where a ring began; not what only touches the window."""
    strings = [part for part in shapely.get_parts(found) if isinstance(part, LineString) and not part.is_empty]
    joined = shapely.line_merge(shapely.MultiLineString(strings))
    return [part for part in shapely.get_parts(joined) if part.length > _SHORTEST_MM]
