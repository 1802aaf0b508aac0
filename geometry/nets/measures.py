"""What can be measured on a net: a length along a direction, an angle at a point, a radius; each with its name.

All are taken between points of the spread's folds, hinge lines and outlines as they lie on the net, never from the
number in the description: so a dimension says what is drawn. Where the two differ, as with a tab made narrower than
was asked, the key is left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import numpy as np
import shapely
from shapely import Point, Polygon

from ..description.data import MechanismSpec
from ..model import Fold
from ..spread import Spread
from ..tolerances import TOUCH_MM
from ..transforms import Array

__all__ = ["PRINTED_TO", "Dimension", "Line", "Measuring", "Name", "Round", "Sector", "Span", "printed"]

#: Dimensions are printed to a hundredth, without the zeros at its end.
PRINTED_TO = 0.005
_CROSS_MM = 1.5


def printed(value: float) -> str:
    """A number as a dimension says it.

    Examples
    --------
    >>> printed(50.0), printed(32.5), printed(53.13010235), printed(-7.999)
    ('50', '32.5', '53.13', '-8')
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


@dataclass(frozen=True)
class Name:
    """What a size is called.

    Parameters
    ----------
    mechanism : whose it is
    key : its key in the description, without a side; None where the description has none
    side : "left" or "right" where the key has sides, "" where it has none or both are equal
    part : "x" or "y" of a point; of what has no key, what it is
    paired : it stands for both sides, which are equal
    whose : the mechanism is named with it, as another one has the same key on the same net
    """

    mechanism: str
    key: str | None = None
    side: str = ""
    part: str = ""
    paired: bool = False
    whose: bool = False

    @property
    def written(self) -> str:
        """The key as it may be written in the description; "" where there is none."""
        return f"{self.key}_{self.side}" if self.key and self.side else self.key or ""

    @property
    def words(self) -> str:
        """The key, which part of it, and whose it is where that is not clear; "" where there is no key."""
        whose = self.mechanism if self.whose else ""
        return " ".join(word for word in (whose, self.written, self.part) if word) if self.key else ""


@dataclass(frozen=True)
class Span:
    """A length.

    Parameters
    ----------
    piece : on whose net
    name : Name
    points : (2, 2) float, mm; from where to where
    along : (2,) float, unit vector; only what lies along it counts
    signed : of a coordinate, which may be negative
    marks : lines of (n, 2) float, mm, that are drawn with it because nothing else shows its end
    """

    piece: str
    name: Name
    points: Array
    along: Array
    signed: bool = False
    marks: tuple[Array, ...] = field(default=())

    @property
    def value(self) -> float:
        """In mm."""
        value = float((self.points[1] - self.points[0]) @ self.along)
        return value if self.signed else abs(value)

    @property
    def text(self) -> str:
        """What is written."""
        return f"{self.name.words} {printed(self.value)}".strip()


@dataclass(frozen=True)
class Sector:
    """An angle.

    Parameters
    ----------
    piece : on whose net
    name : Name
    apex : (2,) float, mm
    start : (2,) float, unit vector of the leg it is measured from
    turn_rad : to the other leg, to the left above 0
    marks : as in Span
    """

    piece: str
    name: Name
    apex: Array
    start: Array
    turn_rad: float
    marks: tuple[Array, ...] = field(default=())

    @property
    def value(self) -> float:
        """In degrees."""
        return float(np.degrees(self.turn_rad)) if self.name.key in _SIGNED_ANGLES else abs(np.degrees(self.turn_rad))

    @property
    def text(self) -> str:
        """What is written."""
        return f"{self.name.words} {printed(self.value)}°".strip()

    def leg(self, part: float) -> Array:
        """Unit vector at a part of the turn, from 0 to 1."""
        turn = self.turn_rad * part
        cosine, sine = np.cos(turn), np.sin(turn)
        return np.array([[cosine, -sine], [sine, cosine]]) @ self.start


#: Keys of angles that may turn either way.
_SIGNED_ANGLES = ("turn", "from_turn", "to_turn")


@dataclass(frozen=True)
class Round:
    """A circle.

    Parameters
    ----------
    piece : on whose net
    name : Name
    centre : (2,) float, mm
    radius : float, mm
    whole : whether its diameter is said instead of its radius
    marks : as in Span
    """

    piece: str
    name: Name
    centre: Array
    radius: float
    whole: bool = False
    marks: tuple[Array, ...] = field(default=())

    @property
    def value(self) -> float:
        """Radius or diameter in mm."""
        return 2 * self.radius if self.whole else self.radius

    @property
    def text(self) -> str:
        """What is written."""
        return f"{self.name.words} {'ø' if self.whole else ''}{printed(self.value)}".strip()


