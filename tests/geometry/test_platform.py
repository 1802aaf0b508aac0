"""Platform: its layer stays parallel to the pages, lies on its supports, and carries the next platform."""

from __future__ import annotations

import numpy as np
import pytest

from geometry import DescriptionError, assemble, parse_description, read_description
from geometry.checks import run_checks
from geometry.poses import poses_data
from tests.geometry import judge
from tests.geometry.scene_texts import BIG, HEAD, ROOT, mechanism, tent

OPENINGS = np.array([0.0, 0.01, 0.5, 1.0, *np.arange(5.0, 180.0, 5.0), 179.5, 179.99, 180.0])
SIZES = "at = 40; length = 60; base = 8; height = 40; width = 50"


def platform(name="stage", fold="spine", body=SIZES):
    return mechanism("platform", name, fold, body)


def built(body=SIZES, fold="spine", before=""):
    return assemble(parse_description(HEAD + before + platform("stage", fold, body)))


def problem(body):
    with pytest.raises(DescriptionError) as caught:
        built(body)
    (found,) = caught.value.problems
    return found


STACK = (
    platform(body="at = 20; length = 120; base = 6; height = 24; width_left = 75; width_right = 68")
    + platform("court", "stage.middle", "at = 20; length = 80; base = 5; height = 20; width = 45")
    + platform("tower", "court.middle", "at = 20; length = 40; base = 4; height = 16; width = 20")
)
#: Scene, the host panels of the lowest platform, and the platforms from there upwards.
STANDING = {
    "on the spine": (platform(), ("page.left", "page.right"), ("stage",)),
    "unequal widths": (
        platform(body="at = 40; length = 60; base = 8; height = 40; width_left = 30; width_right = 70"),
        ("page.left", "page.right"),
        ("stage",),
    ),
    "as high as its base": (
        platform(body="at = 40; length = 60; base = 20; height = 20; width = 40"),
        ("page.left", "page.right"),
        ("stage",),
    ),
    "outside the spine": (
        platform(body='at = 40; length = 60; base = 8; height = 40; width = 50; side = "mountain"'),
        ("page.left", "page.right"),
        ("stage",),
    ),
    "on a valley": (
        BIG + platform("stage", "hill.middle", "at = 30; length = 30; base = 5; height = 15; width = 20"),
        ("hill.left", "hill.right"),
        ("stage",),
    ),
    "on a foot": (
        BIG + platform("stage", "hill.right", "at = 40; length = 30; base = 5; height = 12; width = 16"),
        ("hill.right", "page.right"),
        ("stage",),
    ),
    "inside a foot, which is flat while the book is shut": (
        BIG + platform("stage", "hill.right", 'at = 40; length = 25; base = 9; height = 9; width = 14; side = "inner"'),
        ("hill.right", "page.right"),
        ("stage",),
    ),
    "on a tent's ridge": (
        tent("roof", body="at = 20; length = 100; base = 30; height = 50")
        + platform(
            "stage", "roof.middle", 'at = 30; length = 40; base = 5; height = 20; width = 22; side = "mountain"'
        ),
        ("roof.left", "roof.right"),
        ("stage",),
    ),
    "in three layers": (STACK, ("page.left", "page.right"), ("stage", "court", "tower")),
}


@pytest.mark.parametrize("name", STANDING)
def test_the_layer_is_parallel_to_its_hosts_at_every_opening(name):
    text, hosts, platforms = STANDING[name]
    spread = assemble(parse_description(HEAD + text))
    scene = judge.posed(poses_data(spread, OPENINGS))
    for host, side in zip(hosts, ("left", "right"), strict=True):
        normals = scene.matrices[host][:, :3, 2]
        assert np.isfinite(normals).all()
        for item in platforms:
            own = scene.matrices[f"{item}.{side}"][:, :3, 2]
            assert np.abs(np.cross(own, normals)).max() <= 1e-9
            # Square to it nothing has turned either: the layer's crease runs along the fold.
            assert np.abs(np.abs(np.einsum("ni,ni->n", own, normals)) - 1.0).max() <= 1e-9


