"""Meshes to unfold, all our own, made from numbers.

Each function returns a `Mesh` in millimetres. Those with a `rng` are the same for the same generator.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise, product

import numpy as np
import shapely

from geometry.unfold.data import Mesh

__all__ = [
    "SAMPLES",
    "area_of",
    "book",
    "box",
    "cone",
    "creature",
    "extruded",
    "faces_of",
    "frustum",
    "house",
    "icosphere",
    "letter_l",
    "letters",
    "many",
    "merged",
    "mesh_of",
    "moebius",
    "moved",
    "noisy",
    "prism",
    "ring_cube",
    "single",
    "slab",
    "star",
    "terrain",
    "torus",
    "triangles_of",
    "turned_by",
    "voxels",
]  # fmt: skip


def mesh_of(vertices: Iterable[Sequence[float]], faces: Iterable[Sequence[int]], name: str = "model") -> Mesh:
    """A mesh of vertices and faces of any number of corners."""
    listed = [list(map(int, face)) for face in faces]
    corners = np.array([corner for face in listed for corner in face], dtype=np.int64)
    starts = np.concatenate([[0], np.cumsum([len(face) for face in listed])]).astype(np.int64)
    return Mesh(name, np.asarray(list(vertices), dtype=float).reshape(-1, 3), corners, starts)


def faces_of(mesh: Mesh) -> list[list[int]]:
    """The faces as lists of vertex numbers."""
    return [mesh.face(number).tolist() for number in range(len(mesh.starts) - 1)]


def area_of(mesh: Mesh) -> float:
    """Area of all faces, each taken as a fan from its first corner, mm2: right for triangles and flat faces."""
    total = 0.0
    for face in faces_of(mesh):
        points = mesh.vertices[face]
        total += float(np.linalg.norm(np.cross(points[1:-1] - points[0], points[2:] - points[0]).sum(axis=0)) / 2)
    return total


# Changing


def moved(mesh: Mesh, by=(0.0, 0.0, 0.0), scale: float = 1.0, turn=None) -> Mesh:
    """Scaled, turned by a (3, 3) matrix, and moved."""
    vertices = mesh.vertices * scale
    vertices = vertices if turn is None else vertices @ np.asarray(turn).T
    return mesh_of(vertices + np.asarray(by, dtype=float), faces_of(mesh), mesh.name)


def turned_by(rng: np.random.Generator) -> np.ndarray:
    """Any rotation, (3, 3)."""
    basis, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return basis * np.sign(np.linalg.det(basis))


def single(mesh: Mesh) -> Mesh:
    """Rounded to single precision, as most files have it."""
    return mesh_of(mesh.vertices.astype(np.float32).astype(float), faces_of(mesh), mesh.name)


def noisy(mesh: Mesh, rng: np.random.Generator, by: float) -> Mesh:
    """Every vertex moved by chance, by about so many mm."""
    return mesh_of(mesh.vertices + rng.normal(size=mesh.vertices.shape) * by, faces_of(mesh), mesh.name)


def merged(*meshes: Mesh) -> Mesh:
    """Several meshes in one, none of their vertices joined."""
    offsets = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    faces = [
        [v + offset for v in face] for mesh, offset in zip(meshes, offsets[:-1], strict=True) for face in faces_of(mesh)
    ]
    return mesh_of(np.concatenate([mesh.vertices for mesh in meshes]), faces, "several")


def triangles_of(mesh: Mesh, rng: np.random.Generator | None = None) -> Mesh:
    """Every face cut into a fan; from a corner drawn by chance if there is a generator (only for convex faces)."""
    faces = []
    for face in faces_of(mesh):
        turn = 0 if rng is None else int(rng.integers(len(face)))
        first, *rest = face[turn:] + face[:turn]
        faces += [[first, rest[k], rest[k + 1]] for k in range(len(rest) - 1)]
    return mesh_of(mesh.vertices, faces, mesh.name)


# Straight things


def box(a: float = 60.0, b: float = 40.0, c: float = 30.0) -> Mesh:
    """Six rectangles."""
    corners = [(x * a, y * b, z * c) for x, y, z in product((0, 1), repeat=3)]
    sides = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return mesh_of(corners, sides, "box")


def frustum(n: int = 6, low: float = 30.0, high: float = 15.0, height: float = 50.0, *, open_top: bool = False) -> Mesh:
    """Regular polygons below and above, n flat sides; a prism where both are as large."""
    angles = 2 * np.pi * np.arange(n) / n
    ring = np.c_[np.cos(angles), np.sin(angles)]
    vertices = np.r_[np.c_[low * ring, np.zeros(n)], np.c_[high * ring, np.full(n, height)]]
    sides = [[k, (k + 1) % n, n + (k + 1) % n, n + k] for k in range(n)]
    caps = [list(range(n))[::-1]] + ([] if open_top else [list(range(n, 2 * n))])
    return mesh_of(vertices, sides + caps, "frustum")


def prism(n: int = 5, radius: float = 30.0, height: float = 40.0) -> Mesh:
    """A regular prism; a cylinder where n is large."""
    return frustum(n, radius, radius, height)


def cone(n: int = 32, radius: float = 25.0, height: float = 60.0) -> Mesh:
    """n triangles and their base."""
    angles = 2 * np.pi * np.arange(n) / n
    base = np.c_[radius * np.cos(angles), radius * np.sin(angles), np.zeros(n)]
    faces = [[k, (k + 1) % n, n] for k in range(n)] + [list(range(n))[::-1]]
    return mesh_of(np.r_[base, [[0, 0, height]]], faces, "cone")


def extruded(outline: shapely.Polygon, depth: float = 12.0) -> Mesh:
    """An outline with holes, made thick; its front and back are triangles, its walls are rectangles."""
    outline = shapely.geometry.polygon.orient(outline)
    numbers: dict[tuple[float, float], int] = {}
    for ring in (outline.exterior, *outline.interiors):
        for x, y in list(ring.coords)[:-1]:
            numbers.setdefault((x, y), len(numbers))
    n = len(numbers)
    faces: list[list[int]] = []
    for triangle in shapely.constrained_delaunay_triangles(outline).geoms:
        front = [numbers[x, y] for x, y in list(shapely.geometry.polygon.orient(triangle).exterior.coords)[:-1]]
        faces += [[n + corner for corner in front], front[::-1]]
    for ring in (outline.exterior, *outline.interiors):
        walk = [numbers[x, y] for x, y in ring.coords]
        faces += [[a, b, n + b, n + a] for a, b in pairwise(walk)]
    flat = np.array(list(numbers))
    return mesh_of(np.r_[np.c_[flat, np.zeros(n)], np.c_[flat, np.full(n, depth)]], faces, "extruded")


def star(points: int = 5, outer: float = 40.0, inner: float = 16.0) -> Mesh:
    """A thick star."""
    angles = np.pi * np.arange(2 * points) / points
    radii = np.where(np.arange(2 * points) % 2, inner, outer)
    return extruded(shapely.Polygon(np.c_[radii * np.cos(angles), radii * np.sin(angles)]))


def letter_l() -> Mesh:
    """A thick L."""
    return extruded(shapely.Polygon([(0, 0), (40, 0), (40, 15), (15, 15), (15, 60), (0, 60)]), 15.0)


def letters() -> Mesh:
    """A, O and B in blocks: outlines with one and with two holes."""
    a = shapely.Polygon(
        [(0, 0), (10, 0), (14, 12), (28, 12), (32, 0), (42, 0), (26, 50), (16, 50)], [[(17, 20), (21, 34), (25, 20)]]
    )
    o = shapely.Point(70, 25).buffer(24, quad_segs=5).difference(shapely.Point(70, 25).buffer(13, quad_segs=4))
    b = shapely.box(100, 0, 130, 50).difference(shapely.box(108, 8, 122, 20)).difference(shapely.box(108, 28, 122, 42))
    return merged(*(extruded(shape) for shape in (a, o, b)))


def voxels(filled: Iterable[tuple[int, int, int]], step: float = 10.0) -> Mesh:
    """The squares that bound a set of cubes; edges and corners may touch."""
    cubes = set(filled)
    numbers: dict[tuple[int, ...], int] = {}
    faces = []
    for cube in sorted(cubes):
        for axis, up in product(range(3), (0, 1)):
            other = list(cube)
            other[axis] += 2 * up - 1
            if tuple(other) in cubes:
                continue
            square = []
            for first, second in ((0, 0), (1, 0), (1, 1), (0, 1)):
                corner = list(cube)
                corner[axis] += up
                corner[(axis + 1) % 3] += first
                corner[(axis + 2) % 3] += second
                square.append(numbers.setdefault(tuple(corner), len(numbers)))
            faces.append(square if up else square[::-1])
    return mesh_of(np.array(list(numbers), dtype=float) * step, faces, "voxels")


def ring_cube(step: float = 10.0) -> Mesh:
    """A unit cube centred on one face of a 3 x 3 x 3 cube; that face is a square ring."""
    return voxels([*product(range(3), repeat=3), (1, 1, 3)], step)


def house() -> Mesh:
    """Walls with set-in windows and a door, a gabled roof that stands out, a chimney."""
    walls = shapely.box(0, 0, 60, 35).union(shapely.Polygon([(0, 35), (60, 35), (30, 58)]))
    openings = [shapely.box(8, 14, 20, 26), shapely.box(40, 14, 52, 26), shapely.box(25, 0.5, 35, 22)]
    body = extruded(walls.difference(shapely.union_all(openings)), 45.0)
    upright = [(1, 0, 0), (0, 0, -1), (0, 1, 0)]
    roof = extruded(shapely.Polygon([(-6, 31), (30, 60), (66, 31), (66, 34), (30, 63), (-6, 34)]), 53.0)
    chimney = moved(box(7, 7, 22), (42, -20, 44))
    return merged(moved(body, turn=upright), moved(roof, (0, 4, 0), turn=upright), chimney)


def slab(n: int = 6, size: float = 50.0, thin: float = 1e-3) -> Mesh:
    """A box, its large faces a grid of quads, its narrow ones slivers."""
    places = np.linspace(0, size, n + 1)
    vertices = [(x, y, z) for z in (0.0, thin) for x in places for y in places]
    at = lambda i, j, k: k * (n + 1) ** 2 + i * (n + 1) + j  # noqa: E731
    faces = []
    for i, j in product(range(n), repeat=2):
        faces.append([at(i, j, 1), at(i + 1, j, 1), at(i + 1, j + 1, 1), at(i, j + 1, 1)])
        faces.append([at(i, j, 0), at(i, j + 1, 0), at(i + 1, j + 1, 0), at(i + 1, j, 0)])
    for i in range(n):
        faces.append([at(i, 0, 0), at(i + 1, 0, 0), at(i + 1, 0, 1), at(i, 0, 1)])
        faces.append([at(i, n, 0), at(i, n, 1), at(i + 1, n, 1), at(i + 1, n, 0)])
        faces.append([at(0, i, 0), at(0, i, 1), at(0, i + 1, 1), at(0, i + 1, 0)])
        faces.append([at(n, i, 0), at(n, i + 1, 0), at(n, i + 1, 1), at(n, i, 1)])
    return mesh_of(vertices, faces, "slab")


# Round things


def torus(n: int = 12, m: int = 7, large: float = 40.0, small: float = 14.0) -> Mesh:
    """Quads, flat but for rounding."""
    u, v = (2 * np.pi * np.arange(count) / count for count in (n, m))
    radius = large + small * np.cos(v)
    vertices = [(r * np.cos(a), r * np.sin(a), small * np.sin(b)) for a in u for r, b in zip(radius, v, strict=True)]
    at = lambda i, j: (i % n) * m + j % m  # noqa: E731
    faces = [[at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)] for i, j in product(range(n), range(m))]
    return mesh_of(vertices, faces, "torus")


def icosphere(level: int = 2, radius: float = 30.0) -> Mesh:
    """An icosahedron, its faces cut in four so many times, its vertices put on the sphere."""
    golden = (1 + 5**0.5) / 2
    points = [p for s in (-1, 1) for t in (-golden, golden) for p in ((0, s, t), (s, t, 0), (t, 0, s))]
    vertices = [np.array(point) / np.linalg.norm(point) for point in points]
    near = lambda a, b: np.linalg.norm(vertices[a] - vertices[b]) < 1.1  # noqa: E731
    faces = [
        (a, b, c) if np.linalg.det([vertices[a], vertices[b], vertices[c]]) > 0 else (a, c, b)
        for a in range(12) for b in range(a + 1, 12) for c in range(b + 1, 12)
        if near(a, b) and near(b, c) and near(a, c)
    ]  # fmt: skip
    for _ in range(level):
        middles: dict[tuple[int, int], int] = {}

        def middle(a: int, b: int, known: dict[tuple[int, int], int] = middles) -> int:
            key = (min(a, b), max(a, b))
            if key not in known:
                point = vertices[a] + vertices[b]
                known[key] = len(vertices)
                vertices.append(point / np.linalg.norm(point))
            return known[key]

        faces = [
            part
            for a, b, c in faces
            for ab, bc, ca in [(middle(a, b), middle(b, c), middle(c, a))]
            for part in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))
        ]
    return mesh_of(radius * np.array(vertices), faces, "ball")


def creature(level: int = 3, limbs: int = 6, seed: int = 5) -> Mesh:
    """A ball that limbs grow out of, one closed skin."""
    rng = np.random.default_rng(seed)
    ball = icosphere(level, 1.0)
    reach = np.full(len(ball.vertices), 25.0)
    for _ in range(limbs):
        way = rng.normal(size=3)
        way /= np.linalg.norm(way)
        reach += rng.uniform(15, 45) * np.exp(rng.uniform(8, 25) * (ball.vertices @ way - 1))
    return mesh_of(ball.vertices * reach[:, None], faces_of(ball), "creature")


def terrain(n: int = 8, size: float = 90.0, seed: int = 3) -> Mesh:
    """An open sheet of quads that are not flat."""
    rng = np.random.default_rng(seed)
    places = np.linspace(0, size, n + 1)
    x, y = (grid.ravel() for grid in np.meshgrid(places, places, indexing="ij"))
    z = sum(9 * np.sin(rng.uniform(0.03, 0.1) * x + rng.uniform(0.03, 0.1) * y + rng.uniform(0, 6)) for _ in range(4))
    at = lambda i, j: i * (n + 1) + j  # noqa: E731
    faces = [[at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)] for i, j in product(range(n), repeat=2)]
    return mesh_of(np.c_[x, y, z], faces, "terrain")


def moebius(n: int = 24, radius: float = 40.0, width: float = 18.0) -> Mesh:
    """A strip with one side, of triangles."""
    vertices = []
    for k in range(n):
        angle = 2 * np.pi * k / n
        for side in (-0.5, 0.5):
            out = radius + side * width * np.cos(angle / 2)
            vertices.append((out * np.cos(angle), out * np.sin(angle), side * width * np.sin(angle / 2)))
    faces = []
    for k in range(n):
        a, b = 2 * k, 2 * k + 1
        c, d = (2 * k + 2, 2 * k + 3) if k + 1 < n else (1, 0)
        faces += [[a, c, b], [b, c, d]]
    return mesh_of(vertices, faces, "moebius")


def book(pages: int = 3, width: float = 30.0, height: float = 40.0) -> Mesh:
    """Pages that share one edge, which no solid has."""
    vertices = [(0, 0, 0), (0, 0, height)]
    faces = []
    for page in range(pages):
        angle = 2.4 * page / pages
        start = len(vertices)
        tip = (width * np.cos(angle), width * np.sin(angle))
        vertices += [(*tip, 0), (*tip, height)]
        faces.append([0, start, start + 1, 1])
    return mesh_of(vertices, faces, "book")


def many(count: int = 5) -> Mesh:
    """Bodies of all kinds side by side."""
    kinds = [box(), cone(9), star(), letter_l(), icosphere(1), book(), moebius(12), torus(8, 6)]
    return merged(*(moved(kinds[k % len(kinds)], (120 * k, 0, 0)) for k in range(count)))


def _cube_of_a_file() -> Mesh:
    """A cube turned anyhow, as a file of single precision has it."""
    return single(moved(box(10, 10, 10), (0.1, 0.2, 0.3), turn=turned_by(np.random.default_rng(1))))


SAMPLES: dict[str, Callable[[], Mesh]] = {
    "box": box, "cube of a file": _cube_of_a_file, "prism": prism, "frustum": frustum,
    "open frustum": lambda: frustum(8, open_top=True), "cylinder": lambda: prism(48), "cone": cone, "star": star,
    "L": letter_l, "letters": letters, "house": house, "ring cube": ring_cube, "torus": torus,
    "triangulated torus": lambda: triangles_of(torus(), np.random.default_rng(2)), "ball": icosphere,
    "noisy ball": lambda: noisy(icosphere(2), np.random.default_rng(8), 1.5), "creature": creature,
    "terrain": terrain, "moebius": moebius, "book": book, "slab": slab, "many": many,
}  # fmt: skip
