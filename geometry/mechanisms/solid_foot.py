"""The foot of a solid: the facets at its bottom, or tabs along its lower rim that are made for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import shapely
from shapely import Polygon

from ..errors import MechanismError
from ..transforms import Array
from ..unfold.data import KEEP, Facets, Ints, Mesh
from ..unfold.facets import facets_of
from ..unfold.mesh_options import MeshOptions
from .tabs import NARROWEST_MM

__all__ = ["UPS", "footed", "sized", "turned_up"]

#: What turns a direction of the model upwards, by its name.
UPS: Mapping[str, Array] = {
    "z": np.eye(3),
    "y": np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]]),
    "x": np.array([[0.0, 1, 0], [0, 0, 1], [1, 0, 0]]),
    "-z": np.array([[1.0, 0, 0], [0, -1, 0], [0, 0, -1]]),
    "-y": np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]]),
    "-x": np.array([[0.0, 1, 0], [0, 0, -1], [-1, 0, 0]]),
}

#: What lies this near to the lowest point lies at the bottom, mm: less than card gives.
_LOWEST_MM = 0.05
#: Its normal then looks straight down (cosine).
_DOWN = -0.999
#: The sides of a foot's tab lean in by this much (tangent), as those of other tabs do.
_LEAN = float(np.tan(np.radians(30.0)))
#: At each end they are cut back by so much more, so that neighbours do not touch.
_GAP_MM = 0.5


def turned_up(mesh: Mesh, up: str) -> Mesh:
    """The mesh with one of its directions turned upwards, along z."""
    return replace(mesh, vertices=mesh.vertices @ UPS[up].T)


def sized(mesh: Mesh, scale: float, height_mm: float | None) -> Mesh:
    """The mesh at its size; MechanismError where it has no height to be scaled by."""
    used = mesh.vertices[mesh.corners]
    if not len(used):
        raise MechanismError("has no faces", "model")
    if height_mm is not None:
        high = float(np.ptp(used[:, 2]))
        if not high > 0.0:
            raise MechanismError("is flat, so no height can be given to it; a flat piece is a rider", "height")
        scale = height_mm / high
    return replace(mesh, vertices=mesh.vertices * scale)


def footed(mesh: Mesh, options: MeshOptions, foot: str | None, width_mm: float) -> tuple[Facets, tuple[int, ...]]:
    """The facets of a solid with its foot, moved so that the foot lies in z = 0, its middle in x = y = 0.

    Parameters
    ----------
    mesh : z upwards, mm
    options : how its faces become facets
    foot : "flat", "inward" or "outward"; None for flat where it has a bottom, else inward
    width_mm : how far tabs along its lower rim reach

    Returns
    -------
    facets, and the numbers of those that are glued

    Raises
    ------
    HingeleafError
        It cannot stand so, or is no mesh.
    """
    facets = facets_of(mesh, options)
    low = float(facets.vertices[facets.triangles][..., 2].min())
    bottom = [number for number, rings in enumerate(facets.rings) if _is_bottom(facets, number, rings[0], low)]
    if (foot or ("flat" if bottom else "inward")) == "flat":
        if not bottom:
            raise MechanismError(
                "has no flat facet at its bottom that could be glued; turn it with up, or write inward or outward "
                "where it is open below",
                "foot",
            )
        return _stood(facets, tuple(bottom), low)
    left_out = np.concatenate([facets.source[number] for number in bottom]) if bottom else np.zeros(0, np.int64)
    kept = _without_faces(mesh, left_out)
    return _on_tabs(kept, options, foot != "outward", width_mm, low)


def _is_bottom(facets: Facets, number: int, ring: Ints, low: float) -> bool:
    lies = facets.vertices[ring][:, 2].max() <= low + _LOWEST_MM
    return bool(lies and facets.frames[number][2, 2] < _DOWN)


def _stood(facets: Facets, foot: tuple[int, ...], low: float) -> tuple[Facets, tuple[int, ...]]:
    """The facets moved to where their foot stands."""
    points = np.concatenate([facets.vertices[facets.rings[number][0]][:, :2] for number in foot])
    shift = np.append(-(points.min(axis=0) + points.max(axis=0)) / 2, -low)
    frames = facets.frames.copy()
    frames[:, :3, 3] += shift
    mesh = replace(facets.mesh, vertices=facets.mesh.vertices + shift)
    return replace(facets, vertices=facets.vertices + shift, frames=frames, mesh=mesh), foot


def _without_faces(mesh: Mesh, gone: Ints) -> Mesh:
    if not len(gone):
        return mesh
    sizes = np.diff(mesh.starts)
    kept = np.ones(len(sizes), dtype=bool)
    kept[gone] = False
    corners = np.repeat(kept, sizes)
    return replace(
        mesh,
        corners=mesh.corners[corners],
        starts=np.concatenate([[0], np.cumsum(sizes[kept])]),
        surface_of=None if mesh.surface_of is None else mesh.surface_of[kept],
        uv=None if mesh.uv is None else mesh.uv[corners],
    )


def _on_tabs(
    mesh: Mesh, options: MeshOptions, inward: bool, width_mm: float, low: float
) -> tuple[Facets, tuple[int, ...]]:
    """The mesh with a face for each tab along its lower rim, as facets."""
    facets = facets_of(mesh, options)
    lowest = (facets.vertices[facets.edges][..., 2] <= low + _LOWEST_MM).all(axis=1)
    rim = facets.vertices[facets.edges[(facets.sides[:, 1] < 0) & lowest]][..., :2]
    if not len(rim):
        raise MechanismError(
            "touches its panel at no facet and with no rim that could be glued; turn it with up, or give it a bottom",
            "foot",
        )
    tabs = _rim_tabs(rim, inward, width_mm)
    if not tabs:
        raise MechanismError(
            f"leaves no room for tabs of at least {NARROWEST_MM:g} mm along its lower rim; write flat or the other way",
            "foot",
        )
    widened = _with_faces(mesh, [np.column_stack([ring, np.full(len(ring), low)]) for ring in tabs])
    whole = facets_of(widened, options)
    first = len(mesh.starts) - 1
    foot = tuple(number for number, source in enumerate(whole.source) if (source >= first).any())
    return _stood(whole, foot, low)


def _with_faces(mesh: Mesh, rings: list[Array]) -> Mesh:
    """The mesh with further faces, (k, 3) float each; their first edges are kept together with what they hang on."""
    vertices, corners, starts, marked = [mesh.vertices], [mesh.corners], [mesh.starts], []
    count, total = len(mesh.vertices), len(mesh.corners)
    for ring in rings:
        numbers = _with_between(mesh, ring)
        own = np.arange(count, count + len(numbers))
        vertices.append(numbers)
        corners.append(own)
        marked += [own[place : place + 2] for place in range(len(numbers) - len(ring) + 1)]
        count, total = count + len(numbers), total + len(numbers)
        starts.append(np.array([total]))
    added = sum(len(item) for item in corners[1:])
    uv = None if mesh.uv is None else np.concatenate([mesh.uv, np.zeros((added, 2))])
    plain = np.full(len(rings), -1, dtype=np.int64)
    old = (np.zeros((0, 2), np.int64), np.zeros(0, np.int64))
    before = old if mesh.marked is None or mesh.marks is None else (mesh.marked, mesh.marks)
    return replace(
        mesh,
        vertices=np.concatenate(vertices),
        corners=np.concatenate(corners),
        starts=np.concatenate(starts),
        surface_of=None if mesh.surface_of is None else np.concatenate([mesh.surface_of, plain]),
        uv=uv,
        marked=np.concatenate([before[0], np.array(marked).reshape(-1, 2)]),
        marks=np.concatenate([before[1], np.full(len(marked), KEEP)]),
    )


def _with_between(mesh: Mesh, ring: Array) -> Array:
    """A ring with the vertices of the mesh that lie on its first edge, so that the faces meet in all of them."""
    start, end = ring[0], ring[1]
    way = end - start
    length = float(np.linalg.norm(way))
    offset = mesh.vertices[np.unique(mesh.corners)] - start
    along = offset @ way / length
    aside = np.linalg.norm(offset - np.outer(along / length, way), axis=1)
    apart = 1e-6 * length
    between = np.unique(along[(aside <= apart) & (along > apart) & (along < length - apart)])
    return np.concatenate([start[None], start + np.outer(between / length, way), ring[1:]])


def _rim_tabs(rim: Array, inward: bool, width_mm: float) -> list[Array]:
    """Tabs along the edges of a rim, none of them over another or through the rim.

    Parameters
    ----------
    rim : (n, 2, 2) float, mm; edges as they run about the card, its inside on their left
    inward : to the left of the edges, else to their right
    width_mm : how far they reach where there is room

    Returns
    -------
    list of (4, 2) float, the edge first, run backwards
    """
    widths = np.full(len(rim), width_mm)
    corners = np.array([_corners(rim, number, inward) for number in range(len(rim))])
    while True:
        rings = [_ring(edge, corner, inward, width) for edge, corner, width in zip(rim, corners, widths, strict=True)]
        rings = [ring if width >= NARROWEST_MM else None for ring, width in zip(rings, widths, strict=True)]
        fits = np.array([ring is not None for ring in rings])
        shapes = np.array([Polygon(ring) if ring is not None else Polygon() for ring in rings], dtype=object)
        inside = shapely.buffer(shapes, -1e-3)
        lines = shapely.linestrings(rim)
        crossing = np.array([shapely.intersects(lines, shape).any() for shape in inside])
        one, two = shapely.STRtree(inside).query(inside, predicate="intersects")
        meets = np.isin(np.arange(len(rim)), one[one != two])
        wrong = (~fits | crossing | meets) & (widths >= NARROWEST_MM)
        if not wrong.any():
            return [ring for ring in rings if ring is not None]
        widths[wrong] *= 0.85


def _corners(rim: Array, number: int, inward: bool) -> tuple[float, float]:
    """How much a tab is cut back for each mm of its width, at both ends of its edge: half-way to its neighbours."""
    start, end = rim[number]
    along = (end - start) / np.hypot(*(end - start))
    found = []
    for corner, way in ((start, along), (end, -along)):
        others = [edge for index, edge in enumerate(rim) if index != number]
        leaving = [_leaving(edge, corner) for edge in others]
        turns = [_between(way, other, (way is along) == inward) for other in leaving if other is not None]
        nearest = min(turns, default=np.pi)
        found.append(max(_LEAN, 1 / np.tan(nearest / 2)) if nearest < np.pi else _LEAN)
    return found[0], found[1]


def _leaving(edge: Array, corner: Array) -> Array | None:
    """The direction in which an edge leaves a corner, or None where it does not meet it."""
    for here, there in (edge, edge[::-1]):
        if np.hypot(*(here - corner)) < 1e-6 * np.hypot(*(there - here)):
            return np.asarray((there - here) / np.hypot(*(there - here)))
    return None


def _between(way: Array, other: Array, left: bool) -> float:
    """The angle from one direction to another, turned to the left or to the right, 0 to 2 pi."""
    turn = float(np.arctan2(way[0] * other[1] - way[1] * other[0], way @ other))
    return (turn if left else -turn) % (2 * np.pi)


def _ring(edge: Array, corner: tuple[float, float], inward: bool, width: float) -> Array | None:
    """A tab's corners, or None where so wide a one has no room on its edge."""
    start, end = edge
    length = float(np.hypot(*(end - start)))
    along = (end - start) / length
    out = np.array([-along[1], along[0]]) * (1.0 if inward else -1.0)
    first, last = corner[0] * width + _GAP_MM, corner[1] * width + _GAP_MM
    if first + last + 1.0 > length:
        return None
    return np.array([end, start, start + first * along + width * out, end - last * along + width * out])
