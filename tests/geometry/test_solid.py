"""Solid: the folded model lands on its mesh, stands where it is put, and the checks say what it does to the book."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import shapely

from geometry import DescriptionError, assemble, parse_description, read_description
from geometry.booklet import assembly_steps
from geometry.checks import CHECKS, run_checks
from geometry.mechanisms.solid import MOST_FACETS
from geometry.nets import draw_piece, lay_out
from geometry.poses import poses_data
from geometry.specification import specification
from geometry.transforms import apply
from tests.geometry import judge
from tests.geometry.scene_texts import ROOT, v_fold

PAGE = "format = 1\n[page]\nsize = [100, 140]\n[stock.card]\ncaliper = 0.3\n"
HOUSE = ROOT / "scenes" / "solid.toml"
#: A block of 20 x 30 x 24 mm, its lowest corner in the origin.
CORNERS = np.array([[x, y, z] for x in (0.0, 20.0) for y in (0.0, 30.0) for z in (0.0, 24.0)])
QUADS = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]]
BOTTOM = QUADS[4]


def obj(vertices, faces):
    rows = ["v {:.9g} {:.9g} {:.9g}".format(*vertex) for vertex in vertices]
    return "\n".join([*rows, *("f " + " ".join(str(corner + 1) for corner in face) for face in faces), ""])


def tower(sides, rows):
    """A round tower of triangles, closed below and above; every other ring is turned by half a side."""
    vertices = []
    for row, z in enumerate(np.linspace(0.0, 60.0, rows + 1)):
        turns = 2 * np.pi * (np.arange(sides) + row % 2 / 2) / sides
        radius = 14 + 4 * np.sin(z / 9)
        vertices += [(radius * np.cos(turn), radius * np.sin(turn), z) for turn in turns]
    faces = [list(range(sides))[::-1], [rows * sides + k for k in range(sides)]]
    for row in range(rows):
        for k in range(sides):
            a, b = row * sides + k, row * sides + (k + 1) % sides
            low, high = (b + sides, a) if row % 2 else (a + sides, b + sides)
            faces += [[a, b, low], [high, b + sides, a + sides]] if row % 2 else [[a, b, low], [b, high, low]]
    return obj(vertices, faces)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "block.obj").write_text(obj(CORNERS, QUADS))
    (tmp_path / "open.obj").write_text(obj(CORNERS, [face for face in QUADS if face is not BOTTOM]))
    return tmp_path


def solid(body="at = [60, 70]", model="block.obj", panel="page.right", name="block"):
    items = "\n".join(item.strip() for item in body.split(";"))
    return f'[[mechanism]]\nkind = "solid"\nid = "{name}"\nmodel = "{model}"\npanel = "{panel}"\n{items}\n'


def built(folder, *tables):
    return assemble(parse_description(PAGE + "".join(tables), folder=folder))


def problem(folder, text):
    with pytest.raises(DescriptionError) as caught:
        built(folder, text)
    (found,) = caught.value.problems
    return found


def corners(spread, opening, which="block", tabs=False):
    """Places of its corners in space, (n, 3) float, mm."""
    matrices = spread.pose(np.radians([opening])).matrices
    (own,) = (each for each in spread.solids if each.id == which)
    names = own.tabs if tabs else own.facets
    return np.concatenate([apply(matrices[n][0], np.asarray(spread.panels[n].outline.exterior.coords)) for n in names])


def nearest(points, others):
    return np.sqrt(((points[:, None] - others[None]) ** 2).sum(axis=2)).min(axis=1)


@pytest.mark.parametrize("turn", [0, 33, 90, -140])
@pytest.mark.parametrize("face", ["front", "back"])
def test_its_corners_are_those_of_the_mesh_where_it_is_put(folder, turn, face):
    spread = built(folder, solid(f'at = [60, 70]; turn = {turn}; face = "{face}"'))
    way = np.radians(turn)
    # By hand: its foot's middle goes to the place; on the back it stands the other way up, its y axis kept.
    place = CORNERS - [10.0, 15.0, 0.0]
    flip = 1.0 if face == "front" else -1.0
    right, up = flip * np.array([np.cos(way), np.sin(way)]), np.array([-np.sin(way), np.cos(way)])
    wanted = np.column_stack([place[:, :1] * right + place[:, 1:2] * up + [60, 70], flip * place[:, 2]])
    found = corners(spread, 180.0)
    assert nearest(found, wanted).max() < 1e-9
    assert nearest(wanted, found).max() < 1e-9


@pytest.mark.parametrize(
    ("up", "seen"), [("z", (20, 30, 24)), ("-z", (20, 30, 24)), ("y", (20, 24, 30)), ("-y", (20, 24, 30)),
                     ("x", (30, 24, 20)), ("-x", (30, 24, 20))]
)  # fmt: skip
def test_any_direction_of_the_model_can_look_up(folder, up, seen):
    spread = built(folder, solid(f'at = [60, 70]; up = "{up}"'))
    assert np.ptp(corners(spread, 180.0), axis=0) == pytest.approx(seen)
    # Turned, never mirrored: its facets look outwards, so the foot looks down.
    assert spread.pose([np.pi]).matrices["block.foot"][0][2, 2] == pytest.approx(-1.0)
    assert spread.solids[0].height_mm == pytest.approx(seen[2])


@pytest.mark.parametrize(("key", "factor"), [("height = 36", 1.5), ("scale = 0.5", 0.5)])
def test_it_is_made_as_high_as_asked(folder, key, factor):
    spread = built(folder, solid(f"at = [60, 70]; {key}"))
    assert np.ptp(corners(spread, 180.0), axis=0) == pytest.approx(factor * np.array([20, 30, 24]))


@pytest.mark.parametrize("text", ["", 'foot = "outward"', 'foot = "inward"', "edge_to_edge = true"])
def test_panels_stay_rigid_and_hinges_together_at_every_opening(folder, text):
    wall = v_fold("wall", body="at = 20; angle = 50; height = 40")
    spread = built(folder, wall, solid(f"at = [-60, 100]; {text}", panel="page.left"))
    data = poses_data(spread, np.arange(0.0, 181.0, 15.0))
    scene = judge.posed(data)
    for name, matrices in scene.matrices.items():
        assert np.abs(matrices[:, :3, :3] @ matrices[:, :3, :3].transpose(0, 2, 1) - np.eye(3)).max() < 1e-12, name
    creases = [hinge for hinge in data["hinges"] if hinge["id"].startswith("block")]
    assert len(creases) >= 5
    for hinge in creases:
        ends = [
            scene.matrices[panel] @ np.column_stack([np.array(line), np.zeros(2), np.ones(2)]).T
            for panel, line in zip(hinge["panels"], hinge["line"], strict=True)
        ]
        assert np.abs(ends[0] - ends[1]).max() < 1e-9
        normals = [scene.matrices[panel][0][:3, 2] for panel in hinge["panels"]]
        # Every crease of a block is a right angle.
        assert abs(normals[0] @ normals[1]) < 1e-9
    # Mountains, all but the four at which a foot is folded out.
    angles = Counter(round(angle, 6) for hinge in creases for angle in set(hinge["dihedral_deg"]))
    assert angles == Counter({270.0: len(creases) - 4, 90.0: 4} if "outward" in text else {270.0: len(creases)})


def test_it_moves_with_its_panel(folder):
    wall = v_fold("wall", body="at = 20; angle = 50; height = 60; width = 60")
    spread = built(folder, wall, solid('at = [-30, 30]; height = 8; face = "front"', panel="wall.left"))
    motion = spread.pose(np.radians(np.arange(0.0, 181.0, 10.0)))
    host = motion.matrices["wall.left"]
    for name in spread.solids[0].panels:
        fixed = np.linalg.inv(host) @ motion.matrices[name]
        assert np.abs(fixed - fixed[0]).max() < 1e-10


def test_a_tab_lies_behind_the_facet_beyond_its_cut(folder):
    spread = built(folder, solid())
    (block,) = spread.solids
    areas = {area.glued: area for area in spread.glue_areas}
    motion = spread.pose([np.pi]).matrices
    assert len(block.tabs) == 7  # Of 12 edges of a block in one net 5 are folds.
    for tab in block.tabs:
        area = areas[tab]
        assert (area.face, spread.panels[tab].role) == ("back", "tab")
        assert area.outline.difference(spread.panels[area.host].outline.buffer(1e-9)).is_empty
        # In one plane, both with the printed face outside.
        assert motion[tab][0][:3, 2] == pytest.approx(motion[area.host][0][:3, 2], abs=1e-12)
    # No two tabs lie over each other behind one facet.
    for one in block.tabs:
        for two in block.tabs:
            if one < two and areas[one].host == areas[two].host:
                assert areas[one].outline.intersection(areas[two].outline).area < 1e-6


@pytest.mark.parametrize("way", ["inward", "outward"])
@pytest.mark.parametrize("model", ["block.obj", "open.obj"])
def test_a_foot_of_tabs_along_an_open_rim(folder, way, model):
    spread = built(folder, solid(f'at = [60, 70]; foot = "{way}"; foot_width = 5', model=model))
    (block,) = spread.solids
    assert len(block.foot) == 4
    assert len(block.facets) == 9  # Five walls and four tabs: no bottom.
    matrices = spread.pose([np.pi]).matrices
    rim = shapely.box(50, 55, 70, 85)
    outlines = [
        shapely.Polygon(apply(matrices[name][0], np.asarray(spread.panels[name].outline.exterior.coords))[:, :2])
        for name in block.foot
    ]
    for name, outline in zip(block.foot, outlines, strict=True):
        assert apply(matrices[name][0], np.asarray(spread.panels[name].outline.exterior.coords))[:, 2].max() < 1e-9
        assert outline.intersection(rim).area == pytest.approx(outline.area if way == "inward" else 0.0, abs=1e-9)
        # It reaches as far as asked for, and hangs on the rim with all but its cut-back corners.
        assert outline.hausdorff_distance(outline.intersection(rim.boundary)) >= 5 - 1e-9
        # Folded in it is glued with its printed face, folded out with its back.
        assert matrices[name][0][2, 2] == pytest.approx(-1.0 if way == "inward" else 1.0)
    assert sum(item.area for item in outlines) == pytest.approx(shapely.union_all(outlines).area)
    assert {area.glued for area in spread.glue_areas if area.host == "page.right"} == set(block.foot)


def test_the_house_of_the_scene():
    spread = assemble(read_description(HOUSE))
    (house,) = spread.solids
    # Two long walls, two gables, two slopes, a floor, four sides of the chimney and its top.
    assert len(house.facets) == 12
    assert sum(len(spread.panels[name].outline.interiors) for name in house.facets) == 1
    # Its surface, by hand: walls, gables, slopes, floor, the chimney's walls and top less the hole that it stands in.
    slant = np.hypot(15.0, 14.0)
    chimney = 2 * 7 * 41 - 7 * ((34 - 14 * 4 / 15) + (34 - 14 * 11 / 15)) + 2 * 7 * (41 - (34 - 14 * 7.5 / 15))
    surface = 2 * 44 * 20 + 2 * (30 * 20 + 15 * 14) + 2 * 44 * slant - 49 * slant / 15 + 30 * 44 + chimney + 49
    assert sum(spread.panels[name].outline.area for name in house.facets) == pytest.approx(surface, rel=1e-9)
    kinds = Counter(spread.crease_class(hinge) for hinge in spread.hinges if hinge.id.startswith("house"))
    # The chimney meets the slope in four valleys; they are cuts or creases, with a tab or without.
    assert kinds["mountain"] > kinds["valley"]
    findings = run_checks(spread)
    assert {item.code for item in findings if item.code.startswith("solid")} == {"solid-stands"}
    assert {item.severity for item in findings} == {"note"}


@pytest.mark.parametrize("at", [(40.0, 70.0), (60.0, 70.0), (85.0, 70.0)])
def test_the_opening_at_which_the_page_touches_it(folder, at):
    spread = built(folder, solid(f"at = [{at[0]}, {at[1]}]"))
    (finding,) = CHECKS["solid-stands"](spread)
    assert (finding.severity, finding.panel, finding.other) == ("error", "block.foot", "page.left")
    assert finding.measure == pytest.approx(24.0)
    # The turning page, a plane through the spine, meets the edge that is nearest to the spine, where it is high enough.
    near = np.degrees(np.arctan2(24.0, at[0] - 10.0))
    assert finding.opening_deg == pytest.approx(near, abs=0.1)
    assert finding.opening_deg <= near
    assert finding.remedy


def test_a_page_too_short_to_reach_it_is_no_contact(folder):
    # On the outside of the page nothing comes near it.
    spread = built(folder, solid('at = [60, 70]; face = "back"'))
    (finding,) = CHECKS["solid-stands"](spread)
    assert (finding.severity, finding.opening_deg, finding.other) == ("warning", None, None)


def test_loose_is_a_note_and_the_only_finding(folder):
    (finding,) = CHECKS["solid-stands"](built(folder, solid("at = [60, 70]; loose = true")))
    assert finding.severity == "note"
    assert "take it off before the book is shut below 25.6 degrees" in finding.message
    assert finding.remedy is None


def test_another_mechanism_may_touch_it_first(folder):
    wall = v_fold("wall", body="at = 60; angle = 50; height = 50; width = 60")
    spread = built(folder, wall, solid("at = [70, 60]; height = 40"))
    (finding,) = CHECKS["solid-stands"](spread)
    assert finding.other == "wall.right"
    # By brute force: the widest opening of many at which a facet and the wall really cross.
    alone = built(folder, solid("at = [70, 60]; height = 40"))
    assert finding.opening_deg > CHECKS["solid-stands"](alone)[0].opening_deg + 5


def test_solids_on_one_panel_that_are_in_each_other(folder):
    two = solid("at = [60, 70]"), solid("at = [66, 80]; turn = 20", name="other")
    findings = CHECKS["solid-collides"](built(folder, *two))
    assert [(item.panel.split(".")[0], item.other.split(".")[0]) for item in findings] == [("block", "other")]
    apart = solid("at = [60, 30]"), solid("at = [60, 100]", name="other")
    assert CHECKS["solid-collides"](built(folder, *apart)) == []


def test_a_flap_that_a_hand_turns_into_it(folder):
    def found(x):
        door = '[[mechanism]]\nkind = "flap"\nid = "door"\npanel = "page.right"\nturn = 180\nlength = 16\nwidth = 22\n'
        return CHECKS["hand-collides"](built(folder, f"{door}at = [{x}, 70]\n", solid("at = [72, 70]")))

    # The block's wall is 62 mm from the spine: a flap 22 mm wide, hinged 24 mm before it, opens clear of it.
    assert found(38) == []
    (finding,) = found(50)
    assert (finding.severity, finding.panel, finding.other) == ("error", "block.foot", "door.flap")
    # Hinged 12 mm before it, it meets the wall at 180 - acos(12 / 22) = 123.1 degrees; tried every 5.
    assert "moved from 125.0 to 175.0 deg at an opening of 180 degrees" in finding.message


def test_the_checks_of_what_folds_see_its_foot_alone(folder):
    bare, full = built(folder), built(folder, solid())
    assert full.folding.panels.keys() - bare.panels.keys() == {"block.foot"}
    assert bare.folding is bare
    for code, check in CHECKS.items():
        if not code.startswith("solid"):
            assert [item for item in check(full) if item.severity != "note"] == [], code
    beyond = built(folder, solid("at = [95, 70]"))
    (finding,) = [item for item in CHECKS["stays-inside"](beyond) if item.opening_deg == 0.0]
    assert (finding.panel, finding.measure) == ("block.foot", pytest.approx(5.0))


def test_a_solid_that_leans_out_over_the_edge_of_the_page(folder):
    funnel = np.array(CORNERS) - [10, 15, 0]
    funnel[funnel[:, 2] > 1] *= [3, 1, 1]
    (folder / "funnel.obj").write_text(obj(funnel, QUADS))
    spread = built(folder, solid("at = [85, 70]", model="funnel.obj"))
    (finding,) = CHECKS["stays-inside"](spread)
    # Its rim reaches 30 mm to either side of its middle.
    assert (finding.severity, finding.measure) == ("warning", pytest.approx(15.0))


def test_nothing_is_built_on_it(folder):
    rider = '[[mechanism]]\nkind = "rider"\nid = "sun"\npanel = "block.f1"\nat = [0, 0]\nsize = [4, 4]\n'
    found = problem(folder, solid() + rider)
    assert "belongs to the solid block, on which nothing is built" in found.message


@pytest.mark.parametrize(
    ("body", "model", "says"),
    [
        ("at = [60, 70]; height = 20; scale = 2", "block.obj", "beside scale"),
        ("at = [60, 70]", "gone.obj", "cannot be read"),
        ("at = [60, 70]", "block.txt", "not of a kind that can be read"),
        ('at = [60, 70]; foot = "flat"', "open.obj", "no flat facet at its bottom"),
        ("at = [600, 70]", "block.obj", "lies wholly beside page.right"),
        ("at = [60, 70]; room = [0, 10]", "block.obj", "must be above 0"),
        ("at = [60, 70]; height = 20", "sheet.obj", "is flat"),
        ("at = [60, 70]", "spike.obj", "at no facet and with no rim"),
        ('at = [60, 70]; foot = "inward"; scale = 0.2', "block.obj", "leaves no room for tabs"),
        ("at = [60, 70]", "nothing.obj", "nothing.obj"),
        ("at = [60, 70]; art_front = \"sky.png\"", "block.obj", "is that of its model"),
    ],
)  # fmt: skip
def test_what_cannot_be_built_is_said_in_one_sentence(folder, body, model, says):
    (folder / "block.txt").write_text("v 0 0 0\n")
    (folder / "sheet.obj").write_text(obj([[0, 0, 0], [9, 0, 0], [9, 9, 0]], [[0, 1, 2]]))
    (folder / "nothing.obj").write_text("# nothing\n")
    spike = [[0, 0, 0], [9, 0, 20], [0, 9, 20], [-9, -9, 20]]
    (folder / "spike.obj").write_text(obj(spike, [[0, 2, 1], [0, 3, 2], [0, 1, 3], [1, 2, 3]]))
    found = problem(folder, solid(body, model=model))
    assert says in found.message
    assert "\n" not in found.message


def test_too_many_facets_are_refused_with_what_would_help(folder):
    (folder / "tower.obj").write_text(tower(24, 13))
    found = problem(folder, solid(model="tower.obj"))
    assert f"at most {MOST_FACETS}" in found.message
    assert "626" in found.message


def test_three_hundred_facets_make_one_finding_each(folder):
    (folder / "tower.obj").write_text(tower(15, 10))
    spread = built(folder, v_fold("wall", body="at = 90; angle = 50; height = 40"), solid(model="tower.obj"))
    assert len(spread.solids[0].facets) == 302
    own = [item for item in run_checks(spread) if item.panel in spread.solids[0].panels]
    assert max(Counter(item.code for item in own).values()) == 1


def test_the_nets_hold_its_pieces_with_the_marks_of_its_foot():
    spread = assemble(read_description(HOUSE))
    (house,) = spread.solids
    assert {piece.id for piece in spread.pieces} == {"page", "dune", *house.pieces}
    for name in house.pieces:
        drawing = draw_piece(spread, name)
        assert drawing.piece == spread.piece(name)
        own = shapely.union_all([spread.panels[panel].outline for panel in spread.piece(name).panels], grid_size=1e-6)
        assert drawing.card.symmetric_difference(own).area < 1e-3
        creases = [line for line in drawing.lines if line.line_class in ("mountain", "valley")]
        assert sum(line.length_mm for line in creases) == pytest.approx(
            sum(np.hypot(*(hinge.lines[0][1] - hinge.lines[0][0])) for hinge in spread.creases(name)), rel=1e-6
        )
    with_foot = draw_piece(spread, spread.panels["house.foot"].piece)
    assert [line.panel for line in with_foot.lines if line.glued == "house.foot"] == ["house.foot"]
    assert "house foot" in {text.text for text in with_foot.texts}
    page = draw_piece(spread, "page")
    assert [line.panel for line in page.lines if line.glued == "house.foot"] == ["page.right"]


def test_the_figures_count_it():
    spread = assemble(read_description(HOUSE))
    bare = assemble(parse_description(HOUSE.read_text().split('[[mechanism]]\nkind = "solid"')[0]))
    (house,) = spread.solids
    more, less = specification(spread), specification(bare)
    assert len(more.pieces) - len(less.pieces) == len(house.pieces)
    assert more.glue_points - less.glue_points == len(house.joins) + len(house.foot)
    grams = sum(spread.panels[name].outline.area for name in house.panels) * 250 / 1e6
    assert more.weight_g - less.weight_g == pytest.approx(grams, rel=1e-3)
    # Closed, nothing of it is there but its foot.
    assert more.gusset_mm == pytest.approx(less.gusset_mm)


@pytest.mark.parametrize("loose", [True, False])
def test_the_booklet_puts_it_on_when_all_else_is_pressed_and_tried(folder, loose):
    wall = v_fold("wall", body="at = 90; angle = 50; height = 40")
    spread = built(folder, solid(f"at = [60, 40]; loose = {str(loose).lower()}"), wall)
    sheets, _ = lay_out(spread.title, [draw_piece(spread, piece.id) for piece in spread.pieces])
    steps = assembly_steps(spread, sheets)
    tried = next(step.number for step in steps if step.kind == "check")
    about = [step for step in steps if any(name.startswith("block") for name in step.pieces) and step.kind != "cut out"]
    assert [step.number for step in about] == [tried + 1, tried + 2, tried + 3]
    assert [step.kind for step in about] == ["crease", "glue", "glue"]
    assert {area.glued for step in about for area in step.glue} == {"block.foot", *spread.solids[0].tabs}
    last = about[-1]
    assert last.title == ("Stand “block” on the right page" if loose else "Glue “block” on the right page")
    assert ("Take “block” off" if loose else "from here on the book does not shut") in last.cautions[0]
    # Before it stands there no picture shows it.
    assert not any(step.panels & spread.solids[0].panels for step in steps[:tried])


def test_the_model_must_lie_beside_the_description(folder):
    found = problem(folder, solid(model=str(Path("..") / "block.obj")))
    assert "must be a file beside the description" in found.message
