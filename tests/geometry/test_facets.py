"""Any mesh as flat facets: what must hold of all of them, and what is known of some.

Areas, volumes and adjacency are compared with trimesh, which is no part of the core.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from geometry.errors import HingeleafError
from geometry.unfold.data import AVOID, CUT, FREE, KEEP, Mesh
from geometry.unfold.facets import facets_of
from geometry.unfold.mesh_options import MeshOptions
from tests.counting import calls_of


def mesh_from(vertices, faces, **more):
    sizes = [len(face) for face in faces]
    corners = np.array([corner for face in faces for corner in face], dtype=np.int64)
    starts = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    return Mesh("model", np.asarray(vertices, dtype=float), corners, starts, **more)


def from_trimesh(mesh):
    return mesh_from(mesh.vertices, mesh.faces.tolist())


def turned(mesh):
    """A copy turned and moved, so that nothing lies along an axis."""
    copy = mesh.copy()
    copy.apply_transform(trimesh.transformations.euler_matrix(0.3, 0.5, 0.7))
    copy.apply_translation((3.0, -2.0, 5.0))
    return copy


def holds(facets, area=None, *, exact=True):
    """Check everything that a Facets promises, from its numbers alone; not exact where it was flattened by an angle."""
    size, count = facets.size_mm, len(facets.rings)
    assert len(facets.frames) == len(facets.flat) == len(facets.source) == count
    polygons = [shapely.Polygon(rings[0], rings[1:]) for rings in facets.flat]
    segments = {}
    for number, (rings, flat, frame) in enumerate(zip(facets.rings, facets.flat, facets.frames, strict=True)):
        assert np.allclose(frame[:3, :3].T @ frame[:3, :3], np.eye(3), atol=1e-12)
        assert np.linalg.det(frame[:3, :3]) == pytest.approx(1)
        assert polygons[number].is_valid
        for position, (ring, places) in enumerate(zip(rings, flat, strict=True)):
            assert len(set(ring.tolist())) == len(ring) >= 3
            lifted = np.c_[places, np.zeros(len(places)), np.ones(len(places))] @ frame.T
            assert not exact or np.abs(lifted[:, :3] - facets.vertices[ring]).max() <= 1e-6 * size
            assert shapely.LinearRing(places).is_ccw == (position == 0)
            for start, end in pairwise([*ring.tolist(), int(ring[0])]):
                assert (start, end, number) not in segments
                segments[start, end, number] = False
    for (start, end), (one, other), bend in zip(
        facets.edges.tolist(), facets.sides.tolist(), facets.bends, strict=True
    ):
        sides = [(start, end, one)] + ([(end, start, other)] if other >= 0 else [])
        for side in sides:
            assert segments[side] is False
            segments[side] = True
        assert other >= 0 or bend == 0
        assert one != other
    assert all(segments.values())
    areas = np.array([polygon.area for polygon in polygons])
    assert not exact or facets.areas_mm2 == pytest.approx(areas, rel=1e-9, abs=1e-12 * size**2)
    within = shapely.area(polygons).sum()
    if area is not None:
        assert within == pytest.approx(area, rel=1e-9)
    assert set(np.unique(facets.triangles)) == set(range(len(facets.vertices)))
    return facets


def bends_of(facets):
    """Bend of each pair of facets, counted, to six places."""
    inner = facets.sides[:, 1] >= 0
    return sorted(np.round(facets.bends[inner], 6).tolist())


SOLIDS = {  # Euclid XIII; dihedral angles as in Coxeter, Regular Polytopes, table I
    "tetrahedron": (4, 6, 4, 70.528779),
    "cube": (6, 12, 8, 90.0),
    "octahedron": (8, 12, 6, 109.471221),
    "dodecahedron": (12, 30, 20, 116.565051),
    "icosahedron": (20, 30, 12, 138.189685),
}


def solid(name):
    """Triangles of the convex hull of a Platonic solid's corners."""
    golden = (1 + 5**0.5) / 2
    cube = [(x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]
    cyclic = lambda a, b: [p for s in (-a, a) for t in (-b, b) for p in ((0, s, t), (s, t, 0), (t, 0, s))]  # noqa: E731
    corners = {
        "tetrahedron": [(1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1)],
        "cube": cube,
        "octahedron": [p for s in (-1, 1) for p in ((s, 0, 0), (0, s, 0), (0, 0, s))],
        "dodecahedron": cube + cyclic(1 / golden, golden),
        "icosahedron": cyclic(1, golden),
    }[name]
    return trimesh.convex.convex_hull(np.array(corners, dtype=float) * 20)


@pytest.mark.parametrize("single", [False, True], ids=["double", "single"])
@pytest.mark.parametrize("name", SOLIDS)
def test_platonic_solids_have_their_faces(name, single):
    mesh = turned(solid(name))
    if single:
        mesh.vertices = mesh.vertices.astype(np.float32)
    facets = holds(facets_of(from_trimesh(mesh)), mesh.area)
    faces, edges, vertices, dihedral = SOLIDS[name]
    assert (len(facets.rings), len(facets.edges), len(facets.vertices)) == (faces, edges, vertices)
    assert 180 - np.degrees(facets.bends) == pytest.approx(np.full(edges, dihedral), abs=1e-4)
    assert facets.notes == ()


@pytest.mark.parametrize("single", [False, True], ids=["double", "single"])
def test_a_subdivided_box_is_a_box(single):
    mesh = trimesh.creation.box((30, 40, 50)).subdivide().subdivide().subdivide()
    mesh = turned(mesh)
    if single:
        mesh.vertices = mesh.vertices.astype(np.float32)
    facets = holds(facets_of(from_trimesh(mesh)), mesh.area)
    assert (len(facets.rings), len(facets.edges), len(facets.vertices)) == (6, 12, 8)
    assert sum(len(faces) for faces in facets.source) == len(mesh.faces)
    assert sorted(np.concatenate(facets.source).tolist()) == list(range(len(mesh.faces)))
    assert sorted(facets.lengths_mm) == pytest.approx(sorted([30, 40, 50] * 4), rel=1e-6)


def test_bends_of_any_mesh_agree_with_trimesh():
    mesh = turned(trimesh.creation.torus(20, 7, major_sections=12, minor_sections=9))
    mesh.vertices += np.random.default_rng(7).normal(0, 0.4, mesh.vertices.shape)
    facets = holds(facets_of(from_trimesh(mesh)), mesh.area)
    assert len(facets.rings) == len(mesh.faces)
    signs = np.where(mesh.face_adjacency_convex, 1, -1)
    expected = {
        tuple(pair): angle
        for pair, angle in zip(mesh.face_adjacency.tolist(), signs * mesh.face_adjacency_angles, strict=True)
    }
    for (one, other), bend in zip(facets.sides.tolist(), facets.bends.tolist(), strict=True):
        faces = sorted((int(facets.source[one][0]), int(facets.source[other][0])))
        assert bend == pytest.approx(expected.pop(tuple(faces)), abs=1e-6)
    assert not expected


SQUARE = [(0, 0, 0), (30, 0, 0), (30, 30, 0), (0, 30, 0)]
WINDOW = [(10, 10, 0), (10, 20, 0), (20, 20, 0), (20, 10, 0)]
RING = [(0, 1, 7, 4), (1, 2, 6, 7), (2, 3, 5, 6), (3, 0, 4, 5)]


@pytest.mark.parametrize("faces", [[(0, 1, 2, 3, 0, 4, 5, 6, 7, 4)], RING], ids=["keyhole", "ring of faces"])
def test_a_face_with_a_window_is_one_facet_with_two_rings(faces):
    facets = holds(facets_of(mesh_from(SQUARE + WINDOW, faces)), 800)
    (rings,) = facets.rings
    assert [len(ring) for ring in rings] == [4, 4]
    assert np.abs(facets.vertices[rings[1]] - 15).max(axis=0) == pytest.approx([5, 5, 15])
    assert len(facets.edges) == 8
    assert (facets.sides[:, 1] == -1).all()


def test_a_keyhole_whose_bridge_has_corners_of_its_own_is_welded():
    vertices = SQUARE + WINDOW + [SQUARE[0], WINDOW[0]]
    facets = holds(facets_of(mesh_from(vertices, [(0, 1, 2, 3, 8, 4, 5, 6, 7, 9)])), 800)
    assert [len(ring) for ring in facets.rings[0]] == [4, 4]
    assert [note.code for note in facets.notes] == ["welded"]


def test_two_windows_and_one_touching_the_outline_in_a_corner():
    outline = shapely.Polygon(
        [(0, 0), (60, 0), (60, 30), (0, 30)],
        [[(10, 10), (10, 20), (20, 20), (20, 10)], [(60, 30), (50, 25), (55, 20)], [(30, 10), (40, 20), (40, 10)]],
    )
    pieces = shapely.get_parts(shapely.constrained_delaunay_triangles(outline))
    places = shapely.get_coordinates(pieces).reshape(-1, 4, 2)[:, :3].reshape(-1, 2)
    vertices = np.c_[places, np.zeros(len(places))]
    facets = holds(facets_of(mesh_from(vertices, np.arange(len(places)).reshape(-1, 3).tolist())), outline.area)
    assert len(facets.rings[0][0]) == 4
    assert sorted(len(ring) for ring in facets.rings[0][1:]) == [3, 3, 4]


def test_regions_that_meet_in_a_corner_are_two_facets():
    vertices = [(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0), (20, 10, 0), (20, 20, 0), (10, 20, 0)]
    facets = holds(facets_of(mesh_from(vertices, [(0, 1, 2, 3), (2, 4, 5, 6)])), 200)
    assert len(facets.rings) == 2


def test_a_concave_face_of_many_corners_keeps_its_outline():
    angles = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    radii = np.where(np.arange(24) % 2, 8, 20)
    star = np.c_[radii * np.cos(angles), radii * np.sin(angles), np.full(24, 3.0)]
    mesh = mesh_from(star, [list(range(24))])
    facets = holds(facets_of(mesh), shapely.Polygon(star[:, :2]).area)
    assert [len(rings[0]) for rings in facets.rings] == [24]
    assert len(facets.triangles) == 22


def test_corners_in_a_line_are_left_out_on_both_sides():
    """A roof of two faces whose ridge has a corner in its middle, and which has corners along its eaves."""
    vertices = [(0, 0, 0), (5, 0, 0), (10, 0, 0), (10, 5, 5), (5, 5, 5), (0, 5, 5), (10, 10, 0), (0, 10, 0)]
    facets = holds(facets_of(mesh_from(vertices, [(0, 1, 2, 3, 4, 5), (5, 4, 3, 6, 7)])), 2 * 10 * 50**0.5)
    assert [len(rings[0]) for rings in facets.rings] == [4, 4]
    assert len(facets.edges) == 7
    inner = facets.sides[:, 1] >= 0
    assert facets.bends[inner] == pytest.approx([np.pi / 2])
    assert facets.lengths_mm[inner] == pytest.approx([10])


def test_what_is_not_flat_is_split_at_the_better_diagonal():
    """A quad folded along one diagonal keeps that one though the other is shorter."""
    vertices = [(0, 0, 0), (10, 0, 4), (11, 11, 0), (0, 10, 4)]
    facets = holds(facets_of(mesh_from(vertices, [(0, 1, 2, 3)])))
    assert len(facets.rings) == 2
    (note,) = facets.notes
    assert (note.code, note.faces) == ("not-flat", (0,))
    inner = facets.edges[facets.sides[:, 1] >= 0]
    diagonals = [frozenset((0, 2)), frozenset((1, 3))]
    bends = []
    for one, other in diagonals:
        left, right = sorted({0, 1, 2, 3} - {one, other})
        a, b, c, d = (np.array(vertices[n], dtype=float) for n in (one, other, left, right))
        up, down = np.cross(b - a, c - a), np.cross(d - a, b - a)
        bends.append(up @ down / np.linalg.norm(up) / np.linalg.norm(down))
    assert frozenset(inner[0].tolist()) == diagonals[int(np.argmax(bends))]


def test_a_saddle_of_many_corners_becomes_triangles_that_cover_it():
    angles = np.linspace(0, 2 * np.pi, 9, endpoint=False)
    rim = np.c_[20 * np.cos(angles), 20 * np.sin(angles), 3 * np.sin(2 * angles)]
    facets = holds(facets_of(mesh_from(rim, [list(range(9))])))
    assert len(facets.rings) == 7
    assert (facets.sides[:, 1] == -1).sum() == 9


def test_a_large_angle_flattens_without_going_round_a_curve():
    mesh = trimesh.creation.cylinder(radius=20, height=50, sections=90)
    exact = facets_of(from_trimesh(mesh))
    assert len(exact.rings) == 92
    facets = facets_of(from_trimesh(mesh), MeshOptions(flat_deg=10))
    bends = np.degrees(np.abs(facets.bends))
    assert 10 <= len(facets.rings) - 2 <= 36
    normals = facets.frames[:, :3, 2]
    for number, faces in enumerate(facets.source):
        away = np.degrees(np.arccos(np.clip(mesh.face_normals[faces] @ normals[number], -1, 1)))
        assert away.max() <= 10 + 3
    (note,) = [note for note in facets.notes if note.code == "flattened"]
    assert note.severity == "warning"
    assert "mm" in note.text
    assert bends.max() < 91
    holds(facets)


def test_a_small_dent_is_flattened_only_when_asked():
    grid = np.array([(x, y, 0.05 * (x == y == 2)) for y in range(5) for x in range(5)], dtype=float) * [10, 10, 1]
    faces = [(r * 5 + c, r * 5 + c + 1, r * 5 + c + 6, r * 5 + c + 5) for r in range(4) for c in range(4)]
    assert len(facets_of(mesh_from(grid, faces)).rings) > 1
    facets = holds(facets_of(mesh_from(grid, faces), MeshOptions(flat_deg=2)))
    assert len(facets.rings) == 1
    (note,) = [note for note in facets.notes if note.code == "flattened"]
    assert "0.05 mm" in note.text or "0.04" in note.text


def test_marks_stay_with_their_edges():
    mesh = trimesh.creation.box((10, 10, 10))
    plain = mesh_from(mesh.vertices, mesh.faces.tolist())
    edges = facets_of(plain).edges
    diagonal = mesh.face_adjacency_edges[mesh.face_adjacency_angles < 0.1]
    first = [tuple(edge) for edge in edges.tolist()]
    marked = np.array([first[0][::-1], first[1], first[2], diagonal[0], diagonal[1]])
    marks = np.array([CUT, KEEP, AVOID, CUT, KEEP])
    facets = facets_of(mesh_from(mesh.vertices, mesh.faces.tolist(), marked=marked, marks=marks))
    found = {frozenset(edge): mark for edge, mark in zip(facets.edges.tolist(), facets.marks.tolist(), strict=True)}
    assert len(facets.rings) == 7  # cut along the first diagonal, joined over the second
    for edge, mark in zip(marked[:4].tolist(), marks[:4], strict=True):
        assert found.pop(frozenset(edge)) == mark
    assert set(found.values()) == {FREE}
    holds(facets, mesh.area)


def test_a_run_of_edges_with_different_marks_stays_parted():
    vertices = [(0, 0, 0), (5, 0, 0), (10, 0, 0), (10, 5, 5), (5, 5, 5), (0, 5, 5), (10, 10, 0), (0, 10, 0)]
    mesh = mesh_from(vertices, [(0, 1, 2, 3, 4, 5), (5, 4, 3, 6, 7)], marked=np.array([(3, 4)]), marks=np.array([KEEP]))
    facets = holds(facets_of(mesh))
    inner = facets.sides[:, 1] >= 0
    assert sorted(facets.marks[inner].tolist()) == [FREE, KEEP]


def test_a_mark_that_ends_inside_a_flat_face_is_told_of():
    mesh = mesh_from(SQUARE + [(15, 15, 0)], [(0, 1, 4), (1, 2, 4), (2, 3, 4), (3, 0, 4)], marked=np.array([(0, 4)]),
                     marks=np.array([CUT]))  # fmt: skip
    facets = holds(facets_of(mesh), 900)
    assert len(facets.rings) == 1
    assert [note.code for note in facets.notes] == ["mark-inside"]


def test_size_is_scaled_or_taken_from_the_height():
    box = from_trimesh(trimesh.creation.box((10, 20, 40)))
    double = holds(facets_of(box, MeshOptions(scale=2)), 4 * 2 * (200 + 400 + 800))
    assert np.ptp(double.mesh.vertices, axis=0) == pytest.approx([20, 40, 80])
    low = facets_of(box, MeshOptions(height_mm=10))
    assert np.ptp(low.vertices, axis=0) == pytest.approx([2.5, 5, 10])


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"scale": 0}, "scale is 0"),
        ({"scale": float("nan")}, "scale is nan"),
        ({"height_mm": -1}, "height is -1 mm"),
        ({"weld_mm": -0.1}, "welding distance is -0.1 mm"),
        ({"flat_deg": 90}, "flat angle is 90 degrees"),
    ],
)
def test_options_that_cannot_be_are_refused(options, words):
    with pytest.raises(HingeleafError, match=words):
        MeshOptions(**options)


