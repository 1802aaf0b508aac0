"""Light under lines and lettering that lie on artwork, so that they can be read on any colour.

It belongs to the layer of the lettering, which no machine cuts, and lies under all lines; in a PDF it goes with the
layer of its line as well. Where a tab covers the artwork anyway, all of the gluing mark is light.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import shapely

from ..transforms import Array
from .classes import STYLES, LineClass
from .drawing import PieceDrawing
from .lettering import text_box

__all__ = ["HALO_OPACITY", "Halo", "halos"]

HALO_OPACITY = 0.72

_BESIDE_MM = 0.22
_AROUND_TEXT_MM = 0.3


@dataclass(frozen=True)
class Halo:
    """A light band along a line, or a light area.

    Parameters
    ----------
    points : (n, 2) float, mm
    closed : whether it returns to its first point
    width_mm : float, of the band; 0 for an area
    line_class : of the line or text that it lies under
    """

    points: Array
    closed: bool
    width_mm: float = 0.0
    line_class: LineClass = "label"


def halos(drawing: PieceDrawing, *, without: Collection[LineClass] = ()) -> list[Halo]:
    """What is light on a piece; nothing where it has neither artwork nor a colour.

    Parameters
    ----------
    drawing : PieceDrawing
    without : classes whose lines leave the artwork whole

    Returns
    -------
    halos : in the drawing's coordinates
    """
    if not drawing.is_printed:
        return []
    shapes = []
    for line in drawing.lines:
        if line.line_class in without:
            continue
        if line.line_class == "glue" and line.tinted:
            shapes.append(Halo(line.points, True, 0.0, "glue"))
        else:
            width = STYLES[line.line_class].width_mm + 2 * _BESIDE_MM
            shapes.append(Halo(line.points, line.closed, width, line.line_class))
    for text in drawing.texts:
        corners = shapely.get_coordinates(text_box(text, clear_mm=_AROUND_TEXT_MM))
        shapes.append(Halo(corners[:-1], True))
    return shapes
