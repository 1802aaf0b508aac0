"""The nets operator writes the core's files."""

import re
import xml.etree.ElementTree as ElementTree

import pytest


def test_nets_of_all_formats(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml")
    assert bpy.ops.hingeleaf.write_nets(directory=str(tmp_path / "nets")) == {"FINISHED"}
    names = {re.sub(r".*-(nets|cutting|assembly)", r"\1", path.name) for path in (tmp_path / "nets").iterdir()}
    assert names == {"nets.pdf", "assembly.pdf"} | {
        f"{kind}-1.{ending}" for kind in ("nets", "cutting") for ending in ("svg", "dxf")
    }
    svg = next((tmp_path / "nets").glob("*-nets-1.svg"))
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


def test_nets_as_a_shop_wants_them(bpy, open_scene, tmp_path):
    """Every choice beside the folder reaches the files."""
    open_scene("scenes/v-fold.toml")
    chosen = {"sheet": "OTHER", "other_sheet": "148x210", "formats": {"svg", "cutting"}, "tile": True, "overlap": 12}
    chosen |= {"margin": 5, "gap": 4, "bleed": 2, "dimensions": True, "crease": "dashes", "nicks": 0.4, "grain": "long"}
    assert bpy.ops.hingeleaf.write_nets(directory=str(tmp_path), **chosen) == {"FINISHED"}
    sheets = [ElementTree.parse(path).getroot() for path in sorted(tmp_path.glob("*-nets-*.svg"))]
    assert all(sorted((root.get("width"), root.get("height"))) == ["148mm", "210mm"] for root in sheets)
    tiles = {group.get("data-tile") for root in sheets for group in root.iter() if group.get("data-tile")}
    assert {"A1", "B1"} <= tiles
    assert any("height" in (text.text or "") for root in sheets for text in root.iter() if text.tag.endswith("text"))
    cutting = [ElementTree.parse(path).getroot() for path in sorted(tmp_path.glob("*-cutting-*.svg"))]
    layers = [group.get("id") for root in cutting for group in root.iter() if group.get("data-class")]
    assert "step-1" in layers
    outlines = [path.get("d") for root in cutting for path in list(root)[-1].iter() if path.tag.endswith("path")]
    assert outlines
    assert not any(data.endswith("Z") for data in outlines)


def test_another_size_that_is_none(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml")
    with pytest.raises(RuntimeError, match="Write the size of the sheets"):
        bpy.ops.hingeleaf.write_nets(directory=str(tmp_path), sheet="OTHER")
    with pytest.raises(RuntimeError, match="is not known"):
        bpy.ops.hingeleaf.write_nets(directory=str(tmp_path), sheet="OTHER", other_sheet="large")
    assert not list(tmp_path.iterdir())


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
