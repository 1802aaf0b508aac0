"""Cut-ins with one apex against the relations of the flat-foldable vertex of degree four.

Sources: sectors alpha, beta, 180 - alpha, 180 - beta; then the half-angle tangents of the folds are in one of two
fixed ratios, p = (1 - tan(alpha/2) tan(beta/2))/(1 + tan(alpha/2) tan(beta/2)) and q = (tan(alpha/2) -
tan(beta/2))/(tan(alpha/2) + tan(beta/2)) (Akitaya et al., "Rigid foldability is NP-hard", J. Comput. Geom. 11(1),
2020, Theorem 6; also Huffman 1976, Tachi 2009). alpha = 60, beta = 100: p = 0.184793, q = -0.347296. A Miura vertex
of sector gamma: tan(minor/2) = cos(gamma) tan(major/2); gamma = 60, major 90: minor 53.1301. M. Schenk and S. D.
Guest, PNAS 2013 (recalled): a = b = 1, gamma = 60, theta = 45: H 0.6124, S 0.7746, L 0.7906, V 0.6325.

A beak (width 0 at its first slit) with the sectors a and b left and right of the fold is such a vertex: around its
apex lie the sectors a (between middle crease and right hinge line), 180 - b, 180 - a, b. It is the vertex of alpha =
a and beta = 180 - b; alpha = 60, beta = 100 is the beak of 60 and 80 degrees. Folds are measured as 180 - dihedral.
"""

from __future__ import annotations

import numpy as np
import pytest

from geometry import assemble, parse_description
from geometry.linkage import AWAY, OVER, SphericalCell
from geometry.poses import poses_data

P, Q = 0.184793, -0.347296
OPENINGS = np.arange(1.0, 180.0)


def beak(left_deg, right_deg, angles, length=20.0):
    """Poses data of a beak on the spine with these sectors."""
    widths = [float(length * np.tan(np.radians(angle))) for angle in (left_deg, right_deg)]
    text = (
        "format = 1\n[page]\nsize = [300, 210]\n"
        '[[mechanism]]\nkind = "slit-cut-in"\nid = "cut"\nfold = "spine"\nat = 60\n'
        f"length = {length}\nwidth_start = 0\nwidth_end_left = {widths[0]!r}\nwidth_end_right = {widths[1]!r}\n"
    )
    return poses_data(assemble(parse_description(text)), angles)


def folds(data):
    return {hinge["id"]: 180.0 - np.array(hinge["dihedral_deg"]) for hinge in data["hinges"]}


def tangent(degrees):
    return np.tan(np.radians(degrees) / 2)


def test_the_worked_ratios():
    ta, tb = tangent(60.0), tangent(100.0)
    assert (1 - ta * tb) / (1 + ta * tb) == pytest.approx(P, abs=1e-6)
    assert (ta - tb) / (ta + tb) == pytest.approx(Q, abs=1e-6)


def test_opposite_folds_are_equal_and_one_pair_is_of_opposite_sign():
    found = folds(beak(60, 80, OPENINGS))
    assert found["cut.left"] == pytest.approx(found["cut.right"], abs=1e-9)
    assert found["cut.middle"] == pytest.approx(-found["spine"], abs=1e-9)
    assert (found["cut.left"] > 0).all()


def test_a_beak_of_60_and_80_degrees_is_the_worked_vertex_in_its_second_mode():
    found = folds(beak(60, 80, OPENINGS))
    assert tangent(found["cut.middle"]) / tangent(found["cut.left"]) == pytest.approx(np.full(179, Q), abs=1e-6)


def test_the_other_branch_of_the_same_cell_is_its_first_mode():
    cell = SphericalCell(*np.radians([60.0, 80.0, 80.0, 60.0]), branch=OVER)
    opening = np.radians(OPENINGS)
    motion = cell.solve(opening)
    ratio = np.tan((np.pi - opening) / 2) ** -1 * np.tan((np.pi - motion.left) / 2)
    assert ratio == pytest.approx(np.full(179, P), abs=1e-6)
    other = np.tan((np.pi - opening) / 2) ** -1 * np.tan((np.pi - motion.right) / 2)
    assert other == pytest.approx(np.full(179, -P), abs=1e-6)


