"""The ways in which one dimension can be drawn: with its line here or there, its text in the middle or at an end.

As in technical drawings (ISO 129-1, recalled): thin continuous lines, arrowheads, extension lines that begin a little
off what is measured and end a little beyond the dimension line, the text above its line and readable from below or from
the right, angles as arcs. Where there is no room between the arrowheads they point inwards from outside.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ..tolerances import CHORD_MM
from ..transforms import Array
from .lettering import CAP_HEIGHT, text_width_mm
from .lines import NetText, readable
from .measures import Dimension, Round, Sector, Span

__all__ = ["Form", "forms_of"]

_HEAD_MM = np.array([2.2, 0.5])
#: An extension line begins so far off what is measured, and ends so far beyond the dimension line.
_OFF_MM, _BEYOND_MM = 0.8, 1.2
#: Between a dimension line and the capitals above it.
_ABOVE_MM = 1.0
#: A line goes on so far beyond arrowheads that point inwards, and so far before a text that stands beside it.
_OUTSIDE_MM, _BESIDE_MM = 4.5, 3.2
#: Nearer than this nothing but the arrowheads has room.
_SHORT_MM = 7.0
_STEP_MM, _AROUND_MM = 2.0, 26.0
_RADII_MM = (7.0, 9.0, 11.0, 13.0, 15.0, 17.5, 20.0, 23.0, 26.0, 30.0, 34.0)
_ON_LINE_MM = 0.05
#: A line whose direction's y is more has, at a pinch, its text level beside it.
_STEEP = 0.9


@dataclass(frozen=True)
class Form:
    """One way to draw a dimension.

    Parameters
    ----------
    size : what is dimensioned
    text : NetText
    main : (n, 2) float, mm; the dimension line or arc
    extensions : (m, 2, 2) float, mm
    heads : arrowheads, (3, 2) float, mm each
    strain : how far it is from how one would rather draw it
    """

    size: Dimension
    text: NetText
    main: Array
    extensions: Array
    heads: tuple[Array, ...]
    strain: float


Box = tuple[float, float, float, float]


def forms_of(size: Dimension, segments: Array, box: Box, text_mm: float) -> Iterator[Form]:
    """Ways to draw a dimension.

    Parameters
    ----------
    size : Dimension
    segments : (n, 2, 2) float, mm; straight lines of the net, which need no extension lines
    box : (left, low, right, high) of the card, mm
    text_mm : float, font size
    """
    if isinstance(size, Span):
        yield from _spans(size, segments, box, text_mm)
    elif isinstance(size, Sector):
        yield from _sectors(size, segments, text_mm)
    else:
        yield from _rounds(size, text_mm)


def _head(tip: Array, way: Array) -> Array:
    """An arrowhead whose tip points along a unit vector."""
    back, aside = tip - _HEAD_MM[0] * way, _HEAD_MM[1] * np.array([-way[1], way[0]])
    return np.array([back + aside, tip, back - aside])


def _extent(segments: Array, through: Array, way: Array) -> list[tuple[float, float]]:
    """Where lines of the net lie on the line through a point, measured from it along a unit vector, joined."""
    square = np.array([-way[1], way[0]])
    on = np.all(np.abs((segments - through) @ square) < _ON_LINE_MM, axis=1)
    joined: list[tuple[float, float]] = []
    spans = np.sort((segments[on] - through) @ way, axis=1)
    for low, high in spans[np.argsort(spans[:, 0])]:
        if joined and low <= joined[-1][1] + _ON_LINE_MM:
            joined[-1] = (joined[-1][0], max(joined[-1][1], float(high)))
        else:
            joined.append((float(low), float(high)))
    return joined


def _from(extent: list[tuple[float, float]], place: float) -> float | None:
    """From where an extension line must run to a place; None where a line of the net is there already.

    It runs from the net's line that goes through the measured point itself, at 0.
    """
    through = [(low, high) for low, high in extent if low - _ON_LINE_MM <= 0.0 <= high + _ON_LINE_MM]
    low, high = through[0] if through else (0.0, 0.0)
    if low <= place <= high:
        return None
    return high if place > high else low


# Lengths


def _spans(size: Span, segments: Array, box: Box, text_mm: float) -> Iterator[Form]:
    along = size.along if (size.points[1] - size.points[0]) @ size.along > 0 else -size.along
    square = np.array([-along[1], along[0]])
    ends = (size.points @ along, size.points @ square)
    extents = [_extent(segments, point, square) for point in size.points]
    corners = np.array([(box[x], box[y]) for x in (0, 2) for y in (1, 3)]) @ square
    low, high = corners.min() - _AROUND_MM, corners.max() + _AROUND_MM
    middle = float(ends[1].mean())
    for place in np.concatenate([np.arange(middle, high, _STEP_MM), np.arange(middle - _STEP_MM, low, -_STEP_MM)]):
        extensions, strain = [], 0.0
        for point, at, extent in zip(size.points, ends[1], extents, strict=True):
            begin = _from(extent, float(place - at))
            if begin is not None:
                way = float(np.sign(place - at - begin))
                reach = abs(float(place - at - begin))
                strain += 0.1 * reach + 0.006 * reach**2
                off = min(_OFF_MM, reach / 2)
                extensions.append(point + np.array([[begin + way * off], [place - at + way * _BEYOND_MM]]) * square)
        line = np.array([ends[0][0] * along, ends[0][1] * along]) + place * square
        yield from _on_line(size, line, np.array(extensions).reshape(-1, 2, 2), strain, text_mm)


def _on_line(size: Span, line: Array, extensions: Array, strain: float, text_mm: float) -> Iterator[Form]:
    """A straight dimension line with its text in the middle, aside, or beyond one of its ends."""
    long = float(np.hypot(*(line[1] - line[0])))
    way = (line[1] - line[0]) / long
    width = text_width_mm(size.text, text_mm)
    short = long < _SHORT_MM
    heads = tuple(_head(tip, sign * way) for tip, sign in zip(line, (1.0, -1.0) if short else (-1.0, 1.0), strict=True))
    out = _OUTSIDE_MM if short else 0.0
    plain = np.array([line[0] - out * way, line[1] + out * way])
    if width < long - 0.5:
        free = (long - width) / 2 / long
        for shift, more in ((0.0, 0.0), (-0.45, 1.5), (0.45, 1.5), (-0.95, 3.0), (0.95, 3.0)):
            middle = line[0] + (0.5 + shift * free) * long * way
            yield Form(size, _above(size, middle, way, text_mm), plain, extensions, heads, strain + more)
    for tip, sign in zip(line, (-1.0, 1.0), strict=True):
        middle = tip + sign * (_BESIDE_MM + width / 2) * way
        main = np.array([plain[0] if sign > 0 else plain[1], tip + sign * (_BESIDE_MM + width) * way])
        text = _above(size, middle, way, text_mm)
        yield Form(size, text, main, extensions, heads, strain + (4.0 if short else 5.5))

    if abs(way[1]) > _STEEP:
        for sign in (-1.0, 1.0):
            place = (line[0] + line[1]) / 2 + np.array([sign * (width / 2 + _ABOVE_MM), 0.0])
            yield Form(size, NetText("label", size.text, place, text_mm), plain, extensions, heads, strain + 7.0)


def _above(size: Dimension, middle: Array, way: Array, text_mm: float) -> NetText:
    """The text above a line through a point."""
    turn = readable(float(np.arctan2(way[1], way[0])))
    up = np.array([-np.sin(turn), np.cos(turn)])
    return NetText("label", size.text, middle + (CAP_HEIGHT * text_mm / 2 + _ABOVE_MM) * up, text_mm, turn)


# Angles


def _sectors(size: Sector, segments: Array, text_mm: float) -> Iterator[Form]:
    legs = [size.leg(0.0), size.leg(1.0)]
    extents = [_extent(segments, size.apex, leg) for leg in legs]
    for radius in _RADII_MM:
        extensions = []
        for leg, extent in zip(legs, extents, strict=True):
            extensions += [size.apex + np.array([[low], [high]]) * leg for low, high in _gaps(extent, radius)]
        strain = 0.12 * abs(radius - 13.0) + 2.0 * len(extensions)
        yield from _on_arc(size, radius, np.array(extensions).reshape(-1, 2, 2), strain, text_mm)


def _gaps(extent: list[tuple[float, float]], radius: float) -> list[tuple[float, float]]:
    """Where extension lines must run along a leg, so that it is there from the apex to the arc."""
    gaps, reached = [], 0.0
    for low, high in sorted((low, high) for low, high in extent if high > _ON_LINE_MM):
        if low > reached + _ON_LINE_MM:
            gaps.append((reached, low))
        reached = max(reached, high)
        if reached >= radius:
            break
    if reached < radius:
        gaps.append((reached, radius + _BEYOND_MM))
    off = [(low + (_OFF_MM if low > 0.0 else 0.0), min(high, radius + _BEYOND_MM)) for low, high in gaps]
    return [(low, high) for low, high in off if high - low > _OFF_MM]


def _on_arc(size: Sector, radius: float, extensions: Array, strain: float, text_mm: float) -> Iterator[Form]:
    short = radius * abs(size.turn_rad) < _SHORT_MM
    over = _OUTSIDE_MM / radius / abs(size.turn_rad) if short else 0.0
    arc = _arc(size, radius, -over, 1.0 + over)
    heads = []
    for part, sign in ((0.0, -1.0), (1.0, 1.0)):
        leg = size.leg(part)
        # The head's chord, not its tangent, so that it lies on the arc.
        onward = np.sign(size.turn_rad) * sign * np.array([-leg[1], leg[0]]) * (-1.0 if short else 1.0)
        heads.append(_head(size.apex + radius * leg, _towards(onward, leg, _HEAD_MM[0] / radius / 2)))
    for part, more in ((0.5, 0.0), (0.3, 1.0), (0.7, 1.0), (0.12, 2.0), (0.88, 2.0)):
        leg = size.leg(part)
        tangent = readable(float(np.arctan2(leg[0], -leg[1])))
        for turn in (0.0, np.pi / 2, tangent):
            for inwards in (False, True):
                text = _beside_arc(size, radius * leg, leg, turn, text_mm, -1.0 if inwards else 1.0)
                if text is not None:
                    aside = more + (1.0 if turn == np.pi / 2 else 0.0) + (1.0 if inwards else 0.0)
                    yield Form(size, text, arc, extensions, tuple(heads), strain + aside)


def _towards(onward: Array, leg: Array, lean: float) -> Array:
    """A direction along an arc, leaning outwards: a chord that ends here comes from inside the tangent."""
    return np.asarray(np.cos(lean) * onward + np.sin(lean) * leg)


def _arc(size: Sector, radius: float, first: float, last: float) -> Array:
    """Points of an arc at even steps, near enough to be found again as an arc."""
    step = 2 * np.arccos(1 - CHORD_MM / radius)
    count = max(6, int(np.ceil(abs(size.turn_rad) * (last - first) / step)))
    parts = np.linspace(first, last, count + 1)
    return np.array([size.apex + radius * size.leg(float(part)) for part in parts])


def _beside_arc(size: Sector, on: Array, leg: Array, turn: float, text_mm: float, sign: float) -> NetText | None:
    """The text outside an arc, or inside it where it has room between the legs."""
    width, height = text_width_mm(size.text, text_mm), CAP_HEIGHT * text_mm
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    reach = float(np.abs(axes @ leg) @ [width / 2, height / 2]) + _ABOVE_MM + 0.2
    away = float(np.hypot(*on)) + sign * reach
    if away <= reach:
        return None
    return NetText("label", size.text, size.apex + away * leg, text_mm, turn)


# Circles


def _rounds(size: Round, text_mm: float) -> Iterator[Form]:
    width = text_width_mm(size.text, text_mm)
    none = np.zeros((0, 2, 2))
    for angle in np.radians(np.arange(0.0, 360.0, 15.0)):
        way = np.array([np.cos(angle), np.sin(angle)])
        rim = size.centre + size.radius * way
        if not size.whole:
            main = np.array([size.centre, rim])
            strain = 0.5 * abs(np.sin(2 * angle) ** 2 - 0.75)
            if width < size.radius - 4.0:
                middle = size.centre + (size.radius / 2) * way
                yield Form(size, _above(size, middle, way, text_mm), main, none, (_head(rim, way),), strain)
            continue
        for reach in (8.0, 12.0, 16.0):
            knee = rim + reach * way
            side = 1.0 if way[0] >= 0 else -1.0
            end = knee + np.array([side * (width + 1.0), 0.0])
            text = _above(size, (knee + end) / 2, np.array([1.0, 0.0]), text_mm)
            main = np.array([rim, knee, end])
            steep = 0.0 if 20 < np.degrees(np.arctan2(abs(way[1]), abs(way[0]))) < 70 else 3.0
            yield Form(size, text, main, none, (_head(rim, -way),), 0.1 * reach + steep)
