"""What is written on a net: the number of each cut on both its sides, and angles and lengths at creases.

A number stands on the tab, or inside the facet beside the cut; on a net with artwork rather beside it, outside. It is
as large as fits, slides along its line where something else stands in the middle, and is led out of a facet that is too
small for it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import product

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.geometry.base import BaseGeometry

from ..nets.lettering import text_box, text_width_mm
from ..nets.lines import NetLine, NetText, readable
from ..transforms import Array

__all__ = ["READABLE_MM", "Lettering", "Note", "Number", "lettering"]

#: Sizes tried, mm, the largest first: those that can be read, and those that a picture of the net still has.
_SIZES, _SMALLER = (2.6, 2.2, 1.8, 1.5, 1.2), (1.0, 0.8, 0.6, 0.45, 0.3)
_NOTE_SIZES = (2.0, 1.6, 1.2)
#: What is smaller than this cannot be read on card, mm.
READABLE_MM = _SIZES[-1]
#: Places along a line, as parts of its length from the middle.
_SHIFTS = (0.0, -0.16, 0.16, -0.3, 0.3)
#: Between a line and the text beside it; between any line and any text; mm.
_OFF_MM, _CLEAR_MM = 0.45, 0.2
#: Outside the outline the knife goes past a number at this distance; a number that is led out stands as far away, mm.
_OUTSIDE_MM, _LED_MM = 0.7, (2.5, 4.0, 6.0)
#: Texts are found again in squares of this size, mm.
_CELL_MM = 6.0


@dataclass(frozen=True)
class Number:
    """The number of a cut on one of its sides.

    Parameters
    ----------
    text : the number
    line : (2, 2) float, mm; the cut on the net, the facet to its left
    facet : which of the shapes it belongs to
    tab : which of the shapes is its tab; -1 where there is none
    """

    text: str
    line: Array
    facet: int
    tab: int = -1


@dataclass(frozen=True)
class Note:
    """What is written at a crease.

    Parameters
    ----------
    text : one line
    line : (2, 2) float, mm
    left, right : the shapes on both its sides
    """

    text: str
    line: Array
    left: int
    right: int


@dataclass(frozen=True)
class Lettering:
    """What is written on one net.

    Parameters
    ----------
    texts : all of it, class label
    lines : from cuts to the numbers that are led out, class mark; and under numbers that are others upside down, label
    small : how many numbers are too small to be read
    missing : how many notes have no room
    """

    texts: tuple[NetText, ...]
    lines: tuple[NetLine, ...]
    small: int
    missing: int


def lettering(
    shapes: Sequence[Polygon], numbers: Sequence[Number], notes: Sequence[Note] = (), *, is_printed: bool = False
) -> Lettering:
    """Write numbers and notes on a net, none over a line or over another.

    Parameters
    ----------
    shapes : facets and tabs as they lie
    numbers : of the cuts
    notes : at creases
    is_printed : whether there is artwork, which numbers are kept off where they can be

    Returns
    -------
    Lettering; every number is there, however small
    """
    sheet = _Writing(shapes)
    small = missing = 0
    for number in numbers:
        small += not sheet.write(number, is_printed=is_printed)
    for note in notes:
        missing += not sheet.note(note)
    return Lettering(tuple(sheet.texts), tuple(sheet.lines), small, missing)


class _Writing:
    """A net while it is written on."""

    def __init__(self, shapes: Sequence[Polygon]) -> None:
        self._shapes = np.array(shapes, dtype=object)
        shapely.prepare(self._shapes)
        self._tree = shapely.STRtree(self._shapes)
        self._taken: dict[tuple[int, int], list[BaseGeometry]] = {}
        self.texts: list[NetText] = []
        self.lines: list[NetLine] = []

    def write(self, number: Number, *, is_printed: bool) -> bool:
        """Write a number; False where it is too small to be read."""
        text, line = number.text, number.line
        # On artwork no larger than it takes to be read.
        inside = partial(self._inside, text, line, number.facet, _SIZES[2:] if is_printed else _SIZES)
        off_card = partial(self._outside, text, line)
        if number.tab >= 0:
            tries = [partial(self._on_tab, text, line, number.tab), inside]
        else:
            tries = [off_card, inside] if is_printed else [inside, off_card]
        if any(attempt() for attempt in (*tries, partial(self._led_out, text, line))):
            return True
        if not self._inside(text, line, number.facet, _SMALLER):
            place = shapely.get_coordinates(shapely.point_on_surface(self._shapes[number.facet]))[0]
            self._put(NetText("label", text, place, _SMALLER[-1], _direction(line)))
        return False

    def note(self, note: Note) -> bool:
        """Write a note on either side of its crease, where there is room."""
        turned = note.line[::-1]
        return self._inside(note.text, note.line, note.left, _NOTE_SIZES) or self._inside(
            note.text, turned, note.right, _NOTE_SIZES
        )

    def _inside(self, text: str, line: Array, shape: int, sizes: Sequence[float]) -> bool:
        """Inside a shape, beside one of its sides."""
        along, left, length = _axes(line)
        middle = line.mean(axis=0)
        tried = [
            (middle + shift * length * along + (min(_OFF_MM, size / 2) + size / 2) * left, size)
            for size in sizes
            for shift in _SHIFTS
        ]
        return self._first(text, line, tried, shape)

    def _on_tab(self, text: str, line: Array, tab: int) -> bool:
        """In the middle of a tab."""
        middle = shapely.get_coordinates(self._shapes[tab])[:-1].mean(axis=0)
        return self._first(text, line, [(middle, size) for size in _SIZES], tab)

    def _outside(self, text: str, line: Array) -> bool:
        """Beside a cut, off the card."""
        along, left, length = _axes(line)
        middle = line.mean(axis=0)
        tried = [
            (middle + shift * length * along - (_OUTSIDE_MM + size / 2) * left, size)
            for size in _SIZES[1:]
            for shift in _SHIFTS[:3]
        ]
        return self._first(text, line, tried)

    def _led_out(self, text: str, line: Array) -> bool:
        """Off the card, further away, with a line that leads to it."""
        _, left, _ = _axes(line)
        middle = line.mean(axis=0)
        strokes = shapely.linestrings([[middle - 0.3 * left, middle - away * left] for away in _LED_MM])
        blocked = set(self._tree.query(strokes, predicate="intersects")[0].tolist())
        open_ways = [away for number, away in enumerate(_LED_MM) if number not in blocked]
        for away, size in product(open_ways, _SIZES[2:]):
            leader = np.array([middle - 0.3 * left, middle - away * left])
            reach = (abs(left[0]) * text_width_mm(text, size) + abs(left[1]) * size) / 2 + _CLEAR_MM
            written = NetText("label", text, middle - (away + reach) * left, size)
            stroke = LineString(leader)
            if self._is_free(text_box(written, clear_mm=_CLEAR_MM)) and not self._meets(stroke):
                self._put(written)
                self._take(stroke.buffer(_CLEAR_MM))
                self.lines.append(NetLine("mark", leader))
                return True
        return False

    def _first(self, text: str, line: Array, tried: Sequence[tuple[Array, float]], shape: int | None = None) -> bool:
        """Write a text in the first place that is free: inside a shape, or off the card where none is given."""
        turn = _direction(line)
        places, sizes = np.array([place for place, _ in tried]), np.array([size for _, size in tried])
        boxes = _boxes(places, text_width_mm(text, 1.0) * sizes + 2 * _CLEAR_MM, sizes + 2 * _CLEAR_MM, turn)
        if shape is not None:
            free = shapely.contains_properly(self._shapes[shape], boxes)
        else:
            free = np.ones(len(boxes), dtype=bool)
            free[self._tree.query(boxes, predicate="intersects")[0]] = False
        for at in np.flatnonzero(free).tolist():
            if not self._meets(boxes[at]):
                self._put(NetText("label", text, places[at], float(sizes[at]), turn))
                return True
        return False

    def _is_free(self, region: BaseGeometry) -> bool:
        return not len(self._tree.query(region, predicate="intersects")) and not self._meets(region)

    def _meets(self, region: BaseGeometry) -> bool:
        """Whether something is written there."""
        return any(other.intersects(region) for cell in _cells(region) for other in self._taken.get(cell, ()))

    def _put(self, text: NetText) -> None:
        self.texts.append(text)
        if _is_other_turned(text.text):
            corners = shapely.get_coordinates(text_box(text))
            self.lines.append(NetLine("label", corners[:2]))
        self._take(text_box(text))

    def _take(self, region: BaseGeometry) -> None:
        for cell in _cells(region):
            self._taken.setdefault(cell, []).append(region)


def _is_other_turned(text: str) -> bool:
    """Whether a number is another one upside down.

    >>> _is_other_turned("6"), _is_other_turned("186"), _is_other_turned("69"), _is_other_turned("10")
    (True, True, False, False)
    """
    turned = text[::-1].translate(str.maketrans("69", "96"))
    return set(text) <= set("01689") and turned != text and turned[0] != "0"


def _cells(region: BaseGeometry) -> Iterator[tuple[int, int]]:
    left, low, right, high = (int(np.floor(bound / _CELL_MM)) for bound in region.bounds)
    return product(range(left, right + 1), range(low, high + 1))


def _boxes(places: Array, widths: Array, heights: Array, turn: float) -> Array:
    """Rectangles about places, (n,) Polygon."""
    along, up = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    corners = [
        places + across * widths[:, None] / 2 * along + high * heights[:, None] / 2 * up
        for across, high in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    return np.asarray(shapely.polygons(np.stack(corners, axis=1)))


def _axes(line: Array) -> tuple[Array, Array, float]:
    """The direction of a line, the one to its left, and its length."""
    length = float(np.hypot(*(line[1] - line[0])))
    along = (line[1] - line[0]) / length
    return along, np.array([-along[1], along[0]]), length


def _direction(line: Array) -> float:
    across, up = line[1] - line[0]
    return readable(float(np.arctan2(up, across)))
