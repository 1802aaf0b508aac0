"""What a cutting machine is given: creases and cuts alone, in the order in which it should make them.

On a printed sheet a knife goes wherever a person looks next; a machine goes through its file from the start. Creases
come first, while the card still lies flat and whole, then slits and windows, and outlines last, because a piece that is
cut out can shift (common practice, no source). Within each of these the machine goes on where the next line is nearest.
No line is in the file twice, and what is one line is one path.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal, get_args

import numpy as np
import shapely
from shapely import LinearRing, LineString
from shapely.ops import substring

from ..errors import HingeleafError
from ..tolerances import TOUCH_MM
from ..transforms import Array
from .backs import line_from_behind, turning
from .drawing import PieceDrawing
from .lines import NetLine
from .sheets import Sheet

__all__ = ["CREASE_STYLES", "CreaseStyle", "CuttingOptions", "Step", "ToolPath", "cutting_files", "tool_paths"]

CreaseStyle = Literal["score", "dashes", "half-cut"]
CREASE_STYLES: tuple[CreaseStyle, ...] = get_args(CreaseStyle)

Step = Literal["crease", "slit", "outline"]
#: The order of work.
_STEPS: tuple[Step, ...] = get_args(Step)

#: A nick is no nearer to a corner than this, where there is room: it would tear there.
_FROM_CORNER_MM = 4.0
#: Lines shorter than this are rounding and no work for a knife.
_SHORTEST_MM = 1e-3
_LARGEST_MM = 1000.0


@dataclass(frozen=True)
class CuttingOptions:
    """How a machine is to cut and crease.

    Parameters
    ----------
    crease : "score" for whole lines, to be drawn with a blunt tool; "dashes" for lines cut through in dashes;
        "half-cut" for lines cut half through the card, from the face that opens: mountains from the printed face,
        valleys from the back, which is a file of its own
    dash_mm, bridge_mm : float; with dashes, how long each is and how much card stays between two
    nick_mm : float; card left at each nick in an outline, which holds the piece in its sheet; 0 for none
    nick_every_mm : float; an outline gets a nick on as much of its length, at least two

    Raises
    ------
    HingeleafError
        A style is not known or a length is out of range.
    """

    crease: CreaseStyle = "score"
    dash_mm: float = 3.0
    bridge_mm: float = 1.5
    nick_mm: float = 0.0
    nick_every_mm: float = 80.0

    def __post_init__(self) -> None:
        """Refuse what cannot be cut."""
        if self.crease not in CREASE_STYLES:
            raise HingeleafError(f'crease style "{self.crease}" is not known: write {", ".join(CREASE_STYLES)}')
        for words, value, least in (
            ("dash", self.dash_mm, 0.2),
            ("bridge between dashes", self.bridge_mm, 0.2),
            ("distance between nicks", self.nick_every_mm, 5.0),
        ):
            if not least <= value <= _LARGEST_MM:
                raise HingeleafError(f"a {words} of {value:g} mm: write {least:g} to {_LARGEST_MM:g} mm")
        if not 0.0 <= self.nick_mm <= 5.0:
            raise HingeleafError(f"a nick of {self.nick_mm:g} mm: write 0 for none, or up to 5 mm")


@dataclass(frozen=True)
class ToolPath:
    """One line that a machine follows.

    Parameters
    ----------
    step : when it is made
    line : NetLine, mm on the sheet
    drawing : the piece it belongs to
    """

    step: Step
    line: NetLine
    drawing: PieceDrawing


def tool_paths(sheet: Sheet, options: CuttingOptions | None = None, *, back: bool = False) -> tuple[ToolPath, ...]:
    """All that a machine does on one face of a sheet, in order.

    Parameters
    ----------
    sheet : Sheet
    options : CuttingOptions, or None for the defaults
    back : the back of the sheet, turned over along its long edge, on which only half-cut valleys are

    Returns
    -------
    tuple of ToolPath
    """
    options = options or CuttingOptions()
    if back:
        chosen = [path for path in _all_paths(sheet, options) if path.line.line_class == "valley"]
        turned = [replace(path, line=line_from_behind(path.line, sheet)) for path in chosen]
        return tuple(_shortest_way(turned)) if options.crease == "half-cut" else ()
    left_out = "valley" if options.crease == "half-cut" else None
    return tuple(_shortest_way([path for path in _all_paths(sheet, options) if path.line.line_class != left_out]))


def _all_paths(sheet: Sheet, options: CuttingOptions) -> Iterator[ToolPath]:
    for drawing in sheet.pieces:
        rims = [LinearRing(part.exterior) for part in drawing.card.geoms]
        for line in drawing.lines:
            if line.length_mm < _SHORTEST_MM:
                continue
            if line.line_class in ("mountain", "valley"):
                parts = _dashed(line, options) if options.crease == "dashes" else [line]
                yield from (ToolPath("crease", part, drawing) for part in parts)
            elif line.line_class == "cut":
                middle = (line.points[0] + line.points[1]) / 2
                outline = any(rim.distance(shapely.Point(middle)) < TOUCH_MM for rim in rims)
                parts = _nicked(line, options) if outline and options.nick_mm else [line]
                yield from (ToolPath("outline" if outline else "slit", part, drawing) for part in parts)


def _dashed(line: NetLine, options: CuttingOptions) -> list[NetLine]:
    """A crease as dashes that begin and end with card, so that it does not run into the cuts that it meets."""
    length = line.length_mm
    count = max(1, round((length - options.bridge_mm) / (options.dash_mm + options.bridge_mm)))
    period = length / (count + options.bridge_mm / (options.dash_mm + options.bridge_mm))
    dash = period * options.dash_mm / (options.dash_mm + options.bridge_mm)
    bridge = period - dash
    stroke = LineString(line.points)
    starts = bridge + period * np.arange(count)
    return [replace(line, points=shapely.get_coordinates(substring(stroke, one, one + dash))) for one in starts]


def _nicked(line: NetLine, options: CuttingOptions) -> list[NetLine]:
    """An outline with bits of card left in it, away from its corners where there is room."""
    ring = np.concatenate([line.points, line.points[:1]]) if line.closed else line.points
    stroke = LineString(ring)
    count = max(2, round(stroke.length / options.nick_every_mm))
    if stroke.length < 2 * count * options.nick_mm:
        return [line]
    places = [_beside_corners(ring, stroke.length * (k + 0.5) / count, options.nick_mm) for k in range(count)]
    gaps = sorted({round(place, 6) for place in places})
    half = options.nick_mm / 2
    ends = [(one + half, two - half) for one, two in pairwise(gaps)]
    pieces = [shapely.get_coordinates(substring(stroke, one, two)) for one, two in ends if two - one > _SHORTEST_MM]
    first = shapely.get_coordinates(substring(stroke, 0.0, gaps[0] - half))
    last = shapely.get_coordinates(substring(stroke, gaps[-1] + half, stroke.length))
    if line.closed:
        pieces.append(np.concatenate([last, first[1:]]))
    else:
        pieces += [first, last]
    return [replace(line, points=points, closed=False) for points in pieces]


def _beside_corners(ring: Array, wanted: float, nick_mm: float) -> float:
    """The place along a line nearest to the one wanted on a straight stretch that has room for a nick."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    room = _FROM_CORNER_MM + nick_mm / 2
    low, high = along[:-1] + room, along[1:] - room
    wide = low <= high
    if not wide.any():
        return float(np.clip(wanted, nick_mm, along[-1] - nick_mm))
    places = np.clip(wanted, low[wide], high[wide])
    return float(places[np.argmin(np.abs(places - wanted))])


