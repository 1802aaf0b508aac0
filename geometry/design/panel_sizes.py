"""Starting sizes on a panel: of riders, flaps, pull-strips and wheels; and of layers in a box."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import Any

import numpy as np
import shapely
from shapely import LineString, Point, Polygon, box
from shapely.affinity import rotate, translate

from ..description.data import MechanismSpec
from ..transforms import Array
from .room import PanelRoom
from .starting_sizes import SCALES, SMALLEST_MM, Candidate, cheapest_first, plain, rounded, slides

__all__ = ["layer_candidates", "panel_candidates"]

#: How far from the place asked for it is tried, as a part of the panel's size, and in so many directions.
_RINGS = (0.1, 0.22, 0.38)
_AROUND = 8
_MOVE_COST = 2.0
#: How far a tab reaches.
_TAB_MM = 10.0
#: Of a pull-strip: half a guide along it and how far it is glued on either side (with its play), and the handle.
_HALF_GUIDE_MM, _EAR_MM, _HANDLE_MM = 4.0, 9.0, 12.0
#: Nearest that the outer guide comes to the edge, mm.
_EDGE_MM = 3.0
#: Of a wheel: how far its rim stands out for a finger, and card between its windows and rim or pivot.
_RIM_MM, _NECK_MM = 5.0, 3.5

Sized = Iterator[tuple[dict[str, Any], float]]


def panel_candidates(room: PanelRoom, kind: str, point_mm: tuple[float, float] | None) -> Iterator[Candidate]:
    """Sizes for a mechanism on a panel, without the key panel.

    Parameters
    ----------
    room : PanelRoom
    kind : rider, flap, pull-strip or wheel
    point_mm : where its middle is wished for, in net coordinates (of a pull-strip its inner end, of a wheel its pivot);
        None for its best place
    """
    wish = room.middle if point_mm is None else point_mm

    def made(place: tuple[float, float], scale: float, least: float) -> Iterator[Candidate]:
        for values, worse in _KINDS[kind](room, np.array(place), scale):
            yield Candidate(values, least + worse)

    starts = [((x, y), scale, moved - math.log(scale)) for x, y, moved in _places(room, wish) for scale in SCALES]
    return cheapest_first((least, partial(made, place, scale, least)) for place, scale, least in starts)


def _places(room: PanelRoom, wish: tuple[float, float]) -> Iterator[tuple[float, float, float]]:
    """Places about the one wished for, on whole millimetres: x, y, cost."""
    reach = max(room.size)
    yield round(wish[0]), round(wish[1]), 0.0
    for share in _RINGS:
        for step in range(_AROUND):
            angle = 2 * math.pi * step / _AROUND
            x, y = wish[0] + share * reach * math.cos(angle), wish[1] + share * reach * math.sin(angle)
            if room.card.contains(Point(x, y)):
                yield round(x), round(y), _MOVE_COST * share
    x, y = room.middle
    yield round(x), round(y), _MOVE_COST * math.hypot(x - wish[0], y - wish[1]) / reach


def _turned(shape: Polygon, turn_deg: float, at: Array) -> Polygon:
    """A shape about 0, 0, turned and moved to a place."""
    moved: Polygon = translate(rotate(shape, turn_deg, origin=(0, 0)), float(at[0]), float(at[1]))
    return moved


def _ways(room: PanelRoom) -> list[tuple[int, float]]:
    """The four directions of the net, degrees, the one away from where the panel turns first; with a cost each."""
    first = round(math.degrees(math.atan2(room.away[1], room.away[0])) / 90) * 90
    return [
        (int((first + turn + 180) % 360 - 180), cost) for turn, cost in ((0, 0.0), (90, 0.2), (-90, 0.2), (180, 0.4))
    ]


def _rider(room: PanelRoom, at: Array, scale: float) -> Sized:
    width, height = (rounded(max(0.35 * size * scale, SMALLEST_MM)) for size in room.size)
    if room.front.contains(_turned(box(-width / 2, -height / 2, width / 2, height / 2), 0.0, at)):
        yield {"at": _plain(at), "size": [width, height]}, 0.0


def _flap(room: PanelRoom, at: Array, scale: float) -> Sized:
    length = rounded(0.3 * min(room.size) * scale)
    if length < 2 * SMALLEST_MM:
        return
    for turn, worse in _ways(room):
        out = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
        hinge = np.round(2 * (at - out * length / 2)) / 2
        whole = _turned(box(-_TAB_MM, -length / 2, length, length / 2), turn, hinge)
        if room.front.contains(whole):
            values = {"at": _plain(hinge), "turn": turn, "length": length}
            yield values, worse
            # Where something stands behind it, it opens less far.
            yield values | {"opens_to": 100}, worse + 0.3


def _plain(point: Array) -> list[float]:
    return [plain(value) for value in point.tolist()]


def _pull_strip(room: PanelRoom, at: Array, scale: float) -> Sized:
    """From the place to an edge, its handle beyond it: the page's fore edge before head and foot."""
    for turn, worse in _ways(room):
        out = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
        edge = _edge_along(room, at, out)
        if edge < 30.0:
            continue
        # The outer guide keeps off the edge, and where the page has a margin out of that too.
        for inset, nearer in ((_EDGE_MM, 0.0), (2 * _EDGE_MM, 0.1)):
            sizes = _strip_sizes(room, edge, inset, scale)
            for face, hidden in (("front", 0.0), ("back", 0.15)):
                if sizes is not None and _slides_free(room, at, turn, edge, sizes, face):
                    own: dict[str, Any] = {"face": face} if face == "back" else {}
                    yield {"at": _plain(at), "turn": turn, **sizes, **own}, worse + nearer + hidden


