"""Rectangles in as few bins as rectpack's packers find.

rectpack has several rules for where a rectangle goes (maximal rectangles, guillotine cuts, skylines), several for which
bin takes it, and several orders of the rectangles. None is best for all: tried in turn, those that most often found
the fewest bins first, until the area alone proves that no packing has fewer, or until they have cost enough. What one
costs is estimated from measured times, not timed, so that the same rectangles are always packed the same.

Source: J. Jylänki, "A thousand ways to pack the bin" (2010), describes the rules; recalled. The order of the tries was
measured on random rectangles.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

import rectpack
from rectpack.pack_algo import PackingAlgorithm

__all__ = ["Bin", "Packed", "Place", "Size", "fits", "pack", "pack_strip"]

Size = tuple[float, float]
_Sizes = Sequence[tuple[int, int]]


@dataclass(frozen=True)
class Bin:
    """A kind of bin, of which there are as many as needed: its name and sides, mm."""

    name: int
    width: float
    height: float


@dataclass(frozen=True)
class Place:
    """Where a rectangle lies in its bin: its number, its lower left corner in mm, whether it was turned a quarter."""

    number: int
    x: float
    y: float
    turned: bool


@dataclass(frozen=True)
class Packed:
    """A bin's name, what lies in it, and how far that reaches from its lower left corner, mm."""

    bin: int
    places: tuple[Place, ...]
    width: float
    height: float


@dataclass(frozen=True)
class _Cost:
    """Milliseconds, about, that a rule takes for a rectangle: always, for the square of how many lie in a bin, for each
    bin that is tried, and for each rectangle that is compared where always the fittest is taken next."""

    base: float
    crowd: float
    bin: float
    compared: float


@dataclass(frozen=True)
class _Way:
    """One of rectpack's ways: where rectangles go, which bin takes them, in what order."""

    rule: type[PackingAlgorithm]
    choice: int
    order: Callable[[_Sizes], list[tuple[int, int]]]

    def cost(self, count: int, bins: int) -> float:
        """What so many rectangles in so many bins cost."""
        rates = _COSTS[self.rule]
        tried = bins if self.choice in (_BEST_FIT, _FIRST_FIT) else 1
        compared = count if self.choice == _FITTEST else 0
        each = rates.base + rates.crowd * (count / bins) ** 2 + rates.bin * tried + rates.compared * compared
        return count * each


def fits(size: Size, room: Size, *, may_turn: bool) -> bool:
    """Whether a rectangle fits into a bin.

    Parameters
    ----------
    size, room : (width, height), mm
    may_turn : whether it may be turned a quarter
    """
    upright = size[0] <= room[0] and size[1] <= room[1]
    return upright or (may_turn and size[1] <= room[0] and size[0] <= room[1])


def pack(sizes: Sequence[Size], bins: Sequence[Bin], *, gap_mm: float, may_turn: bool) -> tuple[Packed, ...]:
    """Pack rectangles in as few bins as can be found, then on as little of them.

    Parameters
    ----------
    sizes : (width, height) of each, mm; each fits into one of the bins
    bins : kinds of bins
    gap_mm : float, kept free between rectangles
    may_turn : whether rectangles may be turned a quarter

    Returns
    -------
    tuple of Packed, with each rectangle in one of them
    """
    if not sizes:
        return ()
    whole = [one for one in bins if all(fits(size, (one.width, one.height), may_turn=may_turn) for size in sizes)]
    orders: list[Sequence[Bin]] = [[one] for one in whole]
    if len(whole) < len(bins):
        orders += [list(bins), list(reversed(bins))]
    least = _least_bins(sizes, bins, gap_mm)
    best: tuple[Packed, ...] = ()
    key: tuple[float, ...] = (math.inf,)
    spent = 0.0
    for number, way in enumerate(_ways()):
        if best and number >= _FIRST_WAYS and len(best) <= least:
            break
        cost = len(orders) * way.cost(len(sizes), len(best) or least)
        if best and spent + cost > _MOST_COST:
            continue
        spent += cost
        for order in orders:
            packed = _packed(sizes, order, way, gap_mm, may_turn)
            found = _key(packed, sizes, bins)
            if sum(len(one.places) for one in packed) == len(sizes) and found < key:
                best, key = packed, found
    return best


