"""Draws the nets of the reference page: each kind's pieces with their dimensions, and what they are glued on.

Run by `python3 build.py pictures`, which puts the core on the path. Of the page card the part is shown on which
something is built, broken off as in technical drawings.
"""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon, box
from shapely.geometry.base import BaseGeometry

from geometry import Spread, assemble, read_description
from geometry.files import write_file
from geometry.nets import NetLine, PieceDrawing, Placement, Sheet, draw_piece
from geometry.nets.clipping import clipped
from geometry.nets.dimensions import DIMENSION, TEXT_MM, dimension_forms, dimension_lines
from geometry.nets.footer import Footer
from geometry.nets.lettering import text_box
from geometry.nets.pictures import read_picture
from geometry.nets.svg import sheet_svg
from geometry.transforms import Array

HERE = Path(__file__).resolve().parent

#: The pieces that each picture shows, in order. Of pieces that are the same but for their place, one.
PICTURES: Mapping[str, tuple[str, ...]] = {
    "v-fold": ("fold", "page"),
    "v-fold-unequal": ("fan", "page"),
    "v-fold-without-its-apex": ("bridge", "page"),
    "tent": ("roof", "page"),
    "tent-unequal": ("roof", "page"),
    "platform": ("stage", "stage.right.support", "page"),
    "cut-in-step": ("page",),
    "cut-in-one-slit": ("page",),
    "cut-in-angled-step": ("page",),
    "cut-in-unequal-step": ("page",),
    "mouth": ("page",),
    "rider": ("wall", "moon", "flag"),
    "rider-across-a-fold": ("wall", "crown"),
    "box": ("chest", "page"),
    "scenery": ("trees", "hills", "stage"),
    "accordion": ("waves", "waves.left1", "waves.right1", "page"),
    "strap": ("rainbow", "page"),
    "tab-through-a-slot": ("gate", "page"),
    "flap": ("door", "hatch", "page"),
    "pull-strip": ("pull", "pull.guide1", "pull.link", "lid", "page"),
    "wheel": ("sky", "page"),
    "solid": ("house.1", "house.2", "page"),
}

_PIXELS_A_MM, _MOST_PIXELS = 4.6, 980.0
_WIDTH_MM, _APART_MM, _EDGE_MM = 212.0, 9.0, 4.0
#: Kept about what is shown of a host that is broken off, and how much of it must be spared to break it off.
_AROUND_MM, _SPARED_MM = 9.0, 14.0
_WAVE_MM, _WAVE_HEIGHT_MM = 9.0, 0.7


def dimensioned(spread: Spread, drawing: PieceDrawing, text_mm: float) -> PieceDrawing:
    """A drawing with its dimensions, in letters that can still be read where the picture is made small."""
    forms = dimension_forms(spread, drawing.piece, drawing.lines, drawing.texts, drawing.card, text_mm)
    lines, texts = dimension_lines(forms, drawing.texts)
    return replace(drawing, lines=(*drawing.lines, *lines), texts=(*drawing.texts, *texts))


def piece_view(drawing: PieceDrawing) -> PieceDrawing:
    """A net, of the page the part about what is measured and glued, between wavy lines where it is broken off."""
    if drawing.piece.id != "page":
        return drawing
    shown = _window(drawing)
    card = drawing.card.bounds
    cut = [abs(side - edge) > 1e-6 for side, edge in zip(shown.bounds, _grown(card), strict=True)]
    if not any(cut):
        return drawing
    whole = [line for line in drawing.lines if line.line_class != "mark" or shown.covers(LineString(line.points))]
    lines = clipped(whole, shown)
    left, low, right, high = shown.bounds
    corners = {0: [[left, low], [left, high]], 1: [[left, low], [right, low]]}
    corners |= {2: [[right, low], [right, high]], 3: [[left, high], [right, high]]}
    breaks = [
        NetLine("mark", _wavy(shapely.get_coordinates(part)), name="break")
        for side, broken in enumerate(cut)
        if broken
        for part in shapely.get_parts(LineString(corners[side]).intersection(drawing.card))
    ]
    texts = [text for text in drawing.texts if not text.bold]
    names = [text for text in drawing.texts if text.bold]
    if not all(shown.covers(text_box(name)) for name in names):
        # The name and the arrow beside it stand in a corner that is gone.
        place = np.array([max(left, card[0]), max(low, card[1]) - 4.0])
        names = [replace(name, text=f"{name.text} (part)", place=place, size_mm=3.6, anchor="start") for name in names]
    texts += names
    part = _parts_of(drawing.card & shown)
    # Colours end where the page is broken off.
    fills = tuple(replace(fill, shown=_parts_of(fill.shown & shown)) for fill in drawing.fills)
    return replace(drawing, lines=(*lines, *breaks), texts=tuple(texts), card=part, fills=fills)


def _parts_of(shape: BaseGeometry) -> MultiPolygon:
    return MultiPolygon([each for each in shapely.get_parts(shape) if isinstance(each, Polygon)])


def _grown(bounds: Sequence[float]) -> tuple[float, float, float, float]:
    """Far enough about a card for the dimensions beside it."""
    left, low, right, high = bounds
    return left - 40.0, low - 40.0, right + 40.0, high + 40.0


