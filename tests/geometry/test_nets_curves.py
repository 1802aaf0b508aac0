"""Curves are found again in the points they were drawn with, true to the path that a person wrote.

Judge: svgelements' own lengths of paths (`Path.length`), and shapely's distances.
"""

import numpy as np
import pytest
import shapely
from svgelements import Path

from geometry.nets.curves import length_mm, refined, stretches
from geometry.outline import polyline

PATHS = {
    "cubic": ("M0 0 C 10 0 20 10 20 20", 0.0),
    "quadratic between lines": ("M0 0 L 5 0 Q 20 0 20 30 L 20 40", 15.0),
    "half a circle": ("M0 0 A 20 20 0 0 1 40 0", 0.0),
    "ellipse, line, circle": ("M0 0 A 30 15 25 0 1 40 0 L 40 -20 A 5 5 0 0 1 35 -25", 20.0),
    "two cubics": ("M0 0 C 0 30 40 30 40 0 C 41 -2 80 -30 80 0", 0.0),
    "wave": ("M0 0 C 10 10 20 -10 30 0", 0.0),
}


def moved(points, mirrored=False):
    turn = np.array([[np.cos(0.7), -np.sin(0.7)], [np.sin(0.7), np.cos(0.7)]])
    return points @ np.diag([-1.0 if mirrored else 1.0, 1.0]) @ turn.T + [30.0, -4.0]


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize(("data", "straight"), PATHS.values(), ids=PATHS)
def test_a_path_comes_back_as_its_curves(data, straight, mirrored):
    found = stretches(moved(polyline(data), mirrored), False)
    assert length_mm(found) == pytest.approx(Path(data).length(error=1e-10), abs=1e-4)
    drawn = sum(np.hypot(*(part.end - part.start)) for part in found if part.controls is None)
    assert drawn == pytest.approx(straight, abs=1e-6)
    exact = np.array([(point.x, point.y) for point in (Path(data).point(t) for t in np.linspace(0, 1, 400))])
    line = shapely.LineString(refined(found, False, 1e-5))
    assert shapely.distance(line, shapely.points(moved(exact, mirrored))).max() < 2e-5


def test_arcs_know_their_ellipse():
    arcs = [part.arc for part in stretches(moved(polyline("M0 0 A 30 15 0 0 1 40 0")), False)]
    assert all(arc is not None for arc in arcs)
    assert arcs[0].radii == pytest.approx([30.0, 15.0], abs=1e-4)
    assert np.tan(arcs[0].turn_rad) == pytest.approx(np.tan(0.7), abs=1e-4)
    # SVG's sweep flag 1 turns to the left where y runs upwards; mirrored, to the right.
    assert all(arc.left for arc in arcs)
    assert not any(part.arc.left for part in stretches(moved(polyline("M0 0 A 30 15 0 0 1 40 0"), True), False))


@pytest.mark.parametrize("shift", [0, 1, 7, 40])
def test_a_ring_may_begin_anywhere(shift):
    ring = shapely.get_coordinates(shapely.box(0, 0, 50, 30).buffer(5, quad_segs=24))[:-1]
    found = stretches(np.roll(ring, shift, axis=0), True)
    assert length_mm(found) == pytest.approx(160 + 10 * np.pi, abs=1e-4)
    assert sum(part.controls is None for part in found) == 4
    ends = np.array([part.end for part in found])
    assert np.array([part.start for part in found]) == pytest.approx(np.roll(ends, 1, axis=0), abs=1e-12)


def test_a_whole_circle():
    found = stretches(shapely.get_coordinates(shapely.Point(3, 4).buffer(30, quad_segs=64))[:-1], True)
    assert length_mm(found) == pytest.approx(60 * np.pi, abs=1e-4)
    assert 12 <= len(found) <= 16


def test_corners_that_a_person_drew_stay_corners():
    corners = 30 * np.stack([np.cos(np.arange(12) * np.pi / 6), np.sin(np.arange(12) * np.pi / 6)], axis=1)
    assert all(part.controls is None for part in stretches(corners, True))
    assert all(part.controls is None for part in stretches(np.array([[0.0, 0], [1, 1], [2, 0], [3, 1], [4, 0]]), False))


def test_a_stretch_ends_where_another_line_does():
    points = polyline("M0 0 A 20 20 0 0 1 40 0")
    ends = np.array([part.end for part in stretches(points, False)])
    node = next(point for point in points[5:] if np.hypot(*(ends - point).T).min() > 0.1)
    found = stretches(points, False, nodes=np.array([node, [500.0, 0.0]]))
    assert any(np.hypot(*(part.end - node)) < 1e-9 for part in found)
    assert length_mm(found) == pytest.approx(20 * np.pi, abs=1e-4)


def test_what_a_cut_left_of_a_curve_is_still_that_curve():
    whole = shapely.Polygon(polyline("M0 0 C 0 40 60 40 60 0 Z"))
    part = shapely.get_coordinates(whole.intersection(shapely.box(-1, 7.3, 61, 100)))[:-1]
    found = stretches(part, True)
    bent = [each for each in found if each.controls is not None]
    # Straight is the cut itself, and at each end what is left of a chord.
    assert len(found) - len(bent) <= 4
    full = length_mm(stretches(polyline("M0 0 C 0 40 60 40 60 0"), False))
    assert length_mm(tuple(bent)) > 0.6 * full
    exact = refined(stretches(polyline("M0 0 C 0 40 60 40 60 0"), False), False, 1e-5)
    own = np.concatenate([each.at(np.linspace(0, 1, 20)) for each in bent])
    assert shapely.distance(shapely.LineString(exact), shapely.points(own)).max() < 3e-5
