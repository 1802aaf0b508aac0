"""Lines drawn by hand: points with straight or curved ways between them, to and from what a description says.

What a person draws, in Blender or in a drawing program, becomes a Stroke; a Stroke becomes points or path data. Curves
stay curves: quadratic ones and arcs become cubic ones.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from svgelements import Arc, Close, CubicBezier, Line, Move, Path, QuadraticBezier

from ..errors import HingeleafError
from ..outline import polyline
from ..transforms import Array

__all__ = ["Stroke", "chains_of", "stroke_from_path", "stroke_of", "value_of"]

#: Handles that leave the straight way between their points by less than this, mm, mean a straight line.
_STRAIGHT_MM = 5e-4
#: Points nearer than this, mm, are one point.
_SAME_MM = 1e-6
#: Lengths are written to a thousandth of a millimetre; ends that lie on a hinge line so exactly that they are its ends.
_DECIMALS, _END_DECIMALS = 3, 5


@dataclass(frozen=True)
class Stroke:
    """A line of straight and curved parts.

    Parameters
    ----------
    points : (n, 2) float, mm
    before, after : (n, 2) float, mm; the handles of each point, towards the point before it and the one after. A part
        of the line whose two handles lie on its points is straight
    closed : whether the last point is joined to the first
    """

    points: Array
    before: Array
    after: Array
    closed: bool

    @property
    def count(self) -> int:
        """Number of parts."""
        return len(self.points) - (0 if self.closed else 1)

    def is_straight(self, part: int) -> bool:
        """Whether a part of the line, counted from 0, is straight."""
        start, end = self.points[part], self.points[(part + 1) % len(self.points)]
        way = end - start
        length = float(np.hypot(*way))
        for handle in (self.after[part], self.before[(part + 1) % len(self.points)]):
            off = handle - start
            if length < _SAME_MM:
                if np.hypot(*off) > _STRAIGHT_MM:
                    return False
                continue
            along = float(off @ way) / length
            aside = abs(float(way[0] * off[1] - way[1] * off[0])) / length
            if aside > _STRAIGHT_MM or not -_STRAIGHT_MM <= along <= length + _STRAIGHT_MM:
                return False
        return True

    @property
    def is_curved(self) -> bool:
        """Whether any part of it is curved."""
        return not all(self.is_straight(part) for part in range(self.count))

    def reversed(self) -> Stroke:
        """The same line drawn from its end."""
        return replace(self, points=self.points[::-1], before=self.after[::-1], after=self.before[::-1])

    def moved(self, frame: Array) -> Stroke:
        """The line in other coordinates; frame: (3, 3) float, affine."""
        places = (points @ frame[:2, :2].T + frame[:2, 2] for points in (self.points, self.before, self.after))
        points, before, after = places
        return replace(self, points=points, before=before, after=after)

    def between(self, start: Array, end: Array) -> Stroke:
        """An open line with its ends, each with its handle, set on two points; drawn the way that brings them nearer.

        Raises
        ------
        HingeleafError
            The line is closed.
        """
        if self.closed:
            raise HingeleafError("The line is closed; an edge is an open line from one end of its hinge to the other")
        ends = self.points[0], self.points[-1]
        here = float(np.hypot(*(ends[0] - start)) + np.hypot(*(ends[1] - end)))
        there = float(np.hypot(*(ends[1] - start)) + np.hypot(*(ends[0] - end)))
        line = self if here <= there else self.reversed()
        points, before, after = line.points.copy(), line.before.copy(), line.after.copy()
        # What is straight stays so wherever its end goes.
        for part in {0, line.count - 1}:
            if line.is_straight(part):
                after[part], before[part + 1] = points[part], points[part + 1]
        for index, place in ((0, start), (-1, end)):
            shift = place - points[index]
            before[index] += shift
            after[index] += shift
            points[index] = place
        return replace(line, points=points, before=before, after=after)


def stroke_of(value: str | Sequence[Sequence[float]], *, closed: bool) -> Stroke:
    """A line as a description says it.

    Parameters
    ----------
    value : points or path data, see outline.polyline
    closed : whether it is an outline

    Raises
    ------
    HingeleafError
        It is neither.
    """
    points = polyline(value)
    if not isinstance(value, str):
        return _straight(points, closed)
    return replace(stroke_from_path(Path(value)), closed=closed)


def stroke_from_path(path: Any) -> Stroke:
    """One stroke of a drawing program's path, lines and curves; closed where the path is."""
    points: list[tuple[float, float]] = []
    before: list[tuple[float, float]] = []
    after: list[tuple[float, float]] = []
    closed = False

    def add(handle_after: Any, handle_before: Any, end: Any) -> None:
        after[-1] = (handle_after.x, handle_after.y)
        for places, place in ((points, end), (before, handle_before), (after, end)):
            places.append((place.x, place.y))

    for part in path:
        if isinstance(part, Move):
            points, before, after = ([(part.end.x, part.end.y)] for _ in range(3))
        elif isinstance(part, Close):
            closed = True
            if part.start is not None and part.end is not None and part.start != part.end:
                add(part.start, part.end, part.end)
        elif isinstance(part, Line):
            add(part.start, part.end, part.end)
        else:
            for curve in _cubics(part):
                add(curve.control1, curve.control2, curve.end)
    drawn, towards, onward = (np.array(places, dtype=float).reshape(-1, 2) for places in (points, before, after))
    return _tidy(Stroke(drawn, towards, onward, closed))


