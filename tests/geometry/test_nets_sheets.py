"""Sheets: sizes, packing, grain and stock, pieces that are too large, the foot."""

import dataclasses

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, box

from geometry.errors import HingeleafError
from geometry.model import Piece, Stock
from geometry.nets import BLEED_MM, GAP_MM, MARGIN_MM, PieceDrawing, lay_out, sheet_size
from geometry.nets.footer import SCALE_BAR_MM
from geometry.nets.lettering import text_box

CARD = Stock("card", 250.0, 0.3, "any", (1.0, 1.0, 1.0))


def plain(name, width, height, stock=CARD):
    return PieceDrawing(Piece(name, name, stock, (name,)), (), (), None, None, MultiPolygon([box(0, 0, width, height)]))


def names(sheet):
    return [drawing.piece.id for drawing in sheet.pieces]


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("A4", (210, 297)),
        ("a3", (297, 420)),
        (" B5 ", (176, 250)),
        ("letter", (215.9, 279.4)),
        ("Legal", (215.9, 355.6)),
    ]
    + [
        ("tabloid", (279.4, 431.8)),
        ("320x450", (320, 450)),
        ("450 × 320 mm", (320, 450)),
        ("99.5X130.25", (99.5, 130.25)),
    ],
)
def test_sizes_by_name_and_by_measure(text, size):
    found = sheet_size(text)
    assert (found.width_mm, found.height_mm) == size


@pytest.mark.parametrize("text", ["A11", "C4", "foolscap", "0x100", "100x", "-5x100", "9999x9999", ""])
def test_an_unknown_size_is_refused_in_one_sentence(text):
    with pytest.raises(HingeleafError, match=r"^sheet ") as caught:
        lay_out("Title", [plain("a", 10, 10)], text)
    assert "\n" not in str(caught.value)
    assert "A0 to A10" in str(caught.value) or "5000 mm" in str(caught.value)


def test_a_sheet_without_room_for_the_bar_is_refused():
    with pytest.raises(HingeleafError, match=r"sheet A7 is too small .* at least 120 x \d+ mm"):
        lay_out("Title", [plain("a", 10, 10)], "A7")


def test_the_least_size_named_in_that_message_works():
    with pytest.raises(HingeleafError) as caught:
        lay_out("Title", [plain("a", 10, 10)], "50x60")
    least = str(caught.value).split("at least ")[1].removesuffix(" mm").replace(" x ", "x")
    sheets, notes = lay_out("Title", [plain("a", 10, 10)], least)
    assert (len(sheets), notes) == (1, ())


@pytest.mark.parametrize(
    ("width", "height", "expected"),
    [
        (100, 100, "A4"),
        (190, 210, "A4"),
        (296, 210, "A3"),
        (210, 296, "A3"),
        (420, 297, "A2"),
        (594, 420, "A1"),
        (820, 500, "A1"),
    ],
)
def test_without_a_size_the_smallest_that_takes_the_largest_piece_is_used(width, height, expected):
    sheets, notes = lay_out("Title", [plain("small", 30, 30), plain("large", width, height)])
    assert {sheet.footer.size_name for sheet in sheets} == {expected}
    assert notes == ()


def test_a_piece_larger_than_the_sheet_gets_its_own_and_is_told():
    sheets, notes = lay_out("Title", [plain("page card", 296, 210), plain("hill", 100, 80)], "A4")
    assert [names(sheet) for sheet in sheets] == [["hill"], ["page card"]]
    (note,) = notes
    own = sheets[1]
    assert '"page card" is 296.0 x 210.0 mm and does not fit on A4' in note
    assert f"{own.width_mm:g} x {own.height_mm:g} mm" in note
    assert box(0, 0, own.width_mm, own.height_mm).contains(own.pieces[0].card)
    assert (sheets[0].width_mm, sheets[0].height_mm) in [(210, 297), (297, 210)]


