"""A folded model as panels: each facet where it lies on its net and where it stands, its creases, and its tabs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from shapely import Polygon

from ..outline import carried
from ..transforms import Array, apply, frame, inverse, lift, map_between
from ..unfold.data import Facets, Unfolded

if TYPE_CHECKING:
    from ..unfold.tabs import Join

__all__ = ["FoldedCrease", "FoldedFacet", "FoldedTab", "creases_of", "facets_on_nets", "tabs_of"]


@dataclass(frozen=True)
class FoldedFacet:
    """A facet.

    Parameters
    ----------
    net : number of its net
    outline : on its net, mm
    rest : (4, 4) float; from its net to where it stands in the model's space
    """

    net: int
    outline: Polygon
    rest: Array


@dataclass(frozen=True)
class FoldedCrease:
    """A crease between two facets of one net.

    Parameters
    ----------
    edge : its number
    facets : the two
    start, along : (2,) float; its start on the net, mm, and its unit direction
    dihedral_rad : through the printed face
    """

    edge: int
    facets: tuple[int, int]
    start: Array
    along: Array
    dihedral_rad: float


@dataclass(frozen=True)
class FoldedTab:
    """A tab, glued behind the facet beyond its cut.

    Parameters
    ----------
    label : of its cut
    net : number of the net that it hangs on
    own, other : facets; the one that it hangs on, the one that it is glued to
    outline : on its net, mm
    rest : (4, 4) float; from its net to that of the facet that it is glued to
    on_host : its outline on that net
    start, along, dihedral_rad : of its crease, as in FoldedCrease
    """

    label: str
    net: int
    own: int
    other: int
    outline: Polygon
    rest: Array
    on_host: Polygon
    start: Array
    along: Array
    dihedral_rad: float


def facets_on_nets(unfolded: Unfolded) -> tuple[FoldedFacet, ...]:
    """Every facet, in their order."""
    found: dict[int, FoldedFacet] = {}
    facets = unfolded.facets
    for number, net in enumerate(unfolded.nets):
        for facet, placed in zip(net.facets.tolist(), net.placed, strict=True):
            rings = [ring @ placed[:, :2].T + placed[:, 2] for ring in facets.flat[facet]]
            rest = facets.frames[facet] @ inverse(_in_space(placed))
            found[facet] = FoldedFacet(number, Polygon(rings[0], rings[1:]), rest)
    return tuple(found[facet] for facet in range(len(facets.rings)))


def creases_of(unfolded: Unfolded) -> tuple[FoldedCrease, ...]:
    """Every crease, net by net."""
    facets, found = unfolded.facets, []
    for net in unfolded.nets:
        for position, edge in enumerate(net.folds.tolist()):
            if edge < 0:
                continue
            pair = int(net.facets[position]), int(net.facets[net.parents[position]])
            line = _line(facets, edge, pair[0], net.placed[position])
            found.append(FoldedCrease(edge, pair, line[0], _direction(line), _dihedral(facets, edge)))
    return tuple(found)


def tabs_of(unfolded: Unfolded, joins: Sequence[Join]) -> tuple[FoldedTab, ...]:
    """Every tab, cut by cut."""
    facets, found = unfolded.facets, []
    placed = {
        facet: place for net in unfolded.nets for facet, place in zip(net.facets.tolist(), net.placed, strict=True)
    }
    for join in joins:
        if join.tab is None:
            continue
        side = join.sides[join.tab_side]
        net, own, other = side.net, side.facet, join.sides[1 - join.tab_side].facet
        on_own, on_other = (_line(facets, join.edge, facet, placed[facet]) for facet in (own, other))
        outline, rest = Polygon(join.tab), map_between(_frame_along(on_own), _frame_along(on_other))
        start, along, angle = on_own[0], _direction(on_own), _dihedral(facets, join.edge)
        on_host = carried(outline, rest)
        found.append(FoldedTab(join.label, net, own, other, outline, rest, on_host, start, along, angle))
    return tuple(found)


def _in_space(placed: Array) -> Array:
    """A turn and a shift of the plane, (2, 3) float, as (4, 4)."""
    matrix = np.eye(4)
    matrix[:2, :2], matrix[:2, 3] = placed[:, :2], placed[:, 2]
    return matrix


def _line(facets: Facets, edge: int, facet: int, placed: Array) -> Array:
    """Both ends of an edge on the net of one of its facets, (2, 2) float, mm."""
    ends = apply(inverse(facets.frames[facet]), facets.vertices[facets.edges[edge]])[:, :2]
    return np.asarray(ends @ placed[:, :2].T + placed[:, 2])


def _direction(line: Array) -> Array:
    return np.asarray((line[1] - line[0]) / np.hypot(*(line[1] - line[0])))


def _frame_along(line: Array) -> Array:
    """The frame at the start of a line of the plane, its first axis along it."""
    along = _direction(line)
    return frame(lift(line[0]), lift(along), [-along[1], along[0], 0.0])


def _dihedral(facets: Facets, edge: int) -> float:
    """Through the outside, which is the printed face: a mountain measures more than a half turn."""
    return float(np.pi + facets.bends[edge])
