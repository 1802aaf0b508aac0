"""Upright coordinates of a piece that stands on two slanting feet, so that what is level in the book is drawn level."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geometry import Spread

from .carving import Array
from .sheet import Sheet

__all__ = ["Upright"]

_STEP_MM = 1.5


class Upright:
    """A v-fold's sheet in upright coordinates: x of the net, and the height above the foot.

    Attributes
    ----------
    sheet : the sheet, in net coordinates
    slopes : rise of the foot over x, left and right of the middle crease
    """

    def __init__(self, sheet: Sheet, spread: Spread, piece_id: str) -> None:
        slopes = {}
        for side in ("left", "right"):
            names = (f"{piece_id}.{side}.glue", f"{piece_id}.{side}")
            hinge = next(hinge for hinge in spread.hinges if hinge.id == names[0] and names[1] in hinge.panels)
            end = hinge.lines[hinge.panels.index(names[1])][1]
            slopes[side] = float(end[1] / abs(end[0]))
        self.sheet, self.slopes = sheet, (slopes["left"], slopes["right"])

    def lay(self, shape: BaseGeometry, ink: str) -> None:
        """Print an upright shape over what is there."""
        self.sheet.lay(self.to_net(shape), ink)

    def foot(self, x: Array) -> Array:
        """Height of the foot on the net, (n,) float, mm."""
        return np.where(x < 0, -x * self.slopes[0], x * self.slopes[1])

    def to_net(self, shape: BaseGeometry) -> BaseGeometry:
        """From upright coordinates to the net."""
        return self._shear(shape, 1.0)

    def from_net(self, shape: BaseGeometry) -> BaseGeometry:
        """From the net to upright coordinates."""
        return self._shear(shape, -1.0)

    def _shear(self, shape: BaseGeometry, sign: float) -> BaseGeometry:
        """Move every point up or down by the foot's height under it."""

        def move(points: Array) -> Array:
            return np.column_stack([points[:, 0], points[:, 1] + sign * self.foot(points[:, 0])])

        result = shapely.transform(shapely.segmentize(shape, _STEP_MM), move)
        return result if result.is_valid else shapely.make_valid(result)
