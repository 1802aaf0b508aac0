"""Cut lines and creases from outlines drawn by hand."""

import numpy as np
import pytest
import shapely
from shapely import LineString, Polygon, box
from shapely.affinity import affine_transform

from geometry import assemble, parse_description
from geometry.nets.cuts import card_of, find_lines
from tests.geometry.scene_texts import HEAD, cut_in


def line(*points):
    return np.array(points, dtype=float)


def total(raw_lines):
    lengths = []
    for raw in raw_lines:
        points = np.concatenate([raw.points, raw.points[:1]]) if raw.closed else raw.points
        lengths.append(np.hypot(*np.diff(points, axis=0).T).sum())
    return sum(lengths)


def test_one_panel_is_one_ring_that_belongs_to_it():
    found = find_lines({"a": box(0, 0, 30, 20)}, {})
    assert not found.creases
    (ring,) = found.cuts
    assert ring.closed
    assert ring.owner == "a"
    assert len(ring.points) == 4
    assert total([ring]) == pytest.approx(100.0, abs=1e-9)


def test_two_panels_share_a_crease_and_have_one_outline():
    outlines = {"a": box(-30, 0, 0, 20), "b": box(0, 0, 40, 20)}
    found = find_lines(outlines, {"fold": (line((0, 0), (0, 20)), ("a", "b"))})
    (ring,) = found.cuts
    assert ring.owner is None
    assert total([ring]) == pytest.approx(180.0, abs=1e-9)
    (crease,) = found.creases
    assert crease.owner == "fold"
    np.testing.assert_allclose(crease.points, [[0, 0], [0, 20]], atol=1e-9)


def test_a_tab_narrower_than_the_edge_leaves_the_rest_of_the_edge_cut():
    panel, tab = box(0, 0, 50, 30), Polygon([(5, 0), (45, 0), (40, -8), (10, -8)])
    found = find_lines({"p": panel, "t": tab}, {"foot": (line((5, 0), (45, 0)), ("p", "t"))})
    (ring,) = found.cuts
    slant = np.hypot(5, 8)
    assert total([ring]) == pytest.approx(50 + 2 * 30 + 2 * 5 + 2 * slant + 30, abs=1e-6)
    assert total(found.creases) == pytest.approx(40, abs=1e-6)


def strip_and_host():
    """A step cut from a folded card: two slits at y = 20 and y = 50, hinge lines at x = -10 and x = 10."""
    outlines = {
        "left": box(-40, 0, 0, 80).difference(box(-10, 20, 0, 50)),
        "right": box(0, 0, 40, 80).difference(box(0, 20, 10, 50)),
        "strip.left": box(-10, 20, 0, 50),
        "strip.right": box(0, 20, 10, 50),
    }
    hinges = {
        "spine": (line((0, 0), (0, 20)), ("left", "right")),
        "spine#2": (line((0, 50), (0, 80)), ("left", "right")),
        "hinge.left": (line((-10, 20), (-10, 50)), ("left", "strip.left")),
        "hinge.right": (line((10, 20), (10, 50)), ("right", "strip.right")),
        "ridge": (line((0, 20), (0, 50)), ("strip.left", "strip.right")),
    }
    return outlines, hinges


def test_a_slit_between_a_strip_and_its_host_comes_once():
    found = find_lines(*strip_and_host())
    slits = [raw for raw in found.cuts if not raw.closed]
    assert len(slits) == 2
    assert all(len(raw.points) == 2 for raw in slits)
    assert total(slits) == pytest.approx(40.0, abs=1e-6)
    assert total(found.cuts) == pytest.approx(40.0 + 320.0, abs=1e-6)
    assert total(found.creases) == pytest.approx(80.0 + 2 * 30.0, abs=1e-6)


def test_slits_and_holes_come_before_the_outline():
    outlines, hinges = strip_and_host()
    outlines["left"] = outlines["left"].difference(box(-30, 10, -20, 20))
    found = find_lines(outlines, hinges)
    assert [raw.closed for raw in found.cuts] == [False, False, True, True]
    hole, outline = found.cuts[-2:]
    assert hole.owner == "left"
    assert Polygon(outline.points).contains(Polygon(hole.points))


def test_a_window_across_a_crease_interrupts_it():
    outlines = {
        "a": box(-30, 0, 0, 60).difference(box(-10, 20, 10, 40)),
        "b": box(0, 0, 30, 60).difference(box(-10, 20, 10, 40)),
    }
    found = find_lines(outlines, {"fold": (line((0, 0), (0, 60)), ("a", "b"))})
    ends = sorted(sorted(raw.points[:, 1].round(6).tolist()) for raw in found.creases)
    assert ends == [[0, 20], [40, 60]]
    assert {raw.owner for raw in found.creases} == {"fold"}
    assert total(found.cuts) == pytest.approx(240 + 80, abs=1e-6)


def test_where_only_one_panel_reaches_along_a_hinge_line_it_is_cut():
    found = find_lines({"a": box(-30, 0, 0, 60), "b": box(0, 0, 30, 40)}, {"fold": (line((0, 0), (0, 60)), ("a", "b"))})
    (crease,) = found.creases
    assert crease.points[:, 1].max() == pytest.approx(40.0, abs=1e-6)
    assert total(found.cuts) == pytest.approx(60 + 30 + 30 + 20 + 30 + 40 + 30, abs=1e-6)


