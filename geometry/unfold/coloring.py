"""Where on a net which colour is printed, and where a picture: facets of one colour in one region, with their bleed.

Beyond its outline a net is printed in what the nearest point of the outline is printed in.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import Literal

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from ..model import Color
from ..transforms import Array
from .covering import NetCovering, textured
from .data import Ints, Mesh

__all__ = ["PICTURE", "Print", "printed_regions"]

#: What a region is printed in: a colour, or the picture of the net; None for plain card.
Print = Color | Literal["picture"] | None
PICTURE: Literal["picture"] = "picture"
#: Points along the outline are as far apart, mm; their regions are told apart as finely.
_APART_MM = 0.4
#: Corners are rounded to this where regions are joined, mm.
_GRID_MM = 1e-6
#: Points nearer than this are one, mm.
_SAME_MM = 0.02
#: Smaller leftovers are rounding, mm2.
_LEAST_MM2 = 1e-6


def printed_regions(
    mesh: Mesh, covering: NetCovering, shapes: Sequence[Polygon], rims: Array, bleed_mm: float
) -> dict[Color | Literal["picture"], MultiPolygon]:
    """Where what is printed on a net.

    Parameters
    ----------
    mesh : whose surfaces they are
    covering : what covers its facets
    shapes : of each facet its outline on the net
    rims : (n, 2, 2) float, mm; the sides of facets at which the net ends
    bleed_mm : how far is printed beyond them

    Returns
    -------
    a region for each colour, and one for the picture
    """
    prints = _prints(mesh)
    pieces = _pieces(prints, covering, shapes)
    if set(pieces) == {None}:
        return {}
    facets = shapely.union_all(np.array(shapes, dtype=object), grid_size=_GRID_MM)
    if len(pieces) == 1:
        (only,) = pieces
        return {} if only is None else {only: _areas(facets.buffer(bleed_mm))}
    joined = {kind: shapely.union_all(parts, grid_size=_GRID_MM) for kind, parts in pieces.items()}
    found = dict(joined)
    if bleed_mm > 0.0:
        ring = facets.buffer(bleed_mm).difference(facets)
        for kind, cells in _cells(pieces, rims, bleed_mm).items():
            found[kind] = shapely.union_all([joined[kind], ring.intersection(cells)], grid_size=_GRID_MM)
    return {kind: _areas(region) for kind, region in found.items() if kind is not None}


def _prints(mesh: Mesh) -> list[Print]:
    """What each surface is printed in, plain card at the end."""
    has = textured(mesh)
    return [*(PICTURE if has[at] else each.color for at, each in enumerate(mesh.surfaces)), None]


def _pieces(
    prints: Sequence[Print], covering: NetCovering, shapes: Sequence[Polygon]
) -> dict[Print, list[BaseGeometry]]:
    """The parts of facets by what they are printed in."""
    kinds: dict[Hashable, int] = {}
    numbers = np.array([kinds.setdefault(each, len(kinds)) for each in prints])
    kind = numbers[covering.surface]
    names: list[Print] = list(dict.fromkeys(prints))
    order = np.argsort(covering.position, kind="stable")
    bounds = np.searchsorted(covering.position[order], np.arange(len(shapes) + 1))
    pieces: dict[Print, list[BaseGeometry]] = {}
    for number, shape in enumerate(shapes):
        mine = order[bounds[number] : bounds[number + 1]]
        used = np.unique(kind[mine])
        if len(used) <= 1:
            pieces.setdefault(names[int(used[0])] if len(used) else None, []).append(shape)
            continue
        for which, part in _parted(shape, covering.places[mine], kind[mine]).items():
            pieces.setdefault(names[which], []).append(part)
    return pieces


def _parted(shape: Polygon, places: Array, kind: Ints) -> dict[int, BaseGeometry]:
    """A facet that is printed in several ways, in parts; what rounding leaves over goes to the largest."""
    triangles = np.array(shapely.polygons(places), dtype=object)
    sizes = {int(which): float(shapely.area(triangles[kind == which]).sum()) for which in np.unique(kind)}
    largest = max(sizes, key=lambda which: sizes[which])
    rest: BaseGeometry = shape
    found: dict[int, BaseGeometry] = {}
    for which in sizes:
        if which != largest:
            part = shapely.union_all(triangles[kind == which], grid_size=_GRID_MM)
            found[which] = rest.intersection(part)
            rest = rest.difference(part)
    return {**found, largest: rest}


def _cells(pieces: dict[Print, list[BaseGeometry]], rims: Array, bleed_mm: float) -> dict[Print, BaseGeometry]:
    """What lies nearest to the rims of each kind of piece (Voronoi's cells of points along them)."""
    steps = np.maximum(1, np.ceil(np.hypot(*(rims[:, 1] - rims[:, 0]).T) / _APART_MM)).astype(np.int64)
    of = np.repeat(np.arange(len(rims)), steps)
    share = (np.arange(len(of)) - np.repeat(np.cumsum(steps) - steps, steps) + 0.5) / steps[of]
    points = rims[of, 0] + share[:, None] * (rims[of, 1] - rims[of, 0])
    # Both sides of a narrow slit may have a point in nearly the same place, which is one for the cells.
    _, once = np.unique(np.round(points / _SAME_MM), axis=0, return_index=True)
    points = points[once]
    parts = [part for each in pieces.values() for part in each]
    kind = np.repeat(np.arange(len(pieces)), [len(each) for each in pieces.values()])
    asked, nearest = shapely.STRtree(parts).query_nearest(shapely.points(points), all_matches=False)
    of_point = np.zeros(len(points), dtype=np.int64)
    of_point[asked] = kind[nearest]
    # About their middle, so that no digits are lost.
    middle = points.mean(axis=0)
    points = points - middle
    around = shapely.box(*(points.min(axis=0) - 3 * bleed_mm), *(points.max(axis=0) + 3 * bleed_mm))
    cells = shapely.get_parts(shapely.voronoi_polygons(shapely.multipoints(points), extend_to=around, ordered=True))
    # Evenly spaced points can make cells that cross themselves.
    cells = shapely.transform(shapely.make_valid(cells), lambda places: places + middle)
    return {name: shapely.union_all(cells[of_point == at]) for at, name in enumerate(pieces)}


def _areas(region: BaseGeometry) -> MultiPolygon:
    parts = shapely.get_parts(region)
    return MultiPolygon([part for part in parts if isinstance(part, Polygon) and part.area > _LEAST_MM2])
