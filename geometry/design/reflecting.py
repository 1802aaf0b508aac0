"""Reflecting what is written in net coordinates: points, directions, lines and outlines; curves stay curves."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from svgelements import Matrix, Path

__all__ = ["Reflection"]

_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
#: Numbers of reflected curves are written to this many places, mm.
_PLACES = 6


@dataclass(frozen=True)
class Reflection:
    """A reflection of a net's plane, in a line along one of its axes.

    Parameters
    ----------
    sum_mm : what the coordinate across that line and its reflection add up to
    upright : the line runs along y, so that x is reflected; else along x, and y is
    """

    sum_mm: float = 0.0
    upright: bool = True

    @property
    def direction(self) -> Reflection:
        """The same reflection of what is measured from a point."""
        return Reflection(0.0, self.upright)

    def point(self, point: Sequence[float]) -> list[float]:
        """A point's reflection, [x, y]."""
        x, y = float(point[0]), float(point[1])
        return [self.sum_mm - x + 0.0, y] if self.upright else [x, self.sum_mm - y + 0.0]

    def turn(self, degrees: float) -> float:
        """The reflection of a direction, degrees from the x axis, more than -180 and at most 180."""
        turned = ((180.0 if self.upright else 0.0) - degrees) % 360.0
        return turned - 360.0 if turned > 180.0 else turned

    def line(self, line: Any, *, back: bool = False) -> Any:
        """An open line's reflection, drawn from its end to its start where back is set; "edge" stays."""
        if line == "edge":
            return line
        if not isinstance(line, str):
            points = [self.point(point) for point in line]
            return points[::-1] if back else points
        path = Path(line) * self._matrix()
        path.reify()
        if back:
            path.reverse()
        words = path.d(relative=False, transformed=True)
        return _NUMBER.sub(_rounded, words).replace(",", " ")

    def outlines(self, outlines: Sequence[Any]) -> list[Any]:
        """Reflections of closed outlines."""
        return [self.line(outline) for outline in outlines]

    def _matrix(self) -> Any:
        if self.upright:
            return Matrix(-1, 0, 0, 1, self.sum_mm, 0)
        return Matrix(1, 0, 0, -1, 0, self.sum_mm)


def _rounded(match: re.Match[str]) -> str:
    return f"{round(float(match[0]), _PLACES) + 0.0:.{_PLACES}f}".rstrip("0").rstrip(".")
