"""Fitting: each wish, on its own and with others; what is impossible says what stands in the way."""

from __future__ import annotations

import numpy as np
import pytest

from geometry import HingeleafError, assemble, parse_description
from geometry.checks import run_checks
from geometry.fit import fit, parse_free, parse_wish
from tests.geometry.scene_texts import HEAD, cut_in, rider_on, tent, v_fold


def fitted(body, mechanism, wishes, free):
    return fit(parse_description(HEAD + body), mechanism, [parse_wish(wish) for wish in wishes], free)


def crease(description, mechanism, opening):
    """Foot and tip of a v-fold's middle crease in the world."""
    spread = assemble(description)
    height = next(spec for spec in description.mechanisms if spec.id == mechanism).values["height"]
    matrix = spread.pose(np.radians([opening])).matrices[f"{mechanism}.left"][0]
    return matrix[:3, 3], (matrix @ [0.0, height, 0.0, 1.0])[:3]


HILL = v_fold("hill", body="at = 60; angle = 45; crease_angle = 80; height = 50; width = 40")


def test_square_at_90_degrees_wants_a_crease_angle_of_60():
    """REFERENCES.md: alpha 45, beta 60, opening 90: the middle crease is square to the spine (psi 70.5288)."""
    result = fitted(HILL, "hill", ["square@90"], ["crease_angle"])
    assert result.granted
    assert result.changes[0].after == pytest.approx(60.0, abs=1e-3)
    foot, tip = crease(result.description, "hill", 90.0)
    assert tip[1] - foot[1] == pytest.approx(0.0, abs=1e-2)


@pytest.mark.parametrize("opening", [60.0, 120.0, 180.0])
def test_square_at_other_openings(opening):
    """cos beta = cos 45 sin 0...: m is square to u where m.l = m.r = cos beta; see DESIGN.md, section 3."""
    result = fitted(HILL, "hill", [f"square@{opening}"], ["crease_angle"])
    foot, tip = crease(result.description, "hill", opening)
    assert tip[1] == pytest.approx(foot[1], abs=1e-2)
    # By hand: m lies in the plane that halves the fold, square to the spine: m.l = sin(alpha) cos(opening / 2).
    beta = np.degrees(np.arccos(np.sin(np.radians(45)) * np.cos(np.radians(opening / 2))))
    assert result.changes[0].after == pytest.approx(beta, abs=1e-3)


def test_a_tip_at_a_place():
    """The place of another v-fold's tip, so that it can be reached; found again from elsewhere."""
    aim = parse_description(
        HEAD + v_fold("hill", body="at = 66; angle = 45; crease_angle = 72; height = 44; width = 40")
    )
    x, y, z = crease(aim, "hill", 110.0)[1]
    result = fitted(HILL, "hill", [f"tip={x},{y},{z}@110"], ["at", "crease_angle", "height"])
    assert result.granted
    found = {change.key: change.after for change in result.changes}
    assert crease(result.description, "hill", 110.0)[1] == pytest.approx([x, y, z], abs=1e-2)
    assert found["height"] == pytest.approx(44, abs=0.05) or found["at"] != pytest.approx(66, abs=0.05)


@pytest.mark.parametrize("height", [30.0, 40.0])
def test_a_height(height):
    result = fitted(HILL, "hill", [f"height={height}@180"], ["height"])
    assert result.granted
    foot, tip = crease(result.description, "hill", 180.0)
    assert tip[2] == pytest.approx(height, abs=1e-2)
    assert foot[2] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("stand", [60.0, 75.0])
def test_stand_is_the_angle_to_the_open_page(stand):
    """Open flat, an equal v-fold stands at arccos of cos(beta)/cos(alpha)."""
    result = fitted(HILL, "hill", [f"stand={stand}"], ["crease_angle"])
    assert result.granted
    beta = np.radians(result.changes[0].after)
    assert np.degrees(np.arccos(abs(np.cos(beta)) / np.cos(np.radians(45)))) == pytest.approx(stand, abs=1e-2)


def test_a_lean():
    result = fitted(HILL, "hill", ["lean=10@180"], ["crease_angle"])
    assert result.granted
    foot, tip = crease(result.description, "hill", 180.0)
    assert np.degrees(np.arcsin((tip[1] - foot[1]) / np.linalg.norm(tip - foot))) == pytest.approx(10.0, abs=1e-2)