@pytest.mark.parametrize(("left", "right"), [(20, 35), (35, 20), (50, 70), (10, 80), (45, 45), (65, 66)])
def test_any_beak_keeps_the_second_ratio_over_its_whole_motion(left, right):
    found = folds(beak(left, right, OPENINGS, length=10.0))
    ta, tb = tangent(left), tangent(180.0 - right)
    q = (ta - tb) / (ta + tb)
    measured = tangent(found["cut.middle"]) / tangent(found["cut.right"])
    assert np.abs(measured / q - 1).max() <= 1e-7


@pytest.mark.parametrize("branch", [AWAY, OVER])
def test_both_modes_of_random_vertices(branch):
    rng = np.random.default_rng(5)
    for _ in range(100):
        a, b = rng.uniform(0.1, 1.4, 2)
        cell = SphericalCell(a, b, b, a, branch)
        opening = np.radians(OPENINGS[::9])
        motion = cell.solve(opening)
        assert motion.middle == pytest.approx(opening, abs=1e-9)
        ta, tb = np.tan(a / 2), np.tan((np.pi - b) / 2)
        p, q = (1 - ta * tb) / (1 + ta * tb), (ta - tb) / (ta + tb)
        host, foot = np.tan((np.pi - opening) / 2), np.tan((np.pi - motion.left) / 2)
        if branch == AWAY:
            assert host / foot == pytest.approx(np.full(len(host), -q), abs=1e-9)
        else:
            assert foot / host == pytest.approx(np.full(len(host), p), abs=1e-9)


# --- Miura ----------------------------------------------------------------------------------------------------------


def test_the_miura_vertex_of_60_degrees():
    opening = 180.0 - 53.1301
    found = folds(beak(60, 60, [opening, 90.0, 30.0]))
    assert found["cut.left"][0] == pytest.approx(90.0, abs=1e-4)
    ratio = tangent(found["spine"]) / tangent(found["cut.left"])
    assert ratio == pytest.approx(np.full(3, np.cos(np.radians(60.0))), abs=1e-9)


def miura(opening):
    """Half a cell of a Miura sheet about the beak's apex, measured as Schenk and Guest do, with creases of length one.

    Returns the angle theta between a facet and the plane of the zigzag, and H, S, L, V.
    """
    data = beak(60, 60, [opening])
    pose = {panel["id"]: np.array(panel["matrices"][0]) for panel in data["panels"]}
    lines = {hinge["id"]: (hinge["panels"][0], np.array(hinge["line"][0])) for hinge in data["hinges"]}
    apex = np.array([0.0, 60.0, 0.0])
    ends = {}
    for name in ("spine", "cut.left", "cut.right", "cut.middle"):
        panel, line = lines[name]
        points = (np.column_stack([line, np.zeros(2), np.ones(2)]) @ pose[panel].T)[:, :3] - apex
        far = points[np.argmax(np.linalg.norm(points, axis=1))]
        ends[name] = far / np.linalg.norm(far)
    # The hinge lines are the zigzag, of sides b; spine and middle crease the straight lines, of sides a.
    left, right, spine, middle = ends["cut.left"], ends["cut.right"], ends["spine"], ends["cut.middle"]
    level = np.cross(left, right) / np.linalg.norm(np.cross(left, right))
    facet = np.cross(right, middle) / np.linalg.norm(np.cross(right, middle))
    theta = np.arccos(abs(level @ facet))
    h = np.linalg.norm((spine + middle) / 2)
    s = np.linalg.norm(left - right) / 2
    length = np.linalg.norm(spine - middle) / 2
    v = np.linalg.norm((left + right) / 2)
    return theta, (h, s, length, v)


def test_the_measures_of_schenk_and_guest_at_45_degrees():
    low, high = 1.0, 179.0
    for _ in range(60):
        opening = (low + high) / 2
        if miura(opening)[0] > np.radians(45.0):
            low = opening
        else:
            high = opening
    assert miura(opening)[1] == pytest.approx((0.6124, 0.7746, 0.7906, 0.6325), abs=5e-5)


@pytest.mark.parametrize("opening", [20.0, 60.0, 100.0, 140.0, 175.0])
def test_the_measures_of_schenk_and_guest_at_any_opening(opening):
    theta, measured = miura(opening)
    gamma = np.radians(60.0)
    root = np.sqrt(1 + np.cos(theta) ** 2 * np.tan(gamma) ** 2)
    expected = (
        np.sin(theta) * np.sin(gamma),
        np.cos(theta) * np.tan(gamma) / root,
        np.sqrt(1 - np.sin(theta) ** 2 * np.sin(gamma) ** 2),
        1 / root,
    )
    assert measured == pytest.approx(expected, abs=1e-9)
