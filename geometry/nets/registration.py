"""Registration marks: crosses by which two prints are laid on each other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from ..transforms import Array
from .lettering import text_box
from .lines import NetLine

if TYPE_CHECKING:
    from .sheets import Sheet

__all__ = ["REGISTRATION", "crosses", "is_registered", "registered"]

#: Name of the lines of a registration mark.
REGISTRATION = "registration"

#: Where in the margin a cross stands, as a share of it from the edge: as far inwards as its arms allow, because many
#: printers leave the outermost 3 or 4 mm blank.
_INWARDS = 0.6
_MOST_ARM_MM, _LEAST_ARM_MM = 2.2, 1.0
#: What a cross keeps free about itself.
_CLEAR_MM = 0.4
#: Steps in which a place is looked for along a side, from its middle.
_STEP_MM = 4.0


def crosses(places: Sequence[Array], arm_mm: float) -> list[NetLine]:
    """Upright crosses.

    Parameters
    ----------
    places : (2,) float, mm; their middles
    arm_mm : float, from the middle to each end

    Returns
    -------
    list of NetLine, two a cross, class mark
    """
    reach = np.array([[-arm_mm, 0.0], [arm_mm, 0.0]])
    return [
        NetLine("mark", np.asarray(place) + way, name=REGISTRATION)
        for place in places
        for way in (reach, reach[:, ::-1])
    ]


def registered(sheet: Sheet) -> Sheet:
    """The sheet with one cross in each of its four margins, outside of the pieces and their bleed.

    Parameters
    ----------
    sheet : Sheet

    Returns
    -------
    Sheet; the same where its margins are too narrow for a cross, and without the cross of a margin that is full
    """
    taken = _taken(sheet)
    places: list[Array] = []
    arms: list[float] = []
    for side in range(4):
        found = next((place for place in _places(sheet, side) if _is_free(place, taken)), None)
        if found is not None:
            places.append(found[0])
            arms.append(found[1])
    if not places:
        return sheet
    return replace(sheet, lines=(*sheet.lines, *crosses(places, min(arms))))


def is_registered(sheet: Sheet) -> bool:
    """Whether the sheet has registration marks."""
    return any(line.name == REGISTRATION for line in sheet.lines)


def _taken(sheet: Sheet) -> BaseGeometry:
    shapes: list[BaseGeometry] = [drawing.card.buffer(drawing.bleed_mm) for drawing in sheet.pieces]
    shapes += [LineString(line.points) for drawing in sheet.pieces for line in drawing.lines if line.name is not None]
    shapes += [LineString(line.points) for line in sheet.lines]
    shapes += [text_box(text) for text in (*sheet.texts, *(text for drawing in sheet.pieces for text in drawing.texts))]
    return shapely.union_all(shapes)


def _is_free(place: tuple[Array, float], taken: BaseGeometry) -> bool:
    (x, y), half = place[0], place[1] + _CLEAR_MM
    return not shapely.box(x - half, y - half, x + half, y + half).intersects(taken)


def _places(sheet: Sheet, side: int) -> Iterator[tuple[Array, float]]:
    """Places in one margin and the arm that fits there, the best first: near the middle, then nearer to the edge."""
    margin = sheet.margin_mm
    bleed = max(drawing.bleed_mm for drawing in sheet.pieces)
    # First in the margin as a whole, then in what of it no bleed can reach.
    for room, inwards in ((margin, _INWARDS), (margin - bleed, 0.5)):
        arm = min(_MOST_ARM_MM, room * (1 - inwards) - 2 * _CLEAR_MM)
        if arm < _LEAST_ARM_MM:
            continue
        length = sheet.width_mm if side in (0, 1) else sheet.height_mm
        for step in range(int((length / 2 - margin) / _STEP_MM) + 1):
            for way in (1.0, -1.0) if step else (1.0,):
                along, across = length / 2 + way * step * _STEP_MM, room * inwards
                yield _at(sheet, side, along, across), arm


def _at(sheet: Sheet, side: int, along: float, across: float) -> Array:
    """A point so far along a side of the sheet (lower, upper, left, right) and so far in from it."""
    return np.array(
        [
            (along, across),
            (along, sheet.height_mm - across),
            (across, along),
            (sheet.width_mm - across, along),
        ][side]
    )
