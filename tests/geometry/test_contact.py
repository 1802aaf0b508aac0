"""Where outlines meet a line: the part of a hinge that is really there."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Polygon, box

from geometry.contact import common_spans, edge_spans

ALONG = np.array([0.0, 1.0])
ORIGIN = np.zeros(2)


def spans(outline, origin=ORIGIN, direction=ALONG):
    return [pytest.approx(span) for span in edge_spans(outline, origin, direction)]


def test_an_edge_on_the_line_is_a_span():
    assert edge_spans(box(0, 10, 30, 40), ORIGIN, ALONG) == spans(box(-30, 10, 0, 40)) == [(10.0, 40.0)]


def test_neighbouring_edges_are_one_span_and_separate_ones_two():
    ring = Polygon([(0, 0), (0, 10), (0, 25), (5, 25), (5, 30), (0, 30), (0, 40), (20, 40), (20, 0)])
    assert edge_spans(ring, ORIGIN, ALONG) == [(0.0, 25.0), (30.0, 40.0)]


def test_edges_of_holes_count():
    sheet = Polygon(box(-10, 0, 10, 50).exterior, [box(0, 20, 5, 30).exterior])
    assert edge_spans(sheet, ORIGIN, ALONG) == [(20.0, 30.0)]


def test_crossing_touching_and_nearly_parallel_edges_do_not_count():
    assert edge_spans(box(-10, 0, 10, 50), ORIGIN, ALONG) == []
    assert edge_spans(Polygon([(0, 5), (10, 0), (10, 10)]), ORIGIN, ALONG) == []
    assert edge_spans(Polygon([(0, 0), (0.01, 50), (10, 50)]), ORIGIN, ALONG) == []


def test_places_are_measured_from_the_origin_along_the_direction():
    slanted = np.array([0.6, 0.8])
    corner = np.array([3.0, 4.0])
    ring = Polygon([corner, corner + 20 * slanted, corner + 20 * slanted + [8, -6], corner + [8, -6]])
    assert edge_spans(ring, corner - 5 * slanted, slanted) == [pytest.approx((5.0, 25.0))]
    assert edge_spans(ring, corner, -slanted) == [pytest.approx((-20.0, 0.0))]


def test_common_spans_are_intersections():
    assert common_spans([(0, 10), (20, 30)], [(5, 25)]) == [(5, 10), (20, 25)]
    assert common_spans([(0, 10)], [(10, 20)]) == []
    assert common_spans([(0, 10)], [(10 - 1e-5, 20)]) == []
    assert common_spans([], [(0, 1)]) == []
