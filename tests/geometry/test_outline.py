"""Outlines: points and path data, curves within their tolerance, and words for what cannot be cut."""

from __future__ import annotations

import contextlib
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely import LineString, Point, Polygon, box

from geometry.errors import HingeleafError
from geometry.outline import closed_outline, cut_window, parts_of, polyline, single_polygon
from geometry.tolerances import CHORD_MM

FUZZ = settings(
    max_examples=300, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True, database=None
)


def test_points_stay_as_they_are():
    points = [[0, 0], [12.5, -3], [7, 1e3]]
    assert polyline(points).tolist() == points
    assert polyline("M 0 0 L 12.5 -3 L 7 1000").tolist() == points


def test_relative_horizontal_and_vertical_lines():
    assert polyline("m 1 2 l 3 4 h 5 v -6 H 0 V 0").tolist() == [[1, 2], [4, 6], [9, 6], [9, 0], [0, 0], [0, 0]][:5]


def bezier(points, t):
    """De Casteljau's construction."""
    level = [np.asarray(point, dtype=float) + 0 * t[:, None] for point in points]
    while len(level) > 1:
        level = [(1 - t)[:, None] * a + t[:, None] * b for a, b in pairwise(level)]
    return level[0]


CURVES = {
    "C": ([(0, 0), (30, 80), (70, -60), (100, 20)], "M 0 0 C 30 80 70 -60 100 20"),
    "loop": ([(0, 0), (150, 80), (-50, 80), (100, 0)], "M 0 0 C 150 80 -50 80 100 0"),
    "Q": ([(0, 0), (30, 80), (100, 20)], "M 0 0 Q 30 80 100 20"),
    "tiny": ([(0, 0), (0.01, 0.05), (0.02, 0.03), (0.05, 0)], "M 0 0 C 0.01 0.05 0.02 0.03 0.05 0"),
    "symmetric S": ([(0, 0), (0, 100), (100, -100), (100, 0)], "M 0 0 C 0 100 100 -100 100 0"),
    "cusp": ([(0, 0), (100, 100), (0, 100), (100, 0)], "M 0 0 C 100 100 0 100 100 0"),
}


@pytest.mark.parametrize("name", CURVES)
def test_curves_become_lines_that_are_nowhere_too_far_from_them(name):
    points, path = CURVES[name]
    line = polyline(path)
    exact = bezier(points, np.linspace(0.0, 1.0, 20001))
    chain = LineString(line)
    assert shapely.distance(chain, shapely.points(exact)).max() <= CHORD_MM
    inside = np.concatenate([line[:-1] + share * np.diff(line, axis=0) for share in (0.0, 0.25, 0.5, 0.75)])
    assert shapely.distance(LineString(exact), shapely.points(inside)).max() <= CHORD_MM + 1e-6
    assert len(line) < 600


def test_arcs_are_round():
    half = polyline("M -10 0 A 10 10 0 0 1 10 0")
    assert np.abs(np.hypot(*half.T) - 10.0).max() <= 1e-6
    area = closed_outline("M -10 0 A 10 10 0 1 0 10 0 A 10 10 0 1 0 -10 0 Z").area
    assert area == pytest.approx(np.pi * 100.0, rel=1e-3)


def test_a_closed_outline_needs_no_closing_point_and_bears_one():
    square = [[0, 0], [10, 0], [10, 10], [0, 10]]
    for written in (square, [*square, square[0]], "M 0 0 L 10 0 L 10 10 L 0 10 Z", "M 0 0 h 10 v 10 h -10 z"):
        assert closed_outline(written).equals(box(0, 0, 10, 10))


WRONG = {
    "crossing": ([[0, 0], [10, 10], [10, 0], [0, 10]], r"crosses itself \(near 5\.0, 5\.0 mm\)"),
    "two points": ([[0, 0], [10, 10]], "at least three points"),
    "one line": ([[0, 0], [5, 5], [10, 10]], "no area|crosses itself"),
    "one place": ([[1, 1], [1, 1], [1, 1]], "no area|crosses itself"),
    "a spike": ([[0, 0], [10, 0], [10, 5], [30, 5], [10, 5], [10, 10], [0, 10]], "crosses itself"),
    "triples": ([[0, 0, 0], [1, 1, 1], [1, 0, 0]], r"list of \[x, y\] pairs"),
    "flat list": ([1, 2, 3, 4], r"list of \[x, y\] pairs"),
    "nothing": ([], r"list of \[x, y\] pairs"),
    "text": ("hello", "path data"),
    "empty text": ("", "path data"),
    "letters only": ("M L Z", "path data|must begin"),
    "no start": ("L 5 5 L 6 7", "must begin with M|path data"),
    "two strokes": ("M 0 0 L 5 5 L 5 0 Z M 9 9 L 10 10 L 10 9 Z", "several strokes"),
    "far": ([[0, 0], [1e5, 0], [0, 1]], "more than 10 m away"),
    "far by path": ("M 0 0 L 1e300 0 L 0 1 Z", "more than 10 m away"),
    "many": ([[0, 0]] * 20_001, "at most 20000"),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_cannot_be_cut_is_told_in_words(name):
    value, words = WRONG[name]
    with pytest.raises(HingeleafError, match=words):
        closed_outline(value)


@FUZZ
@given(
    st.lists(
        st.sampled_from("MmLlHhVvCcSsQqTtAaZz,. -eE+")
        | st.floats().map(repr)
        | st.integers(-999, 999).map(str)
        | st.sampled_from(["1e400", "1e-400", "nan", "inf", "0 0", "1 1 0 0 1 5 5", "\n", "\x00"]),
        max_size=14,
    )
)
def test_no_path_data_makes_a_traceback(parts):
    for text in ("".join(parts), " ".join(parts), "M 0 0 " + " ".join(parts)):
        for read in (polyline, closed_outline):
            with contextlib.suppress(HingeleafError):
                result = read(text)
                assert np.isfinite(shapely.get_coordinates(result) if read is closed_outline else result).all()


@FUZZ
@given(st.lists(st.lists(st.floats(-200, 200) | st.just(0.0), min_size=2, max_size=2), min_size=0, max_size=7))
def test_an_outline_is_a_sound_polygon_or_refused(points):
    try:
        outline = closed_outline(points)
    except HingeleafError:
        return
    assert outline.is_valid
    assert outline.area > 0


def test_a_window_must_be_inside():
    sheet = box(0, 0, 100, 100)
    once = cut_window(sheet, box(10, 10, 20, 20))
    assert once.area == pytest.approx(9900.0)
    assert cut_window(once, box(30, 30, 40, 40)).area == pytest.approx(9800.0)
    for window in (
        box(90, 90, 110, 110),
        box(0, 0, 5, 5),
        box(12, 12, 15, 15),
        box(15, 15, 30, 30),
        box(200, 0, 210, 9),
    ):
        with pytest.raises(HingeleafError, match=r"a window near .* is not inside its panel"):
            cut_window(once, window)


def test_parts_leave_out_slivers_points_and_lines():
    shapes = shapely.GeometryCollection(
        [box(0, 0, 1, 1), Point(3, 3), LineString([(0, 0), (5, 5)]), box(2, 2, 2.0001, 2.0001)]
    )
    assert [part.area for part in parts_of(shapes)] == [1.0]
    assert parts_of(Polygon()) == []


def test_single_polygon_names_what_is_wrong():
    with pytest.raises(HingeleafError, match=r"the outline of the left panel crosses itself"):
        single_polygon(np.array([[0, 0], [10, 10], [10, 0], [0, 10.0]]), "the outline of the left panel")
