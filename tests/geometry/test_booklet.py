"""The order of assembly: what stands before what, everything once, nothing claimed that is not so."""

from collections import Counter
from functools import cache

import numpy as np
import pytest

from geometry import HingeleafError, assemble, parse_description, read_description
from geometry.booklet import SpreadPicture, assembly_steps
from geometry.booklet.joints import assemblies
from geometry.booklet.states import lying
from geometry.booklet.view import contact_face
from geometry.nets import draw_piece, lay_out
from tests.geometry.random_scenes import random_scene
from tests.geometry.scene_texts import FILES, HEAD, ROOT, cut_in, tent, v_fold


def random_spread(seed):
    try:
        spread = assemble(parse_description(random_scene(seed, 6)))
    except HingeleafError:
        return None
    return spread if np.isfinite(spread.reachable()).all() else None


@cache
def random_spreads():
    found = {seed: random_spread(seed) for seed in range(40)}
    return {seed: spread for seed, spread in found.items() if spread is not None}


@cache
def planned(name):
    if isinstance(name, int):
        spread = random_spreads()[name]
    else:
        spread = assemble(read_description(name))
    sheets, _ = lay_out(spread.title, [draw_piece(spread, piece.id) for piece in spread.pieces])
    return spread, assembly_steps(spread, sheets)


NAMES = [*FILES, *sorted(random_spreads())[:12]]
every_scene = pytest.mark.parametrize("name", NAMES, ids=lambda name: str(getattr(name, "stem", name)))


def scene(stem):
    return planned(next(path for path in FILES if path.stem == stem))


def mechanism(spread, panel):
    return spread.panels[panel].piece.split(".")[0]


def test_there_are_random_scenes():
    assert len(random_spreads()) >= 12


@every_scene
def test_each_place_is_glued_once_and_hosts_stand_first(name):
    spread, steps = planned(name)
    made = {}
    for step in steps:
        for area in step.glue:
            assert id(area) not in made
            made[id(area)] = step.number
    assert set(made) == {id(area) for area in spread.glue_areas}
    # A host of another mechanism has been glued in at every one of its own places.
    for area in spread.glue_areas:
        host = mechanism(spread, area.host)
        if host == mechanism(spread, area.glued):
            continue
        ready = [made[id(each)] for each in spread.glue_areas if mechanism(spread, each.glued) == host]
        assert max(ready, default=0) < made[id(area)]


@every_scene
def test_each_piece_is_cut_out_once_and_folded_once_before_it_is_glued(name):
    spread, steps = planned(name)
    cut = Counter(piece for step in steps if step.kind == "cut out" for piece in step.pieces)
    assert cut == Counter(piece.id for piece in spread.pieces)
    creased = Counter(crease for step in steps for crease in step.creases)
    assert creased == Counter(
        {hinge.id.split("#")[0]: 1 for piece in spread.pieces for hinge in spread.creases(piece.id)}
    )
    strips = {name for name, panel in spread.panels.items() if panel.role == "strip"}
    for piece in spread.pieces:
        own = [hinge for hinge in spread.creases(piece.id) if not set(hinge.panels) & strips]
        folds = [step.number for step in steps if step.kind == "crease" and piece.id in step.pieces]
        assert len(folds) == bool(own)
        glued = [step.number for step in steps for area in step.glue if spread.panels[area.glued].piece == piece.id]
        assert max(folds, default=0) < min(glued, default=len(steps) + 1)
        assert min(step.number for step in steps if piece.id in step.pieces) <= min(folds, default=len(steps))


@every_scene
def test_each_cut_in_is_pushed_through_once_after_what_it_is_cut_in(name):
    spread, steps = planned(name)
    wanted = {panel.split(".")[0] for panel in spread.panels if spread.panels[panel].role == "strip"}
    pushed = {
        crease.split(".")[0]: step.number
        for step in steps
        if step.kind == "cut-in"
        for crease in step.creases
        if crease.endswith(".middle")
    }
    assert set(pushed) == wanted
    assert sum(step.kind == "cut-in" for step in steps) == len(wanted)
    hosts = {cell.id: cell.fold.split(".")[0] for cell in spread.cells}
    for cut, number in pushed.items():
        assert pushed.get(hosts[cut], 0) < number


@every_scene
def test_pictures_show_nothing_before_its_time(name):
    spread, steps = planned(name)
    there = {"page"}
    for step in steps[:-1]:
        new = {piece for each in step.pieces for piece in (each,)}
        new |= {spread.panels[area.host].piece for area in step.glue}
        owners = {piece.split(".")[0] for piece in new}
        shown = {spread.panels[panel].piece for panel in step.panels}
        assert all(piece in there or piece.split(".")[0] in owners for piece in shown)
        there |= {spread.panels[area.glued].piece for area in step.glue}
        there |= {piece for piece in step.pieces if step.kind == "hand parts"}


