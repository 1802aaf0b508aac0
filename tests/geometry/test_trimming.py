"""Tabs trimmed by themselves: what keeps its shape, what gives way to what, and when too little would be left."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon

from geometry import HingeleafError, assemble, parse_description
from geometry.checks.glue import check_glue
from geometry.nets.glue import glue_notes
from geometry.outline import carried
from tests.geometry.scene_texts import HEAD, cut_in, tent, v_fold

STEP = cut_in("step", body="at = 60; length = 50; width = 20")


def spread_of(body, checks=""):
    return assemble(parse_description(HEAD + checks + body))


def on_host(spread, tab):
    panel = spread.panels[tab]
    return carried(panel.outline, panel.rest)


def reach(spread, tab):
    """How far a tab reaches from its crease, measured on its net."""
    hinge = next(hinge for hinge in spread.hinges if hinge.kind == "crease" and tab in hinge.panels)
    start, end = hinge.lines[hinge.panels.index(tab)]
    along = (end - start) / np.hypot(*(end - start))
    corners = shapely.get_coordinates(spread.panels[tab].outline) - start
    return float(np.abs(corners @ [-along[1], along[0]]).max())


@pytest.mark.parametrize("over", [0.5, 3.0, 4.5])
def test_a_tab_beside_a_slot_keeps_a_millimetre_off_it(over):
    """A step 20 mm wide; the tabs would begin 30 mm off the spine, less so much, and reach 10 mm inwards."""
    spread = spread_of(STEP + tent("roof", body=f"at = 70; length = 30; base = {30 - over}; height = 50"))
    assert {trim.tab for trim in spread.trims} == {"roof.left.tab", "roof.right.tab"}
    for side in ("left", "right"):
        assert reach(spread, f"roof.{side}.tab") == pytest.approx(10 - over - 1.0, abs=1e-6)
        assert spread.panels["page." + side].outline.buffer(1e-6).contains(on_host(spread, f"roof.{side}.tab"))
    assert check_glue(spread) == []


def test_a_tab_that_lies_well_is_not_touched():
    body = "at = 70; length = 60; base = 30; height = 50"
    trimmed, asked = (spread_of(STEP + tent("roof", body=text)) for text in (body, f"{body}; tab_width = 10"))
    assert trimmed.trims == ()
    assert trimmed.panels["roof.left.tab"].outline.equals(asked.panels["roof.left.tab"].outline)


def test_a_width_that_was_asked_for_is_kept_and_found():
    spread = spread_of(STEP + tent("roof", body="at = 70; length = 30; base = 27; height = 50; tab_width = 10"))
    assert spread.trims == ()
    assert [finding.severity for finding in check_glue(spread)] == ["error", "error"]
    left = spread_of(STEP + tent("roof", body="at = 70; length = 30; base = 27; height = 50; tab_width_left = 10"))
    assert [trim.tab for trim in left.trims] == ["roof.right.tab"]
    assert [finding.panel for finding in check_glue(left)] == ["roof.left.tab"]


@pytest.mark.parametrize(("over", "room"), [(4.9, True), (5.1, False)])
def test_what_would_leave_too_little_is_left_and_found(over, room):
    """10 mm, less what lies over the slot and 1 mm more: 4 mm are the least that a hand can glue."""
    spread = spread_of(STEP + tent("roof", body=f"at = 70; length = 30; base = {30 - over}; height = 50"))
    assert bool(spread.trims) is room
    assert bool(check_glue(spread)) is not room
    if not room:
        assert reach(spread, "roof.left.tab") == pytest.approx(10.0)


def test_the_least_is_the_limit_of_the_description():
    body = STEP + tent("roof", body="at = 70; length = 30; base = 25.5; height = 50")
    assert spread_of(body).trims
    assert spread_of(body, "[checks]\ntab_width = 6\n").trims == ()


def test_windows_are_kept_off_too():
    """A tent on a tent's panel, whose window ends 29 mm off the crease: its tab reaches from 26 to 36 mm."""
    big = "at = 50; length = 90; base = 40; height = 70; holes = [[[18, 5], [29, 5], [29, 85], [18, 85]]]"
    small = tent("top", "roof.middle", "at = 10; length = 70; base = 36; height = 40")
    spread = spread_of(tent("roof", body=big) + small)
    assert {trim.over for trim in spread.trims} == {
        "an edge, a cut or a crease of roof.left",
        "an edge, a cut or a crease of roof.right",
    }
    for side in ("left", "right"):
        host = spread.panels[f"roof.{side}"].outline
        tab = on_host(spread, f"top.{side}.tab")
        window = Polygon(host.interiors[0])
        assert tab.distance(window) == pytest.approx(1.0, abs=1e-6)
    assert check_glue(spread) == []


def test_of_two_tabs_the_one_that_keeps_more_gives_way():
    """The long tab loses a corner; the short one would lose nearly all."""
    long = tent("long", body="at = 30; length = 100; base = 30; height = 40")
    short = tent("short", body="at = 20; length = 25; base = 34; height = 50")
    for body in (long + short, short + long):
        spread = spread_of(body)
        assert {(trim.tab, trim.over) for trim in spread.trims} == {
            (f"long.{side}.tab", f"short.{side}.tab") for side in ("left", "right")
        }
        for side in ("left", "right"):
            assert on_host(spread, f"long.{side}.tab").distance(on_host(spread, f"short.{side}.tab")) >= 1.0 - 1e-6
        assert [finding for finding in check_glue(spread) if finding.other] == []


