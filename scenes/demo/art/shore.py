"""Where land and water lie on the page card, laid round the places where pieces are glued."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geometry import Spread

from .carving import Wobble, path, polygon, union
from .sheet import Box

__all__ = ["HORIZON_MM", "Shore", "lay_shore"]

#: Height of the horizon on the page.
HORIZON_MM = 181.0
#: How far the far shore and the reef reach in front of the lines that the hills and the cliff stand on.
_FAR_SHORE_MM = 8.0
_REEF_MM = 7.5

#: The beach's edges, from the left edge of the card to the right, net coordinates.
_UPPER = (
    (-190, 112), (-151, 120), (-120, 126), (-92, 134), (-60, 137), (-28, 147), (6, 149), (38, 144), (70, 147),
    (104, 156),
    (151, 161), (190, 164),
)  # fmt: skip
_LOWER = (
    (-190, 82), (-151, 76), (-128, 70), (-104, 71), (-78, 61), (-52, 57), (-34, 44), (-24, 33), (-8, 28.5), (14, 29.5),
    (34, 33), (52, 40), (74, 52), (100, 60), (128, 56), (151, 48), (190, 42),
)  # fmt: skip
#: The skyline of the land behind the hills.
_FAR_SKYLINE = ((-72, 198), (-60, 204), (-38, 199), (-16, 205), (8, 200), (30, 204), (52, 197), (68, 189))


@dataclass(frozen=True)
class Shore:
    """Land, water, and the places of pieces, all in the page card's net coordinates.

    Parameters
    ----------
    sand, sea, reef : the beach, everything below the horizon, and bare rock round the cliff's foot
    far_land : what the hills stand on
    jetty_left, jetty_right : the two panels of the jetty's strip
    boathouse : the ground under it
    steps : middle of the lower step
    """

    sand: BaseGeometry
    sea: BaseGeometry
    reef: BaseGeometry
    far_land: BaseGeometry
    jetty_left: BaseGeometry
    jetty_right: BaseGeometry
    boathouse: BaseGeometry
    steps: BaseGeometry


def lay_shore(spread: Spread, box: Box) -> Shore:
    """Lay the shore on the page card's art box."""
    coarse, fine = Wobble(11, 1.3, 14.0), Wobble(12, 0.35, 3.0)
    left, low, right, _ = box
    hills = _feet(spread, "hills")
    far = union([shapely.buffer(hills, _FAR_SHORE_MM), polygon([*_FAR_SKYLINE, *hills.coords[::-1]])])
    reef = shapely.buffer(_feet(spread, "cliff"), _REEF_MM)
    tab = spread.panels["cliff.right.tab"].rest
    step = spread.panels["steps.right"].outline.centroid
    return Shore(
        sand=fine(coarse(polygon(np.vstack([path(_UPPER), path(_LOWER)[::-1]])))),
        sea=shapely.box(left - 9, low - 9, right + 9, HORIZON_MM),
        reef=Wobble(13, 1.4, 7.0)(reef),
        far_land=fine(coarse(far)),
        jetty_left=spread.panels["jetty.left"].outline,
        jetty_right=spread.panels["jetty.right"].outline,
        boathouse=_feet(spread, "boathouse").convex_hull,
        steps=shapely.transform(step, lambda points: points @ tab[:2, :2].T + tab[:2, 3]),
    )


def _feet(spread: Spread, piece_id: str) -> shapely.LineString:
    """The line on the page that a piece stands on, from the end of its left foot to the end of its right one."""
    ends = []
    for side in ("left", "right"):
        page = f"page.{side}"
        lines = [
            hinge.lines[hinge.panels.index(page)]
            for hinge in spread.hinges
            if hinge.kind == "glue" and set(hinge.panels) == {f"{piece_id}.{side}", page}
        ]
        ends.append((lines[0][0], lines[-1][1]))
    (start_left, end_left), (start_right, end_right) = ends
    return shapely.LineString([end_left, start_left, start_right, end_right])
