"""The check of opening: the largest opening reached, and what locks there."""

from __future__ import annotations

import numpy as np
import pytest

from geometry import assemble, parse_description
from geometry.checks.opens_fully import check_opens_fully
from tests.geometry.scene_texts import BIG, HEAD, SCENES, cut_in, tent, v_fold


def found(body):
    return check_opens_fully(assemble(parse_description(HEAD + body)))


@pytest.mark.parametrize("name", SCENES)
def test_sound_scenes_have_no_finding(name):
    assert check_opens_fully(assemble(parse_description(SCENES[name]))) == []


@pytest.mark.parametrize(("base", "height"), [(40, 30), (40, 39), (40, 39.999), (30, 10)])
def test_a_tent_too_small_for_its_feet_locks_when_it_is_stretched(base, height):
    (finding,) = found(tent("tent", body=f"at = 60; length = 50; base = {base}; height = {height}"))
    lock = np.degrees(2 * np.arcsin(height / base))
    assert finding.code == "opens-fully"
    assert finding.severity == "error"
    assert finding.measure == finding.opening_deg == pytest.approx(lock, abs=1e-6)
    assert finding.unit == "deg"
    assert f"{lock:.2f} degrees" in finding.message
    assert (finding.piece, finding.panel) == ("tent", "tent.left")


@pytest.mark.parametrize(("alpha", "beta"), [(60, 40), (50, 49), (70, 20)])
def test_a_v_fold_locks_at_the_closed_form(alpha, beta):
    """cos delta = (cos 2 beta - cos^2 alpha)/sin^2 alpha."""
    (finding,) = found(v_fold("hill", body=f"at = 60; angle = {alpha}; crease_angle = {beta}; height = 40"))
    a, b = np.radians([alpha, beta])
    lock = np.degrees(np.arccos((np.cos(2 * b) - np.cos(a) ** 2) / np.sin(a) ** 2))
    assert finding.measure == pytest.approx(lock, abs=1e-6)


def test_just_large_enough_opens_fully():
    assert found(tent("tent", body="at = 60; length = 50; base = 40; height = 40")) == []
    assert found(v_fold("hill", body="at = 60; angle = 50; crease_angle = 50; height = 40")) == []


def test_a_lock_on_an_inner_fold_is_told_with_the_opening_and_the_limits_of_that_fold():
    (finding,) = found(BIG + tent("bird", "hill.middle", "at = 40; length = 30; base = 12; height = 6; tab_width = 4"))
    assert finding.panel == "bird.left"
    assert "hill.middle can be between 0.00 and 60.00 degrees" in finding.message
    assert finding.measure == pytest.approx(102.13, abs=0.01)


def test_every_cell_that_locks_first_is_named():
    twice = tent("a", body="at = 10; length = 50; base = 40; height = 30") + tent(
        "b", body="at = 90; length = 50; base = 40; height = 30"
    )
    assert [finding.panel for finding in found(twice)] == ["a.left", "b.left"]


def test_cut_ins_never_lock():
    for widths in (
        "width = 20",
        "width_left = 3; width_right = 60",
        "width_start = 0; width_end_left = 5; width_end_right = 70",
    ):
        assert found(cut_in("cut", body=f"at = 60; length = 50; {widths}")) == []
