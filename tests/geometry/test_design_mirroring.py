"""Mirroring: the geometry of the image is the mirror image of the geometry, at every opening, for every kind."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geometry import HingeleafError, assemble, parse_description, read_description
from geometry.design.arranging import dependents
from geometry.design.copying import moving_family
from geometry.design.mirroring import mirror
from geometry.trees import owner_of
from tests.geometry.scene_texts import FILES, HEAD, SCENES, cut_in, rider_on, tent, v_fold

OPENINGS = np.radians([25.0, 70.0, 118.0, 160.0])
#: What is glued on one side only, or stands in one half of the length only, is not like its image.
ONE_SIDED = (".start.right.tab", ".prop", ".prop.tab", ".top.tab")


def _corners(spread, names, *, reflected=False):
    """Corners of panels in space, by panel: (openings, corners, 3); as the mirror between the pages shows them."""
    motion = spread.pose(OPENINGS)
    found = {}
    for name in names:
        net = shapely.get_coordinates(spread.panels[name].outline)
        flat = np.column_stack([net, np.zeros(len(net)), np.ones(len(net))])
        places = np.einsum("nij,kj->nki", motion.matrices[name], flat)[..., :3]
        if reflected:
            cosine, sine = np.cos(OPENINGS)[:, None], np.sin(OPENINGS)[:, None]
            x, y, z = places[..., 0], places[..., 1], places[..., 2]
            places = np.stack([cosine * x + sine * z, y, sine * x - cosine * z], axis=-1)
        found[name] = places
    return found


def _apart(one, two):
    """How far the corners of two panels are from being the same, mm."""
    distance = np.linalg.norm(one[:, :, None] - two[:, None], axis=-1)
    return max(distance.min(axis=2).max(), distance.min(axis=1).max())


def _panels(spread, owners, kinds=("panel", "strip", "rider", "tab")):
    return [
        name
        for name, panel in spread.panels.items()
        if owner_of(name) in owners and panel.role in kinds and not name.endswith(ONE_SIDED)
    ]


def _assert_mirrored(before, after, old, new, *, limit=0.012):
    """Every panel of the old mechanisms, reflected, is one of the new ones."""
    own = _corners(before, _panels(before, old), reflected=True)
    images = _corners(after, _panels(after, new))
    assert len(own) == len(images)
    for name, corners in own.items():
        nearest = min(_apart(corners, other) for other in images.values() if np.isfinite(other).all())
        assert nearest < limit, f"{name} is {nearest:.3f} mm off its mirror image"


def _all_scenes():
    for file in FILES:
        yield pytest.param(lambda file=file: read_description(file), id=file.stem)
    for name, text in SCENES.items():
        yield pytest.param(lambda text=text: parse_description(text), id=name)


@pytest.mark.parametrize("read", list(_all_scenes()))
def test_what_stands_on_the_spine_is_mirrored_in_place_with_all_that_stands_on_it(read):
    description = read()
    before = assemble(description)
    for spec in description.mechanisms:
        if spec.values.get("fold") != "spine":
            continue
        group = set(moving_family(description, spec.id))
        assert group >= {spec.id, *dependents(description, spec.id)}
        changed, ids = mirror(description, before, spec.id)
        assert set(ids) == group
        assert [item.id for item in changed.mechanisms] == [item.id for item in description.mechanisms]
        _assert_mirrored(before, assemble(changed), group, group)
        again, _ = mirror(changed, assemble(changed), spec.id)
        assert _sizes(again) == _sizes(description)


BOX = """[[mechanism]]
kind = "box"
id = "box"
fold = "spine"
at = 60
length = 60
base = 30
height = 40
end_width_left = 32
end_width_right = 32
"""
ROW = """[[mechanism]]
kind = "accordion"
id = "row"
fold = "spine"
at = 30
length = 120
bases = [16, 20, 16]
heights = [30, 40, 30]
"""
LAYER = '[[mechanism]]\nkind = "layer"\nid = "wall"\nbox = "box"\nat = 20\nedge = [[-30, 40], [-10, 55], [20, 45]]\n'
FLAP = """[[mechanism]]
kind = "flap"
id = "door"
panel = "page.left"
at = [-60, 60]
turn = 30
length = 30
edge = "M -15 0 L -10 20 C 0 25 10 20 12 10"
"""
STRIP = """[[mechanism]]
kind = "pull-strip"
id = "pull"
panel = "page.right"
at = [40, 150]
turn = 10
length = 80
width = 14
travel = 20
guides = [30, 60]
outline = [[0, -7], [80, -7], [80, 7], [40, 9], [0, 7]]
"""
WHEEL = """[[mechanism]]
kind = "wheel"
id = "disc"
panel = "page.left"
at = [-70, 120]
radius = 40
window = [[[5, 5], [25, 10], [20, 25]]]
"""
PLATFORM = """[[mechanism]]
kind = "platform"
id = "stage"
fold = "spine"
at = 40
length = 60
base = 8
height = 40
width = 50
"""
HILL = v_fold("hill", body="at = 60; angle = 45; height = 80; width = 80")
#: Scenes whose last mechanism, or the one named, stands on one side of what is the same on both.
ONE_SIDE = {
    "v-fold on a foot": (
        HILL + v_fold("bird", "hill.left", "at = 40; angle_left = 40; angle_right = 50; height = 20"),
        "bird",
    ),
    "nest on a foot": (
        HILL
        + v_fold("bird", "hill.left", "at = 40; angle = 40; height = 30")
        + cut_in(
            "beak", "bird.middle", "at = 8; length = 10; width_left = 4; width_right = 6; slit_end = [[-2, 1], [3, 2]]"
        )
        + rider_on("eye", "bird.right", 'at = [-8, 12]; size = [12, 8]; turn = 30; face = "back"'),
        "bird",
    ),
    "tent on a tab": (HILL + tent("bird", "hill.right", "at = 30; length = 30; base = 12; height = 15"), "bird"),
    "rider on a page": (
        rider_on("sun", "page.left", "at = [-70, 150]; outline = [[-9, -9], [40, 0], [0, 12]]; turn = 25"),
        "sun",
    ),
    "rider on a panel": (HILL + rider_on("sun", "hill.left", "at = [-40, 50]; size = [50, 20]; turn = -30"), "sun"),
    "rider on a cut-in": (
        cut_in("step") + rider_on("sun", "step.left", "at = [-9, 90]; size = [13, 15]; turn = 10"),
        "sun",
    ),
    "rider on a box's wall": (BOX + rider_on("sun", "box.left", "at = [150, 20]; size = [20, 12]; turn = 10"), "sun"),
    "rider on a box's end": (
        BOX + rider_on("sun", "box.end.left", "at = [100, 20]; size = [20, 12]; turn = 10"),
        "sun",
    ),
    "rider on a box's start": (BOX + rider_on("sun", "box.start.left", "at = [205, 20]; size = [20, 12]"), "sun"),
    "rider on a layer": (BOX + LAYER + rider_on("sun", "wall.left", "at = [-15, 20]; size = [9, 5]; turn = 8"), "sun"),
    "rider on an accordion": (
        ROW + rider_on("sun", "row.pleat1.right", "at = [45, 60]; size = [20, 12]; turn = 10"),
        "sun",
    ),
    "v-fold on a pleat": (
        ROW + v_fold("bird", "row.pleat3.middle", 'at = 40; angle = 50; height = 12; side = "mountain"'),
        "bird",
    ),
    "v-fold on a platform's leg": (
        PLATFORM + v_fold("bird", "stage.left.leg", "at = 20; angle = 50; height = 12"),
        "bird",
    ),
    "flap": (FLAP, "door"),
    "pull-strip": (STRIP, "pull"),
    "rider on a pull-strip": (
        STRIP + rider_on("sun", "pull.strip", "at = [70, 3]; size = [20, 12]; turn = 10"),
        "pull",
    ),
    "wheel": (WHEEL, "disc"),
    "strap to a page": (
        tent("roof")
        + """[[mechanism]]
