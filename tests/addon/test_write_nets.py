"""The nets operator writes the core's files."""

import xml.etree.ElementTree as ElementTree

import pytest


def test_nets_of_all_formats(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml")
    assert bpy.ops.hingeleaf.write_nets(directory=str(tmp_path / "nets")) == {"FINISHED"}
    files = sorted(path.suffix for path in (tmp_path / "nets").iterdir())
    assert {".svg", ".pdf", ".dxf"} == set(files)
    svg = next((tmp_path / "nets").glob("*.svg"))
    pieces = {group.get("data-piece") for group in ElementTree.parse(svg).iter() if group.get("data-piece")}
    assert "page" in pieces


def test_nets_of_one_format_on_a_given_sheet(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml")
    assert bpy.ops.hingeleaf.write_nets(directory=str(tmp_path), sheet="A2", formats={"svg"}) == {"FINISHED"}
    files = list(tmp_path.iterdir())
    assert files
    assert {path.suffix for path in files} == {".svg"}
    sides = sorted(ElementTree.parse(files[0]).getroot().get(name) for name in ("width", "height"))
    assert sides == ["420mm", "594mm"]


def test_nets_into_a_place_that_is_no_folder(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml")
    file = tmp_path / "file"
    file.write_text("in the way")
    with pytest.raises(RuntimeError, match="file"):
        bpy.ops.hingeleaf.write_nets(directory=str(file))
    assert file.read_text() == "in the way"


def test_nets_change_nothing_in_the_file(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml")
    before = {item.name for item in bpy.data.objects}
    bpy.ops.hingeleaf.write_nets(directory=str(tmp_path))
    assert {item.name for item in bpy.data.objects} == before
