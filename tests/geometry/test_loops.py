"""The numeric solver against the closed form on the same cells, and where a loop ends, flops, or cannot be."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geometry import assemble, following, parse_description
from geometry.errors import HingeleafError
from geometry.linkage import OVER, Cell, PlanarCell, SphericalCell
from geometry.loops import Loop
from geometry.model import Angle
from tests.geometry import strap_texts
from tests.geometry.numeric_cells import cell_loop
from tests.geometry.scene_texts import HEAD, tent, v_fold
from tests.geometry.strap_texts import crossed_tents

HALF_DEGREES = np.radians(np.arange(0.0, 180.25, 0.5))
AGREE = 1e-9

CELLS = {
    "tent, equal": PlanarCell(30, 30, 40, 40),
    "tent, unequal": PlanarCell(40, 30, 50, 60),
    "tent, flat when open": PlanarCell(30, 30, 30, 30),
    "tent, unequal and flat when open": PlanarCell(20, 50, 50, 20),
    "tent, leaning over": PlanarCell(40, 30, 60, 70, OVER),
    "tent, does not close flat": PlanarCell(20, 40, 45, 30),
    "tent, closes all but flat": PlanarCell(40, 30, 50, 60.0001),
    "tent, locks": PlanarCell(30, 30, 28, 28),
    "tent, jams": PlanarCell(40, 20, 30, 51),
    "tent, jams and locks, leaning over": PlanarCell(46, 50, 24, 51, OVER),
    "v-fold, equal": SphericalCell(0.8, 0.8, 1.2, 1.2),
    "v-fold, unequal": SphericalCell(0.8, 0.6, 1.2, 1.4),
    "v-fold, flat when open": SphericalCell(0.8, 0.8, 0.8, 0.8),
    "v-fold, unequal and flat when open": SphericalCell(0.8, 0.6, 0.6, 0.8),
    "v-fold, locks": SphericalCell(0.8, 0.6, 0.6, 0.75),
    "v-fold, jams": SphericalCell(0.65, 0.5, 1.53, 0.96),
    "v-fold, jams and locks, leaning over": SphericalCell(0.94, 1.3, 0.67, 1.28, OVER),
}


def random_cells(count: int) -> dict[str, Cell]:
    rng = np.random.default_rng(20)
    found: dict[str, Cell] = {}
    while len(found) < count:
        branch = int(rng.choice([1, -1]))
        planar = PlanarCell(*rng.uniform(15.0, 60.0, 4), branch=branch)
        spherical = SphericalCell(*rng.uniform(0.3, 1.57, 4), branch=branch)
        for cell in (planar, spherical):
            if cell.solve(HALF_DEGREES).exists.sum() > 20:
                found[f"random {len(found)}"] = cell
    return found


CELLS |= random_cells(40)


def apart(first, second):
    """The largest difference of angles, whole turns left out, where both are known."""
    return float(np.nanmax(np.abs(np.angle(np.exp(1j * (first - second))))))


@pytest.mark.parametrize("name", CELLS)
def test_a_cell_moves_as_the_closed_form_says_at_every_half_degree(name):
    cell = CELLS[name]
    wanted = cell.solve(HALF_DEGREES)
    there = HALF_DEGREES[wanted.exists]
    loop = cell_loop(cell, float(there[len(there) // 2]))
    solved = loop.solve({"spine": HALF_DEGREES})
    assert (np.isfinite(solved["foot"]) == wanted.exists).all()
    assert apart(solved["foot"], wanted.left) < AGREE
    assert apart(np.abs(solved["crease"]), wanted.middle) < AGREE
    assert apart(solved["right"], wanted.right) < AGREE
    assert loop.path.free == 0
    assert loop.path.loose == ()


@pytest.mark.parametrize("name", CELLS)
def test_a_cell_locks_where_the_closed_form_says(name):
    cell = CELLS[name]
    low, high = cell.lock()
    path = cell_loop(cell, float((low + high) / 2)).path
    assert (path.low, path.high) == pytest.approx((low, high), abs=AGREE)
    assert path.ends == ("lock" if low > 0.0 else "range", "lock" if high < np.pi else "range")
    assert "dead point" not in path.ends


@pytest.mark.parametrize("name", ["tent, jams", "v-fold, locks", "tent, jams and locks, leaning over"])
def test_beyond_its_locks_there_is_no_position(name):
    cell = CELLS[name]
    low, high = cell.lock()
    loop = cell_loop(cell, float((low + high) / 2))
    around = np.array([low - 1e-6, low + 1e-6, high - 1e-6, high + 1e-6])
    reached = np.isfinite(loop.solve({"spine": around})["foot"])
    inside = (around >= 0.0) & (around <= np.pi) & (around >= low) & (around <= high)
    assert (reached == inside).all()


@pytest.mark.parametrize("name", ["tent, jams", "v-fold, locks", "tent, jams and locks, leaning over", "random 5"])
def test_up_to_its_locks_there_is_every_position(name):
    """However near to a lock: there the positions that were stepped to lie closer and closer together."""
    cell = CELLS[name]
    low, high = cell.lock()
    loop = cell_loop(cell, float((low + high) / 2))
    near = np.concatenate([np.geomspace(1e-8, (high - low) / 2, 3000), np.linspace(1e-4, (high - low) / 2, 3000)])
    openings = np.concatenate([low + near, high - near])
    solved = loop.solve({"spine": openings})
    assert np.isfinite(solved["foot"]).all()
    inside = np.minimum(openings - low, high - openings) > 1e-4
    assert apart(solved["foot"][inside], cell.solve(openings[inside]).left) < AGREE


def test_positions_found_twice_leave_no_hole_between_them():
    """Those that were stepped to and those at which the Jacobian is looked at may differ by the last digit alone."""
    text = """[[mechanism]]
