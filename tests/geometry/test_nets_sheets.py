"""Sheets: sizes, packing, stock, pieces that are too large, copies, the foot."""

import dataclasses
import itertools

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, box

from geometry.errors import HingeleafError
from geometry.nets import BLEED_MM, GAP_MM, MARGIN_MM, SheetOptions, lay_out, sheet_size
from geometry.nets.footer import SCALE_BAR_MM, footer_height_mm
from geometry.nets.lettering import text_box
from geometry.nets.lines import ArtImage
from geometry.nets.listing import sheet_data, sheet_words
from tests.geometry.plain_drawings import CARD, plain


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
        ("SRA3", (320, 450)),
        ("ra2", (430, 610)),
        ("ledger", (279.4, 431.8)),
        ("statement", (139.7, 215.9)),
        ("Super B", (330.2, 482.6)),
        ("ansi-d", (558.8, 863.6)),
        ("Arch D", (609.6, 914.4)),
        ("13x19in", (330.2, 482.6)),
        ("roll:610", (610, 5000)),
        ("roll: 24 in", (609.6, 5000)),
        ("ROLL:914x3000", (914, 3000)),
    ],
)
def test_sizes_by_name_and_by_measure(text, size):
    found = sheet_size(text)
    assert (found.width_mm, found.height_mm) == size


@pytest.mark.parametrize(
    "text",
    ["A11", "C4", "foolscap", "0x100", "100x", "-5x100", "9999x9999", "", "roll:", "roll:0", "roll:9000", "roll:6x"],
)
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


@pytest.mark.parametrize("margin", [0.0, 3.0, 20.0])
@pytest.mark.parametrize("gap", [0.0, 2.5, 15.0])
def test_margins_and_gaps_are_as_asked(margin, gap):
    pieces = [plain(f"p{number}", 31 + 7 * number, 80 - 6 * number) for number in range(8)]
    for sheet in lay_out("Title", pieces, "A4", options=SheetOptions(margin_mm=margin, gap_mm=gap))[0]:
        room = box(margin, margin, sheet.width_mm - margin, sheet.height_mm - margin).buffer(0.003)
        cards = [drawing.card for drawing in sheet.pieces]
        assert all(room.contains(card) for card in cards)
        assert shapely.total_bounds(cards)[0] == pytest.approx(margin, abs=0.002)
        assert shapely.total_bounds(cards)[3] == pytest.approx(sheet.height_mm - margin, abs=0.002)
        foot = shapely.union_all([shapely.LineString(line.points) for line in sheet.lines])
        assert room.contains(foot)
        for one, other in itertools.combinations(cards, 2):
            assert one.distance(other) >= gap - 0.003
        assert min(card.distance(foot) for card in cards) >= max(gap, 3.0) - 0.003


def test_wider_margins_want_larger_sheets():
    for margin, expected in ((5.0, "A4"), (40.0, "A3"), (60.0, "A3"), (110.0, "A2")):
        sheets, _ = lay_out("Title", [plain("a", 190, 100)], options=SheetOptions(margin_mm=margin))
        assert {sheet.footer.size_name for sheet in sheets} == {expected}


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"margin_mm": -1.0}, "a margin of -1 mm: write 0 to 200 mm"),
        ({"margin_mm": float("nan")}, "a margin of nan mm: write 0 to 200 mm"),
        ({"gap_mm": -0.1}, "a gap of -0.1 mm"),
        ({"gap_mm": 1e9}, "a gap of 1e+09 mm"),
        ({"copies": 0}, "0 copies: write a whole number from 1 to 2000"),
        ({"copies": 10**9}, "1000000000 copies: write"),
        ({"overlap_mm": 1.0}, "an overlap of 1 mm: write 5 to 50 mm"),
        ({"grain": "up"}, 'grain "up": write long or short'),
    ],
)
def test_what_cannot_be_laid_out_is_one_sentence(wrong, words):
    with pytest.raises(HingeleafError) as caught:
        SheetOptions(**wrong)
    assert str(caught.value).startswith(words)
    assert "\n" not in str(caught.value)


def test_margins_that_leave_no_room_are_refused_with_the_least_size():
    with pytest.raises(HingeleafError, match="with margins of 80 mm it must be at least 264 x") as caught:
        lay_out("Title", [plain("a", 10, 10)], "A4", options=SheetOptions(margin_mm=80.0))
    least = str(caught.value).split("at least ")[1].removesuffix(" mm").replace(" x ", "x")
    assert len(lay_out("Title", [plain("a", 10, 10)], least, options=SheetOptions(margin_mm=80.0))[0]) == 1


