"""Rigid transforms: against their defining properties, over arrays of angles."""

from __future__ import annotations

import numpy as np
import pytest

from geometry.transforms import apply, frame, inverse, lift, map_between, rotation_about

RNG = np.random.default_rng(3)


def random_frame():
    first, second = np.linalg.qr(RNG.normal(size=(3, 3)))[0][:2]
    return frame(RNG.uniform(-100, 100, 3), first, second)


def test_a_frame_is_right_handed():
    for _ in range(20):
        matrix = random_frame()
        assert np.linalg.det(matrix[:3, :3]) == pytest.approx(1.0)
        assert np.array_equal(matrix[3], [0, 0, 0, 1])


def test_a_rotation_keeps_its_line_and_turns_by_the_right_hand():
    turn = rotation_about([1.0, 2.0, 0.0], [0.0, 0.0, 1.0], np.radians([0.0, 90.0, 180.0, 360.0]))
    assert turn.shape == (4, 4, 4)
    assert apply(turn[1], [[2.0, 2.0, 5.0]])[0] == pytest.approx([1.0, 3.0, 5.0])
    assert apply(turn[2], [[2.0, 2.0]])[0] == pytest.approx([0.0, 2.0, 0.0])
    assert turn[3] == pytest.approx(np.eye(4), abs=1e-13)
    assert np.array_equal(turn[0], np.eye(4))
    point, direction = RNG.uniform(-50, 50, 3), RNG.normal(size=3)
    direction /= np.linalg.norm(direction)
    on_line = point + np.linspace(-100, 100, 5)[:, None] * direction
    moved = apply(rotation_about(point, direction, RNG.uniform(-7, 7, 30)), on_line)
    assert np.abs(moved - on_line).max() <= 1e-12


def test_rotations_are_rigid_down_to_the_last_digits():
    direction = RNG.normal(size=3)
    direction /= np.linalg.norm(direction)
    angles = np.concatenate([np.linspace(-4 * np.pi, 4 * np.pi, 1001), np.geomspace(1e-300, 1e-3, 50)])
    linear = rotation_about([9.0, -5.0, 3.0], direction, angles)[:, :3, :3]
    assert np.abs(linear @ np.swapaxes(linear, 1, 2) - np.eye(3)).max() <= 4e-15
    assert np.abs(np.linalg.det(linear) - 1).max() <= 4e-15


def test_two_turns_about_one_line_add_up():
    a, b = RNG.uniform(-3, 3, (2, 20))
    line = ([1.0, 2.0, 3.0], [0.6, 0.0, 0.8])
    assert np.abs(rotation_about(*line, a) @ rotation_about(*line, b) - rotation_about(*line, a + b)).max() <= 1e-13


def test_inverse_and_map_between():
    for _ in range(20):
        source, target = random_frame(), random_frame()
        assert inverse(source) @ source == pytest.approx(np.eye(4), abs=1e-12)
        between = map_between(source, target)
        assert between @ source == pytest.approx(target, abs=1e-12)
    many = np.stack([random_frame() for _ in range(5)])
    assert np.abs(inverse(many) @ many - np.eye(4)).max() <= 1e-12


def test_apply_takes_one_matrix_or_many_and_plane_or_space_points():
    matrix, points = random_frame(), RNG.uniform(-9, 9, (4, 2))
    flat = apply(matrix, points)
    assert flat.shape == (4, 3)
    assert np.array_equal(flat, apply(matrix, lift(points)))
    assert apply(np.stack([matrix, np.eye(4)]), points).shape == (2, 4, 3)
    assert np.array_equal(apply(np.stack([matrix, np.eye(4)]), points)[1], lift(points))
    assert lift([1.0, 2.0]).tolist() == [1.0, 2.0, 0.0]
