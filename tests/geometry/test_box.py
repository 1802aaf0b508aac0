"""Box and its layers: where the walls stand, that all that holds them is consistent, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geometry import DescriptionError, HingeleafError, assemble, parse_description
from geometry.checks import run_checks
from geometry.poses import poses_data
from tests.geometry import judge
from tests.geometry.scene_texts import HEAD, cut_in, tent, v_fold

SCENES = Path(__file__).resolve().parents[2] / "scenes"
OPENINGS = np.arange(0.0, 181.0, 1.0)
BODY = "at = 60; length = 80; base = 30; height = 40"


def table(kind, name, body):
    return f'[[mechanism]]\nkind = "{kind}"\nid = "{name}"\n' + "\n".join(body.split("; ")) + "\n"


def box(body=BODY, fold="spine", name="box"):
    return table("box", name, f'fold = "{fold}"; {body}')


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


def problem(text):
    with pytest.raises(DescriptionError) as caught:
        built(text)
    (found,) = caught.value.problems
    return found


def crease_x(spread, name, panel):
    hinge = next(hinge for hinge in spread.hinges if hinge.id == name)
    return hinge.lines[hinge.panels.index(panel), 0, 0]


@pytest.mark.parametrize("printed", ["outer", "inner"])
@pytest.mark.parametrize("ends", ["in", "out", "start", "end"])
@pytest.mark.parametrize("width", [30.0, 37.0])
def test_walls_and_ends_stand_as_two_triangles_say(ends, printed, width):
    """By plain trigonometry: the walls along the bisector, base x sin of half the opening to either side of it."""
    spread = built(box(f'{BODY}; ends = "{ends}"; printed = "{printed}"; end_width = {width}'))
    scene = posed(spread)
    assert worst_hinge(scene) < 1e-6
    half = np.radians(OPENINGS) / 2
    # The bisector in the world, and the direction square to it towards the right page.
    up = np.stack([np.cos(half), 0 * half, np.sin(half)], axis=1)
    across = np.stack([np.sin(half), 0 * half, -np.cos(half)], axis=1)
    along = np.array([0.0, 1.0, 0.0])
    floor = 30 * np.cos(half)[:, None] * up
    for side, sign in (("left", -1.0), ("right", 1.0)):
        x = crease_x(spread, f"box.{side}.glue", f"box.{side}")
        foot, top = scene.world(f"box.{side}", [[x, 0.0], [x, 40.0]]).transpose(1, 0, 2)
        start = floor + sign * 30 * np.sin(half)[:, None] * across + 60 * along
        assert np.abs(top - foot - 40 * up).max() < 1e-6
        assert np.minimum(np.abs(foot - start), np.abs(foot - start - 80 * along)).max() < 1e-6
    depth = np.sqrt(np.maximum(width**2 - (30 * np.sin(half)) ** 2, 0.0))[:, None]
    for end, at, way in (("start", 60.0, {"in": 1, "end": 1}), ("end", 140.0, {"out": 1, "end": 1})):
        x = crease_x(spread, f"box.{end}.middle", f"box.{end}.left")
        found = scene.world(f"box.{end}.left", [[x, 0.0]])[:, 0]
        expected = floor + (at + way.get(ends, -1) * depth) * along
        assert np.abs(found - expected).max() < 1e-6


def test_it_has_no_free_motion_and_moves_all_the_way():
    (loop,) = built(box()).loops
    assert loop.path.free == 0
    assert loop.path.ends == ("range", "range")
    assert (loop.path.low, loop.path.high) == pytest.approx((0.0, np.pi))


def test_one_end_alone_would_hold_it_so_both_are_one_too_many():
    """Twelve conditions and six unknowns: the rank is six with either end's closure taken away as well."""
    loop = built(box()).loops[0]
    known = {"spine": np.array([1.2])}
    known |= loop.solve(known)
    _, jacobian = loop.geometry.misfit_and_jacobian(known)
    names = loop.geometry.unknowns
    assert jacobian.shape == (1, 12, 6)
    for row, end in ((0, "end"), (1, "start")):
        own = [index for index, name in enumerate(names) if end in name or name in ("box:left", "box:right")]
        part = jacobian[0, 6 * row : 6 * row + 6, own].T
        assert np.linalg.matrix_rank(part, tol=1e-6) == len(own) == 4


def test_ends_that_contradict_each_other_are_refused_with_the_misfit():
    """One end holds the walls level; the other, moved up its wall by half a millimetre, would hold them askew."""
    loop = built(box()).loops[0]
    first, second = loop.geometry.closures
    moved = first.frames[1].copy()
    moved[1, 3] += 0.5
    wrong = replace(first, frames=(first.frames[0], moved))
    with pytest.raises(HingeleafError, match=r"miss each other\s+by 0\.\d+ mm") as caught:
        replace(loop, geometry=replace(loop.geometry, closures=(wrong, second))).path  # noqa: B018
    assert "does not close" in str(caught.value)


