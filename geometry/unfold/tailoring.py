"""Patches that are larger than the sheet are cut, at the cheapest place."""

from __future__ import annotations

from collections.abc import Sequence

from .patches import Patches

__all__ = ["cut_to_fit"]


def cut_to_fit(patches: Patches, costs: Sequence[float]) -> None:
    """Cut patches until all fit: each time where the cut is cheap for how evenly it parts the area.

    Parameters
    ----------
    patches : is changed; a single facet that does not fit stays as it is
    costs : above 0, what it costs to cut at each hinge
    """
    waiting = sorted(patches.members) if patches.limits.any else []
    while waiting:
        patch = waiting.pop()
        facets = patches.members[patch]
        if len(facets) > 1 and not patches.limits.kept(patches.hull(patch), sum(patches.areas[one] for one in facets)):
            waiting += [patch, patches.cut(_cheapest(patches, patch, costs))]


def _cheapest(patches: Patches, patch: int, costs: Sequence[float]) -> int:
    """The fold at which a patch is best cut."""
    root = patches.members[patch][0]
    order, above = [root], {root: -1}
    for facet in order:
        for fold in patches.around[facet]:
            other = patches.other(fold, facet)
            if patches.folded[fold] and other not in above:
                above[other] = fold
                order.append(other)
    areas = {facet: patches.areas[facet] for facet in order}
    for facet in reversed(order[1:]):
        areas[patches.other(above[facet], facet)] += areas[facet]
    return above[
        min(
            order[1:],
            key=lambda facet: (costs[above[facet]] / max(min(areas[facet], areas[root] - areas[facet]), 1e-300), facet),
        )
    ]
