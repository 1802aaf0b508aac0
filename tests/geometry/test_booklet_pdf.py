"""The booklet as a file: read back with an independent reader, and written whole or not at all."""

import json
import re

import pymupdf
import pytest

from geometry import assemble, read_description
from geometry.__main__ import main
from geometry.booklet import assembly_steps, write_booklet
from geometry.nets import draw_piece, lay_out
from geometry.nets.glue import glue_name
from tests.geometry.scene_texts import FILES

STEMS = ["low-tide", "box", "pull-strip", "wheel"]
#: Points.
A4, LETTER = (595.28, 841.89), (612.0, 792.0)


def path_of(stem):
    return next(path for path in FILES if path.stem == stem)


def plain(text):
    return re.sub(r"\s+", " ", text)


@pytest.fixture(scope="module", params=STEMS)
def written(request, tmp_path_factory):
    spread = assemble(read_description(path_of(request.param)))
    path = tmp_path_factory.mktemp("booklet") / "order.pdf"
    count = write_booklet(spread, path)
    return spread, count, path


def test_everything_is_said(written):
    spread, count, path = written
    drawings = [draw_piece(spread, piece.id) for piece in spread.pieces]
    sheets, _ = lay_out(spread.title, drawings)
    steps = assembly_steps(spread, sheets)
    assert len(steps) == count
    with pymupdf.open(path) as document:
        text = plain(" ".join(page.get_text() for page in document))
        assert document.metadata["title"].startswith(spread.title)
    for step in steps:
        assert plain(f"Step {step.number}: {step.title}") in text
        for sentence in (*step.sentences, *step.cautions):
            assert plain(sentence) in text
    for area in spread.glue_areas:
        assert glue_name(area.glued) in text
    for piece in spread.pieces:
        assert (piece.title if piece.id != "page" else "the page card") in text
    assert "It claims no compliance" in text


def test_pages_are_a4_and_numbered_and_fonts_embedded(written):
    _, _, path = written
    with pymupdf.open(path) as document:
        for number, page in enumerate(document, 1):
            assert (page.rect.width, page.rect.height) == pytest.approx(A4, abs=0.01)
            assert f"page {number} of {len(document)}" in page.get_text()
            fonts = page.get_fonts(full=True)
            assert fonts
            for font in fonts:
                assert font[1] == "ttf", font
                assert "Vera" in font[3]


def test_nothing_runs_off_the_paper(written):
    _, _, path = written
    with pymupdf.open(path) as document:
        for page in document:
            for block in page.get_text("dict")["blocks"]:
                box = pymupdf.Rect(block["bbox"])
                assert box.x0 > 40
                assert box.x1 < page.rect.width - 40
                assert box.y1 < page.rect.height - 30


def test_every_step_has_ink_in_its_pictures():
    spread = assemble(read_description(path_of("box")))
    drawings = [draw_piece(spread, piece.id) for piece in spread.pieces]
    for step in assembly_steps(spread, lay_out(spread.title, drawings)[0]):
        assert step.pictures or step.kind == "press"


def test_letter_and_sheets(tmp_path, capsys):
    target = tmp_path / "order.pdf"
    arguments = [
        "booklet",
        str(path_of("box")),
        "--out",
        str(target),
        "--paper",
        "Letter",
        "--sheet",
        "A3",
        "--json",
        "-",
    ]
    assert main(arguments) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["written"] == [str(target)]
    with pymupdf.open(target) as document:
        assert (document[0].rect.width, document[0].rect.height) == pytest.approx(LETTER, abs=0.01)
        assert "(A3)" in "".join(page.get_text() for page in document)


def test_copies_and_tiles(tmp_path):
    target = tmp_path / "order.pdf"
    arguments = ["booklet", str(path_of("box")), "--out", str(target), "--sheet", "200x200", "--tile", "--copies", "2"]
    assert main(arguments) == 0
    with pymupdf.open(target) as document:
        text = plain("".join(page.get_text() for page in document))
    assert "(tile A1)" in text
    assert "lay each tile over the ones to its left" in text
    assert "2 copies" in text


def test_the_same_twice(tmp_path):
    spread = assemble(read_description(path_of("v-fold")))
    for name in ("one.pdf", "two.pdf"):
        write_booklet(spread, tmp_path / name)
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (["--paper", "B3"], 'paper "B3" is not known: write A4 or letter'),
        (["--sheet", "A99"], "A99"),
        ([], "order.pdf"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_lost(more, message, tmp_path, capsys):
    target = tmp_path / "order.pdf"
    if more:
        target.write_bytes(b"old")
    else:
        target.mkdir()
    assert main(["booklet", str(path_of("tent")), "--out", str(target), *more]) == 2
    error = capsys.readouterr().err
    assert message in error
    assert len(error.strip().splitlines()) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["order.pdf"]
    if more:
        assert target.read_bytes() == b"old"