def test_end_walls_too_narrow_are_refused_with_the_misfit():
    found = problem(box(f"{BODY}; end_width = 20"))
    assert "does not close: at 90.0 degrees its ends miss each other by" in found.message
    misfit = float(found.message.split(" by ")[1].split(" mm")[0])
    # Stretched flat they span 40 of the 42.4 mm between the walls.
    lacking = 60 * np.sin(np.pi / 4) - 40
    assert lacking / 2 < misfit < 2 * lacking


def test_end_walls_of_unequal_panels_jam_where_their_triangle_is_flat():
    spread = built(box(f"{BODY}; end_width_left = 33; end_width_right = 30"))
    assert np.degrees(spread.reachable()[0]) == pytest.approx(np.degrees(2 * np.arcsin(3 / 60)), abs=1e-3)
    errors = [finding for finding in run_checks(spread) if finding.severity == "error"]
    assert errors[0].code == "closes-flat"
    assert "5.7" in errors[0].message


def test_half_a_millimetre_stops_a_rigid_box_where_the_reference_says():
    """About sqrt(2 d / base): an end panel comes to lie on its wall, or a side wall on its page, before it is shut."""
    openings = np.radians(np.linspace(5.0, 20.0, 1501))
    expected = np.degrees(np.sqrt(2 * 0.5 / 30))
    motion = built(box(f"{BODY}; end_width_left = 30.5")).pose(openings)
    lying = np.argmin(np.abs(motion.variables["box:end.right"] - np.pi))
    assert np.degrees(openings[lying]) == pytest.approx(expected, abs=0.1)
    assert np.degrees(openings[lying]) == pytest.approx(
        np.degrees(2 * np.arcsin(np.sqrt(30.5**2 - 30**2) / 60)), abs=0.02
    )
    loop = built(box()).loops[0]
    aside = np.eye(4)
    aside[0, 3] = 0.5
    panels = tuple(
        replace(panel, axis=replace(panel.axis, point=panel.axis.point + aside[:3, 3]), rest=aside @ panel.rest)
        if panel.id == "box.right"
        else panel
        for panel in loop.geometry.panels
    )
    askew = replace(loop, geometry=replace(loop.geometry, panels=panels))
    lying = np.argmin(np.abs(askew.solve({"spine": openings})["box:left"]))
    assert np.degrees(openings[lying]) == pytest.approx(expected, abs=0.1)


def test_ends_that_fold_into_a_short_box_meet():
    findings = run_checks(built(box("at = 60; length = 50; base = 30; height = 40")))
    assert "collides" in {finding.code for finding in findings}
    assert run_checks(built(box('at = 60; length = 50; base = 30; height = 40; ends = "out"'))) == ()


def test_the_ring_is_one_piece_of_six_panels_and_three_tabs():
    spread = built(box())
    piece = spread.piece("box")
    names = ["right", "end.right", "end.left", "left", "start.left", "start.right"]
    assert list(piece.panels[:6]) == [f"box.{name}" for name in names]
    assert {spread.panels[name].role for name in piece.panels[6:]} == {"tab"}
    edges = [spread.panels[name].outline.bounds for name in piece.panels[:6]]
    assert [edge[2] for edge in edges[:-1]] == pytest.approx([edge[0] for edge in edges[1:]])
    assert edges[-1][2] - edges[0][0] == pytest.approx(2 * 80 + 4 * 30)
    folded = {hinge.id: spread.crease_class(hinge) for hinge in spread.creases("box")}
    assert {name for name, fold in folded.items() if fold == "valley"} == {"box.end.middle", "box.start.middle"}
    assert len(folded) == 8


BIG = v_fold("hill", body="at = 60; angle = 60; height = 110; width = 130")
TENT = tent("tent", body="at = 40; length = 120; base = 60; height = 70")
SMALL = "at = 30; length = 60; base = 14; height = 20; tab_width = 6"
HOSTS = {
    "a valley": (BIG, "hill.middle"),
    "a glue line": (TENT, "tent.left"),
    "the other glue line": (TENT, "tent.right"),
    "a step's hinge": (cut_in("step", body="at = 40; length = 120; width = 60"), "step.left"),
    "an edge of a box": (box("at = 60; length = 110; base = 45; height = 100"), "box.end.left"),
    "a foot of a box": (box("at = 60; length = 100; base = 30; height = 60"), "box.right"),
}


@pytest.mark.parametrize("host", HOSTS)
@pytest.mark.parametrize("ends", ["in", "start"])
def test_it_stands_on_other_folds(host, ends):
    before, fold = HOSTS[host]
    spread = built(before + box(f'{SMALL}; ends = "{ends}"', fold, "top"))
    scene = posed(spread, np.arange(0.0, 181.0, 5.0))
    assert worst_hinge(scene) < 1e-6
    assert judge.rigid_error(scene) < 1e-9
    assert max(np.abs(scene.corners(name)[0, :, 2]).max() for name in scene.outlines) < 1e-6
    assert all(loop.path.free == 0 for loop in spread.loops)
    assert {finding.code for finding in run_checks(spread)} <= {"stays-inside"}


