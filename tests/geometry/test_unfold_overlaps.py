"""Overlapping triangles of a net, pair by pair against shapely's areas, and to the hair where they touch."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Polygon

from geometry.unfold.overlaps import apart, meet, near_pairs, overlapping_pairs

RIGHT = np.array([0, 4, 3j])  # its smallest height, on the longest side, is 12 / 5


def triangles(count, seed, size=10.0, spread=30.0):
    """Random triangles, counter-clockwise, none of them thin."""
    rng = np.random.default_rng(seed)
    found = []
    while len(found) < count:
        corners = rng.uniform(0, size, 3) + 1j * rng.uniform(0, size, 3)
        doubled = (np.conj(corners[1] - corners[0]) * (corners[2] - corners[0])).imag
        if abs(doubled) > 0.2 * size**2:
            at = rng.uniform(0, spread) + 1j * rng.uniform(0, spread)
            found.append((corners if doubled > 0 else corners[::-1]) + at)
    return np.array(found)


def shape(corners):
    return Polygon(np.stack([corners.real, corners.imag], axis=-1))


def heights(corners):
    """Smallest heights: the doubled area over the longest side."""
    return np.array([2 * shape(one).area / np.abs(one - np.roll(one, 1)).max() for one in corners])


def test_apart_is_no_common_area():
    one, other = triangles(400, 1, spread=10.0), triangles(400, 2, spread=10.0)
    common = np.array([shape(a).intersection(shape(b)).area for a, b in zip(one, other, strict=True)])
    clear = (common == 0.0) | (common > 1e-6)
    assert ((apart(one, other, np.zeros(400)) == (common == 0.0)) | ~clear).all()
    assert 100 < (common > 1e-6).sum() < 350


@pytest.mark.parametrize("size", [1.0, 1e-3, 1e3])
@pytest.mark.parametrize(("share", "overlap"), [(0.0, False), (0.9e-10, False), (1.2e-10, True), (1e-6, True)])
def test_touching_is_allowed_and_reaching_in_by_more_than_a_hair_is_not(size, share, overlap):
    """Along a whole side, turned by half about its middle: 1e-10 of the smaller height is allowed."""
    corners = size * np.array([RIGHT, RIGHT.sum() - RIGHT[0] - RIGHT])
    normal = (3 + 4j) / 5
    depth = heights(corners)
    corners[1] -= share * depth.min() * normal
    facets, nets = np.arange(2), np.zeros(2, dtype=np.int64)
    found = overlapping_pairs(corners, depth, facets, nets)
    assert [item.tolist() for item in found] == ([[0], [1]] if overlap else [[], []])
    assert meet(corners[:1], depth[:1], corners[1:], depth[1:]) is overlap


@pytest.mark.parametrize("groups", [1, 3])
def test_near_pairs_are_those_whose_boxes_meet_within_a_group(groups):
    corners = triangles(150, 3, spread=80.0)
    group = np.arange(150) % groups
    x, y = corners.real, corners.imag
    expected = [
        (i, j)
        for i in range(150)
        for j in range(i + 1, 150)
        if group[i] == group[j]
        and max(x[i].min(), x[j].min()) <= min(x[i].max(), x[j].max())
        and max(y[i].min(), y[j].min()) <= min(y[i].max(), y[j].max())
    ]
    assert list(zip(*(side.tolist() for side in near_pairs(corners, group)), strict=True)) == expected
    assert len(expected) > 50


def test_facets_overlap_only_with_others_of_their_net_and_are_told_once():
    """Facets of two triangles each, on two nets over the same place."""
    corners = triangles(80, 4, spread=60.0)
    of, net = np.arange(80) // 2, np.arange(40) % 2
    expected = sorted(
        {
            (of[i], of[j])
            for i in range(80)
            for j in range(i + 1, 80)
            if of[i] != of[j]
            and net[of[i]] == net[of[j]]
            and shape(corners[i]).intersection(shape(corners[j])).area > 1e-6
        }
    )
    found = overlapping_pairs(corners, heights(corners), of, net)
    assert list(zip(*(side.tolist() for side in found), strict=True)) == expected
    assert len(expected) > 10


def test_some_triangles_meet_others_where_any_two_have_area_in_common():
    seen = set()
    for seed in range(40):
        one, other = triangles(6, 100 + seed, spread=40.0), triangles(6, 200 + seed, spread=40.0)
        common = max(shape(a).intersection(shape(b)).area for a in one for b in other)
        assert meet(one, heights(one), other, heights(other)) is (common > 1e-9)
        seen.add(common > 1e-9)
    assert seen == {True, False}
