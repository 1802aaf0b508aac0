"""Input that fuzzing found to hang, to crash or to start other programs: each is refused with a sentence, at once."""

from __future__ import annotations

import io
import struct
import subprocess
import time
import zlib
from xml.etree import ElementTree

import numpy as np
import pymupdf
import pytest
from PIL import Image

from geometry import HingeleafError
from geometry.__main__ import main
from geometry.artwork import check_whole, picture_head
from geometry.description import values
from geometry.design.strokes import stroke_of
from geometry.errors import FileError
from geometry.outline import closed_outline, polyline
from geometry.outline_files import read_outlines
from geometry.tracing import read_alpha
from tests.geometry.scene_texts import HEAD as PAGE
from tests.geometry.scene_texts import v_fold

SVG = '<svg xmlns="http://www.w3.org/2000/svg">'
#: What is refused is refused in a moment; what these inputs took was ten seconds to hours.
MOMENT_S = 2.0


def read(folder, body):
    file = folder / "drawing.svg"
    file.write_text(f"{SVG}{body}</svg>", encoding="utf-8")
    begun = time.process_time()
    try:
        return read_outlines(file)
    finally:
        assert time.process_time() - begun < MOMENT_S


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (f'<polygon points="{"9" * 5000}"/>', "number of 40 digits or more in points"),
        (f'<path d="M 0 0 L {"9" * 5000} 5"/>', "number of 40 digits or more in d"),
        (f'<rect width="5" height="5" transform="{"rotate(" * 5000}"/>', "transform of more than 10000 characters"),
        (f'<path d="{"l 1 1" * 500_000}"/>', "paths of more than 2000000 characters"),
        (f"<style>{','.join('a' * 5000)}{{{'x' * 5000}}}</style>", "more than 4000 characters for one name"),
        (f"<style>{'a' * 300_000}</style>", "style sheet of more than 200000 characters"),
        (
            f'<g transform="{"rotate(1) " * 900}">' * 60 + '<rect width="5" height="5"/>' * 300 + "</g>" * 60,
            "too long for so many shapes",
        ),
    ],
    ids=["points", "path", "transform", "long path", "names of a style", "style", "handed down"],
)
def test_a_drawing_out_of_all_proportion_is_refused(tmp_path, body, said):
    with pytest.raises(FileError, match=f"drawing.svg: has .*{said}"):
        read(tmp_path, body)


@pytest.mark.parametrize("text", ["a" * 50_000, "a{" * 20_000, "/*" * 20_000, "a" + " " * 50_000], ids=len)
def test_what_is_no_rule_in_a_style_sheet_is_passed_over(tmp_path, text):
    assert len(read(tmp_path, f'<style>{text}</style><rect width="30" height="20"/>')) == 1


def test_style_sheets_still_count(tmp_path):
    """Comments and several names before a rule, as drawing programs write them."""
    style = "<style>/* hidden */ .a, .b { display : none } .c{fill:red}</style>"
    shapes = "".join(f'<rect id="{name}" class="{name}" width="30" height="20"/>' for name in "abc")
    assert [outline.name for outline in read(tmp_path, style + shapes)] == ["c"]


def test_names_in_any_script_are_read(tmp_path):
    (outline,) = read(tmp_path, '<g größe="1" 名="2"><rect id="überzug" width="30" height="20"/></g>')
    assert outline.name == "überzug"


def test_a_deep_tree_that_uses_hide_is_refused(tmp_path):
    tree = "".join(f'<g id="n{k}">' for k in range(2000)) + '<rect width="3" height="4"/>' + "</g>" * 2000
    uses = "".join(f'<use href="#n{k}"/>' for k in range(1950, 0, -50))
    with pytest.raises(FileError, match=r"nested too deeply|more than 50000 shapes"):
        read(tmp_path, uses + tree)


@pytest.mark.parametrize("text", ["M 0 0 Z S 92 -19 -20 52 H", "M 0 0 L 10 0 H"])
def test_path_data_that_ends_in_the_middle_of_a_point_is_refused(text):
    for read_path in (polyline, closed_outline):
        with pytest.raises(HingeleafError, match="middle of a point"):
            read_path(text)


@pytest.mark.parametrize("text", ["M 0 0 A 1e308 10 -38 1 0 48 44 L 0 9", "M 0 0 A 5 1e999 0 0 1 9 9 L 0 9"])
def test_an_arc_of_radii_beyond_all_numbers_is_refused(text):
    for read_path in (polyline, closed_outline, lambda value: stroke_of(value, closed=True)):
        with pytest.raises(HingeleafError, match="not a number or lies more than 10 m away"):
            read_path(text)


