"""Strap: where it stands, how it bends, what it carries, and what is told of it."""

from __future__ import annotations

import numpy as np
import pytest

from geometry import DescriptionError, assemble, parse_description, read_description
from geometry.checks import run_checks
from geometry.poses import poses_data
from tests.geometry import judge
from tests.geometry.scene_texts import HEAD, ROOT
from tests.geometry.strap_texts import (
    ARM,
    FIVE_DEEP,
    ON_A_STRAP,
    ROW,
    TENT_ON_A_STRAP,
    THREE,
    TWO_FOLDS,
    V_FOLDS,
    row,
    rung,
    strap,
)

DEGREES = np.arange(0.0, 181.0)
SCENES = ("strap.toml", "strap-between-v-folds.toml")
TEXTS = {
    "row": ROW,
    "row, unequal": row("60, 50").replace("to_at = [40", "to_at = [50"),
    "row, into the book": row("50, 50", '; bend = "in"'),
    "row, tabs outer": row("50, 50", '; tab = "outer"'),
    "between two v-folds": TWO_FOLDS,
    "single panel": ARM,
    "single panel between tents": rung(20.0),
    "strap on a strap": ON_A_STRAP,
    "tent on a strap": TENT_ON_A_STRAP,
    "five deep": FIVE_DEEP,
    **{name: (ROOT / "scenes" / name).read_text(encoding="utf-8") for name in SCENES},
}


def spread_of(text):
    return assemble(parse_description(text if text.lstrip().startswith(("#", "format")) else HEAD + text))


@pytest.mark.parametrize("name", TEXTS)
def test_hinges_coincide_over_the_whole_motion_and_the_book_closes_flat(name):
    spread = spread_of(TEXTS[name])
    assert spread.reachable() == (0.0, np.pi)
    scene = judge.posed(poses_data(spread, DEGREES))
    worst = 0.0
    for hinge in spread.hinges:
        first, second = (scene.world(panel, line) for panel, line in zip(hinge.panels, hinge.lines, strict=True))
        worst = max(worst, float(np.abs(first - second).max()))
    assert worst < 1e-9
    for name_, panel in spread.panels.items():
        corners = scene.world(name_, np.asarray(panel.outline.exterior.coords))
        assert np.abs(corners[0, :, 2]).max() < 1e-6
        # Nothing jumps: the fastest tip of these goes about ten times as fast as the page.
        assert np.linalg.norm(np.diff(corners, axis=0), axis=2).max() < 30.0


@pytest.mark.parametrize(
    "name", [*SCENES, "row", "between two v-folds", "single panel", "strap on a strap", "five deep"]
)
def test_no_finding(name):
    assert run_checks(spread_of(TEXTS[name])) == ()


def test_a_row_over_the_spine_stands_where_its_triangle_says():
    """Two equal sides over the distance of the glue lines: the crease is above its middle."""
    spread = spread_of(ROW)
    crease = judge.posed(poses_data(spread, DEGREES)).world("bridge.p1", [[50.0, 10.0]])[:, 0]
    half = np.radians(DEGREES) / 2
    out = 40 * np.cos(half) + np.sqrt(50.0**2 - (40 * np.sin(half)) ** 2)
    assert np.hypot(crease[:, 0], crease[:, 2]) == pytest.approx(out, abs=1e-9)
    assert crease[:, 1] == pytest.approx(np.full(181, 120.0), abs=1e-9)


@pytest.mark.parametrize(("bend", "out"), [("out", 1.0), ("in", -1.0)])
def test_bend_says_which_of_two_positions_is_meant(bend, out):
    spread = spread_of(row("50, 50", f'; bend = "{bend}"'))
    crease = judge.posed(poses_data(spread, [90.0])).world("bridge.p1", [[50.0, 10.0]])[0, 0]
    wanted = 40 * np.sqrt(0.5) + out * np.sqrt(50.0**2 - 40.0**2 / 2)
    assert crease[0] == pytest.approx(wanted * np.sqrt(0.5), abs=1e-9)


@pytest.mark.parametrize(("bend", "sign"), [("head", 1.0), ("foot", -1.0)])
def test_it_bends_towards_the_head_or_the_foot(bend, sign):
    """Between v-folds its crease has both to go to."""
    spread = spread_of(TWO_FOLDS.replace("widths = [30, 30]", f'widths = [30, 30]\nbend = "{bend}"'))
    scene = judge.posed(poses_data(spread, [90.0]))
    side = np.sign(sum(spread.panels["roof.p1"].outline.bounds[0::2]))
    start, crease = scene.world("roof.p1", [[0.0, 12.0], [side * 30.0, 12.0]])[0]
    end = scene.world("roof.p2", [[side * 60.0, 12.0]])[0, 0]
    assert np.sign((crease - (start + end) / 2)[1]) == sign


