"""Damaged meshes put right, and told of: every repair has its note, and what can be unfolded is.

Volumes and winding are compared with trimesh.
"""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from geometry.errors import HingeleafError
from geometry.unfold.data import CUT, Mesh, MeshNote
from geometry.unfold.facets import facets_of
from geometry.unfold.mesh_options import MeshOptions
from geometry.unfold.pairing import oriented, paired
from geometry.unfold.welding import welded_to


def mesh_from(vertices, faces, **more):
    sizes = [len(face) for face in faces]
    corners = np.array([corner for face in faces for corner in face], dtype=np.int64)
    starts = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    return Mesh("model", np.asarray(vertices, dtype=float).reshape(-1, 3), corners, starts, **more)


def joined(*meshes):
    return trimesh.util.concatenate(meshes)


def plain(mesh):
    return mesh_from(mesh.vertices, mesh.faces.tolist())


def codes(facets):
    return [note.code for note in facets.notes]


def note_of(facets, code):
    (note,) = [note for note in facets.notes if note.code == code]
    return note


def volume(facets):
    """Signed volume between the triangles of facets and the origin."""
    a, b, c = np.moveaxis(facets.vertices[facets.triangles], 1, 0)
    return np.einsum("ti,ti->", a, np.cross(b, c)) / 6


SQUARE = [(0, 0, 0), (10, 0, 0), (10, 10, 0), (0, 10, 0)]
BOX = trimesh.creation.box((10, 20, 30))


@pytest.mark.parametrize(
    ("mesh", "words"),
    [
        (mesh_from([], []), "has no faces"),
        (mesh_from(SQUARE, []), "has no faces"),
        (mesh_from(SQUARE, [(0, 1, 7)]), "has no faces with corners in space"),
        (mesh_from([(0, 0, np.nan), (1, 0, 0), (0, 1, 0)], [(0, 1, 2)]), "has no faces with corners in space"),
        (mesh_from(SQUARE, [(0, 0, 0), (1, 2), ()]), "none of its faces has an area"),
        (mesh_from([(0, 0, 0), (1, 1, 1), (2, 2, 2)], [(0, 1, 2)]), "none of its faces has an area"),
        (mesh_from([(5, 5, 5)] * 4, [(0, 1, 2, 3)]), "none of its faces has an area"),
    ],
)
def test_what_has_nothing_to_unfold_is_refused(mesh, words):
    with pytest.raises(HingeleafError, match=words) as caught:
        facets_of(mesh)
    assert str(caught.value).startswith("model: ")


def test_faces_without_places_are_left_out_and_the_rest_is_there():
    vertices = [*SQUARE, (np.inf, 0, 0), (0, np.nan, 3), (1e300, 0, 0)]
    mesh = mesh_from(vertices, [(0, 1, 2, 3), (0, 1, 4), (0, 5, 2), (0, 1, 9), (1, 2, -1), (3, 0, 6)])
    facets = facets_of(mesh)
    assert facets.areas_mm2 == pytest.approx([100])
    assert note_of(facets, "no-vertex").faces == (3, 4)
    assert note_of(facets, "no-place").faces == (1, 2, 5)
    assert note_of(facets, "no-vertex").text == "2 faces left out: they name vertices that do not exist."
    assert {note.severity for note in facets.notes} == {"warning"}


def test_vertices_that_no_face_uses_are_counted():
    facets = facets_of(mesh_from([*SQUARE, (500, 0, 0)], [(0, 1, 2, 3)]))
    assert len(facets.vertices) == 4
    assert note_of(facets, "unused").text == "1 vertex left out: no face uses them."
    assert facets.size_mm == pytest.approx(200**0.5)


@pytest.mark.parametrize("gap", [0.0, 1e-6, 0.01])
def test_vertices_are_welded_within_a_distance(gap):
    vertices = [*SQUARE, (10, 0, 0), (20, 0, gap), (20, 10, 0), (10 + gap, 10, 0)]
    mesh = mesh_from(vertices, [(0, 1, 2, 3), (4, 5, 6, 7)])
    facets = facets_of(mesh)
    assert len(facets.rings) == (1 if gap < 1e-3 else 3)
    loose = facets_of(mesh, MeshOptions(weld_mm=0.02))
    assert (note_of(loose, "welded").text) == "2 vertices welded to others within 0.02 mm."
    assert (loose.sides[:, 1] >= 0).sum() == (0 if gap < 1e-3 else 1)


