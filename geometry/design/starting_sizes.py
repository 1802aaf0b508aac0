"""Starting sizes: in good proportion to the fold that a mechanism is put on, from the largest down."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from heapq import heapify, heappop, heappush
from itertools import count
from typing import Any

from shapely import LineString, box
from shapely.geometry.base import BaseGeometry

from .room import FoldRoom

__all__ = ["SCALES", "SMALLEST_MM", "Candidate", "cheapest_first", "fold_candidates", "plain", "rounded", "slides"]

#: Parts of the size in good proportion that are tried.
SCALES = (1.0, 0.75, 0.55, 0.4, 0.28)
#: Parts of a fold's length by which a mechanism is moved along it from where it was asked for.
_SLIDES = (0.0, 0.07, -0.07, 0.16, -0.16, 0.29, -0.29, 0.44, -0.44)
#: Being moved by half of a fold's length is as bad as being made smaller by a factor of e.
_SLIDE_COST = 2.0
_CROWDED_COST, _OVER_COST = 1.5, 0.7
#: Smaller ones cannot be made by hand, mm.
SMALLEST_MM = 5.0
#: Nearest that a cut or a glue line comes to the edge of its host, mm: card between cuts holds from 3 mm on.
_EDGE_MM = 3.5
#: The base that leaves room for an inner tab a hand can glue, mm.
_TAB_BASE_MM = 6.0
#: The glue line on which there is room for one, mm.
_TAB_LENGTH_MM = 16.0
_UP = math.pi / 2


@dataclass(frozen=True)
class Candidate:
    """Sizes to try.

    Parameters
    ----------
    values : keys of a description and their values, the host among them
    cost : how far it is from what was asked for; the least is tried first
    shape : a name; what moves alike, whatever its size and place, has the same
    crowded : it would stand on what others are glued on
    """

    values: Mapping[str, Any]
    cost: float
    shape: str = ""
    crowded: bool = False


def rounded(size_mm: float) -> float:
    """A size rounded down to what a hand measures: half millimetres, above 12 mm whole ones.

    Examples
    --------
    >>> rounded(47.9), rounded(8.7)
    (47, 8.5)
    """
    step = 1.0 if size_mm >= 12.0 else 0.5
    return plain(math.floor(size_mm / step + 1e-9) * step)


def plain(size_mm: float) -> float:
    """A whole number without its point, as a person writes it."""
    return int(size_mm) if size_mm == int(size_mm) else float(size_mm)


def slides(span: tuple[float, float], wish: float) -> Iterator[tuple[float, float]]:
    """Places along a stretch, the one wished for first: (place, mm; cost) each."""
    start, end = span
    length = end - start
    wish = min(max(wish, start), end)
    seen: set[float] = set()
    for share in _SLIDES:
        place = plain(round(2 * min(max(wish + share * length, start), end)) / 2)
        if place not in seen and start <= place <= end:
            seen.add(place)
            yield place, _SLIDE_COST * abs(place - wish) / max(length, 1.0)


def cheapest_first(tries: Iterable[tuple[float, Callable[[], Iterable[Candidate]]]]) -> Iterator[Candidate]:
    """Candidates in the order of their cost, worked out only when their turn comes.

    Parameters
    ----------
    tries : the least that candidates cost, and what yields them
    """
    number = count()
    waiting: list[tuple[float, int, Candidate | Callable[[], Iterable[Candidate]]]]
    waiting = [(least, next(number), make) for least, make in tries]
    heapify(waiting)
    while waiting:
        _, _, first = heappop(waiting)
        if isinstance(first, Candidate):
            yield first
            continue
        for candidate in first():
            heappush(waiting, (candidate.cost, next(number), candidate))


def fold_candidates(room: FoldRoom, kind: str, at_mm: float | None) -> Iterator[Candidate]:
    """Sizes for a mechanism on a fold, without the keys fold and side, the best first.

    Parameters
    ----------
    room : FoldRoom
    kind : a kind that stands on a fold, or a rider across one
    at_mm : where along the fold it is wished for: a v-fold's apex, the middle of any other; None for its best place
    """
    stretches = [(_nearest(room.gaps, at_mm), 0.0)] if room.gaps else []
    if room.gaps != room.spans:
        # Over or under what stands there already.
        stretches.append((_nearest(room.spans, at_mm), _OVER_COST))

    def made(span: tuple[float, float], place: float, scale: float, least: float) -> Iterator[Candidate]:
        for values, worse in _KINDS[kind](room, span, place, scale):
            crowded = _crowded(room, values)
            yield Candidate(values, least + worse + (_CROWDED_COST if crowded else 0.0), _shape(kind, values), crowded)

    starts = [
        (span, place, scale, over + moved - math.log(scale))
        for span, over in stretches
        for place, moved in slides(span, sum(span) / 2 if at_mm is None else at_mm)
        for scale in SCALES
    ]
    return cheapest_first((start[-1], partial(made, *start)) for start in starts)


def _nearest(spans: Sequence[tuple[float, float]], at_mm: float | None) -> tuple[float, float]:
    """The stretch of a fold in which a place lies, or the nearest to it; without a place the longest."""
    if at_mm is None:
        return max(spans, key=lambda span: span[1] - span[0])
    return min(spans, key=lambda span: max(span[0] - at_mm, at_mm - span[1], 0.0))


def _shape(kind: str, values: Mapping[str, Any]) -> str:
    """Cells in proportion move alike; the supports of platforms are not scaled all the way down."""
    named = ("angle", "tab", "ends") if kind != "platform" else ("base", "height", "width")
    return " ".join(f"{key}={values[key]}" for key in named if key in values)


def _crowded(room: FoldRoom, values: Mapping[str, Any]) -> bool:
    """Whether a glue line of it, or a strip, would lie on what is glued on a host already."""
    if all(host.taken.is_empty for host in room.hosts):
        return False
    at, length, width = values["at"], values.get("length", 0.0), values.get("width", 0.0)
    shapes: list[BaseGeometry] = []
    if "angle" in values:
        angle, width = math.radians(values["angle"]), values.get("width", values["height"])
        shapes = [LineString([(at, 0.0), (at + width * math.cos(angle), width * math.sin(angle))])]
    elif "base" in values or "bases" in values:
        base = values.get("base", sum(values.get("bases", ())))
        shapes = [LineString([(at, place), (at + length, place)]) for place in {base, base + width}]
    elif length:
        # A cut-in: what is glued on its strip would be cut.
        shapes = [box(at, 0.0, at + length, max(width, values.get("width_start", 0.0), values.get("width_end", 0.0)))]
    return any(host.taken.intersects(shape) for host in room.hosts for shape in shapes)


Sized = Iterator[tuple[dict[str, Any], float]]


def _v_fold(room: FoldRoom, span: tuple[float, float], at: float, scale: float) -> Sized:
    """The apex towards the reader where there is room, then the other way round, then blunter and sharper ones."""
    for degrees, worse in ((45, 0.0), (135, 0.3), (60, 0.5), (120, 0.6), (30, 0.9), (150, 1.0)):
        glue, tip = math.radians(degrees), _closed_tip(room, math.radians(degrees))
        corner = (math.cos(glue) + math.cos(tip), math.sin(glue) + math.sin(tip))
        # The far corner of its panels is as far from the apex as glue line and crease together.
        far = room.closed(at, math.atan2(corner[1], corner[0])) / max(math.hypot(*corner), 1e-9)
        most = min(room.closed(at, tip), far)
        if room.flat_shut:
            # The crease comes to lie on the fold, over the hosts.
            most = min(most, (span[1] - at) if degrees < 90 else (at - span[0]))
        height = min((0.6 if most > 60.0 else 0.8) * most, span[1] - span[0]) * scale
        width = min(height, 0.95 * room.glue(at, glue) - 1.0)
        height = min(height, 1.5 * width)
        # A shorter crease would run too near the cut at the apex.
        least = 2.2 * SMALLEST_MM / (math.sin(glue) if room.flat_shut else 1.0)
        if height >= least and width >= 2 * SMALLEST_MM:
            yield {"at": at, "angle": degrees, "height": rounded(height), **_width(height, width)}, worse


def _width(height: float, width: float) -> dict[str, Any]:
    return {} if rounded(width) == rounded(height) else {"width": rounded(width)}


def _closed_tip(room: FoldRoom, glue_rad: float) -> float:
    """Where the middle crease of a v-fold lies in the closed book, from the fold's direction, radians."""
    turned = glue_rad > _UP
    alpha = math.pi - glue_rad if turned else glue_rad
    tip = 0.0 if room.flat_shut else alpha - _UP if room.ridge else alpha + _UP
    return math.pi - tip if turned else tip


