"""Hidden surfaces, exactly: which part of each panel is seen from one direction.

Panels are flat, so seen by parallel rays each is a polygon whose depth is an affine function of its place in the
picture. Where two overlap, the one in front changes only across the straight line on which their depths are equal:
the overlap is cut along it. What is left of a panel when all that lies in front is taken away is seen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from ..outline import parts_of
from ..spread import Spread
from ..transforms import Array, apply

__all__ = ["Camera", "Seen", "lifts", "projected", "see"]

#: A panel steeper to the picture than this (cosine) is seen on edge and hides nothing.
_STEEP = 2e-3
#: Depths that differ by less are the same.
_EPS_MM = 1e-4
#: Card that lies on card is told from it by this much of depth a layer.
_LAYER_MM = 0.01
#: What is left of a panel and is thinner than this is rounding and not seen.
_SLIVER_MM = 1e-3
#: Overlays snap to this grid: far below any printer, far above rounding.
_GRID_MM = 1e-5

#: a, b, c: depth a u + b v + c.
Plane = Array


@dataclass(frozen=True)
class Camera:
    """A direction of view.

    Parameters
    ----------
    azimuth_rad : float; from where the reader sits (0) to the right
    elevation_rad : float; above the table, below it where negative
    """

    azimuth_rad: float
    elevation_rad: float

    @property
    def axes(self) -> Array:
        """(3, 3) float; rows right, up and towards the eye."""
        ca, sa = np.cos(self.azimuth_rad), np.sin(self.azimuth_rad)
        ce, se = np.cos(self.elevation_rad), np.sin(self.elevation_rad)
        return np.array([[ca, sa, 0.0], [-sa * se, ca * se, ce], [sa * ce, -ca * ce, se]])


@dataclass(frozen=True)
class Seen:
    """A panel in the picture.

    Parameters
    ----------
    panel : its name
    matrix : (4, 4) float; its net coordinates to the camera's: right, up, towards the eye
    outline : Polygon, mm; all of it
    front : whether its printed face is seen
    hidden : what of it is hidden
    visible : what of it is seen
    """

    panel: str
    matrix: Array
    outline: Polygon
    front: bool
    hidden: BaseGeometry
    visible: BaseGeometry


def projected(shape: BaseGeometry, matrix: Array) -> BaseGeometry:
    """A shape in a panel's net coordinates as it is seen."""
    return shapely.transform(shape, lambda points: apply(matrix, points)[:, :2])


def see(
    outlines: Mapping[str, Polygon], matrices: Mapping[str, Array], camera: Camera, above: Mapping[str, Array]
) -> list[Seen]:
    """What is seen of panels.

    Parameters
    ----------
    outlines : in net coordinates, mm
    matrices : (4, 4) float, where they are
    camera : Camera
    above : (3,) float by panel, mm; how far card lies off its place for being on other card (see lifts)

    Returns
    -------
    list of Seen, in the same order; panels on edge are left out
    """
    turn = np.eye(4)
    turn[:3, :3] = camera.axes
    poses = {name: turn @ matrices[name] for name in outlines}
    names = [name for name, pose in poses.items() if abs(pose[2, 2]) > _STEEP]
    seen = [_valid(projected(outlines[name], poses[name])) for name in names]
    planes = []
    for name in names:
        lift = camera.axes @ above.get(name, np.zeros(3))
        planes.append(_plane(poses[name][:3, 2], poses[name][:3, 3] + lift))
    hidden = _hidden(seen, planes)
    return [
        Seen(name, poses[name], outline, bool(poses[name][2, 2] > 0.0), gone, _without(outline, gone))
        for name, outline, gone in zip(names, seen, hidden, strict=True)
    ]


def _valid(shape: BaseGeometry) -> Polygon:
    if isinstance(shape, Polygon) and shape.is_valid:
        return shape
    parts = parts_of(shape.buffer(0))
    return max(parts, key=lambda part: part.area) if parts else Polygon()


