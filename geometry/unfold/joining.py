"""Which triangles are one flat facet: neighbours that lie in one plane."""

from __future__ import annotations

import math

import numpy as np

from ..transforms import Array
from .components import components
from .data import CUT, Flags, Ints
from .repair import Repaired, area_vectors

__all__ = ["halved", "joined"]

Plane = tuple[float, float, float, float]
#: A region may lose this part of its area by being flattened.
_AREA_LOST = 1e-8


def joined(state: Repaired, flat_rad: float) -> Ints:
    """Number of the region of each triangle, (t,) int, counted from 0 in the order of their first triangles.

    Without an angle only what the rounding of coordinates has made uneven is joined: every vertex of a region lies
    within
    that rounding of its plane. With an angle, no triangle of a region bends more than that from the region's plane.

    Parameters
    ----------
    state : Repaired
    flat_rad : radians
    """
    count = len(state.corners)
    vectors = area_vectors(state.vertices, state.corners)
    areas = np.linalg.norm(vectors, axis=1)
    normals = vectors / areas[:, None]
    one = np.flatnonzero(state.twins > np.arange(3 * count))
    one = one[state.marks[one] != CUT]
    other = state.twins[one]
    flat = _flat(state, one, other, normals, areas, flat_rad)
    first, second = one[flat] // 3, other[flat] // 3
    labels = components(count, first, second)
    bad = _uneven(state, labels, vectors, areas, flat_rad)
    if bad.any():
        inside = bad[labels[first]]
        grown = _grown(state, first[inside], second[inside], vectors, flat_rad)
        labels = np.where(bad[labels], grown, labels)
    return np.asarray(np.unique(labels, return_inverse=True)[1].reshape(-1))


def halved(state: Repaired, region: Ints, bad: Flags) -> Ints:
    """Regions of which some are cut in two across their longest axis, and fall into what then hangs together.

    Parameters
    ----------
    state : Repaired
    region : (t,) int, of each triangle
    bad : (n,) bool, the regions to cut
    """
    second = np.zeros(len(region), dtype=bool)
    order = np.argsort(region, kind="stable")
    parts = np.split(order, np.flatnonzero(np.diff(region[order])) + 1)
    for number in np.flatnonzero(bad).tolist():
        middles = state.vertices[state.corners[parts[number]]].mean(axis=1)
        along = middles[:, int(np.argmax(np.ptp(middles, axis=0)))]
        second[parts[number]] = along > np.median(along)
        # where all lie at one place along it, one is as good as another
        second[parts[number][0]] ^= bool((second[parts[number]] == second[parts[number][0]]).all())
    labels = 2 * region + second
    one = np.flatnonzero(state.twins > np.arange(len(state.twins)))
    first, other = one // 3, state.twins[one] // 3
    inside = labels[first] == labels[other]
    apart = components(len(region), first[inside], other[inside])
    # regions that stay keep together what hangs together by corners of theirs only
    apart = np.where(bad[region], apart, len(region) + region)
    return np.asarray(np.unique(apart, return_inverse=True)[1].reshape(-1))


