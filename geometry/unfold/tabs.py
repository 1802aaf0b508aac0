"""Tabs: on which side of each cut one is glued, its shape, and the number that both sides bear.

A tab lies behind the facet beyond its cut. Its ends slant by no more than half the angle of that facet's corner, and it
is no wider than where two such ends would meet, so that tabs which are glued behind one facet never lie on each other
(common practice).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import shapely
from shapely import Polygon

from ..errors import HingeleafError
from ..transforms import Array
from .data import Unfolded
from .placing import placed_rings

__all__ = ["Join", "JoinSide", "TabOptions", "joins_of"]

#: Of the angle of the corner that a tab is glued into, for each of two tabs that meet there.
_HALF = 0.48
#: Of the height at which the slanted ends would meet.
_OF_HEIGHT = 0.6
#: How much of its slant and its width a tab keeps where its neighbours leave less room; fuller ones are tried first.
_SLANTS, _WIDTHS = (1.0, 0.6, 0.3), (1.0, 0.7, 0.45)
#: A tab is at least so wide, mm, and this part of the width asked for.
_LEAST_MM, _LEAST_PART = 1.2, 0.2
#: Of its own area, what of a tab may lie on something: rounding.
_TOUCHING = 1e-6
_WIDEST_MM = 50.0


@dataclass(frozen=True)
class TabOptions:
    """How tabs are made.

    Parameters
    ----------
    width_mm : float, of a tab where there is room, above 0 to 50
    angle_deg : float, between a tab's end and its crease, 15 to 90
    edge_to_edge : True for no tabs at all, or the numbers of the edges that get none

    Raises
    ------
    HingeleafError
        A number is outside its limits.
    """

    width_mm: float = 6.0
    angle_deg: float = 55.0
    edge_to_edge: bool | frozenset[int] = False

    def __post_init__(self) -> None:
        """Refuse what cannot be made."""
        if not 0.0 < self.width_mm <= _WIDEST_MM:
            raise HingeleafError(f"tabs {self.width_mm:g} mm wide: write more than 0, up to {_WIDEST_MM:.0f} mm")
        if not 15.0 <= self.angle_deg <= 90.0:
            raise HingeleafError(f"tabs whose ends slant by {self.angle_deg:g} degrees: write 15 to 90 degrees")

    def wants(self, edge: int) -> bool:
        """Whether an edge is to have a tab."""
        if isinstance(self.edge_to_edge, bool):
            return not self.edge_to_edge
        return edge not in self.edge_to_edge


@dataclass(frozen=True)
class JoinSide:
    """One side of a cut.

    Parameters
    ----------
    net, facet : numbers
    line : (2, 2) float, mm; both ends of the cut on that net, the facet to the left
    """

    net: int
    facet: int
    line: Array


@dataclass(frozen=True)
class Join:
    """A cut that is glued together again.

    Parameters
    ----------
    edge : number of the edge
    label : the number that both sides bear
    sides : as the edge's facets
    tab : (k, 2) float, mm; counter-clockwise outline on its net, beginning with the two ends of its crease; None where
        the sides are joined edge to edge
    tab_side : 0 or 1, the side that the tab hangs on; -1 without one
    """

    edge: int
    label: str
    sides: tuple[JoinSide, JoinSide]
    tab: Array | None = None
    tab_side: int = -1


def joins_of(unfolded: Unfolded, options: TabOptions | None = None) -> tuple[Join, ...]:
    """The cuts of a mesh, numbered in an order in which they can be glued, with their tabs.

    Parameters
    ----------
    unfolded : Unfolded
    options : None for the defaults

    Returns
    -------
    tuple of Join: what closes a net first, then what joins a net to those before it. Where no side has room for a tab
    the join has none
    """
    options = options or TabOptions()
    sides = _sides(unfolded)
    order = _gluing_order(unfolded, sides)
    table = _Table(unfolded)
    joins = []
    for number, edge in enumerate(order, 1):
        pair = sides[edge]
        tab, side = (None, -1)
        if options.wants(edge) and pair[0].facet != pair[1].facet:
            tab, side = table.put(edge, pair, options)
        joins.append(Join(edge, str(number), pair, tab, side))
    return tuple(joins)


def _sides(unfolded: Unfolded) -> dict[int, tuple[JoinSide, JoinSide]]:
    facets = unfolded.facets
    placed = {
        facet: (number, matrix)
        for number, net in enumerate(unfolded.nets)
        for facet, matrix in zip(net.facets.tolist(), net.placed, strict=True)
    }

    def side(edge: int, which: int) -> JoinSide:
        facet = int(facets.sides[edge, which])
        number, matrix = placed[facet]
        ends = facets.vertices[facets.edges[edge][:: 1 - 2 * which]]
        frame = facets.frames[facet]
        flat = (ends - frame[:3, 3]) @ frame[:3, :2]
        return JoinSide(number, facet, np.asarray(flat @ matrix[:, :2].T + matrix[:, 2]))

    return {edge: (side(edge, 0), side(edge, 1)) for edge in unfolded.cuts.tolist()}


def _gluing_order(unfolded: Unfolded, sides: Mapping[int, tuple[JoinSide, JoinSide]]) -> list[int]:
    """Net by net: what closes it, from its first facet outwards, then what joins it to the nets before it."""
    place = {facet: at for net in unfolded.nets for at, facet in enumerate(net.facets.tolist())}

    def key(edge: int) -> tuple[int, int, int, int]:
        nets = sorted(side.net for side in sides[edge])
        return nets[1], int(nets[0] != nets[1]), max(place[side.facet] for side in sides[edge]), edge

    return sorted(sides, key=key)


class _Table:
    """The nets as they lie, and the tabs that they have so far."""

    def __init__(self, unfolded: Unfolded) -> None:
        facets = self.facets = unfolded.facets
        self.areas = facets.areas_mm2
        self.flat = [_polygon(rings) for rings in facets.flat]
        self.nets = [_Lying(placed_rings(unfolded, number)) for number in range(len(unfolded.nets))]
        self.counts = [len(net.facets) for net in unfolded.nets]
        #: Of each facet what is glued behind it so far, in its own plane.
        self.glued: dict[int, list[Polygon]] = {}

    def put(self, edge: int, sides: tuple[JoinSide, JoinSide], options: TabOptions) -> tuple[Array | None, int]:
        """The better of the tabs that have room on either side; None and -1 where neither has."""
        best: tuple[float, Array, int] | None = None
        for number, (own, other) in enumerate((sides, sides[::-1])):
            tab = self._largest(edge, own, other, options)
            if tab is None:
                continue
            worth = self._worth(tab, own, other, options)
            if best is None or worth > best[0] + 1e-9:
                best = worth, tab, number
        if best is None:
            return None, -1
        _, tab, number = best
        own, other = sides[number], sides[1 - number]
        self.nets[own.net].add(tab, own.line)
        behind = self._laid(edge, own, other).back(Polygon(tab))
        self.glued.setdefault(other.facet, []).append(behind)
        return tab, number

    def _worth(self, tab: Array, own: JoinSide, other: JoinSide, options: TabOptions) -> float:
        """What a hand likes: a full tab on a large facet, not beside another tab, on the smaller of two nets."""
        length = float(np.hypot(*(own.line[1] - own.line[0])))
        full = Polygon(tab).area / (length * min(options.width_mm, length / 2))
        beside = self.nets[own.net].tabs_at(own.line)
        tiny = float(self.areas[own.facet] < options.width_mm**2)
        larger = float((self.counts[own.net], -own.net) > (self.counts[other.net], -other.net))
        return full - 0.25 * beside - 0.5 * tiny - 0.3 * larger

    def _largest(self, edge: int, own: JoinSide, other: JoinSide, options: TabOptions) -> Array | None:
        """The largest tab on one side that fits behind the other facet and has room on its own net."""
        laid = self._laid(edge, own, other)
        host = laid.onto(self.flat[other.facet])
        corners = _corner_angles(host, own.line)
        net, behind = self.nets[own.net], np.array(self.glued.get(other.facet, []), dtype=object)
        least = max(_LEAST_MM, _LEAST_PART * options.width_mm)
        for tab in _tabs(own.line, corners, options, least):
            shape = Polygon(tab)
            if shapely.area(shapely.difference(shape, host)) > _TOUCHING * shape.area + 1e-9:
                continue
            if _is_clear(behind, laid.back(shape)) and net.has_room(shape):
                return tab
        return None

    def _laid(self, edge: int, own: JoinSide, other: JoinSide) -> _Laid:
        """How the facet that a tab of one side is glued behind lies on that side's net, beyond the cut."""
        frame = self.facets.frames[other.facet]
        which = 0 if int(self.facets.sides[edge, 0]) == own.facet else 1
        ends = (self.facets.vertices[self.facets.edges[edge][:: 1 - 2 * which]] - frame[:3, 3]) @ frame[:3, :2]
        before, after = _complex(ends), _complex(own.line)
        turn = (after[1] - after[0]) / (before[1] - before[0])
        turn /= abs(turn)
        return _Laid(complex(turn), complex(after.mean() - turn * before.mean()))