def _without(outline: Polygon, gone: BaseGeometry) -> BaseGeometry:
    if gone.is_empty:
        return outline
    left = parts_of(shapely.difference(outline, gone, grid_size=_GRID_MM))
    return MultiPolygon([part for part in left if 2.0 * part.area > _SLIVER_MM * part.length])


def _plane(normal: Array, point: Array) -> Plane:
    """Depth over the picture, towards the eye, as a function of place."""
    a, b = -normal[0] / normal[2], -normal[1] / normal[2]
    return np.array([a, b, point[2] - a * point[0] - b * point[1]])


def _hidden(seen: Sequence[Polygon], planes: Sequence[Plane]) -> list[MultiPolygon]:
    """What of each outline lies behind others."""
    covers: list[list[Polygon]] = [[] for _ in seen]
    pairs = shapely.STRtree(seen).query(seen, predicate="intersects") if seen else np.zeros((2, 0), dtype=int)
    for one, two in pairs.T:
        if one >= two:
            continue
        common = shapely.intersection(seen[one], seen[two], grid_size=_GRID_MM)
        for part in parts_of(common):
            difference = planes[two] - planes[one]
            covers[one] += parts_of(_positive(part, difference))
            covers[two] += parts_of(_positive(part, -difference))
    return [MultiPolygon(parts_of(shapely.union_all(each, grid_size=_GRID_MM))) for each in covers]


def _positive(part: Polygon, plane: Plane) -> BaseGeometry:
    """Where an affine function is above zero."""
    corners = shapely.get_coordinates(part)
    values = corners @ plane[:2] + plane[2]
    if values.max() <= _EPS_MM:
        return Polygon()
    if values.min() >= -_EPS_MM:
        return part
    left, low, right, high = part.buffer(1.0).bounds
    box = np.array([[left, low], [right, low], [right, high], [left, high]])
    side = _clipped(box, plane)
    return shapely.intersection(part, Polygon(side), grid_size=_GRID_MM) if len(side) > 2 else Polygon()


def _clipped(ring: Array, plane: Plane) -> Array:
    """The part of a convex ring where an affine function is not below zero (Sutherland and Hodgman)."""
    values = ring @ plane[:2] + plane[2]
    kept: list[Array] = []
    for index in range(len(ring)):
        here, after = values[index], values[(index + 1) % len(ring)]
        if here >= 0.0:
            kept.append(ring[index])
        if (here >= 0.0) != (after >= 0.0):
            share = here / (here - after)
            kept.append(ring[index] + share * (ring[(index + 1) % len(ring)] - ring[index]))
    return np.array(kept)


def lifts(spread: Spread, matrices: Mapping[str, Array]) -> dict[str, Array]:
    """How far off its host's plane card lies that is glued on it, slides on it, or turns on it about a pivot.

    Parameters
    ----------
    spread : Spread
    matrices : (4, 4) float, where panels are

    Returns
    -------
    dict of (3,) float, mm, by panel; a hair, towards the face that it lies on
    """
    faces = {area.glued: (area.host, 1.0 if area.face == "front" else -1.0) for area in spread.glue_areas}
    hands = {hand.id: -1.0 if hand.behind else 1.0 for hand in spread.hands}
    found: dict[str, Array] = {}
    for number, name in enumerate(matrices):
        panel = spread.panels[name]
        found[name] = np.zeros(3)
        host, face = faces.get(name, (panel.parent, 0.0))
        if panel.axis is not None:
            moves = panel.axis.slides or panel.axis.pivots
            host, face = panel.parent, hands.get(panel.piece, 1.0) if moves else 0.0
        if face and host is not None and host in matrices:
            normal = matrices[host][:3, 2]
            found[name] = found.get(host, np.zeros(3)) + normal * face * _LAYER_MM * (1 + number / len(matrices))
    return found
