"""Tabs through a slot: the slit in the host, the glue on its back, and where there can be none."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import LineString, Polygon

from geometry import DescriptionError, assemble, parse_description
from geometry.checks import run_checks
from geometry.checks.strength import check_strength
from geometry.nets import draw_piece
from geometry.poses import poses_data
from tests.geometry import judge
from tests.geometry.scene_texts import HEAD, rider_on, tent, v_fold

HILL = v_fold("hill", body='at = 60; angle = 45; height = 50; tab = "through"')
WALL = v_fold("hill", body="at = 90; angle = 40; height = 90; width = 80")
#: Each with the panels that are slit.
THROUGH = {
    "v-fold": (HILL, ("page.left", "page.right")),
    "unequal v-fold": (
        v_fold("hill", body='at = 60; angle_left = 50; angle_right = 35; height = 60; tab = "through"'),
        ("page.left", "page.right"),
    ),
    "one side": (v_fold("hill", body='at = 60; angle = 45; height = 50; tab_left = "through"'), ("page.left",)),
    "tent": (
        tent("hill", body='at = 60; length = 50; base = 30; height = 40; tab = "through"'),
        ("page.left", "page.right"),
    ),
    "outside the book": (
        v_fold("hill", body='at = 60; angle = 60; height = 50; side = "mountain"; tab = "through"'),
        ("page.left", "page.right"),
    ),
    "on a crease": (
        WALL + v_fold("bird", "hill.middle", 'at = 40; angle = 40; height = 25; tab = "through"'),
        ("hill.left", "hill.right"),
    ),
}


def built(text):
    return assemble(parse_description(HEAD + text))


def slot(spread, panel):
    (ring,) = spread.panels[panel].outline.interiors
    return Polygon(ring)


def areas(spread):
    return [area for area in spread.glue_areas if slit(spread, area)]


def slit(spread, area):
    return spread.panels[area.glued].role == "tab" and len(spread.panels[area.host].outline.interiors) > 0


@pytest.mark.parametrize("name", THROUGH)
def test_the_slot_is_a_hairline_wider_than_the_card_and_lies_on_the_glue_line(name):
    text, slotted = THROUGH[name]
    spread = built(text)
    for area in areas(spread):
        hole = slot(spread, area.host)
        sides = np.sort(np.hypot(*np.diff(shapely.get_coordinates(hole.exterior), axis=0).T))
        assert sides[:2] == pytest.approx(0.3 + 0.2, abs=1e-6)
        line = next(hinge for hinge in spread.hinges if hinge.id == f"{area.glued}.glue").lines[1]
        assert hole.centroid.distance(LineString(line)) <= 1e-6
        # It takes the whole root of the tab, and half a millimetre more at each end.
        assert sides[2:] == pytest.approx(np.hypot(*(line[1] - line[0])) + 1.0, abs=1e-6)
        assert hole.buffer(1e-6).contains(LineString(line))
    holed = {panel.id for panel in spread.panels.values() if panel.outline.interiors}
    assert holed == set(slotted)


@pytest.mark.parametrize("name", THROUGH)
def test_it_is_glued_on_the_other_face_beside_its_slot(name):
    spread = built(THROUGH[name][0])
    assert areas(spread)
    plain = {area.glued: area.face for area in built(THROUGH[name][0].replace("through", "outer")).glue_areas}
    for area in areas(spread):
        hole = slot(spread, area.host)
        assert {area.face, plain[area.glued]} == {"front", "back"}
        assert area.outline.intersection(hole).area <= 1e-6
        assert area.outline.distance(hole) <= 1e-6
        assert area.outline.area == pytest.approx(spread.panels[area.glued].outline.area, rel=0.05)
        assert spread.panels[area.host].outline.buffer(1e-6).contains(area.outline)


@pytest.mark.parametrize("name", THROUGH)
def test_hinges_meet_and_the_tab_lies_in_its_hosts_plane(name):
    spread = built(THROUGH[name][0])
    scene = judge.posed(poses_data(spread, np.arange(0.0, 181.0, 5.0)))
    assert max(judge.hinge_gap(scene, hinge) for hinge in scene.hinges) <= 1e-9
    for area in areas(spread):
        own, host = scene.matrices[area.glued], scene.matrices[area.host]
        flat = np.linalg.inv(host) @ own
        assert np.abs(flat[:, 2, 3]).max() <= 1e-9
        assert np.abs(np.abs(flat[:, 2, 2]) - 1.0).max() <= 1e-9
    for hinge in scene.hinges:
        if hinge["kind"] == "crease" and not hinge["id"].endswith(".tab"):
            wrong = judge.turned_deg(judge.signed_dihedral_deg(scene, hinge), hinge["dihedral"])
            assert np.nanmax(np.abs(wrong)) <= 1e-4, hinge["id"]


@pytest.mark.parametrize("name", [name for name in THROUGH if name != "outside the book"])
def test_it_passes_every_check(name):
    spread = built(THROUGH[name][0])
    assert [finding.message for finding in run_checks(spread) if finding.severity != "note"] == []
    assert check_strength(spread) == []


def test_the_net_shows_the_slot_once_and_the_glue_on_the_back():
    spread = built(HILL)
    page = draw_piece(spread, "page")
    holes = [line for line in page.lines if line.line_class == "cut" and line.closed and len(line.points) == 4]
    lengths = sorted(line.length_mm for line in holes)[:2]
    assert lengths == pytest.approx([2 * (slot_length(spread, side) + 0.5) for side in ("left", "right")], abs=1e-4)
    marks = [line for line in page.lines if line.line_class == "glue"]
    assert len(marks) == 2
    assert not any(mark.tinted for mark in marks)
    assert sum("(on the back)" in text.text for text in page.texts) == 2


def slot_length(spread, side):
    hole = slot(spread, f"page.{side}")
    return np.hypot(*np.diff(shapely.get_coordinates(hole.exterior), axis=0).T).max()


def test_a_slot_keeps_its_distance_from_the_fold():
    spread = built(HILL)
    for side in ("left", "right"):
        assert slot(spread, f"page.{side}").distance(LineString([(0, 0), (0, 210)])) >= 2.0
    wide = built("[checks]\ncrease_to_cut = 6\n" + HILL)
    assert slot(wide, "page.left").distance(LineString([(0, 0), (0, 210)])) == pytest.approx(6.0, abs=0.1)


def test_what_is_glued_over_a_slot_is_found():
    spread = built(HILL + v_fold("bird", body='at = 50; angle = 45; height = 50; tab = "inner"; tab_width = 12'))
    found = [finding for finding in run_checks(spread) if finding.code == "glue" and finding.severity == "error"]
    assert {finding.panel for finding in found} == {"bird.left.tab", "bird.right.tab"}


def test_two_tabs_on_the_same_back_are_found():
    bird = v_fold("bird", body='at = 52; angle = 45; height = 50; tab = "through"')
    found = [finding.panel for finding in run_checks(built(HILL + bird)) if finding.code == "glue"]
    assert found
    front = rider_on("sign", "page.right", "at = [44, 80]; size = [8, 8]")
    assert not [finding for finding in run_checks(built(HILL + front)) if finding.code == "glue"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (tent("hill", body='at = 60; length = 50; base = 2; height = 40; tab = "through"'), "of the nearest crease"),
        (tent("hill", body='at = 0; length = 50; base = 30; height = 40; tab = "through"'), "of the nearest edge"),
        (tent("hill", body='at = 60; length = 50; base = 147; height = 149; tab = "through"'), "of the nearest edge"),
        (tent("hill", body='at = 60; length = 50; base = 148; height = 149; tab = "through"'), "beyond page.left"),
        (HILL + HILL.replace('"hill"', '"bird"'), "of the nearest edge or cut|beyond page.left"),
    ],
)
def test_where_there_can_be_no_slot_it_is_refused_in_one_sentence(text, words):
    with pytest.raises(DescriptionError) as caught:
        built(text)
    (found,) = caught.value.problems
    assert any(word in found.message for word in words.split("|")), found.message
    assert found.place.endswith("tab")
    assert "tab on the front" in found.message


def test_nothing_can_be_cut_from_panel_and_tab_as_one_card():
    text = HILL + '[[mechanism]]\nkind = "slit-cut-in"\nid = "c"\nfold = "hill.left"\nat = 20\nlength = 15\nwidth = 5\n'
    with pytest.raises(DescriptionError, match="needs card on both sides"):
        built(text)
