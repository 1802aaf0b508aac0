"""Order when nearly closed: rings of panels each above the next, as three sticks lie that hold each other up."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Polygon, box

from geometry import assemble, parse_description
from geometry.checks.order import check_order
from tests.geometry import corpus
from tests.geometry.rigid_panels import tilted, with_panels
from tests.geometry.scene_texts import HEAD, SCENES

_STICK = box(-30, -4, 30, 4)
_WINDOW = _STICK.difference(box(-27, -3.9, 27, 3.9))


def sticks(slope_deg, outline=_STICK, count=3):
    """Sticks along the sides of a regular polygon, each passing over the next one's start."""
    side = np.arange(count) * 360 / count
    radius = 12.0
    middles = [(70 + radius * np.sin(np.radians(a)), 100 - radius * np.cos(np.radians(a)), 0.3) for a in side]
    return {
        f"s{i}": (outline, tilted(middle, angle, slope_deg))
        for i, (middle, angle) in enumerate(zip(middles, side, strict=True))
    }


@pytest.mark.parametrize("count", [3, 4])
@pytest.mark.parametrize("slope", [0.2, -0.2, 0.6])
def test_sticks_in_a_ring_are_found(slope, count):
    (finding,) = check_order(with_panels(sticks(slope, count=count)))
    assert finding.code == "order"
    assert finding.severity == "error"
    assert "in a ring" in finding.message
    assert {f"s{i}" for i in range(count)} <= {word.strip(",") for word in finding.message.split()}
    assert finding.measure > 1.0


def test_a_stack_is_none():
    stack = {f"s{i}": (_STICK, tilted((70, 100, 0.1 * (i + 1)), 60 * i, 0.0)) for i in range(4)}
    assert check_order(with_panels(stack)) == []


def test_a_ring_with_one_stick_lifted_out_is_none():
    three = sticks(0.2)
    outline, place = three["s0"]
    lifted = place.copy()
    lifted[2, 3] += 5.0
    assert check_order(with_panels({**three, "s0": (outline, lifted)})) == []


def test_card_that_is_not_there_holds_nothing_up():
    """Frames of next to no card, whose windows lie over each other."""
    assert check_order(with_panels(sticks(0.2, _WINDOW))) == []


@pytest.mark.parametrize("name", SCENES)
def test_scenes_that_close_flat_have_no_ring(name):
    assert check_order(assemble(parse_description(SCENES[name]))) == []


@pytest.mark.parametrize("path", corpus.FAULTY, ids=lambda path: path.stem)
def test_only_the_ring_of_the_corpus_is_one(path):
    found = check_order(corpus.built(path)[1])
    assert bool(found) is (path.stem == "order-ring")


def test_a_spread_that_does_not_come_near_to_closing_is_left_alone():
    assert check_order(assemble(parse_description(HEAD))) == []


def test_panels_that_pass_through_each_other_are_left_to_the_check_of_collisions():
    """Three sticks tilted so far about one place that each goes through both others."""
    through = {f"s{i}": (_STICK, tilted((70, 100, 5.0), 120 * i, 2.0)) for i in range(3)}
    assert check_order(with_panels(through)) == []


@pytest.mark.parametrize("sloping_first", [True, False])
def test_two_that_pass_through_each_other_close_no_ring(sloping_first):
    """A sloping stick goes through a level one; a third lies under the level one and over the sloping one's low end.

    Whichever of the first two is said to lie above the other, one of the two orders makes a ring of the three.
    """
    sloping = (_STICK, tilted((70, 100, 3.0), 0, 2.0))
    level = (_STICK, tilted((70, 100, 3.0), 90, 0.0))
    between = (Polygon([(40, 95), (52, 95), (52, 106), (75, 118), (75, 130), (40, 110)]), tilted((0, 0, 2.7), 0, 0.0))
    pair = {"s0": sloping, "s1": level} if sloping_first else {"s0": level, "s1": sloping}
    assert check_order(with_panels({**pair, "s2": between})) == []
    # Lifted out of the level one, the sloping stick lies above it, and they are in a ring.
    over = (_STICK, tilted((70, 100, 3.3), 0, 2.0))
    pair = {"s0": over, "s1": level} if sloping_first else {"s0": level, "s1": over}
    (finding,) = check_order(with_panels({**pair, "s2": between}))
    assert finding.code == "order"


@pytest.mark.parametrize("turned", [False, True])
def test_two_in_one_plane_close_no_ring(turned):
    """Two level sticks cross in one plane; a third slopes from above the one's end to below the other's."""
    level = [tilted((70, 100, 3.0), turn, 0.0) for turn in ((90, 0) if turned else (0, 90))]
    hook = Polygon([(-22, -5), (-8, -5), (-8, 3), (22, 3), (22, 12), (-22, 12)])
    third = {"s2": (hook, tilted((57, 113, 3.0), 45, -1.0))}
    assert check_order(with_panels({"s0": (_STICK, level[0]), "s1": (_STICK, level[1]), **third})) == []
