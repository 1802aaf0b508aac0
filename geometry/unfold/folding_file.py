"""How nets fold up, as a poses file for other programs: each panel in its net's coordinates, 180 degrees the flat nets,
0 the solid."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from shapely import Polygon

from ..poses import matrices_data, rings_data
from .data import Unfolded
from .folding import folded_poses
from .net_lines import folds_on_net
from .placing import placed_rings

__all__ = ["folding_data"]


def folding_data(unfolded: Unfolded, angles_deg: ArrayLike, *, piece_id: str = "net") -> dict[str, Any]:
    """What the poses file of nets holds; see DESIGN.md, section 6.

    Parameters
    ----------
    unfolded : Unfolded
    angles_deg : (n,) float, from 0, the solid, to 180, the flat nets beside it
    piece_id : as in net_drawings, whose names of pieces, panels and creases these are

    Returns
    -------
    dict ready for JSON; angles at creases are measured through the printed face, as those of spreads
    """
    angles = np.atleast_1d(np.asarray(angles_deg, dtype=float))
    bends = np.degrees(unfolded.facets.bends)
    panels: list[dict[str, Any]] = []
    hinges: list[dict[str, Any]] = []
    for number, (net, poses) in enumerate(zip(unfolded.nets, folded_poses(unfolded, angles / 180.0), strict=True)):
        names = [f"f{facet + 1}" for facet in net.facets.tolist()]
        for place, rings in enumerate(placed_rings(unfolded, number)):
            outline = rings_data(Polygon(rings[0], rings[1:]))
            piece = f"{piece_id}.{number + 1}"
            panels.append({"id": names[place], "piece": piece, **outline, "matrices": matrices_data(poses[:, place])})
        for place, line in folds_on_net(unfolded, number):
            edge = int(net.folds[place])
            through = 180.0 + bends[edge] * (1.0 - angles / 180.0)
            both = [names[place], names[int(net.parents[place])]]
            hinge = {"id": f"fold-{edge + 1}", "kind": "crease", "panels": both, "line": [line.tolist()] * 2}
            hinges.append({**hinge, "dihedral_deg": through.tolist()})
    return {"format": 1, "units": "mm", "angles_deg": angles.tolist(), "panels": panels, "hinges": hinges}