def pack_strip(sizes: Sequence[Size], width_mm: float, *, gap_mm: float, may_turn: bool) -> Packed:
    """Pack rectangles on a strip of a width, as short as can be found.

    Parameters
    ----------
    sizes : (width, height) of each, mm; each fits into the width
    width_mm : float
    gap_mm, may_turn : as for pack

    Returns
    -------
    Packed
    """
    length = sum(max(size) for size in sizes) + gap_mm * len(sizes)
    best: Packed | None = None
    spent = 0.0
    for way in _strip_ways():
        cost = way.cost(len(sizes), 1)
        while best is None or spent + cost <= _MOST_COST:
            spent += cost
            packed = _packed(sizes, [Bin(0, width_mm, length)], way, gap_mm, may_turn, count=1)
            if not packed or len(packed[0].places) < len(sizes):
                break
            best = packed[0]
            length = best.height - max(0.1, 0.004 * best.height)
    if best is None:
        raise ValueError("a rectangle is wider than the strip")
    return best


#: The most that all ways together may cost; the first is always tried, and those that would cost too much are not.
_MOST_COST = 2000.0

#: So many ways are tried even when no packing can have fewer bins, for one that leaves the larger rest.
_FIRST_WAYS = 16

_MAXIMAL = (rectpack.MaxRectsBaf, rectpack.MaxRectsBlsf, rectpack.MaxRectsBl, rectpack.MaxRectsBssf)
_GUILLOTINE = tuple(
    getattr(rectpack, f"Guillotine{rule}{split}")
    for split in ("Slas", "Sas", "Minas", "Las", "Llas", "Maxas")
    for rule in ("Baf", "Blsf", "Bssf")
)
_LOW_SKYLINE = (rectpack.SkylineBlWm, rectpack.SkylineBl)
_LEAST_WASTE_SKYLINE = (rectpack.SkylineMwflWm, rectpack.SkylineMwfl, rectpack.SkylineMwfWm, rectpack.SkylineMwf)
_SKYLINE = (*_LOW_SKYLINE, *_LEAST_WASTE_SKYLINE)
_BEST_FIT, _FIRST_FIT, _NEXT_FIT, _FITTEST = (
    rectpack.PackingBin.BBF,
    rectpack.PackingBin.BFF,
    rectpack.PackingBin.BNF,
    rectpack.PackingBin.Global,
)
_GOOD_ORDERS = (rectpack.SORT_PERI, rectpack.SORT_AREA, rectpack.SORT_LSIDE, rectpack.SORT_SSIDE)
_OTHER_ORDERS = (rectpack.SORT_RATIO, rectpack.SORT_DIFF, rectpack.SORT_NONE)


_COSTS = {
    **dict.fromkeys(_MAXIMAL, _Cost(0.012, 1.9e-5, 0.0025, 0.002)),
    **dict.fromkeys(_GUILLOTINE, _Cost(0.012, 1e-6, 0.0025, 0.002)),
    **dict.fromkeys(_LOW_SKYLINE, _Cost(0.03, 1e-6, 0.01, 0.01)),
    **dict.fromkeys(_LEAST_WASTE_SKYLINE, _Cost(0.05, 2.4e-5, 0.012, 0.06)),
}


def _ways() -> Iterator[_Way]:
    """All of rectpack's ways, those that most often find the fewest bins first."""
    fittest = product((rectpack.SORT_NONE,), (_FITTEST,), (rectpack.MaxRectsBssf, rectpack.GuillotineBssfLlas))
    found = [*product((rectpack.SORT_PERI,), (_BEST_FIT,), _MAXIMAL), *fittest]
    found += product(_GOOD_ORDERS, (_BEST_FIT, _FIRST_FIT), _MAXIMAL)
    found += product(_GOOD_ORDERS, (_BEST_FIT, _FIRST_FIT), _GUILLOTINE)
    found += product((rectpack.SORT_NONE,), (_FITTEST,), (*_MAXIMAL, *_GUILLOTINE))
    found += product(_GOOD_ORDERS, (_BEST_FIT, _FIRST_FIT), _SKYLINE)
    found += product(_OTHER_ORDERS, (_BEST_FIT, _FIRST_FIT), (*_MAXIMAL, *_GUILLOTINE, *_SKYLINE))
    found += product((*_GOOD_ORDERS, *_OTHER_ORDERS), (_NEXT_FIT,), (*_MAXIMAL, *_GUILLOTINE, *_SKYLINE))
    found += product((rectpack.SORT_NONE,), (_FITTEST,), _SKYLINE)
    for order, choice, rule in dict.fromkeys(found):
        yield _Way(rule, choice, order)


