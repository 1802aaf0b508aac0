"""Trees of facets: rooted, laid flat, and cut where they overlap.

All at once in numpy, for tens of thousands of facets.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..transforms import Array
from .data import Ints
from .hinges import Hinges, Places
from .overlaps import overlapping_pairs

__all__ = ["Forest", "forest_of", "grown", "laid_out", "split"]

#: How many facets a tree has on average when it is grown no further: two large ones overlap in very many places.
_LARGE = 40

_Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Forest:
    """Trees of facets.

    Parameters
    ----------
    order : (f,) int, the facets of one tree after those of another, each after the one that it hangs on and followed at
        once by all that hangs on it
    parents : (f,) int, the facet that each facet hangs on; -1 for a root
    folds : (f,) int, the hinge at which it hangs; -1 for a root
    roots : (f,) int, the root of its tree
    sizes : (f,) int, how many facets hang on each, itself too
    """

    order: Ints
    parents: Ints
    folds: Ints
    roots: Ints
    sizes: Ints


def forest_of(hinges: Hinges, folded: Iterable[int], roots: Sequence[int] | None = None) -> Forest:
    """Root the trees that folds make.

    Parameters
    ----------
    hinges : Hinges
    folded : hinges without a ring among them
    roots : facets in the order in which they are taken for roots; by their numbers if None
    """
    count = hinges.count
    around: list[list[tuple[int, int]]] = [[] for _ in range(count)]
    first, second = hinges.first.tolist(), hinges.second.tolist()
    for hinge in folded:
        around[first[hinge]].append((second[hinge], hinge))
        around[second[hinge]].append((first[hinge], hinge))
    parents, folds, tops, sizes = [-1] * count, [-1] * count, [-1] * count, [1] * count
    order = []
    for root in range(count) if roots is None else roots:
        if tops[root] >= 0:
            continue
        tops[root] = root
        stack = [root]
        while stack:
            facet = stack.pop()
            order.append(facet)
            for other, hinge in around[facet]:
                if tops[other] < 0:
                    tops[other], parents[other], folds[other] = root, facet, hinge
                    stack.append(other)
    for facet in reversed(order):
        if parents[facet] >= 0:
            sizes[parents[facet]] += sizes[facet]
    return Forest(*(np.array(values, dtype=np.int64) for values in (order, parents, folds, tops, sizes)))


def laid_out(hinges: Hinges, forest: Forest) -> tuple[Places, Places]:
    """Unfold trees.

    Chained by doubling: after k rounds each facet lies in the plane of its ancestor 2^k generations up.

    Returns
    -------
    turns, shifts : (f,) complex; each facet's own plane to that of its root
    """
    turns = np.ones(hinges.count, dtype=complex)
    shifts = np.zeros(hinges.count, dtype=complex)
    hang = np.nonzero(forest.parents >= 0)[0]
    at = forest.folds[hang]
    forward = hinges.first[at] == forest.parents[hang]
    turn, shift = hinges.turns[at], hinges.shifts[at]
    turns[hang] = np.where(forward, turn, np.conj(turn))
    shifts[hang] = np.where(forward, shift, -np.conj(turn) * shift)
    above = np.where(forest.parents >= 0, forest.parents, np.arange(hinges.count))
    while (above[above] != above).any():
        shifts = turns[above] * shifts + shifts[above]
        turns = turns[above] * turns
        above = above[above]
    return turns / np.abs(turns), shifts


def grown(hinges: Hinges, order: Ints, costs: Array) -> _Flags:
    """Trees without overlaps, as large as comes easily.

    Facets are joined at one hinge after the other, but looked at for overlaps only each time that they have become six
    times fewer trees; what overlaps then is cut again, and never folded again there.

    Parameters
    ----------
    hinges : Hinges
    order : (k,) int, hinges that may be folds, the ones wished for most first
    costs : (m,) float above 0, what it costs to cut at each hinge

    Returns
    -------
    (m,) bool, which hinges are folds
    """
    folded = np.zeros(len(hinges.edges), dtype=bool)
    tried = np.zeros(len(hinges.edges), dtype=bool)
    first, second = hinges.first.tolist(), hinges.second.tolist()
    trees = hinges.count
    forest = forest_of(hinges, ())
    while trees > hinges.count // _LARGE:
        goal = max(1, trees // 6)
        above: list[int] = forest.roots.tolist()
        joined = []
        waiting = order[~tried[order]]
        for hinge in waiting.tolist():
            one, two = first[hinge], second[hinge]
            while above[one] != one:
                above[one] = one = above[above[one]]
            while above[two] != two:
                above[two] = two = above[above[two]]
            if one != two:
                above[two] = one
                joined.append(hinge)
                trees -= 1
                if trees <= goal:
                    break
        if not joined:
            break
        folded[joined] = True
        tried[joined] = True
        folded = split(hinges, folded, costs)
        forest = forest_of(hinges, np.nonzero(folded)[0].tolist())
        trees = int((forest.parents < 0).sum())
    return folded


def split(hinges: Hinges, folded: _Flags, costs: Array) -> _Flags:
    """Cut trees until none overlaps itself: in turn in each where most overlaps are undone for the least cost.

    Parameters
    ----------
    hinges : Hinges
    folded : (m,) bool, hinges that are folds
    costs : (m,) float above 0, what it costs to cut at each hinge

    Returns
    -------
    (m,) bool, the folds that are left
    """
    forest = forest_of(hinges, np.nonzero(folded)[0].tolist())
    turns, shifts = laid_out(hinges, forest)
    corners = turns[hinges.of, None] * hinges.corners + shifts[hinges.of, None]
    one, two = overlapping_pairs(corners, hinges.depths, hinges.of, forest.roots)
    if not len(one):
        return folded
    meets = _common_ancestors(forest, one, two)
    cost = np.where(forest.parents >= 0, costs[forest.folds], np.inf)
    tops, cut = forest.roots, forest.parents < 0
    position = np.empty(hinges.count, dtype=np.int64)
    position[forest.order] = np.arange(hinges.count)
    while len(one):
        weights = np.bincount(one, minlength=hinges.count) + np.bincount(two, minlength=hinges.count)
        weights -= 2 * np.bincount(meets, minlength=hinges.count)
        sums = np.concatenate([[0], np.cumsum(weights[forest.order])])
        crossing = sums[position + forest.sizes] - sums[position]
        score = np.where(cut, 0.0, crossing / cost)
        ranked = np.lexsort((np.arange(hinges.count), -score, tops))
        leading = ranked[np.concatenate([[True], tops[ranked][1:] != tops[ranked][:-1]])]
        cut = cut.copy()
        cut[leading[score[leading] > 0]] = True
        tops = np.where(cut, np.arange(hinges.count), forest.parents)
        while (tops[tops] != tops).any():
            tops = tops[tops]
        left = tops[one] == tops[two]
        one, two, meets = one[left], two[left], meets[left]
    kept = np.zeros(len(folded), dtype=bool)
    kept[forest.folds[~cut]] = True
    return kept


def _common_ancestors(forest: Forest, one: Ints, two: Ints) -> Ints:
    """The lowest facet that each two facets of one tree both hang on."""
    position = np.empty(len(forest.order), dtype=np.int64)
    position[forest.order] = np.arange(len(forest.order))

    def over(facets: Ints) -> _Flags:
        begin = position[facets]
        return np.asarray((begin <= position[two]) & (position[two] < begin + forest.sizes[facets]))

    tables = [np.where(forest.parents >= 0, forest.parents, np.arange(len(forest.order)))]
    while (tables[-1][tables[-1]] != tables[-1]).any():
        tables.append(tables[-1][tables[-1]])
    found = one.copy()
    for table in reversed(tables):
        found = np.where(over(found) | over(table[found]), found, table[found])
    return np.where(over(found), found, tables[0][found])
