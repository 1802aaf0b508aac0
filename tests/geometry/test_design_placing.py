"""Offering and placing: what can be picked, and that what is placed stands, closes, fits, or is refused with a reason.

The whole sweep, every kind on every place of every scene and of random nests, takes many minutes; here is a sample of
it, always the same. ``python -m tests.geometry.test_design_placing`` runs all of it and prints what comes of it.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from pathlib import Path
from random import Random

import numpy as np
import pytest

from geometry import HingeleafError, assemble, parse_description, read_description
from geometry.checks import run_checks
from geometry.design import placing
from geometry.design.offering import ADDED, TARGETS, Target, offers, refusal
from geometry.design.placing import can_carry, place
from geometry.design.room import fold_room, ray
from geometry.design.starting_sizes import Candidate, cheapest_first, rounded, slides
from geometry.mechanisms import KINDS
from tests.geometry.random_scenes import random_scene
from tests.geometry.scene_texts import FILES, HEAD, tent, v_fold

BLANK = HEAD
FOLD_KINDS = [kind for kind in ADDED if TARGETS[kind] == "fold"]
PANEL_KINDS = [kind for kind in ADDED if TARGETS[kind] == "panel"]
SPINE = Target("spine", "valley")


def built(text):
    description = parse_description(text)
    return description, assemble(description)


def new_findings(before, after, severities=("error", "warning")):
    """Errors and warnings that were not there before, with all checks."""
    known = {finding.key for finding in run_checks(before) if finding.severity in severities}
    return [item for item in run_checks(after) if item.severity in severities and item.key not in known]


def assert_stands(description, spread, placed):
    """It is in the description, moves as far as the book did, and whatever is wrong is said."""
    added = [spec.id for spec in placed.description.mechanisms if spec.id not in {s.id for s in description.mechanisms}]
    assert added == [placed.mechanism_id]
    after = assemble(placed.description)
    if placed.notes:
        return after
    assert new_findings(spread, after) == []
    low, high = spread.reachable()
    assert after.reachable() == pytest.approx((low, high), abs=1e-6)
    return after


def test_every_kind_has_something_it_is_picked_on():
    assert set(TARGETS) == set(KINDS)
    assert set(ADDED) == set(KINDS) - {"solid"}
    assert set(TARGETS.values()) == {"fold", "panel", "panels", "box"}


@pytest.mark.parametrize("kind", FOLD_KINDS)
def test_on_the_spine_of_an_empty_book(kind):
    """Clean, in good proportion: from a tenth to all of the page, on whole or half millimetres."""
    description, spread = built(BLANK)
    placed = place(description, spread, kind, SPINE)
    assert not placed.notes
    after = assert_stands(description, spread, placed)
    assert "side" not in placed.values
    sizes = [value for key, value in placed.values.items() if key in ("length", "height", "width", "base")]
    assert all(2 * size == int(2 * size) for size in sizes)
    assert max(sizes) > 14.8
    heights = [
        (after.pose([np.pi / 2]).matrices[panel.id][0] @ [*point, 0.0, 1.0])[2]
        for panel in after.panels.values()
        if panel.id.startswith(placed.mechanism_id)
        for point in panel.outline.exterior.coords
    ]
    assert max(heights) > 10.0


@pytest.mark.parametrize("kind", PANEL_KINDS)
@pytest.mark.parametrize("panel", ["page.left", "page.right"])
def test_on_the_pages_of_an_empty_book(kind, panel):
    description, spread = built(BLANK)
    placed = place(description, spread, kind, Target(panel=panel))
    assert not placed.notes
    assert_stands(description, spread, placed)


def test_a_rider_across_the_spine_and_a_strap_over_it():
    description, spread = built(BLANK)
    for kind, target, second in (
        ("rider", SPINE, None),
        ("strap", Target(panel="page.left"), Target(panel="page.right")),
    ):
        placed = place(description, spread, kind, target, second=second)
        assert not placed.notes
        assert_stands(description, spread, placed)


def test_a_layer_in_a_box_keeps_clear_of_the_end_walls():
    description = read_description(Path(__file__).parents[2] / "scenes" / "box.toml")
    spread = assemble(description)
    placed = place(description, spread, "layer", Target(panel="chest.left"))
    assert not placed.notes
    assert_stands(description, spread, placed)


def test_it_stands_where_it_is_pointed_at():
    description, spread = built(BLANK)
    assert place(description, spread, "v-fold", SPINE, 130.0).values["at"] == 130
    values = place(description, spread, "tent", SPINE, 90.0).values
    assert values["at"] + values["length"] / 2 == pytest.approx(90.0, abs=0.5)
    assert place(description, spread, "rider", Target(panel="page.right"), point_mm=(60.2, 100.0)).values["at"] == [
        60,
        100,
    ]


def test_a_v_fold_at_the_foot_still_fits():
    """Its crease would go out of the page at the foot; it is made smaller, moved, or turned round."""
    description, spread = built(BLANK)
    for at in (2.0, 12.0, 200.0, 209.0):
        placed = place(description, spread, "v-fold", SPINE, at)
        assert not placed.notes
        assert_stands(description, spread, placed)


def test_a_neighbour_is_avoided():
    """A tent that would pass through another is made smaller, moved, or put over it."""
    alone, blank = built(BLANK)
    description, spread = built(HEAD + tent("roof", body="at = 70; length = 60; base = 36; height = 60"))
    placed = place(description, spread, "tent", SPINE, 100.0)
    assert not placed.notes
    assert_stands(description, spread, placed)
    assert placed.values != place(alone, blank, "tent", SPINE, 100.0).values


def test_what_only_fits_badly_is_placed_and_said():
    """On the inner side of a foot lies the tab of the wall itself: what is placed there is glued over it."""
    description, spread = built(HEAD + v_fold("wall", body="at = 46; angle = 50; height = 60; tab_width = 16"))
    placed = place(description, spread, "v-fold", Target("wall.left", "inner"))
    assert any("glued over each other" in note for note in placed.notes)
    found = new_findings(spread, assemble(placed.description))
    assert sorted(finding.message for finding in found) == sorted(placed.notes)
    assert can_carry(description, spread, "v-fold", Target("wall.left", "inner")) == ""


@pytest.mark.parametrize(
    ("kind", "target", "words"),
    [
        ("v-fold", Target("spine", "mountain"), "back of the page card"),
        ("rider", Target("hill.left", "outer"), "is a glue line"),
        ("flap", Target(panel="hill.left.tab"), "is a tab"),
        ("layer", Target(panel="hill.left"), "is no wall of a box"),
        ("v-fold", Target("nothing", "valley"), "no such fold"),
        ("v-fold", Target(panel="page.left"), "stands on a fold"),
        ("flap", Target("spine", "valley"), "picked on a panel"),
        ("strap", Target(panel="page.left"), "second panel"),
        ("mouse", Target(panel="page.left"), "is no kind"),
    ],
)
def test_refused_with_a_sentence(kind, target, words):
    description, spread = built(HEAD + v_fold("hill"))
    with pytest.raises(HingeleafError, match=words):
        place(description, spread, kind, target)
    assert words in can_carry(description, spread, kind, target)


def test_a_glue_line_without_card_on_both_sides_offers_no_cut_in():
    description, spread = built(HEAD + v_fold("hill", body='at = 60; angle = 45; height = 50; tab = "through"'))
    reasons = {offer.target.fold: offer.reason for offer in offers(spread, description, "slit-cut-in")}
    assert reasons == {
        "spine": "",
        "hill.middle": "",
        "hill.left": reasons["hill.left"],
        "hill.right": reasons["hill.left"],
    }
    assert "without a tab" in reasons["hill.left"]


def test_a_fold_that_never_turns_is_no_place():
    """A rider across a fold turns with it; a tab that lies under its panel all the time does not."""
    description, spread = built(
        HEAD + '[[mechanism]]\nkind = "flap"\nid = "door"\npanel = "page.right"\nat = [60, 100]\nlength = 30\n'
    )
    assert not refusal(spread, description, "v-fold", Target("door.flap", "outer"))
    placed = place(description, spread, "v-fold", Target("door.flap", "outer"))
    assert not placed.notes


def test_offers_give_the_ends_of_a_fold_on_both_hosts():
    description, spread = built(HEAD + v_fold("hill"))
    spine = next(offer for offer in offers(spread, description, "tent") if offer.target == SPINE)
    assert spine.panels == ("page.left", "page.right")
    assert spine.points == (((0.0, 0.0), (0.0, 210.0)), ((0.0, 0.0), (0.0, 210.0)))
    sides = [offer.target.side for offer in offers(spread, description, "tent") if offer.target.fold == "hill.left"]
    assert sorted(sides) == ["inner", "outer"]


def test_on_a_foot_the_outer_side_is_the_usual_one():
    description, spread = built(HEAD + v_fold("hill"))
    placed = place(description, spread, "v-fold", Target("hill.left"))
    assert "side" not in placed.values
    assert placed == place(description, spread, "v-fold", Target("hill.left", "outer"))


def test_the_inner_side_of_a_foot_is_flat_when_shut():
    """There a tent closes flat only with a height equal to its base."""
    text = HEAD + v_fold("hill", body='at = 60; angle = 45; height = 90; width = 90; tab = "outer"')
    description, spread = built(text)
    room = fold_room(spread, spread.folds[("hill.left", "inner")])
    assert room.flat_shut
    placed = place(description, spread, "tent", Target("hill.left", "inner"))
    assert placed.values["height"] == placed.values["base"]
    assert not placed.notes
    assert_stands(description, spread, placed)


def test_what_is_in_the_way_in_the_whole_book_is_found(monkeypatch):
    """Even if the part of the book that is tried first holds no neighbours at all."""
    monkeypatch.setattr(placing, "_SMALL_BOOK", 0)
    monkeypatch.setattr(placing, "_NEIGHBOURS", 0)
    description, spread = built(HEAD + tent("roof", body="at = 70; length = 60; base = 30; height = 45"))
    placed = place(description, spread, "tent", SPINE, 100.0)
    assert not placed.notes
    assert_stands(description, spread, placed)


def test_candidates_come_cheapest_first_and_no_sooner():
    made = []

    def tries(cost):
        made.append(cost)
        return [Candidate({}, cost + worse) for worse in (0.0, 0.5)]

    found = cheapest_first((cost, lambda cost=cost: tries(cost)) for cost in (2.0, 0.1, 0.4))
    assert [next(found).cost for _ in range(3)] == [0.1, 0.4, 0.6]
    assert made == [0.1, 0.4]


def test_sizes_are_rounded_down_and_places_stay_on_the_fold():
    assert [rounded(size) for size in (99.9, 12.0, 11.9, 0.4)] == [99, 12, 11.5, 0]
    assert next(slides((10.0, 20.0), 0.0))[0] == 10
    assert all(10.0 <= place <= 20.0 for place, _ in slides((10.0, 20.0), 13.3))


def test_a_ray_ends_where_the_card_does():
    _, spread = built(BLANK)
    card = fold_room(spread, spread.folds[("spine", "valley")]).hosts[1].card
    assert ray(card, 100.0, np.pi / 2) == pytest.approx(148.0, abs=0.05)
    assert ray(card, 100.0, np.pi / 4) == pytest.approx(110.0 * np.sqrt(2.0), abs=0.1)
    assert ray(card, -5.0, np.pi / 2) == 0.0


def tried(description, spread, kind, offer, second=None):
    """What comes of an offer: "refused", "faulty" or "clean"; crashes come through."""
    try:
        placed = place(description, spread, kind, offer.target, second=second)
    except HingeleafError as error:
        text = str(error)
        assert text
        assert "\n" not in text
        return "refused"
    assert_stands(description, spread, placed)
    return "faulty" if placed.notes else "clean"


def every_offer(description, spread):
    for kind in TARGETS:
        own = list(offers(spread, description, kind))
        if kind == "rider":
            own += offers(spread, description, kind, on="fold")
        open_to = [offer for offer in own if not offer.reason]
        if kind == "strap":
            yield from ((kind, one, two.target) for i, one in enumerate(open_to) for two in open_to[i + 1 :])
        else:
            yield from ((kind, offer, None) for offer in open_to)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_sample_of_all_places_in_every_scene(path):
    description = read_description(path)
    if len(description.mechanisms) > 6 or path.stem in ("accordion", "platforms-in-layers", "flap", "pull-strip"):
        pytest.skip("takes long; the whole sweep has it")
    spread = assemble(description)
    every = list(every_offer(description, spread))
    for kind, offer, second in Random(path.stem).sample(every, min(1, len(every))):
        tried(description, spread, kind, offer, second)


def plausible(spread, kind, offer):
    """Where anybody would put one: the spine, middle creases in the valley, feet on the outer side."""
    fold = spread.folds.get((offer.target.fold, offer.target.side))
    if fold is None or kind == "rider" or fold.end - fold.start < 30.0:
        return False
    name, side = str(offer.target.fold), offer.target.side
    return (name == "spine" or name.endswith((".middle", ".left", ".right"))) and side in ("valley", "outer")


@pytest.mark.parametrize("kind", ["v-fold", "tent", "slit-cut-in"])
def test_plausible_folds_nearly_all_carry(kind):
    """In scenes of one mechanism: at least nine of ten, without any fault."""
    outcome = Counter()
    for path in FILES:
        if path.stem not in ("v-fold", "tent", "cut-in-step"):
            continue
        description = read_description(path)
        spread = assemble(description)
        for offer in offers(spread, description, kind):
            if not offer.reason and plausible(spread, kind, offer):
                outcome[tried(description, spread, kind, offer)] += 1
    assert sum(outcome.values()) >= 7
    assert outcome["clean"] >= 0.9 * sum(outcome.values()), outcome


@pytest.mark.parametrize("seed", range(3))
def test_random_nests(seed):
    """Each a book of its own, faults and all: what is placed adds none that is not said."""
    try:
        description, spread = built(random_scene(seed, 4))
    except HingeleafError:
        pytest.skip("this seed cannot be built")
    every = list(every_offer(description, spread))
    for kind, offer, second in Random(seed).sample(every, min(2, len(every))):
        tried(description, spread, kind, offer, second)


def sweep():
    """Every kind on every place of every scene, and of random nests; prints what came of it."""
    books = [(path.stem, read_description(path)) for path in FILES]
    for seed in range(int(sys.argv[1]) if len(sys.argv) > 1 else 0):
        try:
            books.append((f"seed {seed}", built(random_scene(seed, 4))[0]))
        except HingeleafError:
            continue
    outcome: Counter = Counter()
    took: dict[str, list[float]] = {}
    for name, description in books:
        spread = assemble(description)
        for kind, offer, second in every_offer(description, spread):
            start = time.perf_counter()
            result = tried(description, spread, kind, offer, second)
            took.setdefault(kind, []).append(time.perf_counter() - start)
            outcome[(kind, "plausible" if plausible(spread, kind, offer) else "any", result)] += 1
        print(name, dict(outcome), flush=True)


if __name__ == "__main__":
    sweep()