@pytest.mark.parametrize("name", STANDING)
def test_the_middle_crease_lies_on_both_supports_at_every_opening(name):
    text, _, platforms = STANDING[name]
    spread = assemble(parse_description(HEAD + text))
    scene = judge.posed(poses_data(spread, OPENINGS))
    for item in platforms:
        length = spread.panels[f"{item}.left"].outline.bounds[3]
        ridge = [[0.0, 0.0], [0.0, length]]
        middle = scene.world(f"{item}.left", ridge)
        for panel in (f"{item}.right", f"{item}.left.support.wall", f"{item}.right.support.wall"):
            assert np.abs(scene.world(panel, ridge) - middle).max() <= 1e-9, panel


@pytest.mark.parametrize("name", STANDING)
def test_every_angle_is_what_outlines_and_normals_say(name):
    spread = assemble(parse_description(HEAD + STANDING[name][0]))
    scene = judge.posed(poses_data(spread, OPENINGS))
    for hinge in scene.hinges:
        if hinge["kind"] != "glue":
            measured = judge.signed_dihedral_deg(scene, hinge)
        elif hinge["panels"][0].endswith(".tab"):
            continue
        else:
            # Only legs, and the v-folds and tents below, have inner tabs here.
            inner = "support" not in hinge["id"]
            measured = judge.glue_dihedral_deg(scene, hinge, tab_inner=inner)
        assert judge.turned_deg(measured, hinge["dihedral"]) <= 1e-5, hinge["id"]
        assert judge.hinge_gap(scene, hinge) <= 1e-6, hinge["id"]


def test_the_layer_lies_as_high_as_a_right_triangle_says():
    """Open flat, the support is the long side of a triangle whose short side is its base."""
    scene = judge.posed(poses_data(built(), [180.0]))
    for panel in ("stage.left", "stage.right"):
        assert scene.corners(panel)[0, :, 2] == pytest.approx(np.sqrt(40.0**2 - 8.0**2), abs=1e-9)


def test_shut_it_lies_flat_and_reaches_base_height_and_width_from_the_fold():
    spread = built("at = 40; length = 60; base = 8; height = 40; width_left = 30; width_right = 50")
    scene = judge.posed(poses_data(spread, [0.0]))
    for panel in spread.panels:
        assert np.abs(scene.corners(panel)[0, :, 2]).max() <= 1e-9
    assert scene.corners("stage.right.leg")[0, :, 0].max() == pytest.approx(8 + 40 + 50, abs=1e-9)
    assert scene.corners("stage.left.leg")[0, :, 0].max() == pytest.approx(8 + 40 + 30, abs=1e-9)


@pytest.mark.parametrize(("base", "height"), [(20.0, 15.0), (10.0, 9.9), (30.0, 6.0)])
def test_lower_than_its_base_it_locks_where_the_supports_are_stretched(base, height):
    spread = built(f"at = 40; length = 60; base = {base}; height = {height}; width = 50")
    low, high = np.degrees(spread.reachable())
    assert low == 0.0
    assert high == pytest.approx(2 * np.degrees(np.arcsin(height / base)), abs=1e-6)


@pytest.mark.parametrize(("height", "flat"), [(9, True), (9.5, False)])
def test_on_a_fold_that_is_flat_while_shut_it_lies_flat_only_as_high_as_its_base(height, flat):
    body = f'at = 40; length = 25; base = 9; height = {height}; width = 14; side = "inner"'
    scene = judge.posed(poses_data(built(body, "hill.right", BIG), [0.0]))
    heights = np.abs(scene.corners("stage.left")[0, :, 2])
    assert (heights.max() <= 1e-9) == flat


def test_three_layers_pass_every_check():
    assert run_checks(assemble(parse_description(HEAD + STACK))) == ()


def test_the_scene_of_three_layers_closes_flat():
    spread = assemble(read_description(ROOT / "scenes" / "platforms-in-layers.toml"))
    scene = judge.posed(poses_data(spread, [0.0, 180.0]))
    assert max(np.abs(scene.corners(panel)[0, :, 2]).max() for panel in spread.panels) <= 1e-9
    heights = [scene.corners(f"{name}.left")[1, :, 2].max() for name in ("ground", "court", "tower")]
    assert np.diff([0.0, *heights]) == pytest.approx([np.sqrt(32**2 - 8**2), np.sqrt(30**2 - 49), np.sqrt(28**2 - 36)])