def test_welding_agrees_with_measuring_every_distance():
    random = np.random.default_rng(11)
    points = np.concatenate([random.random((150, 3)), np.round(random.random((150, 3)) * 8) / 8])
    points = np.concatenate([points, points + random.normal(0, 0.004, points.shape), points[::3]])
    random.shuffle(points)
    near = np.linalg.norm(points[:, None] - points, axis=2) <= 0.01
    reached = near
    while True:
        wider = (reached.astype(int) @ near.astype(int)) > 0
        if np.array_equal(wider, reached):
            break
        reached = wider
    assert welded_to(points, 0.01).tolist() == np.argmax(reached, axis=1).tolist()
    assert len(np.unique(welded_to(points, 0.0))) == len(np.unique(points, axis=0))
    assert welded_to(np.zeros((0, 3)), 1.0).tolist() == []


def test_double_faces_are_there_once():
    faces = [(0, 1, 2, 3), (2, 3, 0, 1), (3, 2, 1, 0), (0, 1, 2)]
    facets = facets_of(mesh_from(SQUARE, faces))
    assert facets.areas_mm2 == pytest.approx([100])
    doubles = [note for note in facets.notes if note.code == "double"]
    assert [note.faces for note in doubles] == [(1, 2), (3,)]
    assert doubles[0].text == "2 faces left out: there is another one in the same place."


def test_faces_without_area_are_left_out():
    faces = [(0, 1, 2, 3), (0, 0, 1), (2, 2), (1, 1, 1, 1)]
    facets = facets_of(mesh_from(SQUARE, faces))
    assert facets.areas_mm2 == pytest.approx([100])
    assert note_of(facets, "degenerate").faces == (1, 2, 3)


def test_corners_that_repeat_are_one():
    facets = facets_of(mesh_from(SQUARE, [(0, 0, 1, 2, 2, 2, 3)]))
    assert facets.areas_mm2 == pytest.approx([100])
    assert [len(ring) for ring in facets.rings[0]] == [4]


@pytest.mark.parametrize("count", [1, 2, 5])
@pytest.mark.parametrize("wobble", [0.0, 1e-7])
def test_needles_in_a_gap_between_a_long_edge_and_short_ones_are_closed(count, wobble):
    """Below, one long edge; above, several short ones on the same line; between them a fan of needles."""
    random = np.random.default_rng(count)
    line = [(x, 0, 0) for x in np.linspace(0, 12, count + 2)]
    line = [(x, y + random.normal() * wobble, z + random.normal() * wobble) for x, y, z in line]
    vertices = [*line, (6, 9, 4), (6, -8, 3)]
    top, bottom, last = count + 2, count + 3, count + 1
    faces = [(n, n + 1, top) for n in range(last)] + [(last, 0, bottom)]
    faces += [(0, n + 1, n) if n else (0, 1, last) for n in range(last)][1:]
    faces = [(0, n + 1, n) for n in range(1, last)] + faces[: last + 1]
    facets = facets_of(mesh_from(vertices, faces))
    assert len(facets.rings) == 2
    inner = facets.sides[:, 1] >= 0
    assert facets.lengths_mm[inner] == pytest.approx([12])
    assert np.count_nonzero(~inner) == 4
    assert note_of(facets, "degenerate").faces == tuple(range(count))


def test_a_mark_on_an_edge_beside_a_needle_stays():
    vertices = [(0, 0, 0), (12, 0, 0), (6, 0, 0), (6, 9, 0), (6, -8, 0)]
    faces = [(0, 1, 2), (0, 2, 3), (2, 1, 3), (1, 0, 4)]
    mesh = mesh_from(vertices, faces, marked=np.array([(0, 1)]), marks=np.array([CUT]))
    facets = facets_of(mesh)
    assert len(facets.rings) == 2
    inner = facets.sides[:, 1] >= 0
    assert facets.marks[inner].tolist() == [CUT]


