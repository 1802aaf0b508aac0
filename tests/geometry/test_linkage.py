"""The cell against independent ways to close its loop, at random and at every awkward place."""

from __future__ import annotations

import numpy as np
import pytest

from geometry.errors import HingeleafError
from geometry.linkage import (
    AWAY,
    OVER,
    PlanarCell,
    SphericalCell,
    closing_partner,
    planar_brackets,
    solve_planar,
    solve_spherical,
    spherical_brackets,
)
from tests.geometry.cells import PI, SEVERAL, named, random_planar, random_spherical
from tests.geometry.loops import close_loop, residual

RNG = np.random.default_rng(20240614)


def angles_of(cell, dihedral):
    motion = cell.solve(dihedral)
    return np.stack([motion.left, motion.right, motion.middle], axis=1)


def turned(difference):
    """Differences of angles without whole turns."""
    return (difference + PI) % (2 * PI) - PI


def lines_of(cell, delta):
    """Directions of the two hinge lines (spherical), or their places (planar), in the cell's frame."""
    half = np.asarray(delta)[:, None] / 2
    u, b, w = np.eye(3)
    into_left, into_right = np.cos(half) * b - np.sin(half) * w, np.cos(half) * b + np.sin(half) * w
    if isinstance(cell, PlanarCell):
        return cell.base_left * into_left, cell.base_right * into_right
    left = np.cos(cell.alpha_left) * u + np.sin(cell.alpha_left) * into_left
    return left, np.cos(cell.alpha_right) * u + np.sin(cell.alpha_right) * into_right


def panel_error(cell, motion, delta):
    """Largest error in the panels' sizes, from crease to hinge line: in mm (planar) or in cosines (spherical)."""
    left, right = lines_of(cell, delta)
    if isinstance(cell, PlanarCell):
        errors = [
            np.linalg.norm(motion.crease - left, axis=1) - cell.width_left,
            np.linalg.norm(motion.crease - right, axis=1) - cell.width_right,
        ]
    else:
        errors = [
            np.einsum("ni,ni->n", motion.crease, left) - np.cos(cell.beta_left),
            np.einsum("ni,ni->n", motion.crease, right) - np.cos(cell.beta_right),
            np.linalg.norm(motion.crease, axis=1) - 1.0,
        ]
    return float(np.nanmax(np.abs(errors)))


ENDS = np.concatenate([[0.0], np.geomspace(1e-15, 0.1, 40)])
OPENINGS = np.unique(np.concatenate([ENDS, PI - ENDS, np.radians(np.arange(0.0, 180.5, 0.5))]))


@pytest.mark.parametrize("cell", named(SEVERAL))
def test_the_crease_is_on_both_panels(cell):
    motion = cell.solve(OPENINGS)
    error = panel_error(cell, motion, OPENINGS) if motion.exists.any() else 0.0
    assert error <= (1e-10 if isinstance(cell, PlanarCell) else 1e-12)


@pytest.mark.parametrize("cell", named(SEVERAL))
def test_turning_through_all_four_hinges_comes_back(cell):
    angles = angles_of(cell, OPENINGS)
    stands = np.isfinite(angles[:, 0])
    assert not np.isfinite(angles[~stands]).any()
    for opening, angle in zip(OPENINGS[stands], angles[stands], strict=True):
        assert np.abs(residual(cell, opening, angle)).max() <= 2e-11


@pytest.mark.parametrize("cell", named(SEVERAL))
def test_an_independent_solver_finds_the_same_from_a_neighbouring_angle(cell):
    """scipy's least_squares closes the same loop, from the core's answer a degree away, wherever it stands."""
    openings = np.radians(np.arange(0.5, 180.0, 7.0))
    here, near = angles_of(cell, openings), angles_of(cell, openings + np.radians(1.0) * np.sign(PI / 2 - openings))
    compared = 0
    for opening, angle, start in zip(openings, here, near, strict=True):
        # Where three of the four lines fall into one, two branches meet and a solver may leave on either.
        if np.isfinite(angle).all() and np.isfinite(start).all() and min(angle[2], PI - angle[2]) > 0.02:
            assert np.abs(turned(close_loop(cell, opening, start) - angle)).max() <= 2e-7
            compared += 1
    lock = cell.lock()
    assert compared > 0 or not lock[1] - lock[0] > np.radians(20.0)