def _strip_sizes(room: PanelRoom, edge: float, inset: float, scale: float) -> dict[str, Any] | None:
    """Of a pull-strip that begins so far from an edge; None where that is too near."""
    width = rounded(min(20.0, 0.15 * min(room.size)) * max(scale, 0.5))
    travel = rounded(0.25 * edge * scale)
    last = rounded(edge - _HALF_GUIDE_MM - inset)
    first = rounded(max(0.5 * edge, travel + _HALF_GUIDE_MM + 1.0))
    if width < 8.0 or travel < SMALLEST_MM or last - first < 2 * _HALF_GUIDE_MM + 2.0:
        return None
    sizes = {"length": rounded(edge + _HANDLE_MM), "width": width, "travel": travel, "guides": [first, last]}
    return sizes | {"beyond": plain(_HANDLE_MM + travel)}


def _slides_free(room: PanelRoom, at: Array, turn: int, edge: float, sizes: Mapping[str, Any], face: str) -> bool:
    """Whether strip and guides lie on what is free of a face."""
    half, (first, last) = sizes["width"] / 2, sizes["guides"]
    lane = box(0.0, -half, edge - 2.5, half)
    ears = box(first - _HALF_GUIDE_MM, -half - _EAR_MM, last + _HALF_GUIDE_MM, half + _EAR_MM)
    return all(room.free(face).contains(_turned(shape, turn, at)) for shape in (lane, ears))


def _edge_along(room: PanelRoom, at: Array, out: Array) -> float:
    """How far it is from a place to the edge of the card in a direction, mm; 0 where that edge is a fold."""
    far = sum(room.size)
    line = LineString([at, at + far * out]).intersection(room.card)
    for part in shapely.get_parts(line):
        if part.distance(Point(at)) < 1e-6 and part.length > 0:
            end = at + part.length * out
            # Where it turns on another panel there is no edge to reach over.
            return 0.0 if out @ room.away < -0.9 or math.isnan(end[0]) else float(part.length)
    return 0.0


def _wheel(room: PanelRoom, at: Array, scale: float) -> Sized:
    """Behind the panel, the rim out of its nearest edge; or inside it, under a slot for a finger."""
    pivot = Point(at)
    if not room.card.contains(pivot):
        return
    for turn, worse in _ways(room):
        out = np.array([math.cos(math.radians(turn)), math.sin(math.radians(turn))])
        edge = _edge_along(room, at, out)
        radius = rounded(edge + _RIM_MM) if edge else 0.0
        if not 16.0 <= radius <= 0.45 * max(room.size) or scale < 1.0:
            continue
        beyond = math.ceil(radius - edge)
        rest = pivot.buffer(radius).difference(_beyond_edge(at, out, edge))
        if room.back.buffer(2.0).contains(rest.buffer(-0.5)):
            window = _window(radius)
            if window is not None and room.front.contains(_turned(window, 0.0, at)):
                yield {"at": _plain(at), "radius": radius, "window": [_ring(window)], "beyond": beyond}, worse
    radius = rounded(0.28 * min(room.size) * scale)
    window, slot = _window(radius), box(-8.0, -radius - _NECK_MM, 8.0, -radius + _NECK_MM)
    disc = pivot.buffer(radius)
    if window is None or radius < 16.0 or not room.back.contains(disc):
        return
    if all(room.front.contains(_turned(shape, 0.0, at)) for shape in (window, slot)):
        yield {"at": _plain(at), "radius": radius, "window": [_ring(window)], "slot": [_ring(slot)]}, 0.8


def _beyond_edge(at: Array, out: Array, edge: float) -> Polygon:
    """All that lies beyond an edge square to a direction."""
    turn = math.degrees(math.atan2(out[1], out[0]))
    return _turned(box(edge - 2.5, -1e4, 1e4, 1e4), turn, at)


def _window(radius: float) -> Polygon | None:
    """A window that shows the upper part of a wheel, clear of its pivot and its rim; None where there is no room."""
    low, high, half = 2.0 + _NECK_MM, 0.75 * radius, 0.5 * radius
    if high - low < SMALLEST_MM:
        return None
    low, high, half = (rounded(size) for size in (low, high, half))
    return Polygon([(-half, low), (half, low), (0.6 * half, high), (-0.6 * half, high)])


def _ring(shape: Polygon) -> list[list[float]]:
    return [[plain(round(x, 1)), plain(round(y, 1))] for x, y in shape.exterior.coords[:-1]]


_KINDS: Mapping[str, Callable[[PanelRoom, Array, float], Sized]] = {
    "rider": _rider,
    "flap": _flap,
    "pull-strip": _pull_strip,
    "wheel": _wheel,
}


def layer_candidates(box_spec: MechanismSpec, at_mm: float | None) -> Iterator[Candidate]:
    """Sizes for a layer in a box, the key box among them; at_mm from the box's start; the best first."""
    length, height = float(box_spec.values["length"]), float(box_spec.values["height"])
    usual = {"end": "end", "in": "start", "out": "start"}.get(box_spec.values.get("ends", "in"), "start")
    found = []
    for at, moved in slides((SMALLEST_MM, length - SMALLEST_MM), length / 2 if at_mm is None else at_mm):
        for towards in ("start", "end"):
            for share in (1.0, 0.8, 0.6):
                values: dict[str, Any] = {"box": box_spec.id, "at": at}
                values |= {} if towards == "start" else {"towards": towards}
                values |= {} if share == 1.0 else {"height": rounded(share * height)}
                worse = 0.0 if towards == usual else 0.3
                found.append(Candidate(values, moved + worse - 3 * math.log(share)))
    return iter(sorted(found, key=lambda candidate: candidate.cost))
