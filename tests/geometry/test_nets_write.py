"""Files: names, what is refused, that they appear complete or not at all, and that they come out the same again."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import ezdxf
import pytest
from PIL import Image
from svgelements import Path as SvgPath

from geometry import FileError, HingeleafError, assemble, parse_description
from geometry.nets import SheetOptions, write_nets
from geometry.nets.write import slug

ROOT = Path(__file__).parents[2]
TEXT = """
format = 1
title = "Über zwei Hügel"
[page]
size = "A6"
art_front = "pages.png"
[[mechanism]]
kind = "v-fold"
id = "hill"
fold = "spine"
at = 60
angle = 45
height = 40
"""


@pytest.fixture
def spread(tmp_path):
    Image.new("RGB", (216, 154), "#c08040").save(tmp_path / "pages.png")
    return assemble(parse_description(TEXT, folder=tmp_path))


def digests(folder):
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir())}


def test_names_come_from_the_title(spread, tmp_path):
    files = write_nets(spread, tmp_path / "nets")
    assert [path.name for path in files.paths] == [
        "uber-zwei-hugel-nets-1.svg",
        "uber-zwei-hugel-nets.pdf",
        "uber-zwei-hugel-nets-1.dxf",
    ]
    assert all(path.is_file() for path in files.paths)
    assert sorted(path.name for path in (tmp_path / "nets").iterdir()) == sorted(path.name for path in files.paths)
    assert files.sheet_of == {"page": 1, "hill": 1}


@pytest.mark.parametrize(
    ("title", "expected"), [("Two hills", "two-hills"), ("../../etc/x", "etc-x"), ("山", ""), ("a" * 200, "a" * 60)]
)
def test_slugs_are_safe(title, expected):
    assert slug(title) == expected


def test_only_the_formats_asked_for(spread, tmp_path):
    files = write_nets(spread, tmp_path / "nets", formats=("dxf",))
    assert [path.suffix for path in files.paths] == [".dxf"]


@pytest.mark.parametrize("formats", [("svg", "eps"), (), ("PDF",)])
def test_an_unknown_format_is_refused_before_anything_is_written(spread, tmp_path, formats):
    with pytest.raises(HingeleafError, match="svg, pdf, dxf"):
        write_nets(spread, tmp_path / "nets", formats=formats)
    assert not (tmp_path / "nets").exists()


def test_an_unknown_sheet_is_refused_before_anything_is_written(spread, tmp_path):
    with pytest.raises(HingeleafError, match='sheet "A99" is not known'):
        write_nets(spread, tmp_path / "nets", sheet="A99")
    assert not (tmp_path / "nets").exists()


def test_missing_artwork_is_told_and_the_card_stays_plain(spread, tmp_path):
    (tmp_path / "pages.png").unlink()
    files = write_nets(spread, tmp_path / "nets")
    assert files.notes == ('the artwork of the printed face of "page card", pages.png, is not there: it stays plain',)
    assert b"<image" not in files.paths[0].read_bytes()


def test_artwork_that_is_no_picture_is_told(spread, tmp_path):
    (tmp_path / "pages.png").write_text("not a picture")
    with pytest.raises(FileError, match="use PNG or JPEG") as caught:
        write_nets(spread, tmp_path / "nets")
    assert "\n" not in str(caught.value)
    assert not (tmp_path / "nets").exists()


def test_a_folder_that_is_a_file_is_told(spread, tmp_path):
    (tmp_path / "nets").write_text("in the way")
    with pytest.raises(FileError, match="nets"):
        write_nets(spread, tmp_path / "nets")
    assert (tmp_path / "nets").read_text() == "in the way"


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_folder_without_permission_is_told(spread, tmp_path):
    folder = tmp_path / "nets"
    folder.mkdir(mode=0o500)
    with pytest.raises(FileError, match="cannot be written"):
        write_nets(spread, folder)
    assert not list(folder.iterdir())


def test_the_same_input_gives_the_same_bytes(spread, tmp_path):
    write_nets(spread, tmp_path / "one")
    write_nets(spread, tmp_path / "two")
    assert digests(tmp_path / "one") == digests(tmp_path / "two")


def test_another_process_with_other_hashes_gives_the_same_bytes(spread, tmp_path):
    (tmp_path / "scene.toml").write_text(TEXT, encoding="utf-8")
    code = (
        "import sys; from geometry import assemble, read_description; from geometry.nets import write_nets; "
        "write_nets(assemble(read_description(sys.argv[1])), sys.argv[2])"
    )
    for seed in ("1", "2", "3"):
        arguments = [sys.executable, "-c", code, str(tmp_path / "scene.toml"), str(tmp_path / seed)]
        subprocess.run(arguments, cwd=ROOT, env={**os.environ, "PYTHONHASHSEED": seed}, check=True, timeout=120)
    assert digests(tmp_path / "1") == digests(tmp_path / "2") == digests(tmp_path / "3")
    write_nets(spread, tmp_path / "here")
    assert digests(tmp_path / "1") == digests(tmp_path / "here")


def test_a_second_run_replaces_and_names_what_is_left_over(spread, tmp_path):
    folder = tmp_path / "nets"
    first = write_nets(spread, folder)
    assert first.notes == ()
    (folder / "uber-zwei-hugel-nets-2.svg").write_text("from a longer run")
    (folder / "notes.svg").write_text("the user's own")
    second = write_nets(spread, folder)
    assert second.notes == ("uber-zwei-hugel-nets-2.svg is left from an earlier run and not part of these nets",)


def test_letters_that_the_font_lacks_are_told(tmp_path):
    spread = assemble(
        parse_description(TEXT.replace("Über zwei Hügel", "折り Dvořák").replace("art_front", "# art_front"))
    )
    files = write_nets(spread, tmp_path / "nets")
    assert any('"折り Dvořák"' in note and '"?? Dvorák"' in note for note in files.notes)
    assert "折り Dvořák" in (tmp_path / "nets" / "dvorak-nets-1.svg").read_text(encoding="utf-8")


def test_artwork_lies_in_its_own_layer_clipped_and_embedded(spread, tmp_path):
    write_nets(spread, tmp_path / "nets")
    root = ET.parse(tmp_path / "nets" / "uber-zwei-hugel-nets-1.svg").getroot()
    svg = "{http://www.w3.org/2000/svg}"
    layer = next(group for group in root.iter(f"{svg}g") if group.get("data-class") == "art")
    (image,) = layer.iter(f"{svg}image")
    assert image.get("{http://www.w3.org/1999/xlink}href").startswith("data:image/png;base64,")
    assert (float(image.get("width")), float(image.get("height"))) == (216.0, 154.0)
    clips = {clip.get("id") for clip in root.iter(f"{svg}clipPath")}
    assert {group.get("clip-path") for group in layer.iter(f"{svg}g") if group.get("clip-path")} == {
        f"url(#{name})" for name in clips
    }
    assert not list(layer.iter(f"{svg}path"))


def test_no_path_of_this_machine_gets_into_the_files(spread, tmp_path):
    for path in write_nets(spread, tmp_path / "nets").paths:
        assert str(tmp_path).encode() not in path.read_bytes()


def test_characters_that_cannot_be_drawn_do_not_spoil_the_files(tmp_path):
    text = TEXT.replace("Über zwei Hügel", r"Two\u0000 hills\nand a <meadow> & more").replace(
        "art_front", "# art_front"
    )
    files = write_nets(assemble(parse_description(text)), tmp_path / "nets")
    root = ET.parse(files.paths[0]).getroot()
    words = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "Two hills and a <meadow> & more" in words
    assert files.notes == ()


SVG = "{http://www.w3.org/2000/svg}"


def svg_lengths(paths):
    """Length of cuts and creases by piece, copy and tile, from all SVG files."""
    found = {}
    for path in paths:
        for layer in ET.parse(path).getroot().iter(f"{SVG}g"):
            if layer.get("data-class") in ("cut", "mountain", "valley"):
                for group in layer.iter(f"{SVG}g"):
                    if (piece := group.get("data-piece")) is not None:
                        key = (piece, group.get("data-copy"), group.get("data-tile"), layer.get("data-class"))
                        assert key not in found, "one group a piece, copy and tile in each layer"
                        found[key] = sum(SvgPath(line.get("d")).length(error=1e-9) for line in group.iter(f"{SVG}path"))
    return found


def test_copies_are_told_apart_in_the_files(spread, tmp_path):
    plain = svg_lengths(write_nets(spread, tmp_path / "one", formats=("svg",)).paths)
    files = write_nets(spread, tmp_path / "three", formats=("svg", "dxf"), options=SheetOptions(copies=3))
    lengths = svg_lengths([path for path in files.paths if path.suffix == ".svg"])
    assert {key[:2] for key in lengths} == {(name, copy) for name in ("page", "hill") for copy in "123"}
    for (piece, _, tile, name), length in lengths.items():
        assert length == pytest.approx(plain[piece, None, tile, name], abs=1e-3)
    groups = [
        (name, group.dxf.description)
        for path in files.paths
        if path.suffix == ".dxf"
        for name, group in ezdxf.readfile(path).groups
    ]
    assert sorted(text for _, text in groups) == ["hill"] * 3 + ["page"] * 3
    assert {name.split("-", 1)[1] for name, _ in groups} == {
        f"{piece}-{copy}" for piece in ("hill", "page") for copy in "123"
    }
    assert files.sheets_of.keys() == {"page", "hill"}


def test_tiles_are_told_apart_in_the_files(tmp_path):
    spread = assemble(parse_description(TEXT.replace("A6", "A5").replace("art_front", "# art_front")))
    whole = svg_lengths(write_nets(spread, tmp_path / "whole", formats=("svg",)).paths)
    files = write_nets(spread, tmp_path / "tiles", sheet="A4", options=SheetOptions(tile=True))
    lengths = svg_lengths([path for path in files.paths if path.suffix == ".svg"])
    assert {key[2] for key in lengths if key[0] == "page"} == {"A1", "B1"}
    cuts = sum(length for key, length in lengths.items() if key[0] == "page" and key[3] == "cut")
    assert cuts == pytest.approx(whole["page", None, None, "cut"] + 2 * 10.0, abs=1e-3)
    assert files.sheet_of["page"] == files.sheets_of["page"][0]
    assert len(files.sheets_of["page"]) == 2
    for path in files.paths:
        if path.suffix == ".dxf":
            assert not ezdxf.readfile(path).audit().errors


@pytest.mark.parametrize("third", [0, 1, 2])
def test_no_file_is_new_or_changed_when_one_cannot_be_written(spread, tmp_path, monkeypatch, third):
    folder = tmp_path / "nets"
    first = write_nets(spread, folder)
    before = digests(folder)
    replace, calls = os.replace, []

    def refuse(source, target):
        calls.append(target)
        if target == first.paths[third] and calls.count(target) == 1:
            raise OSError(28, "No space left on device")
        replace(source, target)

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(FileError, match="No space left on device"):
        write_nets(spread, folder, options=SheetOptions(copies=2))
    assert len(calls) > third
    assert digests(folder) == before


def test_too_many_copies_are_refused_before_anything_is_written(spread, tmp_path):
    with pytest.raises(HingeleafError, match="1500 copies of 2 pieces are too many"):
        write_nets(spread, tmp_path / "nets", options=SheetOptions(copies=1500))
    assert not (tmp_path / "nets").exists()
