"""Triangles without area taken out, so that those beside them still meet."""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from ..transforms import Array
from .data import Ints, MeshNote
from .faces import TriangleSoup
from .wording import counted

__all__ = ["Edge", "without_needles"]

Edge = tuple[int, int]


def without_needles(
    vertices: Array, soup: TriangleSoup, marks: dict[Edge, int], thin_mm: float
) -> tuple[TriangleSoup, list[MeshNote]]:
    """Take out triangles that are a line, and triangles that are there twice.

    The triangles on the other side of a needle's longest edge are cut in two at its third corner, so that no gap is
    left.

    Parameters
    ----------
    vertices : (v, 3) float, mm
    soup : TriangleSoup
    marks : what is asked for at edges, vertex numbers in order; parts of an edge that is cut in two are added to it
    thin_mm : a triangle that is no higher is a needle
    """
    corners = soup.corners
    whole = (corners != np.roll(corners, 1, axis=1)).all(axis=1)
    soup = TriangleSoup(corners[whole], soup.source[whole])
    thin = np.flatnonzero(_heights(vertices, soup.corners) <= thin_mm)
    notes: list[MeshNote] = []
    if len(thin):
        place = vertices[soup.corners[thin[0], 0]]
        faces = np.unique(soup.source[thin])
        soup = _Cutter(vertices, soup, marks, thin_mm).cut(thin.tolist())
        gone = np.setdiff1d(faces, soup.source)
        rest = f", {counted(len(gone), 'face')} of no area left out with them" if len(gone) else ""
        text = f"{counted(len(thin), 'needle')} without area taken out, what lies beside them joined{rest}."
        notes.append(MeshNote("degenerate", "note", text, place, tuple(faces.tolist())))
    table = np.sort(soup.corners, axis=1)
    order = np.lexsort(table.T[::-1])
    first = np.ones(len(table), dtype=bool)
    first[order[1:]] = (table[order[1:]] != table[order[:-1]]).any(axis=1)
    if not first.all():
        lost = np.flatnonzero(~first)
        faces = np.unique(soup.source[lost])
        text = f"{counted(len(faces), 'face')} left out where they lie in the same place as others."
        notes.append(MeshNote("double", "note", text, vertices[soup.corners[lost[0], 0]], tuple(faces.tolist())))
    return TriangleSoup(soup.corners[first], soup.source[first]), notes


def _heights(vertices: Array, corners: Ints) -> Array:
    """Height of each triangle above its longest edge, (t,) float, mm."""
    a, b, c = np.moveaxis(vertices[corners], 1, 0)
    longest = np.maximum.reduce([np.linalg.norm(p - q, axis=1) for p, q in ((a, b), (b, c), (c, a))])
    return np.asarray(np.linalg.norm(np.cross(b - a, c - a), axis=1) / np.maximum(longest, np.finfo(float).tiny))


class _Cutter:
    """Triangles by their edges, for a few changes."""

    def __init__(self, vertices: Array, soup: TriangleSoup, marks: dict[Edge, int], thin_mm: float) -> None:
        self.vertices, self.marks, self.thin_mm = vertices, marks, thin_mm
        self.corners: list[list[int]] = soup.corners.tolist()
        self.source: list[int] = soup.source.tolist()
        self.there = [True] * len(self.corners)
        self.at: dict[Edge, set[int]] = defaultdict(set)
        for number in range(len(self.corners)):
            self._enter(number)

    def cut(self, needles: list[int]) -> TriangleSoup:
        """The triangles without those needles, and without those that this makes."""
        left = 20 * len(needles) + 100
        while needles:
            number = needles.pop()
            if self.there[number]:
                left -= 1
                needles += self._taken_out(number) if left > 0 else self._left_out(number)
        kept = [number for number, there in enumerate(self.there) if there]
        corners = np.array([self.corners[number] for number in kept], dtype=np.int64).reshape(-1, 3)
        return TriangleSoup(corners, np.array([self.source[number] for number in kept], dtype=np.int64))

    def _enter(self, number: int) -> None:
        for edge in _edges(self.corners[number]):
            self.at[edge].add(number)

    def _left_out(self, number: int) -> list[int]:
        self.there[number] = False
        for edge in _edges(self.corners[number]):
            self.at[edge].discard(number)
        return []

    def _taken_out(self, number: int) -> list[int]:
        """Take out a needle; what is thin of what was cut at it."""
        long, middle = self._longest(number)
        self._left_out(number)
        if long in self.marks:
            for end in long:
                self.marks.setdefault((min(end, middle), max(end, middle)), self.marks[long])
        new: list[int] = []
        for other in list(self.at[long]):
            apex = next(vertex for vertex in self.corners[other] if vertex not in long)
            corners = self.corners[other]
            self._left_out(other)
            if apex == middle:
                continue
            for end in long:
                self.corners.append([middle if vertex == end else vertex for vertex in corners])
                self.source.append(self.source[other])
                self.there.append(True)
                self._enter(len(self.corners) - 1)
                new.append(len(self.corners) - 1)
        if not new:
            return []
        heights = _heights(self.vertices, np.array([self.corners[each] for each in new]))
        return [each for each, height in zip(new, heights.tolist(), strict=True) if height <= self.thin_mm]

    def _longest(self, number: int) -> tuple[Edge, int]:
        corners = self.corners[number]
        lengths = {
            edge: float(np.linalg.norm(self.vertices[edge[0]] - self.vertices[edge[1]])) for edge in _edges(corners)
        }
        long = max(lengths, key=lambda edge: lengths[edge])
        return long, next(vertex for vertex in corners if vertex not in long)


def _edges(corners: list[int]) -> list[Edge]:
    a, b, c = corners
    return [(min(a, b), max(a, b)), (min(b, c), max(b, c)), (min(c, a), max(c, a))]