@pytest.mark.parametrize("turned", [[], [3], [0, 1, 2, 5, 7], list(range(12))])
def test_closed_bodies_face_outwards(turned):
    faces = BOX.faces.copy()
    faces[turned] = faces[turned][:, ::-1]
    facets = facets_of(mesh_from(BOX.vertices, faces.tolist()))
    assert volume(facets) == pytest.approx(BOX.volume)
    assert (facets.bends > 0).all()
    if turned:
        assert note_of(facets, "turned").faces == tuple(turned)
    else:
        assert facets.notes == ()


def test_open_bodies_face_where_most_of_them_does():
    mesh = mesh_from(BOX.vertices, BOX.faces[:-2].tolist()[:1] + BOX.faces[1:-2, ::-1].tolist())
    facets = facets_of(mesh)
    assert note_of(facets, "turned").faces == (0,)
    assert (facets.bends[facets.sides[:, 1] >= 0] < 0).all()


def test_bodies_beside_each_other_are_each_put_right():
    second = BOX.copy().apply_translation((50, 0, 0))
    second.invert()
    facets = facets_of(plain(joined(BOX, second)))
    assert len(facets.rings) == 12
    assert volume(facets) == pytest.approx(2 * BOX.volume)


def test_a_hollow_faces_inwards_and_a_body_inside_outwards():
    inner = trimesh.creation.box((4, 4, 4))
    hollow = inner.copy()
    hollow.invert()
    facets = facets_of(plain(joined(BOX, hollow)))
    assert volume(facets) == pytest.approx(BOX.volume - inner.volume)
    assert note_of(facets, "hollow").text == "1 hollow inside closed bodies, left to face inwards."
    facets = facets_of(plain(joined(BOX, inner)))
    assert volume(facets) == pytest.approx(BOX.volume + inner.volume)
    assert codes(facets) == ["inside"]


def test_a_body_inside_a_hollow_faces_outwards_again():
    parts = [trimesh.creation.box((size,) * 3) for size in (30, 20, 10)]
    parts[1].invert()
    parts[2].invert()
    facets = facets_of(plain(joined(*parts)))
    assert volume(facets) == pytest.approx(30**3 - 20**3 + 10**3)


def moebius(steps=12):
    vertices, faces = [], []
    for step in range(steps):
        turn, half = 2 * np.pi * step / steps, np.pi * step / steps
        for side in (-5, 5):
            radius = 30 + side * np.cos(half)
            vertices.append((radius * np.cos(turn), radius * np.sin(turn), side * np.sin(half)))
    for step in range(steps):
        a, b = 2 * step, 2 * step + 1
        c, d = (2 * step + 3, 2 * step + 2) if step < steps - 1 else (0, 1)
        faces += [(a, b, c), (a, c, d)]
    return np.array(vertices) + np.random.default_rng(2).normal(0, 0.3, (2 * steps, 3)), faces


def test_a_strip_with_one_side_is_cut_open_once():
    vertices, faces = moebius()
    facets = facets_of(mesh_from(vertices, faces))
    assert len(facets.rings) == 24
    assert note_of(facets, "one-sided").text == "1 body with one side only cut open along a line."
    # 24 edges on the rim, 24 across, of which one is now twice a rim
    assert (facets.sides[:, 1] >= 0).sum() == 23
    assert (facets.sides[:, 1] < 0).sum() == 26


def test_a_wall_on_a_floor_leaves_the_floor_whole():
    vertices = [(0, 0, 0), (10, 0, 0), (20, 0, 0), (20, 10, 0), (10, 10, 0), (0, 10, 0), (10, 0, 7), (10, 10, 7)]
    facets = facets_of(mesh_from(vertices, [(0, 1, 4, 5), (1, 2, 3, 4), (1, 4, 7, 6)]))
    assert sorted(facets.areas_mm2) == pytest.approx([70, 200])
    assert (facets.sides[:, 1] == -1).all()
    note = note_of(facets, "non-manifold")
    assert note.place_mm == pytest.approx([10, 5, 0])
    assert note.severity == "warning"


@pytest.mark.parametrize("damaged", [False, True])
def test_two_boxes_that_share_an_edge_are_two_boxes(damaged):
    one, other = trimesh.creation.box((10, 10, 10)), trimesh.creation.box((10, 10, 10))
    other.apply_translation((10, 10, 0))
    both = joined(one, other)
    both.merge_vertices()
    faces = both.faces.copy()
    if damaged:
        faces[::3] = faces[::3, ::-1]
    facets = facets_of(mesh_from(both.vertices, faces.tolist()))
    assert len(facets.rings) == 12
    assert len(facets.edges) == 24
    assert facets.bends == pytest.approx(np.full(24, np.pi / 2))
    assert volume(facets) == pytest.approx(2000)
    second = np.array([faces.min() >= 12 for faces in facets.source])
    assert (second[facets.sides[:, 0]] == second[facets.sides[:, 1]]).all()


