"""Where words and the legend stand on a template: where nothing else is."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from ..transforms import Array

__all__ = ["room_for"]

#: Places tried in each direction, at most.
_PLACES = 60


def room_for(region: BaseGeometry, width_mm: float, height_mm: float) -> Array | None:
    """The lower left corner of an upright rectangle inside a region, the topmost and then leftmost that there is.

    Parameters
    ----------
    region : mm
    width_mm, height_mm : of the rectangle

    Returns
    -------
    (2,) float, mm, or None
    """
    if region.is_empty:
        return None
    left, low, right, high = region.bounds
    if right - left < width_mm or high - low < height_mm:
        return None
    columns = _places(left, right - width_mm)
    rows = _places(low, high - height_mm)[::-1]
    x, y = (grid.ravel() for grid in np.meshgrid(columns, rows))
    shapely.prepare(region)
    fits = np.flatnonzero(shapely.contains(region, shapely.box(x, y, x + width_mm, y + height_mm)))
    return np.array([x[fits[0]], y[fits[0]]]) if len(fits) else None


def _places(low: float, high: float) -> Array:
    return np.linspace(low, high, int(np.clip(np.ceil(high - low), 1, _PLACES)) + 1)
