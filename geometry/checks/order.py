"""Order when nearly closed: which panel lies above which must be consistent, or the spread cannot be pressed flat."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from ..spread import Spread
from ..transforms import Array, apply
from .findings import Finding

__all__ = ["check_order"]

_CODE = "order"
_OPENING_DEG = 1.0
#: Panels that overlap by less than this do not hold each other up.
_OVERLAP_MM2 = 1.0
#: Panels nearer than this to each other lie in each other's plane.
_SAME_MM = 1e-3


def check_order(spread: Spread) -> list[Finding]:
    """Findings on panels that lie over each other in a ring, each above the next.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, one a ring; measure is the overlap in mm2 at which the ring closes

    Notes
    -----
    Source: DESIGN.md, section 5. Looked at an opening of 1 degree, seen square to the plane that halves the opening.
    Panels that pass through each other are left to the check of collisions.
    """
    spread = spread.folding
    low, high = np.degrees(spread.reachable())
    if not low < _OPENING_DEG < high:
        return []
    motion = spread.pose(np.radians([_OPENING_DEG]))
    half = np.radians(_OPENING_DEG) / 2
    view = np.array([[np.cos(half), 0.0, np.sin(half)], [0.0, 1.0, 0.0], [-np.sin(half), 0.0, np.cos(half)]])
    names = list(spread.panels)
    seen = []
    planes = []
    for name in names:
        matrix = motion.matrices[name][0]
        outline = spread.panels[name].outline
        rings = [apply(matrix, np.asarray(ring.coords)) @ view.T for ring in (outline.exterior, *outline.interiors)]
        seen.append(Polygon(rings[0][:, :2], [ring[:, :2] for ring in rings[1:]]).buffer(0))
        planes.append(_plane(view @ matrix[:3, 2], rings[0][0]))
    above = _relations(seen, np.array(planes))
    ring = _ring(above)
    if not ring:
        return []
    listed = ", ".join(names[index] for index in ring)
    one, two = names[ring[0]], names[ring[1]]
    measure = float(seen[ring[0]].intersection(seen[ring[1]]).area)
    message = (
        f"{listed} lie over each other in a ring when nearly closed: each is above the next, so they cannot lie flat"
    )
    panel = spread.panels[one]
    return [Finding(_CODE, "error", panel.piece, one, None, _OPENING_DEG, measure, "mm2", message, other=two)]


def _plane(normal: Array, point: Array) -> Array:
    """Height over the viewing plane as a function of place: (3,) float, h = a x + b y + c."""
    a, b = -normal[0] / normal[2], -normal[1] / normal[2]
    return np.array([a, b, point[2] - a * point[0] - b * point[1]])


def _relations(seen: list[Polygon], planes: Array) -> dict[int, set[int]]:
    """For each panel those that it lies above."""
    above: dict[int, set[int]] = defaultdict(set)
    tree = shapely.STRtree(seen)
    pairs: NDArray[np.int64] = tree.query(seen, predicate="intersects")
    for one, two in pairs.T:
        if one >= two:
            continue
        common = seen[one].intersection(seen[two])
        if common.area < _OVERLAP_MM2:
            continue
        points = np.column_stack([shapely.get_coordinates(common), np.ones(len(shapely.get_coordinates(common)))])
        height = points @ (planes[one] - planes[two])
        if height.max() > _SAME_MM and height.min() > -_SAME_MM:
            above[int(one)].add(int(two))
        elif height.min() < -_SAME_MM and height.max() < _SAME_MM:
            above[int(two)].add(int(one))
    return above


def _ring(above: dict[int, set[int]]) -> list[int]:
    """A ring of panels each above the next, or none."""
    state: dict[int, int] = {}
    for start in list(above):
        path: list[int] = []
        stack = [(start, iter(sorted(above[start])))] if not state.get(start) else []
        if stack:
            state[start], path = 1, [start]
        while stack:
            node, below = stack[-1]
            following = next(below, None)
            if following is None:
                stack.pop()
                path.pop()
                state[node] = 2
            elif state.get(following) == 1:
                return path[path.index(following) :]
            elif not state.get(following):
                state[following] = 1
                path.append(following)
                stack.append((following, iter(sorted(above.get(following, set())))))
    return []
