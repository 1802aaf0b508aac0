"""Cut lines and creases of a piece, from the outlines of its panels and its hinge lines.

The outlines of a piece first get common corners wherever they touch. Then a bit of outline on a hinge line that
borders both panels of that hinge is a crease; every other bit is a cut. Cuts around the card become closed rings; cuts
within it (slits) become as few open lines as their crossings allow, each once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LinearRing, LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from ..tolerances import GRID_MM, TOUCH_MM
from ..transforms import Array

__all__ = ["PieceLines", "RawLine", "card_of", "find_lines"]

#: Corners nearer than this are the same corner but for rounding.
_ROUNDING_MM = 10 * GRID_MM


@dataclass(frozen=True)
class RawLine:
    """A line of a net.

    Parameters
    ----------
    points : (n, 2) float, mm; a closed line does not repeat its first point
    closed : whether it returns to its first point
    owner : the panel (cut) or the hinge (crease) it belongs to; None where it belongs to several
    """

    points: Array
    closed: bool
    owner: str | None


@dataclass(frozen=True)
class PieceLines:
    """The lines of one piece: slits and holes first, then the outline, as a knife should go; and its creases."""

    cuts: tuple[RawLine, ...]
    creases: tuple[RawLine, ...]


def card_of(outlines: Sequence[Polygon]) -> MultiPolygon:
    """The card of a piece: its panels joined along their shared edges.

    Parameters
    ----------
    outlines : of all its panels, mm

    Returns
    -------
    MultiPolygon, without the slivers that rounding leaves between panels
    """
    joined = shapely.union_all(np.array(_matched(outlines, np.zeros((0, 2))), dtype=object))
    parts = [part for part in shapely.get_parts(joined) if isinstance(part, Polygon)]
    return MultiPolygon([_without_slivers(part) for part in parts])


def _without_slivers(part: Polygon) -> Polygon:
    holes = [hole for hole in part.interiors if not Polygon(hole).buffer(-TOUCH_MM).is_empty]
    return Polygon(part.exterior, holes)


def _matched(outlines: Sequence[Polygon], points: Array) -> list[Polygon]:
    """The same outlines with common corners: where two touch, both have the same corners, to the last bit.

    A corner that lies on another outline's edge by construction misses it by the rounding of a few operations; an
    overlay would leave slivers there.
    """
    known = _distinct(points)
    matched: list[Polygon] = []
    for outline in outlines:
        # Without the grid that an outline may carry from an earlier overlay: it would move the common corners again.
        matched.append(_snapped(shapely.set_precision(outline, 0.0), known))
        known = _with_new(known, np.unique(shapely.get_coordinates(matched[-1]), axis=0))
    return [_snapped(outline, known) for outline in matched]


def _distinct(points: Array) -> Array:
    """Points without those that are another one but for rounding."""
    kept: list[Array] = []
    for point in points:
        if all(np.hypot(*(point - other)) > _ROUNDING_MM for other in kept):
            kept.append(point)
    return np.array(kept).reshape(-1, 2)


def _with_new(known: Array, points: Array) -> Array:
    """Known points and those of others that are none of them but for rounding.

    Were all kept, a corner would be snapped to several that are almost one, and the outline cross itself there.
    """
    tree = shapely.STRtree(np.asarray(shapely.points(known)))
    near = tree.query(shapely.points(points), predicate="dwithin", distance=_ROUNDING_MM)[0]
    return np.concatenate([known, np.delete(points, np.unique(near), axis=0)])


def _snapped(outline: Polygon, points: Array) -> Polygon:
    """An outline with a corner at each of the points that lie on it."""
    border = outline.boundary
    shapely.prepare(border)
    near = points[shapely.dwithin(border, shapely.points(points), _ROUNDING_MM)] if len(points) else points
    snapped = shapely.snap(outline, shapely.multipoints(near), _ROUNDING_MM)
    # Two points nearer to each other than to the outline's own can make it run there and back.
    return snapped if isinstance(snapped, Polygon) and snapped.is_valid else outline


def find_lines(outlines: Mapping[str, Polygon], hinges: Mapping[str, tuple[Array, tuple[str, str]]]) -> PieceLines:
    """Cut lines and creases of one piece.

    Parameters
    ----------
    outlines : of every panel of the piece, by name, mm
    hinges : by name, the hinge line, (2, 2) float, mm, and its two panels

    Returns
    -------
    PieceLines
    """
    ends = np.concatenate([np.zeros((0, 2)), *(line for line, _ in hinges.values())])
    matched = _matched(list(outlines.values()), ends)
    borders = {name: outline.boundary for name, outline in zip(outlines, matched, strict=True)}
    shapely.prepare(list(borders.values()))
    bits = _bits(list(borders.values()))
    middles = shapely.points(bits.mean(axis=1))
    on_border = {name: shapely.dwithin(border, middles, TOUCH_MM) for name, border in borders.items()}
    creased = np.zeros(len(bits), dtype=bool)
    creases: list[RawLine] = []
    for name, (line, (first, second)) in hinges.items():
        straight = LineString(line)
        ends_on = np.all(shapely.dwithin(straight, shapely.points(bits), TOUCH_MM), axis=1)
        mine = ends_on & on_border[first] & on_border[second]
        creases.extend(RawLine(points, False, name) for points in _straight_runs(bits[mine], line))
        creased |= mine
    card = card_of(matched)
    edge = card.boundary
    shapely.prepare(edge)
    inner = ~creased & ~shapely.dwithin(edge, middles, TOUCH_MM)
    slits = [RawLine(points, False, _owner(points, False, borders)) for points in _chains(bits[inner])]
    return PieceLines((*slits, *_rings(card, borders)), tuple(creases))


def _bits(borders: Sequence[BaseGeometry]) -> Array:
    """Straight bits of matched outlines, (n, 2, 2) float; each once, also where two outlines share it."""
    chains = [shapely.get_coordinates(ring) for border in borders for ring in shapely.get_parts(border)]
    bits = np.concatenate([np.stack([chain[:-1], chain[1:]], axis=1) for chain in chains])
    backwards = (bits[:, 0, 0] > bits[:, 1, 0]) | ((bits[:, 0, 0] == bits[:, 1, 0]) & (bits[:, 0, 1] > bits[:, 1, 1]))
    bits[backwards] = bits[backwards][:, ::-1]
    return np.unique(bits.reshape(-1, 4), axis=0).reshape(-1, 2, 2)


def _straight_runs(bits: Array, line: Array) -> list[Array]:
    """Bits of one straight line joined where they meet, each run from its start to its end along the line."""
    if not len(bits):
        return []
    along = (line[1] - line[0]) / np.hypot(*(line[1] - line[0]))
    places = (bits - line[0]) @ along
    order = np.argsort(places.min(axis=1), kind="stable")
    runs: list[list[Array]] = []
    reach = -np.inf
    for index in order:
        start, end = bits[index][np.argsort(places[index])]
        if places[index].min() > reach + TOUCH_MM:
            runs.append([start, end])
        else:
            runs[-1][1] = end
        reach = places[index].max()
    return [np.array(run) for run in runs]


def _chains(bits: Array) -> list[Array]:
    """Bits joined into as few open lines as possible; where three or more meet, the straightest two go on."""
    if not len(bits):
        return []
    merged = shapely.line_merge(shapely.multilinestrings([LineString(bit) for bit in bits]))
    chains = [shapely.get_coordinates(part) for part in shapely.get_parts(merged)]
    while (pair := _straightest_pair(chains)) is not None:
        first, second, joined = pair
        chains = [chain for index, chain in enumerate(chains) if index not in (first, second)]
        chains.append(joined)
    chains = [_plain(chain, False) for chain in chains]
    return sorted(chains, key=lambda chain: (chain[:, 1].min(), chain[:, 0].min(), len(chain)))


def _straightest_pair(chains: list[Array]) -> tuple[int, int, Array] | None:
    """Two open chains that share an end, go on within 30 degrees there, and do so straightest."""
    best: tuple[float, int, int, Array] | None = None
    for first in range(len(chains)):
        for second in range(first + 1, len(chains)):
            for a in (chains[first], chains[first][::-1]):
                for b in (chains[second], chains[second][::-1]):
                    if np.hypot(*(a[-1] - b[0])) > GRID_MM:
                        continue
                    u, v = a[-1] - a[-2], b[1] - b[0]
                    straight = float(u @ v / np.hypot(*u) / np.hypot(*v))
                    if straight > np.cos(np.pi / 6) and (best is None or straight > best[0]):
                        best = (straight, first, second, np.concatenate([a, b[1:]]))
    return best[1:] if best is not None else None


def _rings(card: MultiPolygon, borders: Mapping[str, BaseGeometry]) -> list[RawLine]:
    """Holes, then outlines, of the card."""
    holes = [hole for part in card.geoms for hole in part.interiors]
    outer = [part.exterior for part in card.geoms]
    rings = [_plain(shapely.get_coordinates(ring)[:-1], True) for ring in [*holes, *outer]]
    return [RawLine(points, True, _owner(points, True, borders)) for points in rings]


def _owner(points: Array, closed: bool, borders: Mapping[str, BaseGeometry]) -> str | None:
    """The only panel that the whole line borders; None where it borders several."""
    line = LinearRing(points) if closed else LineString(points)
    bits = shapely.get_coordinates(line)
    middles = shapely.points((bits[:-1] + bits[1:]) / 2)
    touched = [name for name, border in borders.items() if shapely.dwithin(border, middles, TOUCH_MM).any()]
    return touched[0] if len(touched) == 1 else None


def _plain(points: Array, closed: bool) -> Array:
    """The same line without the points that noding put on its straight stretches."""
    line = LinearRing(points) if closed else LineString(points)
    coords: Array = shapely.get_coordinates(line.simplify(4 * GRID_MM, preserve_topology=False))
    return coords[:-1] if closed else coords
