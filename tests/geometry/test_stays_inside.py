"""The check of staying inside: areas and overshoots against shapely on the poses alone."""

from __future__ import annotations

import re

import numpy as np
import pytest
import shapely
from shapely import Polygon, box

from geometry import assemble, parse_description, read_description
from geometry.checks.stays_inside import check_stays_inside
from geometry.poses import poses_data
from tests.geometry import judge
from tests.geometry.random_scenes import random_scene
from tests.geometry.scene_texts import FILES, HEAD, SCENES, WRONG, rider_on, tent, v_fold

PAGE = box(0, 0, 148, 210)


def closed(spread):
    """Every panel's outline in world x, y of the shut book, from the poses."""
    scene = judge.posed(poses_data(spread, [0.0]))
    shapes = {}
    for name, outline in scene.outlines.items():
        rings = [
            scene.world(name, np.asarray(ring.coords))[0, :, :2] for ring in [outline.exterior, *outline.interiors]
        ]
        if np.isfinite(rings[0]).all() and not name.startswith("page."):
            shapes[name] = Polygon(rings[0], rings[1:])
    return shapes


def agrees_with_shapely(spread, margin=0.0):
    width, height = spread.page_size_mm
    page, free = box(0, 0, width, height), box(0, margin, width - margin, height - margin)
    findings = {finding.panel: finding for finding in check_stays_inside(spread)}
    expected = {}
    for name, shape in closed(spread).items():
        for limit, severity in ((page, "error"), (free, "warning")):
            outside = shape.difference(limit)
            if outside.area > 1e-6:
                corners = [shapely.Point(point) for point in shapely.get_coordinates(outside)]
                expected[name] = (severity, outside.area, max(limit.distance(corner) for corner in corners))
                break
    assert set(findings) == set(expected)
    for name, (severity, area, overshoot) in expected.items():
        finding = findings[name]
        assert finding.severity == severity
        assert finding.measure == pytest.approx(overshoot, abs=1e-9)
        assert finding.unit == "mm"
        written = float(re.search(r"\(([\d.]+) mm2\)", finding.message)[1])
        assert written == pytest.approx(area, abs=0.051)
    return expected


@pytest.mark.parametrize("name", [*SCENES, *(name for name in WRONG if name != "never stands")])
def test_findings_are_those_of_shapely(name):
    text = SCENES.get(name) or HEAD + WRONG[name][0]
    agrees_with_shapely(assemble(parse_description(text)))


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_the_scenes_of_the_project_stay_inside(file):
    spread = assemble(read_description(file)).folding
    assert check_stays_inside(spread) == []
    if not any(hand.beyond_mm for hand in spread.hands):
        # Handles and rims may stand out: see test_pull_strip.py and test_wheel.py.
        assert agrees_with_shapely(spread, spread.margin_mm) == {}


def test_random_nests_agree_too():
    outside = 0
    for seed in range(1000, 1060):
        try:
            spread = assemble(parse_description(random_scene(seed, most=4)))
        except ValueError:
            continue
        outside += len(agrees_with_shapely(spread))
    assert outside > 10


def test_areas_are_in_the_findings_as_numbers():
    """DESIGN.md, section 5: area and largest overshoot of each panel; a program must not have to read a sentence."""
    spread = assemble(parse_description(HEAD + WRONG["sticks out"][0]))
    expected = agrees_with_shapely(spread)
    for finding in check_stays_inside(spread):
        numbers = [value for value in finding.as_dict().values() if isinstance(value, float)]
        assert any(number == pytest.approx(expected[finding.panel][1], abs=1e-6) for number in numbers)