Dimension = Span | Sector | Round
_Named = TypeVar("_Named", Span, Sector)


@dataclass(frozen=True)
class Line:
    """A straight line on a net that something is measured from or along.

    Parameters
    ----------
    panel : on which it lies
    start : (2,) float, mm; its zero point
    along : (2,) float, unit vector
    begins, ends : float, mm; from where to where along itself it is there
    bare : no line of the net is there, as on a host that something is glued on
    """

    panel: str
    start: Array
    along: Array
    begins: float
    ends: float
    bare: bool = False

    @property
    def marks(self) -> tuple[Array, ...]:
        """The line itself where nothing else draws it, (2, 2) float, mm."""
        return (np.array([self.at(self.begins), self.at(self.ends)]),) if self.bare else ()

    def at(self, along_mm: float) -> Array:
        """A point on it."""
        return np.asarray(self.start + along_mm * self.along)

    @property
    def across(self) -> Array:
        """Unit vector square to it, to its left."""
        return np.array([-self.along[1], self.along[0]])


class Measuring:
    """Measures what one mechanism has put on the nets of a spread."""

    def __init__(self, spread: Spread, spec: MechanismSpec) -> None:
        self.spread = spread
        self.spec = spec

    @property
    def fold(self) -> Fold:
        """The fold that the mechanism is built on; its two hosts lie on one net or on two."""
        wanted = self.spec.values.get("side")
        sides = {side: fold for (name, side), fold in self.spread.folds.items() if name == self.spec.values["fold"]}
        for side in (wanted, "tab" if self.spec.kind == "slit-cut-in" else None, "valley", "outer", *sides):
            if side in sides:
                return sides[side]
        raise KeyError(self.spec.values["fold"])

    def there(self, fold_id: str) -> bool:
        """Whether there is a fold of that name."""
        return any(name == fold_id for name, _ in self.spread.folds)

    def line(self, fold_id: str, *, host: bool = False) -> Line:
        """A fold on the panel that stands there, or on its host; of a crease, on its left or its right panel."""
        fold = next(fold for (name, _), fold in self.spread.folds.items() if name == fold_id)
        side = fold.right if host else fold.left
        return Line(side.panel, side.origin, side.along, fold.start, fold.end, bare=host)

    def outline(self, panel: str) -> Polygon:
        """Outline of a panel."""
        return self.spread.panels[panel].outline

    def piece(self, panel: str) -> str:
        """The piece that a panel is part of."""
        return self.spread.panels[panel].piece

    def name(self, key: str | None, side: str = "", part: str = "") -> Name:
        """A name of one of the mechanism's own sizes."""
        return Name(self.spec.id, key, side, part)

    def span(
        self,
        key: str | None,
        panel: str,
        points: tuple[Array, Array],
        along: Array,
        side: str = "",
        marks: tuple[Array, ...] = (),
    ) -> Span:
        """A length between two points of a panel."""
        return self._said(Span(self.piece(panel), self.name(key, side), np.array(points), along, marks=marks))

    def length(self, key: str | None, line: Line, side: str = "", to: float | None = None) -> Span:
        """From the zero point of a line to its end, or to a place along it."""
        return self.span(key, line.panel, (line.start, line.at(line.ends if to is None else to)), line.along, side)

    def between(self, key: str | None, one: Line, two: Line, side: str = "") -> Span:
        """From one line to a parallel one on the same net."""
        place, middle = self._on(one), self._on(two)
        reach = float((two.start - place) @ one.across)
        there = middle + one.across * (reach - float((middle - place) @ one.across))
        way = np.sign(reach or 1.0) * one.across
        return self.span(key, one.panel, (place, np.asarray(there)), way, side, (*one.marks, *two.marks))

    def _on(self, line: Line) -> Array:
        """A place on a line, in its middle where no window or slit interrupts it there."""
        border = self.outline(line.panel).boundary
        for part in (0.5, 0.25, 0.75, 0.1, 0.9):
            place = line.at(line.begins + part * (line.ends - line.begins))
            if line.bare or border.distance(Point(place)) < TOUCH_MM:
                return place
        return line.at((line.begins + line.ends) / 2)

    def angle(self, key: str | None, one: Line, two: Line, side: str = "") -> Sector:
        """From one line to another that begins in the same point of the same net."""
        return self._sector(key, one, two.along, one.along, side)

    def _sector(self, key: str | None, line: Line, end: Array, start: Array, side: str) -> Sector:
        turn = float(np.arctan2(start[0] * end[1] - start[1] * end[0], start @ end))
        return self._said(Sector(self.piece(line.panel), self.name(key, side), line.start, start, turn, line.marks))

    def tab(self, key: str | None, fold_id: str, side: str = "") -> Span:
        """How far the tab on a hinge line reaches from it, in the middle of its outer edge."""
        line, tab = self.line(fold_id), self.outline(f"{fold_id}.tab")
        corners = shapely.get_coordinates(tab)[:-1]
        away = (corners - line.start) @ line.across
        far = float(away[np.argmax(np.abs(away))])
        outer = corners[np.abs(away - far) < TOUCH_MM]
        place = float(((outer - line.start) @ line.along).mean())
        points = line.at(place), line.at(place) + far * line.across
        return self.span(key, line.panel, points, np.sign(far) * line.across, side)

    def along_fold(self, key: str | None, place: float, start: float = 0.0) -> Span:
        """From one place along the host fold to another, as it lies on the first of its hosts."""
        side = self.fold.left
        return self.span(key, side.panel, (side.point(start), side.point(place)), side.along)

    def from_fold(self, key: str | None, line: Line, side: str) -> Span:
        """From the host fold to a line parallel to it on one of its hosts."""
        host = next(host for host in (self.fold.left, self.fold.right) if host.panel == line.panel)
        place = line.at((line.begins + line.ends) / 2)
        reach = float((place - host.origin) @ host.across)
        points = np.asarray(place - reach * host.across), place
        return self.span(key, line.panel, points, host.across, side, line.marks)

    def at_fold(self, key: str, line: Line, side: str) -> Sector:
        """From the direction of the host fold to a line that begins on it."""
        host = self.fold.left if side == "left" else self.fold.right
        return self._sector(key, line, line.along, host.along, side)

    def place(self, key: str, panel: str, point: Array, marks: tuple[Array, ...] = ()) -> Iterator[Span]:
        """A place on a panel's net, from the net's zero point, which gets a cross where nothing is drawn there."""
        here = self.outline(panel).boundary
        marks = (*marks, *_cross(point))
        if here.distance(Point(0.0, 0.0)) > TOUCH_MM:
            marks = (*marks, *_cross(np.zeros(2)))
        for part, along in (("x", np.array([1.0, 0.0])), ("y", np.array([0.0, 1.0]))):
            if abs(point @ along) > TOUCH_MM:
                span = Span(
                    self.piece(panel), self.name(key, part=part), np.array([[0.0, 0.0], point]), along, True, marks
                )
                yield self._said(span)

    def turn(self, key: str, panel: str, point: Array, way: Array, period_deg: float = 360.0) -> Iterator[Sector]:
        """A direction, from the net's x axis, where one was given that is not along it.

        Of the angles that are the same but for whole periods, the one that is nearest to what was given.
        """
        given = float(self.spec.values.get(key, 0.0))
        angle = float(np.degrees(np.arctan2(way[1], way[0])))
        angle += period_deg * round((given - angle) / period_deg)
        if abs(given) > 1e-9:
            turn, axis = float(np.radians(angle)), np.array([1.0, 0.0])
            yield self._said(Sector(self.piece(panel), self.name(key), point, axis, turn, _cross(point)))

    def slot(self, fold_id: str, side: str = "") -> Iterator[Span]:
        """Where the slot for a tab begins along its glue line, and how long it is."""
        line, own = self.line(fold_id, host=True), self.line(fold_id)
        tab = shapely.get_coordinates(self.outline(f"{fold_id}.tab"))
        middle = Point(line.at(float(((tab - own.start) @ own.along).mean())))
        for ring in self.outline(line.panel).interiors:
            if Polygon(ring).covers(middle):
                corners = (shapely.get_coordinates(ring) - line.start) @ line.along
                low, high = float(corners.min()), float(corners.max())
                ends = np.array([line.start, line.at(low)]), np.array([line.at(low), line.at(high)])
                for part, points in zip(("slot from", "slot long"), ends, strict=True):
                    yield Span(self.piece(line.panel), self.name(None, side, part), points, line.along)

    def given(self, name: Name) -> Any:
        """What the description says for a name; None where it says nothing."""
        values, key = self.spec.values, str(name.key)
        value = values.get(f"{key}_{name.side}", values.get(key)) if name.side else values.get(key)
        if name.part and value is not None:
            value = value["xy".index(name.part)]
        return value

    def _said(self, found: _Named) -> _Named:
        """The dimension without its key where the description says another number."""
        given = self.given(found.name)
        if isinstance(given, int | float) and abs(given - found.value) > PRINTED_TO + 1e-9:
            return replace(found, name=replace(found.name, key=None))
        return found


def _cross(point: Array) -> tuple[Array, ...]:
    ways = np.array([[1.0, 0.0], [0.0, 1.0]]) * _CROSS_MM
    return tuple(np.array([point - way, point + way]) for way in ways)
