"""The poses files of a bound book: its spreads beside each other, or the whole book as it is turned through."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..poses import matrices_data, poses_data, rings_data
from ..transforms import Array, translation_along
from .binding import Binding

__all__ = ["side_by_side_data", "turns_data"]

#: Between two spreads that lie one above the other on the table, mm.
_APART_MM = 20.0


def side_by_side_data(
    binding: Binding, angles_deg: ArrayLike, hands: Mapping[str, Mapping[str, float]] | None = None
) -> dict[str, Any]:
    """Every spread at the same openings, the next one always further up the table.

    Parameters
    ----------
    binding : Binding
    angles_deg : (n,) float, opening angles
    hands : by the spread's short name, then by mechanism, how far a hand has moved it, degrees or mm

    Returns
    -------
    dict as geometry.poses.poses_data; the names of panels, pieces, hinges and hands begin with that of their spread
    """
    every: dict[str, Any] = {}
    for number, (name, spread) in enumerate(zip(binding.names, binding.spreads, strict=True)):
        data = poses_data(spread, angles_deg, (hands or {}).get(name))
        way = translation_along([0.0, 1.0, 0.0], [number * (binding.page_size_mm[1] + _APART_MM)])[0]
        for panel in data["panels"]:
            panel["id"], panel["piece"] = f"{name}/{panel['id']}", f"{name}/{panel['piece']}"
            panel["matrices"] = [_moved(way, each) for each in panel["matrices"]]
        for hinge in data["hinges"]:
            hinge["id"], hinge["panels"] = f"{name}/{hinge['id']}", [f"{name}/{panel}" for panel in hinge["panels"]]
        for hand in data.get("hands", ()):
            hand["id"] = f"{name}/{hand['id']}"
        for key, value in data.items():
            if key in ("panels", "hinges", "hands"):
                every.setdefault(key, []).extend(value)
            else:
                every[key] = value
    return every


def _moved(way: Array, matrix: list[list[float]] | None) -> list[list[float]] | None:
    return None if matrix is None else (way @ np.array(matrix)).tolist()


def turns_data(binding: Binding, turns: ArrayLike) -> dict[str, Any]:
    """The whole book as it is turned through.

    Parameters
    ----------
    binding : Binding
    turns : (m,) float, see Binding.leaf_angles

    Returns
    -------
    dict ready for JSON: for every turn the angles of all leaves and the openings of all spreads in degrees, and for
    every panel and board its outline and its matrices; null stands for a matrix that cannot be reached
    """
    every = np.atleast_1d(np.asarray(turns, dtype=float))
    leaves = binding.leaf_angles(every)
    panels = []
    for (number, name), matrices in binding.pose(leaves).items():
        spread, short = binding.spreads[number - 1], binding.names[number - 1]
        panel = spread.panels[name]
        about = {"id": f"{short}/{name}", "piece": f"{short}/{panel.piece}", "spread": number}
        panels.append({**about, **rings_data(panel.outline), "matrices": matrices_data(matrices)})
    boards = [
        {"id": board.id, "thickness_mm": board.thickness_mm, **rings_data(board.outline)}
        | {"matrices": matrices_data(board.matrices)}
        for board in binding.boards(leaves)
    ]
    return {
        "format": 1,
        "units": "mm",
        "turns": every.tolist(),
        "leaves_deg": np.degrees(leaves).tolist(),
        "openings_deg": np.degrees(binding.openings(leaves)).tolist(),
        "panels": panels,
        "boards": boards,
    }
