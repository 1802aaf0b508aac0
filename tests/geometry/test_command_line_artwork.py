"""The commands assign and trace: what they write, say and refuse."""

from __future__ import annotations

import json
import os
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image
from shapely import Point

from geometry import read_description
from geometry.__main__ import main
from geometry.outline import closed_outline
from geometry.outline_files import read_outlines
from tests.geometry.painted_shapes import alpha_of
from tests.geometry.scene_texts import HEAD, HILL


def painted(file, color=(200, 30, 30)):
    file.parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", (60, 40), color).save(file)
    return file


@pytest.fixture
def scene(tmp_path):
    file = tmp_path / "book" / "hill.toml"
    file.parent.mkdir()
    file.write_text(HEAD + HILL)
    return file


def test_assign_copies_what_lies_elsewhere_beside_the_description(scene, tmp_path, capsys):
    painted(tmp_path / "paint" / "Hill.png")
    painted(tmp_path / "paint" / "hil-back.png")
    assert main(["assign", str(scene), "--folder", str(tmp_path / "paint")]) == 1
    said = capsys.readouterr().out
    assert "assigned: Hill.png: printed face of hill" in said
    assert "not assigned: hil-back.png: there is no such piece; did you mean hill?" in said
    description = read_description(scene.with_name("hill-painted.toml"))
    assert description.mechanisms[0].values["art_front"] == str(scene.parent / "art" / "Hill.png")
    assert (scene.parent / "art" / "Hill.png").read_bytes() == (tmp_path / "paint" / "Hill.png").read_bytes()
    assert scene.read_text() == HEAD + HILL


def test_assign_leaves_another_picture_of_that_name_alone(scene, tmp_path):
    other = painted(scene.parent / "art" / "hill.png", (1, 1, 1)).read_bytes()
    painted(tmp_path / "paint" / "hill.png")
    assert main(["assign", str(scene), "--folder", str(tmp_path / "paint")]) == 0
    assert (scene.parent / "art" / "hill.png").read_bytes() == other
    assert 'art_front = "art/hill-2.png"' in scene.with_name("hill-painted.toml").read_text()


def test_assign_in_place(scene, capsys):
    painted(scene.parent / "pictures" / "page.png")
    out = ["--out", str(scene), "--json", "-"]
    assert main(["assign", str(scene), "--folder", str(scene.parent / "pictures"), *out]) == 0
    assert 'art_front = "pictures/page.png"' in scene.read_text()
    data = json.loads(capsys.readouterr().out)
    assert data["assigned"] == [{"file": str(scene.parent / "pictures" / "page.png"), "piece": "page", "face": "front"}]
    assert not (scene.parent / "art").exists()


@pytest.mark.parametrize("folder", ["nowhere", "."])
def test_assign_writes_nothing_where_nothing_fits(scene, tmp_path, capsys, folder):
    status = main(["assign", str(scene), "--folder", str(tmp_path / folder)])
    assert status == (2 if folder == "nowhere" else 1)
    assert [path.name for path in scene.parent.iterdir()] == ["hill.toml"]
    assert capsys.readouterr()[1 if folder == "nowhere" else 0].strip()


def test_assign_beside_the_description_only(scene, tmp_path, capsys):
    out = ["--out", str(tmp_path / "other.toml")]
    assert main(["assign", str(scene), "--folder", str(tmp_path), *out]) == 2
    assert "must lie beside hill.toml" in capsys.readouterr().err


def test_trace_writes_a_drawing_true_to_size(tmp_path, capsys):
    """Read back by the reader of outlines from drawing programs, which knows nothing of tracing."""
    ring = Point(30, 30).buffer(20).difference(Point(30, 30).buffer(8))
    alpha = alpha_of(ring, (0, 0, 60, 50), 0.1)
    Image.fromarray(np.dstack([np.zeros((*alpha.shape, 3), np.uint8), alpha])).save(tmp_path / "ring.png")
    out = tmp_path / "ring.svg"
    assert main(["trace", str(tmp_path / "ring.png"), "--width", "60", "--out", str(out)]) == 0
    assert "mm off the edge of the alpha" in capsys.readouterr().out
    outline, hole = (closed_outline(found.data) for found in read_outlines(out))
    assert outline.bounds == pytest.approx((10, 10, 50, 50), abs=0.2)
    assert hole.bounds == pytest.approx((22, 22, 38, 38), abs=0.2)
    assert ET.parse(out).getroot().get("width") == "60mm"


