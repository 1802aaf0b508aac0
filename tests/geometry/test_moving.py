"""Motion: speed of the tips against the closed form, and dead points."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geometry import assemble, parse_description
from geometry.checks import moving
from geometry.checks.moving import check_motion, speeds
from geometry.linkage import PlanarCell
from geometry.model import Angle, CellOnFold
from tests.geometry.scene_texts import HEAD, SCENES, tent


def test_the_speed_of_a_ridge_is_that_of_the_closed_form():
    """Equal tent: the ridge stands at b cos(t/2) + sqrt(c2 - b2 sin2(t/2)) from the spine, on the bisector."""
    spread = assemble(parse_description(HEAD + tent("roof", body="at = 60; length = 50; base = 30; height = 40")))
    (speed,) = speeds(spread)
    edges = np.radians(np.arange(0.0, 181.0))
    far = 30 * np.cos(edges / 2) + np.sqrt(1600 - (30 * np.sin(edges / 2)) ** 2)
    ridge = np.stack([far * np.cos(edges / 2), far * np.sin(edges / 2)], axis=1)
    left_foot = 30 * np.stack([np.cos(edges), np.sin(edges)], axis=1)
    fastest = max(np.linalg.norm(np.diff(path, axis=0), axis=1).max() for path in (ridge, left_foot))
    assert speed.mm_per_deg == pytest.approx(fastest, rel=1e-9)
    assert speed.mechanism == "roof"


@pytest.mark.parametrize("name", SCENES)
def test_scenes_have_no_dead_point_inside_their_motion(name):
    assert check_motion(assemble(parse_description(SCENES[name]))) == []


def on_a_fold_twice_as_fast():
    """A tent whose fold turns twice as fast as the spine: made by hand, for no mechanism makes such a fold."""
    spread = assemble(parse_description(HEAD + tent("roof", body="at = 60; length = 50; base = 30; height = 30.0")))
    (item,) = spread.cells
    return spread, CellOnFold(item.id, item.cell, Angle("spine", 2.0, 0.0), item.fold)


def test_a_cell_that_passes_through_flat_on_its_way_is_at_a_dead_point():
    """On a fold that runs from 0 to 360 degrees the tent of four equal sides lies flat half-way."""
    spread, cell = on_a_fold_twice_as_fast()
    # 3 degrees lie between two samples; the default limit of 4 is met at 92 degrees to the last bit, more or less.
    limits = replace(spread.limits, dead_point=3.0)
    (finding,) = check_motion(replace(spread, cells=(cell,), limits=limits))
    assert finding.code == "dead-point"
    assert finding.severity == "warning"
    assert finding.opening_deg == 90.0
    assert finding.measure == pytest.approx(0.0, abs=1e-6)
    assert "from 89 to 91 degrees" in finding.message
    assert "flat" in finding.message


def test_the_limit_decides_how_near_is_near():
    spread, cell = on_a_fold_twice_as_fast()
    high = replace(cell, cell=PlanarCell(30, 30, 33, 33))
    nearest = np.degrees(2 * np.arcsin(30 / 33))
    for limit, hit in ((180 - nearest + 1, True), (180 - nearest - 1, False)):
        limits = replace(spread.limits, dead_point=limit)
        found = check_motion(replace(spread, cells=(high,), limits=limits))
        assert bool(found) is hit
        if hit:
            assert found[0].measure == pytest.approx(180 - nearest, abs=1e-6)


def test_stretches_at_either_end_are_left_out():
    flags = np.array([1, 1, 0, 1, 0, 0, 1], dtype=bool)
    assert moving._inside(flags).tolist() == [False, False, False, True, False, False, False]
    assert not moving._inside(np.ones(5, dtype=bool)).any()
    assert not moving._inside(np.zeros(5, dtype=bool)).any()
