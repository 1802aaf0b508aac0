"""Drawings on paper: a box in a flow of text, tinted so that black and white and any eyes will do."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus.flowables import Flowable
from shapely import LineString, MultiLineString, Polygon
from shapely.geometry.base import BaseGeometry

from ..nets.classes import STYLES, dashes_mm
from ..nets.lettering import CAP_HEIGHT, font_name, spelled, text_width_mm
from ..nets.pdf import MM, outline_path
from ..transforms import Array
from .view import Drawing, Label, Stroke, Tone, Weight

__all__ = ["FACE_COLORS", "WIDTHS_MM", "Figure", "draw_hatched", "draw_stroke"]

Color = tuple[float, float, float]

#: Printed faces are lightest, backs darker; what is new is told by its heavy outline and, in colour, by its hue.
FACE_COLORS: dict[Tone, Color] = {
    "printed": (0.975, 0.97, 0.95),
    "back": (0.83, 0.83, 0.83),
    "new": (1.0, 0.94, 0.70),
    "new back": (0.90, 0.74, 0.38),
}
_GLUE_TINT: Color = (0.72, 0.90, 0.84)
_GLUE_LINE: Color = (0.0, 0.36, 0.27)
_INK: Color = (0.07, 0.07, 0.07)
#: How wide lines are.
WIDTHS_MM: dict[Weight, float] = {
    "crease": 0.1,
    "edge": 0.2,
    "contour": 0.3,
    "new": 0.55,
    "arrow": 0.7,
    "cut": 0.25,
    "mountain": 0.3,
    "valley": 0.3,
}
#: Finer than any printer: what lines on paper are simplified to.
_FINE_MM = 0.01
_HATCH_MM, _HATCH_WIDTH_MM = 1.1, 0.18
_LABEL_MM, _ROW_MM, _LEADER_MM, _DOT_MM = 2.7, 3.9, 0.13, 0.45
_ARROW_HEAD_MM = 3.2
_BESIDE_MM = 1.5
#: Names go to one side where the drawing can then be so many times as large.
_MUCH = 1.6
#: reportlab's number for filling by the even-odd rule, so that holes stay open.
_EVEN_ODD = 0


class Figure(Flowable):
    """A drawing in a box of given width and greatest height, points."""

    def __init__(self, drawing: Drawing, width: float, height: float) -> None:
        super().__init__()
        self.drawing = drawing
        left, low, right, high = drawing.bounds
        size = np.array([right - left, high - low])
        paper = np.array([width, height]) / MM
        self._inside: tuple[Label, ...] = ()
        # Names that fit inside need no room beside; whether they fit depends on the room that the others leave.
        for _ in range(2):
            beside = [label for label in drawing.labels if label not in self._inside]
            self._sides = _best_sides(beside, (left + right) / 2, size, paper)
            self._scale = _scale(self._sides, size, paper)
            self._inside = tuple(label for label in drawing.labels if _label_mm(label) < label.room * self._scale)
        margins = _margins(self._sides)
        shown = size * self._scale
        rows = max(len(side) for side in self._sides)
        self.width, self.height = width, max(float(shown[1]), _ROW_MM * rows) * MM
        # The drawing stands in the middle of its box, as far as its names let it.
        free = float(paper[0] - shown[0]) - sum(margins)
        start = min(max(float(paper[0] - shown[0]) / 2, margins[0]), margins[0] + free)
        self._shift = np.array([start, (self.height / MM - float(shown[1])) / 2]) - np.array([left, low]) * self._scale

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """Its size, points."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw it on the canvas of its page."""
        canvas: Canvas = self.canv
        canvas.saveState()
        canvas.scale(MM, MM)
        canvas.setLineJoin(1)
        canvas.setLineCap(1)
        self._draw_shapes(canvas)
        self._draw_labels(canvas)
        canvas.restoreState()

    def _draw_shapes(self, canvas: Canvas) -> None:
        left, low, right, high = self.drawing.bounds
        corner, far = self._placed(np.array([[left, low], [right, high]]))
        canvas.saveState()
        clip = canvas.beginPath()
        clip.rect(corner[0] - 0.4, corner[1] - 0.4, far[0] - corner[0] + 0.8, far[1] - corner[1] + 0.8)
        canvas.clipPath(clip, stroke=0, fill=0)
        for shape, tone in self.drawing.faces:
            canvas.setFillColorRGB(*FACE_COLORS[tone])
            placed = shapely.transform(shape, self._placed).simplify(_FINE_MM)
            canvas.drawPath(outline_path(canvas, _areas(placed)), stroke=0, fill=1, fillMode=_EVEN_ODD)
        for shape in self.drawing.glue:
            draw_hatched(canvas, _areas(shapely.transform(shape, self._placed)))
        for stroke in self.drawing.strokes:
            line = LineString(self._placed(stroke.points)).simplify(_FINE_MM)
            draw_stroke(canvas, Stroke(shapely.get_coordinates(line), stroke.weight))
        canvas.restoreState()

    def _placed(self, points: Array) -> Array:
        return np.asarray(points * self._scale + self._shift)

    def _draw_labels(self, canvas: Canvas) -> None:
        """Names in their pieces, or in two columns beside the drawing, each with a line to its place."""
        canvas.setFont(font_name(False), _LABEL_MM)
        canvas.setFillColorRGB(*_INK)
        for label in self._inside:
            x, y = self._placed(label.place)
            canvas.drawCentredString(x, y - _LABEL_MM * CAP_HEIGHT / 2, spelled(label.text))
        left, _, right, _ = self.drawing.bounds
        edges = self._placed(np.array([[left, 0.0], [right, 0.0]]))[:, 0]
        for way, column, edge in zip((-1.0, 1.0), self._sides, edges, strict=True):
            self._draw_column(canvas, column, way, float(edge))

    def _draw_column(self, canvas: Canvas, labels: Sequence[Label], side: float, edge: float) -> None:
        places = [self._placed(label.place) for label in labels]
        column = sorted(zip(labels, places, strict=True), key=lambda item: float(item[1][1]))
        heights = _apart([float(place[1]) for _, place in column], self.height / MM)
        canvas.setStrokeColorRGB(*_INK)
        canvas.setLineWidth(_LEADER_MM)
        canvas.setDash([])
        for (label, place), y in zip(column, heights, strict=True):
            x = edge + side * _BESIDE_MM
            canvas.line(x, y, float(place[0]), float(place[1]))
            canvas.circle(float(place[0]), float(place[1]), _DOT_MM, stroke=0, fill=1)
            draw = canvas.drawRightString if side < 0 else canvas.drawString
            draw(x + side * 0.6, y - _LABEL_MM * CAP_HEIGHT / 2, spelled(label.text))


