"""Where the camera stands so that the book stays in the picture over its whole motion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .convert import metres
from .geometry.sampling import hand_range
from .geometry.spread import Spread
from .geometry.transforms import Array, apply

__all__ = ["View", "look_along", "stand_back", "swept_corners"]

#: Openings at which the corners of all panels are taken for framing.
_OPENINGS = 61


@dataclass(frozen=True)
class View:
    """How a camera looks.

    Parameters
    ----------
    elevation_deg : how far above the table it stands
    turn_deg : how far it stands to the right of straight in front of the foot of the page
    lens_mm, sensor_mm : focal length and width of the picture in the camera
    aspect : width of the picture over its height
    margin : share of the half picture kept free on every side
    """

    elevation_deg: float = 40.0
    turn_deg: float = 11.0
    lens_mm: float = 60.0
    sensor_mm: float = 36.0
    aspect: float = 16.0 / 9.0
    margin: float = 0.11


def swept_corners(spread: Spread) -> Array:
    """Every corner of every panel over the whole motion, (n, 3) float, metres.

    That is at openings over the whole reachable range, and in the open book over the range of every hand.
    """
    low, high = spread.reachable()
    motions = [spread.pose(np.linspace(low, high, _OPENINGS))]
    for hand in spread.hands:
        moved = np.linspace(*hand_range(spread, hand), _OPENINGS)
        motions.append(spread.pose(np.full(_OPENINGS, high), {hand.id: moved}))
    corners = [
        apply(motion.matrices[panel.id], np.asarray(panel.outline.exterior.coords)).reshape(-1, 3)
        for motion in motions
        for panel in spread.panels.values()
    ]
    points = np.concatenate(corners)
    return metres(points[np.isfinite(points).all(axis=1)])


def look_along(view: View) -> Array:
    """Axes of the camera, (3, 3) float, as columns: right, up, and back towards the reader."""
    height, turn = np.radians(view.elevation_deg), np.radians(view.turn_deg)
    back = np.array([np.sin(turn) * np.cos(height), -np.cos(turn) * np.cos(height), np.sin(height)])
    right = np.array([np.cos(turn), np.sin(turn), 0.0])
    return np.column_stack([right, np.cross(back, right), back])


def stand_back(view: View, points_m: Array) -> Array:
    """The nearest place from which a camera of a given direction sees all points within its margins.

    Parameters
    ----------
    view : View
    points_m : (n, 3) float, metres

    Returns
    -------
    (3,) float, metres

    Notes
    -----
    Source: derived here. With p, q, w a point's coordinates along right, up and back, a camera at (x, y, d) sees it
    where |p - x| <= k (d - w) and likewise upwards; so x exists where max(p + k w) - min(p - k w) <= 2 k d.
    """
    axes = look_along(view)
    along = points_m @ axes
    half = 0.5 * view.sensor_mm / view.lens_mm
    place = np.zeros(3)
    for axis, slope in ((0, half), (1, half / view.aspect)):
        inner = slope * (1.0 - view.margin)
        upper = float(np.max(along[:, axis] + inner * along[:, 2]))
        lower = float(np.min(along[:, axis] - inner * along[:, 2]))
        place[axis] = (upper + lower) / 2.0
        place[2] = max(place[2], (upper - lower) / (2.0 * inner))
    return np.asarray(axes @ place)