def test_the_glue_lines_run_as_from_turn_and_to_turn_say():
    """On the same pages, lines along the page's foot cannot stay parallel; along the spine they do."""
    flat = row("50, 50", "; from_turn = 0; to_turn = 0")
    with pytest.raises(DescriptionError, match=r"does not close|cannot move"):
        spread_of(flat)
    spread = spread_of(row("50, 50", "; from_turn = -90; to_turn = 90"))
    lines = {hinge.id: hinge.lines for hinge in spread.hinges}
    assert np.ptp(lines["bridge.p1.glue"][1][:, 0]) == pytest.approx(0.0, abs=1e-12)
    assert np.ptp(lines["bridge.p1.glue"][1][:, 1]) == pytest.approx(20.0)


def test_what_was_written_rounded_is_made_to_fit():
    """At 50 degrees apex and glue line are 50 mm and 32.139... mm along: no decimal says it."""
    v_folds = V_FOLDS.replace("angle = 53.13010235415598", "angle = 50")
    arm = strap(
        'from = "near.left"; from_at = [-54, 20]; from_turn = 0; from_face = "back"; to = "far.left"; '
        "to_at = [-21.86, 20]; to_turn = 0.04; length = 20; widths = [38.3]",
        "arm",
    )
    spread = spread_of(v_folds + arm)
    width = spread.panels["arm.p1"].outline.bounds
    assert width[2] - width[0] == pytest.approx(50 * np.sin(np.radians(50)), abs=1e-9)
    with pytest.raises(DescriptionError, match="miss each other by"):
        spread_of(v_folds + arm.replace("-21.86", "-21.5"))


def test_both_ends_on_one_panel_are_refused():
    with pytest.raises(DescriptionError, match="begins and ends on the same panel"):
        spread_of(ROW.replace('to = "page.right"', 'to = "page.left"'))


def test_a_row_of_many_is_refused():
    with pytest.raises(DescriptionError, match="has 9 panels"):
        spread_of(row(", ".join(["12"] * 9)))


def test_a_panel_that_is_not_there_is_named():
    with pytest.raises(DescriptionError, match=r"is no panel; did you mean page.left"):
        spread_of(ROW.replace("page.left", "page.lefd"))


def test_its_creases_are_folds_on_both_sides():
    spread = spread_of(ROW)
    assert {side for name, side in spread.folds if name == "bridge.c1"} == {"mountain", "valley"}
    (crease,) = [hinge for hinge in spread.hinges if hinge.id == "bridge.c1"]
    assert spread.crease_class(crease) == "mountain"
    assert spread.folds[("bridge.c1", "valley")].dihedral.of(spread.pose([0.0, np.pi]).variables) == pytest.approx(
        [0.0, 2 * np.arcsin(40 / 50)]
    )


def test_its_tabs_are_measured_from_their_own_creases():
    """The last tab bears the name of the end, not of its panel."""
    narrow = spread_of(row("50, 50", "; tab_width_right = 3.5"))
    (finding,) = run_checks(narrow)
    assert (finding.code, finding.panel, finding.measure) == ("glue", "bridge.end.tab", pytest.approx(3.5))


def test_what_flops_is_named():
    (finding,) = [item for item in run_checks(spread_of(THREE)) if item.code == "free-motion"]
    assert finding.severity == "error"
    assert finding.measure == 1
    assert finding.message.startswith("bridge can flop about bridge.p1, bridge.c1, bridge.c2 and bridge.end: ")


def test_what_jams_says_by_how_much():
    """53 mm out and 50 mm back on the same line: pressed shut, 3 mm are lacking."""
    found = {item.code: item for item in run_checks(spread_of(row("50, 53")))}
    jam = found["closes-flat"]
    # |l - r| = 80 sin(opening/2) = 3.
    assert jam.opening_deg == pytest.approx(np.degrees(2 * np.arcsin(3 / 80)), abs=1e-6)
    assert jam.message.startswith("bridge jams at an opening of ")
    assert jam.message.endswith("pressed shut its ends would miss each other by 3.00 mm")


@pytest.mark.parametrize(("widths", "panel"), [("50, 53", "bridge.p1"), ("53, 50", "bridge.p2")])
def test_a_panel_that_turns_through_its_page_is_found_at_either_end(widths, panel):
    through = [item for item in run_checks(spread_of(row(widths))) if item.code == "through-host"]
    assert [(item.panel, round(item.measure)) for item in through] == [(panel, 50)]


@pytest.mark.parametrize("lacking", [8.0, 0.4])
def test_what_locks_says_by_how_much(lacking):
    """Two panels that are together so much too short for glue lines that come 80 mm apart."""
    width = (80 - lacking) / 2
    (lock,) = [item for item in run_checks(spread_of(row(f"{width}, {width}"))) if item.code == "opens-fully"]
    assert lock.opening_deg == pytest.approx(np.degrees(2 * np.arcsin((80 - lacking) / 80)), abs=1e-6)
    assert lock.message.endswith(f"would have to miss each other by {lacking:.2f} mm")


@pytest.mark.parametrize("name", SCENES)
def test_the_scenes_are_read_from_their_files(name):
    assert read_description(ROOT / "scenes" / name).title
