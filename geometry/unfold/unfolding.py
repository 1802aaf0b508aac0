"""Facets as nets: which edges are cut, and how the rest lies flat."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from ..transforms import Array
from .cut_notes import notes_of
from .cut_options import CutOptions
from .data import CUT, KEEP, Facets, Unfolded
from .forests import forest_of, laid_out, split
from .hinges import Hinges, hinges_of
from .limits import Limits
from .mending import Mending
from .patches import Patches
from .placing import net_of
from .polishing import polish
from .starting import by_chance, starts_of
from .tailoring import cut_to_fit
from .wishes import wishes_of

__all__ = ["nets_from", "unfold_facets"]

_Flags = NDArray[np.bool_]

#: Models of no more facets are searched thoroughly: from one start after the other, and some more with wishes changed
#: by chance, until so many have saved no net.
_SMALL, _CHANCES, _IDLE = 400, 6, 4
#: Dear cuts are traded for cheap ones in models of no more facets.
_POLISHED = 1000
#: In larger models two patches are tried at no more hinges.
_TRIES = 12


def unfold_facets(facets: Facets, options: CutOptions | None = None) -> Unfolded:
    """Cut and lay flat: which edges are folds, so that no net overlaps itself.

    It begins with trees that keep what is dearest to cut (long edges, those marked to be kept or better not cut, those
    seen, those along bands), that spread from a facet in the middle, or that run in slices, each cut where it overlaps
    or is larger than its room, at the cheapest place. The best of them is joined at all edges where nothing overlaps
    then; patches that are left are hung elsewhere whole, in parts, or where something else makes way for them; in
    models that are not large, dear cuts are traded for cheap ones at last. The same facets always give the same nets.

    With `smooth_deg`, folds that bend less are kept first where they run across a band: a tube becomes one strip of
    card with light scores, a cone a sector, a tapering tube a strip for each of its parts, and what is round both ways
    strips in the direction in which it bends most, or round its longest axis.

    Edges marked CUT are cut. Edges marked KEEP are folds, unless they close a ring or force an overlap: the cheapest of
    them is cut then, and a note says where.

    Parameters
    ----------
    facets : Facets
    options : CutOptions, the usual ones if None

    Returns
    -------
    Unfolded: no two facets of a net have more than 1e-9 of the smaller in common (overlaps.py)

    Source: minimum perimeter and steepest edge trees, W. Schlickenrieder (1997), recalled; the rest derived here.
    """
    options = CutOptions() if options is None else options
    hinges = hinges_of(facets)
    marks = facets.marks[hinges.edges]
    wishes = wishes_of(facets, hinges, options)
    costs = np.where(marks == CUT, 0.0, np.where(marks == KEEP, np.inf, wishes))
    limits = Limits(options.room_mm, options.preset == "compact")
    folded = _best(facets, hinges, wishes, costs, limits, options)
    # Whatever the search did: what overlaps in the end is cut.
    folded = split(hinges, folded, wishes)
    unfolded = nets_from(facets, hinges, folded, limits)
    return notes_of(unfolded, options)


def _best(facets: Facets, hinges: Hinges, wishes: Array, costs: Array, limits: Limits, options: CutOptions) -> _Flags:
    """The folds that leave fewest patches, or the shortest cuts."""
    small = hinges.count <= _SMALL
    if small:
        costs = np.where(_possible(hinges), costs, 0.0)
    allowed = costs > 0
    goal = int((forest_of(hinges, np.nonzero(allowed)[0].tolist()).parents < 0).sum())
    starts = starts_of(facets, hinges, wishes, allowed)
    if not small:
        starts = iter([_fewest(hinges, starts, goal)])
    else:
        starts = chain(starts, by_chance(hinges, wishes, allowed, _CHANCES))
    best: tuple[tuple[int, float], _Flags] | None = None
    idle = 0
    for folded in starts:
        patches = Patches(hinges, folded, limits)
        _improve(patches, costs, wishes, goal, options)
        kept = np.array(patches.folded, dtype=bool)
        score = (len(patches.members), float(wishes[allowed & ~kept].sum()))
        idle = 0 if best is None or score[0] < best[0][0] else idle + 1
        if best is None or score < best[0]:
            best = score, kept
        if idle >= (_IDLE if best[0][0] > goal and not limits.any else 1):
            break
    return best[1] if best is not None else np.zeros(len(hinges.edges), dtype=bool)


def _possible(hinges: Hinges) -> _Flags:
    """Whether the two facets at each hinge can lie beside each other at all: an arm of one may reach over the other."""
    alone = Patches(hinges)
    counts = np.diff(hinges.starts)
    possible = np.ones(len(hinges.edges), dtype=bool)
    for hinge in np.nonzero((counts[hinges.first] > 1) | (counts[hinges.second] > 1))[0].tolist():
        moving = alone.second[hinge]
        overlaps = alone.in_the_way([moving], alone.beside(hinge, moving), alone.patch[alone.first[hinge]])
        possible[hinge] = not overlaps[0]
    return possible


def _fewest(hinges: Hinges, starts: Iterator[_Flags], goal: int) -> _Flags:
    """The start with the fewest trees."""
    best = next(starts)
    for folded in starts:
        if hinges.count - int(best.sum()) <= goal:
            break
        best = folded if folded.sum() > best.sum() else best
    return best


def _improve(patches: Patches, costs: Array, wishes: Array, goal: int, options: CutOptions) -> None:
    """Join patches, whole or in parts, and trade dear cuts for cheap ones."""
    count = patches.hinges.count
    cut_to_fit(patches, wishes.tolist())
    tried: Counter[tuple[int, int]] = Counter()
    for hinge in np.argsort(-wishes, kind="stable").tolist():
        one, two = sorted((patches.patch[patches.first[hinge]], patches.patch[patches.second[hinge]]))
        # Two large patches that overlap wherever they were tried do so elsewhere too, nearly always.
        if costs[hinge] > 0 and one != two and (count <= _POLISHED or tried[one, two] < _TRIES):
            tried[one, two] += 1
            patches.join(hinge)
    patches.forget()
    priced: list[float] = costs.tolist()
    Mending(patches, priced).fewer(goal, min(200 + 20 * count, 4000 + count))
    if count <= _POLISHED or options.preset == "shortest":
        polish(patches, priced, 4000 if options.preset == "shortest" else 1500)


def nets_from(facets: Facets, hinges: Hinges, folded: _Flags, limits: Limits | None = None) -> Unfolded:
    """Lay out the trees that folded hinges make of the facets, each hanging on its largest facet.

    Parameters
    ----------
    facets : Facets
    hinges : Hinges
    folded : (m,) bool, hinges that are folds, without a ring among them
    limits : the room to turn nets for
    """
    forest = forest_of(hinges, np.nonzero(folded)[0].tolist(), np.argsort(-facets.areas_mm2, kind="stable").tolist())
    turns, shifts = laid_out(hinges, forest)
    starts = np.nonzero(forest.parents[forest.order] < 0)[0]
    trees = [part.tolist() for part in np.split(forest.order, starts[1:])] if len(starts) else []
    edges = np.where(forest.folds >= 0, hinges.edges[forest.folds], -1) if len(hinges.edges) else forest.folds
    limits = Limits() if limits is None else limits
    nets = tuple(net_of(facets, tree, forest.parents, edges, turns, shifts, limits) for tree in trees)
    is_fold = np.zeros(len(facets.edges), dtype=bool)
    is_fold[edges[edges >= 0]] = True
    return Unfolded(facets, nets, np.nonzero((facets.sides[:, 1] >= 0) & ~is_fold)[0])
