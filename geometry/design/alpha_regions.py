"""Where a panel's free edge can run, and what of a painted region lies there: on this side of all its hinges."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Point, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from ..errors import HingeleafError
from ..spread import Spread
from ..tracing.cleaning import cleaned
from ..transforms import Array
from .outline_keys import OutlineKey

__all__ = ["FreeRegion", "free_region"]

#: What lies on a line lies within this of it.
_ON_MM = 0.02
_FAR_MM = 20_000.0
#: Along every hinge a strip of card stays that is as wide as the least feature and a little, or at least this.
_LEAST_STRIP_MM = 1.0
_WIDER = 1.1
#: Where what is painted reaches further than this beyond the end of a crease, along it, the halves are cut apart.
_BEYOND_MM = 1.0


@dataclass(frozen=True)
class FreeRegion:
    """A panel, or several joined by creases, as a painted region shapes them, on their net, mm.

    Parameters
    ----------
    polygon : what is to be cut
    hinges : lines on its border that stay, each (2, 2) float
    others : how many painted parts hang on none of its hinges
    notes : what is to be known about it
    """

    polygon: Polygon
    hinges: tuple[Array, ...]
    others: int
    notes: tuple[str, ...]

    def way(self, key: OutlineKey) -> Array:
        """The free border between the ends of a key's line, from the first to the second, (n, 2) float."""
        return self._ways(key)[0]

    def rest(self, key: OutlineKey) -> Array:
        """The other border, from the second end back to the first."""
        return self._ways(key)[1][::-1]

    def _ways(self, key: OutlineKey) -> tuple[Array, Array]:
        ends = _ends(key)
        ring = LineString(self.polygon.exterior.coords)
        first, second = (float(ring.project(Point(end))) for end in ends)
        if max(ring.distance(Point(end)) for end in ends) > _ON_MM:
            raise HingeleafError(f"the artwork would cut an end of {key.key} off its hinge; paint it there")
        low, high = sorted((first, second))
        inner = shapely.get_coordinates(substring(ring, low, high))
        outer = np.vstack(
            [
                shapely.get_coordinates(substring(ring, high, ring.length)),
                shapely.get_coordinates(substring(ring, 0.0, low))[1:],
            ]
        )[::-1]
        ways = [way if first <= second else way[::-1] for way in (inner, outer)]
        ways.sort(key=lambda way: sum(_lies_on(line.mean(axis=0), LineString(way)) for line in self.hinges))
        for way in ways:
            way[0], way[-1] = ends
        return ways[0], ways[1]


def free_region(spread: Spread, key: OutlineKey, painted: MultiPolygon, feature_mm: float) -> FreeRegion:
    """What of a painted region a key's panel becomes.

    Parameters
    ----------
    spread : the design
    key : of form "line"
    painted : what is opaque, on the net of the key's piece, mm
    feature_mm : float, the narrowest that is cut

    Returns
    -------
    FreeRegion

    Raises
    ------
    HingeleafError
        Nothing is painted along the panel's hinges.
    """
    names = _panels(spread, key)
    whole = shapely.union_all([spread.panels[name].outline.buffer(_ON_MM / 4) for name in names])
    hinges = tuple(_hinges(spread, names, whole))
    side = whole.representative_point()
    allowed: BaseGeometry = shapely.intersection_all([_half_plane(line, side) for line in hinges])
    width = max(_WIDER * feature_mm, _LEAST_STRIP_MM)
    strips = shapely.union_all([LineString(line).buffer(width, cap_style="flat") for line in hinges])
    strips = strips.intersection(allowed)
    inside = painted.intersection(allowed)
    smooth = cleaned(_polygons(shapely.union_all([inside, strips])), feature_mm).region
    joined = shapely.union_all([smooth, strips]).intersection(allowed)
    parts = _polygons(joined)
    found = next((part for part in parts if all(_lies_on(line.mean(axis=0), part) for line in hinges)), None)
    if found is None or found.area < strips.area + feature_mm**2 + 1.0:
        raise HingeleafError(
            f"the artwork of {key.mechanism} is clear along the hinges of {key.panel}: paint up to where it is held"
        )
    others = sum(part.area > 1.0 for part in parts) - 1
    notes = (*_bare(spread, names, whole, inside), *_beyond(spread, names, found))
    return FreeRegion(found, tuple(hinges), others, notes)


