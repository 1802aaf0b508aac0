"""What covers the facets: the faces of the mesh as triangles that lie on them, each with its surface and its place in
the texture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..files import is_there
from ..transforms import Array
from .data import Facets, Flags, Ints, Mesh, Net, Unfolded
from .faces import Polygons, split_faces
from .triangulating import flat_polygons

__all__ = ["Covering", "NetCovering", "covering_of", "is_covered", "textured"]


@dataclass(frozen=True)
class Covering:
    """Triangles of the faces of a mesh, each on the facet that it became a part of.

    Parameters
    ----------
    facet : (t,) int, the facet that each lies on
    flat : (t, 3, 2) float, mm, in the facet's own plane
    uv : (t, 3, 2) float, or None where the mesh has no texture coordinates
    surface : (t,) int, number of the surface, -1 for plain card
    """

    facet: Ints
    flat: Array
    uv: Array | None
    surface: Ints

    def on_net(self, net: Net) -> NetCovering:
        """The triangles on one net, as they lie there."""
        count = int(max(self.facet.max(initial=-1), net.facets.max(initial=-1))) + 1
        position = np.full(count, -1)
        position[net.facets] = np.arange(len(net.facets))
        mine = np.flatnonzero(position[self.facet] >= 0)
        at = position[self.facet[mine]]
        placed = net.placed[at]
        places = np.einsum("tci,tji->tcj", self.flat[mine], placed[:, :, :2]) + placed[:, None, :, 2]
        return NetCovering(at, places, None if self.uv is None else self.uv[mine], self.surface[mine])


@dataclass(frozen=True)
class NetCovering:
    """The triangles on one net.

    Parameters
    ----------
    position : (t,) int, which of the net's facets each lies on
    places : (t, 3, 2) float, mm, on the net
    uv, surface : as in Covering
    """

    position: Ints
    places: Array
    uv: Array | None
    surface: Ints


def is_covered(unfolded: Unfolded) -> bool:
    """Whether anything is printed on the nets at all."""
    mesh = unfolded.facets.mesh
    return mesh.surface_of is not None and any(
        surface.color is not None or surface.texture is not None for surface in mesh.surfaces
    )


def textured(mesh: Mesh) -> Flags:
    """Of each surface whether its picture can be looked up, and at the end False for plain card, (s + 1,) bool."""
    has = [mesh.uv is not None and each.texture is not None and is_there(each.texture) for each in mesh.surfaces]
    return np.array([*has, False])


def covering_of(facets: Facets) -> Covering:
    """Lay the faces of the mesh on the facets that they became.

    Parameters
    ----------
    facets : Facets

    Returns
    -------
    Covering. A face that is not flat lies on several facets: each of its triangles on the one that it is nearest to
    """
    mesh = facets.mesh
    counts = np.array([len(each) for each in facets.source])
    owners, faces = np.repeat(np.arange(len(counts)), counts), np.concatenate(facets.source)
    used = np.unique(faces)
    corners, source = _triangles(mesh, used)
    order = np.argsort(faces, kind="stable")
    owners, faces = owners[order], faces[order]
    first, last = np.searchsorted(faces, source, "left"), np.searchsorted(faces, source, "right")
    facet = owners[first]
    several = np.flatnonzero(last - first > 1)
    if len(several):
        facet[several] = _nearest(facets, mesh.vertices[mesh.corners[corners[several]]], owners, first, last, several)
    frames = facets.frames[facet]
    moved = mesh.vertices[mesh.corners[corners]] - frames[:, None, :3, 3]
    flat = np.einsum("tci,tij->tcj", moved, frames[:, :3, :2])
    surface = np.full(len(source), -1) if mesh.surface_of is None else mesh.surface_of[source]
    return Covering(facet, flat, None if mesh.uv is None else mesh.uv[corners], surface)


def _triangles(mesh: Mesh, used: Ints) -> tuple[Ints, Ints]:
    """Triangles of faces as numbers of corners of the mesh, (t, 3) int, and the face of each."""
    sizes = np.diff(mesh.starts)[used]
    ends = np.cumsum(sizes)
    within = np.arange(int(ends[-1])) - np.repeat(ends - sizes, sizes)
    numbers = np.repeat(mesh.starts[used], sizes) + within
    soup, _ = split_faces(mesh.vertices, Polygons(mesh.corners[numbers], np.concatenate([[0], ends]), used))
    # A face knows its corners by their vertices.
    keys = np.repeat(used, sizes) * len(mesh.vertices) + mesh.corners[numbers]
    order = np.argsort(keys, kind="stable")
    wanted = soup.source[:, None] * len(mesh.vertices) + soup.corners
    return numbers[order[np.searchsorted(keys[order], wanted)]], soup.source


def _nearest(facets: Facets, places: Array, owners: Ints, first: Ints, last: Ints, several: Ints) -> Ints:
    """Of triangles of faces that lie on several facets the one that each is nearest to, (k,) int."""
    counts = (last - first)[several]
    starts = np.cumsum(counts) - counts
    which = np.repeat(np.arange(len(several)), counts)
    tried = owners[np.repeat(first[several], counts) + np.arange(len(which)) - np.repeat(starts, counts)]
    frames = facets.frames[tried]
    moved = places[which] - frames[:, None, :3, 3]
    off = np.abs(np.einsum("nci,ni->nc", moved, frames[:, :3, 2])).max(axis=1)
    middles = np.einsum("nci,nij->ncj", moved, frames[:, :3, :2]).mean(axis=1)
    needed, index = np.unique(tried, return_inverse=True)
    shapes = flat_polygons([facets.flat[number] for number in needed.tolist()])
    beside = shapely.distance(shapes[index.reshape(-1)], shapely.points(middles))
    best = np.lexsort((off + beside, which))
    return np.asarray(tried[best[starts]])
