"""Artwork put on by hand stays with the .blend, wherever its files went, and comes out again beside the description."""

from pathlib import Path

import pytest

from tests.addon.painted_books import DESCRIPTION, picture, shown, text


@pytest.fixture
def book(bpy, tmp_path):
    file = tmp_path / "book" / "painted.toml"
    file.parent.mkdir()
    file.write_text(DESCRIPTION)
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    return bpy.context.view_layer.objects.active


@pytest.fixture
def activate(bpy, rig):
    def activate(root, panel):
        bpy.context.view_layer.objects.active = rig.panels(root)[panel]

    return activate


def test_artwork_from_elsewhere_is_packed_and_named(bpy, book, activate, rig, tmp_path):
    file = picture(tmp_path / "elsewhere" / "sky.png", (10, 200, 30))
    activate(book, "hill.left")
    assert bpy.ops.hingeleaf.assign_artwork(filepath=str(file), face="front") == {"FINISHED"}
    assert 'art_front = "art/sky.png"' in text(book)
    assert shown(rig.panels(book)["hill.right"]) == (10, 200, 30)
    assert shown(rig.panels(book)["page.left"]) is None
    image = bpy.data.images["sky.png"]
    assert image.packed_file is not None
    assert image["hingeleaf_file"] == "art/sky.png"
    assert Path(book["hingeleaf_folder"]) == tmp_path / "book"


def test_artwork_in_the_descriptions_folder_keeps_its_place(bpy, book, activate, tmp_path):
    file = picture(tmp_path / "book" / "paint" / "sky.png", (1, 2, 3))
    activate(book, "hill.left")
    bpy.ops.hingeleaf.assign_artwork(filepath=str(file), face="back")
    assert 'art_back = "paint/sky.png"' in text(book)


def test_pages_wear_one_picture(bpy, book, rig, tmp_path):
    file = picture(tmp_path / "meadow.png", (9, 90, 9))
    bpy.ops.hingeleaf.assign_artwork(filepath=str(file), on="PAGES")
    assert text(book).index('art_front = "art/meadow.png"') < text(book).index("[stock.card]")
    assert shown(rig.panels(book)["page.left"]) == shown(rig.panels(book)["step.left"]) == (9, 90, 9)


def test_a_strip_of_the_page_gets_the_pages_artwork(bpy, book, activate, tmp_path):
    activate(book, "step.left")
    bpy.ops.hingeleaf.assign_artwork(filepath=str(picture(tmp_path / "a.png", (1, 1, 1))))
    assert text(book).index("art/a.png") < text(book).index("[stock.card]")


def test_two_pictures_of_one_name(bpy, book, activate, rig, tmp_path):
    one, two = picture(tmp_path / "one" / "sky.png", (5, 5, 5)), picture(tmp_path / "two" / "sky.png", (7, 7, 7))
    activate(book, "hill.left")
    bpy.ops.hingeleaf.assign_artwork(filepath=str(one))
    bpy.ops.hingeleaf.assign_artwork(filepath=str(two), on="PAGES")
    bpy.ops.hingeleaf.assign_artwork(filepath=str(one), face="back")
    assert [text(book).count(f'"art/{name}"') for name in ("sky.png", "sky-2.png")] == [2, 1]
    assert shown(rig.panels(book)["hill.left"]) == shown(rig.panels(book)["hill.left"], 1) == (5, 5, 5)
    assert shown(rig.panels(book)["page.left"]) == (7, 7, 7)
    assert len(bpy.data.images) == 2