def _stretch(span: tuple[float, float], middle: float, length: float) -> tuple[float, float] | None:
    """Where a mechanism of some length begins and ends along a fold, as near to its middle as the fold allows."""
    length = rounded(length)
    if length > span[1] - span[0] or length < SMALLEST_MM:
        return None
    start = min(max(middle - length / 2, span[0]), span[1] - length)
    start = plain(math.ceil(2 * start - 1e-9) / 2)
    return (start, start + length) if start + length <= span[1] + 1e-6 else None


def _length(span: tuple[float, float], share: float, scale: float) -> float:
    """A part of a fold's length; of a short one more, for the tabs' sake."""
    whole = span[1] - span[0]
    return max(share * whole * max(scale, 0.5), min(whole, _TAB_LENGTH_MM))


def _reach(room: FoldRoom, along: tuple[float, float], span: tuple[float, float]) -> float:
    """How far something may reach from the fold on the closed page; in a small gap no further than looks right."""
    return min(room.closed_depth(*along), 1.2 * (span[1] - span[0]))


def _tent(room: FoldRoom, span: tuple[float, float], at: float, scale: float) -> Sized:
    along = _stretch(span, at, _length(span, 0.4, scale))
    if along is None:
        return
    card, page = room.depth(*along), _reach(room, along, span)
    if room.flat_shut:
        base = 0.45 * min(card, page) * scale
        height = base
    elif room.ridge:
        base = 0.35 * card * scale
        height = base + min(0.6 * base, 0.9 * room.closed_depth(*along, -_UP))
    else:
        base = min(0.25 * page * scale, 0.6 * card)
        height = min(1.8 * base, page - base)
    for tab, worse in ((None, 0.0), ("outer", 0.2)):
        if base < (_TAB_BASE_MM if tab is None else SMALLEST_MM) or (tab is not None and base + 4.0 > card):
            continue
        low = rounded(base)
        values = {"at": along[0], "length": plain(along[1] - along[0]), "base": low}
        # Where it has to lie flat both are one number, and otherwise the height may be no less than the base.
        values["height"] = low if room.flat_shut else max(rounded(height), low)
        yield values | ({} if tab is None else {"tab": tab}), worse


