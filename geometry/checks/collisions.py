"""Does not collide: panels that pass through each other, or through a page, anywhere from 0 to 180 degrees."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from ..crossing import Crossings, Index, PanelEdges, find_crossings, pairs_apart, panel_edges
from ..motion import pose_panels, solve_cells
from ..spread import Spread
from ..tolerances import SHALLOW_MM
from ..transforms import Array
from .findings import Finding

__all__ = ["check_collisions", "sampled_openings_deg"]

_CODE = "collides"
#: First contact is found to this.
_EXACT_DEG = 0.1


@dataclass(frozen=True)
class _Pair:
    """What is known of two panels that meet: their crossings at the sampled openings (indices into Crossings)."""

    first: int
    second: int
    rows: Index


def sampled_openings_deg(low_deg: float, high_deg: float) -> Array:
    """Openings at which collisions are looked for: every degree, and closer together near both ends.

    Returns
    -------
    (n,) float, degrees, within the limits; 0 and 180 themselves are left out, where card lies on card
    """
    even = np.arange(1.0, 180.0, 1.0)
    ends = np.array([0.25, 0.5, 179.5, 179.75])
    every = np.sort(np.concatenate([even, ends]))
    return np.asarray(every[(every > low_deg) & (every < high_deg)])


def check_collisions(
    spread: Spread, only: tuple[str, str] | None = None, *, among: Collection[str] | None = None
) -> list[Finding]:
    """Findings on panels that pass through each other.

    Parameters
    ----------
    spread : Spread
    only : look at these two panels alone
    among : look only at pairs of which one is among these panels

    Returns
    -------
    list of Finding, one a pair of panels; opening_deg is the first contact to 0.1 degrees, measure the greatest depth

    Notes
    -----
    Source: DESIGN.md, section 5. Sampled, not proved: a contact that begins and ends between two samples is not seen.
    """
    spread = spread.folding
    low, high = np.degrees(spread.reachable())
    if not np.isfinite(low):
        return []
    openings = sampled_openings_deg(low, high)
    wanted = spread.panels if only is None else {name: spread.panels[name] for name in only}
    edges = panel_edges({name: panel.outline for name, panel in wanted.items()})
    pairs = _pairs(spread, edges)
    if among is not None:
        own = np.array([name in among for name in edges.names], dtype=bool)
        pairs = pairs[own[pairs].any(axis=1)]
    crossings = find_crossings(edges, _poses(spread, edges, openings), pairs)
    keys = crossings.first * len(edges.names) + crossings.second
    found = []
    for key in np.unique(keys[crossings.depth > SHALLOW_MM]):
        rows = np.flatnonzero(keys == key)
        found.append(_Pair(int(crossings.first[rows[0]]), int(crossings.second[rows[0]]), rows))
    starts = np.array([crossings.opening[pair.rows].min() for pair in found], dtype=np.int64)
    contacts = _first_contacts(spread, edges, openings, found, starts)
    return [
        _finding(spread, edges, openings, crossings, pair, contact)
        for pair, contact in zip(found, contacts, strict=True)
    ]


def _poses(spread: Spread, edges: PanelEdges, openings_deg: Array) -> Array:
    """(m, n, 4, 4) float, poses of the prepared panels."""
    matrices = pose_panels(spread.panels.values(), solve_cells(np.radians(openings_deg), spread.units))
    return np.stack([matrices[name] for name in edges.names], axis=1)


def _pairs(spread: Spread, edges: PanelEdges) -> Index:
    """Pairs of panels that can move against each other."""
    body: dict[str, str] = {}
    for panel in spread.panels.values():
        fixed = panel.parent is not None and panel.axis is None
        body[panel.id] = body[str(panel.parent)] if fixed else panel.id
    return pairs_apart([body[name] for name in edges.names])


def _finding(
    spread: Spread, edges: PanelEdges, openings: Array, crossings: Crossings, pair: _Pair, first: float
) -> Finding:
    rows = pair.rows
    deepest = rows[np.argmax(crossings.depth[rows])]
    hit = np.sort(crossings.opening[rows])
    depth = float(crossings.depth[deepest])
    one, two = (spread.panels[edges.names[index]] for index in (pair.first, pair.second))
    x, y = crossings.place[deepest]
    message = (
        f"{one.id} and {two.id} pass through each other from {first:.1f} to {openings[hit[-1]]:.1f} degrees, "
        f"deepest at {openings[crossings.opening[deepest]]:g} degrees with {depth:.1f} mm "
        f"(looked at every degree from {openings[0]:g} to {openings[-1]:g})"
    )
    place = (float(x), float(y))
    return Finding(_CODE, "error", one.piece, one.id, place, first, depth, "mm", message, other=two.id)


def _first_contacts(
    spread: Spread, edges: PanelEdges, openings: Array, pairs: list[_Pair], starts: Index
) -> list[float]:
    """Where each pair first meets, degrees: in steps of 0.1 from the last free sample on, or from a jam."""
    low = float(np.degrees(spread.reachable()[0]))
    contacts = [float(openings[start]) for start in starts]
    steps: dict[int, Array] = {}
    for start in np.unique(starts):
        free = float(openings[start - 1]) if start else low
        if start or low > 0.0:
            count = int(np.ceil((openings[start] - free) / _EXACT_DEG))
            steps[int(start)] = np.linspace(free, openings[start], count + 1)[1 if start else 0 : -1]
    if not steps:
        return contacts
    poses = _poses(spread, edges, np.concatenate(list(steps.values())))
    begin = 0
    for start, between in steps.items():
        own = np.flatnonzero(starts == start)
        wanted = np.array([(pairs[index].first, pairs[index].second) for index in own])
        met = find_crossings(edges, poses[begin : begin + len(between)], wanted)
        for index, (first, second) in zip(own, wanted, strict=True):
            hits = met.opening[(met.first == first) & (met.second == second)]
            if len(hits):
                contacts[index] = float(between[hits.min()])
        begin += len(between)
    return [round(contact, 2) for contact in contacts]