kind = "box"
id = "box"
fold = "spine"
at = 60
length = 80
base = 30
height = 40
end_width_left = 33
end_width_right = 30
"""
    loop = loops_of(text)["box"]
    low = 2 * np.arcsin(3 / 60)
    assert loop.path.low == pytest.approx(low, abs=AGREE)
    openings = low + np.linspace(1e-4, 0.3, 20000)
    assert np.isfinite(loop.solve({"spine": openings})["box:left"]).all()


@pytest.mark.parametrize("name", ["tent, unequal", "v-fold, jams", "tent, jams and locks, leaning over"])
def test_steps_tried_at_once_lead_where_single_steps_lead(name, monkeypatch):
    cell = CELLS[name]
    low, high = cell.lock()
    many = cell_loop(cell, float((low + high) / 2))
    stepped = len(many.path.values)
    monkeypatch.setattr(following, "_AT_ONCE", 2)
    monkeypatch.setattr(following, "_PARTS", 2)
    few = cell_loop(cell, float((low + high) / 2))
    assert len(few.path.values) != stepped
    assert few.path.ends == many.path.ends
    assert (few.path.low, few.path.high) == pytest.approx((many.path.low, many.path.high), abs=AGREE)
    openings = np.linspace(few.path.low, few.path.high, 400)[1:-1]
    assert apart(few.solve({"spine": openings})["foot"], many.solve({"spine": openings})["foot"]) < AGREE


def test_a_step_that_leads_elsewhere_is_not_taken():
    """A motion that jumps by more than it may: it is followed up to the jump and no further, from either side."""

    def settle(values, guess, weak):
        wanted = np.where(values < 1.0, np.sin(values), np.sin(values) + 0.05)[:, None]
        return wanted, np.zeros(len(values))

    for start, sides in ((0.5, (0.0, 1.0)), (1.5, (1.0, 2.0))):
        first = settle(np.array([start]), None, None)[0][0]
        below, above = following.followed(settle, start, first, (0.0, 2.0))
        assert (below.values[-1], above.values[-1]) == pytest.approx(sides, abs=1e-9)
        assert {below.end, above.end} == {"range", "lock"}


def on_a_faster_fold(cell: Cell, pace: float, start: float) -> Loop:
    """The same loop on a fold that opens so many times as fast as the book, and so passes flat on the way."""
    loop = cell_loop(cell, start)
    panels = tuple(
        replace(panel, axis=replace(panel.axis, turn=Angle("spine", -pace, np.pi))) if panel.id == "L" else panel
        for panel in loop.geometry.panels
    )
    geometry = replace(loop.geometry, panels=panels)
    return replace(loop, geometry=geometry, start=replace(loop.start, value=start / pace))


#: Cells that lie flat when their fold does: there they may go on either way.
CHANGE_POINTS = {
    "four equal bars": PlanarCell(30, 30, 30, 30),
    "a parallelogram": PlanarCell(30, 20, 20, 30),
    "only as long": PlanarCell(30, 20, 25, 25),
    "spherical": SphericalCell(0.8, 0.6, 0.6, 0.8),
    "spherical, only as wide": SphericalCell(0.8, 0.6, 0.7, 0.7),
}


@pytest.mark.parametrize("name", CHANGE_POINTS)
@pytest.mark.parametrize("pace", [2.0, 1.7, 1.3, 1.02, 1.005])
def test_a_dead_point_in_mid_motion_is_found_and_not_passed(name, pace):
    loop = on_a_faster_fold(CHANGE_POINTS[name], pace, np.pi / 2)
    path = loop.path
    assert path.ends[1] == "dead point"
    assert path.high == pytest.approx(np.pi / pace, abs=1e-6)
    around = path.high + np.radians([-1.0, -0.01, 0.01, 1.0])
    assert np.isfinite(loop.solve({"spine": np.minimum(around, np.pi)})["foot"]).tolist() == [True, True, False, False]


def test_a_dead_point_is_found_on_the_way_back_too():
    loop = on_a_faster_fold(CHANGE_POINTS["a parallelogram"], 1.5, np.pi / 2)
    beyond = replace(loop.start, value=2.6, guesses=np.array([[0.4, 0.4], [-0.4, -0.4], [3.0, 2.5], [-3.0, -2.5]]))
    path = replace(loop, start=beyond).path
    assert path.ends[0] == "dead point"
    assert path.low == pytest.approx(np.pi / 1.5, abs=1e-6)


def test_before_a_dead_point_the_motion_is_that_of_the_closed_form():
    cell = CHANGE_POINTS["a parallelogram"]
    loop = on_a_faster_fold(cell, 2.0, np.pi / 2)
    openings = np.radians(np.arange(0.0, 90.0, 0.5))
    solved, wanted = loop.solve({"spine": openings}), cell.solve(2.0 * openings)
    assert apart(solved["foot"], wanted.left) < AGREE
    assert apart(solved["right"], wanted.right) < AGREE


def loops_of(text: str) -> dict[str, Loop]:
    return {loop.id: loop for loop in assemble(parse_description(HEAD + text)).loops}


def test_a_strap_that_comes_straight_in_mid_motion_ends_there():
    text, furthest = crossed_tents(1e-12)
    path = loops_of(text)["link"].path
    assert path.ends == ("range", "dead point")
    assert np.degrees(path.high) == pytest.approx(np.degrees(furthest), abs=1e-3)


@pytest.mark.parametrize(("spare", "ends"), [(0.1, ("range", "range")), (-0.1, ("range", "lock"))])
def test_a_strap_that_is_longer_moves_on_and_a_shorter_one_locks(spare, ends):
    assert loops_of(crossed_tents(spare)[0])["link"].path.ends == ends


@pytest.mark.parametrize(
    ("text", "free", "loose"),
    [
        (strap_texts.ROW, 0, ()),
        (strap_texts.THREE, 1, ("bridge:p1", "bridge:p2", "bridge:p3", "bridge:end")),
        (strap_texts.FOUR, 2, ("bridge:p1", "bridge:p2", "bridge:p3", "bridge:p4", "bridge:end")),
    ],
)
def test_free_motions_are_counted_and_named(text, free, loose):
    path = loops_of(text)["bridge"].path
    assert path.free == free
    assert path.loose == loose


@pytest.mark.parametrize("text", [strap_texts.ARM, strap_texts.rung(20.0)])
def test_what_is_held_more_than_once_but_consistently_moves(text):
    (loop,) = loops_of(text).values()
    assert len(loop.geometry.unknowns) == 1
    assert (loop.path.low, loop.path.high) == (0.0, np.pi)
    openings = HALF_DEGREES
    angles = assemble(parse_description(HEAD + text)).pose(openings).variables
    # It stays parallel to itself: the two hosts turn alike against it.
    assert angles[f"{loop.id}:p1"] == pytest.approx(angles[f"{loop.id}:end"], abs=AGREE)
    assert np.ptp(angles[f"{loop.id}:p1"]) > 0.5


@pytest.mark.parametrize(
    ("text", "misfit_mm"),
    [
        # The similar tents keep the two lines 20 mm apart: whatever is longer misses by the rest.
        (strap_texts.rung(21.0), 1.0),
        (strap_texts.rung(14.5), 5.5),
        # 40 mm from the spine on pages that are square to each other: the ends are 40 mm times the root of 2 apart.
        (strap_texts.row("50"), 40 * 2**0.5 - 50),
        (strap_texts.row("20, 20"), 40 * 2**0.5 - 40),
        # Shifted along its own line.
        (strap_texts.ROW.replace("to_at = [40, 120]", "to_at = [40, 90]"), 30.0),
    ],
)
def test_what_cannot_close_is_refused_with_the_misfit(text, misfit_mm):
    with pytest.raises(HingeleafError, match="does not close") as raised:
        loops_of(text)
    said = float(str(raised.value).split("miss each other by ")[1].split(" mm")[0])
    assert said == pytest.approx(misfit_mm, rel=1e-3)


def test_what_closes_but_cannot_move_is_refused_with_the_misfit():
    text = strap_texts.row(repr(40 * 2**0.5))
    with pytest.raises(HingeleafError, match=r"closes at 90\.0 degrees and cannot move") as raised:
        loops_of(text)
    said = float(str(raised.value).split("miss each other by ")[1].split(" mm")[0])
    # One degree less the lines are 80 mm sin(44.5°) apart, which misses by more than one degree further.
    assert said == pytest.approx(80 * np.sin(np.radians(45.0)) - 80 * np.sin(np.radians(44.5)), rel=1e-3)


def test_a_strap_between_a_v_fold_and_a_tent_is_refused():
    """Its two glue lines are not parallel, or not for long."""
    text = strap_texts.V_FOLD_AND_TENT + strap_texts.strap(
        'from = "hill.right"; from_at = [20, 30]; to = "roof.right"; to_at = [20, 25]; length = 12; widths = [50, 50]'
    )
    with pytest.raises(HingeleafError, match=r"miss each other by \d"):
        loops_of(text)


def test_a_row_on_a_v_fold_is_the_cell_on_its_crease():
    """A strap between panels that do share a fold is a tent on it: solved both ways."""
    hill = v_fold("hill", body="at = 60; angle = 50; height = 80; width = 80")
    row = strap_texts.strap(
        'from = "hill.left"; from_at = [-20, 40]; to = "hill.right"; to_at = [20, 40]; from_face = "back"; '
        'to_face = "back"; length = 20; widths = [26, 26]'
    )
    cell = tent("cell", "hill.middle", "at = 30; length = 20; base = 20; height = 26")
    solved, wanted = (
        assemble(parse_description(HEAD + hill + text)).pose(HALF_DEGREES).variables for text in (row, cell)
    )
    assert apart(solved["bridge:p1"], wanted["cell:left"]) < AGREE
    assert apart(solved["bridge:end"], wanted["cell:right"]) < AGREE