@every_scene
def test_steps_are_numbered_and_name_what_they_glue(name):
    spread, steps = planned(name)
    assert [step.number for step in steps] == list(range(1, len(steps) + 1))
    # Over a solid the book no longer shuts, so it comes on last.
    assert steps[-1].kind == ("glue" if spread.solids else "check")
    for step in steps:
        text = " ".join(step.sentences)
        assert text.count("“") == text.count("”")
        for area in step.glue:
            if any(area.glued in solid.tabs for solid in spread.solids):
                # The tabs of a solid bear numbers: there are many, and the step names the first and the last.
                continue
            assert area.glued.removesuffix(".tab").replace(".", " ") in text
            marks = [mark.area for item in step.pictures if isinstance(item, SpreadPicture) for mark in item.marks]
            assert any(area is mark for mark in marks)


@every_scene
def test_the_face_that_gets_glue_is_the_one_that_touches(name):
    spread, _ = planned(name)
    for opening in (1.0, 2.0):
        matrices = spread.pose(np.array([np.clip(opening, *spread.reachable())])).matrices
        for area in spread.glue_areas:
            host, glued = matrices[area.host][0], matrices[area.glued][0]
            outwards = host[:3, 2] * (1.0 if area.face == "front" else -1.0)
            if np.isfinite(host).all() and np.isfinite(glued).all():
                assert contact_face(spread, area.glued, area.face) == (glued[:3, 2] @ outwards < 0.0)


@every_scene
def test_what_is_said_to_look_up_looks_up(name):
    spread, steps = planned(name)
    for step in steps:
        folded = [item for item in step.pictures if isinstance(item, SpreadPicture) and item.state == "lying"]
        if step.kind != "fold shut" or not folded:
            continue
        assert "up at you" in step.sentences[0]
        matrices = lying(spread, folded[0].opening_rad, folded[0].folded)
        for area in step.glue:
            front = contact_face(spread, area.glued, area.face)
            assert area.host == "page.right"
            assert matrices[area.glued][2, 2] * (1.0 if front else -1.0) > 0.9


@every_scene
def test_second_sides_are_glued_with_the_spread_shut(name):
    spread, steps = planned(name)
    first = set()
    for step in steps:
        outer = [area for area in step.glue if mechanism(spread, area.glued) != mechanism(spread, area.host)]
        for owner in {mechanism(spread, area.glued) for area in outer}:
            moved = any(hand.id == owner and hand.unit == "mm" for hand in spread.hands)
            if owner in first and not moved:
                assert step.kind == "fold shut"
                assert any("hut the spread" in text or "urn the right page" in text for text in step.sentences)
            first.add(owner)


def test_through_slots_go_only_tabs_that_have_one():
    through = {
        joint.glued
        for path in FILES
        for assembly in assemblies(planned(path)[0])
        for joints in (*assembly.inner, *assembly.outer)
        for joint in joints
        if joint.through and path.stem != "solid"  # its tabs go inside it
    }
    assert through == {"gate.left.tab", "gate.right.tab"}
    _, steps = scene("tab-through-a-slot")
    assert sum("through its slot" in " ".join(step.sentences) for step in steps) == 2


def test_a_ring_is_closed_on_the_table_before_it_goes_in():
    _, steps = scene("box")
    ring = next(step for step in steps if any(area.glued == "chest.start.right.tab" for area in step.glue))
    first = next(step for step in steps if any(area.host == "page.left" for area in step.glue))
    assert "ring" in ring.title
    assert ring.number < first.number
    assert not any(panel.startswith("page.") for panel in ring.panels)


def test_a_strip_is_laid_under_its_guides_before_they_are_glued():
    _, steps = scene("pull-strip")
    laid = next(step for step in steps if step.kind == "hand parts")
    guides = next(step for step in steps if any("bridge" in area.glued for area in step.glue))
    link = next(step for step in steps if any(area.glued == "pull.link.arm.tab" for area in step.glue))
    joined = next(step for step in steps if any(area.glued == "pull.link.end.tab" for area in step.glue))
    assert link.number < laid.number < guides.number < joined.number
    assert "through the slot in the right page, from the back to the printed face" in laid.sentences[0]
    assert "towards the fore edge" in " ".join(laid.sentences)
    assert "No glue between the two ends of a guide" in guides.cautions[0]


def test_a_disc_is_fastened_on_its_pivot_and_not_glued():
    spread, steps = scene("wheel")
    step = next(step for step in steps if step.kind == "hand parts")
    assert step.pieces == ("sky",)
    assert not spread.glue_areas
    assert "eyelet or a paper rivet" in " ".join(step.sentences)
    assert "No glue" in step.cautions[0]


def test_innermost_cut_ins_are_cut_first_and_outermost_pushed_first():
    _, steps = scene("cut-in-in-a-cut-in")
    text = next(text for text in steps[0].sentences if "cut-ins" in text)
    assert "innermost first" in text
    assert text.index("upper") < text.index("stair")
    assert text.index("lower") < text.index("stair")
    assert next(step.title for step in steps if step.kind == "cut-in") == "Push the cut-in “stair” through"


