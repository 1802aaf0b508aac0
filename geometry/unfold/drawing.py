"""Nets as drawings for the sheets: the outline with its tabs, creases, slits, numbers, artwork and the title."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from ..artwork import BLEED_MM
from ..model import Piece, Stock
from ..nets.drawing import PieceDrawing, titled
from ..nets.lettering import CLEAR_MM, text_box
from ..nets.lines import ArtImage, Fill
from ..nets.pictures import Picture
from .artwork import DPI, MM_AN_INCH, dots_per_mm, painted, picture_frame
from .coloring import PICTURE, printed_regions
from .covering import Covering, covering_of, is_covered
from .data import Unfolded
from .labels import READABLE_MM, Lettering, Note, Number, lettering
from .net_lines import NetLines, net_lines
from .tabs import Join

__all__ = ["DrawingOptions", "drawn_nets", "net_drawings"]

#: In nets of more facets the title stands under the net.
_MOST_TITLED = 60


@dataclass(frozen=True)
class DrawingOptions:
    """How nets are drawn.

    Parameters
    ----------
    angles, lengths : whether the angle between the faces, degrees, and the length, mm, are written at each crease
    smooth_deg : creases that bend less are light scores
    bleed_mm : float, how far artwork and colours are printed beyond the faces
    dpi : dots an inch of artwork
    """

    angles: bool = False
    lengths: bool = False
    smooth_deg: float = 0.0
    bleed_mm: float = BLEED_MM
    dpi: float = DPI


def net_drawings(
    unfolded: Unfolded,
    joins: Sequence[Join],
    *,
    stock: Stock,
    title: str,
    piece_id: str = "net",
    angles: bool = False,
    smooth_deg: float = 0.0,
    bleed_mm: float = BLEED_MM,
) -> list[PieceDrawing]:
    """Draw every net; see drawn_nets."""
    options = DrawingOptions(angles=angles, smooth_deg=smooth_deg, bleed_mm=bleed_mm)
    return drawn_nets(unfolded, joins, stock=stock, title=title, piece_id=piece_id, options=options)[0]


def drawn_nets(
    unfolded: Unfolded,
    joins: Sequence[Join],
    *,
    stock: Stock,
    title: str,
    piece_id: str = "net",
    options: DrawingOptions | None = None,
) -> tuple[list[PieceDrawing], list[str]]:
    """Draw every net.

    Parameters
    ----------
    unfolded : Unfolded
    joins : its cuts, with their numbers and tabs
    stock : the card
    title : of the model; of several nets each has its number too
    piece_id : its pieces are called so, with the number of the net
    options : None for the defaults

    Returns
    -------
    drawings : one a net, in net coordinates. Creases are named fold-N by their edges, N from 1, and tab-LABEL; panels
        fN by their facets, and tLABEL. Artwork is painted only when it is written
    notes : sentences about what could not be written on them so that it can be read
    """
    options = options or DrawingOptions()
    count = len(unfolded.nets)
    mine: list[list[Join]] = [[] for _ in unfolded.nets]
    for join in joins:
        for net in {side.net for side in join.sides}:
            mine[net].append(join)
    covering = covering_of(unfolded.facets) if is_covered(unfolded) else None
    drawings, written = [], []
    for number in range(count):
        name = title if count == 1 else f"{title} {number + 1} of {count}"
        panels = [f"f{facet + 1}" for facet in unfolded.nets[number].facets.tolist()]
        panels += [f"t{join.label}" for join in mine[number] if _has_tab(join, number)]
        piece = Piece(f"{piece_id}.{number + 1}", name, stock, tuple(panels))
        drawing, texts = _drawn(unfolded, number, mine[number], piece, covering, options)
        drawings.append(drawing)
        written.append(texts)
    return drawings, [*_notes(written), *_coarse_notes(drawings, options.dpi)]


def _has_tab(join: Join, number: int) -> bool:
    return join.tab is not None and join.sides[join.tab_side].net == number


def _notes(written: Sequence[Lettering]) -> list[str]:
    small, missing = sum(each.small for each in written), sum(each.missing for each in written)
    notes = []
    if small:
        notes.append(
            f"{small} numbers are smaller than {READABLE_MM:g} mm, as there is no room: a larger model can be read"
        )
    if missing:
        notes.append(f"{missing} creases are too short for what was to be written at them")
    return notes


def _coarse_notes(drawings: Sequence[PieceDrawing], dpi: float) -> list[str]:
    """Where artwork is coarser than was asked for."""
    sizes = [(float(each.art.along[0]), float(each.art.up[1])) for each in drawings if each.art is not None]
    dots = min((dots_per_mm(size, dpi) * MM_AN_INCH for size in sizes), default=dpi)
    if dots > 0.99 * dpi:
        return []
    return [f"artwork of the largest net has {dots:.0f} dots an inch, not {dpi:g}: more would be too many pixels"]


def _drawn(
    unfolded: Unfolded,
    number: int,
    joins: Sequence[Join],
    piece: Piece,
    covering: Covering | None,
    options: DrawingOptions,
) -> tuple[PieceDrawing, Lettering]:
    lines = net_lines(unfolded, number, joins, float(np.radians(options.smooth_deg)))
    art, fills = _printed(unfolded, number, lines, covering, options)
    shapes = [*lines.facets, *lines.tabs.values()]
    is_printed = art is not None or bool(fills)
    texts = lettering(
        shapes,
        _numbers(unfolded, number, joins, lines),
        _at_creases(unfolded, number, lines, options),
        is_printed=is_printed,
    )
    boxes = [text_box(text, clear_mm=CLEAR_MM) for text in texts.texts]
    free: BaseGeometry = MultiPolygon()
    about = lines.card
    if len(lines.facets) <= _MOST_TITLED and not is_printed:
        strokes = [
            shapely.LineString(line.points[[*range(len(line.points)), *[0] * line.closed]]) for line in lines.cuts
        ]
        strokes += [shapely.LineString(line.points) for line in lines.creases]
        free = lines.card.difference(shapely.union_all([*(stroke.buffer(CLEAR_MM) for stroke in strokes), *boxes]))
    if boxes:
        about = MultiPolygon([shapely.box(*shapely.total_bounds([lines.card, *boxes]))])
    name, arrow = titled(piece, about, free, options.bleed_mm)
    drawing = PieceDrawing(
        piece=piece,
        lines=(*lines.cuts, *lines.creases, *texts.lines, *arrow),
        texts=(*texts.texts, name),
        art=art,
        back=None,
        card=lines.card,
        bleed_mm=options.bleed_mm,
        fills=fills,
    )
    return drawing, texts


def _numbers(unfolded: Unfolded, number: int, joins: Sequence[Join], lines: NetLines) -> list[Number]:
    """The numbers of cuts on a net, on both their sides where both are on it."""
    position = {facet: at for at, facet in enumerate(unfolded.nets[number].facets.tolist())}
    tab_at = {label: len(lines.facets) + at for at, label in enumerate(lines.tabs)}
    return [
        Number(join.label, side.line, position[side.facet], tab_at[join.label] if which == join.tab_side else -1)
        for join in joins
        for which, side in enumerate(join.sides)
        if side.net == number
    ]


def _at_creases(unfolded: Unfolded, number: int, lines: NetLines, options: DrawingOptions) -> list[Note]:
    """What is written at creases: below 180 degrees at a mountain, above at a valley."""
    if not (options.angles or options.lengths):
        return []
    net, facets = unfolded.nets[number], unfolded.facets
    creased = {line.hinge for line in lines.creases}
    found = []
    for line, position in zip(lines.folds, lines.hanging, strict=True):
        edge = int(net.folds[position])
        if f"fold-{edge + 1}" not in creased:
            continue
        words = []
        if options.angles:
            words.append(f"{180.0 - float(np.degrees(facets.bends[edge])):.0f}\N{DEGREE SIGN}")
        if options.lengths:
            words.append(f"{float(facets.lengths_mm[edge]):.1f}")
        found.append(Note(" · ".join(words), line, position, int(net.parents[position])))
    return found


def _printed(
    unfolded: Unfolded, number: int, lines: NetLines, covering: Covering | None, options: DrawingOptions
) -> tuple[ArtImage | None, tuple[Fill, ...]]:
    """The artwork of a net, painted when it is asked for, and its flat colours."""
    if covering is None:
        return None, ()
    mesh, bleed = unfolded.facets.mesh, options.bleed_mm
    cover = covering.on_net(unfolded.nets[number])
    regions = printed_regions(mesh, cover, lines.facets, lines.rims, bleed)
    fills = tuple(Fill(kind, region) for kind, region in regions.items() if not isinstance(kind, str))
    frame = picture_frame(mesh, cover, dpi=options.dpi, bleed_mm=bleed)
    if frame is None or PICTURE not in regions:
        return None, fills

    @cache
    def paint() -> Picture:
        return painted(mesh, cover, frame, bleed)

    width, height = frame.size_mm
    along, up = np.array([width, 0.0]), np.array([0.0, height])
    return ArtImage(f"net-{number + 1}", frame.corner, along, up, regions[PICTURE], paint), fills