def _cubics(part: Any) -> Iterable[Any]:
    """A curve as cubic ones."""
    if isinstance(part, CubicBezier):
        return (part,)
    if isinstance(part, QuadraticBezier):
        start, control, end = part.start, part.control, part.end
        return (CubicBezier(start, start + (control - start) * (2 / 3), end + (control - end) * (2 / 3), end),)
    if isinstance(part, Arc):
        return tuple(part.as_cubic_curves())
    raise HingeleafError("has a part that is neither a line nor a curve")


def _tidy(stroke: Stroke) -> Stroke:
    """Without a last point that repeats the first of a closed line; its handle goes to the first."""
    if not stroke.closed or len(stroke.points) < 2:
        return stroke
    if np.hypot(*(stroke.points[0] - stroke.points[-1])) > _SAME_MM:
        return stroke
    before = stroke.before.copy()
    before[0] = before[-1]
    return Stroke(stroke.points[:-1], before[:-1], stroke.after[:-1], True)


def _straight(points: Array, closed: bool) -> Stroke:
    return Stroke(points, points, points, closed)


def chains_of(points: Array, edges: Array) -> tuple[Stroke, ...]:
    """The lines that edges of a mesh make, one a chain or ring.

    Parameters
    ----------
    points : (n, 2) float, mm
    edges : (m, 2) int, pairs of points

    Raises
    ------
    HingeleafError
        There are none, or they branch.
    """
    next_to: dict[int, list[int]] = {}
    for one, two in np.asarray(edges, dtype=int).tolist():
        next_to.setdefault(one, []).append(two)
        next_to.setdefault(two, []).append(one)
    if not next_to:
        raise HingeleafError("The shape has no edges; draw a line of points joined by edges")
    for point, others in next_to.items():
        if len(others) > 2:
            x, y = points[point]
            raise HingeleafError(f"The shape branches near {x:.1f}, {y:.1f} mm; draw one line, or one closed outline")
    # From their ends first: what is left then are rings.
    starts = [point for point, others in next_to.items() if len(others) == 1]
    found, seen = [], set[int]()
    for start in [*starts, *next_to]:
        if start in seen:
            continue
        order = [start]
        while onward := [point for point in next_to[order[-1]] if point not in order[-2:-1] and point != start]:
            order.append(onward[0])
        seen.update(order)
        found.append(_straight(points[order], len(next_to[start]) == 2))
    return tuple(found)


def value_of(stroke: Stroke, *, ends: bool = True) -> str | list[list[float]]:
    """A line as a description says it: points where it is straight throughout, else path data.

    Parameters
    ----------
    stroke : the line
    ends : whether its ends are written; without them they are those of its hinge, wherever that goes. A curve that
        reaches an end is always written with it

    Returns
    -------
    str or list of [x, y]

    Raises
    ------
    HingeleafError
        It has no two points.
    """
    if len(stroke.points) < 2:
        raise HingeleafError("The line has no two points")
    first = 0 if ends or stroke.closed or not stroke.is_straight(0) else 1
    last = len(stroke.points) - (0 if ends or stroke.closed or not stroke.is_straight(stroke.count - 1) else 1)
    if last <= first:
        # Nothing but its two ends: a point on the straight way between them says so.
        middle = stroke.points.mean(axis=0)
        return [_rounded(middle, _DECIMALS)]
    digits = [_DECIMALS] * len(stroke.points)
    if not stroke.closed:
        digits[0] = digits[-1] = _END_DECIMALS
    if not stroke.is_curved:
        return [_rounded(stroke.points[index], digits[index]) for index in range(first, last)]
    words = ["M", _said(stroke.points[first], digits[first])]
    for part in range(first, stroke.count if last == len(stroke.points) else last - 1):
        end = (part + 1) % len(stroke.points)
        if not stroke.is_straight(part):
            handles = (_said(stroke.after[part], _DECIMALS), _said(stroke.before[end], _DECIMALS))
            words += ["C", *handles, _said(stroke.points[end], digits[end])]
        elif not (stroke.closed and end == 0):
            words += ["L", _said(stroke.points[end], digits[end])]
    return " ".join([*words, "Z"] if stroke.closed else words)


def _rounded(point: Array, decimals: int) -> list[float]:
    return [round(float(value), decimals) + 0.0 for value in point]


def _said(point: Array, decimals: int) -> str:
    return " ".join(f"{value:.{decimals}f}".rstrip("0").rstrip(".") for value in _rounded(point, decimals))
