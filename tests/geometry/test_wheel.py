"""Wheels: how they turn, and that the window shows the wheel over its whole turn."""

from __future__ import annotations

import numpy as np
import pytest

from geometry import DescriptionError, assemble, parse_description
from geometry.checks import CHECKS, run_checks
from geometry.checks.bulk import bulk_map
from geometry.nets.drawing import draw_piece
from geometry.tolerances import CHORD_MM

WHEEL = (
    'format = 1\n[page]\nsize = "A5"\n[[mechanism]]\nkind = "wheel"\nid = "sky"\npanel = "page.right"\n'
    "at = [100, 110]\nradius = 54\nwindow = [[[-30, 10], [30, 10], [30, 40], [-30, 40]]]\nbeyond = 6\n"
)


def built(*change):
    return assemble(parse_description(WHEEL.replace(*change) if change else WHEEL))


@pytest.mark.parametrize("face", ["back", "front"])
def test_it_turns_about_its_pivot(face):
    spread = built("radius", f'face = "{face}"\nradius')
    turned = np.radians([0.0, 90.0, 360.0])
    matrices = spread.pose(np.full(3, np.pi), {"sky": turned}).matrices["sky.disc"]
    assert matrices[:, :3, 3] == pytest.approx(np.tile([100.0, 110.0, 0.0], (3, 1)))
    rim = matrices @ [54.0, 0.0, 0.0, 1.0]
    side = 1.0 if face == "back" else -1.0
    wanted = np.array([[100 + side * 54, 110, 0], [100, 110 + side * 54, 0], [100 + side * 54, 110, 0]])
    assert rim[:, :3] == pytest.approx(wanted, abs=1e-9)
    # What the window shows is printed.
    assert matrices[0, 2, 2] == side


def test_a_sound_wheel_has_no_finding():
    assert run_checks(built()) == ()


def test_the_disc_is_round_as_outlines_are():
    ring = np.asarray(built().panels["sky.disc"].outline.exterior.coords)
    middles = (ring[1:] + ring[:-1]) / 2
    assert np.hypot(*ring.T) == pytest.approx(54.0)
    assert 54.0 - np.hypot(*middles.T).min() <= CHORD_MM


def test_disc_and_panel_have_the_pivots_hole_and_its_mark():
    spread = built()
    for panel, pivot in (("page.right", (100.0, 110.0)), ("sky.disc", (0.0, 0.0))):
        holes = [np.asarray(ring.coords) - pivot for ring in spread.panels[panel].outline.interiors]
        assert min(np.hypot(*hole.T).max() for hole in holes) == pytest.approx(2.0)
        piece = spread.panels[panel].piece
        marks = [line for line in draw_piece(spread, piece).lines if line.line_class == "mark" and line.panel == panel]
        assert len(marks) == 2
        for mark in marks:
            assert mark.points.mean(axis=0) == pytest.approx(pivot)
            assert np.hypot(*np.diff(mark.points, axis=0)[0]) == pytest.approx(8.0)


@pytest.mark.parametrize(
    ("change", "severity", "measure", "said"),
    [
        # Its corner is 50 mm from the pivot.
        (("radius = 54", "radius = 49.5"), "error", 0.5, "past the wheel's rim"),
        (("radius = 54", "radius = 52"), "warning", 2.0, "of the wheel's rim; 3 mm hide the rim"),
        (("[-30, 10], [30, 10]", "[-30, 3], [30, 3]"), "warning", 1.0, "comes within 1.00 mm of its pivot"),
        (("at = [100, 110]", "at = [90, 110]"), "warning", 4.0, "it lies 4.00 mm inside the edge of page.right"),
    ],
)
def test_windows_and_rim(change, severity, measure, said):
    (finding,) = CHECKS["wheel"](built(*change))
    assert finding.severity == severity
    assert finding.measure == pytest.approx(measure, abs=2 * CHORD_MM)
    assert said in finding.message


def test_a_wheel_that_nothing_shows_is_found():
    inside = WHEEL.replace("at = [100, 110]", "at = [80, 110]").replace(
        "window = [[[-30, 10], [30, 10], [30, 40], [-30, 40]]]", "slot = [[[-6, 45], [6, 45], [6, 60], [-6, 60]]]"
    )
    (finding,) = CHECKS["wheel"](assemble(parse_description(inside)))
    assert "nothing of sky is seen" in finding.message


def test_a_slot_lets_a_finger_at_the_rim():
    inside = ("at = [100, 110]", "at = [80, 110]")
    assert len(CHECKS["wheel"](built(*inside))) == 1
    for low, count in ((-60.0, 0), (-50.0, 1)):
        slot = f"slot = [[[-6, {low}], [6, {low}], [6, -44], [-6, -44]]]\n"
        spread = assemble(parse_description(WHEEL.replace(*inside) + slot))
        assert len(CHECKS["wheel"](spread)) == count


def test_its_rim_may_stand_out_as_far_as_it_says():
    assert CHECKS["stays-inside"](built()) == []
    (finding,) = CHECKS["stays-inside"](built("beyond = 6", "beyond = 5"))
    assert finding.measure == pytest.approx(1.0)
    assert "6.00 mm, 1.00 mm more than it may, beyond the fore edge" in finding.message


def test_a_wheel_behind_the_page_is_not_between_the_pages():
    assert bulk_map(built()).gusset_mm == 0.0
    assert bulk_map(built("radius", 'face = "front"\nradius')).gusset_mm == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("at = [100, 110]", "at = [160, 110]"), "is not inside its panel"),
        (("beyond = 6", "pivot = 120"), "is 120 mm wide on a wheel of 108 mm"),
        (("beyond = 6", "turns_to = 0"), "a wheel turns by more than that"),
        (("[-30, 10], [30, 10]", "[-30, -1], [30, -1]"), "the hole for its pivot: a window near"),
        (("[-30, 10], [30, 10]", "[-30, -200], [30, -200]"), "is not inside its panel"),
        (("radius = 54", "radius = 54\nholes = []"), "write window"),
    ],
)
def test_what_cannot_be_is_refused(change, said):
    assert change[0] in WHEEL
    with pytest.raises(DescriptionError) as caught:
        built(*change)
    assert said in str(caught.value)
