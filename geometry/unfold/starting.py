"""Trees to begin with: several, each cut where it overlaps."""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from ..transforms import Array
from .data import KEEP, Facets, Ints
from .forests import grown, split
from .hinges import Hinges
from .patches import Patches

__all__ = ["by_chance", "starts_of"]

#: A direction askew to whatever is level, upright, or square to it.
_ASKEW = np.array([0.36, 0.48, 0.80])
#: In larger models edges that run level and slices are left out: they are seldom best, and take as long as the others.
_MANY = 10_000
#: How much chance changes wishes, by turns: the logarithm's deviation.
_SPREADS = (0.5, 2.0, 1.0)


def starts_of(facets: Facets, hinges: Hinges, wishes: Array, allowed: NDArray[np.bool_]) -> Iterator[NDArray[np.bool_]]:
    """Folds of forests without overlaps, one after the other.

    The dearest edges kept; then the shortest ways from a facet in the middle, in facets and in millimetres; edges that
    run most level, and slices, both askew.

    Parameters
    ----------
    facets : Facets
    hinges : Hinges
    wishes : (m,) float above 0, what it costs to cut at each hinge
    allowed : (m,) bool, hinges that may be folds

    Yields
    ------
    (m,) bool
    """
    order = np.argsort(-wishes, kind="stable")
    order = order[allowed[order]]
    yield grown(hinges, order, wishes)
    centres = _centres(facets)
    apart = np.linalg.norm(centres[hinges.first] - centres[hinges.second], axis=1)
    ends = facets.vertices[facets.edges[hinges.edges]]
    steep = np.abs((ends[:, 1] - ends[:, 0]) @ _ASKEW) / hinges.lengths
    level = ends.mean(axis=1) @ _ASKEW
    around: list[list[tuple[int, int]]] = [[] for _ in range(hinges.count)]
    for hinge in order.tolist():
        one, two = int(hinges.first[hinge]), int(hinges.second[hinge])
        around[one].append((two, hinge))
        around[two].append((one, hinge))
    seeds = (
        np.argsort(np.linalg.norm(centres - centres.mean(axis=0), axis=1), kind="stable").tolist()
        if len(centres)
        else []
    )
    kept = _without_rings(hinges, order[facets.marks[hinges.edges[order]] == KEEP])
    ways = ((np.ones(len(wishes)), True), (apart, True), (steep, False), (level, False))
    for steps, chained in ways[: 2 if hinges.count > _MANY else 4]:
        yield split(hinges, _spread(around, steps, chained, kept, seeds), wishes)


def by_chance(hinges: Hinges, wishes: Array, allowed: NDArray[np.bool_], count: int) -> Iterator[NDArray[np.bool_]]:
    """Trees that keep what is dearest to cut, each time with other weights; the same ones whenever they are asked for.

    Parameters
    ----------
    hinges : Hinges
    wishes : (m,) float above 0, what it costs to cut at each hinge
    allowed : (m,) bool, hinges that may be folds
    count : how many

    Yields
    ------
    (m,) bool
    """
    chance = np.random.default_rng(0)
    for number in range(count):
        changed = wishes * np.exp(_SPREADS[number % len(_SPREADS)] * chance.normal(size=len(wishes)))
        order = np.argsort(-changed, kind="stable")
        pile = Patches(hinges)
        for hinge in order[allowed[order]].tolist():
            pile.join(hinge)
        yield np.array(pile.folded, dtype=bool)


def _centres(facets: Facets) -> Array:
    """Centres of area of facets, (f, 3)."""
    corners = facets.vertices[facets.triangles]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    count = len(facets.rings)
    total = np.maximum(np.bincount(facets.facet_of, areas, minlength=count), 1e-300)
    middle = corners.mean(axis=1)
    return np.stack(
        [np.bincount(facets.facet_of, areas * middle[:, axis], minlength=count) / total for axis in range(3)], axis=1
    )


def _without_rings(hinges: Hinges, order: Ints) -> set[int]:
    """Those of some hinges, the first ones first, that do not close a ring."""
    above = list(range(hinges.count))
    kept = set()
    for hinge in order.tolist():
        one, two = int(hinges.first[hinge]), int(hinges.second[hinge])
        while above[one] != one:
            one = above[one]
        while above[two] != two:
            two = above[two]
        if one != two:
            above[two] = one
            kept.add(hinge)
    return kept


def _spread(
    around: Sequence[Sequence[tuple[int, int]]], lengths: Array, chained: bool, kept: set[int], seeds: Sequence[int]
) -> NDArray[np.bool_]:
    """Trees that spread from seeds over all that hangs together, the shortest way (chained) or the shortest step first;
    what is kept together with a facet comes along with it."""
    folds = np.zeros(len(lengths), dtype=bool)
    steps: list[float] = lengths.tolist()
    done = [False] * len(around)
    for seed in seeds:
        waiting = [] if done[seed] else [(0.0, seed, -1)]
        while waiting:
            way, facet, hinge = heapq.heappop(waiting)
            reached = [(facet, hinge)]
            while reached:
                facet, hinge = reached.pop()
                if done[facet]:
                    continue
                done[facet] = True
                if hinge >= 0:
                    folds[hinge] = True
                for other, step in around[facet]:
                    if not done[other]:
                        if step in kept:
                            reached.append((other, step))
                        else:
                            heapq.heappush(waiting, (way * chained + steps[step], other, step))
    return folds
