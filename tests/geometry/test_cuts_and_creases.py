"""Cuts and creases: on every scene silent; on spreads altered by hand found, with lengths worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import Point, Polygon, box
from shapely.affinity import affine_transform

from geometry import assemble, parse_description, read_description
from geometry.checks.cuts_and_creases import check_crease_ends, check_creases_cross_cuts, check_cut_ends
from geometry.model import Angle, Hinge, Panel, Piece
from geometry.tolerances import SLIT_MM, TOUCH_MM
from tests.geometry import corpus
from tests.geometry.scene_texts import FILES, HEAD, SCENES, cut_in, rider, tent, v_fold

_TEXTS = {
    **{f"scenes/{path.name}": path for path in FILES},
    **{f"corpus/{path.stem}": path for path in corpus.SOUND},
    **SCENES,
}
STEP = cut_in("step", body="at = 60; length = 50; width = 20")


def spread_of(body):
    return assemble(parse_description(HEAD + body))


def found(spread):
    return [*check_creases_cross_cuts(spread), *check_crease_ends(spread), *check_cut_ends(spread)]


def codes(spread):
    return sorted((item.code, item.panel) for item in found(spread))


def with_line(spread, hinge_id, *points, rows=(0, 1)):
    """The spread with one crease drawn elsewhere."""

    def changed(hinge):
        lines = hinge.lines.copy()
        for row in rows:
            lines[row] = points
        return replace(hinge, lines=lines)

    assert any(hinge.id == hinge_id for hinge in spread.hinges)
    return replace(spread, hinges=tuple(changed(hinge) if hinge.id == hinge_id else hinge for hinge in spread.hinges))


def with_outline(spread, panel, outline):
    return replace(spread, panels={**spread.panels, panel: spread.panels[panel].with_outline(outline)})


def cut_out(spread, panel, shape):
    return with_outline(spread, panel, spread.panels[panel].outline.difference(shape))


@pytest.mark.parametrize("name", _TEXTS)
def test_sound_scenes_are_silent(name):
    text = _TEXTS[name]
    assert found(assemble(parse_description(text) if isinstance(text, str) else read_description(text))) == []


@pytest.mark.parametrize("over", [0.01, 1.0, 12.5])
def test_a_crease_that_runs_over_its_slit(over):
    """The strip's left crease ends at the slits at 60 and 110 mm; drawn on, it runs into the page."""
    spread = with_line(spread_of(STEP), "step.left", (-20, 60), (-20, 110 + over))
    (finding,) = check_creases_cross_cuts(spread)
    assert (finding.panel, finding.other, finding.severity) == ("step.left", "page.left", "error")
    assert finding.measure == pytest.approx(over, abs=1e-6)
    assert finding.place_mm == pytest.approx((-20, 110 + over), abs=1e-6)


def test_a_fold_that_is_creased_on_into_the_strip():
    spread = with_line(spread_of(STEP), "spine", (0, 0), (0, 67))
    (finding,) = check_creases_cross_cuts(spread)
    assert (finding.panel, finding.measure) == ("page.left", pytest.approx(7.0, abs=1e-6))


def test_a_crease_through_a_panel_from_cut_to_cut():
    """Moved 5 mm beside the border of its panels it crosses no cut, but it is no crease between them."""
    spread = with_line(spread_of(STEP), "step.left", (-15, 60), (-15, 110))
    (finding,) = found(spread)
    assert (finding.code, finding.panel, finding.other) == ("crease-ends-loose", "step.left", "page.left")
    assert finding.measure == pytest.approx(50.0, abs=1e-6)


def test_a_crease_that_ends_inside_a_panel():
    spread = with_line(spread_of(STEP), "step.left", (-20, 60), (-9, 100))
    (finding,) = found(spread)
    assert finding.code == "crease-ends-loose"
    assert finding.measure == pytest.approx(np.hypot(11, 40), abs=1e-6)


def test_one_side_of_a_crease_drawn_elsewhere_counts():
    whole = spread_of(STEP)
    spread = with_line(whole, "step.left", (-20, 60), (-20, 120), rows=(1,))
    assert codes(whole) == []
    assert [item.measure for item in check_creases_cross_cuts(spread)] == [pytest.approx(10.0, abs=1e-6)]


def test_a_crease_drawn_too_short_leaves_a_slit():
    """Where nothing is creased the border of two panels is cut; the crease ends there, and the cut at the edge."""
    assert found(with_line(spread_of(""), "spine", (0, 30), (0, 210))) == []


