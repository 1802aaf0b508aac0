"""What a knife cannot cut, or card cannot hold, taken out of a shape: specks, small holes, hairs, narrow slots.

The shape is opened and closed by a disc as wide as the least feature. An opening also rounds corners off, which no
knife demands: what it takes off is given back wherever it stands out by little more than the disc is wide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from ..transforms import Array

__all__ = ["Cleaned", "cleaned", "shapes_of"]

#: A corner is given back while it stands out, or reaches in, by less than this many least features: about 25 degrees.
_CORNER = 2.0
_SEGMENTS = 8
#: Shapes that touch are taken to overlap by this.
_NEAR_MM = 1e-6
#: Parts whose width is a smaller share of the disc's radius are rounding.
_SLIVER = 0.02
#: Parts of less area are left over from cutting a hair off, and are not counted.
_CRUMB_MM2 = 1e-3


@dataclass(frozen=True)
class Cleaned:
    """A shape without what cannot be made.

    Parameters
    ----------
    region : MultiPolygon, mm, the largest part first
    specks, holes : how many separate parts, and holes, were too small
    thin, narrow : how many thin parts were taken off, and narrow gaps filled
    """

    region: MultiPolygon
    specks: int
    holes: int
    thin: int
    narrow: int


def shapes_of(rings: Sequence[Array], least_mm2: float) -> tuple[list[Polygon], int, int]:
    """Rings of a level as polygons with holes, without those of less area.

    Parameters
    ----------
    rings : (n, 2) float, mm, none crossing another; outlines to the left, holes to the right
    least_mm2 : float

    Returns
    -------
    polygons, and how many outlines and how many holes were too small
    """
    areas = np.array([_area(ring) for ring in rings])
    kept = np.abs(areas) >= least_mm2
    outer: list[Polygon] = [Polygon(rings[index]) for index in np.flatnonzero(kept & (areas > 0))]
    inner: list[Polygon] = [Polygon(rings[index]) for index in np.flatnonzero(kept & (areas < 0))]
    holes: list[list[Array]] = [[] for _ in outer]
    if inner and outer:
        tree = shapely.STRtree(outer)
        around = np.array([shape.area for shape in outer])
        for hole in inner:
            found = tree.query(shapely.Point(hole.exterior.coords[0]), predicate="within")
            if len(found):
                holes[int(found[np.argmin(around[found])])].append(shapely.get_coordinates(hole.exterior))
    shapes = [Polygon(shape.exterior, own) for shape, own in zip(outer, holes, strict=True)]
    return shapes, int(np.sum(~kept & (areas > 0))), int(np.sum(~kept & (areas < 0)))


def cleaned(shapes: Sequence[Polygon], feature_mm: float, specks: int = 0, holes: int = 0) -> Cleaned:
    """Shapes without what is smaller than the least feature.

    Parameters
    ----------
    shapes : mm
    feature_mm : float; nothing narrower stays, be it card or a gap in it; 0 leaves all as it is
    specks, holes : how many were too small before

    Returns
    -------
    Cleaned
    """
    whole: BaseGeometry = shapely.union_all([shape if shape.is_valid else shape.buffer(0) for shape in shapes])
    if feature_mm <= 0:
        return Cleaned(_sorted(whole), specks, holes, 0, 0)
    radius, reach = feature_mm / 2, _CORNER * feature_mm
    solid, small = _without_holes(whole, radius)
    gaps = _gaps(solid, radius, reach)
    filled = shapely.union_all([solid, *(gap.buffer(_NEAR_MM) for gap in gaps)]) if gaps else solid
    hairs = _hairs(filled, radius, reach)
    left = filled.difference(shapely.union_all([hair.buffer(_NEAR_MM) for hair in hairs])) if hairs else filled
    every = _parts(left)
    parts = [part for part in every if not _swept(part, -radius).is_empty]
    lost = sum(part.area > _CRUMB_MM2 for part in every) - len(parts)
    return Cleaned(_sorted(MultiPolygon(parts)), specks + lost, holes + small, len(hairs), len(gaps))


def _without_holes(whole: BaseGeometry, radius: float) -> tuple[BaseGeometry, int]:
    """A shape without holes that no disc goes through, and how many these were."""
    found, count = [], 0
    for part in _parts(whole):
        kept = [ring for ring in part.interiors if not _swept(Polygon(ring), -radius).is_empty]
        count += len(part.interiors) - len(kept)
        found.append(Polygon(part.exterior, kept))
    return MultiPolygon(found), count


def _gaps(solid: BaseGeometry, radius: float, reach: float) -> list[Polygon]:
    """What a closing fills, without the insides of corners: slots."""
    closed: BaseGeometry = _swept(_swept(solid, radius), -radius)
    filled = [part for part in _parts(closed.difference(solid)) if _is_long(part, radius, reach)]
    near = solid.buffer(_NEAR_MM) if filled else solid
    return [part for part in filled if _is_deep(part, part.exterior.difference(near), reach)]


def _is_deep(gap: Polygon, mouth: BaseGeometry, reach: float) -> bool:
    return mouth.length < _NEAR_MM or _far(gap, mouth, reach) > reach


def _hairs(filled: BaseGeometry, radius: float, reach: float) -> list[Polygon]:
    """What an opening takes off, without corners."""
    opened: BaseGeometry = _swept(_swept(filled, -radius), radius)
    if opened.is_empty:
        return []
    taken = [part for part in _parts(filled.difference(opened)) if _is_long(part, radius, reach)]
    return [part for part in taken if _far(part, opened, reach) > reach]


def _is_long(part: Polygon, radius: float, reach: float) -> bool:
    """Whether a part is longer than what is given back, and wider than what discs of few corners leave on any edge."""
    left, low, right, high = part.bounds
    span = float(np.hypot(right - left, high - low))
    return span > reach and part.area > _SLIVER * radius * span


def _swept(shape: BaseGeometry, radius: float) -> BaseGeometry:
    return shape.buffer(radius, quad_segs=_SEGMENTS)


def _parts(shape: BaseGeometry) -> list[Polygon]:
    return [part for part in shapely.get_parts(shape) if isinstance(part, Polygon) and part.area > 1e-9]


def _sorted(shape: BaseGeometry) -> MultiPolygon:
    parts = _parts(shape)
    return MultiPolygon([parts[index] for index in np.argsort([-part.area for part in parts], kind="stable")])


def _far(part: Polygon, other: BaseGeometry, reach: float) -> float:
    """How far the border of a part is from something else at most, mm, measured at places nearer than a reach."""
    places = shapely.points(shapely.get_coordinates(shapely.segmentize(part.exterior, reach / 8)))
    return float(shapely.distance(places, other).max())


def _area(ring: Array) -> float:
    x, y = ring.T
    return float(0.5 * (x @ np.roll(y, -1) - y @ np.roll(x, -1)))
