"""Where a cell ends: what closes flat, lies flat, locks and jams, by the closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from geometry.linkage import (
    AWAY,
    OVER,
    PlanarCell,
    SphericalCell,
    closing_partner,
)
from tests.geometry.cells import PI, SEVERAL, named, random_planar, random_spherical

RNG = np.random.default_rng(20240615)


@pytest.mark.parametrize("error", [0.0, *(10.0**power for power in range(-9, 0))])
def test_a_small_error_jams_or_stands_off_as_the_closed_form_says(error):
    """DESIGN.md, section 3: delta = sqrt((2|a-b| eps + eps^2)/(ab)) one way, a crease off the page the other way."""
    for base_left, base_right, width in ((40.0, 20.0, 40.0), (30.0, 30.0, 40.0), (25.0, 25.0 + 1e-6, 30.0)):
        fits = closing_partner(0.0, AWAY, (base_left, base_right), width)
        product, unequal = base_left * base_right, abs(base_left - base_right)
        long = PlanarCell(
            base_left, base_right, width, fits + np.copysign(error, base_left - base_right + 1e-300), AWAY
        )
        jam, _ = long.lock()
        half_sine = np.sqrt((2 * unequal * error + error**2) / (4 * product))
        assert jam == pytest.approx(2 * np.arcsin(half_sine), rel=1e-4, abs=1e-6)


def test_the_worked_jam_angles_of_the_design():
    unequal = PlanarCell(40.0, 20.0, 40.0, 60.5)
    equal = PlanarCell(30.0, 30.0, 40.0, 40.5)
    assert np.degrees(unequal.lock()[0]) == pytest.approx(9.0, abs=0.2)
    assert np.degrees(equal.lock()[0]) == pytest.approx(1.0, abs=0.06)


def test_a_panel_too_short_stands_off_by_its_closed_form():
    """Shut, the crease is at the top of a triangle on the base |a - b| with the sides c and d."""
    for width in (19.0, 25.0, 40.0):
        other = width + 20.0 - 0.5
        motion = PlanarCell(40.0, 20.0, width, other).solve(0.0)
        s = (20.0 + width + other) / 2
        height = 2 * np.sqrt(s * (s - 20.0) * (s - width) * (s - other)) / 20.0
        assert abs(motion.crease[0, 2]) == pytest.approx(height, rel=1e-12)
    # The cell of DESIGN.md: about 6 mm.
    assert abs(PlanarCell(40.0, 20.0, 20.0, 39.5).solve(0.0).crease[0, 2]) == pytest.approx(6.2, abs=0.3)


@pytest.mark.parametrize("cell", named(SEVERAL))
def test_the_lock_angles_are_where_the_cell_ceases_to_stand(cell):
    low, high = cell.lock()
    fine = np.linspace(0.0, PI, 7201)
    stands = cell.solve(fine).exists
    if np.isnan(low):
        assert not stands.any()
        return
    inside = (fine >= low + 1e-9) & (fine <= high - 1e-9)
    assert stands[inside].all()
    assert not stands[(fine < low - 1e-9) | (fine > high + 1e-9)].any()


def test_a_cell_that_can_only_lie_stretched_or_shut_locks_where_it_stands():
    """Hinge lines 40 and 20 mm from the fold are 20 mm apart only when it is shut, 60 mm only when it lies open."""
    only_shut, only_open = PlanarCell(40.0, 20.0, 12.0, 8.0), PlanarCell(40.0, 20.0, 75.0, 15.0)
    assert only_shut.lock() == (0.0, 0.0)
    assert only_shut.solve([0.0, 0.1, PI]).exists.tolist() == [True, False, False]
    assert only_open.lock() == (PI, PI)
    assert only_open.solve([0.0, PI - 0.1, PI]).exists.tolist() == [False, False, True]
    for base_left, base_right, width in np.random.default_rng(11).uniform(1.0, 90.0, (200, 3)):
        whole = base_left + base_right + width
        for sizes in ((width, whole), (whole, width)):
            assert PlanarCell(base_left, base_right, *sizes).solve(PI).exists[0]
    assert np.isnan(PlanarCell(40.0, 20.0, 12.0, 7.0).lock()).all()
    assert np.isnan(PlanarCell(40.0, 20.0, 76.0, 15.0).lock()).all()


@pytest.mark.parametrize("cell", named(random_spherical(RNG, 60)))
def test_spherical_lock_angles_are_those_of_the_closed_form(cell):
    """cos delta = (cos(beta_L -/+ beta_R) - cos alpha_L cos alpha_R)/(sin alpha_L sin alpha_R): DESIGN.md."""
    low, high = cell.lock()
    if np.isnan(low):
        return
    product = np.sin(cell.alpha_left) * np.sin(cell.alpha_right)
    for lock, total in ((low, cell.beta_left - cell.beta_right), (high, cell.beta_left + cell.beta_right)):
        cosine = (np.cos(total) - np.cos(cell.alpha_left) * np.cos(cell.alpha_right)) / product
        assert lock == pytest.approx(np.arccos(np.clip(cosine, -1.0, 1.0)), abs=1e-7)


@pytest.mark.parametrize("cell", named(random_planar(RNG, 60)))
def test_planar_lock_angles_are_those_of_the_law_of_cosines(cell):
    low, high = cell.lock()
    if np.isnan(low):
        return
    a, b = cell.base_left, cell.base_right
    for lock, chord in ((low, cell.width_left - cell.width_right), (high, cell.width_left + cell.width_right)):
        cosine = (a**2 + b**2 - chord**2) / (2 * a * b)
        assert lock == pytest.approx(np.arccos(np.clip(cosine, -1.0, 1.0)), abs=1e-7)


@pytest.mark.parametrize("kind", [SphericalCell, PlanarCell])
@pytest.mark.parametrize("branch", [AWAY, OVER])
@pytest.mark.parametrize("closed", [0.0, PI, 2 * PI])
def test_a_closing_partner_closes_flat(kind, branch, closed):
    """Flat means all four panels in one plane: the foot angles and the middle are whole half turns."""
    tried = 0
    for _ in range(200):
        hosts = tuple(RNG.uniform(0.3, 1.4, 2)) if kind is SphericalCell else tuple(RNG.uniform(10.0, 60.0, 2))
        added = float(RNG.uniform(0.3, 2.5)) if kind is SphericalCell else float(RNG.uniform(10.0, 90.0))
        partner = closing_partner(closed, branch, hosts, added)
        if not 0.0 < partner < (PI if kind is SphericalCell else np.inf):
            continue
        cell = kind(*hosts, added, partner, branch)
        motion = cell.solve(closed)
        assert motion.exists[0]
        halves = np.array([motion.left[0], motion.right[0], motion.middle[0]]) / PI
        assert np.abs(halves - np.round(halves)).max() <= 1e-7, cell
        tried += 1
    assert tried > 30


def test_closing_partner_names_the_flat_angle_of_the_crease():
    """Away, the crease of a shut cell lies at alpha + beta from the fold's direction; over, at alpha - beta."""
    for branch in (AWAY, OVER):
        beta = closing_partner(0.0, branch, (0.9, 1.1), 0.6)
        crease = SphericalCell(0.9, 1.1, 0.6, beta, branch).solve(0.0).crease[0]
        assert np.arctan2(crease[1], crease[0]) == pytest.approx(0.9 + branch * 0.6, abs=1e-12)
        width = closing_partner(0.0, branch, (30.0, 40.0), 20.0)
        crease = PlanarCell(30.0, 40.0, 20.0, width, branch).solve(0.0).crease[0]
        assert crease == pytest.approx([0.0, 30.0 + branch * 20.0, 0.0], abs=1e-12)