def test_a_wall_inside_a_box_ends_at_the_box():
    box = trimesh.creation.box((20, 10, 10)).subdivide()
    corners = np.flatnonzero(np.abs(box.vertices[:, 0]) < 1e-9)
    corners = [n for n in corners if np.abs(box.vertices[n, 1:]).min() == 5]
    order = np.argsort(np.arctan2(box.vertices[corners, 2], box.vertices[corners, 1]))
    facets = facets_of(mesh_from(box.vertices, [*box.faces.tolist(), np.array(corners)[order].tolist()]))
    assert len(facets.rings) >= 7
    assert volume(facets) == pytest.approx(box.volume)


def test_pairs_are_those_of_trimesh_and_all_runs_agree():
    mesh = trimesh.creation.icosphere(2)
    faces = mesh.faces.copy()
    random = np.random.default_rng(1)
    over = random.random(len(faces)) < 0.4
    faces[over] = faces[over][:, ::-1]
    twins, crowded = paired(mesh.vertices, faces, None)
    assert len(crowded) == 0
    assert {tuple(sorted((h // 3, t // 3))) for h, t in enumerate(twins)} == {
        tuple(pair) for pair in np.sort(mesh.face_adjacency, axis=1).tolist()
    }
    state = oriented(faces, twins, np.ones(len(faces)))
    assert np.array_equal(state.turned, over)
    assert trimesh.Trimesh(mesh.vertices, state.corners, process=False).is_winding_consistent
    assert (state.twins[state.twins] == np.arange(len(twins))).all()


def test_a_face_that_crosses_itself_is_told_of():
    bow = [(0, 0, 0), (10, 10, 0), (10, 0, 0), (0, 10, 0), (-5, 5, 0)]
    facets = facets_of(mesh_from(bow, [(0, 1, 2, 3, 4)]))
    assert note_of(facets, "twisted").faces == (0,)


def test_notes_of_reading_come_first():
    read = MeshNote("missing-picture", "warning", "A picture is missing.")
    facets = facets_of(mesh_from([*SQUARE, SQUARE[0]], [(0, 1, 2, 3)], notes=(read,)))
    assert codes(facets) == ["missing-picture", "unused"]


def test_tiny_and_huge_models_are_as_good_as_others():
    for size in (1e-4, 1.0, 1e6):
        facets = facets_of(mesh_from(BOX.vertices * size, BOX.faces.tolist()))
        assert len(facets.rings) == 6
        assert facets.areas_mm2.sum() == pytest.approx(BOX.area * size**2)
        assert facets.notes == ()


def test_a_model_far_from_the_origin_is_not_eaten_by_its_tolerance():
    sphere = trimesh.creation.icosphere(2, radius=1.0)
    facets = facets_of(mesh_from(sphere.vertices + 1e4, sphere.faces.tolist()))
    assert len(facets.rings) == len(sphere.faces)


def test_faces_without_corners_are_no_faces():
    mesh = Mesh("model", np.eye(3), np.zeros(0, dtype=np.int64), np.zeros(4, dtype=np.int64))
    with pytest.raises(HingeleafError, match="model: has no faces with corners in space; nothing can be unfolded"):
        facets_of(mesh)


def test_a_face_turned_over_is_told_where_it_is_when_needles_are_gone():
    """Without needles the triangles are in another order than their faces."""
    vertices = [(0, 0, 0), (0, 0, 10), (0, 10, 0), (0, 9, 0), (10, 0, 0)]
    mesh = mesh_from(vertices, [[1, 2, 0], [2, 3, 0], [4, 3, 0]])
    note = note_of(facets_of(mesh), "turned")
    (face,) = note.faces
    low, high = (pick(mesh.vertices[mesh.face(face)], axis=0) for pick in (np.min, np.max))
    assert ((low <= note.place_mm) & (note.place_mm <= high)).all()
