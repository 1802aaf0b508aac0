"""Independent judges of panels in space: python-fcl's verdict, and a slow measure of how deep one goes through another.

Nothing here calls the core's check: panels come as outlines and matrices, as `poses` writes them.
"""

from __future__ import annotations

import fcl
import numpy as np
import shapely
import trimesh
from numpy.typing import NDArray
from shapely import LineString, Polygon

Array = NDArray[np.float64]

#: Both sides are drawn in by this much, so that panels which share a hinge, or stand on each other, do not touch.
SHRINK_MM = 0.03


def drawn_in(outline: Polygon) -> Polygon:
    """The outline without a border of SHRINK_MM."""
    return outline.buffer(-SHRINK_MM, join_style="mitre")


def mesh_of(outline: Polygon) -> tuple[Array, NDArray[np.int64]]:
    """Corners (n, 3) and triangles (m, 3) of a panel in its own plane."""
    parts = [part for part in shapely.get_parts(outline) if part.area > 0]
    meshes = [trimesh.creation.triangulate_polygon(part, engine="earcut") for part in parts]
    corners = np.concatenate([vertices for vertices, _ in meshes])
    shifts = np.cumsum([0, *(len(vertices) for vertices, _ in meshes)])[:-1]
    triangles = np.concatenate([faces + shift for (_, faces), shift in zip(meshes, shifts, strict=True)])
    return np.column_stack([corners, np.zeros(len(corners))]), triangles


class Panels:
    """Panels as fcl's bodies, each of its own; put at a pose and asked which touch."""

    def __init__(self, outlines: dict[str, Polygon]) -> None:
        self.outlines = {name: drawn_in(outline) for name, outline in outlines.items()}
        self.bodies = {}
        for name, outline in self.outlines.items():
            if outline.is_empty:
                continue
            corners, triangles = mesh_of(outline)
            model = fcl.BVHModel()
            model.beginModel(len(triangles), len(corners))
            model.addSubModel(corners, triangles)
            model.endModel()
            self.bodies[name] = fcl.CollisionObject(model)

    def put(self, name: str, matrix: Array) -> None:
        self.bodies[name].setTransform(fcl.Transform(matrix[:3, :3], matrix[:3, 3]))

    def touch(self, one: str, two: str) -> bool:
        """Whether two panels touch as they are put."""
        if one not in self.bodies or two not in self.bodies:
            return False
        return fcl.collide(self.bodies[one], self.bodies[two], fcl.CollisionRequest(), fcl.CollisionResult()) > 0


def depth_mm(one: Polygon, at_one: Array, two: Polygon, at_two: Array) -> float:
    """How far two panels are in each other, mm; 0 where they are not.

    The smaller of the longest stretch that both have of the line common to their planes, and the least reach of either
    beyond the other's plane; with shapely's overlay of that line, panel by panel.
    """
    normals = at_one[:3, 2], at_two[:3, 2]
    along = np.cross(*normals)
    if np.linalg.norm(along) < 1e-9:
        return 0.0
    along = along / np.linalg.norm(along)
    offsets = [normals[0] @ at_one[:3, 3], normals[1] @ at_two[:3, 3]]
    point = np.linalg.lstsq(np.array(normals), np.array(offsets), rcond=None)[0]
    spans, reach = [], []
    for outline, matrix, other in ((one, at_one, at_two), (two, at_two, at_one)):
        local = np.linalg.inv(matrix) @ np.column_stack([[*point, 1.0], [*along, 0.0]])
        start, step = local[:2, 0], local[:2, 1]
        middle = (np.array(outline.centroid.coords[0]) - start) @ step
        far = LineString([start + (middle - 1e3) * step, start + (middle + 1e3) * step])
        inside = [np.asarray(part.coords) for part in shapely.get_parts(far.intersection(outline)) if part.length > 0]
        spans.append([sorted((ends - start) @ step) for ends in inside])
        corners = shapely.get_coordinates(outline)
        world = np.column_stack([corners, np.zeros(len(corners)), np.ones(len(corners))]) @ matrix.T
        heights = (world[:, :3] - other[:3, 3]) @ other[:3, 2]
        reach.append(min(heights.max(), -heights.min()))
    common = [min(a[-1], b[-1]) - max(a[0], b[0]) for a in spans[0] for b in spans[1]]
    longest = max(common, default=0.0)
    return float(min(longest, *reach)) if longest > 0 and min(reach) > 0 else 0.0
