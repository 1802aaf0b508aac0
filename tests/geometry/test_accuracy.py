"""Accuracy of hand: Monte Carlo closing against the closed form of DESIGN.md, section 3, and against a slow solve."""

from __future__ import annotations

import numpy as np
import pytest

from geometry import accuracy as accuracy_module
from geometry import assemble, parse_description, read_description
from geometry.accuracy import dimensions, monte_carlo, sensitivities
from geometry.copies import closing_conditions
from geometry.loop_closing import loop_stops
from geometry.loop_errors import erring
from tests.geometry.erring_copies import cells_of, errors_of, sizes_of, slow_stop
from tests.geometry.scene_texts import BIG, HEAD, ROOT, cut_in, mechanism, tent, v_fold

UNEQUAL = tent("roof", body="at = 60; length = 50; base_left = 40; base_right = 20; height_left = 40")
EQUAL = tent("roof", body="at = 60; length = 50; base = 30; height = 40")


def spread_of(body, checks=""):
    return assemble(parse_description(HEAD + checks + body))


@pytest.mark.parametrize("body", [UNEQUAL, EQUAL])
def test_closing_angles_of_a_planar_cell_are_those_of_the_closed_form(body):
    """cos delta = (a2 + b2 - (c - d)2) / 2ab where |c - d| > |a - b|; else it shuts, its crease stands off."""
    spread = spread_of(body)
    result = monte_carlo(spread, copies=3000, seed=5, thickness=False)
    cell = spread.cells[0].cell
    nominal = (cell.base_left, cell.base_right, cell.width_left, cell.width_right)
    a, b, c, d = sizes_of(spread, "roof", nominal, errors_of(spread, 3000, 5)).T
    jams = np.abs(c - d) > np.abs(a - b)
    exact = np.where(jams, np.degrees(np.arccos(np.clip((a**2 + b**2 - (c - d) ** 2) / (2 * a * b), -1, 1))), 0.0)
    assert result.opening_deg == pytest.approx(exact, abs=1e-5)
    assert 0.2 < jams.mean() <= 1.0
    assert result.fore_edge_mm == pytest.approx(2 * 148 * np.sin(np.radians(exact) / 2), abs=1e-4)
    s = (np.abs(a - b) + c + d) / 2
    area = np.sqrt(np.maximum(s * (s - np.abs(a - b)) * (s - c) * (s - d), 0.0))
    height = np.where(jams, 0.0, 2 * area / np.where(a == b, 1.0, np.abs(a - b)))
    assert result.stand_off_mm == pytest.approx(height, abs=1e-4)
    assert result.share == pytest.approx(np.mean(result.fore_edge_mm <= 2.0))


def test_the_worked_figure():
    """DESIGN.md: a = 40, b = 20, 0.5 mm stops at about 9 degrees; a = b = 30 at about 1 degree."""
    for body, opening in ((UNEQUAL, 9.1254), (EQUAL, 0.9549)):
        spread = spread_of(body, "[checks]\nsd_length = 0.5\n")
        worst = next(item for item in sensitivities(spread) if item.dimension.name.startswith("height"))
        assert worst.fore_edge_mm == pytest.approx(2 * 148 * np.sin(np.radians(opening) / 2), abs=2e-3)
        assert abs(worst.misfit_per_unit) == 1.0


def test_unequal_cells_forgive_less():
    share = {
        name: monte_carlo(spread_of(body), copies=2000).share for name, body in (("equal", EQUAL), ("unequal", UNEQUAL))
    }
    assert share["unequal"] < share["equal"] - 0.2


STRAP = mechanism(
    "strap",
    "band",
    "",
    'from = "page.left"; from_at = [-32, 105]; to = "page.right"; to_at = [32, 105]; length = 30; widths = [46, 46]',
).replace('fold = ""\n', "")
NESTED = {
    "step on a strap": STRAP + cut_in("step", "band.c1", "at = 8; length = 14; width_left = 10; width_right = 13"),
    "tent in a step on a strap, beside a v-fold": v_fold("hill", body="at = 20; angle = 50; height = 30")
    + STRAP
    + cut_in("step", "band.c1", "at = 2; length = 26; width = 12")
    + tent("nest", "step.middle", "at = 4; length = 16; base = 8; height = 9; tab_width = 4"),
    "tent in a tent": tent("roof")
    + tent("nest", "roof.middle", "at = 10; length = 30; base_left = 12; base_right = 9; height_left = 14"),
    "step in a v-fold": BIG + cut_in("step", "hill.middle", "at = 30; length = 25; width = 15"),
    "v-fold on an unequal step": cut_in("step", body="at = 60; length = 60; width_left = 30; width_right = 20")
    + v_fold("bird", "step.left", "at = 20; angle_left = 40; angle_right = 50; height = 15"),
}


def loop_stops_rad(spread, errors):
    """Where the loops of copies stop, (n,) float."""
    stops = np.zeros(len(errors))
    for loop in spread.loops:
        own = [column for column, item in enumerate(dimensions(spread, thickness=False)) if item.mechanism == loop.id]
        stops = np.maximum(stops, loop_stops(spread, erring(spread, loop), errors[:, own]).short)
    return stops


