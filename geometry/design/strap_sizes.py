"""Starting sizes of straps: where two panels move about one direction, so that a row of panels can join them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from itertools import product
from typing import Any

import numpy as np
from shapely import LineString, Point, Polygon, box

from ..errors import HingeleafError
from ..outline import carried
from ..spread import Spread
from ..transforms import Array, apply, inverse, lift
from .room import PanelRoom, panel_room
from .starting_sizes import SCALES, SMALLEST_MM, Candidate, cheapest_first, plain, rounded

__all__ = ["strap_candidates"]

#: Openings at which the two panels are looked at.
_OPENINGS_RAD = np.radians(np.linspace(0.0, 180.0, 19))
#: Directions and places that differ by less are the same: some come from Newton's method.
_SAME, _SAME_MM = 1e-5, 1e-3
#: Rows are longer than their ends are ever apart by these shares, or they would come to a dead point.
_SLACKS = (1.25, 1.12, 1.6)
#: Where on the second panel its line is tried, as parts of what there is of it across the direction.
_PLACES = (0.5, 0.35, 0.65, 0.2, 0.8)
_BENDS = ("out", "in")
#: Nearest that a glue line comes to the edge of a panel, mm.
_EDGE_MM = 2.5
_UPWARDS = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class _Pair:
    """Two panels that turn against each other about one direction, or only shift.

    Parameters
    ----------
    rooms : first and second
    lines : (2,) float each; that direction in either's net coordinates, a unit vector
    poses : (n, 4, 4) float; from the second's net coordinates to the first's
    shift : float, mm; how much further along the direction the second's zero point lies than the first's
    page : the closed page less its margin, in the first's net coordinates; None where the first does not lie flat then
    """

    rooms: tuple[PanelRoom, PanelRoom]
    lines: tuple[Array, Array]
    poses: Array
    shift: float
    page: Polygon | None

    def distances(self, first: Array, second: Array) -> Array:
        """How far a place on the one is from a place on the other at every opening, (n,) float, mm."""
        return np.asarray(np.linalg.norm(apply(self.poses, second[None])[:, 0] - lift(first), axis=1))

    def lies_inside(self, first: Array, width: float) -> bool:
        """Whether a crease so far from a place on the first lies on the closed page, on one side of it or the other."""
        square = np.array([-self.lines[0][1], self.lines[0][0]])
        ends = (Point(first + sign * width * square) for sign in (1.0, -1.0))
        return self.page is None or any(self.page.covers(end) for end in ends)

    def faces(self, first: Array, second: Array) -> tuple[str, str]:
        """On which face of either a strap between two places stands, halfway open."""
        pose = self.poses[len(self.poses) // 2]
        heights = apply(pose, second[None])[0, 2], apply(inverse(pose), first[None])[0, 2]
        return tuple("front" if height >= 0.0 else "back" for height in heights)  # type: ignore[return-value]


def strap_candidates(
    spread: Spread, first: str, second: str, point_mm: tuple[float, float] | None
) -> Iterator[Candidate]:
    """Sizes for a strap from one panel to another.

    Parameters
    ----------
    spread : Spread
    first, second : panels
    point_mm : where the middle of its first glue line is wished for; None for the best place

    Raises
    ------
    HingeleafError
        No lines on the two panels stay parallel and across from each other.
    """
    pair = _pair(spread, first, second)
    places = _places(pair, point_mm)
    return cheapest_first((moved, partial(_made, pair, start, end, moved)) for start, end, moved in places)


def _made(pair: _Pair, start: Array, end: Array, least: float) -> Iterator[Candidate]:
    """Sizes of a strap between two places."""
    ends = tuple(zip(pair.rooms, (start, end), pair.lines, strict=True))
    broad = 0.3 * min(_extent(room, line) for room, _, line in ends)
    for widths, worse in _widths(pair.distances(start, end)):
        if len(widths) > 1 and not pair.lies_inside(start, widths[0]):
            continue
        for scale in SCALES[:4]:
            length = rounded(broad * scale)
            if length < 1.5 * SMALLEST_MM or not all(_on_card(*item, length) for item in ends):
                continue
            for number, bend in enumerate(_BENDS if len(widths) > 1 else _BENDS[:1]):
                values = _values(pair, (start, end), length) | {"widths": widths}
                values |= {} if bend == "out" else {"bend": bend}
                yield Candidate(values, least + worse - math.log(scale) + 0.4 * number)


def _pair(spread: Spread, first: str, second: str) -> _Pair:
    if first == second:
        raise HingeleafError("a strap goes from one panel to another; point at a second panel")
    poses = spread.pose(_OPENINGS_RAD).matrices
    seen = inverse(poses[first]) @ poses[second]
    seen = seen[np.isfinite(seen).all(axis=(1, 2))]
    if len(seen) < 2:
        raise HingeleafError(f"{first} and {second} cannot stand together at any opening; mend that first")
    turns, places = seen[:, :3, :3], seen[:, :3, 3]
    along = _direction(turns, places, (first, second))
    there = turns[0].T @ along
    if abs(along[2]) > _SAME or abs(there[2]) > _SAME:
        raise HingeleafError(_unparallel(first, second))
    shifts = places @ along
    if np.ptp(shifts) > _SAME_MM:
        raise HingeleafError(f"{first} and {second} slide along each other, which a strap would not let them")
    rooms = panel_room(spread, first), panel_room(spread, second)
    lines = along[:2] / np.hypot(*along[:2]), there[:2] / np.hypot(*there[:2])
    return _Pair(rooms, lines, seen, float(shifts.mean()), _page(spread, poses[first][0]))


def _page(spread: Spread, shut: Array) -> Polygon | None:
    if not np.isfinite(shut).all() or abs(abs(shut[2, 2]) - 1.0) > 1e-3:
        return None
    (width, height), margin = spread.page_size_mm, spread.margin_mm
    return carried(box(0.0, margin, width - margin, height - margin), inverse(shut))


def _unparallel(first: str, second: str) -> str:
    return f"no line on {first} stays parallel to one on {second}, which a strap's two ends must"


def _direction(turns: Array, places: Array, names: tuple[str, str]) -> Array:
    """The direction about which one panel turns as seen from the other, or across which it shifts, (3,) float."""
    spun = (turns @ turns[0].T - np.eye(3)).reshape(-1, 3)
    _, sizes, rows = np.linalg.svd(spun)
    if sizes[0] > _SAME:
        if sizes[2] > _SAME:
            raise HingeleafError(_unparallel(*names))
        return np.asarray(rows[2])
    ways = places - places[0]
    _, sizes, rows = np.linalg.svd(ways)
    if sizes[0] < _SAME_MM:
        raise HingeleafError(f"{names[0]} and {names[1]} do not move against each other; a strap would do nothing")
    normal = turns[0] @ _UPWARDS
    across = np.cross(_UPWARDS, rows[0] if abs(normal[2]) > 1 - _SAME else normal)
    size = float(np.linalg.norm(across))
    return np.asarray(across / size) if size > _SAME else np.array([1.0, 0.0, 0.0])


def _extent(room: PanelRoom, line: Array) -> float:
    """How far a panel extends along a direction, mm."""
    return float(np.ptp(np.asarray(room.card.exterior.coords) @ line))


def _places(pair: _Pair, point_mm: tuple[float, float] | None) -> Iterator[tuple[Array, Array, float]]:
    """Middles of the two glue lines, and a cost."""
    wish = np.round(pair.rooms[0].middle if point_mm is None else point_mm)
    square = np.array([-pair.lines[0][1], pair.lines[0][0]])
    reach = _extent(pair.rooms[0], square)
    long = _extent(pair.rooms[0], pair.lines[0])
    for share, drift in product((0.0, 0.12, -0.12, 0.25, -0.25, 0.4, -0.4), (0.0, 0.25, -0.25)):
        start = wish + share * reach * square + drift * long * pair.lines[0]
        if pair.rooms[0].card.contains(Point(start)):
            for end, worse in _opposite(pair, start):
                yield start, end, 2.0 * (abs(share) + abs(drift)) + worse


def _opposite(pair: _Pair, start: Array) -> Iterator[tuple[Array, float]]:
    """Places on the second panel across from one on the first: best where the two meet in the closed book."""
    room, line = pair.rooms[1], pair.lines[1]
    square = np.array([-line[1], line[0]])
    along = float(start @ pair.lines[0]) - pair.shift
    meeting = apply(inverse(pair.poses[0]), start[None])[0]
    if abs(meeting[2]) < _SAME_MM and room.card.contains(Point(meeting[:2])):
        yield meeting[:2], 0.0
    offsets = np.asarray(room.card.exterior.coords) @ square
    for number, share in enumerate(_PLACES):
        end = along * line + (offsets.min() + share * np.ptp(offsets)) * square
        if room.card.contains(Point(end)):
            yield end, 0.5 + 0.1 * number


def _widths(apart: Array) -> Iterator[tuple[list[float], float]]:
    """Panels of the row: one where the ends keep their distance; else two that are shut as far apart as differ."""
    shut, most = float(apart[0]), float(apart.max())
    if np.ptp(apart) < _SAME_MM:
        if most > SMALLEST_MM:
            yield [round(most, 6)], 0.0
        return
    for number, slack in enumerate(_SLACKS):
        whole = max(slack * most, shut + 4 * SMALLEST_MM)
        shorter = rounded((whole - shut) / 2)
        if shorter >= SMALLEST_MM:
            longer = shorter + shut
            for widths in ([shorter, longer],) if shut < _SAME_MM else ([shorter, longer], [longer, shorter]):
                yield [shorter] * 2 if shut < _SAME_MM else widths, 0.3 * number


def _on_card(room: PanelRoom, at: Array, line: Array, length: float) -> bool:
    """Whether a glue line lies on the card."""
    half = (length / 2) * line
    return bool(room.card.contains(LineString([at - half, at + half]).buffer(_EDGE_MM, cap_style="flat")))


def _values(pair: _Pair, places: tuple[Array, Array], length: float) -> dict[str, Any]:
    values: dict[str, Any] = {}
    faces = pair.faces(*places)
    for key, room, at, line, face in zip(("from", "to"), pair.rooms, places, pair.lines, faces, strict=True):
        turn = math.degrees(math.atan2(line[1], line[0]))
        values |= {key: room.panel, f"{key}_at": [plain(round(float(value), 6)) for value in at]}
        values |= {} if abs(turn - 90.0) < 1e-9 else {f"{key}_turn": plain(round(turn, 9))}
        values |= {} if face == "front" else {f"{key}_face": face}
    return values | {"length": length}