def test_the_blend_alone_carries_everything(bpy, book, activate, rig, tmp_path):
    """Saved, its files and folder gone, reopened: checks and nets have the artwork; a change keeps it."""
    import shutil

    activate(book, "hill.left")
    bpy.ops.hingeleaf.assign_artwork(filepath=str(picture(tmp_path / "sky.png", (10, 200, 30))))
    bpy.ops.hingeleaf.assign_artwork(filepath=str(picture(tmp_path / "book" / "own.png", (3, 4, 5))), on="PAGES")
    blend = tmp_path / "moved" / "book.blend"
    blend.parent.mkdir()
    bpy.ops.wm.save_as_mainfile(filepath=str(blend))
    shutil.rmtree(tmp_path / "book")
    (tmp_path / "sky.png").unlink()
    bpy.ops.wm.open_mainfile(filepath=str(blend))
    root = next(item for item in bpy.data.objects if "hingeleaf_description" in item)
    bpy.ops.hingeleaf.check_book()
    messages = [entry.message for entry in bpy.context.scene.hingeleaf.findings]
    assert not [message for message in messages if "not there" in message]
    out = tmp_path / "nets"
    bpy.ops.hingeleaf.write_nets(directory=str(out), formats={"svg"})
    assert sum(file.read_text().count("data:image/png") for file in out.rglob("*.svg")) >= 2
    activate(root, "hill.left")
    bpy.ops.hingeleaf.assign_artwork(filepath=str(picture(tmp_path / "back.png", (8, 8, 8))), face="back")
    panels = rig.panels(root)
    assert shown(panels["hill.left"]) == (10, 200, 30)
    assert shown(panels["page.left"]) == (3, 4, 5)
    assert shown(panels["hill.left"], 1) == (8, 8, 8)


def test_what_was_painted_over_in_blender_is_what_is_printed(bpy, book, activate, tmp_path):
    from PIL import Image

    activate(book, "hill.left")
    bpy.ops.hingeleaf.assign_artwork(filepath=str(picture(tmp_path / "book" / "sky.png", (10, 200, 30))))
    image = bpy.data.images["sky.png"]
    image.pixels[:] = [(index * 37 % 101) / 101 for index in range(len(image.pixels))]
    image.update()
    image.pack()
    target = tmp_path / "saved" / "new.toml"
    assert bpy.ops.hingeleaf.save_description(filepath=str(target)) == {"FINISHED"}
    with Image.open(target.parent / "sky.png") as saved:
        assert len(saved.getcolors(10000)) > 50


def test_saved_description_has_its_artwork_beside_it(bpy, book, activate, tmp_path):
    activate(book, "hill.left")
    bpy.ops.hingeleaf.assign_artwork(filepath=str(picture(tmp_path / "sky.png", (10, 200, 30))))
    target = tmp_path / "saved" / "new"
    assert bpy.ops.hingeleaf.save_description(filepath=str(target)) == {"FINISHED"}
    from geometry import read_description

    saved = read_description(tmp_path / "saved" / "new.toml")
    assert saved.text == text(book)
    assert Path(saved.mechanisms[0].values["art_front"]).read_bytes() == (tmp_path / "sky.png").read_bytes()
    assert (book["hingeleaf_source"], Path(book["hingeleaf_folder"])) == ("new.toml", tmp_path / "saved")
    assert bpy.ops.hingeleaf.reload_description() == {"FINISHED"}


def test_saving_leaves_other_pictures_alone_unless_told(bpy, book, activate, tmp_path):
    activate(book, "hill.left")
    bpy.ops.hingeleaf.assign_artwork(filepath=str(picture(tmp_path / "sky.png", (10, 200, 30))))
    other = picture(tmp_path / "saved" / "art" / "sky.png", (0, 0, 0)).read_bytes()
    target = tmp_path / "saved" / "new.toml"
    with pytest.raises(RuntimeError, match="Replace Artwork"):
        bpy.ops.hingeleaf.save_description(filepath=str(target))
    assert not target.exists()
    assert (tmp_path / "saved" / "art" / "sky.png").read_bytes() == other
    assert Path(book["hingeleaf_folder"]) == tmp_path / "book"
    bpy.ops.hingeleaf.save_description(filepath=str(target), replace=True)
    assert (tmp_path / "saved" / "art" / "sky.png").read_bytes() == (tmp_path / "sky.png").read_bytes()