@pytest.mark.parametrize("cell", named(random_spherical(RNG, 10, closing=AWAY) + random_planar(RNG, 10, closing=AWAY)))
@pytest.mark.parametrize("end", [0.0, PI])
def test_an_independent_solver_agrees_down_to_a_hundredth_of_a_degree_from_the_ends(cell, end):
    openings = np.abs(end - np.radians([2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01]))
    angles = angles_of(cell, openings)
    for index in range(1, len(openings)):
        if np.isfinite(angles[index - 1 : index + 1]).all():
            found = close_loop(cell, openings[index], angles[index - 1])
            assert np.abs(turned(found - angles[index])).max() <= 1e-5


@pytest.mark.parametrize("cell", named(SEVERAL))
def test_angles_are_those_between_the_panels_in_space(cell):
    """Measured with vectors: from the host's outer part up to the panel, and inside the loop at the crease."""
    delta = np.radians(np.arange(1.0, 180.0, 3.0))
    motion = cell.solve(delta)
    lines = lines_of(cell, delta)
    half = delta[:, None] / 2
    u, b, w = np.eye(3)
    away = []
    for sign, line, angle in ((-1, lines[0], motion.left), (1, lines[1], motion.right)):
        into = np.cos(half) * b + sign * np.sin(half) * w
        up = np.sin(half) * b - sign * np.cos(half) * w
        if isinstance(cell, PlanarCell):
            out, across = into, motion.crease - line
        else:
            alpha = cell.alpha_left if sign < 0 else cell.alpha_right
            out = -np.sin(alpha) * u + np.cos(alpha) * into
            across = motion.crease - np.einsum("ni,ni->n", motion.crease, line)[:, None] * line
        measured = np.arctan2(np.einsum("ni,ni->n", across, up), np.einsum("ni,ni->n", across, out))
        assert np.nanmax(np.abs(turned(measured - angle)), initial=0.0) <= 1e-9
        if isinstance(cell, PlanarCell):
            away.append(line - motion.crease)
        else:
            away.append(line - np.einsum("ni,ni->n", motion.crease, line)[:, None] * motion.crease)
    lengths = np.linalg.norm(away[0], axis=1) * np.linalg.norm(away[1], axis=1)
    cosine = np.einsum("ni,ni->n", *away) / lengths
    assert np.nanmax(np.abs(cosine - np.cos(motion.middle)), initial=0.0) <= 1e-9
    assert np.nanmin(motion.middle, initial=1.0) >= 0.0
    assert np.nanmax(motion.middle, initial=1.0) <= PI


@pytest.mark.parametrize("cell", named(random_spherical(RNG, 40)))
def test_the_crease_is_that_of_the_plain_formula(cell):
    """m = x l + y r + z (l x r) of DESIGN.md, section 3, away from its singular places; the sign is an orientation."""
    delta = np.radians(np.arange(5.0, 176.0, 5.0))
    motion = cell.solve(delta)
    left, right = lines_of(cell, delta)
    c = np.cos(cell.alpha_left) * np.cos(cell.alpha_right) + np.sin(cell.alpha_left) * np.sin(
        cell.alpha_right
    ) * np.cos(delta)
    cos_l, cos_r = np.cos(cell.beta_left), np.cos(cell.beta_right)
    x, y = (cos_l - c * cos_r) / (1 - c**2), (cos_r - c * cos_l) / (1 - c**2)
    square = (1 - c**2 - cos_l**2 - cos_r**2 + 2 * c * cos_l * cos_r) / (1 - c**2) ** 2
    clear = np.abs(square) > 1e-6
    assert (motion.exists == (square > 0))[clear].all()
    z = -cell.branch * np.sqrt(np.where(square > 0, square, np.nan))
    plain = x[:, None] * left + y[:, None] * right + z[:, None] * np.cross(left, right)
    shown = clear & motion.exists
    assert np.abs(plain - motion.crease)[shown].max(initial=0.0) <= 1e-9


@pytest.mark.parametrize("cell", named(random_planar(RNG, 40)))
def test_the_crease_is_a_crossing_of_two_circles(cell):
    delta = np.radians(np.arange(5.0, 176.0, 5.0))
    motion = cell.solve(delta)
    left, right = lines_of(cell, delta)
    chord = np.linalg.norm(right - left, axis=1)
    along = (chord**2 + cell.width_left**2 - cell.width_right**2) / (2 * chord)
    square = cell.width_left**2 - along**2
    clear = np.abs(square) > 1e-6
    assert (motion.exists == (square > 0))[clear].all()
    toward = (right - left) / chord[:, None]
    # From the directed line from left to right the crease of branch AWAY is on the side away from the fold.
    aside = np.cross([-1.0, 0.0, 0.0], toward)
    height = cell.branch * np.sqrt(np.where(square > 0, square, np.nan))
    plain = left + along[:, None] * toward + height[:, None] * aside
    shown = clear & motion.exists
    assert np.abs(plain - motion.crease)[shown].max(initial=0.0) <= 1e-8