def _label_mm(label: Label) -> float:
    return text_width_mm(label.text, _LABEL_MM)


Sides = tuple[tuple[Label, ...], tuple[Label, ...]]


def _margins(sides: Sides) -> list[float]:
    """Room for names to the left and to the right, mm."""
    wide = [max((_label_mm(label) for label in side), default=0.0) for side in sides]
    return [each + _BESIDE_MM + 1.5 if each else 0.0 for each in wide]


def _scale(sides: Sides, size: Array, paper: Array) -> float:
    """How large the drawing may be drawn beside these names."""
    return float(((paper - [sum(_margins(sides)), 0.0]) / size).min())


def _best_sides(labels: Sequence[Label], middle: float, size: Array, paper: Array) -> Sides:
    """Which names stand to the left of a drawing and which to the right.

    About as many, where there are many; all on one side where that leaves the drawing much more room.
    """
    ordered = tuple(sorted(labels, key=lambda label: float(label.place[0])))
    half = (len(ordered) + 1) // 2 if len(ordered) > 2 else sum(label.place[0] < middle for label in ordered)
    both, on_one = (ordered[:half], ordered[half:]), [((), ordered), (ordered, ())]
    best = max(on_one, key=lambda sides: _scale(sides, size, paper))
    return best if _scale(best, size, paper) > _MUCH * _scale(both, size, paper) else both


def _apart(wanted: Sequence[float], height: float) -> list[float]:
    """Heights of rows as near to the wanted ones as they can be without running into each other, from below."""
    rows = list(wanted)
    for index in range(len(rows)):
        least = _ROW_MM / 2 if index == 0 else rows[index - 1] + _ROW_MM
        rows[index] = max(rows[index], least)
    for index in reversed(range(len(rows))):
        most = height - _ROW_MM / 2 if index == len(rows) - 1 else rows[index + 1] - _ROW_MM
        rows[index] = min(rows[index], most)
    return rows


def _areas(shape: BaseGeometry) -> BaseGeometry:
    return shapely.MultiPolygon([part for part in shapely.get_parts(shape) if isinstance(part, Polygon)])


def draw_hatched(canvas: Canvas, shape: BaseGeometry) -> None:
    """A place with glue: tinted and hatched, mm of the paper."""
    if shape.is_empty:
        return
    canvas.setFillColorRGB(*_GLUE_TINT)
    canvas.drawPath(outline_path(canvas, shape), stroke=0, fill=1, fillMode=_EVEN_ODD)
    left, low, right, high = shape.bounds
    starts = np.arange(left - (high - low), right + _HATCH_MM, _HATCH_MM)
    lines = MultiLineString([LineString([(x, low), (x + high - low, high)]) for x in starts])
    canvas.setStrokeColorRGB(*_GLUE_LINE)
    canvas.setLineWidth(_HATCH_WIDTH_MM)
    canvas.setDash([])
    for part in shapely.get_parts(shapely.intersection(lines, shape)):
        if isinstance(part, LineString) and not part.is_empty:
            (x0, y0), (x1, y1) = part.coords[0], part.coords[-1]
            canvas.line(x0, y0, x1, y1)


def draw_stroke(canvas: Canvas, stroke: Stroke) -> None:
    """A line, mm of the paper."""
    weight, points = stroke.weight, stroke.points
    color: Color = _INK
    dashes: tuple[float, ...] = ()
    if weight == "mountain" or weight == "valley":
        style = STYLES[weight]
        red, green, blue = style.color
        color = red / 255.0, green / 255.0, blue / 255.0
        dashes = dashes_mm(style, float(np.hypot(*np.diff(points, axis=0).T).sum()))
    canvas.setStrokeColorRGB(*color)
    canvas.setLineWidth(WIDTHS_MM[weight])
    canvas.setDash(list(dashes))
    path = canvas.beginPath()
    path.moveTo(*points[0])
    for x, y in points[1:]:
        path.lineTo(x, y)
    canvas.drawPath(path, stroke=1, fill=0)
    if weight == "arrow":
        _draw_head(canvas, points)


def _draw_head(canvas: Canvas, points: Array) -> None:
    tip, along = points[-1], points[-1] - points[-3]
    along = along / max(float(np.hypot(*along)), 1e-9) * _ARROW_HEAD_MM
    aside = np.array([-along[1], along[0]]) * 0.45
    path = canvas.beginPath()
    path.moveTo(*(tip + 0.5 * along))
    path.lineTo(*(tip - 0.5 * along + aside))
    path.lineTo(*(tip - 0.5 * along - aside))
    path.close()
    canvas.setFillColorRGB(*_INK)
    canvas.drawPath(path, stroke=0, fill=1)