def test_removed_and_undone(bpy, book, activate, rig, tmp_path):
    activate(book, "hill.left")
    plain = text(book)
    bpy.ops.ed.undo_push(message="base")
    file = picture(tmp_path / "sky.png", (10, 200, 30))
    bpy.ops.hingeleaf.assign_artwork("EXEC_DEFAULT", True, filepath=str(file))
    painted = text(book)
    bpy.ops.hingeleaf.remove_artwork("EXEC_DEFAULT", True)
    assert text(book) == plain
    assert shown(rig.panels(book)["hill.left"]) is None
    root_name = book.name
    file.unlink()
    bpy.ops.ed.undo()
    root = bpy.data.objects[root_name]
    assert text(root) == painted
    assert shown(rig.panels(root)["hill.left"]) == (10, 200, 30)
    bpy.ops.ed.undo()
    root = bpy.data.objects[root_name]
    assert text(root) == plain
    assert shown(rig.panels(root)["hill.left"]) is None


@pytest.mark.parametrize(
    ("panel", "file", "words"),
    [
        ("hill.left", "none.png", "cannot be read"),
        ("hill.left", "text.png", "no picture"),
        ("roof.left.support.wall", "sky.png", "no artwork of its own"),
        (None, "sky.png", "No panel is active"),
    ],
)
def test_what_cannot_be_is_said_and_changes_nothing(bpy, book, activate, tmp_path, panel, file, words):
    picture(tmp_path / "sky.png", (1, 1, 1))
    (tmp_path / "text.png").write_text("no picture")
    before = text(book)
    if panel:
        activate(book, panel)
    with pytest.raises(RuntimeError, match=words):
        bpy.ops.hingeleaf.assign_artwork(filepath=str(tmp_path / file))
    assert text(book) == before
    assert len(bpy.data.images) == 0


def test_removing_what_is_not_there(bpy, book, activate):
    activate(book, "hill.left")
    with pytest.raises(RuntimeError, match="no artwork on the back of hill"):
        bpy.ops.hingeleaf.remove_artwork(face="back")


def test_names_that_lead_out_of_the_folder_write_nothing_there(bpy, book, activate, tmp_path):
    """A .blend from elsewhere may hold any text and any picture."""
    activate(book, "hill.left")
    bpy.ops.hingeleaf.assign_artwork(filepath=str(picture(tmp_path / "sky.png", (1, 1, 1))))
    book["hingeleaf_description"] = text(book).replace("art/sky.png", "../../../planted.png")
    bpy.data.images["sky.png"]["hingeleaf_file"] = "../../../planted.png"
    with pytest.raises(RuntimeError, match="beside the description or in a folder below"):
        bpy.ops.hingeleaf.check_book()
    assert not list(Path(bpy.app.tempdir).parent.glob("planted.png"))
    assert not list(Path(bpy.app.tempdir).rglob("planted.png"))


@pytest.mark.parametrize("operator", ["save_description", "save_bound"])
def test_dialog_gives_the_name_of_a_description_its_ending(bpy, tmp_path, operator):
    """So that Blender asks about the file that would really be overwritten; a folder without a name stays one."""
    from functools import partial
    from types import SimpleNamespace

    from bl_ext.user_default.hingeleaf.operators import bind_save, save_description

    modules = {"save_description": save_description, "save_bound": bind_save}
    cls = getattr(modules[operator], f"HINGELEAF_OT_{operator}")
    assert getattr(bpy.ops.hingeleaf, operator).get_rna_type().properties["check_existing"].default
    for given, ended in {"new": "new.toml", "new.toml": "new.toml", "new.v2": "new.v2.toml", "": ""}.items():
        dialog = SimpleNamespace(filepath=f"{tmp_path}/{given}")
        dialog.ended = partial(cls.ended, dialog)
        assert cls.check(dialog, None) == (given != ended)
        assert dialog.filepath == f"{tmp_path}/{ended}"


@pytest.mark.parametrize("given", ["", "{folder}/"])
def test_a_description_without_a_name_is_not_saved(bpy, book, tmp_path, given):
    with pytest.raises(RuntimeError, match="Choose the file"):
        bpy.ops.hingeleaf.save_description(filepath=given.format(folder=tmp_path))
    assert not (tmp_path / ".toml").exists()
