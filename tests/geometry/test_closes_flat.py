"""The check of closing: what jams and where, what stands off and by how much, and remedies that work."""

from __future__ import annotations

import re

import numpy as np
import pytest

from geometry import assemble, change_mechanism, parse_description
from geometry.checks import run_checks
from geometry.checks.closes_flat import check_closes_flat, closing_error
from geometry.poses import poses_data
from geometry.remedies import with_remedies
from tests.geometry import judge
from tests.geometry.scene_texts import BIG, HEAD, SCENES, WRONG, tent, v_fold


def found(body):
    return check_closes_flat(assemble(parse_description(HEAD + body)))


@pytest.mark.parametrize("name", SCENES)
def test_sound_scenes_have_no_finding(name):
    assert check_closes_flat(assemble(parse_description(SCENES[name]))) == []


@pytest.mark.parametrize(
    ("left", "right", "error", "about"),
    [(40, 20, 0.5, 9.1), (30, 30, 0.5, 0.95), (40, 20, 2.0, 18.65), (20, 40, -0.5, 9.1)],
)
def test_a_tent_with_a_panel_too_long_jams_at_the_angle_of_the_closed_form(left, right, error, about):
    """DESIGN.md, section 3: delta = sqrt((2|a-b| eps + eps^2)/(ab)), exactly 2 asin of half of it."""
    fits = left + 40 - right
    body = f"at = 60; length = 50; base_left = {left}; base_right = {right}; height_left = 40; "
    body += f"height_right = {fits + error}"
    (finding,) = found(tent("tent", body=body))
    exact = np.degrees(2 * np.arcsin(np.sqrt((2 * abs(left - right) * abs(error) + error**2) / (4 * left * right))))
    assert finding.unit == "deg"
    assert finding.measure == finding.opening_deg == pytest.approx(exact, abs=1e-6)
    assert exact == pytest.approx(about, abs=0.05)
    assert (finding.code, finding.severity) == ("closes-flat", "error")
    assert (finding.piece, finding.panel) == ("tent", "tent.left")
    assert f"{exact:.2f} degrees" in finding.message
    # The chord between the fore edges of two pages 148 mm wide.
    chord = np.hypot(148 * (1 - np.cos(np.radians(exact))), 148 * np.sin(np.radians(exact)))
    assert finding.message.endswith(f"the book's fore edge stays {chord:.2f} mm open")


@pytest.mark.parametrize(("width", "error"), [(20.0, 0.5), (40.0, 0.5), (40.0, 0.05)])
def test_a_tent_with_a_panel_too_short_stands_off_by_the_height_of_its_triangle(width, error):
    body = f"at = 60; length = 50; base_left = 40; base_right = 20; height_left = {width}; "
    body += f"height_right = {width + 20 - error}"
    (finding,) = found(tent("tent", body=body))
    sides = (20.0, width, width + 20 - error)
    s = sum(sides) / 2
    height = 2 * np.sqrt(s * np.prod([s - side for side in sides])) / 20.0
    assert finding.unit == "mm"
    assert finding.measure == pytest.approx(height, rel=1e-9)
    assert finding.opening_deg == 0.0
    assert (finding.code, finding.piece) == ("closes-flat", "tent")
    assert f"tent stands {height:.3g} mm off the page" in finding.message
    # The worked figure of DESIGN.md: about 6 mm.
    assert (width, error) != (20.0, 0.5) or height == pytest.approx(6.2, abs=0.3)


@pytest.mark.parametrize("error", [1e-3, 1e-6, 1e-9])
def test_the_least_standing_off_is_found(error):
    """A crease half a thousandth of a millimetre off the page is a warning, not silence: flat means 1e-6 mm."""
    body = f"at = 60; length = 50; base_left = 40; base_right = 20; height_left = 40; height_right = {60 - error!r}"
    (finding,) = found(tent("tent", body=body))
    assert finding.measure == pytest.approx(10.829 * np.sqrt(error / 0.5), rel=0.02)
    assert finding.severity == ("warning" if finding.measure <= 0.3 else "error")


