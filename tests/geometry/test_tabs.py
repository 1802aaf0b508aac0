"""Tabs: chamfered on both sides, short of both ends, clear of the fold, and refused where there is no room."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon

from geometry.errors import MechanismError
from geometry.mechanisms.tabs import TabPlan, tab_ring


def plan(inner, width=10.0, length=50.0, sector_deg=45.0, distance=0.0):
    return TabPlan(inner, width, length, np.radians(sector_deg), distance)


def test_a_tab_away_from_the_fold_is_as_wide_as_asked_for():
    ring = tab_ring(plan(False), "width")
    assert ring[:2, 1].tolist() == [0.0, 0.0]
    assert ring[2:, 1].tolist() == [10.0, 10.0]
    assert ring[1, 0] <= 50.0 - 1.9
    assert ring[0, 0] >= 1.9
    assert ring[3, 0] - ring[0, 0] == pytest.approx(10.0 / np.tan(np.radians(60.0)))
    assert ring[1, 0] - ring[2, 0] == pytest.approx(10.0 / np.tan(np.radians(60.0)))


@settings(max_examples=500, deadline=None, derandomize=True, database=None)
@given(
    st.booleans(),
    st.floats(0.5, 60.0),
    st.floats(1.0, 200.0),
    st.floats(0.5, 179.5) | st.just(0.0),
    st.floats(0.0, 80.0),
)
def test_every_tab_is_sound_or_refused(inner, width, length, sector_deg, distance):
    try:
        ring = tab_ring(plan(inner, width, length, sector_deg, distance), "width_left")
    except MechanismError as error:
        refused = error
    else:
        refused = None
    if refused is not None:
        assert refused.key == "width_left"
        assert "no room for a tab" in str(refused)
        return
    outline = Polygon(ring)
    assert outline.is_valid
    assert outline.exterior.is_ccw
    assert 3.0 - 1e-9 <= ring[:, 1].max() <= width + 1e-9
    assert ring[:, 0].min() >= 1.9
    assert ring[:, 0].max() <= length - 1.9
    # How far each corner is from the host fold, on its side of it.
    sine, cosine = np.sin(np.radians(sector_deg)), np.cos(np.radians(sector_deg))
    clearance = distance + ring[:, 0] * sine + (-1 if inner else 1) * ring[:, 1] * cosine
    # Where the hinge line is parallel to the fold, the tab's near corners are where the line is.
    assert clearance[0 if sector_deg else 2 :].min() >= (1.0 if sector_deg else min(1.0, distance))


@pytest.mark.parametrize(
    ("asked", "narrowed"),
    [(plan(True, distance=30.0, sector_deg=0.0), 10.0), (plan(True, 10.0, distance=8.0, sector_deg=0.0), 6.5)],
)
def test_a_tab_towards_the_fold_gives_way_to_it(asked, narrowed):
    width = tab_ring(asked, "base_left")[:, 1].max()
    assert 0.85 * narrowed <= width <= narrowed
