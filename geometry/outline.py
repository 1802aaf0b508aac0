"""Outlines as a person writes them: points, or path data in SVG's syntax, made into polylines."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from shapely import Polygon, box, difference, get_parts, intersection, make_valid, set_precision
from shapely.geometry.base import BaseGeometry
from shapely.validation import explain_validity
from svgelements import Arc, Close, CubicBezier, Line, Move, Path, QuadraticBezier

from .errors import HingeleafError
from .tolerances import CHORD_MM, GRID_MM, SLIVER_MM2, TOUCH_MM
from .transforms import Array, apply

__all__ = [
    "carried",
    "closed_outline",
    "common_part",
    "cut_window",
    "parts_of",
    "polyline",
    "single_polygon",
    "strip",
    "without",
    "without_repeats",
]

_PATH_LETTERS = set("MmLlHhVvCcSsQqTtAaZz")
_LIMIT_MM = 10_000.0
_FAR = "has a point that is not a number or lies more than 10 m away"
_MOST_POINTS = 20_000


def polyline(value: str | Sequence[Sequence[float]]) -> Array:
    """Points along an open line.

    Parameters
    ----------
    value : a list of [x, y] in mm, or path data in SVG's syntax (one stroke; curves of any kind), y upwards

    Returns
    -------
    (n, 2) float, mm; curves as points nowhere further than CHORD_MM from the curve

    Raises
    ------
    HingeleafError
        It is neither, or has no extent, or reaches beyond 10 m.
    """
    points = _path_points(value) if isinstance(value, str) else _listed_points(value)
    if len(points) > _MOST_POINTS:
        raise HingeleafError(f"has {len(points)} points; at most {_MOST_POINTS} can be cut")
    if not np.isfinite(points).all() or np.abs(points).max(initial=0.0) > _LIMIT_MM:
        raise HingeleafError(_FAR)
    return points


def closed_outline(value: str | Sequence[Sequence[float]]) -> Polygon:
    """A closed outline from points or path data; see polyline.

    Raises
    ------
    HingeleafError
        It has no area or crosses itself.
    """
    points = polyline(value)
    if len(points) < 3:
        raise HingeleafError("needs at least three points")
    polygon = Polygon(points)
    if not polygon.is_valid:
        raise HingeleafError(f"crosses itself ({_fault(polygon)}); draw it as one simple loop")
    if polygon.area < SLIVER_MM2:
        raise HingeleafError("has no area")
    return polygon


def single_polygon(points: Array, what: str) -> Polygon:
    """The polygon of a ring that must be simple.

    Parameters
    ----------
    points : (n, 2) float, mm
    what : name for the message

    Raises
    ------
    HingeleafError
        The ring crosses itself or has no area.
    """
    if len(points) < 3:
        raise HingeleafError(f"{what} has no area")
    polygon = Polygon(points)
    if not polygon.is_valid or polygon.area < SLIVER_MM2:
        raise HingeleafError(f"{what} crosses itself or has no area ({_fault(polygon)})")
    return polygon


def without_repeats(ring: Array) -> Array:
    """A ring's points without those that repeat the one before: an edge may be drawn from end to end."""
    apart = np.hypot(*(ring - np.roll(ring, 1, axis=0)).T) > TOUCH_MM
    return np.asarray(ring[apart])


def parts_of(shape: BaseGeometry) -> list[Polygon]:
    """The polygons that a shape consists of, without slivers, points and lines."""
    return [part for part in get_parts(shape) if isinstance(part, Polygon) and part.area > SLIVER_MM2]


def common_part(one: BaseGeometry, two: BaseGeometry) -> BaseGeometry:
    """What two shapes share, on the common grid, without the grid sticking to the result."""
    return set_precision(intersection(one, two, grid_size=GRID_MM), 0.0)


def without(one: BaseGeometry, two: BaseGeometry) -> BaseGeometry:
    """The first shape without the second, on the common grid, without the grid sticking to the result."""
    return set_precision(difference(one, two, grid_size=GRID_MM), 0.0)


def carried(outline: Polygon, matrix: Array) -> Polygon:
    """An outline with its holes in other coordinates, seen from above.

    Parameters
    ----------
    outline : Polygon, mm
    matrix : (4, 4) float, what carries it there

    Returns
    -------
    Polygon, mm
    """
    rings = [apply(matrix, np.asarray(ring.coords))[:, :2] for ring in (outline.exterior, *outline.interiors)]
    return Polygon(rings[0], rings[1:])


def strip(start: float, end: float, length: float) -> Polygon:
    """The rectangle between two places along x, in either order, and from 0 to a length along y, mm."""
    return box(min(start, end), 0.0, max(start, end), length)


