"""V-fold: where it stands, what its net is, what follows from what is left out."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geometry import DescriptionError, assemble, parse_description
from geometry.poses import poses_data
from tests.geometry import judge
from tests.geometry.scene_texts import BIG, HEAD, v_fold


def built(body, fold="spine", before=""):
    return assemble(parse_description(HEAD + before + v_fold("hill" if not before else "bird", fold, body)))


def problem(body, before="", fold="spine"):
    with pytest.raises(DescriptionError) as caught:
        built(body, fold, before)
    (found,) = caught.value.problems
    return found


def glue_line(spread, side, opening_deg, name="hill"):
    scene = judge.posed(poses_data(spread, [opening_deg]))
    hinge = next(hinge for hinge in scene.hinges if hinge["id"] == f"{name}.{side}.glue")
    return scene.world(hinge["panels"][0], hinge["line"][0])[0]


@pytest.mark.parametrize(("left", "right"), [(45, 45), (60, 45), (30, 75), (130, 130), (120, 140), (100, 70), (90, 90)])
def test_the_glue_lines_start_at_the_apex_and_run_at_the_angles(left, right):
    spread = built(f"at = 100; angle_left = {left}; angle_right = {right}; height = 50; width = 40")
    for side, angle, sign in (("left", left, -1), ("right", right, 1)):
        apex, end = sorted(glue_line(spread, side, 180.0), key=lambda point: abs(point[0]))
        assert apex == pytest.approx([0, 100, 0], abs=1e-9)
        way = np.radians(angle)
        assert end == pytest.approx([sign * 40 * np.sin(way), 100 + 40 * np.cos(way), 0], abs=1e-9)


@pytest.mark.parametrize("angles", [(45, 45), (60, 45), (130, 130), (120, 135)])
def test_left_to_itself_it_closes_flat_and_its_crease_is_nearly_square_to_both_glue_lines(angles):
    spread = built(f"at = 100; angle_left = {angles[0]}; angle_right = {angles[1]}; height = 50")
    (item,) = spread.cells
    betas = np.degrees([item.cell.beta_left, item.cell.beta_right])
    assert betas.mean() == pytest.approx(90.0)
    assert abs(betas[0] - betas[1]) == pytest.approx(abs(angles[0] - angles[1]))
    assert item.cell.solve(0.0).middle[0] == 0.0


def test_one_crease_angle_gives_the_other():
    cell = built("at = 100; angle_left = 50; angle_right = 60; crease_angle_right = 80; height = 50").cells[0].cell
    assert np.degrees([cell.beta_left, cell.beta_right]) == pytest.approx([90.0, 80.0])


def test_what_contradicts_is_kept_as_given():
    cell = built("at = 100; angle = 50; crease_angle_left = 70; crease_angle_right = 80; height = 50").cells[0].cell
    assert np.degrees([cell.beta_left, cell.beta_right]) == pytest.approx([70.0, 80.0])


def test_a_flat_closed_crease_lies_at_the_sum_of_the_angles():
    spread = built("at = 60; angle = 45; crease_angle = 60; height = 50")
    scene = judge.posed(poses_data(spread, [0.0]))
    tip = scene.world("hill.right", [[0.0, 50.0]])[0, 0]
    way = np.radians(105.0)
    assert tip == pytest.approx([50 * np.sin(way), 60 + 50 * np.cos(way), 0.0], abs=1e-9)


@pytest.mark.parametrize("printed", ["outer", "inner"])
def test_the_net_has_its_apex_at_zero_and_its_crease_upwards(printed):
    spread = built(f'at = 60; angle = 45; crease_angle = 70; height = 50; width = 30; printed = "{printed}"')
    left, right = spread.panels["hill.left"].outline, spread.panels["hill.right"].outline
    assert left.area == right.area == pytest.approx(50 * 30 * np.sin(np.radians(70)))
    crease = next(hinge for hinge in spread.hinges if hinge.id == "hill.middle")
    assert crease.lines[0].tolist() == crease.lines[1].tolist() == [[0.0, 0.0], [0.0, 50.0]]
    # Seen from the printed face: the outer face has the left panel on its left, the inner one on its right.
    assert (left.centroid.x < 0) == (printed == "outer")
    assert (right.centroid.x > 0) == (printed == "outer")


@pytest.mark.parametrize("side", ["valley", "mountain"])
@pytest.mark.parametrize("printed", ["outer", "inner"])
@pytest.mark.parametrize("angle", [45, 130])
def test_the_printed_face_is_the_one_asked_for(side, printed, angle):
    """The outer face of either panel looks away from the host fold, over the page beyond its glue line."""
    spread = built(f'at = 100; angle = {angle}; height = 50; width = 40; side = "{side}"; printed = "{printed}"')
    scene = judge.posed(poses_data(spread, [100.0]))
    for name in ("left", "right"):
        line = glue_line(spread, name, 100.0)
        matrix = scene.matrices[f"hill.{name}"][0]
        # From the spine square to the glue line, outwards: the part of the page that is seen when the book is read.
        along = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
        spine = np.array([0.0, 1.0 if angle < 90 else -1.0, 0.0])
        outwards = (spine @ along) * along - spine
        assert (matrix[:3, 2] @ outwards > 0) == (printed == "outer")


@pytest.mark.parametrize("angle", [15, 45, 80, 100, 150])
@pytest.mark.parametrize("direction", ["inner", "outer"])
def test_tabs_are_chamfered_stop_short_of_the_apex_and_lie_on_their_page(angle, direction):
    spread = built(f'at = 100; angle = {angle}; height = 60; width = 60; tab = "{direction}"; tab_width = 9')
    for area, sign in zip(spread.glue_areas, (-1, 1), strict=True):
        assert area.host == ("page.left" if sign < 0 else "page.right")
        assert area.face == "front"
        tab = area.outline
        assert spread.panels[area.host].outline.contains(tab)
        assert tab.distance(shapely.Point(0, 100)) > 1.4
        assert tab.distance(shapely.LineString([(0, 0), (0, 210)])) > 0.5
        side = "left" if sign < 0 else "right"
        outline = spread.panels[f"hill.{side}.tab"].outline
        assert outline.area == pytest.approx(tab.area)
        panel = spread.panels[f"hill.{side}"].outline
        assert outline.intersection(panel).area == pytest.approx(0.0, abs=1e-9)
        # Two sides are chamfered: the far edge is shorter than the one at the hinge at both ends.
        assert len(outline.exterior.coords) == 5
        assert outline.distance(panel) == pytest.approx(0.0, abs=1e-9)
        inwards = np.degrees(np.arctan2(*(np.array(tab.centroid.coords[0]) - [0, 100]) * [sign, 1]))
        assert (
            (inwards < angle) == (direction == "inner") if angle < 90 else (inwards > angle) == (direction == "inner")
        )


def test_a_v_fold_on_a_ridge_and_on_feet_stands_on_panels_of_the_first():
    for fold, body, hosts in (
        ("hill.middle", 'at = 40; angle = 50; height = 20; side = "mountain"', {"hill.left", "hill.right"}),
        ("hill.left", "at = 40; angle = 40; height = 20", {"hill.left", "page.left"}),
        ("hill.right", 'at = 40; angle = 40; height = 20; side = "inner"', {"hill.right", "page.right"}),
    ):
        spread = built(body, fold, BIG)
        assert {area.host for area in spread.glue_areas if area.glued.startswith("bird")} == hosts


def test_a_free_edge_may_start_at_the_tip_and_end_at_the_foot():
    """The natural way to draw it, and the only one where the path must begin with M."""
    for crease_angle in (60, 75, 90, 110):
        way = np.radians(crease_angle)
        foot = float(40 * np.sin(way)), float(40 * np.cos(way))
        for end in (f"{foot[0]!r} {foot[1]!r}", f"{foot[0]:.3f} {foot[1]:.3f}"):
            body = f"at = 80; angle = 45; crease_angle = {crease_angle}; height = 50; width = 40"
            spread = built(f'{body}; edge = "M 0 50 L 20 60 L {end}"')
            corners = [(0, 0), foot, (20, 60), (0, 50)]
            assert spread.panels["hill.right"].outline.area == pytest.approx(shapely.Polygon(corners).area, rel=1e-4)


def test_windows_count_from_the_crease_on_both_sides_and_for_one():
    both = built("at = 60; angle = 45; height = 50; holes = [[[10, 10], [20, 10], [20, 20]]]")
    assert [len(both.panels[f"hill.{side}"].outline.interiors) for side in ("left", "right")] == [1, 1]
    assert both.panels["hill.left"].outline.interiors[0].centroid.x < 0
    one = built("at = 60; angle = 45; height = 50; holes_left = [[[10, 10], [20, 10], [20, 20]]]")
    assert [len(one.panels[f"hill.{side}"].outline.interiors) for side in ("left", "right")] == [1, 0]
    none = built("at = 60; angle = 45; height = 50; holes = [[[10, 10], [20, 10], [20, 20]]]; holes_left = []")
    assert [len(none.panels[f"hill.{side}"].outline.interiors) for side in ("left", "right")] == [0, 1]


@pytest.mark.parametrize(
    ("body", "key", "words"),
    [
        ("at = -1; angle = 45; height = 50", "at", "runs from 0 to 210 mm"),
        ("at = 210.1; angle = 45; height = 50", "at", "runs from 0 to 210 mm"),
        ("at = 60; angle_left = 45; height = 50", "angle", "one side only"),
        (
            "at = 60; angle_left = 30; angle_right = 140; height = 50; crease_angle_left = 80",
            "crease_angle_right",
            "30|-",
        ),
        ("at = 60; angle = 45; height = 50; width = 3", "width", "no room for a tab"),
        ("at = 60; angle = 2; height = 50", "width", "no room for a tab"),
        ("at = 60; angle = 45; height = 50; holes = [[[60, 10], [70, 10], [70, 20]]]", "holes", "not inside"),
        ("at = 60; angle = 45; height = 50; holes = [[[-5, 10], [5, 10], [5, 20]]]", "holes", "not inside"),
        ("at = 60; angle = 45; height = 50; edge = [[10, -10]]", "edge", "crosses itself"),
    ],
)
def test_what_cannot_be_built_is_told_with_its_key(body, key, words):
    found = problem(body)
    assert found.place.startswith(f'v-fold "hill", {key}')
    assert any(word in found.message for word in words.split("|")), found.message
    assert found.line


def test_at_is_counted_along_the_fold_it_stands_on():
    assert "hill.middle runs from 0 to 90 mm" in problem("at = 95; angle = 45; height = 20", BIG, "hill.middle").message
    assert "hill.left runs from 0 to 80 mm" in problem("at = 95; angle = 45; height = 20", BIG, "hill.left").message


def test_leaning_over_without_a_crease_angle_does_not_go_through_the_page():
    """Left to itself it must be something that can be made, or be refused, or be found fault with."""
    try:
        spread = built('at = 60; angle = 60; height = 50; lean = "over"')
    except DescriptionError:
        return
    scene = judge.posed(poses_data(spread, np.arange(0.0, 181.0, 5.0)))
    low, high = np.degrees(spread.reachable())
    reached = (scene.angles_deg >= low) & (scene.angles_deg <= high)
    assert scene.corners("hill.right")[reached, :, 2].min() >= -1e-6
