"""What must hold of the joins and tabs of nets, judged by numpy and shapely from the numbers alone."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from shapely import Polygon

from geometry.unfold.data import Unfolded

from . import unfold_judge as judge

__all__ = ["join_faults"]

#: Of the area of a tab, what may lie on something else: rounding.
COMMON = 1e-6


def join_faults(unfolded: Unfolded, joins: Sequence[Any]) -> list[str]:
    """Everything that is wrong with the joins of the cuts, one sentence each."""
    found = []
    if sorted(join.edge for join in joins) != sorted(unfolded.cuts.tolist()):
        found.append("not every cut is joined once")
    if len({join.label for join in joins}) != len(joins):
        found.append("two joins bear one label")
    for join in joins:
        found += [f"join {join.label} at edge {join.edge}: {text}" for text in _side_faults(unfolded, join)]
    return [*found, *_tab_faults(unfolded, joins), *_glued_faults(unfolded, joins)]


def _side_faults(unfolded: Unfolded, join: Any) -> list[str]:
    """Whether both sides lie where the nets have the edge, and the tab on its side."""
    found, facets = [], unfolded.facets
    if [side.facet for side in join.sides] != facets.sides[join.edge].tolist():
        found.append("its sides are not the facets of the edge")
    for number, side in enumerate(join.sides):
        net = unfolded.nets[side.net]
        place = net.facets.tolist().index(side.facet)
        ends = judge.edge_in(facets, net, place, join.edge)
        ends = ends if number == 0 else ends[::-1]  # an edge runs as in the ring of its first facet
        if np.abs(ends - side.line).max() > judge.MEETS * facets.size_mm:
            found.append(f"side {number} is not where its net has the edge")
    if (join.tab is None) != (join.tab_side < 0):
        found.append("a tab without a side, or a side without a tab")
    if join.tab is not None:
        line = join.sides[join.tab_side].line
        if sorted(map(tuple, join.tab[:2].tolist())) != sorted(map(tuple, line.tolist())):
            found.append("its tab does not begin with its crease")
        if not Polygon(join.tab).is_valid or not shapely.LinearRing(join.tab).is_ccw:
            found.append("its tab is no simple outline")
    return found


def _tab_faults(unfolded: Unfolded, joins: Sequence[Any]) -> list[str]:
    """Whether tabs lie on their nets or on each other."""
    found = []
    for number in range(len(unfolded.nets)):
        mine = [join for join in joins if join.tab is not None and join.sides[join.tab_side].net == number]
        if not mine:
            continue
        tabs = np.array([Polygon(join.tab) for join in mine])
        triangles = shapely.polygons(judge.net_triangles(unfolded, number)[0])
        for one, other in shapely.STRtree(triangles).query(tabs, predicate="intersects").T.tolist():
            if tabs[one].intersection(triangles[other]).area > COMMON * tabs[one].area:
                found.append(f"tab {mine[one].label} lies on net {number}")
        for one, other in shapely.STRtree(tabs).query(tabs, predicate="intersects").T.tolist():
            if one < other and tabs[one].intersection(tabs[other]).area > COMMON * tabs[one].area:
                found.append(f"tabs {mine[one].label} and {mine[other].label} lie on each other")
    return sorted(set(found))


def _glued_faults(unfolded: Unfolded, joins: Sequence[Any]) -> list[str]:
    """Whether tabs that are glued behind one facet lie on each other there, or reach beyond it."""
    found, behind = [], {}
    for join in joins:
        if join.tab is None:
            continue
        host, own = join.sides[1 - join.tab_side], join.sides[join.tab_side]
        # The tab goes round the edge: its crease onto the host's side, its free edge to the host's inside.
        (a, b), (c, d) = (line @ [1, 1j] for line in (own.line, host.line))
        turn = (c - d) / (b - a)
        tab = d + turn * (join.tab @ [1, 1j] - a)
        behind.setdefault(host.facet, []).append((join.label, host.net, Polygon(np.c_[tab.real, tab.imag])))
    for facet, tabs in behind.items():
        net = unfolded.nets[tabs[0][1]]
        placed = net.placed[net.facets.tolist().index(facet)]
        rings = [ring @ placed[:, :2].T + placed[:, 2] for ring in unfolded.facets.flat[facet]]
        host = Polygon(rings[0], rings[1:])
        for number, (label, _, tab) in enumerate(tabs):
            if tab.difference(host).area > 1e-3 * tab.area:
                found.append(f"tab {label} reaches beyond facet {facet} that it is glued behind")
            for other, _, second in tabs[:number]:
                if tab.intersection(second).area > 1e-3 * min(tab.area, second.area):
                    share = tab.intersection(second).area / min(tab.area, second.area)
                    found.append(
                        f"tabs {other} and {label} lie on each other behind facet {facet}, {share:.1%} of the smaller"
                    )
    return found
