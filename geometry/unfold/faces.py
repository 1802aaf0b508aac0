"""Faces of any number of corners cut into triangles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..transforms import Array
from .data import Ints
from .triangulating import triangulated

__all__ = ["Polygons", "TriangleSoup", "plane_axes", "simple_loops", "split_faces"]


@dataclass(frozen=True)
class Polygons:
    """Faces with their corners one after the other, as in a Mesh; no corner is the same as the next one.

    Parameters
    ----------
    corners : (c,) int, vertex numbers
    starts : (f + 1,) int
    source : (f,) int, numbers of the faces of the mesh
    """

    corners: Ints
    starts: Ints
    source: Ints


@dataclass(frozen=True)
class TriangleSoup:
    """Triangles and the face of the mesh that each comes from.

    Parameters
    ----------
    corners : (t, 3) int, vertex numbers
    source : (t,) int
    """

    corners: Ints
    source: Ints


def plane_axes(normals: Array) -> tuple[Array, Array]:
    """Two axes of planes with such unit normals: x, y and the normal are right-handed.

    Parameters
    ----------
    normals : (n, 3) float

    Returns
    -------
    x, y : (n, 3) float, unit vectors
    """
    least = np.argmin(np.abs(normals), axis=1)
    x = np.cross(np.eye(3)[least], normals)
    x /= np.linalg.norm(x, axis=1)[:, None]
    return x, np.asarray(np.cross(normals, x))


def split_faces(vertices: Array, faces: Polygons) -> tuple[TriangleSoup, Ints]:
    """Cut faces into triangles.

    Quads take the diagonal about which they bend less, of two equal ones the shorter; larger faces are cut in their
    best
    plane. A face that uses an edge twice, once each way, has holes.

    Parameters
    ----------
    vertices : (v, 3) float, mm
    faces : Polygons

    Returns
    -------
    TriangleSoup, and the numbers in the mesh of the faces that cross themselves and were cut as a fan
    """
    sizes = np.diff(faces.starts)
    begins = faces.starts[:-1]
    three, four = np.flatnonzero(sizes == 3), np.flatnonzero(sizes == 4)
    corners = [faces.corners[begins[three][:, None] + np.arange(3)]]
    source = [faces.source[three]]
    quads = faces.corners[begins[four][:, None] + np.arange(4)]
    corners.append(_split_quads(vertices, quads).reshape(-1, 3))
    source.append(np.repeat(faces.source[four], 2))
    large = np.flatnonzero(sizes > 4)
    crossing = np.zeros(0, dtype=np.int64)
    if len(large):
        cut, of, crossing = _split_large(vertices, [faces.corners[begins[n] : faces.starts[n + 1]] for n in large])
        corners.append(cut)
        source.append(faces.source[large][of])
        crossing = faces.source[large][crossing]
    order = np.argsort(np.concatenate(source), kind="stable")
    return TriangleSoup(np.concatenate(corners)[order], np.concatenate(source)[order]), crossing


def _split_quads(vertices: Array, quads: Ints) -> Ints:
    """(q, 2, 3) int: the two triangles of each quad."""
    ways = np.stack([quads[:, [0, 1, 2, 0, 2, 3]], quads[:, [1, 2, 3, 1, 3, 0]]], axis=1).reshape(-1, 2, 2, 3)
    a, b, c = np.moveaxis(vertices[ways], -2, 0)
    areas = np.cross(b - a, c - a)
    lengths = np.linalg.norm(areas, axis=-1)
    along = np.einsum("qwi,qwi->qw", areas[:, :, 0], areas[:, :, 1])
    bend = 1 - along / np.maximum(lengths.prod(axis=-1), np.finfo(float).tiny)
    # a sliver tells nothing about the bend: it counts as badly as a face folded back
    thin = lengths.min(axis=-1) <= 1e-9 * lengths.max(axis=(1, 2))[:, None]
    bend = np.where(thin, 2.0, bend)
    diagonals = np.linalg.norm(vertices[quads[:, [0, 1]]] - vertices[quads[:, [2, 3]]], axis=2)
    shorter = np.argmin(diagonals, axis=1)
    other = 1 - shorter
    rows = np.arange(len(quads))
    chosen = np.where(bend[rows, other] < bend[rows, shorter] - 1e-9, other, shorter)
    return np.asarray(ways[rows, chosen])


def _split_large(vertices: Array, faces: Sequence[Ints]) -> tuple[Ints, Ints, Ints]:
    """Triangles, the number of the face of each, and the numbers of the faces that could only be cut as a fan."""
    rings: list[list[Ints]] = []
    flat: list[list[Array]] = []
    of: list[int] = []
    normals = np.array([_area_vector(vertices[face]) for face in faces])
    lengths = np.linalg.norm(normals, axis=1)
    normals[lengths > 0] /= lengths[lengths > 0][:, None]
    normals[lengths == 0] = (0.0, 0.0, 1.0)
    xs, ys = plane_axes(normals)
    for number, face in enumerate(faces):
        axes = np.stack([xs[number], ys[number]], axis=1)
        for polygon in _with_holes(face, (vertices[face] - vertices[face[0]]) @ axes):
            rings.append([face[ring] for ring, _ in polygon])
            flat.append([places for _, places in polygon])
            of.append(number)
    of_polygon = np.array(of, dtype=np.int64)
    triangles, within, done = triangulated(rings, flat)
    bad = np.unique(of_polygon[~done])
    good = ~np.isin(of_polygon[within], bad)
    fans = [np.stack([np.full(len(face) - 2, face[0]), face[1:-1], face[2:]], 1) for face in (faces[n] for n in bad)]
    numbers = [np.full(len(fan), number) for fan, number in zip(fans, bad, strict=True)]
    return (
        np.concatenate([triangles[good], *fans]),
        np.concatenate([of_polygon[within[good]], *numbers]).astype(np.int64),
        bad,
    )


def _area_vector(points: Array) -> Array:
    moved = points - points[0]
    return np.asarray(np.cross(moved, np.roll(moved, -1, axis=0)).sum(axis=0) / 2)


def _with_holes(face: Ints, places: Array) -> list[list[tuple[Ints, Array]]]:
    """A face as polygons with their rings as positions in the face: it is parted where it comes back to a vertex."""
    if len(np.unique(face)) == len(face):
        return [[(np.arange(len(face)), places)]]
    loops = [np.array(loop) for loop in simple_loops(face.tolist()) if len(loop) > 2]
    areas = [_signed_area(places[loop]) for loop in loops]
    outer = [loop for loop, area in zip(loops, areas, strict=True) if area > 0]
    holes = [loop for loop, area in zip(loops, areas, strict=True) if area < 0]
    polygons = [[(loop, places[loop])] for loop in outer]
    for hole in holes:
        for polygon in polygons:
            if _around(polygon[0][1], places[hole]):
                polygon.append((hole, places[hole]))
                break
        else:
            return [[(np.arange(len(face)), places)]]
    return polygons


def simple_loops(walk: Sequence[int]) -> list[list[int]]:
    """Part a closed walk at every vertex that it comes back to; positions in the walk.

    >>> simple_loops([7, 8, 9, 7, 5, 6])
    [[0, 1, 2], [3, 4, 5]]
    """
    loops: list[list[int]] = []
    stack: list[int] = []
    at: dict[int, int] = {}
    for position, vertex in enumerate(walk):
        if vertex in at:
            loops.append(stack[at[vertex] :])
            for left in stack[at[vertex] :]:
                del at[walk[left]]
            del stack[len(stack) - len(loops[-1]) :]
        at[vertex] = len(stack)
        stack.append(position)
    return [*loops, stack]


def _signed_area(places: Array) -> float:
    x, y = places.T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def _around(outline: Array, places: Array) -> bool:
    """Whether the middle of a ring's corners that are no corners of the outline lies in the outline."""
    x, y = places[0] if len(places) else (0.0, 0.0)
    for x, y in places:
        if not (outline == (x, y)).all(axis=1).any():
            break
    x1, y1 = outline.T
    x2, y2 = np.roll(outline, -1, axis=0).T
    straddles = (y1 > y) != (y2 > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        right = x < (x2 - x1) * (y - y1) / (y2 - y1) + x1
    return bool(np.count_nonzero(straddles & right) % 2)
