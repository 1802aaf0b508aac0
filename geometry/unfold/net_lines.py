"""The lines of a net: what is cut, what is creased, and the card between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, MultiLineString, MultiPolygon, Polygon

from ..nets.classes import LineClass
from ..nets.lines import NetLine
from ..transforms import Array
from .data import Unfolded
from .placing import placed_rings
from .strips import following
from .tabs import Join

__all__ = ["NetLines", "folds_on_net", "net_lines"]

#: Corners nearer than this are one corner but for rounding, mm.
_ROUNDING_MM = 1e-5
#: What bends less is flat, radians: no crease is drawn.
_FLAT_RAD = 1e-5


@dataclass(frozen=True)
class NetLines:
    """A net's facets and tabs, and the lines about and between them.

    Parameters
    ----------
    facets : of each facet its outline on the net
    tabs : by their joins' labels
    folds : (n, 2, 2) float, mm; where facets hang together, creased or not
    hanging : position among the facets of the one that hangs at each fold
    rims : (m, 2, 2) float, mm; all other sides of facets
    cuts, creases : as they are drawn
    card : all of it
    """

    facets: tuple[Polygon, ...]
    tabs: dict[str, Polygon]
    folds: Array
    hanging: tuple[int, ...]
    rims: Array
    cuts: tuple[NetLine, ...]
    creases: tuple[NetLine, ...]
    card: MultiPolygon


def net_lines(unfolded: Unfolded, number: int, joins: Sequence[Join], smooth_rad: float) -> NetLines:
    """The lines of one net.

    Parameters
    ----------
    unfolded : Unfolded
    number : of the net
    joins : that have a side on it
    smooth_rad : creases that bend less are light

    Returns
    -------
    NetLines. Panels are named fN by their facets, N from 1, and t LABEL; creases fold-N by their edges, and tab-LABEL
    """
    corners = _Corners()
    rings = [[corners.shared(ring) for ring in each] for each in placed_rings(unfolded, number)]
    mine = [join for join in joins if join.tab is not None and join.sides[join.tab_side].net == number]
    tabs = {join.label: corners.shared(join.tab) for join in mine if join.tab is not None}
    found = folds_on_net(unfolded, number)
    folds = np.array([corners.shared(line) for _, line in found]).reshape(-1, 2, 2)
    edges = unfolded.nets[number].folds[[place for place, _ in found]].tolist()
    feet = np.array([corners.shared(join.sides[join.tab_side].line) for join in mine]).reshape(-1, 2, 2)
    sides = _sides([ring for each in rings for ring in each])
    rims = _without(sides, folds)
    facets = tuple(Polygon(each[0], each[1:]) for each in rings)
    shapes = {label: Polygon(tab) for label, tab in tabs.items()}
    cuts = _joined(_without(np.concatenate([rims, _sides(list(tabs.values()))]), feet))
    bends = unfolded.facets.bends
    creases = [
        _crease(line, f"fold-{edge + 1}", float(bends[edge]), smooth_rad)
        for line, edge in zip(folds, edges, strict=True)
        if abs(bends[edge]) > _FLAT_RAD
    ]
    creases += [
        _crease(foot, f"tab-{join.label}", float(bends[join.edge]), _FLAT_RAD)
        for foot, join in zip(feet, mine, strict=True)
    ]
    card = _card([*facets, *shapes.values()])
    hanging = tuple(place for place, _ in found)
    return NetLines(facets, shapes, folds, hanging, rims, tuple(cuts), tuple(creases), card)


class _Corners:
    """The corners of a net, each where it was seen first: what two outlines share is then the same to the last bit."""

    def __init__(self) -> None:
        self._known: dict[tuple[int, int], tuple[float, float]] = {}

    def shared(self, points: Array) -> Array:
        """Points, (k, 2) float, where their corners were seen first."""
        found = []
        for x, y in points.tolist():
            column, row = round(x / _ROUNDING_MM), round(y / _ROUNDING_MM)
            near = ((column + right, row + up) for right in (0, -1, 1) for up in (0, -1, 1))
            key = next((each for each in near if each in self._known), (column, row))
            found.append(self._known.setdefault(key, (x, y)))
        return np.array(found)


def folds_on_net(unfolded: Unfolded, number: int) -> list[tuple[int, Array]]:
    """The folds of a net: the position of the facet that hangs there, and the line, (2, 2) float, mm; the facet lies to
    its left."""
    facets, net = unfolded.facets, unfolded.nets[number]
    found = []
    for place, edge in enumerate(net.folds.tolist()):
        if edge < 0:
            continue
        facet = int(net.facets[place])
        frame, placed = facets.frames[facet], net.placed[place]
        ends = facets.vertices[facets.edges[edge]]
        flat = ((ends if facets.sides[edge, 0] == facet else ends[::-1]) - frame[:3, 3]) @ frame[:3, :2]
        found.append((place, np.asarray(flat @ placed[:, :2].T + placed[:, 2])))
    return found


def _crease(line: Array, name: str, bend: float, smooth_rad: float) -> NetLine:
    """A mountain bends away from the printed face."""
    way: LineClass = "valley" if bend < 0 else "mountain"
    return NetLine(way, line, hinge=name, light=abs(bend) < smooth_rad)


def _sides(rings: Sequence[Array]) -> Array:
    """All sides of rings, (n, 2, 2) float."""
    found = [np.stack([ring, np.roll(ring, -1, axis=0)], axis=1) for ring in rings]
    return np.concatenate([np.zeros((0, 2, 2)), *found])


def _without(sides: Array, lines: Array) -> Array:
    """The sides that are none of the lines, in either direction."""
    gone = {_ends(line) for line in lines.tolist()}
    return sides[[_ends(side) not in gone for side in sides.tolist()]] if len(sides) else sides


def _ends(line: Sequence[Sequence[float]]) -> tuple[tuple[float, ...], ...]:
    return tuple(sorted(tuple(end) for end in line))


def _joined(sides: Array) -> list[NetLine]:
    """What is cut, each side once, in lines as long as they go: slits and holes first, then outlines."""
    sides = _parted(sides)
    both: dict[tuple[tuple[float, ...], ...], list[int]] = {}
    for number, side in enumerate(sides.tolist()):
        both.setdefault(_ends(side), []).append(number)
    slits = [LineString(sides[numbers[0]]) for numbers in both.values() if len(numbers) > 1]
    merged = shapely.get_parts(shapely.line_merge(MultiLineString(slits)))
    lines = [NetLine("cut", shapely.get_coordinates(part)) for part in merged if not part.is_empty]
    loops = _loops(sides[[numbers[0] for numbers in both.values() if len(numbers) == 1]])
    loops.sort(key=lambda points: Polygon(points).area)
    return [*lines, *(NetLine("cut", points, True) for points in loops)]


def _loops(sides: Array) -> list[Array]:
    """Sides with the card to their left as closed lines; where the card meets itself in a point it is gone round."""
    after = following(sides)
    left = set(range(len(sides)))
    found = []
    for first in range(len(sides)):
        loop = []
        at = first
        while at in left:
            left.remove(at)
            loop.append(sides[at, 0])
            at = after[at]
        if len(loop) > 2:
            found.append(np.array(loop))
    return found


def _parted(sides: Array) -> Array:
    """Sides parted at each other's ends where two lie on each other: what both have is then the same in both.

    Where they only touch in a point they stay whole, so that an outline stays one line.
    """
    ends: dict[int, list[Array]] = {}
    for one, other in _along_each_other(sides):
        ends.setdefault(one, []).extend(sides[other])
    parts = [np.delete(sides, list(ends), axis=0)]
    for number, points in ends.items():
        start, end = sides[number]
        far = float(np.hypot(*(end - start)))
        along = {float((point - start) @ (end - start)) / far: point for point in points}
        stops = [along[at] for at in sorted(along) if _ROUNDING_MM < at < far - _ROUNDING_MM]
        parts.append(np.stack([[start, *stops], [*stops, end]], axis=1))
    return np.concatenate(parts)


def _along_each_other(sides: Array) -> list[tuple[int, int]]:
    """Pairs of sides that lie on each other for some way, each pair in both orders."""
    lines = np.array(shapely.linestrings(sides), dtype=object)
    one, other = shapely.STRtree(lines).query(lines, predicate="dwithin", distance=_ROUNDING_MM)
    one, other = one[one != other], other[one != other]
    starts, ways = sides[one, 0], sides[one, 1] - sides[one, 0]
    lengths = np.maximum(np.hypot(*ways.T), _ROUNDING_MM)
    ways = ways / lengths[:, None]
    moved = sides[other] - starts[:, None]
    along = np.einsum("nki,ni->nk", moved, ways)
    beside = np.abs(moved[..., 0] * ways[:, None, 1] - moved[..., 1] * ways[:, None, 0]).max(axis=1)
    shared = np.minimum(along.max(axis=1), lengths) - np.maximum(along.min(axis=1), 0.0)
    on = (shared > _ROUNDING_MM) & (beside < _ROUNDING_MM)
    return list(zip(one[on].tolist(), other[on].tolist(), strict=True))


def _card(shapes: Sequence[Polygon]) -> MultiPolygon:
    # Not on a grid: their corners are shared to the last bit already, and rounding again can part what hangs together.
    joined = shapely.union_all(shapes)
    return MultiPolygon([part for part in shapely.get_parts(joined) if isinstance(part, Polygon)])