def test_the_place_and_the_height_are_those_of_the_highest_corner():
    for name in ("stands off",):
        text = HEAD + WRONG[name][0]
        (finding,) = check_closes_flat(assemble(parse_description(text)))
        scene = judge.posed(poses_data(assemble(parse_description(text)), [0.0]))
        corner = scene.world(finding.panel, [finding.place_mm])[0, 0]
        assert abs(corner[2]) == pytest.approx(finding.measure, abs=1e-9)
        assert judge.largest_height(scene, 0) == pytest.approx(finding.measure, abs=1e-9)


def test_what_never_stands_is_named_and_what_only_locks_is_not():
    """19 mm of card over feet 20 mm apart when shut, on both; the others lock or jam, and stand at 90 degrees."""
    short = "length = 30; base_left = 40; base_right = 20; height_left = 12; height_right = 7"
    lock = tent("roof", body="at = 160; length = 20; base = 40; height = 30")
    jam = tent(
        "arch", body="at = 130; length = 20; base_left = 40; base_right = 20; height_left = 40; height_right = 61"
    )
    (finding,) = found(tent("b", body=f"at = 20; {short}") + lock + jam + tent("a", body=f"at = 90; {short}"))
    assert finding.message.startswith("a, b cannot stand at any opening")
    assert (finding.severity, finding.piece, finding.panel, finding.place_mm) == ("error", "a", None, None)
    assert (finding.opening_deg, finding.measure, finding.unit) == (None, 180.0, "deg")


def test_an_error_below_the_caliper_is_a_warning():
    body = "at = 60; length = 50; base_left = 30; base_right = 30; height_left = 40; height_right = {}"
    (small,) = found(tent("tent", body=body.format(40.02)))
    assert small.severity == "warning"
    (large,) = found(tent("tent", body=body.format(40.2)))
    assert large.severity == "error"


def test_what_a_hinge_carries_stands_off_with_it_and_every_mechanism_is_named_once():
    body = "at = 20; length = 100; base_left = 40; base_right = 20; height_left = 40; height_right = 59.5"
    bird = v_fold("bird", "tent.middle", "at = 30; angle = 45; height = 20")
    names = [finding.panel.split(".")[0] for finding in found(tent("tent", body=body) + bird) if finding.unit == "mm"]
    assert sorted(names) == ["bird", "tent"]


REMEDIES = {
    "tent jams": tent(
        "x", body="at = 60; length = 50; base_left = 40; base_right = 20; height_left = 40; height_right = 60.5"
    ),
    "tent stands off": tent(
        "x", body="at = 60; length = 50; base_left = 40; base_right = 20; height_left = 40; height_right = 59"
    ),
    "v-fold jams": v_fold(
        "x",
        body="at = 60; angle_left = 60; angle_right = 40; crease_angle_left = 40; crease_angle_right = 62; height = 40",
    ),
    "v-fold stands off": v_fold(
        "x",
        body="at = 60; angle_left = 60; angle_right = 40; crease_angle_left = 80; crease_angle_right = 95; height = 40",
    ),
    "on a ridge": BIG
    + v_fold(
        "x",
        "hill.middle",
        "at = 40; angle_left = 50; angle_right = 60; crease_angle_left = 80; crease_angle_right = 85; height = 20; "
        'side = "mountain"',
    ),
    "on a foot inside": BIG
    + v_fold(
        "x",
        "hill.left",
        'at = 40; angle = 40; crease_angle_left = 50; crease_angle_right = 32; height = 20; side = "inner"',
    ),
}


@pytest.mark.parametrize("name", REMEDIES)
def test_the_remedy_passes(name):
    """What the remedy says is written into the description; then there is nothing left to find."""
    text = HEAD + REMEDIES[name]
    description = parse_description(text)
    spread = assemble(description)
    (finding,) = check_closes_flat(spread)
    (told,) = with_remedies(description, spread, [finding])
    kind = next(spec.kind for spec in description.mechanisms if spec.id == "x")
    key = "height_right" if kind == "tent" else "crease_angle_right"
    assert key in description.mechanisms[-1].values
    number = float(re.search(rf"{key} of x from \S+ to (\S+)", told.remedy)[1])
    assert check_closes_flat(assemble(change_mechanism(description, "x", {key: number}))) == []