def test_the_fold_beside_an_unequal_cut_in_is_not_to_be_creased():
    said = {
        path.stem: any("Do not crease" in text for step in planned(path)[1] for text in step.cautions) for path in FILES
    }
    unequal = {stem for stem, warned in said.items() if warned}
    assert unequal == {"low-tide", "cut-in-beak", "cut-in-unequal-step"}


def test_what_lies_inside_goes_in_first():
    wide = "at = 20; length = 60; base = 50; height = 55; tab_width = 5"
    small = "at = 30; length = 30; base = 25; height = 30; tab_width = 5"
    for text in (
        tent("outer", body=wide) + tent("inner", body=small),
        tent("inner", body=small) + tent("outer", body=wide),
    ):
        spread = assemble(parse_description(HEAD + text))
        assert [assembly.id for assembly in assemblies(spread)] == ["inner", "outer"]
        assert assemblies(spread)[1].encloses == ("inner",)


def test_pieces_of_one_title_are_told_apart():
    text = HEAD + v_fold("one", body='at = 60; angle = 45; height = 30; title = "hill"')
    text += v_fold("two", body='at = 150; angle = 45; height = 30; title = "hill"') + cut_in(
        "cut", body="at = 5; length = 20; width = 10"
    )
    spread = assemble(parse_description(text))
    sheets, _ = lay_out(spread.title, [draw_piece(spread, piece.id) for piece in spread.pieces])
    titles = [step.title for step in assembly_steps(spread, sheets)]
    assert "Fold “hill” (one)" in titles
    assert "Fold “hill” (two)" in titles


def test_what_cannot_stand_is_refused_in_a_sentence():
    text = HEAD + tent("roof", body="at = 60; length = 50; base = 30; height_left = 3; height_right = 80")
    spread = assemble(parse_description(text))
    if np.isfinite(spread.reachable()).all():
        pytest.fail("the scene was meant not to stand")
    sheets, _ = lay_out(spread.title, [draw_piece(spread, piece.id) for piece in spread.pieces])
    with pytest.raises(HingeleafError, match="cannot stand at any opening"):
        assembly_steps(spread, sheets)


def test_the_demo_is_there():
    assert (ROOT / "scenes/demo/low-tide.toml") in FILES


def test_titles_tell_apart_the_halves_that_go_on_one_host():
    titles = [step.title for step in scene("low-tide")[1]]
    for part in ("boat left", "boat right", "gulls left", "gulls right", "crab left", "crab right"):
        assert sum(f"“{part}”" in title for title in titles) == 1
    assert len(set(titles)) == len(titles)


@every_scene
def test_no_fold_is_rubbed_down_that_a_cut_in_still_waits_on(name):
    """Between the slits card goes the other way: a fold may be flattened once all cut-ins across it are through."""
    spread, steps = planned(name)
    across = {cell.id: cell.fold for cell in spread.cells if f"{cell.id}.left" in spread.panels}
    pushed, flattened = set(), set()
    for step in (each for each in steps if each.kind in ("crease", "cut-in")):
        text = " ".join(step.sentences)
        cut_in = next((crease.split(".")[0] for crease in step.creases if crease.endswith(".middle")), None)
        if step.kind == "cut-in":
            pushed.add(cut_in)
            flat = "the creases of" in text
            assert flat != ("rub none down yet" in text)
            named = text.split("the creases of")[1] if flat else ""
            done = {each for each in pushed if f"“{each}”" in named}
            assert cut_in in done or not flat
            # What still waits is cut across nothing that is rubbed down now.
            rubbed = done | {across[each] for each in done}
            waits = {each for each, fold in across.items() if fold in rubbed or fold.split(".")[0] in done} - pushed
            strips = {each for each in waits if spread.panels[f"{each}.left"].role == "strip"}
            assert not strips
            flattened |= done
        else:
            strips = [each for each in across if spread.panels[f"{each}.left"].role == "strip"]
            assert ("rub it down yet" in text or "rub them down yet" in text) == any(
                across[each] in step.creases for each in strips
            )
    assert flattened == pushed


def test_only_what_a_sheet_has_inside_is_to_be_cut_there():
    first, second = (" ".join(step.sentences) for step in scene("low-tide")[1][:2])
    assert "the slits of the cut-ins “jetty” in the page card and “steps” and “cave” in “cliff”" in first
    assert "windows, slots and holes" in first
    assert "inside the pieces" not in second


def test_places_on_the_back_are_marked_there_before_they_are_needed():
    for path in FILES:
        spread, steps = planned(path)
        # Tabs of a solid are glued inside it, by their numbers.
        glued = spread.folding.glue_areas
        behind = {spread.panels[area.host].piece for area in glued if area.face == "back"}
        pricked = [step for step in steps if any("with a pin" in text for text in step.sentences)]
        assert all(step.kind == "cut out" and behind & set(step.pieces) for step in pricked)
        assert behind <= {piece for step in pricked for piece in step.pieces}


def test_a_part_that_touches_in_two_places_goes_on_both():
    _, steps = scene("low-tide")
    text = next(" ".join(step.sentences) for step in steps if "gulls left" in step.title)
    assert "the places marked “gulls left”" in text
