"""What a hand moves does not run into a neighbour on its way."""

from __future__ import annotations

import numpy as np

from ..crossing import Crossings, Index, PanelEdges, find_crossings, pairs_apart, panel_edges
from ..model import Hand
from ..sampling import hand_range
from ..spread import Spread
from ..tolerances import SHALLOW_MM
from ..transforms import Array
from .findings import Finding, Severity

__all__ = ["OPENINGS_DEG", "STEPS", "check_hand_collisions"]

_CODE = "hand-collides"
#: Openings at which hands are tried: the book lies open, or is read half open.
OPENINGS_DEG = (180.0, 150.0, 120.0, 90.0)
#: Positions of a hand that are tried, evenly over its range, its ends left out: there card may lie on card.
STEPS = 36


def check_hand_collisions(spread: Spread) -> list[Finding]:
    """Findings on panels that a hand moves through others.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, one a hand and pair of panels; an error where it happens in the open book, otherwise a warning, or
    a note where it is a page that is in the way; measure is the greatest depth in mm

    Notes
    -----
    Sampled, not proved: every hand alone, the others at rest; a contact between two samples is not seen.
    """
    spread = spread.folding
    low, high = np.degrees(spread.reachable())
    if not np.isfinite(low) or not spread.hands:
        return []
    openings = [opening for opening in OPENINGS_DEG if low - 1e-9 <= opening <= high + 1e-9] or [float(high)]
    edges = panel_edges({name: panel.outline for name, panel in spread.panels.items()})
    return [finding for hand in spread.hands for finding in _of_hand(spread, hand, edges, openings)]


def _of_hand(spread: Spread, hand: Hand, edges: PanelEdges, openings: list[float]) -> list[Finding]:
    first, last = hand_range(spread, hand)
    values = np.linspace(first, last, STEPS + 1)[1:-1]
    pairs = _pairs(spread, hand, edges)
    if not len(pairs):
        return []
    rows: Array = np.repeat(np.radians(openings), len(values))
    moved = np.tile(values, len(openings))
    motion = spread.pose(rows, {hand.id: moved})
    poses = np.stack([motion.matrices[name] for name in edges.names], axis=1)
    stands = np.isfinite(poses).all(axis=(1, 2, 3))
    crossings = find_crossings(edges, poses[stands], pairs)
    at = np.flatnonzero(stands)[crossings.opening]
    keys = crossings.first * len(edges.names) + crossings.second
    tried = (openings, (hand.said(values[0]), hand.said(values[-1])))
    return [
        _finding(spread, hand, edges, crossings, np.flatnonzero(keys == key), (np.degrees(rows)[at], moved[at]), tried)
        for key in np.unique(keys[crossings.depth > SHALLOW_MM])
    ]


def _pairs(spread: Spread, hand: Hand, edges: PanelEdges) -> Index:
    """Pairs of panels that the hand moves against each other."""
    moved = spread.moved_by(hand.variable)
    body: dict[str, str] = {}
    for panel in spread.panels.values():
        turns = panel.variable in moved
        body[panel.id] = panel.id if turns else body.get(str(panel.parent), "still")
    return pairs_apart([body[name] for name in edges.names])


def _finding(
    spread: Spread,
    hand: Hand,
    edges: PanelEdges,
    crossings: Crossings,
    rows: Index,
    where: tuple[Array, Array],
    tried: tuple[list[float], tuple[float, float]],
) -> Finding:
    deepest = rows[np.argmax(crossings.depth[rows])]
    # The widest opening at which it happens says how bad it is.
    opening = float(where[0][rows].max())
    there = rows[where[0][rows] == opening]
    first, last = hand.said(where[1][there].min()), hand.said(where[1][there].max())
    one, two = (spread.panels[edges.names[index]] for index in (crossings.first[rows[0]], crossings.second[rows[0]]))
    depth, (x, y) = float(crossings.depth[deepest]), crossings.place[deepest]
    severity: Severity = "error" if opening >= max(tried[0]) - 1e-9 else "warning"
    if severity == "warning" and "page" in (one.role, two.role):
        severity = "note"
    low, high = tried[1]
    message = (
        f"{hand.id}, moved from {first:.1f} to {last:.1f} {hand.unit} at an opening of {opening:g} degrees, takes "
        f"{one.id} through {two.id}, at the most {depth:.1f} mm deep (looked at {STEPS - 1} positions from {low:.1f} "
        f"to {high:.1f} {hand.unit}, at openings of {', '.join(f'{value:g}' for value in tried[0])} degrees)"
    )
    place = (float(x), float(y))
    return Finding(_CODE, severity, one.piece, one.id, place, opening, depth, "mm", message, other=two.id)