@dataclass(frozen=True)
class _Laid:
    """A turn and a shift of the plane as complex numbers: from a facet's own plane to a net."""

    turn: complex
    shift: complex

    def onto(self, shape: Polygon) -> Polygon:
        """A shape of the facet's plane on the net."""
        return shapely.transform(shape, lambda points: _points(self.turn * _complex(points) + self.shift))

    def back(self, shape: Polygon) -> Polygon:
        """A shape on the net in the facet's plane."""
        return shapely.transform(shape, lambda points: _points((_complex(points) - self.shift) / self.turn))


class _Lying:
    """A net's facets, and the tabs that hang on it so far."""

    def __init__(self, rings: Sequence[Sequence[Array]]) -> None:
        self.shapes = np.array([_polygon(each) for each in rings], dtype=object)
        self.tree = shapely.STRtree(self.shapes)
        self.cell = max(1.0, float(np.median(np.sqrt(shapely.area(self.shapes)))))
        self.tabs: dict[tuple[int, int], list[Polygon]] = {}
        self.corners: dict[tuple[int, int], int] = {}

    def has_room(self, shape: Polygon) -> bool:
        """Whether a tab would lie on nothing."""
        near = [tab for cell in self._cells(shape) for tab in self.tabs.get(cell, ())]
        under = np.concatenate([self.shapes[self.tree.query(shape)], np.array(near, dtype=object)])
        return _is_clear(under, shape)

    def tabs_at(self, line: Array) -> int:
        """How many tabs there are at the ends of a line."""
        return sum(self.corners.get(_key(end), 0) for end in line)

    def add(self, tab: Array, line: Array) -> None:
        """Hang a tab on it."""
        shape = Polygon(tab)
        for cell in self._cells(shape):
            self.tabs.setdefault(cell, []).append(shape)
        for end in line:
            self.corners[_key(end)] = self.corners.get(_key(end), 0) + 1

    def _cells(self, shape: Polygon) -> Iterator[tuple[int, int]]:
        left, low, right, high = (int(np.floor(bound / self.cell)) for bound in shape.bounds)
        return product(range(left, right + 1), range(low, high + 1))


