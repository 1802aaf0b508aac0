"""Tiles: put together by their crosses they are the piece again, and each can be printed."""

from __future__ import annotations

import dataclasses
import re
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import LineString, MultiLineString, MultiPolygon, box
from shapely.affinity import translate

from geometry import HingeleafError, assemble, parse_description, read_description
from geometry.model import Piece, Stock
from geometry.nets import BLEED_MM, PieceDrawing, SheetOptions, draw_piece, lay_out
from geometry.nets.lettering import text_box
from geometry.nets.lines import NetLine
from geometry.nets.registration import REGISTRATION as CROSS
from geometry.nets.tiles import TILE_EDGE, tiles_of

CARD = Stock("card", 250.0, 0.3, "any", (1.0, 1.0, 1.0))
DEMO = Path(__file__).parents[2] / "scenes" / "demo" / "low-tide.toml"
TEXT = """
format = 1
[page]
size = {page}
[stock.card]
grain = "{grain}"
[[mechanism]]
kind = "v-fold"
id = "hill"
fold = "spine"
at = 60
angle = 45
height = 40
"""


def built(page='"A5"', grain="any"):
    return assemble(parse_description(TEXT.format(page=page, grain=grain)))


@pytest.fixture(scope="module")
def demo():
    return assemble(read_description(DEMO))


def stroke(line):
    return LineString(np.concatenate([line.points, line.points[:1]]) if line.closed else line.points)


def strokes(lines, *classes):
    return shapely.union_all([stroke(line) for line in lines if line.line_class in classes])


def crosses(drawing):
    """Middles of its crosses, (n, 2), in order."""
    lines = [line for line in drawing.lines if line.name == CROSS]
    middles = {tuple(np.round(line.points.mean(axis=0), 6)) for line in lines}
    assert len(lines) == 2 * len(middles)
    return np.array(sorted(middles)).reshape(-1, 2)


def tiled(spread, sheet, **options):
    return lay_out(
        spread.title,
        [draw_piece(spread, piece.id) for piece in spread.pieces],
        sheet,
        options=SheetOptions(tile=True, **options),
    )


def page_tiles(sheets):
    """Tiles of the page by name, turned back as on the net."""
    found = {}
    for sheet in sheets:
        for drawing in sheet.pieces:
            if drawing.part.tile:
                label = next(text for text in drawing.texts if f"tile {drawing.part.tile}" in text.text)
                found[drawing.part.tile] = turned_back(drawing, label.turn_rad)
    return found


def turned_back(drawing, turn):
    def back(points):
        cosine, sine = np.cos(-turn), np.sin(-turn)
        return points @ np.array([[cosine, sine], [-sine, cosine]])

    lines = tuple(dataclasses.replace(line, points=back(line.points)) for line in drawing.lines)
    return dataclasses.replace(drawing, lines=lines, card=shapely.transform(drawing.card, back))


def joined(tiles):
    """Shifts that put tiles together, found from the crosses alone as a hand would."""
    place = {"A1": np.zeros(2)}
    while len(place) < len(tiles):
        before = len(place)
        for name, tile in tiles.items():
            for other in list(place):
                if name not in place and _beside(name, other):
                    shift = _match(crosses(tiles[other]) + place[other], crosses(tile), _step(name, other))
                    if shift is not None:
                        place[name] = shift
        assert len(place) > before
    return place


def _split(name):
    letters, number = re.fullmatch(r"([A-Z]+)(\d+)", name).groups()
    return ord(letters) - 65, int(number) - 1


def _step(name, other):
    (a, b), (c, d) = _split(name), _split(other)
    return a - c, b - d


def _beside(name, other):
    return sum(map(abs, _step(name, other))) == 1


def _match(there, here, step):
    """The crosses on the facing edges: two of them, the same way apart."""
    axis = 0 if step[0] else 1
    if axis == 0:
        far = (
            there[:, 0].max() if step[0] > 0 else there[:, 0].min(),
            here[:, 0].min() if step[0] > 0 else here[:, 0].max(),
        )
    else:
        far = (
            there[:, 1].min() if step[1] > 0 else there[:, 1].max(),
            here[:, 1].max() if step[1] > 0 else here[:, 1].min(),
        )
    first = there[np.abs(there[:, axis] - far[0]) < 1e-3]
    second = here[np.abs(here[:, axis] - far[1]) < 1e-3]
    assert len(first) == len(second) >= 2
    apart = first - second
    assert np.ptp(apart, axis=0) == pytest.approx([0, 0], abs=1e-6)
    return apart[0]


