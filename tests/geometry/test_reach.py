"""How far a spread moves, against the lock angles of its cells in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from geometry import assemble, parse_description
from geometry.linkage import PlanarCell, SphericalCell
from geometry.model import Angle, CellOnFold
from geometry.reach import locking_cells, reach
from tests.geometry.scene_texts import HEAD, SCENES, WRONG

RNG = np.random.default_rng(8)


def on_spine(name, cell):
    return CellOnFold(name, cell, Angle("spine"), "spine")


def test_without_cells_it_moves_all_the_way():
    assert reach([]) == (0.0, np.pi)
    assert locking_cells([], 0.0) == []


def test_one_cell_is_reached_as_far_as_it_does_not_lock():
    for _ in range(60):
        cell = PlanarCell(*RNG.uniform(10, 60, 4))
        low, high = cell.lock()
        found = reach([on_spine("a", cell)])
        if np.isnan(low):
            assert np.isnan(found).all()
        elif high - low > np.radians(0.5):
            assert found == pytest.approx((low, high), abs=1e-9)


def test_two_cells_are_reached_together():
    first, second = PlanarCell(40, 20, 40, 60.5), PlanarCell(40, 40, 30, 30)
    found = reach([on_spine("a", first), on_spine("b", second)])
    assert found == pytest.approx((first.lock()[0], second.lock()[1]), abs=1e-9)
    assert [item.id for item in locking_cells([on_spine("a", first), on_spine("b", second)], 0.0)] == ["a"]
    assert [item.id for item in locking_cells([on_spine("a", first), on_spine("b", second)], np.pi)] == ["b"]


def test_cells_that_never_stand_together_are_not_reached():
    low = PlanarCell(40, 40, 10, 10)
    high = PlanarCell(40, 20, 80, 20)
    assert low.lock()[1] < high.lock()[0]
    assert np.isnan(reach([on_spine("a", low), on_spine("b", high)])).all()


def test_both_ends_are_reached_themselves():
    for body, _ in WRONG.values():
        spread = assemble(parse_description(HEAD + body))
        low, high = spread.reachable()
        if np.isfinite(low):
            assert spread.pose([low, high]).reached().all()


@pytest.mark.parametrize("name", SCENES)
def test_sound_scenes_move_from_shut_to_flat_open(name):
    assert assemble(parse_description(SCENES[name])).reachable() == (0.0, np.pi)


def test_a_lock_inside_a_nest_is_found_through_the_chain():
    """The inner cell locks where its own fold, the middle crease of the outer one, is at its lock angle."""
    spread = assemble(parse_description(HEAD + WRONG["locks deep inside"][0]))
    _, high = spread.reachable()
    inner = spread.cells[1]
    assert spread.pose(high).angle(inner.host)[0] == pytest.approx(inner.cell.lock()[1], abs=1e-9)
    assert [item.id for item in locking_cells(spread.cells, high + 1e-6)] == ["bird"]
    outer = spread.cells[0].cell
    # sin(alpha) sin(delta/2) = sin(beta) sin(psi/2), solved for the opening at which psi is 2 asin(6/12).
    opening = 2 * np.arcsin(np.sin(outer.beta_left) * 0.5 / np.sin(outer.alpha_left))
    assert high == pytest.approx(opening, abs=1e-9)


def test_spherical_cells_are_reached_to_their_lock():
    for _ in range(60):
        alpha_left, alpha_right, beta_left, beta_right = RNG.uniform(0.2, 1.5, 4)
        cell = SphericalCell(alpha_left, alpha_right, beta_left, beta_right)
        low, high = cell.lock()
        if np.isfinite(low) and high - low > np.radians(0.5):
            assert reach([on_spine("a", cell)]) == pytest.approx((low, high), abs=1e-8)
