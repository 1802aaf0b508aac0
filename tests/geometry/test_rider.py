"""Rider: where it lies, on which face, and across a fold."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geometry import DescriptionError, assemble, parse_description
from geometry.poses import poses_data
from tests.geometry import judge
from tests.geometry.scene_texts import BIG, HEAD, cut_in, rider, rider_on, v_fold


def problem(body):
    with pytest.raises(DescriptionError) as caught:
        assemble(parse_description(HEAD + body))
    (found,) = caught.value.problems
    return found


def posed(body, opening=180.0):
    return judge.posed(poses_data(assemble(parse_description(HEAD + body)), [opening]))


@pytest.mark.parametrize("turn", [0, 30, 90, 200, -45])
@pytest.mark.parametrize("face", ["front", "back"])
def test_it_lies_at_its_place_turned_on_its_panel(turn, face):
    scene = posed(rider_on("sun", "page.right", f'at = [70, 100]; size = [20, 10]; turn = {turn}; face = "{face}"'))
    matrix = scene.matrices["sun"][0]
    assert matrix[:3, 3] == pytest.approx([70, 100, 0])
    assert matrix[2, 2] == pytest.approx(1.0 if face == "front" else -1.0)
    way = np.radians(turn)
    # Its upwards direction turns counter-clockwise as seen on the panel's net, on either face.
    assert matrix[:3, 1] == pytest.approx([-np.sin(way), np.cos(way), 0], abs=1e-12)


def test_it_moves_with_its_panel_through_all_openings():
    text = BIG + rider_on("sun", "hill.left", "at = [-30, 60]; size = [50, 20]")
    scene = judge.posed(poses_data(assemble(parse_description(HEAD + text)), np.arange(0.0, 181.0, 5.0)))
    fixed = np.linalg.inv(scene.matrices["hill.left"]) @ scene.matrices["sun"]
    assert np.abs(fixed - fixed[0]).max() <= 1e-12


def test_the_glue_area_is_what_lies_on_the_host():
    spread = assemble(
        parse_description(HEAD + rider_on("sun", "page.right", 'at = [148, 100]; size = [20, 10]; face = "back"'))
    )
    (area,) = spread.glue_areas
    assert (area.host, area.glued, area.face) == ("page.right", "sun", "back")
    assert area.outline.equals(shapely.box(138, 95, 148, 105))


def test_glue_is_not_put_where_the_rider_has_a_window():
    body = "at = [70, 100]; size = [20, 20]; holes = [[[-5, -5], [5, -5], [5, 5], [-5, 5]]]"
    (area,) = assemble(parse_description(HEAD + rider_on("sun", "page.right", body))).glue_areas
    assert area.outline.area == pytest.approx(300.0)


@pytest.mark.parametrize("side", ["valley", "mountain"])
@pytest.mark.parametrize("fold", ["spine", "hill.middle"])
def test_across_a_fold_its_printed_face_looks_away_from_its_hosts(side, fold):
    body = f'at = [0, 30]; outline = [[-15, -8], [20, -8], [20, 8], [-15, 8]]; side = "{side}"'
    spread = assemble(parse_description(HEAD + BIG + rider("arch", fold, body)))
    scene = judge.posed(poses_data(spread, [80.0]))
    host = {"spine": "page", "hill.middle": "hill"}[fold]
    for name in ("left", "right"):
        level = scene.matrices[f"arch.{name}"][0, :3, 2] @ scene.matrices[f"{host}.{name}"][0, :3, 2]
        # Pages are printed on the valley side, the v-fold on its mountain side.
        same = (side == "valley") == (fold == "spine")
        assert level == pytest.approx(1.0 if same else -1.0)
        areas = [area for area in spread.glue_areas if area.glued == f"arch.{name}"]
        assert [area.face for area in areas] == ["front" if same else "back"]
    # Seen from its printed face, the part at positive x of its net is called right.
    assert (
        scene.outlines["arch.right"].bounds[2] == pytest.approx(20.0) or scene.outlines["arch.left"].bounds[2] == 20.0
    )


def test_it_offers_its_crease_as_a_fold_on_both_sides():
    text = rider("arch", "spine", "at = [0, 100]; size = [90, 100]")
    for side in ("valley", "mountain"):
        bird = v_fold("bird", "arch.middle", f'at = -20; angle = 45; height = 15; side = "{side}"')
        assert assemble(parse_description(HEAD + text + bird)).panels


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        (rider_on("r", "page.right", 'at = [5, 5]; size = [5, 5]; fold = "spine"'), "panel", "either panel or fold"),
        (rider_on("r", "page.rigt", "at = [5, 5]; size = [5, 5]"), "panel", "did you mean page.right?"),
        (rider_on("r", "page.right", "at = [5, 5]"), "outline", "either outline or size"),
        (
            rider_on("r", "page.right", "at = [5, 5]; size = [5, 5]; outline = [[0, 0], [5, 0], [0, 5]]"),
            "outline",
            "either outline or size",
        ),
        (rider_on("r", "page.right", "at = [5, 5]; size = [5, 0]"), "size", "above 0"),
        (rider_on("r", "page.right", "at = [500, 5]; size = [5, 5]"), "at", "beside page.right"),
        (rider_on("r", "page.right", 'at = [50, 5]; size = [5, 5]; side = "valley"'), "side", "face"),
        (
            rider_on("r", "page.right", "at = [50, 5]; size = [5, 5]; holes = [[[0, 0], [9, 0], [0, 9]]]"),
            "holes",
            "not inside",
        ),
        (rider("r", "spine", "at = [3, 5]; size = [5, 5]"), "at", "[0, place along the fold]"),
        (rider("r", "spine", "at = [0, 5]; size = [5, 5]; turn = 5"), "turn", "side"),
        (rider("r", "spine", "at = [0, 50]; outline = [[1, 0], [9, 0], [9, 9]]"), "outline", "both sides of the fold"),
        (rider("r", "spine", "at = [0, 500]; size = [5, 5]"), "at", "beside"),
        (BIG + rider("r", "hill.left", "at = [0, 40]; size = [5, 5]"), "fold", "choose a crease"),
        (BIG + rider("r", "spine", 'at = [0, 40]; size = [5, 5]; side = "outer"'), "side", "one of valley, mountain"),
    ],
)
def test_what_cannot_be_glued_is_told_with_its_key(text, key, words):
    found = problem(text)
    assert words in found.message
    assert found.place == f'rider "r", {key}'
    assert found.line


def test_across_a_crease_broken_by_a_cut_it_is_still_one_piece_of_two_halves():
    text = cut_in("step") + rider("arch", "spine", "at = [0, 60]; size = [30, 30]")
    spread = assemble(parse_description(HEAD + text))
    assert {area.host for area in spread.glue_areas} == {"page.left", "page.right"}
    assert sum(area.outline.area for area in spread.glue_areas) == pytest.approx(30 * 15)
