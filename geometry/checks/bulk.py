"""Bulk: how many layers of card lie over each other in the closed spread, and how thick that makes it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from ..spread import Spread
from ..transforms import Array
from .findings import Finding
from .stays_inside import closed_outline_of

__all__ = ["BulkMap", "bulk_map", "check_bulk"]

_CODE = "bulk"
_CELL_MM = 1.0


@dataclass(frozen=True)
class BulkMap:
    """Layers and thickness over the closed page, pages included.

    Parameters
    ----------
    x, y : (w,), (h,) float, mm; middles of the map's cells
    layers : (h, w) int
    thickness : (h, w) float, mm; sum of the calipers
    gusset_mm : spine width that lets the pages lie parallel where it is thickest, pages not counted
    """

    x: Array
    y: Array
    layers: NDArray[np.int64]
    thickness: Array
    gusset_mm: float


def bulk_map(spread: Spread, cell_mm: float = _CELL_MM) -> BulkMap:
    """Count the layers of the closed spread.

    Parameters
    ----------
    spread : Spread
    cell_mm : float, mm; size of a cell of the map

    Returns
    -------
    BulkMap; panels that are not reached at opening 0 are left out
    """
    width, height = spread.page_size_mm
    x: Array = np.arange(cell_mm / 2, width, cell_mm, dtype=np.float64)
    y: Array = np.arange(cell_mm / 2, height, cell_mm, dtype=np.float64)
    layers = np.zeros((len(y), len(x)), dtype=np.int64)
    thickness = np.zeros((len(y), len(x)))
    motion = spread.pose(np.zeros(1))
    inner = np.zeros((len(y), len(x)))
    for panel in spread.panels.values():
        matrix = motion.matrices[panel.id][0]
        if not np.isfinite(matrix).all():
            continue
        outline = closed_outline_of(panel, matrix)
        low_x, low_y, high_x, high_y = outline.bounds
        columns = np.flatnonzero((x >= low_x) & (x <= high_x))
        rows = np.flatnonzero((y >= low_y) & (y <= high_y))
        if not len(columns) or not len(rows):
            continue
        grid_x, grid_y = np.meshgrid(x[columns], y[rows])
        covered = shapely.contains_xy(outline, grid_x, grid_y)
        caliper = spread.piece(panel.piece).stock.caliper_mm
        window = np.ix_(rows, columns)
        layers[window] += covered
        thickness[window] += covered * caliper
        if panel.role != "page":
            inner[window] += covered * caliper
    return BulkMap(x, y, layers, thickness, float(inner.max(initial=0.0)))


def check_bulk(spread: Spread) -> list[Finding]:
    """A warning where the closed spread is thicker than its limit.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding; measure is the thickness in mm

    Notes
    -----
    Source: DESIGN.md, section 5. Counted on a map of 1 mm.
    """
    bulk = bulk_map(spread)
    row, column = np.unravel_index(int(np.argmax(bulk.thickness)), bulk.thickness.shape)
    thick, layers = float(bulk.thickness[row, column]), int(bulk.layers[row, column])
    x, y = float(bulk.x[column]), float(bulk.y[row])
    if thick <= spread.limits.bulk:
        return []
    message = (
        f"{layers} layers, {thick:.1f} mm thick, at {x:.0f}, {y:.0f} mm of the closed page; "
        f"a spine {bulk.gusset_mm:.1f} mm wide lets it close flat"
    )
    return [Finding(_CODE, "warning", "page", "page.right", (x, y), 0.0, thick, "mm", message)]
