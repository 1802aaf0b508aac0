"""Spherical cells against spherical trigonometry.

Sources: the spherical law of cosines, cos a = cos b cos c + sin b sin c cos A (any text on spherical trigonometry);
the symmetric v-fold relation sin(alpha) sin(delta/2) = sin(beta) sin(psi/2), which follows from halving the loop by
its plane of symmetry into two right triangles that share the angle between hinge line and plane. The worked numbers
are alpha = 45, beta = 60: opening 90 gives 70.5288 degrees at the middle crease, the crease square to the spine;
opening 120 gives 90.
"""

from __future__ import annotations

import numpy as np
import pytest

from geometry import assemble, parse_description
from geometry.linkage import SphericalCell
from geometry.poses import poses_data

RNG = np.random.default_rng(41)

V_FOLD = """
format = 1
[page]
size = "A5"
[[mechanism]]
kind = "v-fold"
id = "hill"
fold = "spine"
at = 60
angle = {alpha}
crease_angle = {beta}
height = 50
"""


def posed(alpha, beta, angles):
    data = poses_data(assemble(parse_description(V_FOLD.format(alpha=alpha, beta=beta))), angles)
    panels = {panel["id"]: np.array(panel["matrices"]) for panel in data["panels"]}
    hinges = {hinge["id"]: np.array(hinge["dihedral_deg"]) for hinge in data["hinges"]}
    return panels, hinges


def inside(angle_deg):
    """The dihedral angle on the inside of a crease, whichever side it was measured through."""
    return np.minimum(angle_deg, 360.0 - angle_deg)


@pytest.mark.parametrize(("opening", "psi"), [(90.0, 70.5288), (120.0, 90.0)])
def test_the_worked_angles_at_the_middle_crease(opening, psi):
    _, hinges = posed(45, 60, [opening])
    assert inside(hinges["hill.middle"])[0] == pytest.approx(psi, abs=5e-5)


def test_the_worked_crease_is_square_to_the_spine_at_a_right_angle():
    panels, _ = posed(45, 60, [90.0])
    crease = panels["hill.right"][0][:3, :3] @ [0.0, 1.0, 0.0]
    assert crease[1] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(("alpha", "beta"), [(45, 60), (30, 80), (60, 60), (50, 100), (70, 75), (20, 120)])
def test_the_symmetric_v_fold_relation_at_every_opening(alpha, beta):
    openings = np.arange(0.0, 181.0)
    _, hinges = posed(alpha, beta, openings)
    left = np.sin(np.radians(alpha)) * np.sin(np.radians(openings / 2))
    right = np.sin(np.radians(beta)) * np.sin(np.radians(inside(hinges["hill.middle"]) / 2))
    assert np.abs(left - right).max() <= 1e-12


def test_the_law_of_cosines_in_both_triangles_of_any_cell():
    """The side between the two hinge lines, from the hosts and from the added panels, is one and the same."""
    checked = 0
    for _ in range(300):
        cell = SphericalCell(*RNG.uniform(0.2, 1.5, 2), *RNG.uniform(0.2, 2.6, 2), branch=int(RNG.choice([1, -1])))
        delta = np.radians(np.arange(2.0, 180.0, 11.0))
        motion = cell.solve(delta)
        a, b, c, d = cell.alpha_left, cell.alpha_right, cell.beta_left, cell.beta_right
        by_hosts = np.cos(a) * np.cos(b) + np.sin(a) * np.sin(b) * np.cos(delta)
        by_panels = np.cos(c) * np.cos(d) + np.sin(c) * np.sin(d) * np.cos(motion.middle)
        stands = motion.exists
        checked += int(stands.sum())
        assert np.abs(by_hosts - by_panels)[stands].max(initial=0.0) <= 1e-12
    assert checked > 500


def test_the_sine_rule_at_the_hinge_lines():
    """Splitting the loop by the diagonal from fold to crease: that side from the left, and from the right."""
    for _ in range(200):
        cell = SphericalCell(*RNG.uniform(0.2, 1.5, 2), *RNG.uniform(0.2, 2.6, 2), branch=int(RNG.choice([1, -1])))
        motion = cell.solve(np.radians(np.arange(2.0, 180.0, 11.0)))
        # At the hinge line the inner angle between host and panel is what is left of the angle from outside.
        left = np.cos(cell.alpha_left) * np.cos(cell.beta_left) - np.sin(cell.alpha_left) * np.sin(
            cell.beta_left
        ) * np.cos(motion.left)
        right = np.cos(cell.alpha_right) * np.cos(cell.beta_right) - np.sin(cell.alpha_right) * np.sin(
            cell.beta_right
        ) * np.cos(motion.right)
        assert np.nanmax(np.abs(left - right), initial=0.0) <= 1e-12
        assert np.nanmax(np.abs(left - motion.crease[:, 0]), initial=0.0) <= 1e-12
