"""Dimensions: lengths, angles and places drawn on a net, each with the key of the description that sets it.

What is measured follows from the built spread: folds, hinge lines and outlines as they lie on the net (measures.py).
What it is called is a table of small functions, one a kind (kind_sizes.py), here and not in the modules of the kinds:
these build panels and know nothing of nets; and most rows are the same for several kinds (a glue line, a tab, a place
along the fold), so that side by side they stay the same. A test holds the table against every key of every kind, so
that a new kind or key without a dimension is noticed.

Lines are of class mark and texts of class label, as everything on a net that no knife follows (dimension_forms.py says
what they look like, dimension_places.py where they go).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LineString, MultiPolygon
from shapely.geometry.base import BaseGeometry

from ..model import Piece
from ..spread import Spread
from ..tolerances import TOUCH_MM
from ..transforms import Array
from .dimension_forms import Form
from .dimension_places import placed
from .kind_sizes import sizes_on
from .lettering import text_box
from .lines import NetLine, NetText

__all__ = ["DIMENSION", "TEXT_MM", "dimension_forms", "dimension_lines"]

#: Name of the lines, by which they are told from other marks.
DIMENSION = "dimension"

#: Font size, near the smaller sizes of lettering in technical drawings (ISO 3098, recalled: 2.5 and 3.5 mm).
TEXT_MM = 2.8

#: Kept free about a text where a line is interrupted for it.
_CLEAR_MM = 0.2


def dimension_forms(
    spread: Spread,
    piece: Piece,
    lines: Sequence[NetLine],
    texts: Sequence[NetText],
    card: MultiPolygon,
    text_mm: float = TEXT_MM,
) -> list[Form]:
    """The dimensions of one piece's net, as they are drawn.

    Parameters
    ----------
    spread : Spread
    piece : Piece
    lines, texts : what is drawn on the net already
    card : of the piece
    text_mm : float, font size

    Returns
    -------
    list of Form, in net coordinates
    """
    return placed(sizes_on(spread, piece.id), lines, texts, card, text_mm)


def dimension_lines(forms: Sequence[Form], texts: Sequence[NetText]) -> tuple[list[NetLine], list[NetText]]:
    """Lines and texts of dimensions; what two of them share once.

    Parameters
    ----------
    forms : what dimension_forms returned
    texts : what else is written on the net: extension lines and the like are interrupted where they cross a text
    """
    own = [form.text for form in forms]
    letters = shapely.union_all([text_box(text, clear_mm=_CLEAR_MM) for text in (*texts, *own)])
    found: dict[bytes, NetLine] = {}
    for form in forms:
        thin = [part for points in (*form.size.marks, *form.extensions) for part in _outside(points, letters)]
        for points in (*thin, form.main, *form.heads):
            # Where a dimension lies on what it measures, its extension lines have no length.
            if np.ptp(points, axis=0).max() > TOUCH_MM:
                found.setdefault(points.round(6).tobytes(), NetLine("mark", points, name=DIMENSION))
    return list(found.values()), own


def _outside(points: Array, letters: BaseGeometry) -> list[Array]:
    """What of a line does not lie under texts."""
    left = LineString(points).difference(letters)
    return [shapely.get_coordinates(part) for part in shapely.get_parts(left) if not part.is_empty]
