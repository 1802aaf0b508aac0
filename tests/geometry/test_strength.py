"""Strength: necks, small panels and creases beside cuts, each just beyond and just within its limit."""

from __future__ import annotations

import pytest
from shapely import Point

from geometry import assemble, parse_description
from geometry.checks.strength import check_strength
from tests.geometry.scene_texts import HEAD, cut_in, rider_on, tent

ROOF = "at = 40; length = 60; base = 30; height = 45"


def found(body, checks=""):
    return check_strength(assemble(parse_description(HEAD + checks + body)))


@pytest.mark.parametrize("width", [0.5, 1.0, 2.0, 2.9])
def test_a_neck_measures_its_width_wherever_it_is(width):
    scenes = {
        "slit and edge": cut_in("step", body=f"at = {width}; length = 50; width = 30"),
        "slit and slit": cut_in("a", body="at = 40; length = 40; width = 20")
        + cut_in("b", body=f"at = {80 + width}; length = 40; width = 30"),
        "window and edge": tent(
            "roof", body=f"{ROOF}; holes_left = [[[10, {width}], [30, {width}], [30, 30], [10, 30]]]"
        ),
        "window and window": tent(
            "roof",
            body=f"{ROOF}; holes_left = [[[10, 10], [30, 10], [30, 20], [10, 20]], "
            f"[[10, {20 + width}], [30, {20 + width}], [30, 40], [10, 40]]]",
        ),
        "waist": tent("roof", body=ROOF)
        + rider_on(
            "flag",
            "roof.left",
            f"at = [-20, 20]; outline = [[-8, -8], [8, -8], [8, 8], [{width / 2}, 8], [{width / 2}, 20], [8, 20], "
            f"[8, 30], [-8, 30], [-8, 20], [{-width / 2}, 20], [{-width / 2}, 8], [-8, 8]]",
        ),
    }
    for name, body in scenes.items():
        findings = [item for item in found(body) if "wide near" in item.message]
        assert len(findings) == 1, (name, findings)
        assert findings[0].measure == pytest.approx(width, abs=0.05), name


def test_no_neck_where_it_is_just_wide_enough():
    for width in (3.1, 6.0):
        assert found(cut_in("step", body=f"at = {width}; length = 50; width = 30")) == []
        assert (
            found(tent("roof", body=f"{ROOF}; holes_left = [[[10, {width}], [30, {width}], [30, 30], [10, 30]]]")) == []
        )


def test_a_point_of_a_free_edge_is_no_neck():
    for edge in ("[[8, 4], [12, 30], [15, 4]]", '"M 5 2 C 15 2 14 22 15 24 C 16 22 15 2 25 2"'):
        assert found(tent("roof", body=f"{ROOF}; edge_end_left = {edge}")) == []


def test_a_lobe_on_a_thin_neck_is_one():
    edge = "[[8, 0], [14, 0], [14, 8], [8, 8], [8, 20], [22, 20], [22, 8], [16, 8], [16, 0], [22, 0]]"
    (finding,) = found(tent("roof", body=f"{ROOF}; edge_end_left = {edge}"))
    assert finding.measure == pytest.approx(2.0, abs=0.05)
    assert Point(-15, 64).distance(Point(finding.place_mm)) < 5


@pytest.mark.parametrize(("width", "weak"), [(2.5, True), (2.9, True), (3.05, False)])
def test_small_panels(width, weak):
    findings = [
        item for item in found(cut_in("step", body=f"at = 40; length = 50; width = {width}")) if "folds" in item.message
    ]
    assert bool(findings) is weak
    if weak:
        assert {item.panel for item in findings} == {"step.left", "step.right"}
        assert all(item.measure == pytest.approx(width, abs=0.02) for item in findings)


@pytest.mark.parametrize(("gap", "weak"), [(0.5, True), (1.9, True), (2.05, False)])
@pytest.mark.parametrize("crease", ["roof.middle", "roof.left"])
def test_a_crease_beside_a_window(gap, weak, crease):
    near, far = (gap, 20) if crease == "roof.middle" else (25, 45 - gap)
    hole = f"[[{near}, 10], [{far}, 10], [{far}, 50], [{near}, 50]]"
    findings = [item for item in found(tent("roof", body=f"{ROOF}; holes_left = [{hole}]")) if "crease" in item.message]
    assert bool(findings) is weak
    if weak:
        assert crease in findings[0].message
        assert findings[0].measure == pytest.approx(gap, abs=0.01)


def test_thresholds_can_be_overridden():
    step = cut_in("step", body="at = 2; length = 50; width = 30")
    assert len(found(step)) == 1
    assert found(step, "[checks]\nneck = 1.5\n") == []
    wide = tent("roof", body=f"{ROOF}; holes_left = [[[10, 5], [30, 5], [30, 30], [10, 30]]]")
    assert found(wide) == []
    assert len(found(wide, "[checks]\nneck = 6\n")) == 1