def test_a_flat_mesh_has_no_height():
    with pytest.raises(HingeleafError, match="no height along z"):
        facets_of(mesh_from(SQUARE, [(0, 1, 2, 3)]), MeshOptions(height_mm=50))


BASE = trimesh.util.concatenate(
    [
        trimesh.creation.box((10, 20, 30)).subdivide(),
        trimesh.creation.icosahedron().apply_scale(8).apply_translation((40, 0, 0)),
        trimesh.creation.annulus(5, 10, 8, sections=12).apply_translation((0, 50, 0)),
    ]
)


def signature(facets):
    areas = sorted(np.round(facets.areas_mm2, 6).tolist())
    return areas, bends_of(facets), sorted(np.round(facets.lengths_mm, 6).tolist())


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(0, 1), st.floats(0, 1), st.sampled_from([np.float64, np.float32]))
def test_damage_that_means_nothing_changes_nothing(seed, flips, splits, kind):
    """Faces turned over, shuffled, rotated, doubled, with vertices of their own: the same facets."""
    random = np.random.default_rng(seed)
    faces = BASE.faces.copy()
    over = random.random(len(faces)) < flips
    # not most of an open body; all three are closed
    faces[over] = faces[over][:, ::-1]
    faces = np.array([np.roll(face, random.integers(3)) for face in faces])
    faces = np.concatenate([faces, faces[random.integers(len(faces), size=5)][:, ::-1]])
    faces = random.permutation(faces)
    own = random.random(faces.size) < splits
    corners = faces.reshape(-1).copy()
    corners[own] = len(BASE.vertices) + np.arange(own.sum())
    vertices = np.concatenate([BASE.vertices, BASE.vertices[faces.reshape(-1)[own]]]).astype(kind)
    order = random.permutation(len(vertices))
    place = np.argsort(order)
    damaged = mesh_from(vertices[order], place[corners].reshape(-1, 3).tolist())
    expected = facets_of(from_trimesh(BASE))
    facets = holds(facets_of(damaged), BASE.area if kind is np.float64 else None)
    for got, wanted in zip(signature(facets), signature(expected), strict=True):
        assert got == pytest.approx(wanted, rel=1e-5, abs=1e-5)


def test_shuffled_vertices_give_the_same_facets_for_random_solids():
    random = np.random.default_rng(3)
    hull = trimesh.convex.convex_hull(random.normal(size=(60, 3)) * 30)
    facets = holds(facets_of(from_trimesh(hull)), hull.area)
    assert len(facets.rings) == len(hull.faces)
    assert (facets.bends > 0).all()


def test_work_grows_about_as_the_mesh():
    """Counted in calls of functions, which no other work on the machine changes; times are in the benchmark."""
    calls = []
    for steps in (4, 5):
        mesh = from_trimesh(trimesh.creation.icosphere(steps, radius=50))
        facets, count = calls_of(facets_of, mesh)
        assert len(facets.rings) == 20 * 4**steps
        calls.append(count)
    assert 1.0 < calls[1] / calls[0] < 4**1.1
