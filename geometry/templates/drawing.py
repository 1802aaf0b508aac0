"""The template of one face of a piece: everything an illustrator has to know, as guides over an empty picture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely import LinearRing, LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from ..artwork import art_box
from ..nets.classes import LineClass
from ..nets.drawing import BLEED_MM, PieceDrawing
from ..nets.lettering import one_line
from ..outline import parts_of
from ..spread import Spread
from ..transforms import Array
from .contact import contacts
from .faces import ArtFrame, Face
from .guides import Guide, hatched
from .options import SAFE_MM
from .sight import Sight
from .up import up_on
from .words import arrow, legend, names_of_tabs, title

__all__ = ["Template", "face_template"]

_OTHER_SIDE: dict[LineClass, LineClass] = {"mountain": "valley", "valley": "mountain"}
_NEVER, _OPENING = (1.8, np.pi / 4), (3.2, -np.pi / 4)
#: What is narrower or smaller is not hatched: nobody paints it otherwise.
_NARROW_MM, _SMALL_MM2 = 0.8, 4.0
#: Names of tabs and arrows keep clear of lines by this.
_CLEAR_MM = 0.7


@dataclass(frozen=True)
class Template:
    """One picture to paint.

    Parameters
    ----------
    name : of the piece, as in the description
    title : what a person calls it, and the side
    frame : its art box, and the face
    card : what is cut out, mm of the picture
    size_px : of the picture
    dpi : at this resolution
    guides : from the lowest to the topmost
    stem : what its files are called, where that is not piece and side
    """

    name: str
    title: str
    frame: ArtFrame
    card: BaseGeometry
    size_px: tuple[int, int]
    dpi: float
    guides: tuple[Guide, ...]
    stem: str = ""

    @property
    def file_stem(self) -> str:
        """What its files' names begin with, and what its painting is best called: cliff-front."""
        return self.stem or f"{self.name.replace('.', '-')}-{self.frame.face}"


def face_template(
    spread: Spread,
    drawing: PieceDrawing,
    face: Face,
    *,
    sight: Mapping[tuple[str, Face], Sight],
    poses: Mapping[str, Array],
    size_px: tuple[int, int],
    dpi: float,
) -> Template:
    """Draw the template of one face.

    Parameters
    ----------
    spread : Spread
    drawing : the piece's net
    face : front or back
    sight : what sight_of returned
    poses : (4, 4) float by panel, the open spread
    size_px, dpi : of the picture

    Returns
    -------
    Template
    """
    piece = drawing.piece
    frame = ArtFrame(art_box(spread, piece.id), face)
    card = _seen(frame, drawing.card)
    box = shapely.box(0.0, 0.0, *frame.size_mm)
    lines = _lines(drawing, frame)
    strokes = shapely.union_all([LineString(points) for guide in lines for points in guide.lines])
    cuts = shapely.union_all([LineString(points) for guide in lines if guide.look == "cut" for points in guide.lines])
    hatches = _sights(spread, drawing, frame, sight)
    guides: list[Guide] = [*hatches, *_tabs_and_glue(spread, drawing, frame)]
    guides.append(Guide("bleed edge", "bleed", _rings(card.buffer(BLEED_MM - 0.1).intersection(box.buffer(-0.1)))))
    guides.append(Guide("safe zone", "safe", _rings(card.difference(cuts.buffer(SAFE_MM)))))
    guides += lines
    free = card.difference(strokes.buffer(_CLEAR_MM))
    arrows = _arrows(spread, drawing, frame, sight, poses, free)
    guides += arrows
    taken = [guide.area.buffer(1.0) for guide in arrows if guide.area is not None]
    tabs = {name: _seen(frame, spread.panels[name].outline) for name in piece.panels if _is_tab(spread, name)}
    named = names_of_tabs(tabs, free.difference(shapely.union_all(taken)))
    outside = box.buffer(-0.5).difference(card.buffer(BLEED_MM + 0.3))
    inner = free.difference(shapely.union_all([*taken, *tabs.values()]))
    name = f"{one_line(piece.title)}, {face}"
    heading, covered = title(name, frame.size_mm, size_px, dpi, (outside, inner))
    hatching = shapely.union_all([LineString(points) for guide in hatches for points in guide.lines]).buffer(1.0)
    regions = [region.difference(covered) for region in (outside, inner.difference(hatching), inner)]
    outer = face == "back" and any(spread.panels[each].role == "page" for each in piece.panels)
    found = legend({guide.look for guide in guides}, regions, outside=outer)
    return Template(piece.id, name, frame, card, size_px, dpi, (*guides, *named, *heading, *found))


