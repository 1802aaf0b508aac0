"""Artwork that is named and not there is a warning; the piece stays plain."""

from __future__ import annotations

from geometry import assemble, parse_description
from geometry.checks.artwork import check_artwork
from tests.geometry.scene_texts import HEAD, HILL


def test_missing_files_are_warned_of_by_piece_and_face(tmp_path):
    (tmp_path / "hill.png").write_bytes(b"")
    head = HEAD.replace('"A5"', '"A5"\nart_front = "pages.png"\nart_back = "hill.png"')
    text = head + HILL + 'art_front = "hill.png"\nart_back = "art/back.png"\n'
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