def _window(drawing: PieceDrawing) -> Polygon:
    """What to show: all dimensions, gluing marks and inner lines; whole on each side where that spares little."""
    card = drawing.card
    edge = shapely.union_all([part.exterior for part in card.geoms]).buffer(0.01)
    parts = [LineString(line.points) for line in drawing.lines if line.line_class not in ("label", "mark")]
    inner: list[BaseGeometry] = [part for part in parts if not edge.covers(part) and not _across(part, card.bounds)]
    inner += [LineString(line.points) for line in drawing.lines if line.name == DIMENSION]
    inner += [text_box(text) for text in drawing.texts if not text.bold]
    wanted = shapely.total_bounds(inner) + np.array([-1, -1, 1, 1]) * _AROUND_MM
    spared = (wanted - np.array(card.bounds)) * [1, 1, -1, -1] > _SPARED_MM
    left, low, right, high = np.where(spared, wanted, _grown(card.bounds))
    window: Polygon = box(left, low, right, high)
    return window


def _across(line: LineString, bounds: Sequence[float]) -> bool:
    """Whether a line runs over the whole card, as the spine does, and has nothing to show at its ends."""
    low, high = line.bounds[1], line.bounds[3]
    return high - low > 0.98 * (bounds[3] - bounds[1]) or high > bounds[3] - 1e-6


def _wavy(ends: Array) -> Array:
    """A wavy line from end to end."""
    along = (ends[-1] - ends[0]) / np.hypot(*(ends[-1] - ends[0]))
    long = float(np.hypot(*(ends[-1] - ends[0])))
    waves = max(2, round(long / _WAVE_MM))
    places = np.linspace(0.0, 1.0, 8 * waves + 1)[:, None]
    aside = np.array([-along[1], along[0]])
    wave = _WAVE_HEIGHT_MM * np.sin(2 * np.pi * waves * places)
    return np.asarray(ends[0] + places * long * along + wave * aside)


def arranged(drawings: Sequence[PieceDrawing]) -> tuple[list[PieceDrawing], float, float]:
    """Drawings in rows, the first at the top; with the width and height of all, mm."""
    rows: list[list[PieceDrawing]] = []
    used = np.inf
    for drawing in drawings:
        wide = drawing.bounds()[2] - drawing.bounds()[0]
        if used + _APART_MM + wide > _WIDTH_MM:
            rows.append([])
            used = -_APART_MM
        rows[-1].append(drawing)
        used += _APART_MM + wide
    placed: list[tuple[PieceDrawing, float, float]] = []
    depth, widest = 0.0, 0.0
    for row in rows:
        tall = max(each.bounds()[3] - each.bounds()[1] for each in row)
        x = 0.0
        for each in row:
            left, low, right, high = each.bounds()
            placed.append((each, x - left, -depth - (tall + high - low) / 2 - low))
            x += right - left + _APART_MM
        widest = max(widest, x - _APART_MM)
        depth += tall + _APART_MM
    tall = depth - _APART_MM + 2 * _EDGE_MM
    moved = [each.moved(Placement(0, np.array([x + _EDGE_MM, y + tall - _EDGE_MM]))) for each, x, y in placed]
    return moved, widest + 2 * _EDGE_MM, tall


def picture(scene: Path, pieces: Sequence[str]) -> bytes:
    """The picture of one scene as SVG on white."""
    spread = assemble(read_description(scene))
    # Without artwork, which would hide the lines.
    plain = [replace(draw_piece(spread, name), art=None, back=None) for name in pieces]
    widest = max(each.bounds()[2] - each.bounds()[0] for each in plain if each.piece.id != "page" or len(plain) == 1)
    text_mm = TEXT_MM * max(1.0, widest / _WIDTH_MM)
    drawings, width, height = arranged([piece_view(dimensioned(spread, each, text_mm)) for each in plain])
    footer = Footer(f"{spread.title}: nets with dimensions", 1, 1, "", drawings[0].piece.stock)
    root = ET.fromstring(sheet_svg(Sheet(footer, width, height, tuple(drawings), (), ()), read_picture))
    space = root.tag.removesuffix("svg")
    scale = min(_PIXELS_A_MM, _MOST_PIXELS / width)
    root.set("width", f"{scale * width:.0f}")
    root.set("height", f"{scale * height:.0f}")
    title = root.find(f"{space}title")
    if title is not None:
        title.text = footer.title
    root.insert(1, ET.Element(f"{space}rect", {"width": "100%", "height": "100%", "fill": "#ffffff"}))
    ET.indent(root)
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root) + b"\n"


def main() -> None:
    """Draw every picture, or those of the scenes that are named."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("scenes", nargs="*", help="names without ending; default all")
    parser.add_argument("--samples", help="of the renderer: nets have none")
    wanted = parser.parse_args().scenes or list(PICTURES)
    names = [name for name in wanted if name in PICTURES]
    for number, name in enumerate(names, start=1):
        write_file(HERE / "pictures" / f"{name}-net.svg", picture(HERE / f"{name}.toml", PICTURES[name]))
        print(f"PROGRESS {number} {len(names)} {name}-net", flush=True)


if __name__ == "__main__":
    main()