def _strip_ways() -> Iterator[_Way]:
    """All ways into a single bin, those first that lay each rectangle as low as they can."""
    orders = (*_GOOD_ORDERS, *_OTHER_ORDERS)
    low = (*_LOW_SKYLINE, rectpack.MaxRectsBl)
    others = [rule for rule in (*_MAXIMAL, *_GUILLOTINE, *_SKYLINE) if rule not in low]
    found = [*product(low, (_FIRST_FIT,), orders), *product(_MAXIMAL, (_FITTEST,), (rectpack.SORT_NONE,))]
    found += product(others, (_FIRST_FIT,), orders)
    found += product((*_GUILLOTINE, *_SKYLINE), (_FITTEST,), (rectpack.SORT_NONE,))
    for rule, choice, order in found:
        yield _Way(rule, choice, order)


def _least_bins(sizes: Sequence[Size], bins: Sequence[Bin], gap_mm: float) -> int:
    """Fewer bins cannot hold the area of the rectangles with their gaps."""
    largest = max((one.width + gap_mm) * (one.height + gap_mm) for one in bins)
    area = sum((width + gap_mm) * (height + gap_mm) for width, height in sizes)
    return math.ceil(area / largest * (1 - 1e-9))


def _key(packed: Sequence[Packed], sizes: Sequence[Size], bins: Sequence[Bin]) -> tuple[float, ...]:
    """What makes a packing better: fewer bins; less of them used, to a hundredth of one; less that is turned."""
    largest = max(one.width * one.height for one in bins)
    used = sum(one.width * one.height for one in packed)
    turned = sum(math.prod(sizes[place.number]) for one in packed for place in one.places if place.turned)
    return len(packed), round(used / largest, 2), round(turned, 3)


def _packed(
    sizes: Sequence[Size],
    bins: Sequence[Bin],
    way: _Way,
    gap_mm: float,
    may_turn: bool,
    count: int | None = None,
) -> tuple[Packed, ...]:
    """What one of rectpack's ways makes of it; the gap is packed with each rectangle, to its right and above it."""
    packer = rectpack.newPacker(
        mode=rectpack.PackingMode.Offline,
        bin_algo=way.choice,
        pack_algo=way.rule,
        sort_algo=way.order,
        rotation=may_turn,
    )
    for one in bins:
        room = (_micrometres(one.width + gap_mm), _micrometres(one.height + gap_mm))
        packer.add_bin(*room, count=count or len(sizes), bid=one.name)
    whole = [(_micrometres(width + gap_mm), _micrometres(height + gap_mm)) for width, height in sizes]
    for number, (width, height) in enumerate(whole):
        packer.add_rect(width, height, rid=number)
    packer.pack()
    found = []
    for pallet in packer:
        rects = sorted(pallet, key=lambda rect: rect.rid)
        places = tuple(
            Place(rect.rid, rect.x / 1000.0, rect.y / 1000.0, (rect.width, rect.height) != whole[rect.rid])
            for rect in rects
        )
        width = max(rect.x + rect.width for rect in rects) / 1000.0 - gap_mm
        height = max(rect.y + rect.height for rect in rects) / 1000.0 - gap_mm
        found.append(Packed(pallet.bid, places, width, height))
    return tuple(found)


def _micrometres(length_mm: float) -> int:
    """Whole micrometres, rounded up, as the packer wants integers."""
    return math.ceil(round(length_mm * 1000.0, 3))
