"""Few lines and Bézier curves for many points, nowhere further from them than asked for; corners stay corners."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString

from ..design.strokes import Stroke
from ..transforms import Array

__all__ = ["fitted", "flattened"]

#: A line that turns by more than this within the window about a place has a corner there, radians.
_CORNER_RAD = float(np.radians(50.0))
#: The window to each side of a place in which its direction is measured, in tolerances.
_WINDOW = 6.0
#: Points on the line that is fitted, in tolerances.
_STEP = 1.5
#: What is as straight as this, in tolerances, becomes straight.
_STRAIGHT = 0.9
_ROUNDS = 4
_FLAT_MM = 0.01


@dataclass(frozen=True)
class _Curve:
    """A straight or curved part: four points of a cubic, mm; a straight one has its inner points on its ends."""

    points: Array


def fitted(points: Array, tolerance_mm: float, *, closed: bool) -> Stroke:
    """A line of straight and curved parts along points.

    Parameters
    ----------
    points : (n, 2) float, mm, n at least 2, joined by straight lines; a ring does not repeat its first point
    tolerance_mm : float; the line is nowhere further from them, but for what lies between samples
    closed : whether it is a ring

    Returns
    -------
    Stroke

    Notes
    -----
    Source: least-squares fitting of cubics with chord-length parameters, improved by Newton's steps and parted where it
    is furthest off (Schneider, Graphics Gems I, 1990); recalled.
    """
    line = shapely.segmentize(LineString(np.vstack([points, points[:1]]) if closed else points), _STEP * tolerance_mm)
    places = shapely.get_coordinates(line)
    places = places[np.append(True, np.hypot(*np.diff(places, axis=0).T) > 1e-9)]
    corners = _corners(places, _WINDOW * tolerance_mm, closed)
    if closed:
        first = int(corners[0]) if len(corners) else 0
        places = np.vstack([places[first:-1], places[: first + 1]])
        corners = corners - first
    stops = sorted({0, *(int(corner) for corner in corners), len(places) - 1})
    smooth = closed and not len(corners)
    curves: list[_Curve] = []
    for one, two in pairwise(stops):
        curves += _stretch(places[one : two + 1], tolerance_mm, smooth)
    return _joined(curves, closed)


def flattened(stroke: Stroke) -> Array:
    """Points along a line, (n, 2) float, mm, no chord further from it than a hundredth of a millimetre."""
    found = [stroke.points[:1]]
    for part in range(stroke.count):
        end = (part + 1) % len(stroke.points)
        ends = np.array([stroke.points[part], stroke.after[part], stroke.before[end], stroke.points[end]])
        if stroke.is_straight(part):
            found.append(ends[3:])
            continue
        # A cubic's chord over 1/n of its parameter is off by at most its second difference over 8 n².
        bend = float(np.hypot(*np.diff(ends, n=2, axis=0).T).max()) * 6
        steps = int(np.clip(np.ceil(np.sqrt(bend / (8 * _FLAT_MM))), 1, 500))
        found.append(_cubic(ends, np.arange(1, steps + 1) / steps))
    points = np.concatenate(found)
    return points[:-1] if stroke.closed else points


def _lengths(places: Array) -> Array:
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(places, axis=0).T))])


def _along(lengths: Array, places: Array, at: Array) -> Array:
    """Places at lengths along a line, (k, 2) float."""
    return np.column_stack([np.interp(at, lengths, column) for column in places.T])


def _corners(places: Array, window: float, closed: bool) -> np.typing.NDArray[np.intp]:
    """Numbers of the places where a line turns sharply, in order; none at the ends of an open one."""
    own, here = _lengths(places), places
    window = min(window, own[-1] / 6)
    lengths, line = own, places
    if closed:
        line = np.vstack([places[:-1], places, places[1:]])
        lengths = np.concatenate([own[:-1] - own[-1], own, own[1:] + own[-1]])
    back, onward = here - _along(lengths, line, own - window), _along(lengths, line, own + window) - here
    cross = back[:, 0] * onward[:, 1] - back[:, 1] * onward[:, 0]
    turn = np.abs(np.arctan2(cross, (back * onward).sum(axis=1)))
    if closed:
        turn = turn[:-1]
    else:
        turn[(own < window / 2) | (own > own[-1] - window / 2)] = 0.0
    found: list[int] = []
    for index in np.argsort(-turn, kind="stable"):
        if turn[index] < _CORNER_RAD:
            break
        apart = np.abs(own[found] - own[index]) if found else np.array([np.inf])
        apart = np.minimum(apart, own[-1] - apart) if closed and found else apart
        if apart.min() > window:
            found.append(int(index))
    return np.array(sorted(found), dtype=np.intp)


def _stretch(places: Array, tolerance: float, smooth_ring: bool) -> list[_Curve]:
    """Lines and curves for a stretch without corners."""
    lengths = _lengths(places)
    window = min(_WINDOW * tolerance, lengths[-1] / 4)
    if smooth_ring:
        around = np.vstack([places[:-1], places, places[1:]])
        line = np.concatenate([lengths[:-1] - lengths[-1], lengths, lengths[1:] + lengths[-1]])
        ways = _along(line, around, lengths + window) - _along(line, around, lengths - window)
    else:
        ends = np.clip(lengths + window, 0.0, lengths[-1]), np.clip(lengths - window, 0.0, lengths[-1])
        ways = _along(lengths, places, ends[0]) - _along(lengths, places, ends[1])
    tangents = ways / np.maximum(np.hypot(*ways.T), 1e-12)[:, None]
    found: list[_Curve] = []
    waiting = [(0, len(places) - 1)]
    if smooth_ring:
        half = len(places) // 2
        waiting = [(half, len(places) - 1), (0, half)]
    while waiting:
        first, last = waiting.pop()
        part = places[first : last + 1]
        curve, worst = _fit(part, tangents[first], tangents[last], tolerance)
        if worst is None or last - first < 2:
            found.append(curve)
        else:
            middle = first + min(max(worst, 1), last - first - 1)
            waiting += [(middle, last), (first, middle)]
    return found


def _fit(places: Array, start: Array, end: Array, tolerance: float) -> tuple[_Curve, int | None]:
    """The curve for some places, and the number of the one that is too far off; None where none is."""
    chord = places[-1] - places[0]
    straight = _Curve(np.array([places[0], places[0], places[-1], places[-1]]))
    length = float(np.hypot(*chord))
    if len(places) == 2:
        return straight, None
    if length > 1e-9:
        off = np.abs((places - places[0]) @ np.array([-chord[1], chord[0]])) / length
        if off.max() <= _STRAIGHT * tolerance:
            return straight, None
    parts = _lengths(places)
    parts = parts / parts[-1]
    worst, error = 0, np.inf
    for _ in range(_ROUNDS):
        ends = _least_squares(places, parts, start, -end)
        apart = np.hypot(*(_cubic(ends, parts) - places).T)
        worst, error = int(np.argmax(apart)), float(apart.max())
        if error <= tolerance:
            return _Curve(ends), None
        if error > 6 * tolerance:
            break
        parts = _nearer(ends, parts, places)
    return straight, worst


def _least_squares(places: Array, parts: Array, start: Array, end: Array) -> Array:
    """The cubic with these directions at its ends that comes nearest to places at these parts of its parameter."""
    t, u = parts, 1.0 - parts
    weights = np.column_stack([u**3, 3 * u * u * t, 3 * u * t * t, t**3])
    fixed = (weights[:, 0] + weights[:, 1])[:, None] * places[0] + (weights[:, 2] + weights[:, 3])[:, None] * places[-1]
    matrix = np.stack([weights[:, 1, None] * start, weights[:, 2, None] * end], axis=-1).reshape(-1, 2)
    found = np.linalg.lstsq(matrix, (places - fixed).ravel(), rcond=None)[0]
    length = float(np.hypot(*(places[-1] - places[0])))
    if not (found > 1e-3 * length).all() or (found > 3 * max(length, 1e-9)).any():
        found = np.full(2, length / 3)
    return np.array([places[0], places[0] + found[0] * start, places[-1] + found[1] * end, places[-1]])


def _nearer(ends: Array, parts: Array, places: Array) -> Array:
    """Parameters moved to where the cubic is nearest to its places, by one of Newton's steps."""
    off = _cubic(ends, parts) - places
    first, second = np.diff(ends, axis=0), np.diff(ends, n=2, axis=0)
    t, u = parts[:, None], 1.0 - parts[:, None]
    slope = 3 * (u * u * first[0] + 2 * u * t * first[1] + t * t * first[2])
    bend = 6 * (u * second[0] + t * second[1])
    below = (slope**2).sum(axis=1) + (off * bend).sum(axis=1)
    step = np.divide((off * slope).sum(axis=1), below, out=np.zeros_like(parts), where=np.abs(below) > 1e-12)
    moved = np.clip(parts - step, 0.0, 1.0)
    moved[0], moved[-1] = 0.0, 1.0
    return np.maximum.accumulate(moved)


def _cubic(ends: Array, parts: Array) -> Array:
    t = np.asarray(parts, dtype=float)[:, None]
    u = 1.0 - t
    return np.asarray(u**3 * ends[0] + 3 * u * u * t * ends[1] + 3 * u * t * t * ends[2] + t**3 * ends[3])


def _joined(curves: list[_Curve], closed: bool) -> Stroke:
    parts = np.array([curve.points for curve in curves])
    points = parts[:, 0] if closed else np.vstack([parts[:, 0], parts[-1:, 3]])
    after = parts[:, 1] if closed else np.vstack([parts[:, 1], parts[-1:, 3]])
    before = np.vstack([parts[-1:, 2], parts[:-1, 2]]) if closed else np.vstack([parts[:1, 0], parts[:, 2]])
    return Stroke(points, before, after, closed)
