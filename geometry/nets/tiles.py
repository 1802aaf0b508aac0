"""A piece that is larger than any sheet, split into tiles that overlap.

Tiles lie in columns A, B, ... from the left and rows 1, 2, ... from the top. Each is laid over the ones to its left and
above it, up to its tile edge, so that the crosses in the overlap coincide; then the piece is cut out. Where sheets
leave a choice, the overlaps keep off creases: two layers of card fold badly.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from ..errors import HingeleafError
from .clipping import clipped
from .drawing import PieceDrawing
from .lettering import one_line, text_box, text_width_mm
from .lines import NetLine, NetText
from .registration import crosses

__all__ = ["TILE_EDGE", "tiles_of"]

#: Name of the line along which a tile is trimmed.
TILE_EDGE = "tile-edge"

#: Each tile's name stands in a strip below it.
_STRIP_MM = 5.0
_LABEL_MM, _LEAST_LABEL_MM = 2.8, 1.6
#: Arms of a cross stay inside the overlap.
_MOST_ARM_MM, _ARM_SHARE = 4.0, 0.4
_MOST_TILES = 400
#: Overlaps keep this far off creases, where they can.
_OFF_CREASE_MM = 3.0
#: Beyond any piece.
_FAR_MM = 1e5
_TEXT_CLEAR_MM = 0.5

_Place = tuple[int, int]


@dataclass(frozen=True)
class _Row:
    """Tiles along one axis, in the order in which they are laid over each other: where each begins and ends."""

    starts: tuple[float, ...]
    ends: tuple[float, ...]

    def __len__(self) -> int:
        return len(self.starts)

    @property
    def seams(self) -> list[float]:
        """Middles of the overlaps."""
        return [(end + start) / 2 for end, start in zip(self.ends[:-1], self.starts[1:], strict=True)]

    def window(self, number: int) -> tuple[float, float]:
        """What a tile shows: outwards everything, to its neighbours up to its edge."""
        last = number == len(self.starts) - 1
        return (self.starts[number] if number else -_FAR_MM), (_FAR_MM if last else self.ends[number])

    def seen(self, number: int) -> tuple[float, float]:
        """What of that the next tile does not cover."""
        start, end = self.window(number)
        return start, end if number == len(self.starts) - 1 else self.starts[number + 1]


@dataclass(frozen=True)
class _Grid:
    """Tiles of a piece: columns from the left; rows from the top, hence in -y."""

    columns: _Row
    rows: _Row
    arm: float

    def __len__(self) -> int:
        return len(self.columns) * len(self.rows)

    def window(self, place: _Place) -> Polygon:
        """What a tile shows."""
        return _box(self.columns.window(place[0]), self.rows.window(place[1]))

    def seen(self, place: _Place) -> Polygon:
        """What of that no other tile covers."""
        return _box(self.columns.seen(place[0]), self.rows.seen(place[1]))

    def sheet(self, place: _Place) -> tuple[float, float, float, float]:
        """A tile from edge to edge, (left, low, right, high)."""
        column, row = place
        return self.columns.starts[column], -self.rows.ends[row], self.columns.ends[column], -self.rows.starts[row]


def _box(across: tuple[float, float], down: tuple[float, float]) -> Polygon:
    return shapely.box(across[0], -down[1], across[1], -down[0])


def tiles_of(
    drawing: PieceDrawing, rooms: Sequence[tuple[float, float]], overlap_mm: float
) -> tuple[PieceDrawing, ...]:
    """Split a piece into as few tiles as one of the rooms allows.

    Parameters
    ----------
    drawing : in net coordinates
    rooms : (width, height) for a tile on a sheet, in the directions of the net, mm
    overlap_mm : float

    Returns
    -------
    tuple of PieceDrawing, row by row, in net coordinates; tiles without card are left out

    Raises
    ------
    HingeleafError
        There would be too many.
    """
    grids = [grid for room in rooms if (grid := _grid(drawing, room, overlap_mm)) is not None]
    if not grids or len(min(grids, key=len)) > _MOST_TILES:
        raise HingeleafError(
            f'"{one_line(drawing.piece.title)}" would be split into more than {_MOST_TILES} tiles: use larger sheets, '
            "smaller margins or a smaller overlap"
        )
    grid = min(grids, key=len)
    places = [(column, row) for row, column in product(range(len(grid.rows)), range(len(grid.columns)))]
    names = {
        place: f"{_letters(place[0])}{place[1] + 1}"
        for place in places
        if drawing.card.intersection(grid.window(place)).area > 0.0
    }
    texts = _texts(drawing.texts, grid, list(names))
    return tuple(_tile(drawing, grid, place, names, texts[place]) for place in names)


def _grid(drawing: PieceDrawing, room: tuple[float, float], overlap: float) -> _Grid | None:
    """The fewest tiles of a piece for a room; None where the room is hardly wider than the overlap.

    Crosses at the ends of a seam stand outside the bleed: where there are seams across, the box grows along them.
    """
    arm = min(_MOST_ARM_MM, _ARM_SHARE * overlap)
    left, low, right, high = drawing.bounds()
    rooms = room[0], room[1] - _STRIP_MM
    columns = rows = 1
    across, down = (left, right), (-high, -low)
    while True:
        beside, above = ((drawing.bleed_mm + 2 * arm) * (count > 1) for count in (rows, columns))
        across, down = (left - beside, right + beside), (-high - above, -low + above)
        found = _count(across, rooms[0], overlap), _count(down, rooms[1], overlap)
        if found[0] is None or found[1] is None:
            return None
        if (found[0], found[1]) == (columns, rows):
            break
        columns, rows = max(columns, found[0]), max(rows, found[1])
    creases = [LineString(line.points) for line in drawing.lines if line.line_class in ("mountain", "valley")]
    together = shapely.union_all(creases)

    def beside_mm(start: float, end: float) -> float:
        return float(together.intersection(_box((start, end), (-_FAR_MM, _FAR_MM))).length)

    def above_mm(start: float, end: float) -> float:
        return float(together.intersection(_box((-_FAR_MM, _FAR_MM), (start, end))).length)

    return _Grid(
        _row(across, columns, rooms[0], overlap, beside_mm), _row(down, rows, rooms[1], overlap, above_mm), arm
    )


def _count(span: tuple[float, float], room: float, overlap: float) -> int | None:
    length = span[1] - span[0]
    if length <= room:
        return 1
    return None if room < 2 * overlap else math.ceil(round((length - overlap) / (room - overlap), 9))


def _row(
    span: tuple[float, float], count: int, room: float, overlap: float, creased_mm: Callable[[float, float], float]
) -> _Row:
    """Tiles along one axis, about equal, with the least length of creases near each overlap."""
    half = overlap / 2
    each = (span[1] - span[0] + (count - 1) * overlap) / count
    starts, ends = [span[0]], []
    for number in range(1, count):
        left = count - number
        lowest = max(starts[-1] + 2 * overlap, span[1] + half - left * room + (left - 1) * overlap)
        highest = starts[-1] + room - half
        even = min(max(span[0] + number * (each - overlap) + half, lowest), highest)
        tried = even + np.arange(np.ceil(lowest - even), np.floor(highest - even) + 1)
        reach = half + _OFF_CREASE_MM
        middle = min(
            (float(place) for place in tried),
            key=lambda place: (round(creased_mm(place - reach, place + reach)), round(abs(place - even), 6)),
        )
        ends.append(middle + half)
        starts.append(middle - half)
    return _Row(tuple(starts), (*ends, span[1]))


def _letters(number: int) -> str:
    """Name of a column.

    Examples
    --------
    >>> _letters(0), _letters(25), _letters(26)
    ('A', 'Z', 'AA')
    """
    before, last = divmod(number, 26)
    return (_letters(before - 1) if before else "") + chr(ord("A") + last)


def _tile(
    drawing: PieceDrawing, grid: _Grid, place: _Place, names: Mapping[_Place, str], texts: Sequence[NetText]
) -> PieceDrawing:
    window = grid.window(place)
    marks = (*_crosses(grid, place), *_edges(grid, place, names))
    return replace(
        drawing.printed_inside(window),
        lines=(*clipped(drawing.lines, window), *marks),
        texts=(*texts, _label(drawing, grid, place, names)),
        card=_polygons(drawing.card.intersection(window)),
        part=replace(drawing.part, tile=names[place]),
    )


def _polygons(region: shapely.Geometry) -> MultiPolygon:
    return MultiPolygon([part for part in shapely.get_parts(region) if isinstance(part, Polygon) and not part.is_empty])


def _crosses(grid: _Grid, place: _Place) -> list[NetLine]:
    """Crosses in the overlaps with the tile's neighbours: where seams meet, and at their ends, outside the card."""
    arm = grid.arm
    down, across = ([row.starts[0] + arm, *row.seams, row.ends[-1] - arm] for row in (grid.rows, grid.columns))
    middles = [*product(grid.columns.seams, down), *product((across[0], across[-1]), grid.rows.seams)]
    sheet = shapely.box(*grid.sheet(place)).buffer(1e-6)
    places = [np.array([x, -from_top]) for x, from_top in middles]
    return crosses([place for place in places if sheet.contains(shapely.Point(place).buffer(arm).envelope)], arm)