def _seen(frame: ArtFrame, shape: BaseGeometry) -> BaseGeometry:
    return shapely.transform(shape, frame.to_picture)


def _is_tab(spread: Spread, name: str) -> bool:
    return spread.panels[name].role == "tab"


def _rings(shape: BaseGeometry) -> tuple[Array, ...]:
    """All rings of a shape, each from its start back to it."""
    return tuple(shapely.get_coordinates(ring) for part in parts_of(shape) for ring in (part.exterior, *part.interiors))


def _lines(drawing: PieceDrawing, frame: ArtFrame) -> list[Guide]:
    """Cut lines, and creases as they fold seen from this side."""
    guides = []
    for line in drawing.lines:
        look = line.line_class
        if look not in ("cut", "mountain", "valley"):
            continue
        if frame.face == "back":
            look = _OTHER_SIDE.get(look, look)
        shape = LinearRing(line.points) if line.closed else LineString(line.points)
        layer: Literal["outline", "creases"] = "outline" if look == "cut" else "creases"
        guides.append(Guide(layer, look, (frame.to_picture(shapely.get_coordinates(shape)),)))
    return sorted(guides, key=lambda guide: guide.layer == "creases")


def _sights(
    spread: Spread, drawing: PieceDrawing, frame: ArtFrame, sight: Mapping[tuple[str, Face], Sight]
) -> list[Guide]:
    """What of the face is never seen, and what only shows while the spread opens."""
    here = [sight[name, frame.face] for name in drawing.piece.panels]
    never = _seen(frame, shapely.union_all([each.never for each in here], grid_size=1e-4))
    opening = _seen(frame, shapely.union_all([each.opening for each in here], grid_size=1e-4))
    guides = []
    if not never.is_empty:
        guides.append(Guide("never seen", "never seen", hatched(_wide(never), *_NEVER)))
    if not opening.is_empty:
        guides.append(Guide("shows while opening", "shows while opening", hatched(_wide(opening), *_OPENING)))
    return [guide for guide in guides if guide.lines]


def _wide(region: BaseGeometry) -> MultiPolygon:
    """What of a region is so large that one may paint it otherwise."""
    opened = region.buffer(-_NARROW_MM / 2).buffer(_NARROW_MM / 2, join_style="mitre").intersection(region)
    return MultiPolygon([part for part in parts_of(opened) if part.area > _SMALL_MM2])


def _tabs_and_glue(spread: Spread, drawing: PieceDrawing, frame: ArtFrame) -> list[Guide]:
    tabs = [spread.panels[name].outline for name in drawing.piece.panels if _is_tab(spread, name)]
    every = contacts(spread)
    glue = [every[name, frame.face] for name in drawing.piece.panels if (name, frame.face) in every]
    guides = [Guide("tabs", "tab", area=_seen(frame, outline)) for outline in tabs]
    return guides + [Guide("glue", "glue", _rings(_seen(frame, area)), _seen(frame, area)) for area in glue]


def _arrows(
    spread: Spread,
    drawing: PieceDrawing,
    frame: ArtFrame,
    sight: Mapping[tuple[str, Face], Sight],
    poses: Mapping[str, Array],
    free: BaseGeometry,
) -> list[Guide]:
    """An arrow on each panel that has room for one, where it is seen."""
    guides = []
    for name in drawing.piece.panels:
        if _is_tab(spread, name) or name not in poses:
            continue
        outline: BaseGeometry = spread.panels[name].outline
        seen = sight[name, frame.face].seen
        shown = _seen(frame, seen if seen.area > 0.3 * outline.area else outline).intersection(free)
        parts = parts_of(shown)
        if parts:
            widest: Polygon = max(parts, key=lambda part: part.area)
            guides += arrow(widest, frame.turn(up_on(poses[name])))
    return guides
