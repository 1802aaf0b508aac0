"""Artwork that is not there, is no picture or does not fit its box is a warning that says what would be right."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
from PIL import Image

from geometry import assemble, parse_description
from geometry.artwork import art_box
from geometry.binding import check_binding, read_bound
from geometry.checks.artwork import check_artwork
from geometry.nets.pictures import read_picture
from tests.geometry.scene_texts import HEAD, HILL


def test_missing_files_are_warned_of_by_piece_and_face(tmp_path):
    Image.new("RGB", (2539, 1819)).save(tmp_path / "hill.png")
    head = HEAD.replace('"A5"', '"A5"\nart_front = "pages.png"\nart_back = "hill.png"')
    text = head + HILL + 'art_back = "art/back.png"\n'
    findings = check_artwork(assemble(parse_description(text, folder=tmp_path)))
    assert [(finding.piece, finding.severity, finding.code) for finding in findings] == [
        ("page", "warning", "artwork"),
        ("hill", "warning", "artwork"),
    ]
    assert "printed face" in findings[0].message
    assert "pages.png" in findings[0].message
    assert "back, back.png" in findings[1].message


def test_a_folder_is_no_artwork(tmp_path):
    (tmp_path / "art").mkdir()
    text = HEAD + HILL + 'art_front = "art"\n'
    assert len(check_artwork(assemble(parse_description(text, folder=tmp_path)))) == 1


@pytest.mark.parametrize("data", [b"", b"<svg/>", b"\x89PNG\r\n\x1a\nbroken"])
def test_what_is_no_picture_is_said_so(tmp_path, data):
    (tmp_path / "hill.png").write_bytes(data)
    (finding,) = check_artwork(assemble(parse_description(HEAD + HILL + 'art_front = "hill.png"\n', folder=tmp_path)))
    assert finding.severity == "warning"
    assert finding.unit == "files"
    assert "no picture that can be read; use PNG or JPEG" in finding.message


@pytest.mark.parametrize(("across", "down", "way"), [(1.0, 1.0, None), (1.1, 1.0, "height"), (1.0, 1.1, "width")])
def test_another_proportion_is_measured_and_the_right_one_said(tmp_path, across, down, way):
    plain = assemble(parse_description(HEAD + HILL))
    left, low, right, high = art_box(plain, "hill")
    width, height = right - left, high - low
    Image.new("RGB", (round(10 * width * across), round(10 * height * down))).save(tmp_path / "hill.png")
    text = HEAD + HILL + 'art_front = "hill.png"\n'
    findings = check_artwork(assemble(parse_description(text, folder=tmp_path)))
    if way is None:
        assert findings == []
        return
    (finding,) = findings
    # A tenth too wide: fitted to the width of the box it is by 1 - 1/1.1 of its height too low.
    side = height if way == "height" else width
    assert finding.measure == pytest.approx(side * (1 - 1 / 1.1), abs=0.1)
    assert finding.unit == "mm"
    assert f"mm in {way}" in finding.message
    assert f"{width / 25.4 * 300:.0f} x {height / 25.4 * 300:.0f} pixels at 300 dpi" in finding.message


def test_a_pixel_more_or_less_is_no_other_proportion(tmp_path):
    left, low, right, high = art_box(assemble(parse_description(HEAD + HILL)), "hill")
    # About 2 mm a pixel.
    size = math.floor((right - left) / 2), math.ceil((high - low) / 2)
    Image.new("RGB", size).save(tmp_path / "hill.png")
    text = HEAD + HILL + 'art_front = "hill.png"\n'
    findings = check_artwork(assemble(parse_description(text, folder=tmp_path)))
    assert [finding.message for finding in findings if "stretched" in finding.message] == []


def findings_of(folder, image, name="hill.png", **options):
    image.save(folder / name, **options)
    return check_artwork(assemble(parse_description(HEAD + HILL + f'art_front = "{name}"\n', folder=folder)))


def box_of_the_hill():
    left, low, right, high = art_box(assemble(parse_description(HEAD + HILL)), "hill")
    return right - left, high - low


@pytest.mark.parametrize(
    ("dots", "severity", "words"),
    [(100, "warning", "pixels are seen"), (170, "note", "fine lines are soft"), (200, None, ""), (300, None, "")],
)
def test_too_few_pixels_for_print_are_told_with_the_size_that_fits(tmp_path, dots, severity, words):
    width, height = box_of_the_hill()
    found = findings_of(tmp_path, Image.new("RGB", (round(width / 25.4 * dots), round(height / 25.4 * dots))))
    assert [finding.severity for finding in found] == ([severity] if severity else [])
    for finding in found:
        assert f"has {dots} dpi on the card" in finding.message
        assert words in finding.message
        assert f"{width / 25.4 * 300:.0f} x {height / 25.4 * 300:.0f} pixels at 300 dpi" in finding.message
        assert finding.measure == pytest.approx(25.4 / dots, rel=0.01)


def test_a_lying_picture_is_measured_upright(tmp_path):
    width, height = box_of_the_hill()
    size = round(width / 25.4 * 300), round(height / 25.4 * 300)
    exif = Image.Exif()
    exif[0x0112] = 6
    assert findings_of(tmp_path, Image.new("RGB", size[::-1]), "lying.jpg", exif=exif) == []
    messages = [found.message for found in findings_of(tmp_path, Image.new("RGB", size), "wrong.jpg", exif=exif)]
    assert sum("is stretched" in message for message in messages) == 1


def test_animations_and_inks_are_noted(tmp_path):
    width, height = box_of_the_hill()
    size = round(width / 25.4 * 300), round(height / 25.4 * 300)
    frames = [Image.new("RGB", size, color) for color in ("red", "blue")]
    (found,) = findings_of(tmp_path, frames[0], save_all=True, append_images=frames[1:])
    assert (found.severity, "holds 2 pictures; the first is used" in found.message) == ("note", True)
    (found,) = findings_of(tmp_path, Image.new("CMYK", size), "inks.jpg")
    assert (found.severity, "has inks for colours (CMYK)" in found.message) == ("note", True)


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA", "I;16"])
def test_usual_kinds_of_pictures_are_no_findings(tmp_path, mode):
    width, height = box_of_the_hill()
    size = round(width / 25.4 * 300), round(height / 25.4 * 300)
    assert findings_of(tmp_path, Image.new(mode, size)) == []


@pytest.mark.parametrize("name", ["hill.png", "hill.jpg", "hill.tif"])
def test_half_a_picture_is_found_before_it_is_printed(tmp_path, name):
    """Its head is sound, so that its size alone would pass; whole, it does."""
    width, height = box_of_the_hill()
    size = round(height / 25.4 * 300), round(width / 25.4 * 300)
    image = Image.fromarray(np.random.default_rng(0).integers(0, 256, size, dtype=np.uint8))
    assert findings_of(tmp_path, image, name) == []
    data = (tmp_path / name).read_bytes()
    (tmp_path / name).write_bytes(data[: len(data) // 2])
    text = HEAD + HILL + f'art_front = "{name}"\n'
    (found,) = check_artwork(assemble(parse_description(text, folder=tmp_path)))
    assert (found.severity, found.unit) == ("warning", "files")
    assert "cannot be printed: " in found.message


def test_a_picture_without_its_last_mark_prints_and_passes(tmp_path):
    """All its pixels are there; only the chunk that ends a PNG (12 bytes, PNG 1.2, 4.1.4) is not."""
    width, height = box_of_the_hill()
    stream = io.BytesIO()
    Image.new("RGB", (round(width / 25.4 * 300), round(height / 25.4 * 300))).save(stream, "PNG")
    (tmp_path / "hill.png").write_bytes(stream.getvalue()[:-12])
    assert read_picture(str(tmp_path / "hill.png")).mime == "image/png"
    text = HEAD + HILL + 'art_front = "hill.png"\n'
    assert check_artwork(assemble(parse_description(text, folder=tmp_path))) == []


def test_floating_point_numbers_are_said_not_to_print(tmp_path):
    (found,) = findings_of(tmp_path, Image.new("F", (1500, 1000)), "hill.tif")
    assert "cannot be printed: its colours are floating-point numbers" in found.message


def test_the_cover_is_looked_at_as_pieces_are(tmp_path):
    """A5 pages in boards 2.5 mm larger at three edges: 150.5 x 215 mm."""
    (tmp_path / "one.toml").write_text(HEAD)
    book = tmp_path / "book.toml"
    cover = '[cover]\nart_front = "front.png"\nart_back = "back.jpg"\nsquare = 2.5\n'
    book.write_text('format = 1\ntitle = "Book"\n' + cover + '[[spread]]\nfile = "one.toml"\n')
    size = round(150.5 / 25.4 * 300), round(215 / 25.4 * 300)
    Image.new("RGB", size).save(tmp_path / "front.png")
    Image.new("CMYK", (500, 500)).save(tmp_path / "back.jpg")
    found = [each for each in check_binding(read_bound(book)) if each.code == "artwork"]
    assert {(each.piece, each.panel) for each in found} == {("cover", "cover/back")}
    messages = " ".join(each.message for each in found)
    for words in ("the artwork of the back board, back.jpg,", "is stretched", "dpi on the board", "CMYK"):
        assert words in messages
