"""Flaps: where they lie and how a hand opens them, on either face; those that a strap opens; what is refused."""

from __future__ import annotations

import numpy as np
import pytest

from geometry import DescriptionError, assemble, parse_description, read_description
from geometry.checks import CHECKS, run_checks
from tests.geometry.hand_texts import HEAD, flap
from tests.geometry.scene_texts import ROOT


def built(text):
    return assemble(parse_description(HEAD + text))


def tip(spread, opening_deg, **hands):
    """Where the middle of the flap's free edge is, at each position."""
    moved = {name: np.radians(value) for name, value in hands.items()}
    count = max((np.size(value) for value in hands.values()), default=1)
    motion = spread.pose(np.full(count, np.radians(opening_deg)), moved)
    return motion.matrices["lid.flap"] @ [0.0, 44.0, 0.0, 1.0]


@pytest.mark.parametrize("turn", [0.0, 90.0, 180.0, 215.0])
@pytest.mark.parametrize("face", ["front", "back"])
def test_the_tip_goes_round_a_half_circle_about_the_hinge(turn, face):
    spread = built(flap(more=f'face = "{face}"', turn=turn))
    opened = np.array([0.0, 30.0, 90.0, 180.0])
    out = np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn)), 0.0])
    up = np.array([0.0, 0.0, 1.0 if face == "front" else -1.0])
    wanted = np.array([200.0, 200.0, 0.0]) + 44 * (
        np.cos(np.radians(opened))[:, None] * out + np.sin(np.radians(opened))[:, None] * up
    )
    assert tip(spread, 180.0, lid=opened)[:, :3] == pytest.approx(wanted, abs=1e-9)


def test_the_face_that_is_seen_while_it_is_shut_is_printed():
    for face, sign in (("front", 1.0), ("back", -1.0)):
        pose = built(flap(more=f'face = "{face}"')).pose(np.array([np.pi])).matrices["lid.flap"][0]
        assert pose[2, 2] == pytest.approx(sign)


@pytest.mark.parametrize("tab", ["beyond", "under", "through"])
def test_hinges_hold_over_the_whole_way(tab):
    spread = built(flap(more=f'tab = "{tab}"'))
    count = 37
    motion = spread.pose(np.full(count, 2.0), {"lid": np.linspace(0.0, np.pi, count)})
    for hinge in spread.hinges:
        ends = [
            motion.matrices[panel] @ np.column_stack([line, np.zeros(2), np.ones(2)]).T
            for panel, line in zip(hinge.panels, hinge.lines, strict=True)
        ]
        assert np.abs(ends[0] - ends[1]).max() < 1e-9
    dihedral = np.degrees(motion.dihedral(next(hinge for hinge in spread.hinges if hinge.id == "lid.flap")))
    # From in line with its tab to folded over it, or the other way round; the printed face looks outwards.
    assert dihedral[[0, -1]] == pytest.approx({"beyond": [180, 0], "under": [360, 180], "through": [360, 180]}[tab])
    assert (np.diff(dihedral) < 0).all()


def test_it_is_shut_in_the_closed_book_unless_it_rests_ajar():
    assert run_checks(built(flap(more=""))) == ()
    ajar = built(flap(more="rest = 20"))
    found = CHECKS["closes-flat"](ajar)
    assert [item.severity for item in found] == ["error"]
    assert found[0].measure == pytest.approx(44 * np.sin(np.radians(20)))


def test_own_outline_and_windows():
    text = flap(more="").replace("width = 44\n", 'edge = "M -25 0 L -25 30 L 0 44 L 25 30 L 25 0"\n')
    spread = built(text + "holes = [[[-5, 10], [5, 10], [5, 20], [-5, 20]]]\n")
    assert spread.panels["lid.flap"].outline.area == pytest.approx(50 * 30 + 50 * 14 / 2 - 100)


def test_the_crease_is_a_valley_where_the_flap_opens_towards_its_printed_face():
    for tab, expected in (("beyond", "valley"), ("under", "mountain")):
        spread = built(flap(more=f'tab = "{tab}"'))
        crease = next(hinge for hinge in spread.creases("lid") if hinge.id == "lid.flap")
        assert spread.crease_class(crease) == expected


