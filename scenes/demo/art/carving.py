"""Marks of the knife: uneven edges, gouges, dots and brush lines, as vector shapes drawn by a seeded generator."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry.base import BaseGeometry

__all__ = [
    "Array",
    "Wobble",
    "blob",
    "dashes",
    "dots",
    "gouges",
    "hatch",
    "path",
    "places",
    "polygon",
    "rounded",
    "stroke",
    "turned",
    "union",
]

Array = NDArray[np.float64]
Rng = np.random.Generator

#: Half width of a gouge along its length, tail to head: the knife goes in fast and comes out slowly.
_GOUGE = np.array([[0.0, 0.0], [0.22, 0.42], [0.5, 0.5], [0.8, 0.33], [1.0, 0.0]])
_CORNERS = 14


class Wobble:
    """A smooth, seeded unevenness of the plane: what is near stays near, so that neighbours keep together.

    Parameters
    ----------
    seed : of the generator
    amount_mm : about how far points are moved
    grain_mm : length of the finest waves
    """

    def __init__(self, seed: int, amount_mm: float = 0.35, grain_mm: float = 4.0) -> None:
        rng = np.random.default_rng(seed)
        count = 9
        lengths = grain_mm * np.geomspace(1.0, 6.0, count)
        angles = rng.uniform(0.0, 2 * np.pi, (2, count))
        self._waves = 2 * np.pi / lengths * np.array([np.cos(angles), np.sin(angles)])
        self._phases = rng.uniform(0.0, 2 * np.pi, (2, count))
        self._amount, self._step = amount_mm / np.sqrt(count / 2.0), grain_mm / 5.0

    def shift(self, points: Array) -> Array:
        """Moved points, (n, 2) float, mm."""
        phase = np.einsum("nk,kdc->ndc", points, self._waves) + self._phases
        return np.asarray(points + self._amount * np.sin(phase).sum(axis=2))

    def __call__(self, shape: BaseGeometry) -> BaseGeometry:
        """A shape with uneven edges."""
        result = shapely.transform(shapely.segmentize(shape, self._step), self.shift)
        return result if result.is_valid else shapely.make_valid(result)


def polygon(points: ArrayLike) -> BaseGeometry:
    """A filled shape from its corners, (n, 2) float, mm."""
    shape = shapely.Polygon(np.asarray(points, dtype=float))
    return shape if shape.is_valid else shapely.make_valid(shape)


def rounded(points: ArrayLike, *, step_mm: float = 0.4) -> BaseGeometry:
    """A filled shape with a smooth edge through points, (n, 2) float, mm; it is sharp only at the first."""
    corners = np.asarray(points, dtype=float)
    return polygon(path(np.vstack([corners, corners[:1]]), step_mm=step_mm))


def union(shapes: Sequence[BaseGeometry] | Array) -> BaseGeometry:
    """One shape of many."""
    return shapely.union_all(list(shapes))


def path(points: ArrayLike, *, step_mm: float = 1.0) -> Array:
    """A smooth line through points, (n, 2) float, mm.

    Notes
    -----
    Source: Catmull and Rom's spline, from memory.
    """
    knots = np.asarray(points, dtype=float)
    ends = np.vstack([2 * knots[0] - knots[1], knots, 2 * knots[-1] - knots[-2]])
    pieces = []
    for before, start, end, after in zip(ends, ends[1:], ends[2:], ends[3:], strict=False):
        count = max(2, int(np.ceil(np.hypot(*(end - start)) / step_mm)))
        t = np.linspace(0.0, 1.0, count, endpoint=False)[:, None]
        cubic = 2 * start + (end - before) * t + (2 * before - 5 * start + 4 * end - after) * t**2
        pieces.append(0.5 * (cubic + (3 * start - before - 3 * end + after) * t**3))
    return np.vstack([*pieces, knots[-1:]])


def stroke(points: ArrayLike, width_mm: float | Array, *, taper: float = 0.0) -> BaseGeometry:
    """A line with a width, one width or one a point; taper is the share of it that runs to a tip at each end."""
    line = np.asarray(points, dtype=float)
    steps = np.hypot(*np.diff(line, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)]) / max(float(steps.sum()), 1e-9)
    half = 0.5 * np.broadcast_to(width_mm, along.shape).astype(float)
    if taper:
        half = half * np.clip(np.minimum(along, 1.0 - along) / taper, 0.04, 1.0) ** 0.6
    ways = np.gradient(line, axis=0)
    ways /= np.maximum(np.hypot(ways[:, 0], ways[:, 1]), 1e-9)[:, None]
    across = np.column_stack([-ways[:, 1], ways[:, 0]]) * half[:, None]
    return shapely.buffer(polygon(np.vstack([line + across, (line - across)[::-1]])), 0)


def blob(
    at: ArrayLike, size: float | tuple[float, float], rng: Rng | None = None, *, turn: float = 0.0, rough: float = 0.08
) -> BaseGeometry:
    """A round shape of given radius or radii, turned in degrees, uneven where a generator is given."""
    angles = np.linspace(0.0, 2 * np.pi, _CORNERS * 2, endpoint=False)
    radius = np.ones_like(angles)
    if rng is not None:
        for wave in (2, 3, 5):
            radius += rough * rng.uniform(-0.6, 0.6) * np.cos(wave * angles + rng.uniform(0, 6.3))
    radii = np.broadcast_to(size, 2)
    points = np.column_stack([np.cos(angles), np.sin(angles)]) * radius[:, None] * radii
    return polygon(turned(points, turn) + np.asarray(at, dtype=float))


def turned(points: ArrayLike, degrees: float) -> Array:
    """Points turned counter-clockwise about zero, (n, 2) float."""
    cosine, sine = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.asarray(points, dtype=float) @ np.array([[cosine, sine], [-sine, cosine]])


def places(region: BaseGeometry, spacing_mm: float, rng: Rng, *, loose: float = 0.8) -> Array:
    """Points strewn evenly but not regularly over a region, (n, 2) float, mm; rows lie staggered."""
    if region.is_empty:
        return np.zeros((0, 2))
    left, low, right, high = region.bounds
    rows = np.arange(low, high + spacing_mm, spacing_mm * 0.87)
    columns = np.arange(left, right + spacing_mm, spacing_mm)
    x, y = np.meshgrid(columns, rows)
    x = x + (np.arange(len(rows)) % 2)[:, None] * spacing_mm / 2
    points = np.column_stack([x.ravel(), y.ravel()])
    points += rng.uniform(-0.5, 0.5, points.shape) * loose * spacing_mm
    return points[shapely.contains_xy(region, points[:, 0], points[:, 1])]


def gouges(starts: Array, ends: Array, widths: ArrayLike) -> BaseGeometry:
    """Cuts of a gouge, pointed at both ends.

    Parameters
    ----------
    starts, ends : (n, 2) float, mm
    widths : (n,) float or one, mm
    """
    if not len(starts):
        return shapely.MultiPolygon()
    way = ends - starts
    length = np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)
    across = np.column_stack([-way[:, 1], way[:, 0]]) / length[:, None] * np.broadcast_to(widths, length.shape)[:, None]
    middle = starts[:, None] + way[:, None] * _GOUGE[None, :, :1]
    side = across[:, None] * _GOUGE[None, :, 1:]
    rings = np.concatenate([middle + side, (middle - side)[:, -2:0:-1]], axis=1)
    return union(shapely.polygons(rings))


def hatch(
    region: BaseGeometry,
    way: float | Callable[[Array], Array],
    rng: Rng,
    *,
    spacing: float,
    length: tuple[float, float],
    width: tuple[float, float],
    share: float = 1.0,
    margin: float = 0.0,
) -> BaseGeometry:
    """Gouges over a region.

    Parameters
    ----------
    region : where
    way : their direction, degrees; or a function from (n, 2) points to (n,) directions
    spacing : distance between gouges, mm
    length, width : least and most, mm
    share : part of the places that is cut, 0 to 1
    margin : kept free along the region's edge, mm
    """
    inside = shapely.buffer(region, -margin) if margin else region
    points = places(inside, spacing, rng)
    points = points[rng.random(len(points)) < share]
    angles = np.radians(way(points) if callable(way) else np.full(len(points), way))
    angles = angles + rng.normal(0.0, 0.05, len(points))
    half = np.column_stack([np.cos(angles), np.sin(angles)]) * rng.uniform(*length, len(points))[:, None] / 2
    cuts = gouges(points - half, points + half, rng.uniform(*width, len(points)))
    return shapely.intersection(cuts, inside)


def dots(
    region: BaseGeometry, rng: Rng, *, spacing: float, radius: tuple[float, float], share: float = 1.0
) -> BaseGeometry:
    """Small uneven dots over a region; spacing and radius in mm."""
    points = places(region, spacing, rng)
    points = points[rng.random(len(points)) < share]
    sizes = rng.uniform(*radius, len(points))
    angles = np.linspace(0, 2 * np.pi, 7, endpoint=False) + rng.uniform(0, 1, (len(points), 1))
    reach = sizes[:, None] * rng.uniform(0.75, 1.2, angles.shape)
    rings = points[:, None] + reach[..., None] * np.stack([np.cos(angles), np.sin(angles)], axis=2)
    return shapely.intersection(union(shapely.polygons(rings)), region) if len(points) else shapely.MultiPolygon()


def dashes(
    line: BaseGeometry, rng: Rng, *, length: tuple[float, float], gap: tuple[float, float], width: tuple[float, float]
) -> BaseGeometry:
    """Brush marks along the lines of a shape or its edge, each pointed at both ends; all in mm."""
    marks = []
    lines = line.boundary if line.geom_type.endswith("Polygon") else line
    for part in shapely.get_parts(shapely.line_merge(lines) if lines.geom_type == "MultiLineString" else lines):
        at = -rng.uniform(*gap)
        while at < part.length:
            reach = rng.uniform(*length)
            along = np.clip(np.linspace(at, at + reach, max(4, int(reach / 0.6))), 0.0, part.length)
            if along[-1] - along[0] > 0.3 * reach:
                points = shapely.get_coordinates(shapely.line_interpolate_point(part, along))
                marks.append(stroke(points, rng.uniform(*width), taper=0.4))
            at += reach + rng.uniform(*gap)
    return union(marks)