def test_it_is_three_pieces_and_every_glue_line_has_a_tab():
    spread = built()
    assert [piece.id for piece in spread.pieces] == ["page", "stage", "stage.left.support", "stage.right.support"]
    assert sorted(area.glued for area in spread.glue_areas) == sorted(
        f"stage.{side}.{part}.tab" for side in ("left", "right") for part in ("leg", "support.wall", "support.top")
    )
    under = {area.glued: (area.host, area.face) for area in spread.glue_areas}
    assert under["stage.left.support.top.tab"] == ("stage.left", "back")
    assert under["stage.right.support.wall.tab"] == ("page.right", "front")


def test_the_net_of_the_layer_is_leg_layer_layer_leg():
    spread = built('at = 40; length = 60; base = 8; height = 40; width_left = 30; width_right = 50; tab = "outer"')
    classes = {hinge.id: spread.crease_class(hinge) for hinge in spread.creases("stage")}
    places = {hinge.id: hinge.lines[0][0, 0] for hinge in spread.creases("stage")}
    assert places["stage.middle"] == 0.0
    assert sorted(places.values()) == pytest.approx([-70.0, -30.0, 0.0, 50.0, 90.0])
    assert classes["stage.middle"] == "valley"
    assert classes["stage.left.middle"] == classes["stage.right.middle"] == "mountain"


def test_tabs_under_a_narrow_layer_leave_room_for_each_other():
    spread = built("at = 40; length = 60; base = 8; height = 40; width = 16")
    areas = {area.glued: area.outline for area in spread.glue_areas if area.host == "page.right"}
    leg, support = areas["stage.right.leg.tab"], areas["stage.right.support.wall.tab"]
    assert leg.distance(support) == pytest.approx(2.0)
    assert not [finding for finding in run_checks(spread) if finding.code == "glue"]


def test_folds_to_build_on():
    spread = built()
    for name in ("stage.middle", "stage.left.leg", "stage.right.leg", "stage.left.middle", "stage.left.support.wall"):
        assert any(fold == name for fold, _ in spread.folds), name
    assert ("stage.left.support.top", "inner") not in spread.folds
    fold = spread.folds[("stage.middle", "valley")]
    assert (fold.left.panel, fold.right.panel) == ("stage.left", "stage.right")


def test_a_cut_in_on_the_middle_crease_and_a_v_fold_on_a_leg_move():
    text = platform() + mechanism("slit-cut-in", "cut", "stage.left.middle", "at = 20; length = 20; width = 8")
    text += mechanism("v-fold", "flag", "stage.right.leg", "at = 20; angle = 60; height = 12")
    spread = assemble(parse_description(HEAD + text))
    scene = judge.posed(poses_data(spread, OPENINGS))
    assert np.isfinite(scene.matrices["flag.left"]).all()
    assert np.isfinite(scene.matrices["cut.left"]).all()
    assert max(judge.hinge_gap(scene, hinge) for hinge in scene.hinges) <= 1e-6


@pytest.mark.parametrize(
    ("body", "key", "words"),
    [
        ("at = 180; length = 50; base = 8; height = 30; width = 40", "at", "ends at 230; spine runs from 0 to 210"),
        ("at = 40; length = 50; base = 8; height = 30; width_left = 40", "width", "one side only"),
        ("at = 40; length = 50; base = 8; height = 30; width = 7", "width", "from 8 mm on"),
        ("at = 40; length = 50; base = 8; height = 30; width = 40; width_left = 7", "width_left", "on the left"),
        ("at = 40; length = 5; base = 8; height = 30; width = 40", "length", "no room for a tab"),
        ("at = 40; length = 50; base = 8; height = 30; width = 40; height_left = 20", "height_left", "one height"),
        (
            "at = 40; length = 50; base = 8; height = 30; width = 40; holes = [[[1, 1], [60, 2], [2, 3]]]",
            "holes",
            "not",
        ),
    ],
)
def test_what_cannot_be_built_is_told_with_its_key(body, key, words):
    found = problem(body)
    assert found.place.startswith(f'platform "stage", {key}')
    assert words in found.message
