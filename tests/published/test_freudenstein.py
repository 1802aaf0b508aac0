"""Planar cells against Freudenstein's equation of the four-bar.

Source: K1 cos(theta4) - K2 cos(theta2) + K3 = cos(theta2 - theta4), K1 = d/a, K2 = d/c, K3 = (a^2 - b^2 + c^2 +
d^2)/(2ac), with crank a, coupler b, rocker c, ground d (F. Freudenstein, 1954; in any text on mechanisms). Worked
example: R. L. Norton, Design of Machinery, Example 4-1 (recalled): a, b, c, d = 40, 120, 80, 100, theta2 = 40
degrees; open theta3 = 20.298, theta4 = 57.325; crossed -60.98, -98.01 (the roots are -60.982 and -98.005).

The fold is the crank's pivot, the ground is the right host (its length is the distance to the right hinge line), the
crank the left host, coupler and rocker are the added panels. Then theta2 is the dihedral angle of the fold, theta4
the angle at the right hinge line, from the ground drawn out to the rocker.
"""

from __future__ import annotations

import numpy as np
import pytest

from geometry import assemble, parse_description
from geometry.linkage import AWAY, OVER, PlanarCell
from geometry.poses import poses_data

RNG = np.random.default_rng(4)


def four_bar(a, b, c, d, branch):
    return PlanarCell(base_left=a, base_right=d, width_left=b, width_right=c, branch=branch)


def coupler_angle(cell, theta2):
    """From the ground's direction to the coupler, crank end first."""
    motion = cell.solve(theta2)
    half = theta2 / 2
    # In the cell's frame the ground lies half the angle to one side of the bisector, the crank to the other.
    ground = np.array([np.cos(half), np.sin(half)])
    left_of_ground = np.array([np.sin(half), -np.cos(half)])
    crank = cell.base_left * np.array([np.cos(half), -np.sin(half)])
    coupler = motion.crease[0, 1:] - crank
    return np.arctan2(coupler @ left_of_ground, coupler @ ground)


def turned(angle):
    return (angle + np.pi) % (2 * np.pi) - np.pi


@pytest.mark.parametrize(
    ("branch", "theta3", "theta4", "digits"), [(AWAY, 20.298, 57.325, 5e-4), (OVER, -60.98, -98.01, 6e-3)]
)
def test_the_worked_example_on_both_branches(branch, theta3, theta4, digits):
    cell = four_bar(40.0, 120.0, 80.0, 100.0, branch)
    theta2 = np.radians(40.0)
    motion = cell.solve(theta2)
    assert np.degrees(turned(motion.right[0])) == pytest.approx(theta4, abs=digits)
    assert np.degrees(coupler_angle(cell, theta2)) == pytest.approx(theta3, abs=digits)


def test_any_four_bar_obeys_the_equation_at_every_angle_on_both_branches():
    checked = 0
    for _ in range(300):
        a, b, c, d = RNG.uniform(10.0, 120.0, 4)
        for branch in (AWAY, OVER):
            theta2 = np.radians(np.arange(0.0, 181.0, 3.0))
            theta4 = four_bar(a, b, c, d, branch).solve(theta2).right
            k1, k2, k3 = d / a, d / c, (a * a - b * b + c * c + d * d) / (2 * a * c)
            error = k1 * np.cos(theta4) - k2 * np.cos(theta2) + k3 - np.cos(theta2 - theta4)
            checked += int(np.isfinite(error).sum())
            assert np.nanmax(np.abs(error), initial=0.0) <= 1e-11 * (1 + k1 + k2 + abs(k3))
    assert checked > 5000


def test_both_branches_are_the_two_roots_of_the_equation():
    """Freudenstein's equation solved by itself: a quadratic in tan(theta4/2)."""
    for _ in range(200):
        a, b, c, d = RNG.uniform(10.0, 120.0, 4)
        theta2 = float(RNG.uniform(0.1, 3.0))
        k1, k2, k3 = d / a, d / c, (a * a - b * b + c * c + d * d) / (2 * a * c)
        # A = cos(theta2) - K1 - K2 cos(theta2) + K3, B = -2 sin(theta2), C = K1 - (K2 + 1) cos(theta2) + K3.
        cosine = np.cos(theta2)
        roots = np.roots([cosine - k1 - k2 * cosine + k3, -2 * np.sin(theta2), k1 - (k2 + 1) * cosine + k3])
        found = [four_bar(a, b, c, d, branch).solve(theta2).right[0] for branch in (AWAY, OVER)]
        if np.iscomplex(roots).any():
            assert np.isnan(found).all()
        else:
            expected = np.sort(2 * np.arctan(roots.real))
            assert np.sort(turned(np.array(found))) == pytest.approx(expected, abs=1e-6)


def test_a_tent_of_the_description_is_that_four_bar():
    """The same linkage as card: bases 40 and 100, sides 120 and 80; the foot's angle is theta4."""
    text = (
        'format = 1\n[page]\nsize = "A4"\n'
        '[[mechanism]]\nkind = "tent"\nid = "t"\nfold = "spine"\nat = 60\nlength = 50\n'
        "base_left = 40\nbase_right = 100\nheight_left = 120\nheight_right = 80\n"
    )
    data = poses_data(assemble(parse_description(text)), [40.0])
    (glue,) = [hinge for hinge in data["hinges"] if hinge["id"] == "t.right.glue"]
    assert glue["dihedral_deg"][0] == pytest.approx(57.325, abs=5e-4)