def _flat(state: Repaired, one: Ints, other: Ints, normals: Array, areas: Array, flat_rad: float) -> Flags:
    """At which edges two triangles lie in one plane, (k,) bool."""
    t, s = one // 3, other // 3
    along = np.einsum("ki,ki->k", normals[t], normals[s])
    if flat_rad > 0:
        across = np.linalg.norm(np.cross(normals[t], normals[s]), axis=1)
        steep = np.arctan2(across, along) > flat_rad
    else:
        steep = np.ones(len(t), dtype=bool)
    larger = areas[t] >= areas[s]
    plane, apex_half = np.where(larger, t, s), np.where(larger, other, one)
    apex = state.corners[apex_half // 3, (apex_half + 2) % 3]
    height = state.vertices[apex] - state.vertices[state.corners[plane, 0]]
    off = np.abs(np.einsum("ki,ki->k", height, normals[plane]))
    a, b, c = np.moveaxis(state.vertices[state.corners], 1, 0)
    longest = np.maximum.reduce([np.linalg.norm(p - q, axis=1) for p, q in ((a, b), (b, c), (c, a))])
    width = 2 * areas / longest
    thin = np.minimum(width[t], width[s]) <= 4 * state.rounding_mm
    near = (off <= 2 * state.rounding_mm) & ((along > 0) | thin)
    return np.asarray(near | ~steep)


def _uneven(state: Repaired, labels: Ints, vectors: Array, areas: Array, flat_rad: float) -> Flags:
    """Which components do not lie in one plane, (t,) bool, by label."""
    count = len(labels)
    total = np.bincount(labels, areas, minlength=count)
    normal = np.stack([np.bincount(labels, vectors[:, axis], minlength=count) for axis in range(3)], axis=1)
    left = np.linalg.norm(normal, axis=1)
    unit = normal / np.maximum(left, np.finfo(float).tiny)[:, None]
    if flat_rad > 0:
        cosine = np.einsum("ti,ti->t", vectors, unit[labels]) / areas
        bent = np.bincount(labels, cosine < np.cos(flat_rad), minlength=count) > 0
        alone = np.bincount(labels, minlength=count) == 1
        return np.asarray(bent & ~alone)
    corners = state.vertices[state.corners]
    middle = corners.mean(axis=1)
    centre = np.stack([np.bincount(labels, areas * middle[:, axis], minlength=count) for axis in range(3)], axis=1)
    centre = centre / np.maximum(total, np.finfo(float).tiny)[:, None]
    off = np.abs(np.einsum("tci,ti->tc", corners - centre[labels][:, None], unit[labels])).max(axis=1)
    furthest = np.zeros(count)
    np.maximum.at(furthest, labels, off)
    return np.asarray((furthest > state.rounding_mm) | (total - left > _AREA_LOST * total))


def _grown(state: Repaired, first: Ints, second: Ints, vectors: Array, flat_rad: float) -> Ints:
    """Regions grown from the largest triangles, least triangle of each, (t,) int.

    While a region grows its plane is fitted again; what does not lie in the last plane is left to other regions.
    """
    ground = _Ground(state, first, second, vectors, flat_rad)
    label = np.arange(len(state.corners))
    involved = np.unique(np.concatenate([first, second]))
    free = np.zeros(len(label), dtype=bool)
    free[involved] = True
    open_ = free.tolist()
    for seed in involved[np.argsort(-ground.sizes[involved], kind="stable")].tolist():
        if open_[seed]:
            region = ground.around(seed, open_)
            for triangle in region:
                open_[triangle] = False
            label[region] = min(region)
    return label


class _Ground:
    """Triangles and their neighbours as plain numbers, for walking over them."""

    def __init__(self, state: Repaired, first: Ints, second: Ints, vectors: Array, flat_rad: float) -> None:
        both = np.concatenate([first, second])
        order = np.argsort(both, kind="stable")
        self.ends = np.concatenate([second, first])[order].tolist()
        self.begins = np.searchsorted(both[order], np.arange(len(vectors) + 1)).tolist()
        self.sizes = np.linalg.norm(vectors, axis=1)
        self.vectors, self.normals = vectors.tolist(), (vectors / self.sizes[:, None]).tolist()
        self.places = state.vertices[state.corners].tolist()
        self.near_mm = state.rounding_mm
        # without an angle a triangle may not face the other way, but for the rounding
        self.cosine = math.cos(flat_rad) if flat_rad > 0 else 0.0
        self.by_angle = flat_rad > 0

    def around(self, seed: int, open_: list[bool]) -> list[int]:
        """The region about a triangle."""
        plane = self._plane([seed])
        region, plane = self._walk(seed, open_, plane, fit=True)
        region, _ = self._walk(seed, open_, plane, fit=False)
        return region

    def _walk(self, seed: int, open_: list[bool], plane: Plane, *, fit: bool) -> tuple[list[int], Plane]:
        region, seen, fitted = [seed], {seed}, 1
        for triangle in region:
            if fit and len(region) >= 2 * fitted:
                plane, fitted = self._plane(region), len(region)
            for near in self.ends[self.begins[triangle] : self.begins[triangle + 1]]:
                if open_[near] and near not in seen and self._lies_in(near, plane):
                    seen.add(near)
                    region.append(near)
        return region, self._plane(region) if fit else plane

    def _plane(self, region: list[int]) -> Plane:
        """Unit normal and distance from the origin."""
        vectors = np.array([self.vectors[triangle] for triangle in region])
        normal = vectors.sum(axis=0)
        normal /= np.linalg.norm(normal)
        areas = self.sizes[region]
        centre = areas @ np.array([self.places[triangle] for triangle in region]).mean(axis=1) / areas.sum()
        x, y, z = normal.tolist()
        return x, y, z, float(normal @ centre)

    def _lies_in(self, triangle: int, plane: Plane) -> bool:
        x, y, z, distance = plane
        nx, ny, nz = self.normals[triangle]
        if nx * x + ny * y + nz * z < self.cosine:
            return False
        return self.by_angle or all(
            abs(px * x + py * y + pz * z - distance) <= self.near_mm for px, py, pz in self.places[triangle]
        )