def _platform(room: FoldRoom, span: tuple[float, float], at: float, scale: float) -> Sized:
    along = _stretch(span, at, _length(span, 0.4, scale))
    if along is None:
        return
    card, page = room.depth(*along), _reach(room, along, span)
    if room.flat_shut:
        base = max(0.25 * min(card, page) * scale, _TAB_BASE_MM)
        height = base
    else:
        base = max(0.055 * page * scale, _TAB_BASE_MM)
        height = max(0.27 * page * scale, 1.5 * base)
    width = min(max(0.33 * page * scale, 11.0), card - base - _EDGE_MM)
    if width < 10.5 or base + width + height > page or base + width > card:
        return
    low = rounded(base)
    sizes = {"base": low, "height": low if room.flat_shut else rounded(height), "width": rounded(width)}
    yield {"at": along[0], "length": plain(along[1] - along[0]), **sizes}, 0.0


def _box(room: FoldRoom, span: tuple[float, float], at: float, scale: float) -> Sized:
    if room.flat_shut or room.ridge:
        return
    along = _stretch(span, at, _length(span, 0.5, scale))
    if along is None:
        return
    card, page, length = room.depth(*along), _reach(room, along, span), plain(along[1] - along[0])
    base = min(0.22 * page * scale, 0.7 * card, 0.45 * length)
    height = min(1.4 * base, page - base)
    if base < _TAB_BASE_MM or height < 2 * SMALLEST_MM:
        return
    low = rounded(base)
    values = {"at": along[0], "length": plain(length), "base": low, "height": rounded(height)}
    # End walls that fold in need a length of two of their panels, and some room between their creases.
    yield values if length >= 2 * low + 2 else values | {"ends": "start"}, 0.0
    yield values | {"ends": "start"}, 0.3


def _accordion(room: FoldRoom, span: tuple[float, float], at: float, scale: float) -> Sized:
    if room.ridge:
        return
    # Its props stand in one half of its length each.
    along = _stretch(span, at, max(_length(span, 0.5, scale), min(span[1] - span[0], 2.2 * _TAB_LENGTH_MM)))
    if along is None:
        return
    card, page = room.depth(*along), _reach(room, along, span)
    whole = min(0.4 * page * scale, 0.8 * card)
    for shares, worse in (((0.3, 0.4, 0.3), 0.0), ((0.5, 0.5), 0.4)):
        bases = [rounded(share * whole) for share in shares]
        if min(bases) < _TAB_BASE_MM:
            continue
        heights = [base if room.flat_shut else rounded(1.7 * base) for base in bases]
        yield {"at": along[0], "length": plain(along[1] - along[0]), "bases": bases, "heights": heights}, worse


def _slit_cut_in(room: FoldRoom, span: tuple[float, float], at: float, scale: float) -> Sized:
    # The host is not to fall apart: some card stays at either end of the fold.
    span = (span[0] + _EDGE_MM, span[1] - _EDGE_MM)
    along = _stretch(span, at, 0.33 * (span[1] - span[0]) * max(scale, 0.4))
    if along is None:
        return
    deep = min(room.depth(*along), span[1] - span[0])
    width = rounded(min((0.33 if deep > 40.0 else 0.45) * deep * scale, deep - _EDGE_MM))
    if width < 3.0:
        return
    values = {"at": along[0], "length": plain(along[1] - along[0])}
    yield values | {"width": width}, 0.0
    yield values | {"width_start": 0, "width_end": width}, 0.5
    yield values | {"width_start": width, "width_end": 0}, 0.6


def _rider(room: FoldRoom, span: tuple[float, float], at: float, scale: float) -> Sized:
    along = _stretch(span, at, 0.25 * (span[1] - span[0]) * max(scale, 0.3))
    if along is None:
        return
    height = plain(along[1] - along[0])
    half = min(0.35 * room.depth(*along), room.closed_depth(*along)) * scale
    if half >= SMALLEST_MM:
        yield {"at": [0, plain(along[0] + height / 2)], "size": [rounded(2 * half), rounded(height)]}, 0.0


_KINDS: Mapping[str, Callable[[FoldRoom, tuple[float, float], float, float], Sized]] = {
    "v-fold": _v_fold,
    "tent": _tent,
    "platform": _platform,
    "box": _box,
    "accordion": _accordion,
    "slit-cut-in": _slit_cut_in,
    "rider": _rider,
}
