"""The demo book's artwork: every file is there, fits its box and is sharp; nothing in view is plain card."""

from __future__ import annotations

from pathlib import Path

import pytest

from geometry import assemble, read_description
from geometry.artwork import BLEED_MM, art_box, picture_size
from geometry.binding import read_book
from geometry.checks import run_checks
from geometry.checks.artwork import check_artwork

DEMO = Path(__file__).resolve().parents[2] / "scenes" / "demo"
SPREADS = ("low-tide", "storm", "night")
#: Half a pixel at each side of a picture at its coarsest, mm.
ROUNDING_MM = 25.4 / 200


def spread_of(name):
    return assemble(read_description(DEMO / f"{name}.toml"))


@pytest.mark.parametrize("name", SPREADS)
def test_no_file_is_missing_stretched_or_soft(name):
    assert check_artwork(spread_of(name)) == []


@pytest.mark.parametrize("name", SPREADS)
def test_every_piece_that_is_in_view_is_painted(name):
    # A platform's supports stand under it; their card is dark.
    plain = [piece.id for piece in spread_of(name).pieces if piece.art_front is None]
    assert [piece_id for piece_id in plain if not piece_id.endswith(".support")] == []


@pytest.mark.parametrize("name", SPREADS)
def test_pictures_have_the_proportions_of_their_boxes(name):
    spread = spread_of(name)
    for piece in spread.pieces:
        for file in (piece.art_front, piece.art_back):
            if file is None:
                continue
            left, low, right, high = art_box(spread, piece.id)
            across, down = picture_size(file)
            assert abs((right - left) / across * down - (high - low)) < 2 * ROUNDING_MM * max(1.0, down / across), file
            assert right - left > 2 * BLEED_MM


def test_boards_are_painted_from_edge_to_edge():
    book = read_book(DEMO / "book.toml")
    width, height = spread_of(SPREADS[0]).page_size_mm
    board = width + book.cover.square_mm, height + 2 * book.cover.square_mm
    for file in (book.cover.art_front, book.cover.art_back):
        across, down = picture_size(file)
        assert abs(board[0] / across * down - board[1]) < 2 * ROUNDING_MM


def test_the_book_is_of_these_spreads_and_every_picture_is_used():
    book = read_book(DEMO / "book.toml")
    assert book.files == tuple(f"{name}.toml" for name in SPREADS)
    used = {Path(file).resolve() for file in (book.cover.art_front, book.cover.art_back)}
    for name in SPREADS:
        for piece in spread_of(name).pieces:
            used |= {Path(file).resolve() for file in (piece.art_front, piece.art_back) if file is not None}
    there = {path.resolve() for path in (DEMO / "art").rglob("*.png")}
    assert there == used
    assert {path.with_suffix(".svg") for path in there} == {path.resolve() for path in (DEMO / "art").rglob("*.svg")}


@pytest.mark.parametrize("name", ["storm", "night"])
def test_the_new_spreads_have_nothing_that_must_be_mended(name):
    assert [finding.message for finding in run_checks(spread_of(name)) if finding.severity != "note"] == []
