"""The legend of the booklet: samples of faces, glue and lines."""

from __future__ import annotations

import numpy as np
from reportlab.platypus.flowables import Flowable
from shapely import MultiPolygon, box

from ..nets.pdf import MM
from .figure import FACE_COLORS, WIDTHS_MM, draw_hatched, draw_stroke
from .view import Stroke

__all__ = ["legend_rows"]

_WIDE_MM, _HIGH_MM = 16.0, 5.0

_TEXTS: tuple[tuple[str, str], ...] = (
    ("printed", "printed face of what is there already"),
    ("back", "back of what is there already"),
    ("new", "printed face of what the step is about, heavily outlined"),
    ("new back", "its back, darker"),
    ("glue", "place that is glued, hatched; the name beside it is that on the net"),
    ("cut", "cut (on nets)"),
    ("mountain", "mountain fold (on nets)"),
    ("valley", "valley fold (on nets)"),
    ("crease", "crease of standing card"),
    ("arrow", "turn the page over, this way"),
)


class _Sample(Flowable):
    """One sample."""

    def __init__(self, name: str) -> None:
        super().__init__()
        self._name = name
        self.width, self.height = _WIDE_MM * MM, _HIGH_MM * MM

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """Its size, points."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw it on the canvas of its page."""
        canvas = self.canv
        canvas.saveState()
        canvas.scale(MM, MM)
        ring = np.array([[0.5, 0.5], [_WIDE_MM, 0.5], [_WIDE_MM, _HIGH_MM - 0.5], [0.5, _HIGH_MM - 0.5], [0.5, 0.5]])
        if self._name in FACE_COLORS:
            tone = next(tone for tone in FACE_COLORS if tone == self._name)
            canvas.setFillColorRGB(*FACE_COLORS[tone])
            canvas.rect(0.5, 0.5, _WIDE_MM - 0.5, _HIGH_MM - 1.0, stroke=0, fill=1)
            draw_stroke(canvas, Stroke(ring, "new" if tone.startswith("new") else "contour"))
        elif self._name == "glue":
            draw_hatched(canvas, MultiPolygon([box(0.5, 0.5, _WIDE_MM, _HIGH_MM - 0.5)]))
        else:
            weight = next(weight for weight in WIDTHS_MM if weight == self._name)
            middle = _HIGH_MM / 2
            draw_stroke(canvas, Stroke(np.array([[0.5, middle], [7.0, middle], [_WIDE_MM - 2.0, middle]]), weight))
        canvas.restoreState()


def legend_rows() -> list[tuple[Flowable, str]]:
    """Samples with their words."""
    return [(_Sample(name), text) for name, text in _TEXTS]
