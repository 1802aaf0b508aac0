"""Dear cuts traded for cheap ones, where a net stays whole and free of overlaps."""

from __future__ import annotations

from collections.abc import Sequence

from .forests import forest_of
from .patches import Patches

__all__ = ["polish"]

#: So many folds are tried in place of a cut; and a trade must save more than this share.
_WAYS, _WORTH = 4, 1e-6


def polish(patches: Patches, costs: Sequence[float], tests: int) -> None:
    """Make a fold of each cut that costs more than a fold on the way round, and cut that.

    Parameters
    ----------
    patches : is changed; as many patches are left
    costs : what it costs to cut at each hinge; 0 or less where a fold must not be, infinite where one must stay
    tests : how many placements may be tested
    """
    end = patches.tests + tests
    dearest = sorted(range(len(costs)), key=lambda hinge: (-costs[hinge], hinge))
    changed = True
    while changed:
        changed = False
        parents, folds, depths = _rooted(patches)
        for hinge in dearest:
            if patches.tests >= end:
                return
            if patches.folded[hinge] or costs[hinge] <= 0:
                continue
            if patches.patch[patches.first[hinge]] != patches.patch[patches.second[hinge]]:
                continue
            ring = _ring(parents, folds, depths, patches.first[hinge], patches.second[hinge])
            cheap = sorted(
                (fold for fold in ring if costs[fold] < costs[hinge] * (1 - _WORTH)),
                key=lambda fold: (costs[fold], fold),
            )
            if any(_trade(patches, fold, hinge) for fold in cheap[:_WAYS]):
                changed = True
                parents, folds, depths = _rooted(patches)


def _trade(patches: Patches, fold: int, hinge: int) -> bool:
    """Cut a fold and join at a cut; whether nothing overlaps then."""
    mark = patches.mark()
    patches.cut(fold)
    if patches.join(hinge):
        patches.forget()
        return True
    patches.undo(mark)
    return False


def _rooted(patches: Patches) -> tuple[list[int], list[int], list[int]]:
    """Of each facet the one it hangs on, the fold, and how many folds it is from the root."""
    forest = forest_of(patches.hinges, [hinge for hinge, fold in enumerate(patches.folded) if fold])
    parents: list[int] = forest.parents.tolist()
    depths = [0] * len(parents)
    for facet in forest.order.tolist():
        if parents[facet] >= 0:
            depths[facet] = depths[parents[facet]] + 1
    folds: list[int] = forest.folds.tolist()
    return parents, folds, depths


def _ring(parents: Sequence[int], folds: Sequence[int], depths: Sequence[int], one: int, two: int) -> list[int]:
    """Folds on the way between two facets of a tree."""
    ring = []
    while one != two:
        if depths[one] < depths[two]:
            one, two = two, one
        ring.append(folds[one])
        one = parents[one]
    return ring