def test_a_strap_opens_a_driven_flap_in_step_with_the_tent_that_it_comes_from():
    """In the scene tent, strap, flap and page are a parallelogram: the shutter stays parallel to the roof."""
    spread = assemble(read_description(ROOT / "scenes" / "flap.toml"))
    (loop,) = spread.loops
    assert len(loop.geometry.unknowns) == 2
    assert loop.path.free == 0
    openings = np.radians(np.linspace(0.0, 180.0, 181))
    motion = spread.pose(openings)
    assert motion.variables["shutter:flap"] == pytest.approx(motion.variables["roof:left"], abs=1e-8)
    assert np.abs(motion.variables["shutter:flap"]).min() < 1e-8
    assert motion.variables["shutter:flap"][-1] > np.radians(20)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ("driven = true", "lid is moved by nothing; join it to something that moves, or leave driven out"),
        ("driven = true\nopens_to = 90", "belongs to a flap that a hand opens"),
        ("driven = 1", "must be true or false, not 1"),
        ("opens_to = 0", "a flap that a hand opens opens by more than that"),
        ("opens_to = 190", "it must lie between 0 and 180"),
        ("opens_to = 60\nrest = 90", "rests between 0, shut, and 60"),
        ("edge = [[-20, 0], [0, 40], [20, 0]]", "has no meaning beside edge"),
        ("height = 30", "a flap has length (of its hinge) and width"),
        ("holes = [[[0, 30], [60, 30], [0, 40]]]", "is not inside its panel"),
        ('panel2 = "x"', "panel2"),
    ],
)
def test_what_cannot_be_is_refused(more, said):
    with pytest.raises(DescriptionError) as caught:
        built(flap(more=more))
    assert said in str(caught.value)


def beside_a_wall(at):
    """A flap that opens towards the spine, at a place beside a wall whose foot ends at x 103.9, y 210."""
    wall = (
        '[[mechanism]]\nkind = "v-fold"\nid = "wall"\nfold = "spine"\nat = 150\nangle = 60\nheight = 60\nwidth = 120\n'
    )
    near = flap(more="", turn=0.0).replace("at = [200, 200]", f"at = {at}")
    return built(wall + near)


def test_it_may_not_open_into_a_neighbour():
    spread = beside_a_wall([100, 220])
    assert CHECKS["collides"](spread) == []
    error = next(item for item in CHECKS["hand-collides"](spread) if item.severity == "error")
    assert (error.panel, error.other, error.opening_deg) == ("wall.right", "lid.flap", 180.0)
    assert "lid, moved from " in error.message
    assert "35 positions from 5.0 to 175.0 deg, at openings of 180, 150, 120, 90 degrees" in error.message


def test_a_neighbour_by_a_hair_out_of_the_way_is_none():
    """The flap's edge passes the wall's foot at y 211 or at 209."""
    free, struck = (
        [item for item in CHECKS["hand-collides"](beside_a_wall([100, y])) if item.opening_deg == 180.0]
        for y in (236, 234)
    )
    assert free == []
    assert [item.severity for item in struck] == ["error"]


def test_what_no_hand_moves_is_left_to_the_other_checks():
    walls = "".join(
        f'[[mechanism]]\nkind = "tent"\nid = "{name}"\nfold = "spine"\nat = {at}\nlength = 60\n'
        f"base = {base}\nheight = 50\n"
        for name, at, base in (("low", 20, 30), ("high", 50, 40))
    )
    spread = built(walls + flap(more=""))
    assert [item.code for item in CHECKS["collides"](spread)] != []
    assert CHECKS["hand-collides"](spread) == []


def test_a_page_in_the_way_of_a_half_open_book_is_a_note():
    near = flap(more="", turn=0.0).replace("at = [200, 200]", "at = [30, 200]")
    found = CHECKS["hand-collides"](built(near))
    assert [(item.severity, item.panel, item.other) for item in found] == [("note", "page.left", "lid.flap")]
