"""Artwork that is not there, is no picture or does not fit its box is a warning that says what would be right."""

from __future__ import annotations

import math

import pytest
from PIL import Image

from geometry import assemble, parse_description
from geometry.artwork import art_box
from geometry.checks.artwork import check_artwork
from tests.geometry.scene_texts import HEAD, HILL


def test_missing_files_are_warned_of_by_piece_and_face(tmp_path):
    Image.new("RGB", (302, 216)).save(tmp_path / "hill.png")
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
    assert check_artwork(assemble(parse_description(text, folder=tmp_path))) == []
