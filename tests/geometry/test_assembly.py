"""Assembly: the order of building, what cannot be built, what pieces consist of, and random nests of all kinds."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geometry import DescriptionError, assemble, parse_description
from geometry.checks import run_checks
from geometry.poses import poses_data
from tests.geometry import judge
from tests.geometry.random_scenes import random_scene
from tests.geometry.scene_texts import BIG, HEAD, SCENES, cut_in, rider, rider_on, tent, v_fold
from tests.geometry.strap_texts import row


def built(body):
    return assemble(parse_description(HEAD + body))


def problems(body):
    with pytest.raises(DescriptionError) as caught:
        built(body)
    return caught.value.problems


# --- random nests ---------------------------------------------------------------------------------------------------


def stands_soundly(spread):
    """Whether no panel passes through its host, where angles would have to wrap round."""
    variables = spread.pose(np.radians(np.arange(0.0, 180.5, 0.5))).variables
    feet = np.stack([value for key, value in variables.items() if not key.startswith("spine")] or [np.zeros(1)])
    reached = feet[np.isfinite(feet)]
    return reached.min(initial=0.0) >= -1e-9 and reached.max(initial=0.0) <= np.pi + 1e-9


def judged(spread):
    """Everything that an independent judge finds wrong with the poses."""
    scene = judge.posed(poses_data(spread, np.arange(0.0, 181.0, 3.0)))
    wrong = []
    if judge.rigid_error(scene) > 1e-9:
        wrong.append("not rigid")
    for hinge in scene.hinges:
        if judge.hinge_gap(scene, hinge) > 1e-6:
            wrong.append(f"{hinge['id']} gapes")
        if hinge["kind"] != "glue":
            off = judge.turned_deg(judge.signed_dihedral_deg(scene, hinge), hinge["dihedral"])
            if off > 1e-5:
                wrong.append(f"{hinge['id']} is off by {off} degrees")
    codes = {finding.code for finding in run_checks(spread)}
    if "closes-flat" not in codes and not judge.largest_height(scene, 0) <= 1e-6:
        wrong.append("is said to close flat and does not")
    low, high = spread.reachable()
    if ("opens-fully" not in codes) != (high == np.pi) or ("closes-flat" not in codes and low != 0.0):
        wrong.append("is reached otherwise than the checks say")
    if stands_soundly(spread):
        for hinge in spread.hinges:
            fine = spread.pose(np.linspace(0.0, np.pi, 1801)).dihedral(hinge)
            if np.nanmax(np.abs(np.diff(fine)), initial=0.0) > 0.6:
                wrong.append(f"{hinge.id} jumps")
    return wrong


@pytest.mark.parametrize("batch", range(24))
def test_random_nests_stand_up_to_the_judge(batch):
    stood = 0
    for seed in range(25 * batch, 25 * batch + 25):
        try:
            spread = assemble(parse_description(random_scene(seed, most=5)))
        except DescriptionError:
            continue
        stood += 1
        assert judged(spread) == [], seed
    assert stood >= 5


# --- areas ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", SCENES)
def test_panels_of_a_piece_do_not_overlap_on_its_net(name):
    spread = assemble(parse_description(SCENES[name]))
    for piece in spread.pieces:
        outlines = [spread.panels[panel].outline for panel in piece.panels]
        assert all(outline.is_valid and outline.area > 0 for outline in outlines)
        assert shapely.union_all(outlines).area == pytest.approx(sum(item.area for item in outlines), abs=1e-6)


@pytest.mark.parametrize("name", [name for name in SCENES if '[[mechanism]]\nkind = "slit-cut-in"' in SCENES[name]])
def test_cut_ins_take_exactly_their_area_from_their_hosts(name):
    """The page before any cut, less windows, is what its panels are together after all cuts; so for other hosts."""
    text = SCENES[name]
    tables = text.split("[[mechanism]]")
    uncut = "[[mechanism]]".join(
        [tables[0], *(table for table in tables[1:] if "slit-cut-in" not in table and not _on_a_cut_in(table))]
    )
    before, after = assemble(parse_description(uncut)), assemble(parse_description(text))
    windows = 134.0 if "windows" in name else 0.0
    for piece in before.pieces:
        total = sum(before.panels[panel].outline.area for panel in piece.panels)
        now = after.piece(piece.id)
        left = sum(after.panels[panel].outline.area for panel in now.panels)
        assert len(now.panels) >= len(piece.panels)
        assert left == pytest.approx(total - (windows if piece.id == "page" else 0.0), abs=1e-4)
        same = shapely.union_all([before.panels[panel].outline for panel in piece.panels])
        gone = same.difference(shapely.union_all([after.panels[panel].outline for panel in now.panels], grid_size=1e-7))
        assert gone.area == pytest.approx(windows if piece.id == "page" else 0.0, abs=1e-3)


def _on_a_cut_in(table):
    names = ("step.", "beak.", "outer.", '"c.', '"d.', "sun")
    return any(name in line for line in table.splitlines() for name in names if line.startswith(("fold", "panel")))


# --- order and names -------------------------------------------------------------------------------------------------


def test_mechanisms_may_be_written_before_what_they_stand_on():
    bird = v_fold("bird", "hill.middle", "at = 40; angle = 40; height = 20")
    one, other = built(BIG + bird), built(bird + BIG)
    openings = np.radians([0.0, 60.0, 180.0])
    for panel in one.panels:
        assert np.array_equal(one.pose(openings).matrices[panel], other.pose(openings).matrices[panel])


def test_what_stands_on_itself_is_refused():
    found = problems(v_fold("a", "b.middle") + v_fold("b", "a.middle") + v_fold("c", "c.left"))
    assert [problem.place for problem in found] == ['v-fold "a", fold', 'v-fold "b", fold', 'v-fold "c", fold']
    assert all("stands on itself" in problem.message and problem.line for problem in found)


def test_all_that_cannot_be_built_is_told_at_once_and_what_stands_on_it_is_not():
    found = problems(
        v_fold("a", "spien")
        + v_fold("b", body="at = 500; angle = 45; height = 50")
        + v_fold("on_a", "a.middle")
        + cut_in("c", body="at = 60; length = 50; width = 200")
        + rider_on("d", "hill.left", "at = [0, 0]; size = [5, 5]")
    )
    assert [problem.place for problem in found] == [
        'v-fold "a", fold',
        'v-fold "b", at',
        'slit-cut-in "c", at',
        'rider "d", panel',
    ]
    assert "did you mean spine?" in found[0].message
    assert [problem.line for problem in found] == sorted(problem.line for problem in found)


def test_a_loop_that_does_not_close_is_told_with_its_mechanism_and_line():
    """Glue lines that run across both pages cannot stay parallel."""
    text = BIG + row("50, 50", "; from_turn = 0; to_turn = 0")
    (found,) = problems(text)
    assert found.place == 'strap "bridge"'
    assert found.line == (HEAD + text).splitlines().index('kind = "strap"')
    assert "close" in found.message or "cannot move" in found.message


def test_what_waits_to_be_moved_and_is_not_is_told_at_the_key_that_says_so():
    flap = '[[mechanism]]\nkind = "flap"\nid = "lid"\npanel = "page.right"\nat = [70, 100]\nlength = 30\nwidth = 20\n'
    text = flap + "driven = true\n"
    (found,) = problems(text)
    assert found.place == 'flap "lid", driven'
    assert found.message.startswith("lid is moved by nothing")
    assert found.line == (HEAD + text).splitlines().index("driven = true") + 1
    # What was to move it has a problem of its own, and only that is told.
    strip = (
        '[[mechanism]]\nkind = "pull-strip"\nid = "pull"\npanel = "page.rihgt"\nat = [60, 100]\n'
        'length = 60\nwidth = 10\ntravel = 20\nguides = [40]\ndrives = "lid"\nlink_at = 20\nlink_reach = 10\n'
    )
    assert [item.place for item in problems(text + strip)] == ['pull-strip "pull", panel']


def test_the_file_is_named_in_front_of_its_problems():
    description = parse_description(HEAD + v_fold("a", "spien"), source="two hills.toml")
    with pytest.raises(DescriptionError, match=r"^two hills\.toml: 1 problem") as caught:
        assemble(description)
    assert caught.value.source == "two hills.toml"


def test_the_spread_takes_over_what_the_description_says_of_its_pages(tmp_path):
    """None of it has its default, so that nothing can be forgotten."""
    text = (
        'format = 1\ntitle = "Two hills"\n[page]\nsize = [120, 170]\nmargin = 7\nstock = "board"\n'
        'art_front = "front.png"\nart_back = "back.png"\ncolor_front = "#102030"\ncolor_back = "#a0b0c0"\n'
        "[stock.board]\ngrammage = 300\ncaliper = 0.42\n[checks]\ntab_width = 6.5\n"
    )
    description = parse_description(text, folder=tmp_path)
    spread = assemble(description)
    assert (spread.title, spread.page_size_mm, spread.margin_mm) == ("Two hills", (120.0, 170.0), 7.0)
    assert spread.limits.tab_width == 6.5
    (page,) = spread.pieces
    assert (page.id, page.panels) == ("page", ("page.right", "page.left"))
    assert (page.stock.id, page.stock.caliper_mm) == ("board", 0.42)
    assert (page.art_front, page.art_back) == (str(tmp_path / "front.png"), str(tmp_path / "back.png"))
    for color, wanted in ((page.color_front, "102030"), (page.color_back, "a0b0c0")):
        assert [round(255 * part) for part in color] == list(bytes.fromhex(wanted))


def test_the_pages_lie_on_either_side_of_the_spine_and_turn_about_it():
    spread = built("")
    assert spread.panels["page.right"].outline.bounds == (0.0, 0.0, 148.0, 210.0)
    assert spread.panels["page.left"].outline.bounds == (-148.0, 0.0, 0.0, 210.0)
    assert {panel.role for panel in spread.panels.values()} == {"page"}
    (spine,) = spread.hinges
    assert spine.kind == "spine"
    assert spine.lines.tolist() == [[[0.0, 0.0], [0.0, 210.0]]] * 2
    scene = judge.posed(poses_data(spread, [0.0, 90.0, 180.0]))
    right, left = scene.world("page.right", [[148.0, 30.0]])[:, 0], scene.world("page.left", [[-148.0, 30.0]])[:, 0]
    # The right page lies still; the left one comes over from lying open, at 90 degrees straight up.
    assert right == pytest.approx(np.tile([148.0, 30.0, 0.0], (3, 1)))
    assert left == pytest.approx(np.array([[148.0, 30.0, 0.0], [0.0, 30.0, 148.0], [-148.0, 30.0, 0.0]]))


def test_either_side_of_the_spine_can_be_built_on_from_foot_to_head():
    folds = built("").folds
    assert set(folds) == {("spine", "valley"), ("spine", "mountain")}
    openings = np.radians([0.0, 60.0, 180.0])
    for fold in folds.values():
        assert (fold.left.panel, fold.right.panel) == ("page.left", "page.right")
        assert (fold.start, fold.end) == (0.0, 210.0)
        assert fold.left.point(30.0) == pytest.approx([0.0, 30.0])
        assert fold.right.point(30.0) == pytest.approx([0.0, 30.0])
    inside, outside = folds["spine", "valley"], folds["spine", "mountain"]
    assert (inside.handed, outside.handed) == (1.0, -1.0)
    assert inside.dihedral.of({"spine": openings}) == pytest.approx(openings)
    assert outside.dihedral.of({"spine": openings}) == pytest.approx(2 * np.pi - openings)


def test_the_pieces_are_the_page_card_and_one_a_glued_mechanism():
    spread = built(
        BIG
        + cut_in("step", "hill.middle", "at = 20; length = 40; width = 20")
        + rider("arch", "spine", "at = [0, 20]; size = [20, 9]")
    )
    assert {piece.id: piece.panels for piece in spread.pieces} == {
        "page": ("page.right", "page.left"),
        "hill": ("hill.left", "hill.right", "hill.left.tab", "hill.right.tab", "step.left", "step.right"),
        "arch": ("arch.left", "arch.right"),
    }
    roles = {panel.id: panel.role for panel in spread.panels.values()}
    assert roles["hill.left.tab"] == "tab"
    assert roles["step.left"] == "strip"
    assert roles["arch.left"] == "rider"
    assert next(iter(spread.panels)) == "page.right"


def test_parents_come_before_children():
    for text in SCENES.values():
        seen = set()
        for panel in assemble(parse_description(text)).panels.values():
            assert panel.parent is None or panel.parent in seen
            seen.add(panel.id)


def test_a_piece_that_overlaps_itself_on_its_net_is_refused():
    found = problems(
        v_fold("hill", body="at = 60; angle = 45; height = 50; edge_left = [[-10, 55], [-20, 30], [-30, 60], [20, 60]]")
    )
    assert [problem.place for problem in found] == ['v-fold "hill"']
    assert "overlaps itself on its net" in found[0].message
    assert found[0].line == HEAD.count("\n") + 1


def test_a_fold_that_is_cut_away_altogether_is_refused_with_the_mechanism_named():
    found = problems(cut_in("all", body='at = 60; length = 50; width = 20; slit_start = "edge"; slit_end = "edge"'))
    assert len(found) == 1
    assert "cut away altogether" in found[0].message
    assert found[0].place == 'slit-cut-in "all", length'


def test_of_several_cut_ins_the_one_that_cuts_a_fold_away_is_named():
    text = cut_in("step") + cut_in(
        "all", "step.middle", 'at = 0; length = 50; width = 5; slit_start = "edge"; slit_end = "edge"'
    )
    (found,) = problems(text)
    assert found.place == 'slit-cut-in "all", length'
    assert found.message.startswith("step.middle has been cut away altogether")
    lengths = [number for number, row in enumerate((HEAD + text).splitlines(), 1) if row.startswith("length")]
    assert found.line == lengths[1]


@pytest.mark.parametrize("tab", ["inner", "outer"])
def test_a_foot_that_is_cut_away_with_its_tab_is_told_once(tab):
    """Its crease, the gluing of the panel and that of the tab are three hinges, but one mistake."""
    roof = tent("roof", body=f'at = 60; length = 50; base = 30; height = 40; tab = "{tab}"')
    body = 'at = 0; length = 50; width = 5; slit_start = "edge"; slit_end = "edge"'
    (found,) = problems(roof + cut_in("all", "roof.left", body))
    assert found.place == 'slit-cut-in "all", length'
    assert found.message == "roof.left has been cut away altogether; leave some of it"
    assert found.line


def test_a_crease_broken_by_a_cut_is_two_hinges():
    spread = built(cut_in("step"))
    spine = [hinge for hinge in spread.hinges if hinge.kind == "spine"]
    assert [hinge.id for hinge in spine] == ["spine", "spine#2"]
    assert [np.round(hinge.lines[0][:, 1], 6).tolist() for hinge in spine] == [[0.0, 60.0], [110.0, 210.0]]


def test_what_is_glued_does_not_depend_on_the_order_in_which_it_is_written():
    """A rider half over a strip is glued on what is left of the page, whether it is written before or after the cut."""
    step, patch = cut_in("step"), rider_on("patch", "page.right", "at = [20, 85]; size = [30, 20]")
    areas = [built(text).glue_areas for text in (step + patch, patch + step)]
    assert sum(area.outline.area for area in areas[0]) == pytest.approx(sum(area.outline.area for area in areas[1]))


def test_an_empty_spread_is_two_pages():
    spread = built("")
    assert list(spread.panels) == ["page.right", "page.left"]
    assert [hinge.id for hinge in spread.hinges] == ["spine"]
    assert spread.reachable() == (0.0, np.pi)
    assert run_checks(spread) == ()


def test_mountain_and_valley_are_those_seen_from_the_printed_face():
    spread = built(BIG + cut_in("step", body="at = 150; length = 20; width = 20"))
    classes = {hinge.id: spread.crease_class(hinge) for hinge in spread.hinges if hinge.kind != "glue"}
    # The page's printed face is inside: its spine and the strip's hinges are valleys, the strip's ridge a mountain.
    assert classes["spine"] == classes["step.left"] == classes["step.right"] == "valley"
    assert classes["step.middle"] == "mountain"
    # A v-fold's outer face is printed, and its crease points away from the reader of that face.
    assert classes["hill.middle"] == "mountain"
    assert classes["hill.left"] == classes["hill.right"] == "mountain"
    inner = built(BIG.replace("width = 80", 'width = 80\nprinted = "inner"\ntab = "outer"'))
    classes = {hinge.id: inner.crease_class(hinge) for hinge in inner.hinges if hinge.kind != "glue"}
    assert classes["hill.middle"] == "valley"
    assert classes["hill.left"] == "mountain"


def test_a_tent_stands_where_it_says():
    spread = built(tent("tent"))
    corners = judge.posed(poses_data(spread, [180.0])).corners("tent.right")[0]
    assert corners[:, 1].min() == pytest.approx(60.0)
    assert corners[:, 1].max() == pytest.approx(110.0)
    # Base 30, side 40: the ridge is at the height of a right triangle above the spine.
    assert corners[:, 2].max() == pytest.approx(np.sqrt(40.0**2 - 30.0**2))
    assert corners[:, 0].max() == pytest.approx(30.0)
