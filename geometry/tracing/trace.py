"""From the alpha of a picture to a clean outline that can be cut."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from ..design.strokes import Stroke, value_of
from ..errors import HingeleafError
from ..transforms import Array
from .cleaning import Cleaned, cleaned, shapes_of
from .contours import level_rings
from .fitting import fitted, flattened

__all__ = ["Edge", "Shape", "Trace", "TraceOptions", "alpha_edge", "fitted_shape", "off_mm", "trace_alpha"]

_LEAST_MM, _LARGEST_MM = 0.01, 5000.0
#: More rings than the first are grain, not a shape. So is what is left of them where their number times that of their
#: points is more than the second: so long it takes to find what is too thin to be cut, about a second per two million.
_MOST_RINGS, _MOST_TO_CLEAN = 40_000, 5_000_000
#: Shares of the tolerance: for leaving points out before anything else, and for fitting lines and curves.
_THINNED, _FITTED = 0.2, 0.6
#: A hard edge goes in steps of a pixel, half to each side; what is asked for more finely would trace the steps.
_LEAST_PIXELS = 1.25


@dataclass(frozen=True)
class TraceOptions:
    """How an outline is traced.

    Parameters
    ----------
    threshold : float, 0 to 1; what is at least as opaque is inside
    tolerance_mm : float; how far the outline may be off the edge of the alpha
    feature_mm : float; the narrowest that is left, of card and of gaps in it
    """

    threshold: float = 0.5
    tolerance_mm: float = 0.2
    feature_mm: float = 1.5

    def __post_init__(self) -> None:
        if not 0.0 < self.threshold <= 1.0:
            raise HingeleafError(f"the threshold is {self.threshold:g}; it lies above 0 and goes to 1, opaque")
        if not 0.01 <= self.tolerance_mm <= 10.0:
            raise HingeleafError(f"the tolerance is {self.tolerance_mm:g} mm; it must lie between 0.01 and 10")
        if not 0.0 <= self.feature_mm <= 50.0:
            raise HingeleafError(f"the least feature is {self.feature_mm:g} mm; it must lie between 0 and 50")


@dataclass(frozen=True)
class Edge:
    """The edge of an alpha, true to the pixels but for what cannot be cut.

    Parameters
    ----------
    cleaned : what is inside, mm, and what was left out
    size_mm : (width, height) of the picture
    tolerance_mm : float; the one asked for, or what the pixels allow where that is more
    """

    cleaned: Cleaned
    size_mm: tuple[float, float]
    tolerance_mm: float


@dataclass(frozen=True)
class Shape:
    """One separate part: its outline and its holes, mm."""

    outline: Stroke
    holes: tuple[Stroke, ...]

    @property
    def polygon(self) -> Polygon:
        """The part as it is cut."""
        return Polygon(flattened(self.outline), [flattened(hole) for hole in self.holes])

    @property
    def outline_data(self) -> str | list[list[float]]:
        """Its outline as a description says it: points or path data."""
        return value_of(self.outline)

    @property
    def hole_data(self) -> tuple[str | list[list[float]], ...]:
        """Its holes as a description says them."""
        return tuple(value_of(hole) for hole in self.holes)

    @property
    def points(self) -> int:
        """Number of points of all its lines."""
        return sum(len(stroke.points) for stroke in (self.outline, *self.holes))


@dataclass(frozen=True)
class Trace:
    """A traced outline.

    Parameters
    ----------
    shapes : the separate parts, the largest first, mm, y up from the lower left corner of the picture
    off_mm : float; how far the outline is off the edge of the alpha at most, either way, what was left out apart
    edge : what it was fitted to
    """

    shapes: tuple[Shape, ...]
    off_mm: float
    edge: Edge

    @property
    def points(self) -> int:
        """Number of points of all lines."""
        return sum(shape.points for shape in self.shapes)

    def __str__(self) -> str:
        found = self.edge.cleaned
        left = ((found.specks, "speck"), (found.holes, "hole"), (found.thin, "hair"), (found.narrow, "slot"))
        words = [f"{count} {name}{'s' * (count > 1)}" for count, name in left if count]
        parts = f", {len(self.shapes)} parts" if len(self.shapes) > 1 else ""
        gone = f"; too small or narrow to cut and left out: {', '.join(words)}" if words else ""
        return f"{self.points} points, at most {self.off_mm:.2f} mm off the edge of the alpha{parts}{gone}"


def alpha_edge(
    alpha: NDArray[np.uint8], width_mm: float, options: TraceOptions, *, height_mm: float | None = None
) -> Edge:
    """The edge of an alpha, cleaned.

    Parameters
    ----------
    alpha : (h, w) uint8, 0 clear to 255 opaque, as read_alpha gives it
    width_mm, height_mm : what the picture measures; by default its pixels are square
    options : threshold, tolerance, least feature

    Returns
    -------
    Edge

    Raises
    ------
    HingeleafError
        Nothing is inside, nothing of it can be cut, it is grain, or the size is impossible.
    """
    height = width_mm * alpha.shape[0] / alpha.shape[1] if height_mm is None else height_mm
    for size in (width_mm, height):
        if not _LEAST_MM <= size <= _LARGEST_MM:
            raise HingeleafError(
                f"the picture would be {size:g} mm; it must be above 0, {_LEAST_MM:g} at least, and at most "
                f"{_LARGEST_MM:g} mm"
            )
    pixel = max(width_mm / alpha.shape[1], height / alpha.shape[0])
    tolerance = max(options.tolerance_mm, _LEAST_PIXELS * pixel)
    values, step = _coarser(alpha, int(tolerance // (3 * pixel)))
    rings = level_rings(values, options.threshold * 255.0)
    if len(rings) > _MOST_RINGS:
        raise HingeleafError(_grain(len(rings)))
    scale = np.array([width_mm / alpha.shape[1], height / alpha.shape[0]]) * step
    upright = [_upright(ring, scale, height) for ring in rings]
    shapes, specks, holes = shapes_of(upright, np.pi / 4 * max(options.feature_mm, pixel) ** 2)
    if not shapes:
        raise HingeleafError(
            f"nothing of at least {options.feature_mm:g} mm is {options.threshold:.0%} opaque; lower the threshold or "
            f"the least feature"
        )
    thinned = [shapely.simplify(shape, _THINNED * tolerance) for shape in shapes]
    left = sum(1 + len(shape.interiors) for shape in shapes)
    if left * int(shapely.get_num_coordinates(thinned).sum()) > _MOST_TO_CLEAN:
        raise HingeleafError(_grain(left))
    found = cleaned(thinned, options.feature_mm, specks, holes)
    if found.region.is_empty:
        raise HingeleafError(
            f"nothing of it is as wide as the least feature, {options.feature_mm:g} mm; lower that, or draw it bolder"
        )
    return Edge(found, (width_mm, height), tolerance)


def _grain(lines: int) -> str:
    return (
        f"its edge is {lines:,} separate lines: that is grain, not a shape; smooth it, choose another threshold, or a "
        f"larger least feature"
    )


def trace_alpha(
    alpha: NDArray[np.uint8], width_mm: float, options: TraceOptions | None = None, *, height_mm: float | None = None
) -> Trace:
    """Trace the outline of what is opaque.

    Parameters
    ----------
    alpha, width_mm, height_mm : as alpha_edge has them
    options : None for the defaults of TraceOptions

    Returns
    -------
    Trace

    Raises
    ------
    HingeleafError
        As alpha_edge.
    """
    edge = alpha_edge(alpha, width_mm, options or TraceOptions(), height_mm=height_mm)
    shapes = tuple(fitted_shape(part, edge.tolerance_mm) for part in edge.cleaned.region.geoms)
    return Trace(shapes, off_mm(MultiPolygon([shape.polygon for shape in shapes]), edge.cleaned.region), edge)


def fitted_shape(part: Polygon, tolerance_mm: float) -> Shape:
    """A part with smooth lines; with the points that it has where smooth ones would cross.

    Parameters
    ----------
    part : mm
    tolerance_mm : float
    """
    for share in (_FITTED, _FITTED / 4):
        rings = [shapely.get_coordinates(ring)[:-1] for ring in (part.exterior, *part.interiors)]
        outline, *holes = (fitted(ring, share * tolerance_mm, closed=True) for ring in rings)
        shape = Shape(outline, tuple(holes))
        # A ring narrower than the tolerance is fitted by one line, there and back.
        if all(len(flattened(stroke)) > 2 for stroke in (outline, *holes)) and shape.polygon.is_valid:
            return shape
    rings = [shapely.get_coordinates(ring)[:-1] for ring in (part.exterior, *part.interiors)]
    outline, *holes = (Stroke(ring, ring, ring, True) for ring in rings)
    return Shape(outline, tuple(holes))


def off_mm(one: MultiPolygon, two: MultiPolygon) -> float:
    """How far the borders of two regions are apart at most, mm, measured at a hundred places a millimetre or fewer."""
    lines = [shape.boundary for shape in (one, two)]
    step = max(0.01, max(line.length for line in lines) / 40_000)
    worst = 0.0
    for line, other in (lines, lines[::-1]):
        places = shapely.points(shapely.get_coordinates(shapely.segmentize(line, step)))
        tree = shapely.STRtree(_pieces(other))
        _, apart = tree.query_nearest(places, all_matches=False, return_distance=True)
        worst = max(worst, float(apart.max()))
    return worst


def _pieces(lines: BaseGeometry) -> list[BaseGeometry]:
    """Every straight piece of some lines."""
    found: list[BaseGeometry] = []
    for line in shapely.get_parts(lines):
        points = shapely.get_coordinates(line)
        found += list(shapely.linestrings(np.stack([points[:-1], points[1:]], axis=1)))  # type: ignore[arg-type]
    return found


def _coarser(alpha: NDArray[np.uint8], step: int) -> tuple[NDArray[np.floating] | NDArray[np.uint8], int]:
    """Means of squares of pixels, which is much quicker to trace and no less true; the border is repeated."""
    if step < 2:
        return alpha, 1
    height, width = (-(-side // step) * step for side in alpha.shape)
    whole = np.pad(alpha, ((0, height - alpha.shape[0]), (0, width - alpha.shape[1])), mode="edge")
    rows = whole.reshape(height // step, step, width).sum(axis=1, dtype=np.uint32)
    return rows.reshape(height // step, width // step, step).sum(axis=2) / float(step * step), step


def _upright(ring: Array, scale: Array, height_mm: float) -> Array:
    """A ring of pixel centres, y down, in mm, y up; turned, so that outlines still run to the left."""
    placed = (ring[::-1] + 0.5) * scale
    return np.column_stack([placed[:, 0], height_mm - placed[:, 1]])