def _shortest_way(paths: Sequence[ToolPath]) -> Iterator[ToolPath]:
    """Step by step, and in each always on to the line whose start, or end, is nearest."""
    at = np.zeros(2)
    for step in _STEPS:
        waiting = [path for path in paths if path.step == step]
        starts = np.array([path.line.points[0] for path in waiting]).reshape(-1, 2)
        ends = np.array([path.line.points[0 if path.line.closed else -1] for path in waiting]).reshape(-1, 2)
        left = np.ones(len(waiting), dtype=bool)
        for _ in waiting:
            to_start = np.where(left, np.hypot(*(starts - at).T), np.inf)
            to_end = np.where(left, np.hypot(*(ends - at).T), np.inf)
            index = int(np.argmin(np.minimum(to_start, to_end)))
            left[index] = False
            path = waiting[index]
            if to_end[index] < to_start[index] - TOUCH_MM:
                path = replace(path, line=replace(path.line, points=path.line.points[::-1]))
            at = path.line.points[0 if path.line.closed else -1]
            yield path


def cutting_files(
    sheets: Sequence[Sheet], stem: str, options: CuttingOptions | None = None
) -> Iterator[tuple[str, bytes]]:
    """Names and contents of the cutting files: an SVG and a DXF a sheet, and two more of its back where that is cut.

    Parameters
    ----------
    sheets : of the nets; the files have their size, so that they lie in place on the printed sheets
    stem : of the names
    options : CuttingOptions, or None for the defaults
    """
    from .cutting_files import paths_dxf, paths_svg

    options = options or CuttingOptions()
    for sheet in sheets:
        title = f"{sheet.footer.title}, cutting, sheet {sheet.footer.number} of {sheet.footer.count}"
        for back in (False, True):
            paths = tool_paths(sheet, options, back=back)
            if not paths:
                continue
            name = f"{stem}-{sheet.footer.number}{'-back' if back else ''}"
            words = f"{title}, back, turned over {turning(sheet)}" if back else title
            yield f"{name}.svg", paths_svg(words, sheet, paths, options)
            yield f"{name}.dxf", paths_dxf(sheet, paths, options)
