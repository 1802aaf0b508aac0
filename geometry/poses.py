"""The poses file: every panel's place at every opening, for other programs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from shapely import LinearRing, Polygon

from .spread import Spread
from .transforms import Array

__all__ = ["matrices_data", "poses_data", "rings_data"]


def poses_data(spread: Spread, angles_deg: ArrayLike, hands: Mapping[str, float] | None = None) -> dict[str, Any]:
    """What the poses file holds; see DESIGN.md, section 6.

    Parameters
    ----------
    spread : Spread
    angles_deg : (n,) float, opening angles
    hands : by mechanism, how far a hand has moved it, degrees or mm; the others rest

    Returns
    -------
    dict ready for JSON; null stands for a matrix or an angle that cannot be reached
    """
    angles = np.atleast_1d(np.asarray(angles_deg, dtype=float))
    moved = {hand.id: hand.rest for hand in spread.hands}
    for hand in spread.hands:
        if hands and hand.id in hands:
            moved[hand.id] = hand.inside(hands[hand.id])
    motion = spread.pose(np.radians(angles), moved)
    panels = [
        {
            "id": panel.id,
            "piece": panel.piece,
            **rings_data(panel.outline),
            "matrices": matrices_data(motion.matrices[panel.id]),
        }
        for panel in spread.panels.values()
    ]
    hinges = [
        {
            "id": hinge.id,
            "kind": hinge.kind,
            "panels": list(hinge.panels),
            "line": hinge.lines.tolist(),
            "dihedral_deg": _numbers(np.degrees(motion.dihedral(hinge)), motion.matrices, hinge.panels),
        }
        for hinge in spread.hinges
    ]
    written = {"format": 1, "units": "mm", "angles_deg": angles.tolist(), "panels": panels, "hinges": hinges}
    if spread.hands:
        written["hands"] = [hand.as_dict(moved[hand.id]) for hand in spread.hands]
    return written


def rings_data(outline: Polygon) -> dict[str, Any]:
    """An outline and its holes, ready for JSON."""
    return {"outline": _points(outline.exterior), "holes": [_points(ring) for ring in outline.interiors]}


def _points(ring: LinearRing) -> list[list[float]]:
    return [[float(x), float(y)] for x, y in list(ring.coords)[:-1]]


def matrices_data(matrices: Array) -> list[Any]:
    """Matrices, (n, 4, 4) float, ready for JSON; None where one cannot be reached."""
    good = np.asarray(np.isfinite(matrices).all(axis=(1, 2)))
    return [matrix.tolist() if fine else None for matrix, fine in zip(matrices, good, strict=True)]


def _numbers(values: Array, matrices: Mapping[str, Array], panels: tuple[str, str]) -> list[float | None]:
    good = np.isfinite(values)
    for name in panels:
        good &= np.isfinite(matrices[name]).all(axis=(1, 2))
    return [float(value) if fine else None for value, fine in zip(values, good, strict=True)]
