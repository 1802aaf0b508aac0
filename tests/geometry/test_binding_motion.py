"""A bound book as its leaves turn: openings, frames, and what lies where when it is open and when it is shut."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPoint, Polygon

from geometry.binding import Binding, read_bound
from geometry.transforms import apply, inverse
from tests.geometry.binding_books import bound
from tests.geometry.scene_texts import BOOKS

EXACT_MM = 1e-9


@pytest.fixture(scope="module")
def book(tmp_path_factory) -> Binding:
    return bound(tmp_path_factory.mktemp("book"))


@pytest.fixture(scope="module", params=BOOKS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def scene_book(request) -> Binding:
    return read_bound(request.param)


def leaves_at_random(count: int, seed: int = 5) -> np.ndarray:
    """Angles of all leaves, each no less than the next; many of them quite shut or quite flat."""
    angles = np.random.default_rng(seed).uniform(-0.6, np.pi + 0.6, (count, 4))
    return np.clip(np.sort(angles, axis=1)[:, ::-1], 0.0, np.pi)


def test_the_turn_of_the_whole_book(book) -> None:
    angles = np.degrees(book.leaf_angles([0.0, 1.0, 2.0, 3.0, 4.0, 1.5]))
    assert angles.tolist() == [
        [0, 0, 0, 0],
        [180, 0, 0, 0],
        [180, 180, 0, 0],
        [180, 180, 180, 0],
        [180, 180, 180, 180],
        [180, 90, 0, 0],
    ]
    openings = np.degrees(book.openings(book.leaf_angles([0.0, 1.0, 2.0, 3.0, 4.0, 1.5])))
    assert openings.tolist() == [[0, 0, 0], [180, 0, 0], [0, 180, 0], [0, 0, 180], [0, 0, 0], [90, 90, 0]]


def test_a_leaf_behind_pushes_those_before_it_along(book) -> None:
    angles = np.degrees(book.leaf_angles([2.0], [0.0, -170.0, 70.0, 30.0]))
    assert angles[0].tolist() == [180, 70, 70, 0]
    assert np.degrees(book.leaf_angles([2.0], [-180, 0, 0, 0]))[0].tolist() == [180, 180, 0, 0]
    assert np.degrees(book.leaf_angles([1.0], [-30, 0, 0, 0]))[0].tolist() == [150, 0, 0, 0]


@settings(deadline=None, max_examples=200)
@given(turn=st.floats(-1, 5), own=st.lists(st.floats(-180, 180), min_size=4, max_size=4))
def test_whatever_the_properties_say_leaves_stay_in_order(book, turn, own) -> None:
    angles = book.leaf_angles([turn], own)[0]
    assert ((angles >= 0) & (angles <= np.pi)).all()
    openings = book.openings(angles[None])[0]
    assert (openings >= 0).all()
    assert (openings == angles[:-1] - angles[1:]).all()
    assert openings.sum() <= np.pi + 1e-12
    wanted = np.clip(180 * (turn - np.arange(4)) + own, 0, 180)
    # No leaf is behind where it wants to be, and each that is beyond it lies on the next.
    assert (np.degrees(angles) >= wanted - 1e-9).all()
    for leaf in range(3):
        assert np.degrees(angles[leaf]) == pytest.approx(wanted[leaf]) or angles[leaf] == angles[leaf + 1]


def test_the_book_turns_without_going_back(book) -> None:
    angles = book.leaf_angles(np.linspace(0, 4, 401), [20.0, -40.0, 60.0, -10.0])
    assert (np.diff(angles, axis=0) >= -1e-12).all()


@pytest.mark.parametrize("number", [1, 2, 3])
def test_the_opening_of_a_spread_is_that_of_its_pages(book, number) -> None:
    leaves = leaves_at_random(60)
    poses = book.pose(leaves)
    right, left = poses[(number, "page.right")], poses[(number, "page.left")]
    # In each page away from the spine: the right one along its x, the left one against it.
    into = np.stack([right[:, :3, 0], -left[:, :3, 0]])
    turned = np.arctan2(into[..., 2], into[..., 0])
    assert np.cos(turned[1] - turned[0]) == pytest.approx(np.cos(leaves[:, number - 1] - leaves[:, number]), abs=1e-12)
    assert np.cos(turned[0]) == pytest.approx(np.cos(leaves[:, number]), abs=1e-12)
    assert np.cos(turned[1]) == pytest.approx(np.cos(leaves[:, number - 1]), abs=1e-12)
    assert into[..., 1] == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("leaf", [1, 2])
def test_the_two_pages_of_a_leaf_stay_back_to_back(book, leaf) -> None:
    poses, frames = book.pose(leaves_at_random(60)), book.frames(leaves_at_random(60))
    left, right = poses[(leaf + 1, "page.left")], poses[(leaf, "page.right")]
    assert np.abs(right - frames[leaf - 1]).max() < EXACT_MM
    # The same place of the page from both sides, a leaf's thickness apart, and the backs towards each other.
    points = np.array([[0.0, 0.0], [148.0, 0.0], [148.0, 210.0], [0.0, 210.0]])
    apart = apply(right, points) - apply(left, points * [-1.0, 1.0])
    along = -left[:, None, :3, 2] * book.leaves_mm[leaf]
    assert np.abs(apart - along).max() < EXACT_MM


@pytest.mark.parametrize("number", [1, 2, 3])
def test_at_its_turn_a_spread_lies_in_one_plane(book, number) -> None:
    poses, frames = book.pose(book.leaf_angles([number])), book.frames(book.leaf_angles([number]))
    plane = inverse(frames[number - 1][0])
    for page in ("page.right", "page.left"):
        outline = book.spreads[number - 1].panels[page].outline
        corners = apply(plane @ poses[(number, page)][0], shapely.get_coordinates(outline))
        assert np.abs(corners[:, 2]).max() < EXACT_MM
    # What is behind it lies closed on the table: so high is the open page.
    below = book.gaps_mm[number:].sum() + book.leaves_mm[number:-1].sum()
    assert frames[number - 1][0, 2, 3] == pytest.approx(below, abs=EXACT_MM)
    assert book.separations(book.openings(book.leaf_angles([number])))[0, number - 1] == 0.0


@pytest.mark.parametrize("number", [1, 2, 3])
def test_the_spine_holds_while_the_pages_are_wide_enough_open(book, number) -> None:
    leaves = leaves_at_random(400)
    poses = book.pose(leaves)
    apart = book.separations(book.openings(leaves))[:, number - 1]
    spine = np.array([[0.0, 0.0], [0.0, 210.0]])
    between = apply(poses[(number, "page.left")], spine) - apply(poses[(number, "page.right")], spine)
    assert np.abs(np.linalg.norm(between, axis=2) - apart[:, None]).max() < EXACT_MM
    opened = 2 * np.arcsin(book.gaps_mm[number - 1] / 148.0)
    assert ((apart == 0) == (book.openings(leaves)[:, number - 1] >= opened - 1e-12)).all()
    assert {True, False} <= set((apart == 0).tolist())


@pytest.mark.parametrize("turn", [0.0, 4.0])
def test_a_closed_book_is_as_thick_as_its_card(book, turn) -> None:
    leaves = book.leaf_angles([turn])
    front, back = book.boards(leaves)
    corners = [apply(board.matrices[0], shapely.get_coordinates(board.outline)) for board in (front, back)]
    heights = [points[:, 2] for points in corners]
    assert np.ptp(heights[0]) < EXACT_MM
    assert abs(heights[0].mean() - heights[1].mean()) == pytest.approx(book.thickness_mm, abs=EXACT_MM)
    assert book.thickness_mm == pytest.approx(book.gaps_mm.sum() + book.leaves_mm.sum())
    # The outsides look away from each other, and the boards lie over each other.
    assert front.matrices[0, 2, 2] == -back.matrices[0, 2, 2] == (1.0 if turn == 0 else -1.0)
    areas = [Polygon(points[:, :2]) for points in corners]
    assert areas[0].symmetric_difference(areas[1]).area < 1e-6


def test_boards_reach_a_square_beyond_the_pages(tmp_path) -> None:
    book = bound(tmp_path, more="[cover]\nboard = 3\nsquare = 4\n")
    front, back = book.boards(book.leaf_angles([0.0]))
    assert front.outline.bounds == (0.0, -4.0, 152.0, 214.0)
    assert back.outline.bounds == (-152.0, -4.0, 0.0, 214.0)
    assert front.thickness_mm == back.thickness_mm == 3.0
    assert book.leaves_mm[0] == pytest.approx(3.0 + 0.3)


def test_a_moving_book_is_the_spreads_at_their_openings(book) -> None:
    leaves = leaves_at_random(30, seed=9)
    poses, frames, openings = book.pose(leaves), book.frames(leaves), book.openings(leaves)
    for number, spread in enumerate(book.spreads, start=1):
        alone = spread.pose(openings[:, number - 1]).matrices
        apart = book.separations(openings)[:, number - 1]
        for name in spread.panels:
            own = inverse(frames[number - 1]) @ poses[(number, name)]
            moved = np.linalg.norm(own[:, :3, 3] - alone[name][:, :3, 3], axis=1)
            assert np.abs(own[:, :3, :3] - alone[name][:, :3, :3]).max() < 1e-12
            hung = name.startswith("page.left") or _chain(spread, name) & {"page.left"}
            assert np.abs(moved - (apart if hung else 0.0)).max() < EXACT_MM


def _chain(spread, name) -> set[str]:
    found = set()
    while name is not None:
        found.add(name)
        name = spread.panels[name].parent
    return found


def sector(frame: np.ndarray, opening: float, apart: float) -> Polygon:
    """What a spread has to itself, seen along the spine: between its pages, as far as they reach."""
    angles = np.linspace(0.0, opening, 50)
    fan = [(0.0, 0.0), *zip(148.0 * np.cos(angles), 148.0 * np.sin(angles), strict=True)]
    off = apart * np.array([-np.sin(opening), np.cos(opening)])
    far = off + 148.0 * np.array([np.cos(opening), np.sin(opening)])
    shape = shapely.union_all([Polygon(fan).buffer(0), MultiPoint([(0, 0), (148, 0), off, far]).convex_hull])
    return shapely.transform(shape, lambda points: apply(frame, points[:, [0, 0, 1]] * [1.0, 0.0, 1.0])[:, [0, 2]])


def test_sectors_of_spreads_never_overlap(book) -> None:
    """What lets the check of the turn look at each spread alone; seen along the spine, by shapely."""
    leaves = np.concatenate([leaves_at_random(300), np.pi / 6 * np.round(leaves_at_random(300, seed=8) / np.pi * 6)])
    frames, openings = book.frames(leaves), book.openings(leaves)
    apart = book.separations(openings)
    for row in range(len(leaves)):
        shapes = [sector(frames[k][row], openings[row, k], apart[row, k]) for k in range(3)]
        for one, two in pairwise(shapes):
            assert one.intersection(two).area < 1e-6
        assert shapes[0].intersection(shapes[2]).area < 1e-6


def test_every_book_of_the_project_is_as_thick_as_it_says(scene_book) -> None:
    front, back = scene_book.boards(scene_book.leaf_angles([0.0]))
    assert front.matrices[0, 2, 3] - back.matrices[0, 2, 3] == pytest.approx(scene_book.thickness_mm)


def test_no_book_is_needed_for_the_others(tmp_path: Path) -> None:
    one = bound(tmp_path, {"only": "format = 1\n[page]\nsize = [100, 140]\n[stock.card]\ncaliper = 0.3\n"})
    assert one.leaves_mm.tolist() == pytest.approx([2.3, 2.3])
    assert one.gaps_mm.tolist() == [0.0]
    assert np.degrees(one.leaf_angles([1.0]))[0].tolist() == [180, 0]


def test_one_spread_can_be_posed_alone(tmp_path) -> None:
    book = bound(tmp_path)
    leaves = book.leaf_angles([0.0, 1.3, 2.0])
    every, alone = book.pose(leaves), book.pose(leaves, (2,))
    assert set(alone) == {key for key in every if key[0] == 2}
    assert all(np.array_equal(alone[key], every[key], equal_nan=True) for key in alone)
