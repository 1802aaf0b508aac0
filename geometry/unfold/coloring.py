"""Where on a net which colour is printed, and where a picture: facets of one colour in one region, with their bleed.

Beyond its outline a net is printed in what the nearest point of the outline is printed in.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from ..model import Color
from ..transforms import Array
from .covering import NetCovering, textured
from .data import Ints, Mesh
from .strips import rim_strips

__all__ = ["PICTURE", "Print", "printed_regions"]

#: What a region is printed in: a colour, or the picture of the net; None for plain card.
Print = Color | Literal["picture"] | None
PICTURE: Literal["picture"] = "picture"
#: What lies no further from a line lies on it, mm.
_ON_LINE_MM = 1e-5
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
    facets = shapely.union_all(np.array(shapes, dtype=object))
    if len(pieces) == 1:
        (only,) = pieces
        return {} if only is None else {only: _areas(facets.buffer(bleed_mm))}
    found = {kind: shapely.union_all(parts) for kind, parts in pieces.items()}
    if bleed_mm > 0.0:
        ring = facets.buffer(bleed_mm).difference(facets)
        for kind, strips in _strips(pieces, rims, bleed_mm).items():
            beyond = ring.intersection(shapely.union_all(strips))
            found[kind] = shapely.union_all([found[kind], beyond])
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
            part = shapely.union_all(triangles[kind == which])
            found[which] = rest.intersection(part)
            rest = rest.difference(part)
    return {**found, largest: rest}


def _strips(pieces: dict[Print, list[BaseGeometry]], rims: Array, bleed_mm: float) -> dict[Print, list[BaseGeometry]]:
    """Strips along the rims of each kind of piece."""
    parts = [part for each in pieces.values() for part in each]
    kind = np.repeat(np.arange(len(pieces)), [len(each) for each in pieces.values()])
    rims = _at_borders(rims, parts)
    asked, nearest = shapely.STRtree(parts).query_nearest(shapely.points(rims.mean(axis=1)), all_matches=False)
    of = np.zeros(len(rims), dtype=np.int64)
    of[asked] = kind[nearest]
    strips = rim_strips(rims, of, bleed_mm)
    return {name: [strips[at] for at in np.flatnonzero(of == number)] for number, name in enumerate(pieces)}


def _at_borders(rims: Array, parts: Sequence[BaseGeometry]) -> Array:
    """Rims cut where one facet is printed in several ways, (n, 2, 2) float."""
    borders = shapely.get_coordinates(np.array(parts, dtype=object))
    on, points = shapely.STRtree(np.array(shapely.linestrings(rims), dtype=object)).query(
        shapely.points(np.unique(borders, axis=0)), predicate="dwithin", distance=_ON_LINE_MM
    )[::-1]
    every = np.unique(borders, axis=0)
    cut: list[Array] = []
    order = np.argsort(on, kind="stable")
    bounds = np.searchsorted(on[order], np.arange(len(rims) + 1))
    for number, (start, end) in enumerate(rims):
        length = float(np.hypot(*(end - start)))
        shares = (every[points[order[bounds[number] : bounds[number + 1]]]] - start) @ (end - start) / length**2
        inner = np.unique(np.round(shares[(shares > 1e-6) & (shares < 1.0 - 1e-6)], 9))
        ends = [start, *(start + share * (end - start) for share in inner), end]
        cut += [np.array(pair) for pair in pairwise(ends)]
    return np.array(cut)


def _areas(region: BaseGeometry) -> MultiPolygon:
    parts = shapely.get_parts(region)
    return MultiPolygon([part for part in parts if isinstance(part, Polygon) and part.area > _LEAST_MM2])