def _tabs(line: Array, corners: tuple[float, float], options: TabOptions, least_mm: float) -> list[Array]:
    """Tabs of all slants and widths on a line, the largest first."""
    start, end = line
    along = (end - start) / np.hypot(*(end - start))
    out = np.array([along[1], -along[0]])
    length = float(np.hypot(*(end - start)))
    full = [min(np.radians(options.angle_deg), _HALF * corner) for corner in corners]
    found = []
    for first, second in product(_SLANTS, _SLANTS):
        in_start, in_end = 1 / np.tan(first * full[0]), 1 / np.tan(second * full[1])
        widest = min(options.width_mm, _OF_HEIGHT * length / (in_start + in_end))
        for part in _WIDTHS:
            width = part * widest
            # A short edge has a small tab; a long one none so narrow that it could not be glued.
            if width < min(least_mm, 0.25 * length):
                continue
            far = (start + width * (out + in_start * along), end + width * (out - in_end * along))
            found.append((width * (length - width * (in_start + in_end) / 2), np.array([end, start, *far])))
    return [tab for _, tab in sorted(found, key=lambda each: -each[0])]


def _corner_angles(host: Polygon, line: Array) -> tuple[float, float]:
    """The inner angles of a facet at both ends of a line that it lies to the right of, radians."""
    best = [np.pi / 2, np.pi / 2]
    for hole, ring in enumerate((host.exterior, *host.interiors)):
        points = _complex(shapely.get_coordinates(ring)[:-1])
        for number, end in enumerate(_complex(line)):
            at = int(np.argmin(np.abs(points - end)))
            if abs(points[at] - end) > 1e-6 * (1 + abs(line).max()):
                continue
            sense = 1.0 if ring.is_ccw == (hole == 0) else -1.0
            before, after = points[at - 1] - points[at], points[(at + 1) % len(points)] - points[at]
            best[number] = float((sense * np.angle(before / after)) % (2 * np.pi))
    return best[0], best[1]


def _polygon(rings: Sequence[Array]) -> Polygon:
    return Polygon(rings[0], rings[1:])


def _is_clear(others: np.ndarray, shape: Polygon) -> bool:
    """Whether a shape lies on none of the others, but for rounding."""
    if not len(others):
        return True
    return bool(np.all(shapely.area(shapely.intersection(others, shape)) <= _TOUCHING * shape.area + 1e-9))


def _points(numbers: np.ndarray) -> Array:
    return np.column_stack([numbers.real, numbers.imag])


def _complex(points: Array) -> np.ndarray:
    return np.asarray(points[:, 0] + 1j * points[:, 1])


def _key(point: Array) -> tuple[int, int]:
    return int(np.round(point[0] * 1e3)), int(np.round(point[1] * 1e3))
