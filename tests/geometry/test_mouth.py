"""Pairs of cut-ins with one slit in common: the slit is cut once, and both jaws move as if they were alone."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import LineString

from geometry import DescriptionError, assemble, parse_description
from geometry.checks import run_checks
from geometry.nets import draw_piece
from geometry.poses import poses_data
from tests.geometry import judge
from tests.geometry.scene_texts import HEAD, cut_in, v_fold

TEETH = [[-24, 0], [-18, 5], [-12, -3], [-6, 5], [0, -3], [6, 5], [12, -3], [18, 5], [24, 0]]
WALL = v_fold("hill", body="at = 90; angle = 40; height = 90; width = 80")


def jaws(fold="spine", at=70, low=30, high=26, left=30, right=30, shape=None):
    """A lower and an upper jaw about a slit at a place along a fold."""
    ends = f"left = {left}; width_{{}}_right = {right}"
    lower = f"at = {at - low}; length = {low}; width_start = 0; width_end_" + ends.format("end")
    upper = f"at = {at}; length = {high}; width_end = 0; width_start_" + ends.format("start")
    if shape is not None:
        lower, upper = f"{lower}; slit_end = {shape}", f"{upper}; slit_start = {shape}"
    return cut_in("lower", fold, lower) + cut_in("upper", fold, upper)


#: Scene, piece, half the length of the slit to either side, its shape in the fold's coordinates.
MOUTHS = {
    "straight": (jaws(), "page", LineString([(-30, 70), (30, 70)])),
    "unequal": (jaws(left=22, right=38), "page", LineString([(-22, 70), (38, 70)])),
    "teeth": (
        jaws(left=30, right=30, shape=TEETH),
        "page",
        LineString([(-30, 70), *[(x, 70 + y) for x, y in TEETH], (30, 70)]),
    ),
    "on a crease": (WALL + jaws("hill.middle", 55, 20, 20, 14, 14), "hill", LineString([(-14, 55), (14, 55)])),
}


@pytest.mark.parametrize("name", MOUTHS)
def test_the_common_slit_is_drawn_once(name):
    text, piece, slit = MOUTHS[name]
    drawing = draw_piece(assemble(parse_description(HEAD + text)), piece)
    cuts = [line for line in drawing.lines if line.line_class == "cut" and not line.closed]
    (cut,) = cuts
    assert cut.length_mm == pytest.approx(slit.length, abs=1e-6)
    drawn = LineString(cut.points)
    assert drawn.hausdorff_distance(slit) <= 1e-6
    # No crease and no other cut lies on it.
    for line in drawing.lines:
        if line is not cut and line.line_class in ("cut", "mountain", "valley"):
            assert LineString(line.points).intersection(drawn.buffer(1e-6)).length <= 1e-4


@pytest.mark.parametrize("name", MOUTHS)
def test_a_mouth_passes_every_check(name):
    spread = assemble(parse_description(HEAD + MOUTHS[name][0]))
    assert [finding.message for finding in run_checks(spread) if finding.severity != "note"] == []


@pytest.mark.parametrize("name", MOUTHS)
def test_each_jaw_moves_as_if_it_were_alone(name):
    text = MOUTHS[name][0]
    head, _, _ = text.rpartition("[[mechanism]]")
    both, alone = (assemble(parse_description(HEAD + part)) for part in (text, head))
    openings = np.radians([0.0, 30.0, 90.0, 150.0, 180.0])
    for panel in ("lower.left", "lower.right"):
        assert np.array_equal(both.pose(openings).matrices[panel], alone.pose(openings).matrices[panel])
    scene = judge.posed(poses_data(both, np.degrees(openings)))
    assert max(judge.hinge_gap(scene, hinge) for hinge in scene.hinges) <= 1e-6


def test_the_jaws_open_apart():
    """Both lips stand off the spine, and the gap between the edges of the slit grows from nothing, flat open."""
    scene = judge.posed(poses_data(assemble(parse_description(HEAD + MOUTHS["straight"][0])), [180.0, 120.0, 60.0]))
    lower, upper = (scene.world(f"{jaw}.right", [[0.0, 70.0]])[:, 0] for jaw in ("lower", "upper"))
    gap = np.linalg.norm(upper - lower, axis=1)
    assert gap[0] <= 1e-9
    assert np.all(np.diff(gap) > 1.0)


@pytest.mark.parametrize("name", ["straight", "unequal", "teeth", "on a crease"])
def test_the_card_is_whole_apart_from_the_slit(name):
    text, piece, _ = MOUTHS[name]
    spread = assemble(parse_description(HEAD + text))
    outlines = [spread.panels[panel].outline for panel in spread.piece(piece).panels]
    assert sum(outline.area for outline in outlines) == pytest.approx(shapely.union_all(outlines).area, abs=1e-5)


def test_lips_that_are_shaped_differently_are_refused():
    text = jaws(shape=TEETH).replace(f"slit_start = {TEETH}", "")
    with pytest.raises(DescriptionError, match=r"meets another cut|leaves the card"):
        assemble(parse_description(HEAD + text))