def test_a_hinge_line_between_vertices_of_the_outlines_is_noded():
    outlines = {
        "a": Polygon([(-20, 0), (0, 0), (0, 50), (-20, 50)]),
        "b": Polygon([(0, 10), (20, 10), (20, 30), (0, 30)]),
    }
    found = find_lines(outlines, {"fold": (line((0, 12), (0, 28)), ("a", "b"))})
    assert total(found.creases) == pytest.approx(16.0, abs=1e-6)
    slits = [raw for raw in found.cuts if not raw.closed]
    assert total(slits) == pytest.approx(4.0, abs=1e-6)


def test_slits_that_meet_in_a_point_go_on_straight():
    """A cross of slits: four panels that meet in one point, hinged at the card's far edges only."""
    quarters = {
        "sw": box(0, 0, 10, 10),
        "se": box(10, 0, 20, 10),
        "nw": box(0, 10, 10, 20),
        "ne": box(10, 10, 20, 20),
    }
    hinges = {
        "s": (line((10, 0), (10, 2)), ("sw", "se")),
        "n": (line((10, 18), (10, 20)), ("nw", "ne")),
        "w": (line((0, 10), (2, 10)), ("sw", "nw")),
    }
    found = find_lines(quarters, hinges)
    slits = [raw for raw in found.cuts if not raw.closed]
    assert sorted(round(total([raw]), 6) for raw in slits) == [16.0, 18.0]


@pytest.mark.parametrize("noise_mm", [0.0, 1e-12, 3e-9, 4e-8])
def test_rounding_between_panels_leaves_no_slivers(noise_mm):
    shared = np.array([(0.1, 0.2), (37.123456789, 81.987654321)])
    a = Polygon([*shared, (-40, 60)])
    b = Polygon([*(shared[::-1] + noise_mm), (70, 10)])
    found = find_lines({"a": a, "b": b}, {"fold": (shared, ("a", "b"))})
    assert [raw.closed for raw in found.cuts] == [True]
    assert total(found.creases) == pytest.approx(np.hypot(*(shared[1] - shared[0])), abs=1e-5)
    assert card_of([a, b]).area == pytest.approx(a.area + b.area, abs=1e-5)


def test_a_fine_curve_keeps_its_length():
    angles = np.linspace(0, 2 * np.pi, 5001)[:-1]
    circle = Polygon(30 * np.stack([np.cos(angles), np.sin(angles)], axis=1))
    (ring,) = find_lines({"wheel": circle}, {}).cuts
    assert total([ring]) == pytest.approx(2 * np.pi * 30, abs=1e-3)
    assert shapely.hausdorff_distance(Polygon(ring.points).boundary, circle.boundary) < 1e-5


@pytest.mark.parametrize("snapped", [False, True], ids=["plain", "from an overlay on a grid"])
@pytest.mark.parametrize("degrees", [7.0, 33.3, 61.0, 123.456, 200.0])
def test_a_tab_in_the_middle_of_a_slanted_edge_stays_on_its_panel(degrees, snapped):
    """Its corners miss the edge by rounding, or by half a grid step where the panel went through an overlay."""
    turn = np.radians(degrees)
    matrix = [np.cos(turn), -np.sin(turn), np.sin(turn), np.cos(turn), 0.123456789, -3.3]
    panel, tab = (
        affine_transform(part, matrix)
        for part in (box(0, 0, 50, 30), Polygon([(5.1, 0), (45.3, 0), (40, -8), (10, -8)]))
    )
    base = shapely.get_coordinates(affine_transform(LineString([(5.1, 0), (45.3, 0)]), matrix))
    outlines = {"p": shapely.set_precision(panel, 1e-7) if snapped else panel, "t": tab}
    found = find_lines(outlines, {"foot": (base, ("p", "t"))})
    assert [raw.closed for raw in found.cuts] == [True]
    assert total(found.creases) == pytest.approx(40.2, abs=1e-5)
    assert Polygon(found.cuts[0].points).area == pytest.approx(panel.area + tab.area, abs=1e-4)


#: Two cut-ins, the second on a slanted fold of the first and with its apex there.
_APEXES = {
    "outline met itself": (
        "at = 44.61113959940355; length = 57.9064884101256; width_start = 15.292747648119162; width_end = 0",
        "at = 12.226546542711851; length = 15.929481063833725; width_start = 2.222144429330739; width_end = 0",
    ),
    "ran there and back": (
        "at = 93.87332829904854; length = 48.21519483708382; width_start = 23.648937846140726; width_end = 0",
        "at = 9.726715230973753; length = 14.832589682091598; width_start = 2.7235191441427786; width_end = 0",
    ),
}


@pytest.mark.parametrize(("outer", "inner"), _APEXES.values(), ids=_APEXES)
def test_an_apex_on_a_slanted_fold_is_one_corner(outer, inner):
    """Regression: its crease ends miss the strip's corner by half a grid step each, and the outline crossed itself."""
    text = HEAD + cut_in("m1", body=outer) + cut_in("m2", "m1.left", inner)
    spread = assemble(parse_description(text))
    outlines = {name: panel.outline for name, panel in spread.panels.items()}
    found = find_lines(outlines, {hinge.id: (hinge.lines[0], hinge.panels) for hinge in spread.creases("page")})
    assert card_of(list(outlines.values())).area == pytest.approx(296.0 * 210.0, abs=1e-4)
    lengths = sum(np.hypot(*(hinge.lines[0][1] - hinge.lines[0][0])) for hinge in spread.creases("page"))
    assert total(found.creases) == pytest.approx(lengths, abs=1e-4)