TINY = [0.0, *(sign * 10.0**power for power in range(-17, -1) for sign in (1, -1))]


@pytest.mark.parametrize("branch", [AWAY, OVER])
@pytest.mark.parametrize("difference", TINY)
def test_almost_equal_cells_are_as_exact_as_equal_ones(branch, difference):
    """Sectors or bases that differ by a hair, as where a fourth width is computed from three, up to 0 and pi."""
    for alpha, beta, base, width in zip(
        RNG.uniform(0.3, 1.5, 12),
        RNG.uniform(0.4, 2.5, 12),
        RNG.uniform(5, 60, 12),
        RNG.uniform(5, 90, 12),
        strict=True,
    ):
        other, other_base = alpha + difference, base + difference
        cells = [
            SphericalCell(alpha, other, other, alpha, branch),
            PlanarCell(base, other_base, other_base, base, branch),
            SphericalCell(alpha, PI - alpha - abs(difference), PI / 2, PI / 2, branch),
        ]
        partner = closing_partner(0.0, branch, (alpha, other), beta)
        if 0.0 < partner < PI:
            cells.append(SphericalCell(alpha, other, beta, partner, branch))
        partner = closing_partner(0.0, branch, (base, other_base), width)
        if partner > 0.0:
            cells.append(PlanarCell(base, other_base, width, partner, branch))
        for cell in cells:
            motion = cell.solve(OPENINGS)
            assert panel_error(cell, motion, OPENINGS) <= 1e-10, cell
            if cell is not cells[2]:
                assert motion.exists[0], cell
                assert motion.middle[0] == 0.0, cell


def sizes_of(cell):
    if isinstance(cell, PlanarCell):
        return cell.base_left, cell.base_right, cell.width_left, cell.width_right
    return cell.alpha_left, cell.alpha_right, cell.beta_left, cell.beta_right


def many_at_once(planar, branch):
    """General cells, and cells that close flat or open flat but for every tiny difference, of both leanings."""
    kind, solver = (PlanarCell, solve_planar) if planar else (SphericalCell, solve_spherical)
    first, second, third = (34.0, 21.0, 27.0) if planar else (0.9, 0.7, 0.6)
    shapes = [(first, second, third, 1.3 * third), (first, first, third, third)]
    for hair in TINY:
        shapes += [
            (first, second + hair, third, third + first - second),
            (first, second + hair, third, third - first + second),
            (first, first + hair, third, third),
            (first, second, third + hair, first + second - third),
        ]
    return [kind(*shape, branch) for shape in shapes], solver


@pytest.mark.parametrize("planar", [True, False])
@pytest.mark.parametrize("branch", [AWAY, OVER])
@pytest.mark.parametrize("degrees", [0.0, 0.01, 30.0, 90.0, 179.99, 180.0])
def test_cells_in_one_array_are_solved_like_each_of_them_alone(planar, branch, degrees):
    """Cells that differ by a hair stand beside general ones: each must be flat where it is, and only there."""
    cells, solver = many_at_once(planar, branch)
    columns = np.array([sizes_of(cell) for cell in cells]).T
    opening = np.radians(degrees)
    together = solver(*columns, branch, np.full(len(cells), opening))
    for index, cell in enumerate(cells):
        alone = cell.solve(opening)
        assert together.exists[index] == alone.exists[0], cell
        if not alone.exists[0]:
            continue
        assert together.crease[index] == pytest.approx(alone.crease[0], rel=1e-12, abs=1e-10), cell
        assert together.middle[index] == pytest.approx(alone.middle[0], abs=1e-10), cell
        assert (together.middle[index] == 0.0) == (alone.middle[0] == 0.0), cell


@pytest.mark.parametrize("planar", [True, False])
def test_brackets_of_an_array_are_zero_exactly_where_those_of_the_cell_are(planar):
    cells, _ = many_at_once(planar, AWAY)
    columns = np.array([sizes_of(cell) for cell in cells]).T
    together = np.array((planar_brackets if planar else spherical_brackets)(*columns)).T
    alone = np.array([cell.brackets() for cell in cells])
    assert ((together == 0.0) == (alone == 0.0)).all()
    assert together == pytest.approx(alone, rel=1e-12, abs=1e-15)
    assert (alone == 0.0).any(axis=0).all()
    assert not (alone[0] == 0.0).any()


