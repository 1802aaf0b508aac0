"""A piece unfolds from its standing pose to its net without tearing: every crease stays one line at every step."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from geometry import HingeleafError, assemble, parse_description
from geometry.design.unfolding import unfolding
from geometry.sampling import hand_range
from geometry.tolerances import RIG_MM
from geometry.transforms import apply
from tests.geometry.random_scenes import random_scene
from tests.geometry.scene_texts import CUT_INS, FILES, HEAD, ROOT, SCENES, cut_in_row, tent

TEXTS = {**SCENES, **{file.name: file.read_text(encoding="utf-8") for file in FILES}}
STEPS = np.linspace(0.0, 1.0, 41)
#: Standing and net agree as far as chains of rounded transforms do.
SAME_MM = 1e-6


def spread_of(name):
    return assemble(parse_description(TEXTS[name], folder=ROOT / "scenes"))


def openings_of(spread):
    low, high = spread.reachable()
    return [low, low + 0.01 * (high - low), low + 0.5 * (high - low), low + 0.8 * (high - low), high]


def corners(spread, panel):
    return shapely.get_coordinates(spread.panels[panel].outline)


def torn(spread, piece, poses):
    """How far the two sides of any crease of a piece are apart at any step, mm."""
    worst = 0.0
    for hinge in spread.creases(piece):
        one, two = (apply(poses[panel], line) for panel, line in zip(hinge.panels, hinge.lines, strict=True))
        worst = max(worst, float(np.abs(one - two).max()))
    return worst


@pytest.mark.parametrize("name", TEXTS)
def test_no_crease_tears(name):
    spread = spread_of(name)
    for opening in openings_of(spread):
        for piece in spread.pieces:
            poses = unfolding(spread, piece.id, opening, steps=STEPS).poses((300.0, 10.0, 0.0))
            assert set(poses) == set(piece.panels)
            assert torn(spread, piece.id, poses) < SAME_MM, (piece.id, np.degrees(opening))


@pytest.mark.parametrize("name", TEXTS)
def test_it_begins_where_it_stands_and_ends_as_the_net(name):
    spread = spread_of(name)
    lying = np.array([300.0, 10.0, 0.0])
    for opening in openings_of(spread):
        standing = spread.pose([opening]).matrices
        for piece in spread.pieces:
            poses = unfolding(spread, piece.id, opening, steps=STEPS).poses(lying)
            for panel in piece.panels:
                points = corners(spread, panel)
                assert apply(poses[panel][0], points) == pytest.approx(apply(standing[panel][0], points), abs=SAME_MM)
                assert apply(poses[panel][-1], points)[:, :2] == pytest.approx(points + lying[:2], abs=SAME_MM)
                assert np.abs(apply(poses[panel][-1], points)[:, 2]).max() < SAME_MM


def test_what_hands_moved_is_unfolded_from_there():
    spread = spread_of("flap.toml")
    hand = next(hand for hand in spread.hands if hand.id == "door")
    for value in np.linspace(*hand_range(spread, hand), 5):
        poses = unfolding(spread, "door", np.pi, {"door": float(value)}, STEPS).poses()
        standing = spread.pose([np.pi], {"door": float(value)}).matrices
        for panel, matrices in poses.items():
            assert matrices[0] == pytest.approx(standing[panel][0], abs=SAME_MM)
    turns = [unfolding(spread, "door", np.pi, {"door": value}, STEPS).joints[0].turns[0] for value in (0.0, 1.0)]
    assert abs(turns[0] - turns[1]) == pytest.approx(1.0)


@pytest.mark.parametrize("row", CUT_INS)
def test_cut_ins_follow_their_fold(row):
    """Evenly flattened creases would tear it: only the fold is flattened evenly, the cut-in's own creases follow."""
    at, length = (160.0, 50.0) if row == "edge" else (60.0, 50.0)
    spread = assemble(parse_description(HEAD + cut_in_row(row, "spine", at, length, 20.0)))
    found = unfolding(spread, "page", 1.2, steps=STEPS)
    assert torn(spread, "page", found.poses()) < SAME_MM
    opening = next(joint for joint in found.joints if joint.crease == "spine").turns
    assert np.abs(np.diff(opening, 2)).max() < 1e-12
    assert abs(opening[0]) == pytest.approx(np.pi - 1.2)
    assert {joint.crease for joint in found.joints} == {"spine", "cut.left", "cut.right"}


def test_free_creases_are_flattened_evenly():
    found = unfolding(spread_of("v-fold.toml"), "fold", 1.5, steps=STEPS)
    for joint in found.joints:
        assert np.abs(np.diff(joint.turns, 2)).max() < 1e-12
        assert joint.turns[-1] == 0.0
        assert abs(joint.turns[0]) > 0.1


def test_a_box_is_let_go_where_it_is_glued():
    spread = spread_of("box.toml")
    found = unfolding(spread, "chest", np.pi, steps=STEPS)
    assert len(found.joints) == len(spread.piece("chest").panels) - 1
    kinds = {hinge.id: hinge.kind for hinge in spread.hinges}
    assert {kinds[joint.crease] for joint in found.joints} == {"crease"}


def test_random_books():
    """Cut-ins in cut-ins, on tabs and on creases, at both ends of the motion and half way."""
    tried = 0
    for seed in range(60):
        try:
            spread = assemble(parse_description(random_scene(seed, 6)))
        except HingeleafError:
            continue
        low, high = spread.reachable()
        if not np.isfinite(low):
            continue
        for piece in spread.pieces:
            for opening in (low, (low + high) / 2, high):
                poses = unfolding(spread, piece.id, opening, steps=STEPS).poses()
                assert torn(spread, piece.id, poses) < SAME_MM, (seed, piece.id)
                standing = spread.pose([opening]).matrices
                assert all(poses[panel][0] == pytest.approx(standing[panel][0], abs=SAME_MM) for panel in poses)
                tried += 1
    assert tried > 100


@pytest.mark.parametrize("name", [file.name for file in FILES])
def test_straight_lines_between_181_steps_are_exact_enough_for_a_rig(name):
    spread = spread_of(name)
    fine = np.linspace(0.0, 1.0, 1 + 180 * 3)
    low, high = spread.reachable()
    for piece in spread.pieces:
        for opening in (low, (low + high) / 2, high):
            found = unfolding(spread, piece.id, opening, steps=fine)
            exact = found.poses()
            turns = [np.interp(fine, fine[::3], joint.turns[::3]) for joint in found.joints]
            joints = tuple(replace(joint, turns=own) for joint, own in zip(found.joints, turns, strict=True))
            near = replace(found, joints=joints).poses()
            for panel in piece.panels:
                points = corners(spread, panel)
                off = apply(near[panel], points) - apply(exact[panel], points)
                assert np.sqrt((off**2).sum(axis=-1)).max() < RIG_MM, panel


def test_unknown_piece_and_opening_out_of_reach():
    spread = spread_of("v-fold.toml")
    with pytest.raises(HingeleafError, match=r'no piece "tower"; pieces are page, fold'):
        unfolding(spread, "tower", 1.0)
    locked = HEAD + tent("roof", body="at = 60; length = 50; base = 50; height = 40")
    with pytest.raises(HingeleafError, match="roof cannot stand at an opening of 180"):
        unfolding(assemble(parse_description(locked)), "roof", np.pi)
