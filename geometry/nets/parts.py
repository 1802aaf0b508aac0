"""Which copy of a piece a drawing shows, and which tile of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import LinearRing, LineString, Polygon

from .lettering import CLEAR_MM, one_line, place_text, text_box
from .lines import NetText

if TYPE_CHECKING:
    from .drawing import PieceDrawing

__all__ = ["WHOLE", "Part", "copied", "named"]

_SIZE_MM = 3.0
_LEAST_MM = 1.8
#: Under a piece, as its title is.
_UNDER_MM = 2.6


@dataclass(frozen=True)
class Part:
    """What of a piece a drawing shows.

    Parameters
    ----------
    copy, copies : number of the copy, from 1, and how many there are
    tile : name of the tile, "" where the piece is whole
    """

    copy: int = 1
    copies: int = 1
    tile: str = ""

    @property
    def words(self) -> str:
        """What is added to the piece's title.

        Examples
        --------
        >>> Part(2, 3, "B1").words
        'copy 2 of 3, tile B1'
        """
        copy = f"copy {self.copy} of {self.copies}" if self.copies > 1 else ""
        return ", ".join(part for part in (copy, f"tile {self.tile}" if self.tile else "") if part)

    @property
    def attributes(self) -> dict[str, str]:
        """What is added to the piece's name in a file: data-copy and data-tile, where it is one of several."""
        copy = {"data-copy": str(self.copy)} if self.copies > 1 else {}
        return copy | ({"data-tile": self.tile} if self.tile else {})


#: The only copy, in one.
WHOLE = Part()


def copied(drawings: Sequence[PieceDrawing], copies: int) -> list[PieceDrawing]:
    """Drawings of several copies, each marked with its number.

    Parameters
    ----------
    drawings : of the pieces, in net coordinates
    copies : from 1

    Returns
    -------
    list of PieceDrawing, copy by copy; the same drawings where there is one
    """
    if copies == 1:
        return list(drawings)
    places = [_place(drawing, copies) for drawing in drawings]
    return [
        _marked(drawing, place, Part(copy, copies))
        for copy in range(1, copies + 1)
        for drawing, place in zip(drawings, places, strict=True)
    ]


def _place(drawing: PieceDrawing, copies: int) -> NetText | None:
    """The longest of the marks where nothing else is on the card; None where it has no room."""
    taken = []
    for line in drawing.lines:
        if line.line_class == "glue" and line.closed:
            taken.append(Polygon(line.points).buffer(CLEAR_MM))
        else:
            stroke = LinearRing(line.points) if line.closed else LineString(line.points)
            taken.append(stroke.buffer(CLEAR_MM))
    taken += [text_box(text, clear_mm=CLEAR_MM) for text in drawing.texts]
    free = drawing.card.buffer(-CLEAR_MM).difference(shapely.union_all(taken))
    longest = Part(copies, copies).words
    return place_text(free, longest, size_mm=_SIZE_MM, least_mm=_LEAST_MM, enough_mm=2.0)


def _marked(drawing: PieceDrawing, place: NetText | None, part: Part) -> PieceDrawing:
    """The drawing with its mark: on the card, or under it, behind the title where that stands there too."""
    if place is not None:
        return replace(drawing, texts=(*drawing.texts, replace(place, text=part.words)), part=part)
    title = one_line(drawing.piece.title)
    under = [text for text in drawing.texts if text.text == title and not text_box(text).intersects(drawing.card)]
    others = tuple(text for text in drawing.texts if all(text is not one for one in under))
    left, low, right, _ = drawing.card.bounds
    under_card = np.array([(left + right) / 2, low - drawing.bleed_mm - _UNDER_MM])
    below = NetText("label", "", under_card, _UNDER_MM, bold=True)
    words = f"{title}, {part.words}" if under else part.words
    return replace(drawing, texts=(*others, replace(under[0] if under else below, text=words)), part=part)


def named(drawings: Sequence[PieceDrawing]) -> tuple[str, ...]:
    """What lies on a sheet, in words: titles, with their tiles and copies.

    Parameters
    ----------
    drawings : of one sheet

    Returns
    -------
    tuple of str, one for each piece; its copies are counted together
    """
    together: dict[tuple[str, str], list[PieceDrawing]] = {}
    for drawing in drawings:
        together.setdefault((drawing.piece.id, drawing.part.tile), []).append(drawing)
    found = []
    for (_, tile), group in together.items():
        words = one_line(group[0].piece.title) + (f" tile {tile}" if tile else "")
        if group[0].part.copies > 1:
            words += f" ({_numbers([drawing.part.copy for drawing in group])})"
        found.append(words)
    return tuple(found)


def _numbers(copies: Sequence[int]) -> str:
    """Numbers of copies, runs shortened.

    Examples
    --------
    >>> _numbers([1, 2, 3, 5]), _numbers([4])
    ('copies 1-3, 5', 'copy 4')
    """
    runs: list[list[int]] = []
    for number in sorted(copies):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    words = ", ".join(f"{run[0]}-{run[-1]}" if len(run) > 1 else str(run[0]) for run in runs)
    return f"{'copy' if len(copies) == 1 else 'copies'} {words}"
