"""The coloured shapes of a bulk map on the closed page: regions, their borders, and a ring about the worst place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Point, Polygon
from shapely.geometry.base import BaseGeometry

from ..checks.bulk import BulkMap, BulkRegion
from .tints import DARK, LIGHT, MARK, Color, thickness_tint

__all__ = ["BORDER", "BORDER_MM", "REGION", "RING", "RING_MM", "Patch", "layers_text", "page_patches", "region_tint"]

#: Levels of a patch; what is higher lies on top.
REGION = 0
BORDER = 1
RING = 2

#: Radius of the ring about the worst place, to the middle of its line.
RING_MM = 3.5

#: Width of the borders of regions, and of the page's outline.
BORDER_MM = 0.12
_PAGE_MM = 0.4
#: A light casing sets the ring off on dark tints.
_CASING_MM, _LINE_MM = 1.5, 0.7


@dataclass(frozen=True)
class Patch:
    """A filled shape.

    Parameters
    ----------
    outline : Polygon or MultiPolygon, mm; x from the spine, y from the foot of the closed page
    color : int, sRGB, 0 to 255
    level : REGION, BORDER or RING
    region : what it shows, on level REGION
    """

    outline: BaseGeometry
    color: Color
    level: int
    region: BulkRegion | None = None

    @property
    def parts(self) -> tuple[Polygon, ...]:
        """Its polygons."""
        return tuple(shapely.get_parts(self.outline))


def region_tint(bulk: BulkMap, thickness_mm: float) -> Color:
    """The colour of a thickness on a map; a map of bare pages uses half of the scale."""
    pages = min((region.thickness_mm for region in bulk.regions if region.thickness_mm > 0.0), default=0.0)
    end = max(bulk.worst.thickness_mm, 2.0 * pages)
    return thickness_tint(thickness_mm / end if end > 0.0 else 0.0)


def layers_text(count: int) -> str:
    """A number of layers in words.

    Examples
    --------
    >>> layers_text(1), layers_text(4)
    ('1 layer', '4 layers')
    """
    return f"{count} layer{'s' * (count != 1)}"


def page_patches(bulk: BulkMap) -> tuple[Patch, ...]:
    """The shapes of a map, what lies on top last.

    Parameters
    ----------
    bulk : BulkMap

    Returns
    -------
    patches : the regions without overlap, then their borders with the page's outline, then the ring
    """
    regions = [Patch(item.outline, region_tint(bulk, item.thickness_mm), REGION, item) for item in bulk.regions]
    width, height = bulk.page_size_mm
    corners = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    borders = shapely.union_all([region.outline.boundary for region in bulk.regions])
    page = shapely.LinearRing(corners).buffer(_PAGE_MM / 2, join_style="mitre")
    drawn = shapely.union_all([borders.buffer(BORDER_MM / 2, cap_style="flat", join_style="mitre"), page])
    circle = Point(bulk.worst.place_mm).buffer(RING_MM, quad_segs=24).exterior
    casing, line = circle.buffer(_CASING_MM / 2), circle.buffer(_LINE_MM / 2)
    return (*regions, Patch(drawn, DARK, BORDER), Patch(casing, LIGHT, RING), Patch(line, MARK, RING))