def _sides(place: _Place) -> dict[str, _Place]:
    column, row = place
    return {
        "left": (column - 1, row),
        "right": (column + 1, row),
        "upper": (column, row - 1),
        "lower": (column, row + 1),
    }


def _edges(grid: _Grid, place: _Place, names: Mapping[_Place, str]) -> list[NetLine]:
    """The edges along which a tile is trimmed, where it meets others."""
    left, low, right, high = grid.sheet(place)
    ends = {
        "left": [[left, low], [left, high]],
        "right": [[right, low], [right, high]],
        "upper": [[left, high], [right, high]],
        "lower": [[left, low], [right, low]],
    }
    return [
        NetLine("mark", np.array(ends[side]), name=TILE_EDGE) for side, other in _sides(place).items() if other in names
    ]


def _label(drawing: PieceDrawing, grid: _Grid, place: _Place, names: Mapping[_Place, str]) -> NetText:
    """The tile's name and what it is laid on, in the strip below it."""
    left, low, right, _ = grid.sheet(place)
    name = f"{one_line(drawing.piece.title)}, {replace(drawing.part, tile=names[place]).words}"
    sides = _sides(place)
    over = [f"{side} edge over {names[sides[side]]}" for side in ("left", "upper") if sides[side] in names]
    middle = np.array([(left + right) / 2, low - _STRIP_MM / 2])
    words = f"{name}: {', '.join(over)}" if over else name
    for text in (words, name, f"tile {names[place]}"):
        size = _LABEL_MM * min(1.0, (right - left) / text_width_mm(text, _LABEL_MM))
        if size >= _LEAST_LABEL_MM:
            break
    return NetText("label", text, middle, size)


