"""The templates operator writes the core's files, of all pieces or of the selected one."""

import pytest


def names(folder):
    return {path.name for path in folder.iterdir()}


def test_templates_of_every_piece(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml")
    assert bpy.ops.hingeleaf.write_templates(directory=str(tmp_path / "new"), dpi=72) == {"FINISHED"}
    assert names(tmp_path / "new") == {
        f"{piece}-{face}-template.{ending}"
        for piece in ("page", "fold")
        for face in ("front", "back")
        for ending in ("png", "svg")
    }


def test_choices_reach_the_files(bpy, open_scene, rig, tmp_path):
    from PIL import Image

    root = open_scene("scenes/v-fold.toml")
    bpy.context.view_layer.objects.active = rig.panels(root)["fold.left"]
    chosen = {"dpi": 150, "formats": {"white"}, "selected": True, "test_card": True}
    assert bpy.ops.hingeleaf.write_templates(directory=str(tmp_path), **chosen) == {"FINISHED"}
    kinds = ("template-on-white.png", "test-card.png", "test-card.json")
    assert names(tmp_path) == {f"fold-{face}-{kind}" for face in ("front", "back") for kind in kinds}
    with Image.open(tmp_path / "fold-front-test-card.png") as image:
        assert image.info["dpi"] == pytest.approx((150, 150), abs=0.02)


def test_the_selected_piece_of_nothing_selected(bpy, open_scene, tmp_path):
    root = open_scene("scenes/v-fold.toml")
    bpy.context.view_layer.objects.active = root
    with pytest.raises(RuntimeError, match="Select a panel"):
        bpy.ops.hingeleaf.write_templates(directory=str(tmp_path), selected=True)
    assert not names(tmp_path)


def test_what_cannot_be_written_is_said(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml")
    with pytest.raises(RuntimeError, match="Choose the folder"):
        bpy.ops.hingeleaf.write_templates()
    with pytest.raises(RuntimeError, match="at least one kind"):
        bpy.ops.hingeleaf.write_templates(directory=str(tmp_path), formats=set())
    with pytest.raises(RuntimeError, match="more than programs open; at most"):
        bpy.ops.hingeleaf.write_templates(directory=str(tmp_path), dpi=2400)
    file = tmp_path / "file"
    file.write_text("in the way")
    with pytest.raises(RuntimeError, match="file"):
        bpy.ops.hingeleaf.write_templates(directory=str(file), dpi=72)
    assert names(tmp_path) == {"file"}
    assert file.read_text() == "in the way"


def test_without_a_book_it_is_not_offered(bpy):
    assert not bpy.ops.hingeleaf.write_templates.poll()


def test_it_changes_nothing_in_the_file(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml")
    before = {item.name for item in bpy.data.objects}, len(bpy.data.images)
    bpy.ops.hingeleaf.write_templates(directory=str(tmp_path), dpi=72)
    assert ({item.name for item in bpy.data.objects}, len(bpy.data.images)) == before


def test_a_bound_book_has_a_folder_a_spread_and_one_for_its_boards(bpy, tmp_path):
    import shutil
    from pathlib import Path

    scenes = Path(__file__).resolve().parents[2] / "scenes"
    for name in ("v-fold", "tent"):
        shutil.copy(scenes / f"{name}.toml", tmp_path)
    spreads = "".join(f'[[spread]]\nfile = "{name}.toml"\n' for name in ("v-fold", "tent"))
    (tmp_path / "book.toml").write_text(f'format = 1\ntitle = "Two"\n{spreads}')
    assert bpy.ops.hingeleaf.open_description(filepath=str(tmp_path / "book.toml")) == {"FINISHED"}
    out = tmp_path / "out"
    assert bpy.ops.hingeleaf.write_templates(directory=str(out), dpi=72, formats={"svg"}) == {"FINISHED"}
    assert names(out) == {"1-v-fold", "2-tent", "cover"}
    assert names(out / "cover") == {"cover-front-template.svg", "cover-back-template.svg"}
    one = tmp_path / "one"
    assert bpy.ops.hingeleaf.write_templates(directory=str(one), dpi=72, formats={"svg"}, whole_book=False) == {
        "FINISHED"
    }
    assert "page-front-template.svg" in names(one)