@pytest.mark.parametrize("name", NESTED)
def test_closing_angles_of_nested_cells_are_those_of_a_slow_solve(name):
    spread = spread_of(NESTED[name])
    copies, seed = 40, 11
    result = monte_carlo(spread, copies=copies, seed=seed, thickness=False)
    errors = errors_of(spread, copies, seed)
    cells = cells_of(spread, errors)
    slow = np.array(
        [np.degrees(slow_stop(spread, {key: value[row] for key, value in cells.items()})) for row in range(copies)]
    )
    # What the loops stop at themselves, on which the cells stand as designed; see test_loop_accuracy.
    loops = np.degrees(loop_stops_rad(spread, errors))
    assert result.opening_deg == pytest.approx(np.maximum(slow, loops), abs=1e-4)
    assert (slow > loops).any()
    assert np.ptp(slow) > 0.1


def test_first_order_is_the_slope_of_the_closing_condition():
    """By built copies: the height that a tent misses, one dimension moved by a hundredth."""
    spread = spread_of(UNEQUAL)
    for item in sensitivities(spread):
        effect = item.dimension.effect
        assert item.misfit_per_unit == pytest.approx(effect[0] + effect[2] - effect[1] - effect[3], abs=1e-12)
        if not item.dimension.stock:
            deviation = item.dimension.deviation
            assert item.card_mm >= abs(item.misfit_per_unit) * deviation - 1e-9
    gaps = [item.fore_edge_mm for item in sensitivities(spread)]
    assert gaps == sorted(gaps, reverse=True)
    names = {item.dimension.name for item in sensitivities(spread)}
    assert len(names) == 7
    assert "caliper of card" in names
    assert any("glue" in name for name in names)
    assert any("height" in name for name in names)


def test_the_same_seed_gives_the_same_copies():
    spread = spread_of(UNEQUAL)
    one, two, three = (monte_carlo(spread, copies=200, seed=seed) for seed in (3, 3, 4))
    assert (one.opening_deg == two.opening_deg).all()
    assert not (one.opening_deg == three.opening_deg).all()


def test_no_errors_no_gap():
    result = monte_carlo(spread_of(UNEQUAL, "[checks]\nsd_length = 0\nsd_angle = 0.000001\n"), copies=50)
    assert result.fore_edge_mm.max() < 0.1
    assert result.share == 1.0


def test_more_error_means_fewer_copies_that_close():
    shares = [
        monte_carlo(spread_of(UNEQUAL, f"[checks]\nsd_length = {sd}\n"), copies=2000).share for sd in (0.05, 0.3, 1.0)
    ]
    assert shares == sorted(shares, reverse=True)
    loose = monte_carlo(spread_of(UNEQUAL, "[checks]\ngap = 20\n"), copies=2000).share
    assert loose > shares[1]


def test_ten_thousand_copies_of_the_demo_book():
    spread = assemble(read_description(ROOT / "scenes" / "demo" / "low-tide.toml"))
    result = monte_carlo(spread, copies=10_000, seed=1)
    assert result.opening_deg.shape == (10_000,)
    assert 0.0 <= result.share <= 1.0
    assert np.isfinite(result.fore_edge_mm).all()
    assert {item.mechanism for item in dimensions(spread)} == {item.id for item in spread.cells}


def test_a_spread_without_cells_has_nothing_to_err_in():
    spread = spread_of("")
    assert sensitivities(spread) == ()
    assert monte_carlo(spread, copies=3).share == 1.0
    assert accuracy_module.dimensions(spread) == ()


CLOSING = {
    "leaning away": (tent("roof", body="at = 60; length = 50; base_left = 40; base_right = 20; height_left = 40"), 1),
    "leaning over": (
        tent("roof", body='at = 60; length = 50; base_left = 40; base_right = 30; height_left = 20; lean = "over"'),
        -1,
    ),
    "leaning over, equal": (tent("roof", body='at = 60; length = 50; base = 40; height = 20; lean = "over"'), -1),
}


@pytest.mark.parametrize("name", CLOSING)
def test_card_gives_what_the_closing_condition_misses(name):
    """DESIGN.md: a + c = b + d leaning away, a - c = b - d leaning over; here with one error of 0.3 mm."""
    body, sign = CLOSING[name]
    spread = spread_of(body)
    for item in sensitivities(spread, thickness=False):
        a, b, c, d = item.dimension.effect
        assert item.misfit_per_unit == pytest.approx(a + sign * c - b - sign * d, abs=1e-12)
        assert item.card_mm == pytest.approx(abs(item.misfit_per_unit) * item.dimension.deviation, abs=1e-9)
    result = monte_carlo(spread, copies=500, seed=2, thickness=False)
    cell = spread.cells[0].cell
    nominal = (cell.base_left, cell.base_right, cell.width_left, cell.width_right)
    a, b, c, d = sizes_of(spread, "roof", nominal, errors_of(spread, 500, 2)).T
    assert result.card_mm == pytest.approx(np.abs(a + sign * c - b - sign * d), abs=1e-9)


def test_card_gives_on_a_fold_that_is_flat_in_the_closed_book():
    """On the inner side of a v-fold's foot: the two crease angles together must equal the two angles together."""
    body = BIG + v_fold(
        "in", "hill.right", 'at = 30; angle_left = 35; angle_right = 50; height = 15; side = "inner"; tab_width = 4'
    )
    spread = spread_of(body)
    every = [item for item in sensitivities(spread, thickness=False) if item.dimension.mechanism == "in"]
    assert every
    assert closing_conditions(spread)["in"].tolist() == [1.0, 1.0, -1.0, -1.0, 0.0]
    for item in every:
        a, b, c, d = item.dimension.effect
        assert abs(item.misfit_per_unit) == pytest.approx(np.degrees(abs(a + b - c - d)), abs=1e-9)
        # Half-way up a crease of 15 mm; as designed it misses nothing.
        assert item.card_mm == pytest.approx(7.5 * abs(a + b - c - d) * item.dimension.deviation, abs=1e-9)
