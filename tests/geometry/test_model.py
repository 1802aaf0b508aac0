"""Folds as places to build on: moved, reversed, and seen from the other side."""

from __future__ import annotations

import numpy as np
import pytest

from geometry import assemble, parse_description
from geometry.model import Angle, HostSide
from tests.geometry.scene_texts import HEAD, SCENES


def test_the_spine_is_a_fold_of_two_sides():
    folds = assemble(parse_description(HEAD)).folds
    assert set(folds) == {("spine", "valley"), ("spine", "mountain")}
    valley, mountain = folds[("spine", "valley")], folds[("spine", "mountain")]
    assert (valley.start, valley.end, valley.handed, mountain.handed) == (0.0, 210.0, 1.0, -1.0)
    assert valley.left.panel == "page.left"


def test_a_moved_fold_keeps_its_places():
    fold = assemble(parse_description(HEAD)).folds[("spine", "valley")]
    moved = fold.moved(60.0)
    assert (moved.start, moved.end) == (-60.0, 150.0)
    assert moved.right.point(10.0, 5.0) == pytest.approx(fold.right.point(70.0, 5.0))


def test_a_reversed_fold_is_measured_the_other_way_and_reversed_twice_the_same():
    fold = assemble(parse_description(HEAD)).folds[("spine", "valley")].moved(60.0)
    back = fold.reversed()
    assert (back.start, back.end, back.handed) == (-150.0, 60.0, -1.0)
    assert back.right.point(10.0, 5.0) == pytest.approx(fold.right.point(-10.0, 5.0))
    again = back.reversed()
    assert (again.start, again.end, again.handed) == (fold.start, fold.end, fold.handed)


def test_the_two_sides_of_an_angle_make_a_whole_turn():
    assert Angle("x", 1.0, 0.5).other_side() == Angle("x", -1.0, 2 * np.pi - 0.5)


def test_which_way_a_host_lies():
    along, across = np.array([0.0, 1.0]), np.array([1.0, 0.0])
    assert HostSide("a", np.zeros(2), along, across).turns_left == -1.0
    assert HostSide("a", np.zeros(2), along, -across).turns_left == 1.0


@pytest.mark.parametrize("name", SCENES)
def test_folds_are_orthonormal_and_stand_on_panels_that_exist(name):
    spread = assemble(parse_description(SCENES[name]))
    for fold in spread.folds.values():
        assert fold.start <= fold.end
        for host in (fold.left, fold.right):
            assert host.panel in spread.panels
            basis = np.array([host.along, host.across])
            assert basis @ basis.T == pytest.approx(np.eye(2), abs=1e-12)


@pytest.mark.parametrize("name", SCENES)
def test_the_two_hosts_of_every_fold_meet_in_it_at_every_opening(name):
    """What is built on a fold relies on it: the same line in both hosts, and the angle between them."""
    spread = assemble(parse_description(SCENES[name]))
    openings = np.radians(np.arange(0.0, 181.0, 15.0))
    motion = spread.pose(openings)
    for fold in spread.folds.values():
        ends = []
        into = []
        for host in (fold.left, fold.right):
            matrix = motion.matrices[host.panel]
            points = np.array([[*host.point(at), 0.0, 1.0] for at in (fold.start, fold.end)])
            ends.append(np.einsum("nij,kj->nki", matrix, points))
            into.append(np.einsum("nij,j->ni", matrix[:, :3, :2], host.across))
        assert np.abs(ends[0] - ends[1]).max() <= 1e-6, (fold.id, fold.side)
        angle = motion.angle(fold.dihedral)
        assert np.abs(np.einsum("ni,ni->n", *into) - np.cos(angle)).max() <= 1e-9, (fold.id, fold.side)
        # Handed: along x bisector runs to the right host on the side through which the angle is measured.
        along = np.einsum("nij,j->ni", motion.matrices[fold.left.panel][:, :3, :2], fold.left.along)
        turn = np.einsum("ni,ni->n", np.cross(into[0], into[1]), along)
        assert np.abs(turn - fold.handed * np.sin(angle)).max() <= 1e-9, (fold.id, fold.side)
