"""Meshes by chance: hulls, blobs, extrusions, blocks, sheets and crowds; turned, damaged, tiny, huge, far off."""

from __future__ import annotations

import numpy as np
import shapely
from scipy.spatial import ConvexHull

from geometry.unfold.cut_options import CutOptions
from geometry.unfold.data import Facets, Mesh

from . import unfold_meshes as meshes
from .unfold_damage import DAMAGES, damaged

__all__ = ["area_faults", "random_mesh"]

Rng = np.random.Generator


def _hull(rng: Rng) -> Mesh:
    """A convex hull, of round or flat clouds of points."""
    points = rng.normal(size=(int(rng.integers(4, 60)), 3)) * rng.uniform(1, 40, size=3)
    if rng.random() < 0.5:
        points /= np.linalg.norm(points, axis=1, keepdims=True) / 30
    hull = ConvexHull(points)
    middle = points[hull.vertices].mean(axis=0)
    faces = []
    for face in hull.simplices.tolist():
        a, b, c = points[face] - middle
        faces.append(face if np.linalg.det([a, b, c]) > 0 else face[::-1])
    return meshes.mesh_of(points, faces, "hull")


def _blob(rng: Rng) -> Mesh:
    return meshes.creature(int(rng.integers(1, 4)), int(rng.integers(1, 8)), int(rng.integers(1 << 30)))


def _rough(rng: Rng) -> Mesh:
    return meshes.noisy(meshes.icosphere(int(rng.integers(0, 3))), rng, float(rng.uniform(0.1, 8)))


def _extrusion(rng: Rng) -> Mesh:
    """A ragged outline, with holes as they come."""
    count = int(rng.integers(3, 24))
    angles = np.sort(rng.uniform(0, 2 * np.pi, count)) if rng.random() < 0.5 else 2 * np.pi * np.arange(count) / count
    radii = rng.uniform(8, 40, count)
    outline = shapely.Polygon(np.c_[radii * np.cos(angles), radii * np.sin(angles)])
    outline = max(shapely.get_parts(shapely.make_valid(outline)), key=lambda part: part.area)
    for _ in range(int(rng.integers(0, 4))):
        hole = shapely.Point(*rng.uniform(-15, 15, 2)).buffer(
            float(rng.uniform(1, 6)), quad_segs=int(rng.integers(1, 4))
        )
        if outline.contains_properly(hole):
            outline = outline.difference(hole)
    return meshes.extruded(shapely.Polygon(outline.exterior, outline.interiors), float(rng.uniform(0.5, 50)))


def _blocks(rng: Rng) -> Mesh:
    """Cubes that touch at faces, edges and corners: coplanar patches, rings, edges of four faces."""
    side = int(rng.integers(2, 5))
    filled = np.argwhere(rng.random((side, side, side)) < rng.uniform(0.2, 0.8))
    return meshes.voxels([tuple(map(int, cube)) for cube in filled] or [(0, 0, 0)], float(rng.uniform(2, 20)))


def _revolved(rng: Rng) -> Mesh:
    """A profile turned about an axis in steps, open or closed."""
    n, m = int(rng.integers(3, 20)), int(rng.integers(2, 9))
    radii, heights = rng.uniform(3, 30, m), np.sort(rng.uniform(0, 80, m))
    angles = 2 * np.pi * np.arange(n) / n
    vertices = [(r * np.cos(a), r * np.sin(a), z) for r, z in zip(radii, heights, strict=True) for a in angles]
    faces = [
        [i * n + k, i * n + (k + 1) % n, (i + 1) * n + (k + 1) % n, (i + 1) * n + k]
        for i in range(m - 1)
        for k in range(n)
    ]
    if rng.random() < 0.6:
        faces += [list(range(n))[::-1], [(m - 1) * n + k for k in range(n)]]
    return meshes.mesh_of(vertices, faces, "revolved")


