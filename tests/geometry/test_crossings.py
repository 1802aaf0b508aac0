"""Facets that pass through each other are found, those that touch are not.

Random triangles are judged one pair at a time by lines cut with planes, in the plainest way.
"""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from geometry.unfold.crossings import crossing_triangles
from geometry.unfold.data import Mesh
from geometry.unfold.facets import facets_of
from geometry.unfold.mesh_options import MeshOptions
from tests.counting import calls_of


def mesh_from(vertices, faces):
    sizes = [len(face) for face in faces]
    corners = np.array([corner for face in faces for corner in face], dtype=np.int64)
    return Mesh("model", np.asarray(vertices, dtype=float), corners, np.concatenate([[0], np.cumsum(sizes)]))


def both(*meshes):
    mesh = trimesh.util.concatenate(meshes)
    return mesh_from(mesh.vertices, mesh.faces.tolist())


def box(size=(10, 10, 10), at=(0, 0, 0)):
    mesh = trimesh.creation.box(size)
    mesh.apply_translation(at)
    return mesh


def crossing(mesh, **options):
    return [note for note in facets_of(mesh, MeshOptions(**options)).notes if note.code == "crossing"]


def test_boxes_that_go_into_each_other_are_told_of_with_place_and_faces():
    mesh = both(box(), box(at=(4, 3, 2)))
    (note,) = crossing(mesh)
    assert note.severity == "warning"
    # three faces of either box go through three of the other, of nine pairs those six that do not only meet at corners
    assert note.text.startswith("6 pairs of facets pass through each other")
    inside = np.abs(note.place_mm - np.array([4, 3, 2])).max()
    assert np.abs(note.place_mm).max() == pytest.approx(5) or inside == pytest.approx(5)
    assert set(note.faces) <= set(range(24))
    assert len(note.faces) == 12
    assert crossing(mesh, crossings=False) == []


def test_a_wall_pierced_in_its_diagonal_and_its_middle():
    """The rod's edges meet the wall on the line between its two triangles."""
    rod = box((2, 2, 40))
    wall = box((20, 20, 2))
    (note,) = crossing(both(rod, wall))
    assert "8 pairs" in note.text
    spike = trimesh.creation.cone(radius=2, height=30, sections=3)
    spike.apply_translation((0, 0, -15) - spike.vertices[np.argmax(spike.vertices[:, 2])] * [1, 1, 0])
    assert crossing(both(spike, wall))


@pytest.mark.parametrize(
    "at",
    [(10, 0, 0), (10, 5, 0), (10, 10, 0), (10, 10, 10), (10, 3, 4), (0, 0, 10), (30, 0, 0)],
    ids=["faces", "half a face", "edges", "corners", "askew", "above", "apart"],
)
def test_boxes_that_touch_do_not_cross(at):
    turn = trimesh.transformations.euler_matrix(0.3, 0.5, 0.7)
    for matrix in (np.eye(4), turn):
        assert crossing(both(box().apply_transform(matrix), box(at=at).apply_transform(matrix))) == []


def test_ridges_that_lie_across_each_other_touch_and_deeper_they_cross():
    """A roof, and one upside down and turned across it: their ridges meet in one point."""
    roof = np.array([(-10, 0, 0), (10, 0, 0), (10, 8, -6), (-10, 8, -6), (10, -8, -6), (-10, -8, -6)], dtype=float)
    faces = [(0, 1, 2, 3), (1, 0, 5, 4)]
    across = np.stack([roof[:, 1], roof[:, 0], -roof[:, 2]], axis=1)
    for depth, expected in ((0.0, 0), (1e-3, 1), (2.0, 1)):
        vertices = np.concatenate([roof, across - (0, 0, depth)])
        mesh = mesh_from(vertices, [*faces, *([corner + 6 for corner in face] for face in faces)])
        assert len(crossing(mesh)) == expected


def test_neighbours_folded_flat_onto_each_other_do_not_cross():
    vertices = [(0, 0, 0), (10, 0, 0), (5, 8, 0), (5, 6, 0), (5, 7, 1e-3)]
    assert crossing(mesh_from(vertices, [(0, 1, 2), (1, 0, 3), (0, 1, 4)])) == []


def test_a_body_inside_another_does_not_cross_it():
    assert crossing(both(box((10, 10, 10)), box((5, 5, 5)))) == []


def plainly_crossing(one, other):
    """Whether an edge of one triangle goes through the other, by solving for where it meets the plane."""
    for a, b in ((one, other), (other, one)):
        for corner in range(3):
            start, end = a[corner], a[(corner + 1) % 3]
            matrix = np.stack([b[1] - b[0], b[2] - b[0], start - end], axis=1)
            if abs(np.linalg.det(matrix)) < 1e-12:
                continue
            u, v, t = np.linalg.solve(matrix, start - b[0])
            if min(u, v, t, 1 - u - v, 1 - t) > 0:
                return True
    return False


def test_random_triangles_agree_with_solving_each_pair():
    random = np.random.default_rng(5)
    points = random.random((60, 1, 3)) * 3 + random.normal(size=(60, 3, 3))
    vertices, triangles = points.reshape(-1, 3), np.arange(180).reshape(60, 3)
    pairs, places = crossing_triangles(vertices, triangles, np.arange(60), 1e-9)
    expected = [(i, j) for i in range(60) for j in range(i + 1, 60) if plainly_crossing(points[i], points[j])]
    assert len(expected) > 50
    assert pairs.tolist() == [list(pair) for pair in expected]
    for (one, other), place in zip(pairs.tolist(), places, strict=True):
        for corners in (points[one], points[other]):
            normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
            assert (place - corners[0]) @ normal == pytest.approx(0, abs=1e-9)


def test_triangles_are_looked_through_all_at_once():
    """Sixteen times as many take no more calls of functions."""
    calls = []
    for steps in (3, 5):
        sphere = trimesh.creation.icosphere(steps)
        corners, faces = np.vstack([sphere.vertices, sphere.vertices + [1.5, 0, 0]]), len(sphere.faces)
        both = np.vstack([sphere.faces, sphere.faces + len(sphere.vertices)])
        (pairs, _), count = calls_of(crossing_triangles, corners, both, np.arange(2 * faces), 1e-9)
        assert len(pairs) > 100
        calls.append(count)
    assert calls[1] < 1.2 * calls[0]


def test_crossings_of_many_triangles_lie_where_two_spheres_meet():
    sphere = trimesh.creation.icosphere(5)
    cube = box((2, 2, 2))
    for _ in range(5):
        cube = cube.subdivide()
    other = sphere.copy().apply_translation((1.5, 0, 0))
    mesh = trimesh.util.concatenate([sphere, other])
    pairs, _ = crossing_triangles(mesh.vertices, mesh.faces, np.arange(len(mesh.faces)), 1e-9)
    flat, _ = crossing_triangles(cube.vertices, cube.faces, np.arange(len(cube.faces)), 1e-9)
    assert len(flat) == 0
    middles = mesh.triangles_center[pairs]
    # both spheres of radius 1 meet in the circle x = 0.75, of radius sqrt(1 - 0.75^2)
    assert np.abs(middles[..., 0] - 0.75).max() < 0.1
    assert np.hypot(middles[..., 1], middles[..., 2]) == pytest.approx((1 - 0.75**2) ** 0.5, abs=0.1)
    assert len(np.unique(np.round(np.arctan2(middles[:, 0, 1], middles[:, 0, 2]), 1))) > 55
