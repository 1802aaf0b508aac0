"""V-fold with its apex cut away: the same cell, panels and tabs that begin further out."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geometry import DescriptionError, assemble, parse_description
from geometry.checks import run_checks
from geometry.poses import poses_data
from tests.geometry import judge
from tests.geometry.scene_texts import HEAD, v_fold

OPENINGS = np.array([0.0, 1.0, *np.arange(10.0, 180.0, 10.0), 179.0, 180.0])
BODIES = {
    "equal": "at = 60; angle = 50; height = 50",
    "unequal": "at = 70; angle_left = 55; angle_right = 40; height = 60; width = 70",
    "backwards": "at = 120; angle = 130; height = 50",
    "leaning over": 'at = 60; angle_left = 70; angle_right = 60; height = 40; lean = "over"',
    "printed inside": 'at = 60; angle = 50; height = 50; printed = "inner"; tab = "outer"',
}


def built(body):
    return assemble(parse_description(HEAD + v_fold("hill", body=body)))


def problem(body):
    with pytest.raises(DescriptionError) as caught:
        built(body)
    (found,) = caught.value.problems
    return found


@pytest.mark.parametrize("name", BODIES)
def test_the_cell_and_every_pose_stay_the_same(name):
    whole, cut = built(BODIES[name]), built(f"{BODIES[name]}; apex_cut = 18")
    assert whole.cells == cut.cells
    before, after = (spread.pose(np.radians(OPENINGS)).matrices for spread in (whole, cut))
    for panel, matrix in before.items():
        assert np.array_equal(matrix, after[panel], equal_nan=True), panel


@pytest.mark.parametrize("name", BODIES)
@pytest.mark.parametrize(("left", "right"), [(18.0, 18.0), (12.0, 24.0), (0.0, 20.0)])
def test_hinges_begin_where_the_card_does(name, left, right):
    spread = built(f"{BODIES[name]}; apex_cut_left = {left}; apex_cut_right = {right}")
    hinges = {hinge.id: hinge for hinge in spread.hinges}
    for side, cut in (("left", left), ("right", right)):
        # The apex is 0, 0 on the net.
        near, far = sorted(np.hypot(*hinges[f"hill.{side}.glue"].lines[0].T))
        assert near == pytest.approx(cut, abs=1e-9)
        assert far == pytest.approx(spread.folds[(f"hill.{side}", "outer")].end, abs=1e-9)
        tab = shapely.get_coordinates(spread.panels[f"hill.{side}.tab"].outline)
        assert np.hypot(*tab.T).min() >= cut + 1.99 - 1e-9
        assert spread.folds[(f"hill.{side}", "outer")].start == cut
        assert not spread.panels[f"hill.{side}"].outline.buffer(-1e-6).contains(shapely.Point(0, 0))
    assert hinges["hill.middle"].lines[0][0] == pytest.approx([0.0, (left + right) / 2], abs=1e-9)
    scene = judge.posed(poses_data(spread, OPENINGS))
    assert max(judge.hinge_gap(scene, hinge) for hinge in scene.hinges) <= 1e-9


def test_what_is_cut_away_is_a_triangle_from_each_panel():
    whole, cut = (built(f"at = 60; angle = 50; height = 50{more}") for more in ("", "; apex_cut_left = 10"))
    # Square to each other, the crease and the glue lines: 10 mm along the left one, 5 along the crease; 0 on the right.
    for side, area in (("left", 10 * 5 / 2), ("right", 0.0)):
        lost = whole.panels[f"hill.{side}"].outline.area - cut.panels[f"hill.{side}"].outline.area
        assert lost == pytest.approx(area)


def test_it_passes_every_check_and_something_can_stand_under_it():
    text = HEAD + v_fold("hill", body="at = 100; angle = 50; height = 50; width = 60; apex_cut = 20")
    assert run_checks(assemble(parse_description(text))) == ()
    fold = assemble(parse_description(text)).folds[("hill.middle", "valley")]
    assert (fold.start, fold.end) == (20.0, 50.0)
    bird = v_fold("bird", "hill.middle", "at = 10; angle = 50; height = 10")
    with pytest.raises(DescriptionError) as caught:
        assemble(parse_description(text + bird))
    assert "hill.middle runs from 20 to 50 mm" in str(caught.value)


@pytest.mark.parametrize(
    ("body", "key", "words"),
    [
        ("apex_cut = 50", "apex_cut", "glue line 50 mm long"),
        ("width = 90; apex_cut = 60", "apex_cut", "nothing of the middle crease"),
        ("width_left = 20; apex_cut_left = 25", "apex_cut_left", "glue line 20 mm long"),
        ("apex_cut = 43", "width_left", "glue line 7.0 mm long"),
        ("apex_cut = -1", "apex_cut", "0"),
    ],
)
def test_what_cannot_be_built_is_told_with_its_key(body, key, words):
    found = problem(f"at = 60; angle = 50; height = 50; {body}")
    assert found.place.startswith(f'v-fold "hill", {key}')
    assert words in found.message
