"""Tent: where it stands, what its net is, what follows from what is left out."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geometry import DescriptionError, assemble, parse_description
from geometry.checks import run_checks
from geometry.poses import poses_data
from tests.geometry import judge
from tests.geometry.scene_texts import HEAD, tent


def built(body, fold="spine", before=""):
    return assemble(parse_description(HEAD + before + tent("tent" if not before else "top", fold, body)))


def problem(body, before="", fold="spine"):
    with pytest.raises(DescriptionError) as caught:
        built(body, fold, before)
    (found,) = caught.value.problems
    return found


@pytest.mark.parametrize(("left", "right", "height"), [(30, 30, 40), (20, 35, 45), (35, 20, 30)])
def test_left_to_itself_the_other_side_is_as_high_as_closes_flat(left, right, height):
    spread = built(f"at = 60; length = 50; base_left = {left}; base_right = {right}; height_left = {height}")
    cell = spread.cells[0].cell
    assert left + height == pytest.approx(right + cell.width_right)
    other = built(f"at = 60; length = 50; base_left = {left}; base_right = {right}; height_right = {cell.width_right}")
    assert other.cells[0].cell.width_left == pytest.approx(height)


def test_ridge_and_feet_at_every_opening():
    """Against a triangle solved by itself: two glue lines, two sides."""
    spread = built("at = 60; length = 50; base_left = 20; base_right = 35; height_left = 45")
    scene = judge.posed(poses_data(spread, np.arange(0.0, 181.0, 10.0)))
    ridge = scene.world("tent.left", [[0.0, 0.0], [0.0, 50.0]])
    left = scene.matrices["page.left"] @ [-20.0, 60.0, 0.0, 1.0]
    assert ridge[:, 0, 1] == pytest.approx(np.full(19, 60.0), abs=1e-9)
    assert ridge[:, 1, 1] == pytest.approx(np.full(19, 110.0), abs=1e-9)
    assert np.linalg.norm(ridge[:, 0] - left[:, :3], axis=1) == pytest.approx(np.full(19, 45.0), abs=1e-9)
    assert np.linalg.norm(ridge[:, 0] - [35.0, 60.0, 0.0], axis=1) == pytest.approx(np.full(19, 30.0), abs=1e-9)
    assert ridge[0, 0] == pytest.approx([65.0, 60.0, 0.0], abs=1e-9)


@pytest.mark.parametrize("printed", ["outer", "inner"])
def test_the_net_has_its_ridge_at_zero(printed):
    spread = built(f'at = 60; length = 50; base = 30; height = 40; printed = "{printed}"')
    left, right = (spread.panels[f"tent.{side}"].outline for side in ("left", "right"))
    assert left.area == right.area == pytest.approx(2000.0)
    assert (left.bounds[0] < 0) == (printed == "outer")
    assert left.bounds[1::2] == right.bounds[1::2] == (0.0, 50.0)
    scene = judge.posed(poses_data(spread, [120.0]))
    # The printed outer face of the right panel looks to the right.
    assert (scene.matrices["tent.right"][0, 0, 2] > 0) == (printed == "outer")


def test_free_edges_go_from_the_ridge_to_the_foot_at_both_ends():
    spread = built(
        "at = 60; length = 50; base = 30; height = 40; edge_start = [[10, -5], [30, 4]]; edge_end_right = [[20, 6]]"
    )
    start = [(0, 0), (10, -5), (30, 4), (40, 0)]
    left = shapely.Polygon([*start, (40, 50), (0, 50)])
    right = shapely.Polygon([*start, (40, 50), (20, 56), (0, 50)])
    assert spread.panels["tent.left"].outline.area == pytest.approx(left.area)
    assert spread.panels["tent.right"].outline.area == pytest.approx(right.area)
    assert spread.panels["tent.right"].outline.equals(right)


def test_a_free_edge_may_start_at_the_ridge_and_end_at_the_foot():
    """With a height that is no round number, as where the other side follows from the closing condition."""
    body = (
        'at = 60; length = 50; base_left = 20; base_right = 33.3; height_left = 45.1; edge_{} = "M 0 0 L 10 4 L {} 0"'
    )
    for end in ("start_right", "end_right"):
        for foot in (45.1 + 20 - 33.3, round(45.1 + 20 - 33.3, 3)):
            assert built(body.format(end, foot)).panels


@pytest.mark.parametrize("direction", ["inner", "outer"])
@pytest.mark.parametrize(("left", "right"), [(30, 30), (20, 35)])
def test_tabs_lie_beside_their_glue_lines_on_the_side_asked_for(direction, left, right):
    spread = built(
        f"at = 60; length = 50; base_left = {left}; base_right = {right}; height_left = 50; "
        f'tab = "{direction}"; tab_width = 9'
    )
    for area, base, sign in zip(spread.glue_areas, (left, right), (-1, 1), strict=True):
        low, high = sorted(sign * value for value in area.outline.bounds[0::2])
        assert (low, high) == pytest.approx((base - 9, base) if direction == "inner" else (base, base + 9))
        assert area.outline.bounds[1] >= 60.0
        assert area.outline.bounds[3] <= 110.0


def test_a_tab_towards_a_near_fold_is_made_narrower():
    spread = built("at = 60; length = 50; base = 8; height = 20; tab_width = 20")
    for area in spread.glue_areas:
        inner, outer = sorted(np.abs(area.outline.bounds[0::2]))
        assert inner >= 1.4
        assert 3.0 <= outer - inner <= 6.6


@pytest.mark.parametrize(
    ("body", "key", "words"),
    [
        ("at = 180; length = 50; base = 30; height = 40", "at", "ends at 230; spine runs from 0 to 210 mm"),
        ("at = -1; length = 50; base = 30; height = 40", "at", "begins at -1"),
        ("at = 60; length = 50; base_left = 30; height = 40", "base", "one side only"),
        (
            "at = 60; length = 50; base_left = 10; base_right = 60; height_left = 40",
            "height_right",
            "would have to be -10.000 mm",
        ),
        ("at = 60; length = 50; base = 3; height = 40", "base", "no room for a tab"),
        ("at = 60; length = 5; base = 30; height = 40", "", "no room for a tab"),
        ("at = 60; length = 50; base = 30; height = 40; edge_end = [[10, -60]]", "edge_end", "crosses itself"),
        ("at = 60; length = 50; base = 30; height = 40; edge_start_left = [[10, 60]]", "edge_start", "crosses itself"),
        (
            "at = 60; length = 50; base = 30; height = 40; holes_left = [[[1, 1], [60, 2], [2, 3]]]",
            "holes_left",
            "not inside",
        ),
    ],
)
def test_what_cannot_be_built_is_told_with_its_key(body, key, words):
    found = problem(body)
    assert found.place.startswith(f'tent "tent", {key}')
    assert words in found.message


def test_no_room_along_the_glue_line_names_the_length():
    assert problem("at = 60; length = 5; base = 30; height = 40").place == 'tent "tent", length'


def test_leaning_over_closes_flat_between_the_glue_lines_and_the_fold():
    spread = built('at = 60; length = 50; base_left = 40; base_right = 50; height_left = 20; lean = "over"')
    assert spread.cells[0].cell.width_right == pytest.approx(30.0)
    ridge = judge.posed(poses_data(spread, [0.0])).world("tent.left", [[0.0, 0.0]])[0, 0]
    assert ridge == pytest.approx([20.0, 60.0, 0.0], abs=1e-9)


def test_leaning_over_further_than_the_fold_does_not_go_through_the_page():
    """A side longer than its base, leaning over, would lie beyond the fold: behind the page when the book is open."""
    try:
        spread = built('at = 60; length = 50; base = 30; height = 40; lean = "over"')
    except DescriptionError:
        return
    scene = judge.posed(poses_data(spread, np.arange(0.0, 181.0, 5.0)))
    reached = np.isfinite(scene.matrices["tent.right"][:, 0, 0])
    through = scene.corners("tent.right")[reached, :, 2].min() < -1e-6
    assert not through or any(finding.severity == "error" for finding in run_checks(spread))
