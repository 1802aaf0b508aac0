"""What two hands move does not meet: two flaps that both stand open, a flap over a wheel that turns."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from ..crossing import Crossings, Index, PanelEdges, find_crossings, panel_edges
from ..model import Hand
from ..sampling import hand_range
from ..spread import Spread
from ..tolerances import SHALLOW_MM
from ..transforms import Array, apply
from .findings import Finding

__all__ = ["check_hands_together"]

_CODE = "hands-collide"
#: The opening at which hands are tried: a reader moves parts in the open book.
_OPENING_DEG = 180.0
#: Positions of each hand that are tried, evenly over its range, its ends left out: there card may lie on card.
_STEPS = 12


def check_hands_together(spread: Spread) -> list[Finding]:
    """Findings on panels of two hands that meet though neither meets the other at rest.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, warnings, one a pair of panels; measure is the greatest depth in mm

    Notes
    -----
    Sampled, not proved: the book wide open, two hands at a time, the others at rest.
    """
    spread = spread.folding
    low, high = np.degrees(spread.reachable())
    if not np.isfinite(low) or len(spread.hands) < 2:
        return []
    opening = float(np.clip(_OPENING_DEG, low, high))
    edges = panel_edges({name: panel.outline for name, panel in spread.panels.items()})
    swept = {hand.id: _swept(spread, hand, edges, opening) for hand in spread.hands}
    found: list[Finding] = []
    for one, two in combinations(spread.hands, 2):
        pairs = _pairs(swept[one.id], swept[two.id])
        if len(pairs):
            found += _of_two(spread, one, two, edges, pairs, opening)
    return found


def _values(spread: Spread, hand: Hand) -> Array:
    return np.linspace(*hand_range(spread, hand), _STEPS + 2)[1:-1]


def _swept(spread: Spread, hand: Hand, edges: PanelEdges, opening: float) -> dict[int, tuple[Array, Array]]:
    """Of every panel that a hand moves, by its number, the corners of the box that it sweeps, mm."""
    moved = spread.moved_by(hand.variable)
    bodies: set[str] = set()
    for panel in spread.panels.values():
        if panel.variable in moved or panel.parent in bodies:
            bodies.add(panel.id)
    values = np.concatenate([_values(spread, hand), hand_range(spread, hand)])
    motion = spread.pose(np.full(len(values), np.radians(opening)), {hand.id: values})
    boxes = {}
    for number, name in enumerate(edges.names):
        if name in bodies:
            outline = np.asarray(spread.panels[name].outline.exterior.coords)
            corners = apply(motion.matrices[name], outline).reshape(-1, 3)
            boxes[number] = (np.nanmin(corners, axis=0), np.nanmax(corners, axis=0))
    return boxes


def _pairs(one: dict[int, tuple[Array, Array]], two: dict[int, tuple[Array, Array]]) -> Index:
    """Pairs of panels, the first moved by one hand alone and the second by the other, whose boxes meet, (k, 2)."""
    found = [
        (first, second)
        for first, (low, high) in one.items()
        for second, (least, most) in two.items()
        if first not in two and second not in one and (low < most).all() and (least < high).all()
    ]
    return np.array(sorted((min(pair), max(pair)) for pair in found), dtype=np.int64).reshape(-1, 2)


def _of_two(spread: Spread, one: Hand, two: Hand, edges: PanelEdges, pairs: Index, opening: float) -> list[Finding]:
    first, second = np.array([value.ravel() for value in np.meshgrid(_values(spread, one), _values(spread, two))])
    # After the grid, each hand alone: what meets the other at rest is told by check_hand_collisions.
    alone = np.concatenate([_values(spread, one), np.full(_STEPS, one.rest)])
    other = np.concatenate([np.full(_STEPS, two.rest), _values(spread, two)])
    moved = np.concatenate([first, alone]), np.concatenate([second, other])
    motion = spread.pose(np.full(len(moved[0]), np.radians(opening)), {one.id: moved[0], two.id: moved[1]})
    poses = np.stack([motion.matrices[name] for name in edges.names], axis=1)
    stands = np.isfinite(poses).all(axis=(1, 2, 3))
    crossings = find_crossings(edges, poses[stands], pairs)
    at = np.flatnonzero(stands)[crossings.opening]
    keys = crossings.first * len(edges.names) + crossings.second
    deep = crossings.depth > SHALLOW_MM
    known = set(keys[deep & (at >= len(first))])
    return [
        _finding(spread, (one, two), edges, crossings, np.flatnonzero((keys == key) & deep), at, moved, opening)
        for key in np.unique(keys[deep])
        if key not in known
    ]


def _finding(
    spread: Spread,
    hands: tuple[Hand, Hand],
    edges: PanelEdges,
    crossings: Crossings,
    rows: Index,
    at: Index,
    moved: tuple[Array, Array],
    opening: float,
) -> Finding:
    deepest = int(rows[np.argmax(crossings.depth[rows])])
    one, two = (spread.panels[edges.names[index]] for index in (crossings.first[deepest], crossings.second[deepest]))
    depth, (x, y) = float(crossings.depth[deepest]), crossings.place[deepest]
    where = [
        f"{hand.id} at {hand.said(values[at[deepest]]):.1f} {hand.unit}"
        for hand, values in zip(hands, moved, strict=True)
    ]
    message = (
        f"{where[0]} and {where[1]} together take {one.id} through {two.id}, {depth:.1f} mm deep, though neither meets "
        f"the other at rest: let one stop earlier, move them apart, or print which is to be moved first (looked at "
        f"{_STEPS} by {_STEPS} positions at an opening of {opening:g} degrees)"
    )
    return Finding(
        _CODE, "warning", one.piece, one.id, (float(x), float(y)), opening, depth, "mm", message, other=two.id
    )
