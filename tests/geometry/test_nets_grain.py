"""Sheets whose grain is known, and rolls, which have theirs along their length."""

import dataclasses

import numpy as np
import pytest
from shapely import box

from geometry.errors import HingeleafError
from geometry.nets import GAP_MM, MARGIN_MM, SheetOptions, lay_out
from tests.geometry.plain_drawings import CARD, plain

# ---- grain


@pytest.mark.parametrize("wish", ["height", "width"])
@pytest.mark.parametrize("side", ["long", "short"])
@pytest.mark.parametrize("size", ["A4", "A3", "250x250", "roll:300"])
def test_the_grain_of_a_piece_lies_along_that_of_the_sheet(wish, side, size):
    stock = dataclasses.replace(CARD, grain=wish)
    pieces = [plain(f"p{number}", 90 - 3 * number, 25 + number, stock) for number in range(9)]
    options = SheetOptions(grain="long" if size.startswith("roll") else side)
    sheets, notes = lay_out("Title", pieces, size, options=options)
    assert notes == ()
    sizes = {drawing.piece.id: drawing.card.bounds[2:] for drawing in pieces}
    for sheet in sheets:
        long_is_up = sheet.height_mm >= sheet.width_mm or size.startswith("roll")
        fibres = 1 if long_is_up == (options.grain == "long") else 0
        shaft = next(line for line in sheet.lines if line.name == "grain")
        along = np.abs(shaft.points[1] - shaft.points[0])
        assert along[fibres] > 3.0
        assert along[1 - fibres] == 0.0
        for drawing in sheet.pieces:
            left, low, right, high = drawing.card.bounds
            width, height = sizes[drawing.piece.id]
            turned = fibres != (1 if wish == "height" else 0)
            assert (right - left, high - low) == pytest.approx((height, width) if turned else (width, height))


def test_a_roll_has_its_grain_along_its_length_unasked_and_never_across():
    stock = dataclasses.replace(CARD, grain="width")
    (sheet,) = lay_out("Title", [plain("a", 100, 50, stock)], "roll:300")[0]
    left, low, right, high = sheet.pieces[0].card.bounds
    assert (right - left, high - low) == pytest.approx((50, 100))
    with pytest.raises(
        HingeleafError, match="grain of a roll runs along its length: leave the grain out, or write long"
    ):
        lay_out("Title", [plain("a", 100, 50, stock)], "roll:300", options=SheetOptions(grain="short"))


def test_a_piece_that_only_its_grain_keeps_off_the_sheet_is_told_so():
    stock = dataclasses.replace(CARD, grain="height")
    _, notes = lay_out("Title", [plain("a", 100, 250, stock)], "A4", options=SheetOptions(grain="short"))
    assert "does not fit on A4 with its margins and legend unless turned across its grain" in notes[0]


def test_a_grain_that_changes_nothing_is_told():
    _, notes = lay_out("Title", [plain("a", 100, 100)], "A4", options=SheetOptions(grain="long"))
    assert notes[0].startswith("no stock asks for a grain")


# ---- rolls


def test_a_roll_is_cut_off_where_its_pieces_end():
    pieces = [plain(f"p{number}", 40 + 9 * number, 95 - 5 * number) for number in range(10)]
    (sheet,), notes = lay_out("Title", pieces, "roll:400")
    assert notes == ()
    assert sheet.width_mm == 400.0
    low = min(drawing.card.bounds[1] for drawing in sheet.pieces)
    foot = max(line.points[:, 1].max() for line in sheet.lines)
    assert GAP_MM - 0.003 <= low - foot <= GAP_MM + 1.0
    assert sheet.footer.size_name == f"roll of 400 mm, {sheet.height_mm:g} mm long"
    area = sum((width + 6) * (height + 6) for width, height in (drawing.card.bounds[2:] for drawing in pieces))
    used = sheet.height_mm - 2 * MARGIN_MM - foot
    assert area / (390 * used) > 0.8


def test_a_roll_of_limited_length_is_cut_into_several():
    pieces = [plain(f"p{number}", 180, 180) for number in range(10)]
    sheets, _ = lay_out("Title", pieces, "roll:400x500")
    assert [len(sheet.pieces) for sheet in sheets] == [4, 4, 2]
    assert all(sheet.height_mm <= 500.0 for sheet in sheets)
    assert sheets[2].height_mm < sheets[0].height_mm


def test_a_roll_narrower_than_a_piece():
    pieces = [plain("banner", 500, 450)]
    (own,), (note,) = lay_out("Title", pieces, "roll:300")
    assert '"banner" is 500.0 x 450.0 mm and does not fit on roll of 300 mm' in note
    assert "--tile" in note
    assert box(0, 0, own.width_mm, own.height_mm).contains(own.pieces[0].card)
    sheets, _ = lay_out("Title", pieces, "roll:300", options=SheetOptions(tile=True))
    assert all(sheet.width_mm == 300.0 for sheet in sheets)
    with pytest.raises(HingeleafError, match=r"roll of 100 mm is too small .* at least 120 mm wide"):
        lay_out("Title", pieces, "roll:100")
