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
from tests.geometry.loops import close_loop, residual

PI = np.pi
RNG = np.random.default_rng(20240613)


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


def random_spherical(count, *, closing=None, total=None):
    """Cells of all shapes; `total` fixes the sum of the alphas, `closing` the branch on which they close flat."""
    cells = []
    while len(cells) < count:
        alpha_left, alpha_right = RNG.uniform(0.1, PI - 0.1, 2)
        if total is not None:
            alpha_right = total - alpha_left
        beta_left, beta_right = RNG.uniform(0.1, PI - 0.1, 2)
        branch = closing or int(RNG.choice([AWAY, OVER]))
        if closing:
            beta_right = closing_partner(0.0, branch, (alpha_left, alpha_right), beta_left)
        if alpha_left + alpha_right <= PI + 1e-13 and alpha_right > 0.05 and 0.02 < beta_right < PI - 0.02:
            cells.append(SphericalCell(alpha_left, alpha_right, beta_left, beta_right, branch))
    return cells


def random_planar(count, *, closing=None):
    cells = []
    while len(cells) < count:
        base_left, base_right, width_left, width_right = RNG.uniform(3.0, 90.0, 4)
        branch = closing or int(RNG.choice([AWAY, OVER]))
        if closing:
            width_right = closing_partner(0.0, branch, (base_left, base_right), width_left)
        if width_right > 1.0:
            cells.append(PlanarCell(base_left, base_right, width_left, width_right, branch))
    return cells


def named(cells):
    return [pytest.param(cell, id=f"{type(cell).__name__}-{index}") for index, cell in enumerate(cells)]


SEVERAL = (
    random_spherical(25)
    + random_spherical(25, closing=AWAY)
    + random_spherical(10, closing=OVER)
    + random_spherical(15, total=PI)
    + random_spherical(15, total=PI - 1e-9, closing=AWAY)
    + random_planar(25)
    + random_planar(25, closing=AWAY)
    + random_planar(10, closing=OVER)
)
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


@pytest.mark.parametrize("cell", named(random_spherical(10, closing=AWAY) + random_planar(10, closing=AWAY)))
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


@pytest.mark.parametrize("cell", named(random_spherical(40)))
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


@pytest.mark.parametrize("cell", named(random_planar(40)))
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


@pytest.mark.parametrize("cell", named(random_spherical(60)))
def test_spherical_lock_angles_are_those_of_the_closed_form(cell):
    """cos delta = (cos(beta_L -/+ beta_R) - cos alpha_L cos alpha_R)/(sin alpha_L sin alpha_R): DESIGN.md."""
    low, high = cell.lock()
    if np.isnan(low):
        return
    product = np.sin(cell.alpha_left) * np.sin(cell.alpha_right)
    for lock, total in ((low, cell.beta_left - cell.beta_right), (high, cell.beta_left + cell.beta_right)):
        cosine = (np.cos(total) - np.cos(cell.alpha_left) * np.cos(cell.alpha_right)) / product
        assert lock == pytest.approx(np.arccos(np.clip(cosine, -1.0, 1.0)), abs=1e-7)


@pytest.mark.parametrize("cell", named(random_planar(60)))
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
    for cell in random_spherical(200):
        between, total = abs(cell.alpha_left - cell.alpha_right), cell.beta_left + cell.beta_right
        motion = cell.solve(0.0)
        stands = abs(cell.beta_left - cell.beta_right) < between < min(total, 2 * PI - total)
        assert bool(motion.exists[0]) == stands
        assert not (motion.exists[0] and motion.middle[0] < 1e-9)
    for cell in random_spherical(50, closing=AWAY) + random_spherical(20, closing=OVER):
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


@pytest.mark.parametrize("cell", named(random_spherical(12, closing=AWAY) + random_planar(12, closing=AWAY)))
def test_the_crease_moves_without_a_jump_through_flat_hosts(cell):
    """From 0 to 360 degrees, as on a ridge: steps of the crease shrink with those of the opening."""
    reach = 1.0 if isinstance(cell, SphericalCell) else max(cell.width_left, cell.width_right)
    for count in (1440, 14400):
        motion = cell.solve(np.linspace(0.0, 2 * PI, count + 1))
        step = np.linalg.norm(np.diff(motion.crease, axis=0), axis=1)
        assert np.nanmax(step) <= reach * 6.0 * np.sqrt(2 * PI / count)


def test_a_cell_that_closes_flat_and_opens_fully_never_leaves_the_upper_side_of_its_hosts():
    """Leaning away, each foot goes from lying outwards (0) at most to lying inwards (180), never the other way."""
    fine = np.linspace(0.0, PI, 721)
    opened = 0
    cells = random_spherical(80, closing=AWAY) + random_planar(80, closing=AWAY)
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
