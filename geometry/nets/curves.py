"""Curves of a net's lines, found again in the points that they were drawn with.

Outlines are computed as polylines: what a curve is drawn with are points at even steps of its parameter, none of whose
chords is further than CHORD_MM from it, and every way to a net (turning, mirroring, cutting at a hinge) leaves such
points such points. So a curve need not be carried along. A cubic's fourth differences vanish, exactly; the steps along
a circle or an ellipse obey the recurrence of the cosine. Runs of points that do are that curve again, true to
rounding; the ends of a run that was cut off between two of its points stay straight, as drawn.

Corners that a person drew evenly on a circle are no curve: their chords are further from it than CHORD_MM.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ..tolerances import CHORD_MM, TOUCH_MM
from ..transforms import Array

__all__ = ["Arc", "Stretch", "length_mm", "refined", "stretches"]

Flags = NDArray[np.bool_]

#: Points of a curve lie on it but for the rounding of overlays (GRID_MM), which fourth differences multiply by 16.
_ON_CURVE_MM = 5e-6
#: A run has at least as many points: outline.py never draws a curve with fewer than four chords.
_LEAST = 5
#: A stretch turns no further than this: its length then follows from few points, and Béziers come true to arcs.
_TURN_RAD = float(np.pi / 6)
#: A middle point lies about four times as far off the chord across two steps as a step's own curve off its chord.
_HIGHEST_MM = 6 * CHORD_MM


@dataclass(frozen=True)
class Arc:
    """The ellipse that a stretch is part of.

    Parameters
    ----------
    radii : (2,) float, mm, the larger first
    turn_rad : direction of the larger
    left : whether it turns to the left from start to end
    """

    radii: Array
    turn_rad: float
    left: bool


@dataclass(frozen=True)
class Stretch:
    """A straight or evenly curved part of a line.

    Parameters
    ----------
    start, end : (2,) float, mm
    controls : (2, 2) float, mm; the inner points of its cubic Bézier curve; None where it is straight
    arc : Arc where it is part of a circle or an ellipse, which the Bézier curve then follows within 1e-7 of its radius
    """

    start: Array
    end: Array
    controls: Array | None = None
    arc: Arc | None = None

    def at(self, parts: Array) -> Array:
        """Points along it, (n, 2) float, mm, at parts of its parameter, (n,) float from 0 to 1."""
        t = np.asarray(parts, dtype=float)[:, None]
        if self.controls is None:
            return np.asarray(self.start + t * (self.end - self.start))
        first, second = self.controls
        u = 1.0 - t
        return np.asarray(u**3 * self.start + 3 * u * u * t * first + 3 * u * t * t * second + t**3 * self.end)


@dataclass(frozen=True)
class _Run:
    """Points first..last (counted on round a ring) of one curve.

    Its slope by the number of steps, how long a Bézier's handles are on it, and how many steps one may span.
    """

    first: int
    last: int
    slope: Callable[[Array], Array]
    handle: Callable[[float], float]
    most: int
    arc: Arc | None


def stretches(points: Array, closed: bool, nodes: Array | None = None) -> tuple[Stretch, ...]:
    """A line as straight and curved stretches.

    Parameters
    ----------
    points : (n, 2) float, mm; a closed line does not repeat its first point
    closed : whether it returns to its first point
    nodes : (k, 2) float, mm; of its points those at which a stretch must end, because another line does

    Returns
    -------
    tuple of Stretch, each beginning where the one before ends; a ring may begin at another of its points
    """
    runs = _runs(points, closed)
    count = len(points)
    around = np.concatenate([points, points]) if closed else points
    inside = [run.first for run in runs if run.last > count]
    start = inside[0] if inside else 0
    end = start + count if closed else count - 1
    found: list[Stretch] = []
    place = start
    for run in sorted(runs, key=lambda run: (run.first - start) % count if closed else run.first):
        first = start + (run.first - start) % count if closed else run.first
        found += _straight(around[place : first + 1])
        along = around[first : first + run.last - run.first + 1]
        found += _curved(run, along, _among(along, nodes))
        place = first + run.last - run.first
    return (*found, *_straight(_cyclic(around, place, end)))


def _cyclic(around: Array, first: int, last: int) -> Array:
    """Points first..last of a ring that is written down twice; of a line, those there are."""
    return np.asarray(around[np.arange(first, last + 1) % len(around)])


def _among(points: Array, nodes: Array | None) -> list[int]:
    """Which of some points are nodes."""
    if nodes is None or not len(nodes):
        return []
    apart = np.hypot(*np.moveaxis(points[:, None] - nodes[None], -1, 0)).min(axis=1)
    return [int(index) for index in np.flatnonzero(apart < TOUCH_MM)]


def _straight(points: Array) -> list[Stretch]:
    return [Stretch(one, two) for one, two in pairwise(points)]


def _curved(run: _Run, points: Array, nodes: list[int]) -> list[Stretch]:
    """One curve, parted at nodes and where it has turned by _TURN_RAD."""
    steps = np.diff(points, axis=0)
    turns = np.abs(_angles(steps))
    turned = np.concatenate([[0.0], np.cumsum(turns), [turns.sum()]])
    parts = max(1, int(np.ceil(turns.sum() / _TURN_RAD - 1e-9)), -(-(len(points) - 1) // run.most))
    wanted = turned[-1] / parts * np.arange(1, parts)
    at = sorted({0, len(points) - 1, *nodes, *(int(index) for index in np.searchsorted(turned, wanted - 1e-9))})
    # An ellipse turns little along its flat sides, but its Bézier curves must not span more of its angle either.
    at = sorted({*at, *(one + run.most for one, two in pairwise(at) for one in range(one, two - run.most, run.most))})
    found = []
    for one, two in pairwise(at):
        ends = np.array([one, two], dtype=float)
        slopes = run.slope(ends) * run.handle(float(two - one))
        controls = np.array([points[one] + slopes[0], points[two] - slopes[1]])
        found.append(Stretch(points[one], points[two], controls, run.arc))
    return found


def _angles(steps: Array) -> Array:
    """Turn from each step to the next, (n-1,) float, radians."""
    one, two = steps[:-1], steps[1:]
    turn: Array = np.arctan2(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0], (one * two).sum(axis=1))
    return turn


def _runs(points: Array, closed: bool) -> list[_Run]:
    """Longest runs of points that lie on one curve, none over another, in order."""
    count = len(points)
    if count < _LEAST:
        return []
    firsts = np.arange(count if closed else count - _LEAST + 1)
    windows = points[(firsts[:, None] + np.arange(_LEAST)) % count]
    steps = np.diff(windows, axis=1)
    fine = _fine(steps)
    found: list[_Run] = []
    for good, fit in ((fine & _is_cubic(windows), _cubic), (fine & _is_arc(steps), _ellipse)):
        for first, last in _spans(good, closed):
            taken = any(_overlap(first, last, run, count if closed else 0) for run in found)
            run = None if taken else fit(points[np.arange(first, last + 1) % count], first)
            if run is not None:
                found.append(run)
    return sorted(found, key=lambda run: run.first)


def _overlap(first: int, last: int, run: _Run, count: int) -> bool:
    shifts = (-count, 0, count) if count else (0,)
    return any(first + shift < run.last and run.first < last + shift for shift in shifts)


def _fine(steps: Array) -> Flags:
    """Whether windows bend, and no more than what is drawn within CHORD_MM does, (n,) bool."""
    one, two = steps[:, :-1], steps[:, 1:]
    area = np.abs(one[..., 0] * two[..., 1] - one[..., 1] * two[..., 0])
    height = area / np.maximum(np.hypot(*np.moveaxis(one + two, -1, 0)), 1e-12)
    forward = ((one * two).sum(axis=-1) > 0.0).all(axis=1)
    return np.asarray(forward & (height.max(axis=1) < _HIGHEST_MM) & (height.max(axis=1) > 10 * _ON_CURVE_MM))


def _is_cubic(windows: Array) -> Flags:
    return np.asarray(np.hypot(*np.tensordot(windows, [1.0, -4.0, 6.0, -4.0, 1.0], axes=([1], [0])).T) < _ON_CURVE_MM)


def _cosine(steps: Array) -> Array:
    """Cosine of the angle between the even steps of an ellipse, (n,) float, from (n, k, 2) steps."""
    before, here, after = steps[:, :-2], steps[:, 1:-1], steps[:, 2:]
    return np.asarray(((before + after) * here).sum(axis=(1, 2)) / np.maximum(2 * (here**2).sum(axis=(1, 2)), 1e-300))


def _is_arc(steps: Array) -> Flags:
    cosine = _cosine(steps)
    off = steps[:, :-2] + steps[:, 2:] - 2 * cosine[:, None, None] * steps[:, 1:-1]
    return np.asarray((np.hypot(*np.moveaxis(off, -1, 0)).max(axis=1) < _ON_CURVE_MM) & (np.abs(cosine) < 1 - 1e-10))


def _spans(good: Flags, closed: bool) -> list[tuple[int, int]]:
    """First and last points of runs of good windows; on a ring the last may count on beyond its first point."""
    count = len(good)
    if closed and good.all():
        return [(0, count)]
    shift = int(np.flatnonzero(~good)[0]) if closed and not good.all() else 0
    turned = np.roll(good, -shift)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], turned.astype(int), [0]])))
    return [
        (int(one + shift) % count, int(one + shift) % count + int(two - one) + _LEAST - 2)
        for one, two in zip(edges[::2], edges[1::2], strict=True)
    ]


def _cubic(points: Array, first: int) -> _Run | None:
    """The cubic through points at even steps; None where they are not on one."""
    last = len(points) - 1
    scale = 1.0 / last
    powers = np.vander(scale * np.arange(last + 1), 4, increasing=True)
    parts = np.linalg.lstsq(powers, points, rcond=None)[0]
    if np.abs(powers @ parts - points).max() > _ON_CURVE_MM:
        return None

    def slope(at: Array) -> Array:
        t = scale * at[:, None]
        return np.asarray(scale * (parts[1] + 2 * t * parts[2] + 3 * t * t * parts[3]))

    return _Run(first, first + last, slope, lambda steps: steps / 3.0, last, None)


def _ellipse(points: Array, first: int) -> _Run | None:
    """The ellipse through points at even steps of its angle; None where they are not on one."""
    last = len(points) - 1
    step = float(np.arccos(np.clip(_cosine(np.diff(points, axis=0)[None])[0], -1.0, 1.0)))
    angles = step * np.arange(last + 1)
    basis = np.stack([np.ones_like(angles), np.cos(angles), np.sin(angles)], axis=1)
    centre, across, up = np.linalg.lstsq(basis, points, rcond=None)[0]
    if np.abs(basis @ np.array([centre, across, up]) - points).max() > _ON_CURVE_MM:
        return None
    sides, radii, _ = np.linalg.svd(np.stack([across, up], axis=1))
    most = max(1, int(_TURN_RAD / step + 1e-9))
    round_ = radii[0] - radii[1] < 2 * _ON_CURVE_MM
    arc = Arc(
        radii=np.full(2, radii.mean()) if round_ else radii,
        turn_rad=0.0 if round_ else float(np.arctan2(sides[1, 0], sides[0, 0])),
        left=bool(across[0] * up[1] - across[1] * up[0] > 0.0),
    )

    def slope(at: Array) -> Array:
        t = step * at[:, None]
        return np.asarray(np.cos(t) * up - np.sin(t) * across)

    return _Run(first, first + last, slope, lambda steps: 4.0 / 3.0 * float(np.tan(step * steps / 4)), most, arc)


#: Points and weights of Gauss and Legendre, for lengths: a stretch turns so little that eight are enough for rounding.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)


def length_mm(line: tuple[Stretch, ...]) -> float:
    """Length of a line.

    Parameters
    ----------
    line : what stretches returned
    """
    return float(sum(_length(part) for part in line))


def _length(part: Stretch) -> float:
    if part.controls is None:
        return float(np.hypot(*(part.end - part.start)))
    t = (_NODES[:, None] + 1.0) / 2.0
    corners = np.array([part.start, *part.controls, part.end])
    one, two, three = np.diff(corners, axis=0)
    slope = 3 * ((1 - t) ** 2 * one + 2 * t * (1 - t) * two + t * t * three)
    return float(np.hypot(*slope.T) @ _WEIGHTS / 2.0)


def refined(line: tuple[Stretch, ...], closed: bool, chord_mm: float) -> Array:
    """Points on a line, closer than it was drawn with.

    Parameters
    ----------
    line : what stretches returned
    closed : whether it returns to its first point
    chord_mm : no chord is further from the curve

    Returns
    -------
    (n, 2) float, mm; a closed line does not repeat its first point
    """
    found = [line[0].start[None]]
    for part in line:
        steps = 1
        if part.controls is not None:
            # A chord is off by length squared over eight radii, and a stretch turns by no more than _TURN_RAD.
            steps = max(1, int(np.ceil(np.sqrt(_length(part) * 2 * _TURN_RAD / (8 * chord_mm)))))
        found.append(part.at(np.arange(1, steps + 1) / steps))
    points = np.concatenate(found)
    return points[:-1] if closed else points
