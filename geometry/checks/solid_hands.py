"""What a hand moves does not run into a solid on its way."""

from __future__ import annotations

import numpy as np

from ..crossing import PanelEdges, find_crossings, panel_edges
from ..model import Hand
from ..sampling import hand_range
from ..solids import Solid
from ..spread import Spread
from ..tolerances import SHALLOW_MM
from .findings import Finding, Severity
from .hand_collisions import OPENINGS_DEG, STEPS

__all__ = ["check_solids_and_hands"]


def check_solids_and_hands(spread: Spread) -> list[Finding]:
    """Findings on panels that a hand moves through a solid.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, code "hand-collides", one a hand and solid; an error where it happens in the open book, otherwise a
    warning; measure is the greatest depth in mm

    Notes
    -----
    Sampled as in check_hand_collisions: every hand alone, the others at rest.
    """
    low, high = np.degrees(spread.reachable())
    if not np.isfinite(low) or not spread.hands or not spread.solids:
        return []
    openings = [opening for opening in OPENINGS_DEG if low - 1e-9 <= opening <= high + 1e-9] or [float(high)]
    inside = {name for solid in spread.solids for name in solid.tabs}
    edges = panel_edges({name: panel.outline for name, panel in spread.panels.items() if name not in inside})
    found = (_of(spread, solid, hand, edges, openings) for hand in spread.hands for solid in spread.solids)
    return [finding for finding in found if finding is not None]


def _of(spread: Spread, solid: Solid, hand: Hand, edges: PanelEdges, openings: list[float]) -> Finding | None:
    moved = _moved_bodies(spread, hand)
    rows = {name: row for row, name in enumerate(edges.names)}
    own = [rows[name] for name in solid.facets if name in rows]
    others = [row for name, row in rows.items() if moved[name] != moved[solid.host]]
    if not own or not others:
        return None
    pairs = np.stack([np.repeat(own, len(others)), np.tile(others, len(own))], axis=1)
    values = np.linspace(*hand_range(spread, hand), STEPS + 1)[1:-1]
    opened, turned = np.repeat(openings, len(values)), np.tile(values, len(openings))
    motion = spread.pose(np.radians(opened), {hand.id: turned})
    poses = np.stack([motion.matrices[name] for name in edges.names], axis=1)
    met = find_crossings(edges, poses, pairs)
    deep = np.flatnonzero(met.depth > SHALLOW_MM)
    if not len(deep):
        return None
    # The widest opening at which it happens says how bad it is.
    widest = float(opened[met.opening[deep]].max())
    deep = deep[opened[met.opening[deep]] == widest]
    deepest = deep[np.argmax(met.depth[deep])]
    first, last = (hand.said(float(end)) for end in (turned[met.opening[deep]].min(), turned[met.opening[deep]].max()))
    other, depth = edges.names[met.second[deepest]], float(met.depth[deepest])
    message = (
        f"{hand.id}, moved from {first:.1f} to {last:.1f} {hand.unit} at an opening of {widest:g} degrees, takes "
        f"{other} through {solid.id}, at the most {depth:.1f} mm deep"
    )
    foot = spread.panels[solid.foot[0]]
    severity: Severity = "error" if widest >= max(openings) - 1e-9 else "warning"
    return Finding(
        "hand-collides", severity, foot.piece, foot.id, None, widest, depth, "mm", message, other=other
    )  # fmt: skip


def _moved_bodies(spread: Spread, hand: Hand) -> dict[str, str]:
    """What each panel moves with while this hand moves something; "still" for all that it does not move."""
    variables = spread.moved_by(hand.variable)
    body: dict[str, str] = {}
    for panel in spread.panels.values():
        body[panel.id] = panel.id if panel.variable in variables else body.get(str(panel.parent), "still")
    return body
