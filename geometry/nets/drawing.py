"""The drawing of one piece, in its net coordinates: what every writer and every sheet starts from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LinearRing, LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from ..artwork import BLEED_MM, art_box
from ..model import Hinge, Piece
from ..spread import Spread
from ..transforms import Array, apply, inverse
from .cuts import card_of, find_lines
from .dimensions import dimension_forms, dimension_lines
from .glue import glue_marks, glue_name, glue_texts
from .lettering import CLEAR_MM, one_line, place_text, text_box
from .lines import ArtImage, Fill, NetLine, NetText, Placement
from .options import SheetOptions
from .parts import WHOLE, Part

__all__ = ["BLEED_MM", "PieceDrawing", "bleed_notes", "draw_piece", "titled"]

_TITLE_SIZE_MM = 4.2
_LEAST_TITLE_MM = 1.8
_UNDER_TITLE_MM = 2.6
_FOOT_MM = 2.6
_TITLE_CLEAR_MM = 5.0
_ARROW_MM = np.array([1.6, 5.0])
#: A pivot is marked by a cross that reaches as far from it.
_PIVOT_MM = 4.0


@dataclass(frozen=True)
class PieceDrawing:
    """One piece laid flat.

    Parameters
    ----------
    piece : what it is
    lines : all its lines, in drawing order
    texts : all its texts
    art : artwork of its printed face, or None where that is plain
    back : artwork of its back, or None where that is plain
    card : the card itself, all panels joined
    part : which copy it is, and which tile
    bleed_mm : float, how far its artwork is printed beyond the card
    fills : flat colours of its printed face, under the artwork, each in its own region
    fill_back : flat colour of its back, under the artwork, or None
    """

    piece: Piece
    lines: tuple[NetLine, ...]
    texts: tuple[NetText, ...]
    art: ArtImage | None
    back: ArtImage | None
    card: MultiPolygon
    part: Part = WHOLE
    bleed_mm: float = BLEED_MM
    fills: tuple[Fill, ...] = ()
    fill_back: Fill | None = None

    @property
    def is_printed(self) -> bool:
        """Whether its printed face has artwork or a colour."""
        return self.art is not None or bool(self.fills)

    @property
    def is_printed_behind(self) -> bool:
        """Whether its back has artwork or a colour."""
        return self.back is not None or self.fill_back is not None

    def bounds(self) -> tuple[float, float, float, float]:
        """Box about the card, all texts and the marks of a tile, (left, low, right, high), mm."""
        marks = [LineString(line.points) for line in self.lines if line.name is not None]
        left, low, right, high = shapely.total_bounds([self.card, *marks, *(text_box(text) for text in self.texts)])
        return float(left), float(low), float(right), float(high)

    def moved(self, placement: Placement) -> PieceDrawing:
        """The same drawing on the sheet."""
        return replace(
            self,
            lines=tuple(line.moved(placement) for line in self.lines),
            texts=tuple(text.moved(placement) for text in self.texts),
            art=self.art.moved(placement) if self.art is not None else None,
            back=self.back.moved(placement) if self.back is not None else None,
            fills=tuple(fill.moved(placement) for fill in self.fills),
            fill_back=self.fill_back.moved(placement) if self.fill_back is not None else None,
            card=shapely.transform(self.card, placement.apply),
        )

    def bled(self, most_mm: float) -> PieceDrawing:
        """The drawing with no more bleed than that, so that it never runs onto a neighbour or off the sheet."""
        if most_mm >= self.bleed_mm:
            return self
        return replace(self.printed_inside(_grown(self.card, most_mm)), bleed_mm=most_mm)

    def printed_inside(self, region: BaseGeometry) -> PieceDrawing:
        """The drawing with artwork and colours only inside a region."""
        return replace(
            self,
            art=self.art.inside(region) if self.art is not None else None,
            back=self.back.inside(region) if self.back is not None else None,
            fills=tuple(fill.inside(region) for fill in self.fills),
            fill_back=self.fill_back.inside(region) if self.fill_back is not None else None,
        )


def draw_piece(spread: Spread, piece_id: str, *, bleed_mm: float = BLEED_MM, dimensions: bool = False) -> PieceDrawing:
    """Draw one piece of a spread.

    Parameters
    ----------
    spread : Spread
    piece_id : name of the piece
    bleed_mm : float, how far its artwork is printed beyond the card
    dimensions : whether its sizes are drawn on it

    Returns
    -------
    PieceDrawing, in the piece's net coordinates

    Notes
    -----
    The bleed follows the outline and every window, slot and notch: artwork is printed on the card grown by it. Where
    the two sides of a slit or a notch are nearer than twice the bleed, both bleeds are the same picture in the same
    place (one piece has one picture), so the artwork simply runs through: each side is the bleed of the other. Two
    pieces have different pictures, so between them each ends half-way (`bled`).
    """
    piece = spread.piece(piece_id)
    solid = spread.solid_with(piece_id)
    if solid is not None:
        return _solid_net(spread, piece, solid.drawings[piece_id]).bled(bleed_mm)
    outlines = {name: spread.panels[name].outline for name in piece.panels}
    card = card_of(list(outlines.values()))
    box = art_box(spread, piece_id)
    cuts, folds = _cuts_and_folds(spread, piece_id, outlines)
    glue = glue_marks(spread, piece)
    inner = card.difference(shapely.union_all([_stroke(line) for line in (*cuts, *folds)]).buffer(CLEAR_MM))
    lettered, leaders = glue_texts(spread, piece, glue, inner)
    pivots = _pivots(spread, piece)
    taken: list[BaseGeometry] = [_covered(line).buffer(CLEAR_MM) for line in glue]
    taken += [outlines[name] for name in piece.panels if spread.panels[name].role == "tab"]
    taken += [text_box(text, clear_mm=CLEAR_MM) for text in lettered]
    taken += [_stroke(line).buffer(CLEAR_MM) for line in (*leaders, *pivots)]
    title, arrow = titled(piece, card, inner.difference(shapely.union_all(taken)), bleed_mm)
    lines, texts = [*glue, *cuts, *folds, *arrow, *leaders, *pivots], [*lettered, title]
    if dimensions:
        sizes = dimension_lines(dimension_forms(spread, piece, lines, texts, card), texts)
        lines, texts = [*lines, *sizes[0]], [*texts, *sizes[1]]
    return PieceDrawing(
        piece=piece,
        lines=tuple(lines),
        texts=tuple(texts),
        art=_artwork(piece.art_front, card, box, bleed_mm),
        back=_artwork_behind(piece.art_back, card, box, bleed_mm),
        card=card,
        bleed_mm=bleed_mm,
        fills=() if piece.color_front is None else (Fill(piece.color_front, _grown(card, bleed_mm)),),
        fill_back=None if piece.color_back is None else Fill(piece.color_back, _grown(card, bleed_mm)),
    )


def _solid_net(spread: Spread, piece: Piece, drawing: PieceDrawing) -> PieceDrawing:
    """The net of a solid as a piece of its spread: its creases named, and the gluing marks of its foot."""
    folding = spread.folding
    drawing = replace(drawing, piece=piece, lines=_named(drawing.lines, spread.creases(piece.id)))
    own = next((each for each in folding.pieces if each.id == piece.id), None)
    if own is None:
        return drawing
    marks = glue_marks(folding, own)
    taken = shapely.union_all([_stroke(line).buffer(CLEAR_MM) for line in drawing.lines])
    names = []
    for name in own.panels:
        free = folding.panels[name].outline.difference(taken)
        text = place_text(free, glue_name(name), size_mm=_FOOT_MM, least_mm=_LEAST_TITLE_MM, turns_rad=(0.0, np.pi / 2))
        names += [] if text is None else [text]
    return replace(drawing, lines=(*marks, *drawing.lines), texts=(*drawing.texts, *names))


def _named(lines: Sequence[NetLine], creases: Sequence[Hinge]) -> tuple[NetLine, ...]:
    """The lines, each crease with the name of the hinge on which its middle lies."""
    if not creases:
        return tuple(lines)
    ends = np.array([hinge.lines[0] for hinge in creases])
    lengths = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    named = []
    for line in lines:
        if line.line_class in ("mountain", "valley"):
            middle = (line.points[0] + line.points[-1]) / 2
            aside = np.linalg.norm(ends - middle, axis=2).sum(axis=1) - lengths
            line = replace(line, hinge=creases[int(np.argmin(aside))].id)
        named.append(line)
    return tuple(named)


def bleed_notes(drawings: Sequence[PieceDrawing], options: SheetOptions) -> list[str]:
    """Where artwork cannot bleed as far as was asked for, or continues as its mirror image."""
    if not any(drawing.is_printed or drawing.is_printed_behind for drawing in drawings):
        return []
    bleed, half = options.bleed_mm, options.gap_mm / 2
    notes = []
    if half < bleed:
        notes.append(
            f"the bleed of {bleed:g} mm ends after {half:g} mm, half-way between pieces: "
            f"a gap of {2 * bleed:g} mm (--gap) leaves it whole"
        )
    if options.margin_mm < min(bleed, half):
        notes.append(f"the bleed may end at the edge of a sheet: a margin of {bleed:g} mm (--margin) leaves it whole")
    pictures = [art for drawing in drawings for art in (drawing.art, drawing.back) if art is not None]
    if min(bleed, half) > BLEED_MM and any(art.paint is None for art in pictures):
        notes.append(
            f"artwork has a border of {BLEED_MM:g} mm about its piece; beyond that the bleed is its mirror image"
        )
    return notes


def _stroke(line: NetLine) -> BaseGeometry:
    return LinearRing(line.points) if line.closed else LineString(line.points)


def _covered(mark: NetLine) -> BaseGeometry:
    """What a gluing mark keeps free of the title: all of it on a host, its stroke on the part that is glued."""
    return _stroke(mark) if mark.panel == mark.glued else Polygon(mark.points)


def _cuts_and_folds(spread: Spread, piece_id: str, outlines: dict[str, Polygon]) -> tuple[list[NetLine], list[NetLine]]:
    hinges = {hinge.id: hinge for hinge in spread.creases(piece_id)}
    found = find_lines(outlines, {name: (hinge.lines[0], hinge.panels) for name, hinge in hinges.items()})
    ends = np.array([line.points[[0, -1]] for line in found.creases]).reshape(-1, 2)
    cuts = [NetLine("cut", line.points, line.closed, panel=line.owner, nodes=ends) for line in found.cuts]
    classes = {name: spread.crease_class(hinge) for name, hinge in hinges.items()}
    folds = [NetLine(classes[line.owner], line.points, hinge=line.owner) for line in found.creases if line.owner]
    return cuts, folds


def _pivots(spread: Spread, piece: Piece) -> list[NetLine]:
    """A cross wherever a panel turns in the plane of its host, on both."""
    marks = []
    for panel in spread.panels.values():
        axis, host = panel.axis, panel.parent
        if axis is None or host is None or not axis.pivots:
            continue
        for name, place in ((host, axis.point), (panel.id, apply(inverse(panel.rest), axis.point[None])[0])):
            if name in piece.panels:
                marks += [NetLine("mark", _cross(place[:2], way), panel=name) for way in ((1.0, 0.0), (0.0, 1.0))]
    return marks


def _cross(place: Array, way: tuple[float, float]) -> Array:
    return np.asarray(place + _PIVOT_MM * np.outer([-1.0, 1.0], way))


def titled(piece: Piece, card: MultiPolygon, free: BaseGeometry, bleed_mm: float) -> tuple[NetText, list[NetLine]]:
    """The piece's name where nothing else is, or under the piece where it is too small; with an arrow upwards."""
    name = one_line(piece.title)
    title = place_text(
        free,
        name,
        size_mm=_TITLE_SIZE_MM,
        least_mm=_LEAST_TITLE_MM,
        turns_rad=(0.0, np.pi / 2),
        bold=True,
        enough_mm=_TITLE_CLEAR_MM,
    )
    if title is None:
        left, low, right, _ = card.bounds
        place = np.array([(left + right) / 2, low - bleed_mm - _UNDER_TITLE_MM])
        return NetText("label", name, place, _UNDER_TITLE_MM, bold=True), []
    return title, _arrow_beside(title, free)


