"""Between a viewport's pixels and a book's panels: where a point of a net is seen, and what a pointer points at."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from bpy_extras import view3d_utils
from mathutils import Matrix, Vector

from .convert import metres, millimetres, object_frame, to_object
from .geometry.model import Panel
from .geometry.transforms import Array, apply

__all__ = ["Viewport", "ray_on_panel", "viewport_at", "world_points"]


@dataclass(frozen=True)
class Viewport:
    """A 3D viewport, and the place of the pointer in it, pixels from its lower left."""

    region: Any
    view: Any
    pointer: tuple[float, float]

    def pixel(self, place: Vector) -> Vector | None:
        """Where a point of the world is seen; None where it is behind the viewer."""
        found: Vector | None = view3d_utils.location_3d_to_region_2d(self.region, self.view, place)
        return found

    def ray(self) -> tuple[Vector, Vector]:
        """The line of sight through the pointer: from where, and its direction."""
        origin = view3d_utils.region_2d_to_origin_3d(self.region, self.view, self.pointer)
        way = view3d_utils.region_2d_to_vector_3d(self.region, self.view, self.pointer)
        return origin, way.normalized()

    def distance(self, start: Vector, end: Vector) -> float:
        """How far the pointer is from a line as it is seen, pixels; infinite where that is behind the viewer."""
        ends = self.pixel(start), self.pixel(end)
        if ends[0] is None or ends[1] is None:
            return float("inf")
        one, here = ends[0], Vector(self.pointer)
        along: Any = ends[1] - one
        away: Any = here - one
        part = min(1.0, max(0.0, away.dot(along) / max(along.length_squared, 1e-9)))
        return float((one + along * part - here).length)

    def part_along(self, start: Vector, end: Vector) -> float:
        """The place on a line that is nearest to the line of sight, 0 at its start, 1 at its end; not bounded."""
        origin, way = self.ray()
        along = end - start
        across = way.cross(along)
        if across.length_squared < 1e-18:
            return 0.0
        between: Any = (origin - start).cross(way)
        square: Any = along.cross(way)
        return float(between.dot(square) / square.length_squared)


def viewport_at(context: bpy.types.Context, event: bpy.types.Event) -> Viewport | None:
    """The 3D viewport that the pointer is in; None where it is elsewhere, as over a sidebar."""
    window = context.window
    if window is None:
        return None
    for area in window.screen.areas:
        if area.type != "VIEW_3D":
            continue
        regions = [region for region in area.regions if _inside(region, event)]
        if any(region.type != "WINDOW" for region in regions):
            # Sidebar, tool bar and header lie over the viewport.
            return None
        for region in regions:
            space: Any = area.spaces.active
            return Viewport(region, space.region_3d, (event.mouse_x - region.x, event.mouse_y - region.y))
    return None


def _inside(region: bpy.types.Region, event: bpy.types.Event) -> bool:
    if region.width <= 1 or region.height <= 1:
        return False
    across, up = event.mouse_x - region.x, event.mouse_y - region.y
    return bool(0 <= across < region.width and 0 <= up < region.height)


def world_points(item: bpy.types.Object, panel: Panel, points_mm: Array) -> list[Vector]:
    """Points of a panel's net, (n, 2) float, mm, where they are in the world."""
    return [item.matrix_world @ Vector(point) for point in to_object(panel, np.asarray(points_mm)).tolist()]


def ray_on_panel(viewport: Viewport, matrix_world: Matrix, panel: Panel) -> tuple[float, tuple[float, float]] | None:
    """Where the line of sight meets a panel's plane.

    Parameters
    ----------
    viewport : with the pointer
    matrix_world : of the panel's object
    panel : the panel

    Returns
    -------
    how far from the viewer, metres, and where on the net, mm; None where it runs beside the plane or away from it
    """
    origin, way = viewport.ray()
    inverse = matrix_world.inverted_safe()
    start, end = inverse @ origin, inverse @ (origin + way)
    net = apply(object_frame(panel), millimetres(np.array([start, end], dtype=float)))
    rise = net[1, 2] - net[0, 2]
    if abs(rise) < 1e-9:
        return None
    part = -net[0, 2] / rise
    if part <= 0:
        return None
    place = net[0] + part * (net[1] - net[0])
    return float(metres(part * np.linalg.norm(net[1] - net[0]))), (float(place[0]), float(place[1]))