@pytest.mark.parametrize("sides", [("page.left",), ("page.right",), ("page.left", "page.right")])
def test_a_window_cut_across_the_spine(sides):
    spread = spread_of("")
    for side in sides:
        spread = cut_out(spread, side, box(-6, 80, 6, 92))
    (finding,) = found(spread)
    assert (finding.code, finding.measure) == ("crease-crosses-cut", pytest.approx(12.0, abs=1e-6))
    assert finding.place_mm == pytest.approx((0, 86), abs=1e-6)


@pytest.mark.parametrize(("off", "touches"), [(-0.4 * TOUCH_MM, True), (0.4 * TOUCH_MM, True), (20 * TOUCH_MM, False)])
def test_a_window_that_comes_near_a_crease(off, touches):
    spread = cut_out(spread_of(""), "page.right", Polygon([(max(off, 0), 90), (10, 85), (10, 95)]))
    findings = found(spread)
    assert [(item.code, item.measure) for item in findings] == ([("crease-crosses-cut", 0.0)] if touches else [])
    for finding in findings:
        assert finding.place_mm == pytest.approx((0, 90), abs=TOUCH_MM)


def test_two_touches_are_told_in_one():
    windows = "holes = [[[0, 15], [8, 10], [8, 20]], [[0, 35], [8, 30], [8, 40]]]"
    (finding,) = found(spread_of(cut_in("step", body=f"at = 60; length = 50; width = 20; {windows}")))
    assert "1 more place" in finding.message


def test_a_window_right_across_a_crease_is_sound():
    windows = "at = [0, 100]; size = [60, 80]; holes = [[[-5, 0], [10, -8], [10, 8]]]"
    assert found(spread_of(rider("arch", "spine", windows))) == []


def star(degrees, *, closed=True):
    """A square of 80 x 80 mm parted by creases from its middle in these directions, or all but the first of them."""
    angles = np.radians([*degrees, degrees[0] + 360.0])
    names = [f"p{index}" for index in range(len(degrees))]
    panels, hinges = {}, []
    for index, name in enumerate(names):
        between = np.linspace(angles[index], angles[index + 1], 9)
        fan = Polygon([(0, 0), *(200 * np.stack([np.cos(between), np.sin(between)], axis=1))])
        panels[name] = Panel(name, "star", box(-40, -40, 40, 40).intersection(fan), None, np.eye(4))
        ray = np.array([np.cos(angles[index]), np.sin(angles[index])])
        line = np.array([(0.0, 0.0), 40 * ray / np.abs(ray).max()])
        hinges.append(Hinge(f"h{index}", "crease", (names[index - 1], name), np.stack([line, line]), Angle(None)))
    whole = spread_of("")
    piece = Piece("star", "star", whole.pieces[0].stock, tuple(names))
    return replace(whole, pieces=(piece,), panels=panels, hinges=tuple(hinges if closed else hinges[1:]))


@pytest.mark.parametrize("degrees", [(10, 150), (10, 130, 250), (10, 100, 190)])
def test_creases_that_meet_in_mid_card_too_few(degrees):
    findings = found(star(degrees))
    assert [item.code for item in findings] == ["crease-ends-loose"] * len(degrees)
    assert all(item.measure == pytest.approx(40.0, abs=1e-6) for item in findings)
    assert all(item.place_mm == pytest.approx((0, 0), abs=1e-6) for item in findings)


@pytest.mark.parametrize("degrees", [(10, 190), (10, 80, 170, 290), (10, 70, 150, 200, 300)])
def test_creases_that_meet_in_mid_card_and_fold(degrees):
    """Two that are one straight crease; or four and more."""
    assert found(star(degrees)) == []


def test_creases_that_end_where_a_slit_ends():
    assert found(star((10, 130, 250), closed=False)) == []


@pytest.mark.parametrize(("width", "slit"), [(0.5 * SLIT_MM, True), (0.9 * SLIT_MM, True), (2 * SLIT_MM, False)])
@pytest.mark.parametrize("deep", [3.0, 18.0])
def test_a_slit_into_a_panel_that_ends_nowhere(deep, width, slit):
    notch = f"edge_start_left = [[22, 0], [22, {deep}], [{22 + width}, {deep}], [{22 + width}, 0]]"
    findings = found(spread_of(tent("roof", body=f"at = 60; length = 50; base = 30; height = 40; {notch}")))
    assert [(item.code, item.panel) for item in findings] == ([("cut-ends-loose", "roof.left")] if slit else [])
    for finding in findings:
        # The foot is 18 mm beside the slit.
        assert finding.measure == pytest.approx(min(deep, 18.0), abs=2 * SLIT_MM)