def _arrow_beside(title: NetText, free: BaseGeometry) -> list[NetLine]:
    """An arrow that shows which way is up on the net, where it has room beside the title."""
    left, low, right, high = text_box(title, clear_mm=2 * CLEAR_MM).bounds
    half = _ARROW_MM / 2
    up, barb = np.array([0.0, half[1]]), np.array([half[0], 0.0])
    middle = np.array([(left + right) / 2, (low + high) / 2])
    for centre in (
        np.array([left - half[0], middle[1]]),
        np.array([right + half[0], middle[1]]),
        np.array([middle[0], high + half[1]]),
        np.array([middle[0], low - half[1]]),
    ):
        if free.contains(shapely.box(*(centre - half), *(centre + half))):
            tip, neck = centre + up, centre + 0.35 * up
            barbs = np.array([neck - barb, tip, neck + barb])
            return [NetLine("mark", np.array([centre - up, tip])), NetLine("mark", barbs)]
    return []


Box = tuple[float, float, float, float]


def _artwork_behind(file: str | None, card: MultiPolygon, box: Box, bleed_mm: float) -> ArtImage | None:
    art = _artwork(file, card, box, bleed_mm)
    return art.from_behind() if art is not None else None


def _artwork(file: str | None, card: MultiPolygon, box: Box, bleed_mm: float) -> ArtImage | None:
    """The artwork fills its box; it is printed on the card grown by the bleed."""
    if file is None:
        return None
    left, low, right, high = box
    return ArtImage(
        file=file,
        corner=np.array([left, low]),
        along=np.array([right - left, 0.0]),
        up=np.array([0.0, high - low]),
        shown=_grown(card, bleed_mm),
    )


def _grown(card: MultiPolygon, bleed_mm: float) -> MultiPolygon:
    """The card and its bleed; round about its corners, so that the bleed is as wide there."""
    region = card.buffer(bleed_mm)
    return MultiPolygon([part for part in shapely.get_parts(region) if isinstance(part, Polygon)])
