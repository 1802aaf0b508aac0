"""Facets that hang together and lie flat, as a pile that can be joined and taken apart while nothing overlaps.

What lies where is found through a grid of squares: each triangle stands in the square of its middle, in a grid as
coarse as its longest side, so that whatever meets it stands in a square nearby.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from math import inf

import numpy as np
from numpy.typing import NDArray

from .data import Ints
from .forests import forest_of, laid_out
from .hinges import Hinges, Places
from .limits import Limits, hull_of
from .overlaps import REACH, ROUNDING, apart

__all__ = ["Patches", "Placement"]

#: Turn and shift that lay one plane in another.
Placement = tuple[complex, complex]

_ANY = Limits()
_ROW, _LEVEL = 1 << 20, 1 << 44
_CHUNK = 16
_Grid = dict[int, list[int]]
#: Where facets were: their numbers, patch, turns and shifts.
_Put = tuple[list[int], int, Places, Places]


class Patches:
    """Patches of facets. Whatever is done to them can be undone.

    Parameters
    ----------
    hinges : Hinges
    folded : (m,) bool, hinges that are folds at first, without a ring and without overlaps; None for none
    limits : how large patches may become when they are joined

    Attributes
    ----------
    patch : the number of the patch of each facet
    members : the facets of each patch
    folded : whether facets hang on each other at each hinge
    around : the hinges of each facet
    turns, shifts : (f,) complex, each facet's own plane to the plane of its patch
    tests : how many placements were tested so far, those of many facets counted as several
    """

    def __init__(self, hinges: Hinges, folded: NDArray[np.bool_] | None = None, limits: Limits = _ANY) -> None:
        self.hinges = hinges
        self.limits = limits
        self.first: list[int] = hinges.first.tolist()
        self.second: list[int] = hinges.second.tolist()
        self.folded: list[bool] = [False] * len(self.first) if folded is None else folded.tolist()
        self.around: list[list[int]] = [[] for _ in range(hinges.count)]
        for hinge, (one, two) in enumerate(zip(self.first, self.second, strict=True)):
            self.around[one].append(hinge)
            self.around[two].append(hinge)
        forest = forest_of(hinges, [hinge for hinge, fold in enumerate(self.folded) if fold])
        self.turns, self.shifts = laid_out(hinges, forest)
        self.patch: list[int] = forest.roots.tolist()
        self.members: dict[int, list[int]] = {}
        for facet in forest.order.tolist():
            self.members.setdefault(self.patch[facet], []).append(facet)
        self.tests = 0
        self._starts: list[int] = hinges.starts.tolist()
        self._turn: list[complex] = hinges.turns.tolist()
        self._shift: list[complex] = hinges.shifts.tolist()
        self._lying = self.turns[hinges.of, None] * hinges.corners + self.shifts[hinges.of, None]
        self._boxes = _boxes(self._lying)
        longest = np.abs(np.roll(hinges.corners, -1, axis=1) - hinges.corners).max(axis=1, initial=0.0)
        levels = np.ceil(np.log2(np.maximum(longest, 1e-300))).astype(np.int64)
        # The smaller half all stand in one grid: many fine grids would be slow to look through.
        self._levels: Ints = np.maximum(levels, np.sort(levels)[len(levels) // 2] if len(levels) else 0)
        self._sizes = np.exp2(self._levels)
        self._used = sorted(set(self._levels.tolist()))
        self._grids: dict[int, _Grid] = {patch: {} for patch in self.members}
        self._keys: list[int] = [0] * len(hinges.corners)
        self._place(np.arange(len(hinges.corners)))
        for triangle, facet in enumerate(hinges.of.tolist()):
            self._grids[self.patch[facet]].setdefault(self._keys[triangle], []).append(triangle)
        self._bounds: dict[int, tuple[float, float, float, float]] = {}
        for patch, facets in self.members.items():
            self._widen(patch, self._triangles(facets))
        sides = np.roll(hinges.corners, -1, axis=1) - hinges.corners
        doubles = (np.conj(sides[:, 0]) * sides[:, 1]).imag
        self.areas: list[float] = np.bincount(hinges.of, doubles / 2, minlength=hinges.count).tolist()
        self._hulls: dict[int, Places] = {}
        self._fresh = hinges.count
        self._done: list[_Put | int] = []

    def other(self, hinge: int, facet: int) -> int:
        """The facet on the other side of a hinge."""
        return self.second[hinge] if self.first[hinge] == facet else self.first[hinge]

    def beside(self, hinge: int, moving: int) -> Placement:
        """How the patch of `moving`, one of a hinge's two facets, is moved to hang at the hinge on the other's."""
        still = self.other(hinge, moving)
        turn, shift = self._turn[hinge], self._shift[hinge]
        if moving == self.first[hinge]:
            turn, shift = turn.conjugate(), -turn.conjugate() * shift
        base = complex(self.turns[still])
        wanted = base * shift + complex(self.shifts[still])
        turn = base * turn * complex(self.turns[moving]).conjugate()
        turn /= abs(turn)
        return turn, wanted - turn * complex(self.shifts[moving])

    def in_the_way(
        self, facets: Sequence[int], placement: Placement, patch: int, most: int = 0
    ) -> tuple[list[int], list[int]]:
        """Pairs of a facet that would be moved and one of the patch that it would overlap with; all, or above most."""
        if len(facets) > _CHUNK:
            near: list[int] = []
            far: list[int] = []
            start, chunk = 0, _CHUNK
            # Counted as pairs of facets: two of many triangles each overlap many times.
            while start < len(facets) and len(set(zip(near, far, strict=True))) <= most:
                one, two = self._overlaps(facets[start : start + chunk], placement, patch)
                near += one
                far += two
                start, chunk = start + chunk, 2 * chunk
            return near, far
        return self._overlaps(facets, placement, patch)

    def _overlaps(self, facets: Sequence[int], placement: Placement, patch: int) -> tuple[list[int], list[int]]:
        self.tests += 1 + len(facets) // _CHUNK
        triangles = self._triangles(facets)
        moved = placement[0] * self._lying[triangles] + placement[1]
        row, other = self._near(moved, patch)
        if not len(row):
            return [], []
        one, two = moved[row], self._lying[other]
        depth = REACH * np.minimum(self.hinges.depths[triangles[row]], self.hinges.depths[other])
        far = ROUNDING * max(float(np.abs(one).max()), float(np.abs(two).max()))
        hit = ~apart(one, two, np.maximum(depth, far))
        if not hit.any():
            return [], []
        return self.hinges.of[triangles[row[hit]]].tolist(), self.hinges.of[other[hit]].tolist()

    def join(self, hinge: int) -> bool:
        """Hang the two patches at a hinge on each other unless they would overlap; whether that was done."""
        still, moving = self.first[hinge], self.second[hinge]
        if self.patch[still] == self.patch[moving]:
            return False
        if len(self.members[self.patch[still]]) < len(self.members[self.patch[moving]]):
            still, moving = moving, still
        facets, placement = self.members[self.patch[moving]], self.beside(hinge, moving)
        if self.in_the_way(facets, placement, self.patch[still])[0] or not self.may_hang(hinge, moving, placement):
            return False
        self.hang(hinge, moving, placement)
        return True

    def may_hang(self, hinge: int, moving: int, placement: Placement) -> bool:
        """Whether the patch of one facet and the other's at a hinge keep to the limits as one."""
        if not self.limits.any:
            return True
        one, two = self.patch[moving], self.patch[self.other(hinge, moving)]
        area = sum(self.areas[facet] for patch in (one, two) for facet in self.members[patch])
        return self.limits.may_join(self.hull(two), placement[0] * self.hull(one) + placement[1], area)

    def hull(self, patch: int) -> Places:
        """Corners of the convex hull of a patch, complex."""
        if patch not in self._hulls:
            self._hulls[patch] = hull_of(self._lying[self._triangles(self.members[patch])].ravel())
        return self._hulls[patch]

    def hang(self, hinge: int, moving: int, placement: Placement) -> None:
        """Hang the patch of one facet at a hinge on the other's, whatever overlaps."""
        facets = list(self.members[self.patch[moving]])
        index, still = np.array(facets), self.patch[self.other(hinge, moving)]
        hulls = [self._hulls.get(patch) for patch in (still, self.patch[moving])]
        shifts = placement[0] * self.shifts[index] + placement[1]
        self._put(facets, still, placement[0] * self.turns[index], shifts)
        if hulls[0] is not None and hulls[1] is not None:
            self._hulls[still] = hull_of(np.concatenate([hulls[0], placement[0] * hulls[1] + placement[1]]))
        self._fold(hinge)

    def cut(self, hinge: int) -> int:
        """Cut a fold; the smaller part becomes a patch of its own, whose number is returned."""
        self._fold(hinge)
        facets = self.smaller_side(hinge)
        index, fresh = np.array(facets), self._fresh
        self._fresh += 1
        self._put(facets, fresh, self.turns[index], self.shifts[index])
        return fresh

    def smaller_side(self, hinge: int) -> list[int]:
        """The facets on that side of a hinge where there are fewer, the second facet's if there are as many."""
        sides = [[self.second[hinge]], [self.first[hinge]]]
        seen = {self.second[hinge], self.first[hinge]}
        at = [0, 0]
        while True:
            for side in (0, 1):
                reached = sides[side]
                if at[side] == len(reached):
                    return reached
                facet = reached[at[side]]
                at[side] += 1
                for fold in self.around[facet]:
                    if self.folded[fold] and fold != hinge:
                        other = self.other(fold, facet)
                        if other not in seen:
                            seen.add(other)
                            reached.append(other)

    def mark(self) -> int:
        """Where to go back to."""
        return len(self._done)

    def undo(self, mark: int) -> None:
        """Take back all that was done since a mark."""
        while len(self._done) > mark:
            last = self._done.pop()
            if isinstance(last, int):
                self.folded[last] = not self.folded[last]
            else:
                self._put(*last)
                self._done.pop()

    def forget(self) -> None:
        """What was done so far stays."""
        self._done.clear()

    def _fold(self, hinge: int) -> None:
        self.folded[hinge] = not self.folded[hinge]
        self._done.append(hinge)

    def _put(self, facets: list[int], patch: int, turns: Places, shifts: Places) -> None:
        """Lay facets, all of one patch, in another patch."""
        index, old = np.array(facets), self.patch[facets[0]]
        self._done.append((facets, old, self.turns[index], self.shifts[index]))
        self._hulls.pop(old, None)
        self._hulls.pop(patch, None)
        triangles = self._triangles(facets)
        numbers: list[int] = triangles.tolist()
        if len(facets) == len(self.members[old]):
            del self._grids[old], self.members[old], self._bounds[old]
        else:
            gone, grid = set(facets), self._grids[old]
            self.members[old] = [facet for facet in self.members[old] if facet not in gone]
            for triangle in numbers:
                here = grid[self._keys[triangle]]
                here.remove(triangle)
                if not here:
                    del grid[self._keys[triangle]]
        self.turns[index], self.shifts[index] = turns, shifts
        of = self.hinges.of[triangles]
        self._lying[triangles] = self.turns[of, None] * self.hinges.corners[triangles] + self.shifts[of, None]
        self._boxes[triangles] = _boxes(self._lying[triangles])
        self._place(triangles)
        for facet in facets:
            self.patch[facet] = patch
        self.members.setdefault(patch, []).extend(facets)
        self._widen(patch, triangles)
        grid = self._grids.setdefault(patch, {})
        for triangle in numbers:
            grid.setdefault(self._keys[triangle], []).append(triangle)

    def _widen(self, patch: int, triangles: Ints) -> None:
        """Note how far a patch reaches; it is not noted where it reaches less far again."""
        boxes = self._boxes[triangles]
        if not len(boxes):
            boxes = np.array([[inf, inf, -inf, -inf]])
        (left, bottom), (right, top) = boxes[:, :2].min(axis=0).tolist(), boxes[:, 2:].max(axis=0).tolist()
        if patch in self._bounds:
            old = self._bounds[patch]
            left, bottom, right, top = min(left, old[0]), min(bottom, old[1]), max(right, old[2]), max(top, old[3])
        self._bounds[patch] = left, bottom, right, top

    def _triangles(self, facets: Sequence[int]) -> Ints:
        if len(facets) == 1:
            return np.arange(self._starts[facets[0]], self._starts[facets[0] + 1])
        index = np.array(facets)
        starts = self.hinges.starts[index]
        counts = self.hinges.starts[index + 1] - starts
        before = np.cumsum(counts) - counts
        return np.asarray(np.repeat(starts - before, counts) + np.arange(counts.sum()))

    def _place(self, triangles: Ints) -> None:
        """Note the squares that triangles stand in as they lie."""
        left, bottom, right, top = self._boxes[triangles].T
        double = 2 * self._sizes[triangles]
        columns = np.floor((left + right) / double).astype(np.int64)
        rows = np.floor((bottom + top) / double).astype(np.int64)
        keys = columns + rows * _ROW + self._levels[triangles] * _LEVEL
        for triangle, key in zip(triangles.tolist(), keys.tolist(), strict=True):
            self._keys[triangle] = key

    def _near(self, moved: Places, patch: int) -> tuple[Ints, Ints]:
        """Pairs of a moved triangle and one of a patch whose boxes meet."""
        boxes = _boxes(moved)
        left, bottom, right, top = self._bounds[patch]
        inner = (boxes[:, 0] < right) & (boxes[:, 2] > left) & (boxes[:, 1] < top) & (boxes[:, 3] > bottom)
        rows_in = np.nonzero(inner)[0]
        names: list[int] = rows_in.tolist()
        grid = self._grids[patch]
        found_rows: list[int] = []
        found: list[int] = []
        for level in self._used:
            size = 2.0**level
            spans = np.floor(boxes[rows_in] / size + (-0.5, -0.5, 0.5, 0.5)).astype(np.int64).tolist()
            base = level * _LEVEL
            for row, (start, low, stop, high) in zip(names, spans, strict=True):
                if (stop - start + 1) * (high - low + 1) > 2 * len(grid):
                    inside: Iterable[int] = grid
                else:
                    inside = [
                        base + line * _ROW + key for line in range(low, high + 1) for key in range(start, stop + 1)
                    ]
                for key in inside:
                    if key in grid:
                        here = grid[key]
                        found.extend(here)
                        found_rows.extend([row] * len(here))
        rows, others = np.array(found_rows, dtype=np.int64), np.array(found, dtype=np.int64)
        if not len(rows):
            return rows, others
        ours, theirs = boxes[rows], self._boxes[others]
        meet = ((ours[:, :2] < theirs[:, 2:]) & (theirs[:, :2] < ours[:, 2:])).all(axis=1)
        return rows[meet], others[meet]


def _boxes(corners: Places) -> NDArray[np.float64]:
    """Left, bottom, right and top of triangles, (n, 4) float."""
    x, y = corners.real, corners.imag
    return np.stack([x.min(axis=1), y.min(axis=1), x.max(axis=1), y.max(axis=1)], axis=1)
