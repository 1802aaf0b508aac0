"""Accordion: where its creases stand, that nothing in it is loose, and what is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from geometry import DescriptionError, assemble, parse_description
from geometry.checks import run_checks
from geometry.poses import poses_data
from tests.geometry import judge
from tests.geometry.scene_texts import HEAD, tent, v_fold

SCENES = Path(__file__).resolve().parents[2] / "scenes"
OPENINGS = np.arange(0.0, 181.0, 1.0)
BASES, HEIGHTS = (14.0, 18.0, 12.0), (30.0, 24.0, 36.0)
BODY = f"at = 50; length = 80; bases = {list(BASES)}; heights = {list(HEIGHTS)}"


def row(body=BODY, fold="spine", name="row"):
    lines = "\n".join(body.split("; "))
    return f'[[mechanism]]\nkind = "accordion"\nid = "{name}"\nfold = "{fold}"\n{lines}\n'


def built(text):
    return assemble(parse_description(HEAD + text))


def posed(spread, openings=OPENINGS):
    return judge.posed(poses_data(spread, openings))


def worst_hinge(scene):
    assert all(np.isfinite(matrix).all() for matrix in scene.matrices.values())
    for hinge in scene.hinges:
        if hinge["kind"] != "glue":
            assert judge.turned_deg(judge.signed_dihedral_deg(scene, hinge), hinge["dihedral"]) < 1e-6, hinge["id"]
    return max(judge.hinge_gap(scene, hinge) for hinge in scene.hinges)


def crease(scene, name):
    """A crease's start in the world, (n, 3)."""
    hinge = next(hinge for hinge in scene.hinges if hinge["id"] == name)
    return scene.world(hinge["panels"][0], hinge["line"][0])[:, 0]


def loose_motions(spread, opening_deg):
    """How many ways its panels can move against each other at an opening, the spine turning among them.

    Counted from the hinges alone: every rigid body has six velocities, every hinge takes five away from two bodies.
    """
    poses = spread.pose(np.radians([opening_deg])).matrices
    body = {}
    for panel in spread.panels.values():
        body[panel.id] = body[panel.parent] if panel.parent is not None and panel.axis is None else panel.id
    bodies = sorted(set(body.values()))
    rows = []
    for hinge in spread.hinges:
        first, second = (body[name] for name in hinge.panels)
        if first == second:
            continue
        matrix = poses[hinge.panels[0]][0]
        for point in hinge.lines[0]:
            place = matrix[:3, :3] @ [*point, 0.0] + matrix[:3, 3]
            block = np.zeros((3, 6 * len(bodies)))
            for name, sign in ((first, 1.0), (second, -1.0)):
                start = 6 * bodies.index(name)
                x, y, z = place / 100
                block[:, start : start + 3] += sign * np.eye(3)
                block[:, start + 3 : start + 6] += sign * np.array([[0, z, -y], [-z, 0, x], [y, -x, 0]])
            rows.append(block)
    return 6 * len(bodies) - 6 - np.linalg.matrix_rank(np.concatenate(rows), tol=1e-8)


@pytest.mark.parametrize("printed", ["outer", "inner"])
def test_valleys_and_ridges_stand_as_parallels_and_triangles_say(printed):
    """A valley is a parallelogram's corner; a ridge is as far from the lines on either side as it is high."""
    spread = built(row(f'{BODY}; printed = "{printed}"'))
    scene = posed(spread)
    assert worst_hinge(scene) < 1e-9
    opening = np.radians(OPENINGS)
    right = np.broadcast_to([1.0, 0.0, 0.0], (181, 3))
    left = np.stack([np.cos(opening), 0 * opening, np.sin(opening)], axis=1)
    across = np.concatenate([[0.0], np.cumsum(BASES)])
    lines = [(across[-1] - way) * left + way * right + [0.0, 50.0, 0.0] for way in across]
    for number in (1, 2):
        assert np.abs(crease(scene, f"row.valley{number}") - lines[number]).max() < 1e-9
    assert np.abs(crease(scene, "row.pleat1.left.glue")[:, ::2] - lines[0][:, ::2]).max() < 1e-9
    half = opening / 2
    up = np.stack([np.cos(half), 0 * half, np.sin(half)], axis=1)
    for number, (base, height) in enumerate(zip(BASES, HEIGHTS, strict=True)):
        middle = (lines[number] + lines[number + 1]) / 2
        rise = np.sqrt(height**2 - (base * np.sin(half)) ** 2)[:, None]
        assert np.abs(crease(scene, f"row.pleat{number + 1}.middle") - middle - rise * up).max() < 1e-9


@pytest.mark.parametrize("opening", [20.0, 75.0, 140.0])
def test_nothing_in_it_is_loose(opening):
    """The opening alone moves it; with one prop's glue left away it would flop."""
    spread = built(row())
    assert loose_motions(spread, opening) == 1
    kept = [hinge for hinge in spread.hinges if not hinge.id.startswith("row.left1.top")]
    assert loose_motions(type(spread)(**{**vars(spread), "hinges": tuple(kept)}), opening) > 1