@pytest.mark.parametrize("cell", named(SEVERAL))
def test_exchanging_left_and_right_mirrors_the_cell(cell):
    if isinstance(cell, PlanarCell):
        mirrored = PlanarCell(cell.base_right, cell.base_left, cell.width_right, cell.width_left, cell.branch)
    else:
        mirrored = SphericalCell(cell.alpha_right, cell.alpha_left, cell.beta_right, cell.beta_left, cell.branch)
    one, other = cell.solve(OPENINGS), mirrored.solve(OPENINGS)
    inside = np.isfinite(one.left) & np.isfinite(other.left)
    assert (inside == one.exists).mean() > 0.99
    for first, second in ((one.left, other.right), (one.right, other.left), (one.middle, other.middle)):
        assert np.abs(turned(first - second)[inside]).max(initial=0.0) <= 2e-6


def steps_of(cell, openings):
    """How far the crease moves from each opening to the next."""
    return np.linalg.norm(np.diff(cell.solve(openings).crease, axis=0), axis=1)


@pytest.mark.parametrize("cell", named(random_spherical(RNG, 12, closing=AWAY) + random_planar(RNG, 12, closing=AWAY)))
def test_the_crease_moves_without_a_jump_through_flat_hosts(cell):
    """From 0 to 360 degrees, as on a ridge: where the crease moves most, its steps shrink with those of the opening."""
    grid = np.linspace(0.0, 2 * PI, 14401)
    steps = steps_of(cell, grid)
    for fastest in np.argsort(np.nan_to_num(steps))[-50:]:
        within = steps_of(cell, np.linspace(grid[fastest], grid[fastest + 1], 101))
        # A hundred steps for one are a hundredth of it; a tenth where the crease starts as the square root does.
        assert np.nanmax(within) <= 0.15 * steps[fastest]


def test_a_cell_that_closes_flat_and_opens_fully_never_leaves_the_upper_side_of_its_hosts():
    """Leaning away, each foot goes from lying outwards (0) at most to lying inwards (180), never the other way."""
    fine = np.linspace(0.0, PI, 721)
    opened = 0
    cells = random_spherical(RNG, 80, closing=AWAY) + random_planar(RNG, 80, closing=AWAY)
    for a, b in RNG.uniform(0.1, 1.4, (40, 2)):
        cells += [SphericalCell(a, b, b, a), PlanarCell(30 * a, 30 * b, 30 * b, 30 * a)]
    for cell in cells:
        motion = cell.solve(fine)
        if motion.exists.all():
            opened += 1
            for angle in (motion.left, motion.right):
                assert angle.min() >= -1e-7
                assert angle.max() <= PI + 1e-7
                assert np.abs(np.diff(angle)).max() <= 0.3
    assert opened > 120


def test_bad_sizes_are_refused_in_words():
    for wrong in (0.0, -1.0, PI, np.nan):
        with pytest.raises(HingeleafError, match=r"alpha_left must lie between 0 and 180 degrees"):
            SphericalCell(wrong, 1.0, 1.0, 1.0)
        with pytest.raises(HingeleafError, match="beta_right"):
            SphericalCell(1.0, 1.0, 1.0, wrong)
    for wrong in (0.0, -1.0, np.inf, np.nan):
        with pytest.raises(HingeleafError, match="width_left must be a length above 0 mm"):
            PlanarCell(1.0, 1.0, wrong, 1.0)
    with pytest.raises(HingeleafError, match="exceed 180 degrees"):
        SphericalCell(1.6, 1.6, 1.0, 1.0)


@pytest.mark.parametrize("total", [PI, PI - 1e-12, PI - 1e-6, PI - 1e-3])
@pytest.mark.parametrize("share", [0.5, 0.4, 0.3])
def test_alphas_that_nearly_make_a_straight_line(total, share):
    """The hinge lines become one straight line when the fold lies flat: the second 0/0 of the formula."""
    first, second = share * total, (1 - share) * total
    for cell in (SphericalCell(first, second, second, first), SphericalCell(first, second, second + 0.3, first + 0.3)):
        motion = cell.solve(OPENINGS)
        assert motion.exists[0]
        assert motion.middle[0] == 0.0
        assert panel_error(cell, motion, OPENINGS) <= 1e-10
    flat = SphericalCell(first, second, second, first).solve(OPENINGS)
    assert np.abs(flat.middle - OPENINGS).max() <= 0.01
    assert flat.middle[-1] == pytest.approx(PI, abs=1e-12)