def test_closes_flat_exactly_when_the_differences_are_the_same():
    for cell in random_spherical(RNG, 200):
        between, total = abs(cell.alpha_left - cell.alpha_right), cell.beta_left + cell.beta_right
        motion = cell.solve(0.0)
        stands = abs(cell.beta_left - cell.beta_right) < between < min(total, 2 * PI - total)
        assert bool(motion.exists[0]) == stands
        assert not (motion.exists[0] and motion.middle[0] < 1e-9)
    for cell in random_spherical(RNG, 50, closing=AWAY) + random_spherical(RNG, 20, closing=OVER):
        assert cell.solve(0.0).middle[0] == 0.0


def test_lies_flat_when_open_exactly_when_the_sums_are_the_same():
    for _ in range(100):
        alpha_left, alpha_right = RNG.uniform(0.2, 1.5, 2)
        share = RNG.uniform(0.1, 0.9)
        total = alpha_left + alpha_right
        flat = SphericalCell(alpha_left, alpha_right, share * total, (1 - share) * total).solve(PI)
        assert flat.middle[0] == pytest.approx(PI, abs=1e-12)
        assert flat.left[0] == pytest.approx(PI, abs=1e-7)
        stands = SphericalCell(alpha_left, alpha_right, share * total + 0.01, (1 - share) * total).solve(PI)
        assert stands.middle[0] < PI - 0.01
        a, b, c = RNG.uniform(5, 50, 3)
        planar = PlanarCell(a, b, c, a + b - c if a + b - c > 0 else a + b + c)
        assert planar.solve(PI).middle[0] == pytest.approx(PI, abs=1e-12) or planar.width_right > a + b
