"""Drawings of what lies flat: a piece as on its net with names at its creases, and a sheet with its pieces."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import shapely
from shapely import LineString, MultiLineString
from shapely.geometry.base import BaseGeometry

from ..nets import PieceDrawing, Sheet
from ..nets.lettering import one_line
from ..transforms import Array
from .steps import NetPicture
from .view import Drawing, Label, Stroke, Tone
from .words import crease_id_of

__all__ = ["draw_net", "draw_sheet"]

_AROUND_MM = 3.0
#: Between which shares of a crease its name may point at it.
_SHARES = (0.25, 0.75)
#: Close by, as much about the creases that are named: a share of their extent, and mm.
_CLOSE, _CLOSE_MM = 0.5, 12.0


def _strokes(drawing: PieceDrawing) -> Iterator[Stroke]:
    for line in drawing.lines:
        if line.line_class in ("cut", "mountain", "valley"):
            points = np.concatenate([line.points, line.points[:1]]) if line.closed else line.points
            yield Stroke(points, line.line_class)


def draw_net(drawing: PieceDrawing, picture: NetPicture) -> Drawing:
    """A piece laid flat, printed face up, at the scale of its net.

    Parameters
    ----------
    drawing : of the piece, in net coordinates
    picture : which names stand at which creases

    Returns
    -------
    Drawing
    """
    lines: dict[str, list[Array]] = defaultdict(list)
    for line in drawing.lines:
        if line.hinge is not None:
            lines[crease_id_of(line.hinge)].append(line.points)
    named = [(lines[name], text) for name, text in picture.names if lines[name]]
    # Names point at creases that run side by side at different heights, so that each can be followed to its own.
    shares = _SHARES[0] + (_SHARES[1] - _SHARES[0]) * (np.arange(len(named)) + 0.5) / max(len(named), 1)
    labels = [Label(text, _along(parts, share)) for (parts, text), share in zip(named, shares, strict=True)]
    bounds = _bounds(drawing, [line for name, _ in picture.names for line in lines[name]], close=picture.close)
    return Drawing(bounds, ((drawing.card, "new"),), (), tuple(_strokes(drawing)), tuple(labels))


def _bounds(drawing: PieceDrawing, lines: Sequence[Array], *, close: bool) -> tuple[float, float, float, float]:
    """The whole card, or close by what the names are about."""
    box = np.array(drawing.card.bounds).reshape(2, 2)
    box += [[-_AROUND_MM], [_AROUND_MM]]
    if close and lines:
        points = np.concatenate(list(lines))
        focus = np.array([points.min(axis=0), points.max(axis=0)])
        more = np.maximum(_CLOSE * (focus[1] - focus[0]), _CLOSE_MM)
        box = np.array([np.maximum(focus[0] - more, box[0]), np.minimum(focus[1] + more, box[1])])
    return float(box[0, 0]), float(box[0, 1]), float(box[1, 0]), float(box[1, 1])


def _along(lines: Sequence[Array], share: float) -> Array:
    """A place on the longest part of a crease, from its lower end."""
    longest = max(lines, key=lambda line: float(np.hypot(*(line[-1] - line[0]))))
    start, end = sorted((longest[0], longest[-1]), key=lambda point: (round(float(point[1]), 3), float(point[0])))
    return np.asarray(start + share * (end - start))


def draw_sheet(sheet: Sheet, words: Mapping[str, str]) -> Drawing:
    """A sheet with its pieces and their names.

    Parameters
    ----------
    sheet : Sheet
    words : what each piece is called, by id

    Returns
    -------
    Drawing
    """
    whole = shapely.box(0.0, 0.0, sheet.width_mm, sheet.height_mm)
    faces: list[tuple[BaseGeometry, Tone]] = [(whole, "printed")]
    strokes = [Stroke(shapely.get_coordinates(whole), "crease")]
    labels = []
    for drawing in sheet.pieces:
        faces.append((drawing.card, "new"))
        strokes += _strokes(drawing)
        lines = [LineString(line.points) for line in drawing.lines if line.line_class in ("cut", "mountain", "valley")]
        free = drawing.card.difference(MultiLineString(lines).buffer(0.5))
        widest = max(shapely.get_parts(free), key=lambda part: part.area)
        circle = shapely.get_coordinates(shapely.maximum_inscribed_circle(widest, tolerance=0.5))
        labels.append(
            Label(one_line(words[drawing.piece.id]), circle[0], 2.0 * float(np.hypot(*(circle[1] - circle[0]))))
        )
    bounds = (0.0, 0.0, sheet.width_mm, sheet.height_mm)
    return Drawing(bounds, tuple(faces), (), tuple(strokes), tuple(labels))