def _panels(spread: Spread, key: OutlineKey) -> list[str]:
    """The panels that a line runs along, from the key's own on."""
    names, ends = [key.panel], _ends(key)
    while True:
        whole = shapely.union_all([spread.panels[name].outline.buffer(_ON_MM / 4) for name in names])
        missed = [Point(end) for end in ends if whole.boundary.distance(Point(end)) > _ON_MM]
        near = {
            other: spread.panels[other].outline.distance(missed[0])
            for hinge in spread.hinges
            if missed and hinge.kind == "crease"
            for one, other in (hinge.panels, hinge.panels[::-1])
            if one in names and other not in names and spread.panels[other].role != "tab"
        }
        if not near:
            return names
        names.append(min(near, key=lambda name: near[name]))


def _hinges(spread: Spread, names: Sequence[str], whole: BaseGeometry) -> Iterator[Array]:
    """Lines of hinges on the border of some panels."""
    for hinge in spread.hinges:
        if all(name in names for name in hinge.panels):
            continue
        for name, line in zip(hinge.panels, hinge.lines, strict=True):
            places = np.vstack([line, line.mean(axis=0)])
            if name in names and all(_lies_on(place, whole.boundary) for place in places):
                yield np.asarray(line, dtype=float)


def _half_plane(line: Array, side: Point) -> Polygon:
    """All that lies on one side of a line."""
    along = (line[1] - line[0]) / np.hypot(*(line[1] - line[0]))
    aside = np.array([-along[1], along[0]])
    if aside @ (np.array([side.x, side.y]) - line[0]) < 0:
        aside = -aside
    one, two = line[0] - _FAR_MM * along, line[1] + _FAR_MM * along
    return Polygon([one, two, two + _FAR_MM * aside, one + _FAR_MM * aside])


def _bare(spread: Spread, names: Sequence[str], whole: BaseGeometry, inside: BaseGeometry) -> Iterator[str]:
    """Where nothing is painted along a crease that the panel shares with another, and a bare strip stays."""
    for hinge in spread.hinges:
        if hinge.kind != "crease" or sum(name in names for name in hinge.panels) != 1:
            continue
        line = LineString(hinge.lines[0] if hinge.panels[0] in names else hinge.lines[1])
        bare = line.difference(inside.buffer(_BEYOND_MM)).length
        if bare > _BEYOND_MM and whole.distance(line) < _ON_MM and _role(spread, hinge.panels, names) != "tab":
            yield (
                f"the artwork is clear along {bare:.1f} mm of {hinge.id}, where a narrow strip of card stays; with a "
                f"shorter crease, or paint there, it would not"
            )


def _role(spread: Spread, pair: tuple[str, str], names: Sequence[str]) -> str:
    """The role of the panel of a pair that is none of these."""
    return spread.panels[next(name for name in pair if name not in names)].role


def _beyond(spread: Spread, names: Sequence[str], found: Polygon) -> Iterator[str]:
    """Where what is painted goes on beyond the end of a crease that the panel shares with another."""
    for hinge in spread.hinges:
        if hinge.kind != "crease" or sum(name in names for name in hinge.panels) != 1:
            continue
        if _role(spread, hinge.panels, names) == "tab":
            continue
        line = hinge.lines[hinge.panels.index(next(name for name in hinge.panels if name in names))]
        for end, start in (line, line[::-1]):
            way = (end - start) / np.hypot(*(end - start))
            beyond = LineString([end + 1e-3 * way, end + _FAR_MM * way])
            reach = beyond.intersection(found.buffer(1e-6)).length
            if reach > _BEYOND_MM:
                yield (
                    f"the artwork goes {reach:.1f} mm beyond the end of {hinge.id}, where the card is cut along the "
                    f"middle; with a longer crease it would hold together"
                )


def _ends(key: OutlineKey) -> Array:
    """The ends of a key's line on the net, (2, 2) float, mm."""
    if key.ends is None:
        raise HingeleafError(f"{key.key} is no line between two ends")
    return np.asarray(key.ends @ key.frame[:2, :2].T + key.frame[:2, 2])


def _lies_on(place: Array, shape: BaseGeometry) -> bool:
    return bool(shape.distance(Point(place)) < _ON_MM)


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    parts = [part for part in shapely.get_parts(shape) if isinstance(part, Polygon) and part.area > 1e-9]
    return sorted(parts, key=lambda part: -part.area)