def test_it_is_one_row_on_the_net_and_two_props_a_valley():
    spread = built(row())
    names = [piece.id for piece in spread.pieces]
    assert names == ["page", "row", "row.left1", "row.right1", "row.left2", "row.right2"]
    panels = [spread.panels[name] for name in spread.piece("row").panels if spread.panels[name].role == "panel"]
    edges = [panel.outline.bounds for panel in panels]
    assert [edge[2] for edge in edges[:-1]] == pytest.approx([edge[0] for edge in edges[1:]])
    assert edges[-1][2] - edges[0][0] == pytest.approx(2 * sum(HEIGHTS))
    folded = {hinge.id: spread.crease_class(hinge) for hinge in spread.creases("row")}
    assert {name for name, fold in folded.items() if fold == "valley"} >= {"row.valley1", "row.valley2"}
    assert {name for name, fold in folded.items() if fold == "mountain"} >= {"row.pleat1.middle", "row.pleat3.middle"}
    lengths = [np.ptp(spread.panels[f"row.{name}.prop"].outline.bounds[::2]) for name in ("left1", "right1", "left2")]
    assert lengths == pytest.approx([14.0, 30.0, 32.0])


HOSTS = {
    "a valley": (v_fold("hill", body="at = 60; angle = 60; height = 110; width = 130"), "hill.middle"),
    "a glue line": (tent("tent", body="at = 40; length = 120; base = 60; height = 70"), "tent.left"),
}


@pytest.mark.parametrize("host", HOSTS)
def test_it_stands_on_other_folds(host):
    before, fold = HOSTS[host]
    small = "at = 30; length = 60; bases = [9, 9]; heights = [16, 12]; tab_width = 6"
    spread = built(before + row(small, fold))
    scene = posed(spread, np.arange(0.0, 181.0, 5.0))
    assert worst_hinge(scene) < 1e-9
    assert np.abs(np.concatenate([scene.corners(name)[0, :, 2] for name in scene.outlines])).max() < 1e-9
    assert {finding.code for finding in run_checks(spread)} <= {"stays-inside"}


@pytest.mark.parametrize(
    "child",
    [
        tent("top", "row.valley1", "at = 20; length = 40; base = 10; height = 16; tab_width = 6"),
        v_fold("top", "row.pleat2.middle", 'at = 20; angle = 45; height = 12; tab_width = 6; side = "mountain"'),
    ],
)
def test_others_stand_on_its_creases(child):
    spread = built(row() + child)
    scene = posed(spread, np.arange(0.0, 181.0, 5.0))
    assert worst_hinge(scene) < 1e-9
    assert not [finding for finding in run_checks(spread) if finding.code in ("closes-flat", "opens-fully")]


def test_pleats_lower_than_their_bases_lock():
    findings = run_checks(built(row("at = 50; length = 80; bases = [20, 20]; heights = [19, 30]")))
    (found,) = [finding for finding in findings if finding.code == "opens-fully"]
    assert found.opening_deg == pytest.approx(np.degrees(2 * np.arcsin(19 / 20)), abs=0.01)


@pytest.mark.parametrize(
    ("body", "key", "words"),
    [
        ("at = 160; length = 80; bases = [20, 20]; heights = [30, 30]", "at", "ends at 240; spine runs from 0 to 210"),
        ("at = 50; length = 80; bases = [20, 20]; heights = [30]", "heights", "has 1 numbers, bases has 2"),
        ("at = 50; length = 80; bases = [20]; heights = [30]", "bases", "at least two, or a tent"),
        ("at = 50; length = 80; bases = [20, 3]; heights = [30, 30]", "bases", "no room for a tab"),
        ("at = 50; length = 8; bases = [20, 20]; heights = [30, 30]", "length", "no room for a tab"),
        (f'{BODY}; side = "mountain"', "side", "is a ridge"),
        (f"{BODY}; edge_start = [[20, 90], [40, 0]]", "edge_start", "crosses itself"),
        (f"{BODY}; holes = [[[20, 70], [40, 70], [30, 90]]]", "holes", "not inside"),
    ],
)
def test_what_cannot_be_built_is_told_with_its_key(body, key, words):
    with pytest.raises(DescriptionError) as caught:
        built(row(body))
    (found,) = caught.value.problems
    assert found.place == f'accordion "row", {key}'
    assert words in found.message


def test_the_scene_passes_every_check_at_every_degree():
    spread = assemble(parse_description((SCENES / "accordion.toml").read_text(encoding="utf-8")))
    assert run_checks(spread) == ()
    scene = posed(spread)
    assert worst_hinge(scene) < 1e-9
    assert judge.rigid_error(scene) < 1e-9