def test_no_other_program_is_started_for_a_picture(tmp_path, monkeypatch):
    """Pillow would hand PostScript to Ghostscript, whatever the file's name ends with."""

    def refuse(*arguments, **_):
        raise AssertionError(f"starts {arguments}")

    monkeypatch.setattr(subprocess, "Popen", refuse)
    monkeypatch.setattr(subprocess, "check_call", refuse)
    file = tmp_path / "figure.png"
    file.write_bytes(b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\n%%EndComments\nshowpage\n")
    for look in (picture_head, check_whole):
        with pytest.raises(FileError, match="no picture that can be read; use PNG or JPEG"):
            look(file)


def broken_gif():
    """After the first picture another one, which ends in the middle of its place."""
    found = io.BytesIO()
    Image.new("P", (8, 8)).save(found, "GIF")
    return found.getvalue().removesuffix(b";") + struct.pack("<sHHHH", b",", 0, 0, 8, 8)[:7]


def broken_tiff():
    """A second picture without a width."""
    found = io.BytesIO()
    pictures = [Image.new("L", (8, 8)), Image.new("L", (8, 8))]
    pictures[0].save(found, "TIFF", save_all=True, append_images=pictures[1:])
    data = found.getvalue()
    width = struct.pack("<HHL", 256, 4, 1)
    place = data.rindex(width) if width in data else data.rindex(struct.pack("<HHL", 256, 3, 1))
    return data[:place] + struct.pack("<H", 255) + data[place + 2 :]


@pytest.mark.parametrize("made", [broken_gif, broken_tiff])
def test_a_picture_whose_next_one_is_broken_is_refused(tmp_path, made):
    file = tmp_path / "figure.png"
    file.write_bytes(made())
    with pytest.raises(FileError, match="no picture that can be read; use PNG or JPEG"):
        picture_head(file)


def test_a_picture_of_absurd_size_is_refused(tmp_path):
    """A few bytes that say they are a hundred thousand pixels square, as PNG (RFC 2083) says it."""
    head = struct.pack(">IIBBBBB", 100_000, 100_000, 8, 6, 0, 0, 0)
    parts = ((b"IHDR", head), (b"IDAT", zlib.compress(bytes(100))), (b"IEND", b""))
    data = b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body)) for name, body in parts
    )
    file = tmp_path / "figure.png"
    file.write_bytes(b"\x89PNG\r\n\x1a\n" + data)
    for look in (picture_head, check_whole, read_alpha):
        with pytest.raises(FileError, match="too many pixels to be read; make it smaller"):
            look(file)


# --- commands ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path, monkeypatch):
    (tmp_path / "scene.toml").write_text(PAGE + v_fold("hill"), encoding="utf-8")
    Image.fromarray(np.pad(np.full((9, 9), 255, np.uint8), 4)).save(tmp_path / "mask.png")
    alpha = Image.open(tmp_path / "mask.png")
    Image.merge("LA", [alpha, alpha]).save(tmp_path / "figure.png")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("title", ["../../evil", "a/b\\\\c:d", "x" * 400, "\u202egnp.exe", "<&>]]>"])
def test_what_a_title_says_is_no_path(folder, title):
    """Titles of the book and of a piece; all that is written lies in the folder asked for."""
    text = PAGE.replace("format = 1", f'format = 1\ntitle = "{title}"') + v_fold("hill") + f'title = "{title}"\n'
    (folder / "work").mkdir()
    (folder / "work/scene.toml").write_text(text, encoding="utf-8")
    before = {path for path in folder.parent.rglob("*") if folder / "work" not in path.parents}
    for words in (
        ["nets", "work/scene.toml", "--out", "work/out", "--format", "all"],
        ["booklet", "work/scene.toml", "--out", "work/order.pdf"],
        ["templates", "work/scene.toml", "--out", "work/templates", "--dpi", "36"],
    ):
        assert main(words) == 0
    assert {path for path in folder.parent.rglob("*") if folder / "work" not in path.parents} == before
    for path in (folder / "work/out").glob("*.svg"):
        ElementTree.parse(path)


def test_a_booklet_of_very_many_copies_is_set(folder):
    """Each piece lies on two hundred sheets, which filled more than a page as a list."""
    assert main(["booklet", "scene.toml", "--out", "order.pdf", "--copies", "210"]) == 0
    with pymupdf.open("order.pdf") as document:
        assert "1 to " in "".join(page.get_text() for page in document)


def test_a_title_without_end_is_refused(folder, capsys):
    """Twenty thousand letters took half a minute to be shortened to the width of a sheet."""
    (folder / "scene.toml").write_text(PAGE + v_fold("hill") + f'title = "{"x" * 20_000}"\n', encoding="utf-8")
    assert main(["nets", "scene.toml", "--out", "out"]) == 2
    assert 'v-fold "hill", title: has 20000 characters; at most 1000 are taken' in capsys.readouterr().err


@pytest.mark.filterwarnings("default")
def test_a_text_longer_than_a_page_of_the_booklet_is_refused(folder, capsys, monkeypatch):
    monkeypatch.setattr(values, "_LONGEST_TEXT", 100_000)
    (folder / "scene.toml").write_text(PAGE + v_fold("hill") + f'title = "{"very long " * 3000}"\n', encoding="utf-8")
    assert main(["booklet", "scene.toml", "--out", "order.pdf"]) == 2
    assert "longer than a page" in capsys.readouterr().err
    assert not (folder / "order.pdf").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nets", "scene.toml", "--out", "out", "--bleed", "9e-106"], "next to nothing; write 0, or at least 0.001 mm"),
        (["nets", "scene.toml", "--out", "out", "--gap=-1e-300"], "next to nothing; write 0, or at least 0.001 mm"),
        (["trace", "figure.png", "--width", "2.3e-152"], "must be above 0, 0.01 at least, and at most 5000 mm"),
        (["trace", "figure.png", "--width", "nan"], "must be above 0, 0.01 at least, and at most 5000 mm"),
        (["check", "scene.toml", "--apply", "glue", "--out", "a" * 300], "nothing was changed"),
        (["assign", "scene.toml", "--folder", ".", "--out", "a" * 300], "cannot be written"),
    ],
    ids=["bleed", "gap", "width", "no width", "long name", "long name beside"],
)
def test_a_command_refuses_with_one_sentence(folder, capsys, words, said):
    (folder / "hill.png").write_bytes((folder / "figure.png").read_bytes())
    before = sorted(path.name for path in folder.iterdir())
    assert main(words) == 2
    message = capsys.readouterr().err
    assert said in message
    assert message.count("\n") == 1
    assert sorted(path.name for path in folder.iterdir()) == before