def test_a_piece_beyond_every_default_size_is_not_clipped():
    sheets, notes = lay_out("Title", [plain("banner", 1500, 90)])
    assert len(notes) == 1
    assert sheets[0].width_mm >= 1516


def test_several_sheets_when_one_is_not_enough():
    sheets, _ = lay_out("Title", [plain(f"p{number}", 90, 90) for number in range(11)], "A4")
    assert len(sheets) == 3
    assert [sheet.footer.number for sheet in sheets] == [1, 2, 3]
    assert {sheet.footer.count for sheet in sheets} == {3}
    assert len(sheets[0].pieces) == 4


def test_pieces_of_different_stock_never_share_a_sheet():
    board = dataclasses.replace(CARD, id="board", caliper_mm=0.9)
    sheets, _ = lay_out("Title", [plain("a", 40, 40), plain("b", 40, 40, board), plain("c", 40, 40)])
    assert [names(sheet) for sheet in sheets] == [["a", "c"], ["b"]]
    assert "board: 250 g/m², 0.9 mm thick" in {text.text for text in sheets[1].texts}


@pytest.mark.parametrize("grain", ["height", "width"])
def test_grain_forbids_a_quarter_turn_and_is_shown(grain):
    stock = dataclasses.replace(CARD, grain=grain)
    pieces = [plain("wide", 260, 100, stock), *(plain(f"tall{number}", 40, 150, stock) for number in range(3))]
    sheets, _ = lay_out("Title", pieces, "A4")
    placed = {drawing.piece.id: drawing for sheet in sheets for drawing in sheet.pieces}
    for drawing in pieces:
        left, low, right, high = placed[drawing.piece.id].card.bounds
        width, height = drawing.card.bounds[2:]
        assert (right - left, high - low) == (pytest.approx(width), pytest.approx(height))
    for sheet in sheets:
        shaft = next(line for line in sheet.lines if line.name == "grain")
        along = np.abs(shaft.points[1] - shaft.points[0])
        assert along[1 if grain == "height" else 0] > 3.0
        assert along[0 if grain == "height" else 1] == 0.0


def test_without_grain_a_quarter_turn_saves_a_sheet():
    pieces = [plain("wide", 190, 60), plain("tall", 60, 190), plain("taller", 60, 190)]
    assert len(lay_out("Title", pieces, "A4")[0]) == 1


def test_the_foot_is_complete_on_every_sheet_and_size():
    for size in ("A5", "A4", "A3", "A1", "letter", "130x300"):
        for sheet in lay_out("A long title about hills, meadows and the sea", [plain("a", 20, 20)], size)[0]:
            words = {text.text for text in sheet.texts}
            assert {"cut", "mountain fold", "valley fold", "0", "50 mm", "100 mm"} <= words
            assert any("100 %" in word for word in words)
            assert {line.look for line in sheet.lines if line.name == "legend"} == {"cut", "mountain", "valley", "glue"}
            (bar,) = [line for line in sheet.lines if line.name == "scale-bar"]
            assert bar.length_mm == SCALE_BAR_MM == 100.0
            boxes = [text_box(text) for text in sheet.texts]
            overlaps = shapely.STRtree(boxes).query(boxes, predicate="intersects")
            assert (overlaps[0] == overlaps[1]).all(), size


def test_legend_samples_are_not_on_the_layers_that_get_cut():
    (sheet,) = lay_out("Title", [plain("a", 20, 20)])[0]
    assert {line.line_class for line in sheet.lines} == {"label", "mark"}


def test_gap_and_margin_leave_room_for_the_bleed():
    assert GAP_MM == 6.0 == 2 * BLEED_MM
    assert MARGIN_MM == 8.0 > BLEED_MM


def test_a_title_that_is_too_long_is_shortened():
    (sheet,) = lay_out("word " * 80, [plain("a", 20, 20)], "A4")[0]
    title = next(text for text in sheet.texts if text.bold)
    assert title.text.endswith("…")
    assert text_box(title).bounds[2] < sheet.width_mm - 8.0