def _texts(texts: Sequence[NetText], grid: _Grid, places: Sequence[_Place]) -> dict[_Place, list[NetText]]:
    """Each text on one tile: where it lies whole and stays uncovered, or else moved there by the shortest way."""
    found: dict[_Place, list[NetText]] = {place: [] for place in places}
    seen = {place: grid.seen(place) for place in places}
    for text in texts:
        box = text_box(text)
        whole = [place for place in places if seen[place].contains(box)]
        if whole:
            found[whole[0]].append(text)
        else:
            nearest = min(places, key=lambda place: seen[place].distance(box.centroid))
            found[nearest].append(_moved_into(text, seen[nearest], grid.sheet(nearest)))
    return found


def _moved_into(text: NetText, seen: Polygon, sheet: tuple[float, float, float, float]) -> NetText:
    """The text inside a window, smaller where it would not go in."""
    left, low, right, high = seen.intersection(shapely.box(*sheet)).buffer(-_TEXT_CLEAR_MM).bounds
    first, second = np.array([left, low]), np.array([right, high])
    sides = np.subtract(*np.array(text_box(text).bounds).reshape(2, 2)[::-1])
    text = replace(text, size_mm=text.size_mm * float(min(1.0, *((second - first) / sides))))
    lowest, highest = np.array(text_box(text).bounds).reshape(2, 2)
    shift = np.maximum(first - lowest, 0.0) + np.minimum(second - highest, 0.0)
    return replace(text, place=text.place + shift)