def test_trace_as_data(tmp_path, capsys):
    alpha = alpha_of(Point(30, 25).buffer(20), (0, 0, 60, 50), 0.2)
    Image.fromarray(np.dstack([np.zeros((*alpha.shape, 3), np.uint8), alpha])).save(tmp_path / "disc.png")
    assert main(["trace", str(tmp_path / "disc.png"), "--width", "60", "--json", "-"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["size_mm"] == [60.0, 50.0]
    assert 0 < data["off_mm"] < 0.3
    assert data["shapes"][0]["outline"].startswith("M ")


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--width", "60"], "art.png: it is opaque throughout"),
        (["--width", "-3"], "it must be above 0"),
        (["--width", "60", "--tolerance", "0"], "tolerance is 0 mm"),
    ],
)
def test_trace_says_what_is_wrong(tmp_path, capsys, options, words):
    image = Image.new("RGBA", (40, 40), (1, 2, 3, 255))
    if options != ["--width", "60"]:
        image.paste((0, 0, 0, 0), (0, 0, 20, 20))
    image.save(tmp_path / "art.png")
    assert main(["trace", str(tmp_path / "art.png"), *options]) == 2
    assert words in capsys.readouterr().err


def test_names_that_are_no_letters_break_no_result(scene, tmp_path):
    """A name of a byte that UTF-8 does not know, and one with a line end."""
    folder = tmp_path / "paint"
    folder.mkdir()
    for name in (b"hill\xff.png", b"hill\n.png"):
        Image.new("RGB", (20, 10)).save(folder / "whole.png")
        (folder / "whole.png").rename(folder / os.fsdecode(name))
    painted(folder / "page.png")
    out = tmp_path / "found.json"
    assert main(["assign", str(scene), "--folder", str(folder), "--json", str(out)]) == 1
    data = json.loads(out.read_text(encoding="utf-8"))
    assert [each["piece"] for each in data["assigned"]] == ["page"]
    assert {os.path.basename(each["file"]) for each in data["not_assigned"]} == {"hill\udcff.png", "hill\n.png"}  # noqa: PTH119


def test_a_folder_that_no_description_can_name(scene, tmp_path, capsys):
    painted(scene.parent / "pain\nt" / "page.png")
    assert main(["assign", str(scene), "--folder", str(scene.parent / "pain\nt")]) == 2
    assert "cannot be written into a description; rename it" in capsys.readouterr().err
    assert not scene.with_name("hill-painted.toml").exists()


def test_a_drawing_of_a_strange_name_can_be_read(tmp_path):
    alpha = alpha_of(Point(30, 25).buffer(20), (0, 0, 60, 50), 0.2)
    file = tmp_path / os.fsdecode(b"di\x01sc\xff.png")
    Image.fromarray(np.dstack([np.zeros((*alpha.shape, 3), np.uint8), alpha])).save(file)
    assert main(["trace", str(file), "--width", "60", "--out", str(tmp_path / "disc.svg")]) == 0
    assert ET.parse(tmp_path / "disc.svg").getroot()[0].text == "di sc"


@pytest.mark.parametrize("feature", ["0", "0.1"])
def test_trace_of_a_line_a_pixel_wide(tmp_path, feature):
    image = Image.new("RGBA", (60, 40), (0, 0, 0, 0))
    image.paste((9, 9, 9, 255), (10, 20, 50, 21))
    image.save(tmp_path / "line.png")
    out = tmp_path / "line.svg"
    assert main(["trace", str(tmp_path / "line.png"), "--width", "60", "--feature", feature, "--out", str(out)]) == 0
    (outline,) = (closed_outline(found.data) for found in read_outlines(out))
    assert outline.bounds == pytest.approx((10, 19, 50, 20), abs=0.6)
