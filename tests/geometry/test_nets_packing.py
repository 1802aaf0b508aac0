"""Packing: inside, apart, complete, and on as few sheets as any of rectpack's packers finds."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import rectpack
import shapely

from geometry.nets.packing import Bin, fits, pack, pack_strip

GAP = 6.0
RULES = [getattr(rectpack, name) for name in dir(rectpack) if name.startswith(("MaxRects", "Guillotine", "Skyline"))]
SORTS = [getattr(rectpack, name) for name in dir(rectpack) if name.startswith("SORT_")]
CHOICES = [rectpack.PackingBin.BFF, rectpack.PackingBin.BBF, rectpack.PackingBin.BNF]


def rectangles(seed, count, low, high):
    return [tuple(map(float, sides)) for sides in np.random.default_rng(seed).uniform(low, high, (count, 2)).round(3)]


def every_packer(sizes, room, may_turn, count):
    """What each of rectpack's packers makes of it: (bins, length of the first), of those that place everything."""
    whole = [(int(np.ceil((a + GAP) * 1000)), int(np.ceil((b + GAP) * 1000))) for a, b in sizes]
    ways = [*itertools.product(RULES, CHOICES, SORTS)]
    ways += [
        (rule, rectpack.PackingBin.Global, None) for rule in RULES if len(sizes) < 50 or "Sky" not in rule.__name__
    ]
    for rule, choice, order in ways:
        packer = rectpack.newPacker(bin_algo=choice, pack_algo=rule, sort_algo=order, rotation=may_turn)
        packer.add_bin(int((room[0] + GAP) * 1000), int((room[1] + GAP) * 1000), count=count)
        for number, sides in enumerate(whole):
            packer.add_rect(*sides, rid=number)
        packer.pack()
        placed = packer.rect_list()
        if len(placed) == len(sizes):
            yield len(packer), max(y + height for _, _, y, _, height, _ in placed) / 1000 - GAP


def boxes(sizes, packed):
    found = {}
    for place in packed.places:
        width, height = sizes[place.number][:: -1 if place.turned else 1]
        found[place.number] = shapely.box(place.x, place.y, place.x + width, place.y + height)
    return found


def holds(sizes, packed, rooms):
    """Every rectangle once, inside its bin, a gap apart from all others."""
    assert sorted(place.number for one in packed for place in one.places) == list(range(len(sizes)))
    for one in packed:
        lying = list(boxes(sizes, one).values())
        room = shapely.box(0, 0, *rooms[one.bin]).buffer(0.003, join_style="mitre")
        assert all(room.contains(box) for box in lying)
        assert (one.width, one.height) == pytest.approx(shapely.total_bounds(lying)[2:], abs=0.003)
        for first, second in itertools.combinations(lying, 2):
            assert first.distance(second) > GAP - 0.003


@pytest.mark.parametrize("may_turn", [True, False])
@pytest.mark.parametrize(
    ("seed", "count", "low", "high"),
    [(1, 1, 20, 190), (2, 12, 20, 190), (3, 25, 10, 120), (4, 40, 30, 190), (5, 70, 10, 150)],
)
def test_within_ten_percent_of_the_best_of_all_packers(seed, count, low, high, may_turn):
    sizes, room = rectangles(seed, count, low, high), (194.0, 240.0)
    packed = pack(sizes, [Bin(0, *room)], gap_mm=GAP, may_turn=may_turn)
    holds(sizes, packed, [room])
    assert may_turn or not any(place.turned for one in packed for place in one.places)
    best = min(bins for bins, _ in every_packer(sizes, room, may_turn, count))
    assert len(packed) <= 1.1 * best


def test_one_way_alone_would_not_do():
    """Rectangles for which only few of the packers find the fewest bins: the test above can fail."""
    sizes, room = rectangles(4, 40, 30, 190), (194.0, 240.0)
    counts = [bins for bins, _ in every_packer(sizes, room, True, 40)]
    assert sum(bins > 1.1 * min(counts) for bins in counts) > len(counts) / 10


def test_two_kinds_of_bins_where_neither_takes_all():
    sizes = [(100.0, 50.0), (50.0, 100.0), (90.0, 40.0)]
    rooms = [(60.0, 110.0), (110.0, 60.0)]
    packed = pack(sizes, [Bin(number, *room) for number, room in enumerate(rooms)], gap_mm=GAP, may_turn=False)
    holds(sizes, packed, rooms)
    assert {one.bin for one in packed} == {0, 1}


def test_of_two_packings_with_as_many_bins_the_smaller_is_taken():
    (packed,) = pack([(60.0, 20.0)] * 4, [Bin(0, 400.0, 400.0)], gap_mm=0.0, may_turn=True)
    assert packed.width * packed.height == pytest.approx(4 * 60 * 20, rel=0.01)


def test_nothing_is_turned_without_need():
    (packed,) = pack([(100.0, 20.0), (100.0, 30.0)], [Bin(0, 120.0, 60.0)], gap_mm=GAP, may_turn=True)
    assert not any(place.turned for place in packed.places)


def test_the_same_rectangles_are_always_packed_the_same():
    sizes = rectangles(7, 30, 10, 150)
    assert pack(sizes, [Bin(0, 194.0, 240.0)], gap_mm=GAP, may_turn=True) == pack(
        sizes, [Bin(0, 194.0, 240.0)], gap_mm=GAP, may_turn=True
    )


@pytest.mark.parametrize("may_turn", [True, False])
@pytest.mark.parametrize(("seed", "count"), [(1, 1), (2, 9), (3, 30), (4, 45)])
def test_a_strip_is_within_ten_percent_of_the_shortest(seed, count, may_turn):
    sizes = rectangles(seed, count, 20, 190)
    strip = pack_strip(sizes, 400.0, gap_mm=GAP, may_turn=may_turn)
    endless = sum(max(size) + GAP for size in sizes)
    holds(sizes, [strip], [(400.0, endless)])
    best = min(length for _, length in every_packer(sizes, (400.0, endless), may_turn, 1))
    assert strip.height <= 1.1 * best


@pytest.mark.parametrize(
    ("size", "may_turn", "expected"),
    [((10, 20), False, True), ((20, 10), False, False), ((20, 10), True, True), ((21, 10), True, False)],
)
def test_what_fits(size, may_turn, expected):
    assert fits(size, (10, 20), may_turn=may_turn) is expected