@pytest.mark.parametrize(
    ("at", "edge", "overshoot"),
    [
        ("[145, 100]", "the fore edge", 7.0),
        ("[70, 3]", "the foot", 2.0),
        ("[70, 206]", "the head", 1.0),
        ("[2, 100]", "snags the spine", 8.0),
    ],
)
def test_the_edge_it_sticks_out_of_is_named(at, edge, overshoot):
    spread = assemble(parse_description(HEAD + rider_on("sun", "page.right", f"at = {at}; size = [20, 10]")))
    (finding,) = check_stays_inside(spread)
    assert finding.severity == "error"
    said = f"{edge}: {overshoot:.2f} mm of it" if "spine" in edge else f"sticks out {overshoot:.2f} mm beyond {edge} of"
    assert said in finding.message
    assert finding.measure == pytest.approx(overshoot)
    assert finding.opening_deg == 0.0
    matrix = spread.pose(0.0).matrices["sun"][0]
    place = matrix @ [*finding.place_mm, 0.0, 1.0]
    assert PAGE.exterior.distance(shapely.Point(place[:2])) == pytest.approx(overshoot)


def test_the_margin_is_a_warning_along_three_edges_and_not_at_the_spine():
    text = HEAD.replace('"A5"', '"A5"\nmargin = 5')
    for at, reached in (
        ("[135, 100]", True),
        ("[70, 12]", True),
        ("[70, 198]", True),
        ("[11, 100]", False),
        ("[133, 15]", False),
    ):
        spread = assemble(parse_description(text + rider_on("sun", "page.right", f"at = {at}; size = [20, 20]")))
        findings = check_stays_inside(spread)
        assert bool(findings) == reached
        assert all(finding.severity == "warning" and "margin" in finding.message for finding in findings)
    spread = assemble(parse_description(text + v_fold("hill", body="at = 150; angle = 45; height = 80")))
    assert agrees_with_shapely(spread, margin=5.0)


def test_a_flat_closed_tent_reaches_base_and_height():
    spread = assemble(parse_description(HEAD + tent("tent", body="at = 60; length = 50; base = 80; height = 80")))
    findings = check_stays_inside(spread)
    assert [finding.panel for finding in findings] == ["tent.left", "tent.right"]
    assert [finding.measure for finding in findings] == pytest.approx([12.0, 12.0])


def test_tabs_and_windows_count():
    spread = assemble(
        parse_description(
            HEAD + tent("tent", body='at = 60; length = 50; base = 145; height = 150; lean = "over"; tab = "outer"')
        )
    )
    assert {finding.panel for finding in check_stays_inside(spread)} >= {"tent.left.tab", "tent.right.tab"}
    windowed = rider_on(
        "sun", "page.right", "at = [148, 100]; size = [20, 20]; holes = [[[2, -5], [8, -5], [8, 5], [2, 5]]]"
    )
    expected = agrees_with_shapely(assemble(parse_description(HEAD + windowed)))
    assert expected["sun"][1] == pytest.approx(200 - 60)


@pytest.mark.parametrize(
    ("at", "turn", "edge"),
    [("[129, 105]", 0, "the fore edge"), ("[74, 191]", 90, "the head"), ("[74, 19]", 270, "the foot")],
)
def test_a_handle_may_stand_out_of_each_outer_edge_as_far_as_it_says(at, turn, edge):
    """A strip that runs 22 mm towards an edge 19 mm away."""
    strip = (
        f'[[mechanism]]\nkind = "pull-strip"\nid = "pull"\npanel = "page.right"\nat = {at}\nturn = {turn}\n'
        "length = 22\nwidth = 8\ntravel = 2\nguides = [8]\n"
    )
    spread = assemble(parse_description(HEAD + strip + "beyond = 2\n"))
    (finding,) = check_stays_inside(spread)
    assert (finding.severity, finding.panel) == ("error", "pull.strip")
    assert finding.measure == pytest.approx(1.0)
    assert f"sticks out 3.00 mm, 1.00 mm more than it may, beyond {edge}" in finding.message
    assert check_stays_inside(assemble(parse_description(HEAD + strip + "beyond = 3\n"))) == []


def test_no_handle_may_stand_out_at_the_spine():
    strip = (
        '[[mechanism]]\nkind = "pull-strip"\nid = "pull"\npanel = "page.right"\nat = [19, 105]\nturn = 180\n'
        "length = 22\nwidth = 8\ntravel = 2\nguides = [8]\nbeyond = 6\n"
    )
    (finding,) = check_stays_inside(assemble(parse_description(HEAD + strip)))
    assert "snags the spine: 3.00 mm" in finding.message
