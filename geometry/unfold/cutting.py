"""One edge cut or joined by hand, all else staying as it lies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..errors import HingeleafError
from ..transforms import Array
from .data import KEEP, Ints, Net, Unfolded
from .hinges import Hinges, Places, hinges_of
from .overlaps import meet
from .placing import matrices, net_of

__all__ = ["with_edge_cut", "with_edge_joined"]

#: So many facets are laid out at most, and 8 ways tried at least, to open a ring of facets elsewhere.
_TRIES = 20_000


@dataclass(frozen=True)
class _Tree:
    """Part of a net: facets with where they lie, each after the one it hangs on."""

    facets: Sequence[int]
    parents: Sequence[int]
    folds: Sequence[int]
    turns: Places
    shifts: Places


def with_edge_cut(unfolded: Unfolded, edge: int, *, whole: bool = False) -> Unfolded:
    """A fold becomes a cut.

    Parameters
    ----------
    unfolded : Unfolded
    edge : number of an edge that is a fold
    whole : whether the smaller part is hung on the rest again at another of its edges, the longest where nothing
        overlaps; else, or where there is none, the net falls in two

    Returns
    -------
    Unfolded: the larger part keeps its number and stays as it lies, the smaller is the last net

    Raises
    ------
    HingeleafError : the edge is no fold
    """
    number = _net_with_fold(unfolded, edge)
    if number is None:
        raise HingeleafError(f"{_named(unfolded, edge)} is no fold of a net, so it cannot be cut")
    still, moving = _parted(unfolded.nets[number], edge)
    if whole:
        hinges = hinges_of(unfolded.facets)
        inside = np.isin(hinges.first, moving.facets), np.isin(hinges.second, moving.facets)
        beside = np.isin(hinges.first, still.facets), np.isin(hinges.second, still.facets)
        across = ((inside[0] & beside[1]) | (inside[1] & beside[0])) & (hinges.edges != edge)
        for hinge in sorted(np.nonzero(across)[0].tolist(), key=lambda one: (-hinges.lengths[one], one)):
            joined = _hung(hinges, still, moving, hinge)
            if joined is not None:
                return _with_nets(unfolded, {number: _as_net(unfolded, joined)})
    fresh = _as_net(unfolded, moving, level=True)
    return _with_nets(unfolded, {number: _as_net(unfolded, still)}, fresh)


def with_edge_joined(unfolded: Unfolded, edge: int) -> Unfolded:
    """A cut becomes a fold.

    Two nets become one, the smaller laid beside the larger. Within one net the facets then hang on each other in a
    ring, which is opened elsewhere: at the shortest fold of the ring at which nothing overlaps.

    Parameters
    ----------
    unfolded : Unfolded
    edge : number of an edge that is cut

    Returns
    -------
    Unfolded: the larger net, or part of the net, stays as it lies

    Raises
    ------
    HingeleafError : the edge is no cut between two facets, or the net would overlap itself
    """
    hinges = hinges_of(unfolded.facets)
    at = np.nonzero(hinges.edges == edge)[0]
    if not len(at) or edge not in unfolded.cuts:
        raise HingeleafError(f"{_named(unfolded, edge)} is no cut between two facets, so it cannot be joined")
    hinge = int(at[0])
    one, two = (_net_of_facet(unfolded, int(side[hinge])) for side in (hinges.first, hinges.second))
    if one == two:
        return _ring_opened(unfolded, hinges, hinge, one)
    if len(unfolded.nets[one].facets) < len(unfolded.nets[two].facets):
        one, two = two, one
    joined = _hung(hinges, _tree(unfolded.nets[one]), _tree(unfolded.nets[two]), hinge)
    if joined is None:
        raise HingeleafError(
            f"{_named(unfolded, edge)} cannot be joined: net {two + 1} would lie over net {one + 1} there; "
            "cut one of them first"
        )
    return _with_nets(unfolded, {one: _as_net(unfolded, joined), two: None})


def _ring_opened(unfolded: Unfolded, hinges: Hinges, hinge: int, number: int) -> Unfolded:
    """A cut within a net becomes a fold, and another fold a cut."""
    net, facets, edge = unfolded.nets[number], unfolded.facets, int(hinges.edges[hinge])
    lengths = facets.lengths_mm
    ring = [
        fold for fold in _ring(net, int(hinges.first[hinge]), int(hinges.second[hinge])) if facets.marks[fold] != KEEP
    ]
    for fold in sorted(ring, key=lambda one: (lengths[one], one))[: max(8, _TRIES // len(net.facets))]:
        joined = _hung(hinges, *_parted(net, fold), hinge)
        if joined is not None:
            return _with_nets(unfolded, {number: _as_net(unfolded, joined)})
    raise HingeleafError(
        f"{_named(unfolded, edge)} cannot be joined: wherever net {number + 1} is cut instead, it would overlap itself"
    )


def _ring(net: Net, one: int, two: int) -> list[int]:
    """Folds on the way between two facets of a net."""
    position = {facet: place for place, facet in enumerate(net.facets.tolist())}
    here, there = position[one], position[two]
    folds = []
    while here != there:
        # Parents come first, so the later of the two cannot be above the other.
        later = max(here, there)
        folds.append(int(net.folds[later]))
        here, there = min(here, there), int(net.parents[later])
    return folds


def _tree(net: Net) -> _Tree:
    facets: list[int] = net.facets.tolist()
    above = [facets[parent] if parent >= 0 else -1 for parent in net.parents.tolist()]
    placed = net.placed
    return _Tree(
        facets,
        above,
        net.folds.tolist(),
        placed[:, 0, 0] + 1j * placed[:, 1, 0],
        placed[:, 0, 2] + 1j * placed[:, 1, 2],
    )


def _parted(net: Net, edge: int) -> tuple[_Tree, _Tree]:
    """The larger part and the smaller part of a net without one of its folds."""
    tree = _tree(net)
    below = [False] * len(tree.facets)
    for place, parent in enumerate(net.parents.tolist()):
        below[place] = tree.folds[place] == edge or (parent >= 0 and below[parent])
    hanging = np.array(below)
    parts = [_some(tree, np.nonzero(~hanging)[0]), _some(tree, np.nonzero(hanging)[0])]
    parts.sort(key=lambda part: -len(part.facets))
    return parts[0], parts[1]


def _some(tree: _Tree, places: Ints) -> _Tree:
    inside = {tree.facets[place] for place in places}
    return _Tree(
        [tree.facets[place] for place in places],
        [tree.parents[place] if tree.parents[place] in inside else -1 for place in places],
        [tree.folds[place] if tree.parents[place] in inside else -1 for place in places],
        tree.turns[places],
        tree.shifts[places],
    )


def _hung(hinges: Hinges, still: _Tree, moving: _Tree, hinge: int) -> _Tree | None:
    """One part hung on another at a hinge; None if they would overlap."""
    one, two = int(hinges.first[hinge]), int(hinges.second[hinge])
    turn, shift = complex(hinges.turns[hinge]), complex(hinges.shifts[hinge])
    if one in moving.facets:
        one, two, turn, shift = two, one, turn.conjugate(), -turn.conjugate() * shift
    base, root = still.facets.index(one), moving.facets.index(two)
    shift = complex(still.turns[base]) * shift + complex(still.shifts[base])
    turn = complex(still.turns[base]) * turn * complex(moving.turns[root]).conjugate()
    turn /= abs(turn)
    shift -= turn * complex(moving.shifts[root])
    turns, shifts = turn * moving.turns, turn * moving.shifts + shift
    if meet(*_lying(hinges, moving.facets, turns, shifts), *_lying(hinges, still.facets, still.turns, still.shifts)):
        return None
    order, parents, folds = _hanging_on(moving, root, one, int(hinges.edges[hinge]))
    return _Tree(
        [*still.facets, *(moving.facets[place] for place in order)],
        [*still.parents, *parents],
        [*still.folds, *folds],
        np.concatenate([still.turns, turns[order]]),
        np.concatenate([still.shifts, shifts[order]]),
    )


def _hanging_on(tree: _Tree, root: int, above: int, edge: int) -> tuple[list[int], list[int], list[int]]:
    """Places of a tree in an order from a new root on, the facets that each hangs on then, and the folds."""
    place_of = {facet: place for place, facet in enumerate(tree.facets)}
    around: list[list[tuple[int, int]]] = [[] for _ in tree.facets]
    for place, (parent, fold) in enumerate(zip(tree.parents, tree.folds, strict=True)):
        if parent >= 0:
            around[place].append((place_of[parent], fold))
            around[place_of[parent]].append((place, fold))
    order, parents, folds, seen = [root], [above], [edge], {root}
    for place in order:
        for other, fold in around[place]:
            if other not in seen:
                seen.add(other)
                order.append(other)
                parents.append(tree.facets[place])
                folds.append(fold)
    return order, parents, folds


def _lying(hinges: Hinges, facets: Sequence[int], turns: Places, shifts: Places) -> tuple[Places, Array]:
    """Triangles of facets as they lie, and their heights."""
    place = np.full(hinges.count, -1)
    place[np.asarray(facets)] = np.arange(len(facets))
    used = np.nonzero(place[hinges.of] >= 0)[0]
    at = place[hinges.of[used]]
    return turns[at, None] * hinges.corners[used] + shifts[at, None], hinges.depths[used]


def _as_net(unfolded: Unfolded, tree: _Tree, *, level: bool = False) -> Net:
    """A tree as a net, as it lies or laid level."""
    index = np.array(tree.facets, dtype=np.int64)
    if level:
        count = len(unfolded.facets.rings)
        parents, folds = np.full(count, -1), np.full(count, -1)
        turns, shifts = np.ones(count, dtype=complex), np.zeros(count, dtype=complex)
        parents[index], folds[index], turns[index], shifts[index] = tree.parents, tree.folds, tree.turns, tree.shifts
        return net_of(unfolded.facets, tree.facets, parents, folds, turns, shifts)
    placed = matrices(tree.turns, tree.shifts)
    place_of = {facet: place for place, facet in enumerate(tree.facets)}
    parents = np.array([place_of.get(parent, -1) for parent in tree.parents], dtype=np.int64)
    return Net(index, placed, parents, np.array(tree.folds, dtype=np.int64))


def _with_nets(unfolded: Unfolded, changed: dict[int, Net | None], *fresh: Net) -> Unfolded:
    nets = [changed.get(number, net) for number, net in enumerate(unfolded.nets)]
    kept = (*(net for net in nets if net is not None), *fresh)
    folds = np.concatenate([net.folds for net in kept])
    is_fold = np.zeros(len(unfolded.facets.edges), dtype=bool)
    is_fold[folds[folds >= 0]] = True
    return replace(unfolded, nets=kept, cuts=np.nonzero((unfolded.facets.sides[:, 1] >= 0) & ~is_fold)[0])


def _net_with_fold(unfolded: Unfolded, edge: int) -> int | None:
    found = [number for number, net in enumerate(unfolded.nets) if edge >= 0 and (net.folds == edge).any()]
    return found[0] if found else None


def _net_of_facet(unfolded: Unfolded, facet: int) -> int:
    return next(number for number, net in enumerate(unfolded.nets) if (net.facets == facet).any())


def _named(unfolded: Unfolded, edge: int) -> str:
    count = len(unfolded.facets.edges)
    return f"edge {edge}" if 0 <= edge < count else f"edge {edge} (there are 0 to {count - 1})"
