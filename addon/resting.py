"""How far panels are moved along their own normal so that card lies on card.

The core's panels have no thickness, so a tab and the panel it is glued on, or a layer that lies flat on the open page,
share one plane; drawn there, they would flicker through each other. The shifts are for the eye only: a modifier moves
what is drawn, never the corners of the mesh or the rig.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from .geometry.model import GlueArea
from .geometry.spread import Spread
from .geometry.transforms import Array, inverse

__all__ = ["GAP_MM", "resting_shifts"]

#: Air between two sheets that lie on each other, so that no two faces share a plane.
GAP_MM = 0.02

#: A panel whose normal and height differ from its host's by less than this lies on it (mm; and cosine).
_FLAT = 1e-3


def resting_shifts(spread: Spread) -> dict[str, float]:
    """The shift of every panel along its printed side.

    Parameters
    ----------
    spread : the assembled spread

    Returns
    -------
    dict of float, mm, by panel
    """
    glued = {area.glued: area for area in spread.glue_areas}
    open_poses = _widest_poses(spread)
    shifts: dict[str, float] = {}
    for panel_id, panel in spread.panels.items():
        area = glued.get(panel_id)
        if area is not None and panel.axis is None:
            shifts[panel_id] = _on_host(spread, shifts, area, panel_id, panel.rest, 0.0)
        else:
            shifts[panel_id] = _lying_shift(spread, shifts, open_poses, panel_id)
    return shifts


def _widest_poses(spread: Spread) -> dict[str, Array]:
    """Every panel's pose at the widest opening."""
    _, widest = spread.reachable()
    return {name: poses[0] for name, poses in spread.pose(np.array([widest])).matrices.items()}


def _lying_shift(spread: Spread, shifts: Mapping[str, float], open_poses: Mapping[str, Array], panel_id: str) -> float:
    """Shift of a turning panel: above its host and the tab between them where it lies flat on it when open."""
    piece = spread.panels[panel_id].piece
    for area in spread.glue_areas:
        if spread.panels[area.glued].piece != piece or area.host not in shifts:
            continue
        onto_host = inverse(open_poses[area.host]) @ open_poses[panel_id]
        if abs(onto_host[2, 3]) < _FLAT and abs(abs(onto_host[2, 2]) - 1.0) < _FLAT:
            tab_mm = _caliper(spread, area.glued) + GAP_MM
            return _on_host(spread, shifts, area, panel_id, onto_host, tab_mm)
    return 0.0


def _on_host(
    spread: Spread, shifts: Mapping[str, float], area: GlueArea, panel_id: str, onto_host: Array, between_mm: float
) -> float:
    """Shift that lays a panel on the face of its host that it is glued to, with some card between them."""
    caliper = _caliper(spread, panel_id)
    face = shifts[area.host]
    if area.face == "front":
        low = face + GAP_MM + between_mm
    else:
        low = face - _caliper(spread, area.host) - GAP_MM - between_mm - caliper
    return low + caliper if onto_host[2, 2] > 0 else -low


def _caliper(spread: Spread, panel_id: str) -> float:
    return spread.piece(spread.panels[panel_id].piece).stock.caliper_mm
