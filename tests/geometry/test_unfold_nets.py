"""Where models are cut: whole nets where there can be one, marks and rooms kept to, nothing overlapping."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geometry import HingeleafError
from geometry.unfold.cut_options import CutOptions
from geometry.unfold.data import AVOID, CUT, KEEP, Facets, Unfolded
from geometry.unfold.facets import facets_of
from geometry.unfold.placing import net_bounds, placed_rings
from geometry.unfold.unfolding import unfold_facets
from tests.geometry import unfold_meshes as meshes
from tests.geometry.unfold_judge import faults


def unfolded(mesh, **options) -> Unfolded:
    """Cut and laid flat, and nothing wrong with it."""
    result = unfold_facets(facets_of(mesh), CutOptions(**options))
    assert faults(result) == []
    return result


def hull(points) -> meshes.Mesh:
    """Convex hull of points as a mesh of triangles."""
    spatial = pytest.importorskip("scipy.spatial")
    found = spatial.ConvexHull(points)
    a, b, c = (points[found.simplices[:, corner]] for corner in range(3))
    inwards = np.einsum("ij,ij->i", np.cross(b - a, c - a), found.equations[:, :3]) < 0
    return meshes.mesh_of(points, np.where(inwards[:, None], found.simplices[:, ::-1], found.simplices))


def marked(facets: Facets, edges, mark: int) -> Facets:
    marks = facets.marks.copy()
    marks[edges] = mark
    return replace(facets, marks=marks)


def folds_of(result: Unfolded) -> set[int]:
    return {edge for net in result.nets for edge in net.folds.tolist() if edge >= 0}


@pytest.mark.parametrize("points", [5, 8, 13, 30, 60, 102])
def test_convex_hulls_are_one_net(points):
    """Every convex solid is thought to have such a net (Shephard's conjecture); V - 1 edges are cut."""
    for seed in range(3):
        corners = np.random.default_rng(seed).normal(size=(points, 3)) * 30
        result = unfolded(hull(corners))
        assert len(result.nets) == 1
        assert len(result.cuts) == len(np.unique(result.facets.triangles)) - 1


def test_long_and_thin_hulls_are_one_net():
    for seed in range(4):
        corners = np.random.default_rng(seed).normal(size=(40, 3)) * (100, 8, 2)
        assert len(unfolded(hull(corners)).nets) == 1


@pytest.mark.parametrize("mesh", [meshes.box(), meshes.prism(7), meshes.cone(), meshes.star(), meshes.letter_l()])
@pytest.mark.parametrize("preset", ["fewest", "shortest"])
def test_simple_solids_are_one_net(mesh, preset):
    result = unfolded(mesh, preset=preset)
    assert len(result.nets) == 1
    assert len(result.cuts) == len({int(v) for rings in result.facets.rings for ring in rings for v in ring}) - 1


def test_stars_with_narrow_notches_come_off_alone():
    """At each edge of such a star an arm reaches over what would hang there, so both must lie by themselves."""
    result = unfolded(meshes.star(9, 40.0, 15.0))
    sizes = sorted(len(net.facets) for net in result.nets)
    assert sizes == [1, 1, 18]


def test_a_long_box_is_cut_along_the_shortest_edges():
    """A long box is cut along seven edges that join its eight corners: three at each end, and one long one."""
    result = unfolded(meshes.box(200.0, 10.0, 12.0), preset="shortest")
    assert result.facets.lengths_mm[result.cuts].sum() == pytest.approx(200 + 4 * 10 + 2 * 12)


def test_same_input_gives_the_same_nets():
    facets = facets_of(meshes.torus(14, 9))
    one, two = unfold_facets(facets), unfold_facets(facets)
    assert [net.folds.tolist() for net in one.nets] == [net.folds.tolist() for net in two.nets]
    assert all((a.placed == b.placed).all() for a, b in zip(one.nets, two.nets, strict=True))


# What is asked for


def test_marks_to_cut_are_cut_and_part_the_model():
    facets = facets_of(meshes.box())
    rim = [edge for edge, sides in enumerate(facets.sides.tolist()) if 0 in sides]
    result = unfold_facets(marked(facets, rim, CUT))
    assert faults(result) == []
    assert set(rim) <= set(result.cuts.tolist())
    assert sorted(len(net.facets) for net in result.nets) == [1, 5]


def test_marks_to_keep_are_folds():
    facets = facets_of(meshes.frustum(8))
    chance = np.random.default_rng(1)
    for _ in range(5):
        # One net of an earlier run, in an order of its own: certainly possible.
        tree = unfold_facets(marked(facets, chance.choice(len(facets.edges), 4, replace=False), AVOID))
        kept = sorted(folds_of(tree))[:6]
        result = unfold_facets(marked(facets, kept, KEEP))
        assert set(kept) <= folds_of(result)
        assert result.notes == ()


def test_marks_to_keep_that_close_a_ring_give_way_at_the_cheapest():
    facets = facets_of(meshes.box(60.0, 40.0, 30.0))
    normals = facets.frames[:, :3, 2]
    level = np.abs(normals[:, 2]) < 0.5
    upright = np.flatnonzero(level[facets.sides].all(axis=1))
    result = unfold_facets(marked(facets, upright, KEEP))
    assert faults(result) == []
    cut = set(upright.tolist()) & set(result.cuts.tolist())
    assert len(upright) == 4
    assert len(cut) == 1
    (note,) = result.notes
    assert (note.code, note.severity) == ("kept-ring", "warning")
    edge = cut.pop()
    assert note.place_mm == pytest.approx(facets.vertices[facets.edges[edge]].mean(axis=0))


def test_edges_better_not_cut_are_folds():
    facets = facets_of(meshes.box(60.0, 40.0, 30.0))
    short = np.flatnonzero(facets.lengths_mm < 31)
    assert set(short[:3].tolist()) <= folds_of(unfold_facets(marked(facets, short[:3], AVOID)))


def test_cuts_are_not_where_they_are_seen():
    facets = facets_of(meshes.box(50.0, 50.0, 50.0))
    for towards in ((1, 1, 1), (-1, 1, 1), (1, -1, -1)):
        result = unfold_facets(facets, CutOptions(seen_from=towards))
        facing = facets.frames[:, :3, 2] @ np.array(towards) > 0
        seen = np.flatnonzero(facing[facets.sides].all(axis=1))
        assert len(seen) == 3
        # Three facets round a corner hang on each other at two edges; the third must be cut.
        assert len(set(seen.tolist()) & set(result.cuts.tolist())) == 1


def test_nets_fit_in_their_room():
    for room in ((60.0, 90.0), (90.0, 60.0), (75.0, 75.0)):
        result = unfolded(meshes.prism(12, 20.0, 55.0), room_mm=room)
        for number in range(len(result.nets)):
            left, bottom, right, top = net_bounds(result, number)
            assert right - left <= room[0] * (1 + 1e-9)
            assert top - bottom <= room[1] * (1 + 1e-9)
        assert len(result.nets) > 1
        assert result.notes == ()


def test_a_net_is_turned_askew_if_only_so_it_fits():
    """A strip of 70 x 4 mm lies across a room of 60 x 60."""
    facets = facets_of(meshes.box(70.0, 2.0, 2.0))
    result = unfold_facets(facets, CutOptions(room_mm=(60.0, 60.0)))
    assert len(result.nets) == 1
    left, bottom, right, top = net_bounds(result, 0)
    assert max(right - left, top - bottom) <= 60.0


def test_a_facet_larger_than_its_room_is_noted():
    result = unfold_facets(facets_of(meshes.box(60.0, 40.0, 30.0)), CutOptions(room_mm=(35.0, 45.0)))
    assert {note.code for note in result.notes} == {"too-large"}
    assert len(result.notes) == 4
    assert "35 x 45 mm" in result.notes[0].text


def test_compact_nets_fill_their_boxes():
    for mesh in (meshes.prism(24, 20.0, 55.0), meshes.star(9, 40.0, 15.0), meshes.box()):
        result = unfolded(mesh, preset="compact")
        boxes = [net_bounds(result, number) for number in range(len(result.nets))]
        filled = result.facets.areas_mm2.sum() / sum((r - x) * (t - y) for x, y, r, t in boxes)
        assert filled > 0.45


def test_a_smooth_tube_is_one_strip():
    result = unfolded(meshes.prism(32, 20.0, 4.0), smooth_deg=15.0)
    facets = result.facets
    sides = np.abs(facets.frames[:, 2, 2]) < 0.5
    along = np.flatnonzero(sides[facets.sides].all(axis=1))
    assert len(along) == 32
    assert len(set(along.tolist()) & set(result.cuts.tolist())) == 1


def test_options_say_what_would_be_right():
    for wrong, text in (
        ({"preset": "least"}, "fewest, shortest, compact"),
        ({"room_mm": (0.0, 10.0)}, "above 0 mm"),
        ({"room_mm": (10.0, float("nan"))}, "above 0 mm"),
        ({"smooth_deg": -1.0}, "0 to 180"),
        ({"seen_from": (0.0, 0.0, 0.0)}, "direction"),
    ):
        with pytest.raises(HingeleafError, match=text):
            CutOptions(**wrong)


def test_an_overlay_of_neighbours_finds_nothing():
    """Places of one net are rounded alike, so shapely's overlay of two facets that share an edge has no area."""
    result = unfolded(meshes.terrain(6))
    for number in range(len(result.nets)):
        shapes = np.array([shapely.Polygon(rings[0], rings[1:]) for rings in placed_rings(result, number)])
        one, two = shapely.STRtree(shapes).query(shapes, predicate="intersects")
        one, two = one[one < two], two[one < two]
        common = shapely.area(shapely.intersection(shapes[one], shapes[two]))
        assert (common <= 1e-9 * np.minimum(shapely.area(shapes[one]), shapely.area(shapes[two]))).all()