def test_two_wishes_at_once():
    result = fitted(HILL, "hill", ["square@120", "height=35@180"], ["crease_angle", "height"])
    assert result.granted
    assert crease(result.description, "hill", 180.0)[1][2] == pytest.approx(35.0, abs=1e-2)


def test_largest_closes_inside_the_page():
    """A tent: closed, its ridge lies at base + height; base and height grow together, 30 + 40 to 148."""
    body = tent("roof", body="at = 60; length = 50; base = 30; height = 40")
    result = fitted(body, "roof", ["largest"], ["base", "height"])
    assert result.granted
    found = {change.key: change.after for change in result.changes}
    assert found["base"] + found["height"] == pytest.approx(148.0, abs=0.01)
    assert found["base"] / found["height"] == pytest.approx(30 / 40)
    assert run_checks(assemble(result.description)) == ()


def test_largest_shrinks_what_is_too_large():
    body = tent("roof", body="at = 60; length = 50; base = 90; height = 95")
    result = fitted(body, "roof", ["largest"], ["base", "height"])
    found = {change.key: change.after for change in result.changes}
    assert found["base"] + found["height"] == pytest.approx(148.0, abs=0.01)


def test_largest_with_no_size_that_stands_is_not_granted():
    body = tent("roof", body="at = 60; length = 50; base = 30; height = 40") + rider_on(
        "flag", "roof.left", "at = [-20, 25]; size = [300, 10]"
    )
    result = fitted(body, "roof", ["largest"], ["height:38:42"])
    assert result.granted is False or run_checks(assemble(result.description))


def test_the_impossible_says_what_stands_in_the_way():
    result = fitted(HILL, "hill", ["height=90@180"], ["height:20:60"])
    assert not result.granted
    assert result.misses[0] == pytest.approx(90 - crease(result.description, "hill", 180.0)[1][2], abs=1e-3)
    assert any("bound" in obstacle for obstacle in result.obstacles)
    assert result.changes[0].after == pytest.approx(60.0, abs=1e-3) or result.changes[0].after < 60.0


def test_a_wish_that_leads_out_of_the_page_is_not_granted():
    result = fitted(HILL, "hill", ["height=180@180"], ["height"])
    assert not result.granted
    assert result.obstacles


def test_bounds_hold():
    result = fitted(HILL, "hill", ["square@90"], ["crease_angle:70:110"])
    assert 70.0 <= result.changes[0].after <= 110.0
    assert not result.granted


def test_a_cut_in_can_be_fitted():
    body = cut_in("step", body="at = 60; length = 50; width = 20")
    result = fitted(body, "step", ["height=24@90"], ["width"])
    assert result.granted
    assert result.changes[0].after == pytest.approx(24.0, abs=1e-2)


@pytest.mark.parametrize(
    "text",
    ["", "tall", "tip=1,2@90", "height@90", "height=x@90", "height=10@270", "square=3@90", "stand=nan", "tip=1,2,3@x"],
)
def test_other_wishes_are_refused_in_words(text):
    with pytest.raises(HingeleafError, match="--wish"):
        parse_wish(text)


@pytest.mark.parametrize("text", ["height:1", "height:9:3", "height:a:b", "height:1:2:3"])
def test_other_bounds_are_refused_in_words(text):
    with pytest.raises(HingeleafError, match="--free"):
        parse_free(text, 50.0)


def test_what_cannot_be_asked_is_told():
    with pytest.raises(HingeleafError, match="no mechanism"):
        fitted(HILL, "door", ["square@90"], ["height"])
    with pytest.raises(HingeleafError, match="no size"):
        fitted(HILL, "hill", ["square@90"], ["beauty"])
    with pytest.raises(HingeleafError, match="at least one"):
        fitted(HILL, "hill", [], ["height"])
    with pytest.raises(HingeleafError, match="wish of its own"):
        fitted(HILL, "hill", ["largest", "square@90"], ["height"])
    flag = rider_on("flag", "hill.left", "at = [-14, 30]; size = [10, 10]")
    with pytest.raises(HingeleafError, match="no middle crease"):
        fitted(HILL + flag, "flag", ["square@90"], ["at.x"])