@pytest.mark.parametrize(
    ("page", "sheet", "count"), [('"A5"', "A4", 2), ('"A4"', "A4", 4), ("[400, 100]", "A4", None), ('"A5"', "A5", 6)]
)
def test_tiles_put_together_by_their_crosses_are_the_piece(page, sheet, count):
    spread = built(page)
    sheets, notes = tiled(spread, sheet)
    tiles = page_tiles(sheets)
    assert count is None or len(tiles) == count
    assert any("is split into" in note and "page card" in note for note in notes)
    place = joined(tiles)
    whole = draw_piece(spread, "page")
    shifted = {name: translate(tile.card, *place[name]) for name, tile in tiles.items()}
    card = shapely.union_all(list(shifted.values()))
    home = np.array(whole.card.bounds[:2]) - card.bounds[:2]
    assert translate(card, *home).symmetric_difference(whole.card).area == pytest.approx(0.0, abs=1e-3)
    for classes in (("cut",), ("mountain", "valley")):
        lines = [translate(strokes(tile.lines, *classes), *(place[name] + home)) for name, tile in tiles.items()]
        true = strokes(whole.lines, *classes)
        assert all(line.is_empty or true.buffer(1e-4).contains(line) for line in lines)
        assert true.difference(shapely.union_all(lines).buffer(1e-4)).length == pytest.approx(0.0, abs=1e-3)


@pytest.mark.parametrize("overlap", [5.0, 10.0, 25.0])
def test_neighbours_overlap_as_asked(overlap):
    tiles = page_tiles(tiled(built(), "A4", overlap_mm=overlap)[0])
    place = joined(tiles)
    first, second = (translate(tiles[name].card, *place[name]) for name in ("A1", "B1"))
    left, _, right, _ = first.intersection(second).bounds
    assert right - left == pytest.approx(overlap, abs=1e-6)


@pytest.mark.parametrize("sheet", ["A4", "A5", "letter", "200x300"])
@pytest.mark.parametrize("margin", [0.0, 8.0, 12.0])
def test_all_of_a_tile_lies_inside_the_margins_and_off_its_neighbours(demo, sheet, margin):
    for each in tiled(demo, sheet, margin_mm=margin)[0]:
        page = box(margin, margin, each.width_mm - margin, each.height_mm - margin).buffer(0.003)
        foot = shapely.union_all([stroke(line) for line in each.lines])
        for drawing in each.pieces:
            drawn = [*(stroke(line) for line in drawing.lines), *(text_box(text) for text in drawing.texts)]
            assert page.contains(shapely.union_all(drawn)), drawing.part
            assert drawing.card.distance(foot) >= BLEED_MM - 1e-3
        for one, other in combinations(each.pieces, 2):
            assert one.card.distance(other.card) > 6.0 - 0.003


def test_a_text_stands_on_one_tile_where_no_other_covers_it(demo):
    whole = draw_piece(demo, "page")
    rooms = [(132.0, 140.0)]
    tiles = tiles_of(whole, rooms, 10.0)
    words = [text.text for tile in tiles for text in tile.texts[:-1]]
    assert sorted(words) == sorted(text.text for text in whole.texts)
    for tile in tiles:
        left, low, right, high = tile.bounds()
        assert right - left <= 132.0 + 1e-6
        assert high - low <= 140.0 + 1e-6
        edges = [line.points for line in tile.lines if line.name == TILE_EDGE]
        for text in tile.texts[:-1]:
            inner = box(*text_box(text).bounds)
            for edge in edges:
                aside = edge[:, 0] if np.ptp(edge[:, 0]) == 0 else edge[:, 1]
                low, high = inner.bounds[0::2] if np.ptp(edge[:, 0]) == 0 else inner.bounds[1::2]
                # Right and lower tiles lie over the overlap.
                covered = aside[0] in (tile_right(tile), tile_low(tile))
                assert not low < aside[0] < high
                assert not covered or aside[0] - high >= 9.9 or low - aside[0] >= 9.9


def tile_right(tile):
    return max(line.points[:, 0].max() for line in tile.lines if line.name == TILE_EDGE)


def tile_low(tile):
    return min(line.points[:, 1].min() for line in tile.lines if line.name == TILE_EDGE)


def test_overlaps_keep_off_creases():
    """The spine lies where two equal tiles would overlap."""
    whole = draw_piece(built(), "page")
    tiles = tiles_of(whole, [(194.0, 240.0)], 10.0)
    (right,), (left,) = ([line.points for line in tile.lines if line.name == TILE_EDGE] for tile in tiles)
    overlap = box(*left.min(axis=0), *right.max(axis=0))
    assert overlap.bounds[2] - overlap.bounds[0] == pytest.approx(10.0)
    assert overlap.distance(strokes(whole.lines, "mountain", "valley")) >= 3.0


