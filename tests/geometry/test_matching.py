"""Artwork by file name: what belongs where, and why the rest does not."""

from __future__ import annotations

import pytest
from PIL import Image

from geometry import FileError, assemble, parse_description
from geometry.design.matching import match_artwork, pictures_in, with_matches
from tests.geometry.scene_texts import HEAD, HILL

TEXT = (
    HEAD
    + HILL.replace('kind = "v-fold"', 'title = "Über den Hügeln"\nkind = "v-fold"')
    + """[[mechanism]]
kind = "rider"
id = "hill-back"
panel = "page.right"
at = [60, 100]
size = [20, 20]
[[mechanism]]
kind = "rider"
id = "sun"
title = "Star"
panel = "page.right"
at = [90, 60]
size = [20, 20]
[[mechanism]]
kind = "rider"
id = "moon"
title = "Star"
panel = "page.left"
at = [-90, 60]
size = [20, 20]
"""
)


@pytest.fixture
def match(tmp_path):
    description = parse_description(TEXT, folder=tmp_path)
    spread = assemble(description)

    def match(*names):
        for name in names:
            Image.new("RGB", (20, 10)).save(tmp_path / "plain.png")
            (tmp_path / "plain.png").rename(tmp_path / name)
        found = match_artwork(description, spread, pictures_in(tmp_path))
        return (
            {(each.file.name, each.piece, each.face) for each in found.matches},
            {each.file.name: each.reason for each in found.misses},
        )

    return match


@pytest.mark.parametrize(
    ("name", "piece", "face"),
    [
        ("hill.png", "hill", "front"),
        ("hill-front.png", "hill", "front"),
        ("HILL_Front.JPG", "hill", "front"),
        ("hill front.png", "hill", "front"),
        ("Hill_Back_Back.png", "hill-back", "back"),
        ("hill-back-front.png", "hill-back", "front"),
        ("page.png", "page", "front"),
        ("Page Back.png", "page", "back"),
        ("pages.png", "page", "front"),
        ("Über den Hügeln.png", "hill", "front"),
        ("uber_den_hugeln-back.png", "hill", "back"),
        ("sun.webp", "sun", "front"),
        ("moon.tif", "moon", "front"),
    ],
)
def test_names_say_where_a_picture_belongs(match, name, piece, face):
    assert match(name) == ({(name, piece, face)}, {})


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (["hill-back.png"], "is ambiguous: it may be the front of hill-back or the back of hill"),
        (["star.png"], "is ambiguous: it may be the front of moon or the front of sun"),
        (["sun.png", "SUN-FRONT.jpg"], "would be the same face of sun; keep one of them"),
        (["son.png"], "there is no such piece; did you mean sun?"),
        (["qqqqq.png"], "there is no such piece; there are hill, hill-back, moon, page,"),
        (["sun.svg"], "SVG is not read; export it as PNG"),
        (["sun-front-template.png"], "is a template; save what you paint on it as sun-front.png"),
        (["qqqqq-back-test-card.png"], "is a template; save what you paint on it as qqqqq-back.png"),
        (["sun-test-card.png", "Sun_Front Test Card.png"], "would be the same face of sun; keep one of them"),
        (["sun\n.png"], "its name cannot be written into a description; rename it"),
    ],
)
def test_what_belongs_nowhere_is_said_with_the_reason(match, tmp_path, names, words):
    for name in names:
        if name.endswith(".svg"):
            (tmp_path / name).write_text("<svg/>")
    matches, misses = match(*(name for name in names if not name.endswith(".svg")))
    assert matches == set()
    assert set(misses) == set(names)
    assert all(words in reason for reason in misses.values())


def test_a_test_card_is_taken_until_its_face_is_painted(match):
    matches, misses = match("sun-back-test-card.png", "sun-back-template.png", "sun-front-template.png")
    assert matches == {("sun-back-test-card.png", "sun", "back")}
    assert set(misses) == {"sun-front-template.png"}
    assert match("Sun_Back.png", "sun-front.png") == (
        {("Sun_Back.png", "sun", "back"), ("sun-front.png", "sun", "front")},
        {},
    )


def test_a_card_that_is_no_picture_is_a_miss(match, tmp_path):
    (tmp_path / "sun-back-test-card.png").write_bytes(b"no picture")
    matches, misses = match()
    assert matches == set()
    assert "no picture that can be read" in misses["sun-back-test-card.png"]


def test_an_id_to_the_letter_comes_before_what_is_nearly_it(tmp_path):
    """Ids that are the same but for their capitals, and one that is the word for the two pages."""
    rider = '[[mechanism]]\nkind = "rider"\nid = "{}"\npanel = "page.right"\nat = [{}, 60]\nsize = [20, 20]\n'
    text = HEAD + rider.format("owl", 30) + rider.format("Owl", 60) + rider.format("pages", 90)
    description = parse_description(text, folder=tmp_path)
    names = ["owl.png", "Owl.png", "Owl-back.png", "pages.png", "Pages-Back.png", "page.png", "OWL.png"]
    for name in names:
        Image.new("RGB", (20, 10)).save(tmp_path / name)
    found = match_artwork(description, assemble(description), [tmp_path / name for name in names])
    assert {(each.file.name, each.piece, each.face) for each in found.matches} == {
        ("owl.png", "owl", "front"),
        ("Owl.png", "Owl", "front"),
        ("Owl-back.png", "Owl", "back"),
        ("pages.png", "pages", "front"),
        ("Pages-Back.png", "pages", "back"),
        ("page.png", "page", "front"),
    }
    assert [each.file.name for each in found.misses] == ["OWL.png"]
    assert "is ambiguous" in found.misses[0].reason


def test_what_cannot_be_read_is_not_assigned(match, tmp_path):
    (tmp_path / "sun.png").write_bytes(b"no picture")
    (tmp_path / "moon.png").mkdir()
    matches, misses = match("page.png")
    assert matches == {("page.png", "page", "front")}
    assert "no picture that can be read" in misses["sun.png"]
    assert "cannot be read" in misses["moon.png"]


def test_a_drawing_beside_its_export_is_no_miss(match, tmp_path):
    (tmp_path / "sun.psd").write_bytes(b"layers")
    (tmp_path / "notes.txt").write_text("nothing")
    assert match("sun.png") == ({("sun.png", "sun", "front")}, {})


def test_matched_artwork_stands_in_the_description(match, tmp_path):
    match("sun.png", "page-back.png")
    description = parse_description(TEXT, folder=tmp_path)
    found = match_artwork(description, assemble(description), pictures_in(tmp_path))
    names = {each.file: each.file.name for each in found.matches}
    changed = assemble(with_matches(description, found.matches, names))
    assert changed.piece("sun").art_front == str(tmp_path / "sun.png")
    assert changed.piece("page").art_back == str(tmp_path / "page-back.png")
    assert changed.piece("moon").art_front is None


def test_a_folder_that_cannot_be_read(tmp_path):
    with pytest.raises(FileError, match="cannot be read"):
        pictures_in(tmp_path / "nowhere")