def test_a_slit_within_a_panel_has_two_loose_ends():
    window = "holes_left = [[[10, 10], [10, 30], [10.0005, 30], [10.0005, 10]]]"
    findings = found(spread_of(tent("roof", body=f"at = 60; length = 50; base = 30; height = 40; {window}")))
    assert [item.code for item in findings] == ["cut-ends-loose"] * 2
    assert sorted(round(item.place_mm[1]) for item in findings) == [10, 30]
    # From the edges at 0 and 50 mm.
    assert sorted(item.measure for item in findings) == pytest.approx([10.0, 20.0], abs=0.01)


def test_a_slit_within_a_panel_that_reaches_a_crease_touches_it():
    spread = cut_out(spread_of(""), "page.right", Polygon([(0, 90), (30, 90), (30, 90.0005)]))
    assert ("crease-crosses-cut", "page.left") in codes(spread)


def test_a_cleft_between_two_curves_is_no_slit():
    heart = "M 0 0 C -30 30 -20 60 0 40 C 20 60 30 30 0 0 Z"
    cusp = "M 0 0 C -30 30 -30 60 -14 60 C -4 60 0 50 0 40 C 0 50 4 60 14 60 C 30 60 30 30 0 0 Z"
    for outline in (heart, cusp):
        body = f'at = [70, 100]; outline = "{outline}"'
        assert found(spread_of(rider("heart", "page.right", body).replace("fold =", "panel ="))) == []


@pytest.mark.parametrize("degrees", [0.0, 17.3, 90.0, 211.0])
def test_a_turned_net_has_the_same_findings(degrees):
    turn = np.radians(degrees)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    shift = np.array([3.21, -77.7])
    spread = with_line(spread_of(STEP), "step.left", (-20, 60), (-20, 116))
    panels = {
        name: panel.with_outline(affine_transform(panel.outline, [*matrix.ravel(), *shift]))
        for name, panel in spread.panels.items()
    }
    hinges = tuple(replace(hinge, lines=hinge.lines @ matrix.T + shift) for hinge in spread.hinges)
    (finding,) = check_creases_cross_cuts(replace(spread, panels=panels, hinges=hinges))
    assert finding.measure == pytest.approx(6.0, abs=1e-4)
    assert finding.place_mm == pytest.approx(tuple(matrix @ (-20, 116) + shift), abs=1e-4)


def astray_mm(spread, hinge, count=20_000):
    """How much of a crease does not have its panels on either side, point by point."""
    start, end = hinge.lines[0]
    along = (end - start) / np.hypot(*(end - start))
    aside = 2e-3 * np.array([-along[1], along[0]])
    one, two = (spread.panels[name].outline for name in hinge.panels)
    bad = 0
    for share in (np.arange(count) + 0.5) / count:
        left, right = Point(start + share * (end - start) + aside), Point(start + share * (end - start) - aside)
        bad += not ((one.contains(left) and two.contains(right)) or (two.contains(left) and one.contains(right)))
    return bad / count * float(np.hypot(*(end - start)))


@pytest.mark.parametrize("seed", range(6))
def test_lengths_against_a_walk_along_the_crease(seed):
    rng = np.random.default_rng(seed)
    spread = spread_of(STEP + v_fold("hill", body="at = 120; angle = 45; height = 40"))
    name = rng.choice(["step.left", "step.right", "step.middle"])
    hinge = next(item for item in spread.hinges if item.id == name)
    start, end = hinge.lines[0]
    moved = with_line(spread, hinge.id, start + (end - start) * rng.uniform(-0.3, 0.5), start + (end - start) * 1.2)
    hinge = next(item for item in moved.hinges if item.id == hinge.id)
    for side in hinge.panels:
        x, y = hinge.lines[0].mean(axis=0) + rng.uniform(-3, 3, 2)
        moved = cut_out(moved, side, box(x - 4, y - 4, x + 4, y + 4))
    measure = max(item.measure for item in found(moved) if item.panel == hinge.panels[0])
    assert measure == pytest.approx(astray_mm(moved, hinge), abs=0.02)