def cut_window(outline: Polygon, window: Polygon) -> Polygon:
    """An outline with a window cut into it.

    Parameters
    ----------
    outline, window : Polygon, mm

    Raises
    ------
    HingeleafError
        The window is not wholly inside.
    """
    if not outline.contains_properly(window):
        x, y = window.exterior.coords[0]
        raise HingeleafError(f"a window near {x:.1f}, {y:.1f} mm is not inside its panel, or meets another one")
    return Polygon(outline.exterior, [*outline.interiors, window.exterior])


def _fault(polygon: Polygon) -> str:
    words = explain_validity(polygon)
    if "[" not in words:
        return f"area {make_valid(polygon).area:.3g} mm2"
    place = words[words.index("[") + 1 : -1].split()
    return f"near {float(place[0]):.1f}, {float(place[1]):.1f} mm"


def _listed_points(value: Sequence[Sequence[float]]) -> Array:
    pairs = [item for item in value if isinstance(item, list) and len(item) == 2] if isinstance(value, list) else []
    numbers = [number for pair in pairs for number in pair if isinstance(number, (int, float))]
    numbers = [number for number in numbers if not isinstance(number, bool)]
    if not pairs or len(pairs) != len(value) or len(numbers) != 2 * len(pairs):
        raise HingeleafError("must be a list of [x, y] pairs in mm, or path data such as 'M 0 0 L 10 5'")
    try:
        return np.array(numbers, dtype=float).reshape(-1, 2)
    except OverflowError:
        raise HingeleafError(_FAR) from None


@lru_cache(maxsize=512)
def _path_points(text: str) -> Array:
    letters = {letter for letter in text if letter.isalpha()} - {"e", "E"}
    if not letters or letters - _PATH_LETTERS or len(text) > 1_000_000:
        raise HingeleafError("is no path data; write it as in SVG, e.g. 'M 0 0 C 10 0 10 20 0 20'")
    try:
        path = Path(text)
        segments = list(path)
    except (ValueError, IndexError, TypeError, AttributeError, ZeroDivisionError):
        raise HingeleafError("is no readable path data; write it as in SVG, e.g. 'M 0 0 C 10 0 10 20 0 20'") from None
    if not segments or not isinstance(segments[0], Move) or segments[0].end is None:
        raise HingeleafError("must begin with M and its first point")
    # svgelements takes a number too few after H or V, and after a Z, for a point with a coordinate that is None.
    if any(None in (segment.end.x, segment.end.y) for segment in segments if segment.end is not None):
        raise HingeleafError("ends in the middle of a point; write both of its numbers")
    if sum(isinstance(segment, Move) for segment in segments) > 1:
        raise HingeleafError("has several strokes; write one stroke a path")
    points: list[tuple[float, float]] = []
    for segment in segments:
        points.extend(_segment_points(segment))
    kept = [point for index, point in enumerate(points) if index == 0 or math.dist(point, points[index - 1]) > 1e-9]
    if len(kept) > 1 and isinstance(segments[-1], Close) and math.dist(kept[0], kept[-1]) < 1e-9:
        kept.pop()
    result = np.array(kept, dtype=float).reshape(-1, 2)
    result.flags.writeable = False
    return result


def _segment_points(segment: Any) -> list[tuple[float, float]]:
    if isinstance(segment, (Move, Line, Close)):
        return [] if segment.end is None else [(float(segment.end.x), float(segment.end.y))]
    if isinstance(segment, (CubicBezier, QuadraticBezier, Arc)):
        count = _steps(segment)
        return [(float(x), float(y)) for x, y in _sampled(segment, count)[1:]]
    raise HingeleafError("has a segment that is neither a line nor a curve")


def _sampled(segment: Any, count: int) -> Array:
    """Both ends of a curve and what parts it into so many, all at once, (count + 1, 2) float, mm."""
    return np.array(segment.npoint(np.arange(count + 1) / count), dtype=float)


def _steps(segment: Any) -> int:
    """Number of equal steps that keep every chord within CHORD_MM of the curve, measured at the quarter points."""
    count = 4
    while count < 4096:
        points = _sampled(segment, 4 * count)
        if not np.isfinite(points).all():
            # Also where both ends are finite: an arc of radii beyond all numbers.
            raise HingeleafError(_FAR)
        start, end = points[0:-1:4], points[4::4]
        worst = 0.0
        for quarter in (1, 2, 3):
            between = points[quarter::4]
            chord = end - start
            length = np.maximum(np.hypot(chord[:, 0], chord[:, 1]), 1e-12)
            offset = between - start
            worst = max(worst, float(np.max(np.abs(chord[:, 0] * offset[:, 1] - chord[:, 1] * offset[:, 0]) / length)))
        if worst <= CHORD_MM:
            return count
        count *= 2
    return count