def _sheet(rng: Rng) -> Mesh:
    kinds = [
        lambda: meshes.terrain(int(rng.integers(2, 12)), 60.0, int(rng.integers(1 << 30))),
        lambda: meshes.moebius(int(rng.integers(3, 40))),
        lambda: meshes.book(int(rng.integers(2, 7))),
        lambda: meshes.slab(int(rng.integers(1, 6)), 50.0, float(10.0 ** rng.uniform(-7, 1))),
    ]
    return kinds[int(rng.integers(len(kinds)))]()


def _sample(rng: Rng) -> Mesh:
    names = [name for name in meshes.SAMPLES if name not in ("many", "creature", "cylinder")]
    return meshes.SAMPLES[names[int(rng.integers(len(names)))]]()


def _soup(rng: Rng) -> Mesh:
    """Triangles anywhere among few vertices: edges of many faces, faces on each other."""
    points = rng.normal(size=(int(rng.integers(3, 9)), 3)) * 20
    if rng.random() < 0.3:
        points[:, 2] = 0
    faces = [rng.choice(len(points), 3, replace=False) for _ in range(int(rng.integers(1, 20)))]
    return meshes.mesh_of(points, faces, "soup")


def _crowd(rng: Rng) -> Mesh:
    kinds = [_hull, _extrusion, _blocks, _sheet]
    chosen = [kinds[int(rng.integers(len(kinds)))] for _ in range(int(rng.integers(2, 7)))]
    return meshes.merged(*(meshes.moved(kind(rng), rng.normal(size=3) * 60) for kind in chosen))


KINDS = [_hull, _blob, _rough, _extrusion, _blocks, _revolved, _sheet, _sample, _soup, _crowd]


def random_mesh(seed: int) -> tuple[str, Mesh, CutOptions]:
    """What it is, the mesh, and how it is to be cut; the same for the same seed."""
    rng = np.random.default_rng(seed)
    kind = KINDS[seed % len(KINDS)]
    mesh, words = kind(rng), [kind.__name__[1:]]
    if rng.random() < 0.2 and kind not in (_extrusion, _blocks, _sample):
        mesh, words = meshes.triangles_of(mesh, rng), [*words, "triangles"]
    if rng.random() < 0.6:
        mesh, words = meshes.moved(mesh, turn=meshes.turned_by(rng)), [*words, "turned"]
    if rng.random() < 0.25:
        scale = float(10.0 ** rng.uniform(-5, 5))
        mesh, words = meshes.moved(mesh, scale=scale), [*words, f"x{scale:.3g}"]
    if rng.random() < 0.2:
        away = float(10.0 ** rng.uniform(0, 3)) * mesh.size_mm
        mesh, words = meshes.moved(mesh, rng.normal(size=3) * away), [*words, f"at {away:.3g}"]
    for _ in range(int(rng.integers(0, 3)) if rng.random() < 0.4 else 0):
        damage = sorted(DAMAGES)[int(rng.integers(len(DAMAGES)))]
        mesh, words = damaged(mesh, damage, rng), [*words, damage]
    if rng.random() < 0.3:
        mesh, words = meshes.single(mesh), [*words, "single"]
    preset = ("fewest", "shortest", "compact")[int(rng.integers(3))]
    room = None
    if rng.random() < 0.3 and mesh.size_mm > 0:
        low = float(mesh.size_mm * rng.uniform(0.3, 2.0))
        room, words = (low, 1.414 * low), [*words, "room"]
    return " ".join(words), mesh, CutOptions(preset=preset, room_mm=room)


def area_faults(mesh: Mesh, facets: Facets, words: str) -> list[str]:
    """Whether the facets have the area of the mesh, where nothing was wrong with it and its faces are flat."""
    if {"sheet", "soup", "crowd"} & set(words.split()) or set(DAMAGES) & set(words.split()):
        return []
    if len(facets.source) and any(note.code not in ("turned", "crossing") for note in facets.notes):
        return []
    area = meshes.area_of(mesh)
    found = float(facets.areas_mm2.sum())
    return [] if abs(found - area) <= 1e-9 * area else [f"the facets have {found:.12g} mm2, the mesh {area:.12g}"]