kind = "strap"
id = "band"
from = "page.left"
from_at = [-90, 85]
to = "roof.left"
to_at = [-20, 25]
to_turn = -90
length = 12
widths = [45, 40]
tab_left = "outer"
"""
        + cut_in("notch", "band.c1", "at = 2; length = 7; width_left = 5; width_right = 6"),
        "band",
    ),
}


@pytest.mark.parametrize("name", ONE_SIDE)
def test_what_stands_on_one_side_gets_a_copy_on_the_other(name):
    body, root = ONE_SIDE[name]
    description = parse_description(HEAD + body)
    before = assemble(description)
    group = (root, *dependents(description, root))
    changed, ids = mirror(description, before, root)
    assert len(ids) == len(group)
    assert not set(ids) & {spec.id for spec in description.mechanisms}
    assert _sizes(description).items() <= _sizes(changed).items()
    _assert_mirrored(before, assemble(changed), set(group), set(ids))
    # The image of the image is the same as what it came from.
    third, back = mirror(changed, assemble(changed), ids[0])
    old, new = _sizes(description)[root], _sizes(third)[back[0]]
    assert old == new


def test_what_stands_on_an_image_finds_the_like_on_the_other_side():
    text = HEAD + HILL + v_fold("bird", "hill.left", "at = 40; angle_left = 40; angle_right = 45; height = 30")
    description = parse_description(text)
    description, (other,) = mirror(description, assemble(description), "bird")
    description = parse_description(description.text + rider_on("eye", "bird.right", "at = [-8, 12]; size = [12, 8]"))
    before = assemble(description)
    changed, ids = mirror(description, before, "eye")
    assert changed.mechanisms[-1].values["panel"] == f"{other}.right"
    _assert_mirrored(before, assemble(changed), {"eye"}, set(ids))


def test_a_strap_between_the_pages_runs_back_and_keeps_what_stands_on_it():
    description = read_description(next(file for file in FILES if file.stem == "strap"))
    changed, ids = mirror(description, assemble(description), "rainbow")
    assert ids == ("rainbow", "step")
    assert changed.text == description.text
    text = description.text.replace("widths = [46, 46]", "widths = [52, 40]").replace("[-32, 105]", "[-38, 105]")
    text = text.replace("[32, 105]", "[26, 105]").replace("width = 10", "width_left = 10\nwidth_right = 8")
    uneven = parse_description(text)
    before = assemble(uneven)
    changed, ids = mirror(uneven, before, "rainbow")
    _assert_mirrored(before, assemble(changed), set(ids), set(ids))


def test_nothing_like_its_host_on_the_other_side_is_said():
    text = HEAD + HILL + v_fold("bird", "hill.left", "at = 40; angle = 40; height = 30")
    description = parse_description(text + rider_on("eye", "bird.right", "at = [-8, 12]; size = [12, 8]"))
    with pytest.raises(HingeleafError, match=r"bird stands on one side.*mirror bird first"):
        mirror(description, assemble(description), "eye")


def test_comments_and_the_way_numbers_are_written_stay():
    text = HEAD + HILL.replace("angle = 45", "angle_left = 45.0 # steep\nangle_right = 50.123456789")
    description = parse_description(text)
    changed, _ = mirror(description, assemble(description), "hill")
    assert changed.text == text.replace("angle_left", "?").replace("angle_right", "angle_left").replace(
        "?", "angle_right"
    )


def _sizes(description):
    return {spec.id: {key: _rounded(value) for key, value in spec.values.items()} for spec in description.mechanisms}


def _rounded(value):
    if isinstance(value, (list, tuple)):
        return [_rounded(item) for item in value]
    if isinstance(value, str):
        return value.replace(",", " ") if not value.startswith(("M", "m")) else "path"
    return round(value, 4) + 0.0 if isinstance(value, float) else value
