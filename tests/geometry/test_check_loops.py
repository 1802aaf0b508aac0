"""What is told of loops: free motions with the lines they go about, and dead points with their opening."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geometry import assemble, parse_description
from geometry.checks.loops import check_free_motions, check_loop_dead_points
from geometry.checks.opens_fully import check_opens_fully
from tests.geometry import strap_texts
from tests.geometry.scene_texts import HEAD
from tests.geometry.strap_texts import crossed_tents


def spread_of(text):
    return assemble(parse_description(HEAD + text))


@pytest.mark.parametrize(
    ("text", "count", "lines"),
    [
        (strap_texts.THREE, 1, "bridge.p1, bridge.c1, bridge.c2 and bridge.end"),
        (strap_texts.FOUR, 2, "bridge.p1, bridge.c1, bridge.c2, bridge.c3 and bridge.end"),
    ],
)
def test_a_free_motion_is_one_error_that_names_the_piece_and_its_lines(text, count, lines):
    (finding,) = check_free_motions(spread_of(text))
    assert (finding.code, finding.severity, finding.piece, finding.panel) == (
        "free-motion",
        "error",
        "bridge",
        "bridge.p1",
    )
    assert (finding.measure, finding.unit) == (count, "motions")
    assert finding.message.startswith(f"bridge can flop about {lines}: besides the opening it has {count} free motion")
    assert finding.message.count("; ") == 1
    assert finding.place_mm == pytest.approx((0.0, 10.0))


@pytest.mark.parametrize("text", [strap_texts.ROW, strap_texts.ARM, strap_texts.rung(20.0), strap_texts.ON_A_STRAP])
def test_what_is_held_has_no_such_finding(text):
    spread = spread_of(text)
    assert check_free_motions(spread) == []
    assert check_loop_dead_points(spread) == []


def test_a_strap_on_a_loose_strap_moves_with_it_and_only_the_loose_one_is_told():
    loose = strap_texts.ON_A_STRAP.replace("widths = [50, 50]", "widths = [50, 4, 50]").replace(
        "bridge.p2", "bridge.p3"
    )
    with_upper = loose.replace("to_at = [70, 10]", "to_at = [74, 10]")
    assert [item.piece for item in check_free_motions(spread_of(with_upper))] == ["bridge"]


def test_a_dead_point_is_one_warning_with_its_opening_and_its_crease():
    text, furthest = crossed_tents(1e-12)
    (finding,) = check_loop_dead_points(spread_of(text))
    assert (finding.code, finding.severity, finding.piece) == ("dead-point", "warning", "link")
    assert finding.opening_deg == pytest.approx(np.degrees(furthest), abs=1e-3)
    assert (finding.measure, finding.unit) == (0.0, "deg")
    assert "at 129.2 degrees of opening" in finding.message
    assert "about link.c1" in finding.message


def test_the_check_of_opening_tells_a_dead_point_from_a_lock():
    text, furthest = crossed_tents(1e-12)
    (finding,) = check_opens_fully(spread_of(text))
    assert finding.opening_deg == pytest.approx(np.degrees(furthest), abs=1e-3)
    assert "it lies stretched there, at a dead point" in finding.message
    (lock,) = check_opens_fully(spread_of(crossed_tents(-0.1)[0]))
    assert "dead point" not in lock.message


def test_what_is_in_the_way_only_in_mid_motion_lacks_nothing_when_open():
    """The tents' ends are furthest apart in mid-motion: a strap too short for that would reach again when open."""
    (lock,) = check_opens_fully(spread_of(crossed_tents(-0.1)[0]))
    assert lock.message.endswith("degrees: its panels let it go no further")


@pytest.mark.parametrize("spare", [0.1, -0.1])
def test_neither_a_longer_nor_a_shorter_one_comes_to_a_dead_point(spare):
    assert check_loop_dead_points(spread_of(crossed_tents(spare)[0])) == []


def test_what_a_hand_moves_is_told_without_an_opening():
    spread = spread_of(crossed_tents(1e-12)[0])
    (loop,) = spread.loops
    path = loop.path
    moved = replace(loop, driver="strip:hand")
    moved.__dict__["path"] = path
    units = tuple(moved if unit is loop else unit for unit in spread.units)
    (finding,) = check_loop_dead_points(replace(spread, units=units))
    assert finding.opening_deg is None
    assert "of strip:hand" in finding.message