def plain(width, height, lines=()):
    card = MultiPolygon([box(0, 0, width, height)])
    ring = NetLine("cut", np.array([[0, 0], [width, 0], [width, height], [0, height]]), closed=True)
    return PieceDrawing(Piece("a", "a", CARD, ("a",)), (ring, *lines), (), None, None, card)


def test_what_is_clipped_has_no_line_of_no_length_and_glue_stays_closed():
    glue = NetLine("glue", np.array([[90.0, 20], [210, 20], [210, 40], [90, 40]]), closed=True)
    behind = dataclasses.replace(glue, tinted=False)
    tiles = tiles_of(plain(300, 100, (glue, behind)), [(194.0, 240.0)], 10.0)
    assert len(tiles) == 2
    for tile in tiles:
        assert all(line.length_mm > 1e-6 for line in tile.lines)
        tinted, open_ = [line for line in tile.lines if line.line_class == "glue"]
        assert tinted.closed
        assert not open_.closed
        assert shapely.get_num_points(stroke(open_)) == 4
    assert sum(shapely.Polygon(tile.lines[1].points).area for tile in tiles) == pytest.approx(120 * 20 + 10 * 20)


def test_a_tile_without_card_is_left_out():
    lshape = box(0, 0, 400, 60).union(box(0, 0, 60, 400))
    drawing = dataclasses.replace(plain(400, 400), card=MultiPolygon([lshape]), lines=())
    names = [tile.part.tile for tile in tiles_of(drawing, [(230.0, 230.0)], 10.0)]
    assert names == ["A1", "A2", "B2"]
    labels = [tile.texts[-1].text for tile in tiles_of(drawing, [(230.0, 230.0)], 10.0)]
    assert labels == ["a, tile A1", "a, tile A2: upper edge over A1", "a, tile B2: left edge over A2"]


def test_artwork_is_cut_off_at_the_tile_edge(demo):
    tiles = tiles_of(draw_piece(demo, "page"), [(194.0, 240.0)], 10.0)
    shown = [tile.art.shown for tile in tiles]
    assert shown[0].bounds[0] == pytest.approx(-148 - BLEED_MM, abs=1e-6)
    assert shown[0].bounds[2] - shown[1].bounds[0] == pytest.approx(10.0)
    whole = draw_piece(demo, "page").art.shown
    assert shapely.union_all(shown).symmetric_difference(whole).area == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    ("grain", "sheet", "turned"), [("height", "long", False), ("height", "short", True), ("width", "long", True)]
)
def test_tiles_keep_the_grain(grain, sheet, turned):
    sheets, _ = tiled(built('"A4"', grain), "A4", grain=sheet)
    for each in sheets:
        upright = each.height_mm > each.width_mm
        for drawing in each.pieces:
            if drawing.part.tile:
                label = next(text for text in drawing.texts if "tile" in text.text)
                assert (abs(label.turn_rad) > 1.0) == (turned if upright else not turned)


def test_without_the_option_a_large_piece_keeps_its_own_sheet_and_the_note_names_the_way_out():
    spread = built()
    sheets, notes = lay_out("t", [draw_piece(spread, piece.id) for piece in spread.pieces], "A4")
    assert not any(drawing.part.tile for sheet in sheets for drawing in sheet.pieces)
    assert "--tile" in notes[0]


def test_what_fits_is_not_split():
    sheets, notes = tiled(built(), "A3")
    assert notes == ()
    assert not any(drawing.part.tile for sheet in sheets for drawing in sheet.pieces)


def test_too_many_tiles_are_refused_with_a_way_out():
    with pytest.raises(HingeleafError, match="more than 400 tiles: use larger sheets") as caught:
        lay_out("t", [plain(5000, 5000)], "A5", options=SheetOptions(tile=True))
    assert "\n" not in str(caught.value)


def test_crosses_lie_inside_the_overlap():
    for overlap in (5.0, 10.0, 50.0):
        for tile in tiles_of(plain(500, 500), [(194.0, 240.0)], overlap):
            edges = MultiLineString([line.points for line in tile.lines if line.name == TILE_EDGE])
            for cross in (line for line in tile.lines if line.name == CROSS):
                assert not edges.intersects(LineString(cross.points))
                assert edges.distance(LineString(cross.points)) <= overlap
