"""A handle's shapes: a double arrow for a length, a ball between two points for an angle; both stand along z."""

from __future__ import annotations

import math
from itertools import pairwise

__all__ = ["ANGLE_SHAPE", "LENGTH_SHAPE"]

Point = tuple[float, float, float]
_SIDES = 10


def _cone(low: float, high: float, radius: float) -> list[Point]:
    """Triangles of a cone along z from its round foot to its tip."""
    ring = [
        (radius * math.cos(2 * math.pi * n / _SIDES), radius * math.sin(2 * math.pi * n / _SIDES), low)
        for n in range(_SIDES + 1)
    ]
    sides = [corner for one, two in pairwise(ring) for corner in (one, two, (0.0, 0.0, high))]
    foot = [corner for one, two in pairwise(ring) for corner in (two, one, (0.0, 0.0, low))]
    return sides + foot


def _rod(low: float, high: float, radius: float) -> list[Point]:
    """Triangles of a rod along z."""
    found: list[Point] = []
    for n in range(_SIDES):
        angles = [2 * math.pi * k / _SIDES for k in (n, n + 1)]
        (ax, ay), (bx, by) = ((radius * math.cos(a), radius * math.sin(a)) for a in angles)
        found += [(ax, ay, low), (bx, by, low), (bx, by, high), (ax, ay, low), (bx, by, high), (ax, ay, high)]
    return found


def _ball(radius: float) -> list[Point]:
    """Triangles of a ball, in bands."""
    found: list[Point] = []
    bands = 6
    heights = [-math.pi / 2 + math.pi * k / bands for k in range(bands + 1)]
    for low, high in pairwise(heights):
        for n in range(_SIDES):
            a, b = (2 * math.pi * k / _SIDES for k in (n, n + 1))
            corners = [
                (radius * math.cos(h) * math.cos(t), radius * math.cos(h) * math.sin(t), radius * math.sin(h))
                for h, t in ((low, a), (low, b), (high, b), (high, a))
            ]
            found += [corners[0], corners[1], corners[2], corners[0], corners[2], corners[3]]
    return found


LENGTH_SHAPE = (*_cone(0.06, 0.30, 0.085), *_cone(-0.06, -0.30, 0.085), *_rod(-0.06, 0.06, 0.03))
ANGLE_SHAPE = (*_ball(0.10), *_cone(0.15, 0.30, 0.06), *_cone(-0.15, -0.30, 0.06))