def test_a_v_fold_that_jams_does_so_at_its_lock_angle():
    (finding,) = found(REMEDIES["v-fold jams"])
    a, b = np.radians([60, 40])
    cosine = (np.cos(np.radians(40 - 62)) - np.cos(a) * np.cos(b)) / (np.sin(a) * np.sin(b))
    assert finding.measure == pytest.approx(np.degrees(np.arccos(cosine)), abs=1e-6)


def test_a_mechanism_that_never_stands_is_an_error_at_every_opening():
    findings = run_checks(assemble(parse_description(HEAD + WRONG["never stands"][0])))
    assert [finding.severity for finding in findings] == ["error"]
    assert "cannot stand at any opening" in findings[0].message


@pytest.mark.parametrize("name", WRONG)
def test_wrong_scenes_have_the_errors_they_are_made_for(name):
    body, codes = WRONG[name]
    findings = run_checks(assemble(parse_description(HEAD + body)))
    assert codes <= {finding.code for finding in findings if finding.severity == "error"}
    assert {"closes-flat", "opens-fully"} & codes == {"closes-flat", "opens-fully"} & {f.code for f in findings}


def test_a_jam_names_every_cell_that_jams_first():
    two = tent(
        "a", body="at = 20; length = 50; base_left = 40; base_right = 20; height_left = 40; height_right = 60.5"
    ) + tent("b", body="at = 120; length = 50; base_left = 40; base_right = 20; height_left = 40; height_right = 61")
    findings = found(two)
    assert {finding.panel for finding in findings} == {"a.left", "b.left"}
    by_name = {finding.panel[0]: finding.measure for finding in findings}
    # Each with the opening at which it jams by itself.
    assert by_name["a"] == pytest.approx(9.125, abs=0.01)
    assert by_name["b"] == pytest.approx(12.95, abs=0.05)


@pytest.mark.parametrize("error", [-2.0, 0.0, 0.5])
@pytest.mark.parametrize("lean", ["away", "over"])
def test_the_closing_error_is_what_the_right_panel_lacks(error, lean):
    """Leaning away c + a = d + b closes flat, leaning over c + b = d + a: DESIGN.md, section 3."""
    fits = 60.0 + (20.0 if lean == "away" else -20.0)
    sizes = f"base_left = 40; base_right = 20; height_left = 60; height_right = {fits + error}"
    spread = assemble(parse_description(HEAD + tent("roof", body=f'at = 60; length = 50; {sizes}; lean = "{lean}"')))
    assert closing_error(spread, "roof") == pytest.approx(-error, abs=1e-9)


@pytest.mark.parametrize("error", [-3.0, 0.0, 2.0])
def test_the_closing_error_of_a_v_fold_is_in_degrees(error):
    body = f"at = 60; angle_left = 60; angle_right = 40; crease_angle_left = 40; crease_angle_right = {60 + error}"
    spread = assemble(parse_description(HEAD + v_fold("hill", body=f"{body}; height = 40")))
    assert closing_error(spread, "hill") == pytest.approx(-error, abs=1e-9)


def test_what_is_no_cell_or_stands_on_what_does_not_close_has_no_closing_error():
    jams = "at = 20; length = 100; base_left = 40; base_right = 20; height_left = 40; height_right = {}"
    bird = v_fold("bird", "tent.middle", "at = 30; angle = 45; height = 20")
    for height in (60.5, 59.5):
        spread = assemble(parse_description(HEAD + tent("tent", body=jams.format(height)) + bird))
        assert closing_error(spread, "tent") == pytest.approx(60.0 - height)
        assert closing_error(spread, "bird") is None
        assert closing_error(spread, "cat") is None
    closes = assemble(parse_description(HEAD + tent("tent", body=jams.format(60.0)) + bird))
    assert closing_error(closes, "bird") == pytest.approx(0.0, abs=1e-9)
