"""Glue: tabs on their hosts, clear of cuts, folds and each other; judged with shapely where tabs are drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import Point

from geometry import assemble, parse_description, read_description
from geometry.checks.glue import check_glue
from tests.geometry.scene_texts import HEAD, ROOT, SCENES, cut_in, rider_on, tent, v_fold


def spread_of(body, checks=""):
    return assemble(parse_description(HEAD + checks + body))


def found(body, checks=""):
    return check_glue(spread_of(body, checks))


@pytest.mark.parametrize("over", [0.0, 0.5, 3.0])
def test_a_tab_beyond_a_slot_by_so_much(over):
    """A step 20 mm wide to either side; tabs of 10 mm that begin 30 mm off the spine, less so much."""
    step = cut_in("step", body="at = 60; length = 50; width = 20")
    findings = found(step + tent("roof", body=f"at = 70; length = 60; base = {30 - over}; height = 50; tab_width = 10"))
    if not over:
        assert findings == []
        return
    assert {finding.panel for finding in findings} == {"roof.left.tab", "roof.right.tab"}
    assert all(finding.measure == pytest.approx(over, abs=1e-3) for finding in findings)
    assert all(finding.severity == "error" for finding in findings)


def test_a_tab_that_lies_wholly_over_a_slot_measures_into_the_slot():
    step = cut_in("step", body="at = 40; length = 100; width = 40")
    findings = found(step + v_fold("bird", body="at = 60; angle = 45; height = 20; width = 20; tab_width = 4"))
    assert {finding.panel for finding in findings} >= {"bird.left.tab", "bird.right.tab"}
    # The strip's own width is all that the tab's host has left there; the tab ends 14 mm off the spine at the most.
    assert all(finding.measure > 20 for finding in findings)


@pytest.mark.parametrize(("base", "deep"), [(15, 15.0), (22, 8.0)])
def test_a_tab_across_a_slot_measures_to_the_middle_of_it_though_all_its_corners_are_on_card(base, deep):
    """The slot is 20 mm wide and 50 mm long, the tab 10 mm wide, 70 mm long and ends 10 mm before its crease.

    What is over the slot has its corners at the slot's ends; furthest from card is its edge nearest to the spine.
    """
    step = cut_in("step", body="at = 60; length = 50; width = 20")
    roof = tent("roof", body=f"at = 50; length = 70; base = {base}; height = 50; tab_width = 10")
    beyond = [finding for finding in found(step + roof) if "beyond" in finding.message]
    assert {finding.panel for finding in beyond} == {"roof.left.tab", "roof.right.tab"}
    for finding in beyond:
        assert finding.measure == pytest.approx(deep, abs=2e-3)
        assert (finding.severity, finding.unit) == ("error", "mm")


def test_the_place_lies_where_it_is_wrong():
    step = cut_in("step", body="at = 60; length = 50; width = 20")
    spread = spread_of(step + tent("roof", body="at = 70; length = 60; base = 26; height = 50"))
    for finding in check_glue(spread):
        area = next(area for area in spread.glue_areas if area.glued == finding.panel)
        assert area.outline.contains(Point(finding.place_mm))
        assert not spread.panels[area.host].outline.contains(Point(finding.place_mm))


def test_tabs_of_one_host_on_either_face_do_not_overlap():
    both = tent("in") + tent("out", body='at = 60; length = 50; base = 30; height = 40; side = "mountain"')
    assert [item for item in found(both) if item.other] == []
    same = tent("in") + tent("out", body="at = 60; length = 50; base = 30; height = 50")
    assert len([item for item in found(same) if item.other]) == 2


def test_an_overlap_is_told_of_the_second_with_its_place_area_and_narrower_side():
    """Two riders of 30 x 20 mm, the second 20 mm further on: 10 x 20 mm lie twice on the page."""
    one = rider_on("one", "page.right", "at = [40, 100]; size = [30, 20]")
    (finding,) = found(one + rider_on("two", "page.right", "at = [60, 100]; size = [30, 20]"))
    assert (finding.code, finding.severity, finding.unit) == ("glue", "warning", "mm")
    assert (finding.panel, finding.other, finding.piece) == ("two", "one", "two")
    assert finding.measure == pytest.approx(10.0)
    assert "one and two are glued over each other on page.right (200.0 mm2)" in finding.message
    x, y = finding.place_mm
    assert 45 < x < 55
    assert 90 < y < 110
    (turned,) = found(one + rider_on("two", "page.right", "at = [40, 115]; size = [30, 20]"))
    assert turned.measure == pytest.approx(5.0)
    assert found(one + rider_on("two", "page.right", "at = [70, 100]; size = [30, 20]")) == []


def test_glue_over_glue_is_an_error_between_tabs_and_a_warning_where_a_rider_covers_one():
    """Tabs of 8 mm: the rider takes all of one's width, another tent's tab 5 mm of it."""
    low = tent("low", body="at = 60; length = 50; base = 30; height = 40; tab_width = 8")
    high = tent("high", body="at = 60; length = 50; base = 33; height = 50; tab_width = 8")
    both = found(low + high)
    assert [(item.severity, item.panel, item.other) for item in both] == [
        ("error", "high.left.tab", "low.left.tab"),
        ("error", "high.right.tab", "low.right.tab"),
    ]
    assert [item.measure for item in both] == pytest.approx([5.0, 5.0])
    (finding,) = found(low + rider_on("moon", "page.right", "at = [30, 80]; size = [30, 20]"))
    assert (finding.severity, finding.panel, finding.other) == ("warning", "moon", "low.right.tab")
    assert finding.measure == pytest.approx(8.0)


@pytest.mark.parametrize(("width", "few"), [(3.9, True), (4.0, False), (9.0, False)])
def test_narrow_tabs(width, few):
    assert bool(found(tent("roof", body=f"at = 60; length = 50; base = 30; height = 40; tab_width = {width}"))) is few


def test_a_narrow_tab_measures_its_width():
    for finding in found(v_fold("wall", body="at = 60; angle = 45; height = 50; tab_width = 3.25")):
        assert finding.measure == pytest.approx(3.25)
        assert (finding.severity, finding.unit, finding.piece) == ("warning", "mm", "wall")
        assert finding.message.endswith("a hand needs 4 mm")
        assert "only 3.2 mm wide" in finding.message


def test_too_near_to_the_fold_measures_the_distance():
    findings = found(
        tent("roof", body="at = 60; length = 50; base = 12; height = 40"), "[checks]\nfold_clearance = 3\n"
    )
    assert [finding.measure for finding in findings] == pytest.approx([2.0, 2.0])
    assert {(item.severity, item.unit, item.piece) for item in findings} == {("warning", "mm", "roof")}
    assert [item.panel for item in findings] == ["roof.left.tab", "roof.right.tab"]
    assert "within 2.00 mm of the fold it stands on; 3 mm keep it free" in findings[0].message
    assert (
        found(tent("roof", body="at = 60; length = 50; base = 12; height = 40"), "[checks]\nfold_clearance = 2\n") == []
    )


def test_supports_of_a_platform_keep_clear_of_the_fold_that_the_whole_stands_on():
    """With a limit that nothing keeps, each tab on a page is told with its distance from x = 0, the spine."""
    spread = assemble(read_description(ROOT / "scenes/platform.toml"))
    wide = replace(spread, limits=replace(spread.limits, fold_clearance=500.0))
    told = {item.panel: item.measure for item in check_glue(wide) if "of the fold it stands on" in item.message}
    on_pages = [area for area in spread.glue_areas if area.host in ("page.left", "page.right")]
    assert {spread.panels[area.glued].piece for area in on_pages} >= {"stage.left.support", "stage.right.support"}
    for area in on_pages:
        assert told[area.glued] == pytest.approx(np.abs(np.asarray(area.outline.exterior.coords)[:, 0]).min())


@pytest.mark.parametrize(("inside", "loose"), [(1.0, True), (2.9, True), (3.1, False)])
def test_a_rider_that_hangs_by_its_edge(inside, loose):
    """20 mm high, so many of them on a panel that ends at y = 50; 15 % are 3 mm."""
    rider = rider_on("flag", "roof.left", f"at = [-20, {60 - inside}]; size = [10, 20]")
    findings = found(tent("roof") + rider)
    assert bool(findings) is loose
    if loose:
        assert findings[0].measure == pytest.approx((3.0 - inside) * 10)
        assert (findings[0].unit, findings[0].severity, findings[0].panel) == ("mm2", "warning", "flag")
        assert f"only {100 * inside / 20:.0f} % of flag lie on roof.left; glue needs 15 %" in findings[0].message


def test_a_rider_with_a_large_window_is_measured_by_its_card():
    ring = "at = [-20, 25]; size = [30, 30]; holes = [[[-14, -14], [14, -14], [14, 14], [-14, 14]]]"
    assert found(tent("roof") + rider_on("ring", "roof.left", ring)) == []


@pytest.mark.parametrize("name", SCENES)
def test_scenes_whose_tabs_lie_on_their_hosts_have_no_finding_of_that(name):
    """With shapely's containment, host by host; a tab found outside must be told, one inside must not."""
    spread = assemble(parse_description(SCENES[name]))
    told = {item.panel for item in check_glue(spread) if "beyond" in item.message}
    for area in spread.glue_areas:
        if spread.panels[area.glued].role == "tab":
            inside = spread.panels[area.host].outline.buffer(1e-4).contains(area.outline)
            assert (area.glued in told) is not inside, area.glued