def test_artwork_never_bleeds_further_than_half_the_gap():
    shown = plain("a", 40, 40).card.buffer(BLEED_MM)
    art = ArtImage("a.png", np.array([-3.0, -3]), np.array([46.0, 0]), np.array([0.0, 46]), MultiPolygon([shown]))
    pieces = [dataclasses.replace(plain(name, 40, 40), art=art, back=art) for name in "abcd"]
    for gap, bleed in ((6.0, 3.0), (10.0, 3.0), (2.0, 1.0), (0.0, 0.0)):
        (sheet,) = lay_out("Title", pieces, "A4", options=SheetOptions(gap_mm=gap))[0]
        for drawing in sheet.pieces:
            for shown in (drawing.art.shown, drawing.back.shown):
                reach = np.subtract(drawing.card.bounds, shown.bounds)
                assert np.abs(reach) == pytest.approx(bleed, abs=1e-6)
        for one, other in itertools.combinations(sheet.pieces, 2):
            assert one.art.shown.intersection(other.art.shown).area == pytest.approx(0.0, abs=0.05)


# ---- copies


def test_every_copy_is_there_and_marked_on_its_card():
    sheets, _ = lay_out("Title", [plain("a", 60, 40), plain("b", 50, 50)], "A4", options=SheetOptions(copies=3))
    found = sorted((drawing.piece.id, drawing.part.copy) for sheet in sheets for drawing in sheet.pieces)
    assert found == [(name, copy) for name in "ab" for copy in (1, 2, 3)]
    for sheet in sheets:
        for drawing in sheet.pieces:
            (mark,) = [text for text in drawing.texts if text.text == f"copy {drawing.part.copy} of 3"]
            assert drawing.card.contains(text_box(mark))


def test_a_piece_too_small_for_its_mark_has_it_below():
    (sheet,) = lay_out("Title", [plain("a", 8, 6)], "A4", options=SheetOptions(copies=2))[0]
    for drawing in sheet.pieces:
        (mark,) = drawing.texts
        assert mark.text == f"copy {drawing.part.copy} of 2"
        assert not text_box(mark).intersects(drawing.card)
    one, other = (shapely.box(*drawing.bounds()) for drawing in sheet.pieces)
    assert one.distance(other) > GAP_MM - 0.003


def test_one_copy_has_no_mark():
    assert lay_out("Title", [plain("a", 60, 40)], "A4", options=SheetOptions(copies=1))[0][0].pieces[0].texts == ()


def test_copies_of_many_pieces_are_bounded():
    pieces = [plain(f"p{number}", 9, 9) for number in range(30)]
    with pytest.raises(HingeleafError, match=r"100 copies of 30 pieces are too many .* write up to 66 copies"):
        lay_out("Title", pieces, "A4", options=SheetOptions(copies=100))


# ---- what is on which sheet


def test_the_foot_says_what_lies_on_the_sheet():
    sheets, _ = lay_out("Title", [plain("hill", 60, 40), plain("tent", 50, 50)], "A4", options=SheetOptions(copies=2))
    assert "hill (copies 1-2), tent (copies 1-2)" in {text.text for text in sheets[0].texts}
    assert sheet_words(sheets[0]) == "sheet 1 (A4, card): hill (copies 1-2), tent (copies 1-2)"
    data = sheet_data(sheets[0])
    assert {"id": "tent", "title": "tent", "copy": 2, "tile": None} in data["pieces"]
    assert (data["number"], data["stock"], data["size"]) == (1, "card", "A4")


def test_names_for_which_the_foot_has_no_room_are_counted():
    pieces = [plain(f"a piece with a long name {number}", 20, 20) for number in range(30)]
    (sheet,) = lay_out("Title", pieces, "A4")[0]
    (words,) = [text for text in sheet.texts if "more" in text.text]
    assert words.text.endswith(f" and {30 - words.text.count('a piece')} more")
    boxes = [text_box(text) for text in sheet.texts]
    overlaps = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    assert (overlaps[0] == overlaps[1]).all()


def test_sheets_come_in_the_order_of_their_pieces():
    pieces = [plain(f"p{number}", 60 + 12 * number, 100) for number in range(10)]
    firsts = [names(sheet)[0] for sheet in lay_out("Title", pieces, "A4")[0]]
    assert firsts[0] == "p0"
    assert firsts == sorted(firsts)


def test_three_hundred_pieces_on_hardly_more_card_than_they_are():
    rng = np.random.default_rng(3)
    pieces = [plain(f"p{number}", *map(float, rng.uniform(15, 110, 2))) for number in range(300)]
    sheets, _ = lay_out("Title", pieces, "A3")
    assert sorted(name for sheet in sheets for name in names(sheet)) == sorted(drawing.piece.id for drawing in pieces)
    area = sum((width + 6) * (height + 6) for width, height in (drawing.card.bounds[2:] for drawing in pieces))
    least = np.ceil(area / (287 * (420 - 16 - 6 - footer_height_mm(281))))
    assert len(sheets) <= np.ceil(1.12 * least)