def test_cells_stand_on_its_feet_edges_and_creases():
    parts = [
        v_fold("foot", "box.left", "at = 40; angle = 45; height = 18"),
        tent("edge", "box.end.left", "at = 5; length = 30; base = 10; height = 14; tab_width = 5"),
        cut_in("crease", "box.start.middle", "at = 8; length = 20; width = 8"),
    ]
    spread = built(box(BODY + '; ends = "out"') + "".join(parts[:1] + parts[2:]))
    scene = posed(spread, np.arange(0.0, 181.0, 5.0))
    assert worst_hinge(scene) < 1e-6
    assert run_checks(spread) == ()
    assert worst_hinge(posed(built(box() + parts[1]), np.arange(0.0, 181.0, 5.0))) < 1e-6


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        (box("at = 160; length = 80; base = 30; height = 40"), "at", "ends at 240; spine runs from 0 to 210 mm"),
        (box(f'{BODY}; side = "mountain"'), "side", "is a ridge"),
        (box("at = 60; length = 80; base = 3; height = 40"), "base", "no room for a tab"),
        (box("at = 60; length = 80; base = 30; height = 5"), "height", "no room for a tab"),
        (box(f"{BODY}; edge_left = [[60, 50], [20, 60], [70, 20]]"), "edge", "crosses itself"),
        (box(f"{BODY}; edge_start = [[20, 50], [-20, -10]]"), "edge_start", "crosses itself"),
        (box(f"{BODY}; holes_end = [[[20, 5], [40, 5], [40, 20]]]"), "holes_end", "not inside"),
        (box(f"{BODY}; holes_left = [[[20, 5], [40, 5], [40, 50]]]"), "holes", "not inside"),
        (box(f"{BODY}; edge_end = [[-5, 60], [0, -0.0], [5, 60]]"), "edge_end", ""),
        (box() + table("layer", "trees", 'box = "crate"; at = 10'), "box", '"crate" is no box; there is box'),
        (box() + table("layer", "trees", 'box = "box"; at = 90'), "at", "is 90 mm from the start of box"),
        (box() + table("layer", "trees", 'box = "box"; at = 40; width = 20'), "", "does not close: at 90.0 degrees"),
        (
            box() + table("layer", "trees", 'box = "box"; at = 40; holes = [[[-5, 5], [50, 5], [0, 9]]]'),
            "holes",
            "not inside",
        ),
    ],
)
def test_what_cannot_be_built_is_told_with_its_key(text, key, words):
    found = problem(text)
    assert found.place.endswith(f", {key}" if key else '"'), found.place
    assert words in found.message


@pytest.mark.parametrize("printed", ["start", "end"])
@pytest.mark.parametrize("towards", ["start", "end"])
@pytest.mark.parametrize("width", [30.0, 34.0])
def test_a_layer_stands_where_its_triangle_says(towards, printed, width):
    layer = f'box = "box"; at = 35; width = {width}; towards = "{towards}"; printed = "{printed}"'
    spread = built(box(f'{BODY}; ends = "{towards}"') + table("layer", "trees", layer))
    scene = posed(spread)
    assert worst_hinge(scene) < 1e-6
    half = np.radians(OPENINGS) / 2
    depth = np.sqrt(np.maximum(width**2 - (30 * np.sin(half)) ** 2, 0.0))
    foot, top = scene.world("trees.left", [[0.0, 0.0], [0.0, 40.0]]).transpose(1, 0, 2)
    assert np.abs(foot[:, 1] - (95 + (1 if towards == "end" else -1) * depth)).max() < 1e-6
    assert np.abs(np.linalg.norm(top[:, ::2], axis=1) - 30 * np.cos(half) - 40).max() < 1e-6
    # The printed face looks the way it was asked to while the book is open.
    assert np.sign(scene.matrices["trees.right"][120, 1, 2]) == (1 if printed == "end" else -1)
    assert spread.loops[1].path.free == 0
    assert run_checks(spread) == ()


def test_a_layer_may_have_a_window_across_its_crease():
    layer = 'box = "box"; at = 35; holes = [[[-10, 5], [10, 5], [10, 20], [-10, 20]]]'
    spread = built(box(f'{BODY}; ends = "start"') + table("layer", "trees", layer))
    assert spread.panels["trees.left"].outline.area == pytest.approx(30 * 40 - 150)
    parts = [hinge for hinge in spread.creases("trees") if hinge.id.startswith("trees.middle")]
    lengths = sorted(np.ptp(hinge.lines[0, :, 1]) for hinge in parts)
    assert lengths == pytest.approx([5.0, 20.0])


@pytest.mark.parametrize("name", ["box", "scenery"])
def test_the_scene_passes_every_check_at_every_degree(name):
    spread = assemble(parse_description((SCENES / f"{name}.toml").read_text(encoding="utf-8")))
    assert run_checks(spread) == ()
    scene = posed(spread)
    assert worst_hinge(scene) < 1e-6
    assert judge.rigid_error(scene) < 1e-9