@pytest.mark.parametrize(("at", "kept"), [(42, "upper"), (95, "lower"), (70, None)])
def test_of_a_tab_that_is_cut_through_the_longer_part_stays(at, kept):
    """The other tab lies across all of it; in the middle neither part would hold half of the crease."""
    across = tent("short", body=f"at = {at}; length = 22; base = 31; height = 50; tab_width = 12")
    spread = spread_of(tent("long", body="at = 30; length = 100; base = 30; height = 40") + across)
    assert bool(spread.trims) is (kept is not None)
    assert bool([finding for finding in check_glue(spread) if finding.other]) is (kept is None)
    low, high = on_host(spread, "long.left.tab").bounds[1::2]
    if kept is not None:
        assert (low > at + 10 and high == 128) if kept == "upper" else (low == 32 and high < at + 10)


def test_of_two_tabs_only_the_one_by_default_gives_way():
    one = tent("one", body="at = 30; length = 60; base = 30; height = 40; tab_width = 10")
    two = tent("two", body="at = 80; length = 60; base = 33; height = 40")
    assert {trim.tab for trim in spread_of(one + two).trims} == {"two.left.tab", "two.right.tab"}
    both = spread_of(one + two + "tab_width = 10\n")
    assert both.trims == ()
    assert len([finding for finding in check_glue(both) if finding.other]) == 2


def test_tabs_that_meet_on_the_net_of_their_own_piece():
    """Panels of 150 degrees leave 60 between them about the apex: both tabs would lie there."""
    body = "at = 60; angle = 45; crease_angle = 150; height = 60; width = 60"
    spread = spread_of(v_fold("hill", body=body))
    (trim,) = spread.trims
    assert (trim.tab, trim.over) == ("hill.left.tab", "hill.right.tab on the net")
    left, right = (spread.panels[f"hill.{side}.tab"].outline for side in ("left", "right"))
    assert left.distance(right) >= 1.0 - 1e-6
    with pytest.raises(HingeleafError, match="overlaps itself on its net"):
        spread_of(v_fold("hill", body=f"{body}; tab_width = 10"))


def test_tabs_on_either_face_do_not_trim_each_other():
    both = tent("in") + tent("out", body='at = 60; length = 50; base = 30; height = 40; side = "mountain"')
    assert spread_of(both).trims == ()


def test_a_tab_that_carries_something_keeps_its_shape():
    """A cut-in across the fold between panel and tab is cut from the tab as well."""
    body = STEP + tent("roof", body="at = 68; length = 34; base = 28; height = 50")
    assert {trim.tab for trim in spread_of(body).trims} == {"roof.left.tab", "roof.right.tab"}
    spread = spread_of(body + cut_in("mouth", "roof.left", "at = 14; length = 8; width = 3"))
    assert {trim.tab for trim in spread.trims} == {"roof.right.tab"}


@settings(max_examples=40, deadline=None, derandomize=True, database=None)
@given(st.floats(22.0, 34.0), st.floats(20.0, 75.0), st.floats(18.0, 60.0))
def test_whatever_is_trimmed_is_sound(base, at, length):
    spread = spread_of(STEP + tent("roof", body=f"at = {at}; length = {length}; base = {base}; height = 50"))
    plain = spread_of(
        STEP + tent("roof", body=f"at = {at}; length = {length}; base = {base}; height = 50; tab_width = 10")
    )
    trimmed = {trim.tab for trim in spread.trims}
    wrong = {finding.panel for finding in check_glue(spread) if finding.severity == "error"}
    before = {finding.panel for finding in check_glue(plain) if finding.severity == "error"}
    assert wrong == before - trimmed
    for trim in spread.trims:
        tab, whole = spread.panels[trim.tab].outline, plain.panels[trim.tab].outline
        assert tab.is_valid
        assert whole.buffer(1e-6).contains(tab)
        assert trim.lost_mm2 == pytest.approx(whole.area - tab.area, abs=1e-6)
        assert reach(spread, trim.tab) >= 4.0 - 1e-3
    # The panel still turns about the same line: it stands where it stood.
    openings = np.radians([0.0, 90.0])
    poses, others = (item.pose(openings).matrices["roof.left"] for item in (spread, plain))
    np.testing.assert_allclose(poses, others, atol=1e-12)


def test_what_was_trimmed_is_told():
    notes = glue_notes(spread_of(STEP + tent("roof", body="at = 70; length = 30; base = 28; height = 50")))
    assert notes == [
        f'the tab "roof {side}" is trimmed, because it would have lain over an edge, a cut or a crease of page.{side}; '
        "with a tab_width of your own it keeps its shape"
        for side in ("left", "right")
    ]


def test_tabs_that_point_outward_are_told_in_one_sentence():
    out = v_fold("hill", body='at = 60; angle = 45; height = 40; tab_right = "outer"')
    (note,) = glue_notes(spread_of(out))
    assert note.endswith("hill right")
    assert "inward they are hidden" in note
    assert glue_notes(spread_of(v_fold("hill", body="at = 60; angle = 45; height = 40"))) == []
