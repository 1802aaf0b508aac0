"""A change of an artwork file on disk is shown without a click, without a step of undo, and only when it is whole."""

import os
import sys

import pytest

from tests.addon.conftest import MODULE
from tests.counting import calls_of
from tests.geometry.scene_texts import HILL, head

DESCRIPTION = head("Painted", "[100, 140]", page='art_front = "page.png"') + HILL + 'art_front = "art/hill.png"\n'
RED, GREEN, BLUE = (200, 30, 30), (30, 180, 60), (40, 60, 200)


def picture(file, color, size=(60, 40)):
    from PIL import Image

    file.parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", size, color).save(file)
    return file


@pytest.fixture
def watching(bpy):
    return sys.modules[f"{MODULE}.watching"]


@pytest.fixture
def look(bpy, watching):
    """Two looks, as a file must rest for two; the names read at either."""

    def look():
        first = watching.look_at_files(bpy.context) or ()
        return (*first, *(watching.look_at_files(bpy.context) or ()))

    return look


@pytest.fixture
def book(bpy, tmp_path, watching):
    file = tmp_path / "painted.toml"
    file.write_text(DESCRIPTION)
    picture(tmp_path / "page.png", RED)
    picture(tmp_path / "art" / "hill.png", GREEN)
    watching.forget_files(altogether=True)
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    return bpy.context.view_layer.objects.active


def image_of(item, slot=0):
    nodes = item.material_slots[slot].material.node_tree.nodes
    return next((node.image for node in nodes if node.type == "TEX_IMAGE"), None)


def shown(item, slot=0):
    image = image_of(item, slot)
    return None if image is None else tuple(round(255 * value) for value in image.pixels[:3])


def test_what_is_painted_over_on_disk_is_shown_after_two_looks(bpy, book, rig, watching, look, tmp_path):
    assert look() == ()
    panel = rig.panels(book)["hill.left"]
    image = image_of(panel)
    picture(tmp_path / "art" / "hill.png", BLUE, (90, 80))
    assert watching.look_at_files(bpy.context) == ()
    assert shown(panel) == GREEN
    assert watching.look_at_files(bpy.context) == ("art/hill.png",)
    assert shown(panel) == BLUE
    assert image_of(panel) == image
    assert tuple(image.size) == (90, 80)
    assert image.packed_file.data == (tmp_path / "art" / "hill.png").read_bytes()
    assert shown(rig.panels(book)["page.left"]) == RED
    assert look() == ()


def test_nothing_is_marked_where_nothing_changed(bpy, book, rig, look, tmp_path):
    """A file that is only touched, or saved again as it was, is read but not shown anew."""
    look()
    image = image_of(rig.panels(book)["hill.left"])
    before = dict(image.items())
    os.utime(tmp_path / "art" / "hill.png", (1, 1))
    assert look() == ()
    assert dict(image.items()) == before


@pytest.mark.parametrize("ending", ["png", "jpg"])
def test_half_a_file_is_not_read(bpy, book, rig, look, tmp_path, ending):
    file = tmp_path / "page.png"
    look()
    whole = picture(tmp_path / f"new.{ending}", BLUE, (400, 300)).read_bytes()
    for part in (b"", whole[:20], whole[: len(whole) // 2], whole[:-20]):
        file.write_bytes(part)
        assert look() == ()
        assert shown(rig.panels(book)["page.left"]) == RED
    file.write_bytes(whole)
    assert look() == ("page.png",)
    assert shown(rig.panels(book)["page.left"]) == pytest.approx(BLUE, abs=2)


def test_a_file_that_still_grows_is_waited_for(bpy, book, watching, tmp_path):
    """Whole at every look, as when a program writes it again and again: read once it rests."""
    watching.look_at_files(bpy.context), watching.look_at_files(bpy.context)
    for size in (50, 60, 70):
        picture(tmp_path / "page.png", BLUE, (size, size))
        assert watching.look_at_files(bpy.context) == ()
    assert watching.look_at_files(bpy.context) == ("page.png",)


def test_what_is_gone_stays_as_it_was_and_is_a_finding(bpy, book, rig, look, tmp_path):
    look()
    (tmp_path / "art" / "hill.png").unlink()
    assert look() == ()
    assert shown(rig.panels(book)["hill.left"]) == GREEN
    bpy.ops.hingeleaf.check_book()
    found = [entry for entry in bpy.context.scene.hingeleaf.findings if "hill.png" in entry.message]
    assert [entry.severity for entry in found if "gone" in entry.message] == ["note"]
    picture(tmp_path / "art" / "hill.png", BLUE)
    assert look() == ("art/hill.png",)
    assert shown(rig.panels(book)["hill.left"]) == BLUE


def test_what_comes_later_is_put_on(bpy, rig, look, watching, tmp_path):
    file = tmp_path / "painted.toml"
    file.write_text(DESCRIPTION)
    picture(tmp_path / "page.png", RED)
    bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False)
    root = bpy.context.view_layer.objects.active
    assert shown(rig.panels(root)["hill.left"]) is None
    look()
    picture(tmp_path / "art" / "hill.png", GREEN)
    assert look() == ("art/hill.png",)
    assert shown(rig.panels(root)["hill.left"]) == GREEN


def test_no_step_of_undo_and_an_undo_brings_nothing_old_back_for_long(bpy, book, rig, look, tmp_path):
    name = book.name
    bpy.ops.ed.undo_push(message="base")
    book.hingeleaf.index = 0
    book.hingeleaf.v_fold.height = 45.0
    bpy.ops.ed.undo_push(message="size")
    look()
    picture(tmp_path / "page.png", BLUE)
    assert look() == ("page.png",)
    bpy.ops.ed.undo()
    root = bpy.data.objects[name]
    # The size went back: the picture made no step of its own that would have gone first.
    assert "height = 50" in root["hingeleaf_description"]
    look()
    assert shown(rig.panels(root)["page.left"]) == BLUE


def test_an_undo_to_a_step_with_the_old_picture_shows_the_new_one(bpy, book, rig, look, tmp_path):
    name = book.name
    look()
    bpy.ops.ed.undo_push(message="with the old one")
    picture(tmp_path / "page.png", BLUE)
    assert look() == ("page.png",)
    book.hingeleaf.index = 0
    book.hingeleaf.v_fold.height = 45.0
    bpy.ops.ed.undo_push(message="with the new one")
    bpy.ops.ed.undo()
    # Blender has brought the old bytes back; the next looks bring what is on disk.
    assert shown(rig.panels(bpy.data.objects[name])["page.left"]) == RED
    assert look() == ("page.png",)
    assert shown(rig.panels(bpy.data.objects[name])["page.left"]) == BLUE


def test_painted_in_blender_stays(bpy, book, rig, look, tmp_path):
    look()
    image = image_of(rig.panels(book)["page.left"])
    image.pixels[:] = [0.5] * len(image.pixels)
    picture(tmp_path / "page.png", BLUE)
    assert look() == ()
    assert shown(rig.panels(book)["page.left"]) == (128, 128, 128)


def test_changed_while_the_blend_was_closed(bpy, book, rig, look, tmp_path):
    blend = tmp_path / "book.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(blend))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    picture(tmp_path / "page.png", BLUE)
    bpy.ops.wm.open_mainfile(filepath=str(blend))
    root = next(item for item in bpy.data.objects if "hingeleaf_description" in item)
    assert look() == ("page.png",)
    assert shown(rig.panels(root)["page.left"]) == BLUE


def test_artwork_from_elsewhere_is_watched_where_it_is(bpy, book, rig, look, tmp_path_factory):
    file = picture(tmp_path_factory.mktemp("elsewhere") / "sky.png", BLUE)
    bpy.context.view_layer.objects.active = rig.panels(book)["hill.left"]
    bpy.ops.hingeleaf.assign_artwork(filepath=str(file), face="back")
    look()
    picture(file, RED)
    assert look() == ("art/sky.png",)
    assert shown(rig.panels(book)["hill.left"], 1) == RED


def test_lying_pictures_are_shown_upright_and_stay_so(bpy, book, rig, look, tmp_path):
    """Blender ignores how a camera was held; the model must agree with the print, which does not."""
    from PIL import Image

    def lying(left, right):
        image = Image.new("RGB", (80, 40), left)
        image.paste(right, (40, 0, 80, 40))
        exif = Image.Exif()
        exif[0x0112] = 6
        image.save(tmp_path / "page.png", exif=exif)

    look()
    lying(RED, BLUE)
    assert look() == ("page.png",)
    image = image_of(rig.panels(book)["page.left"])
    assert tuple(image.size) == (40, 80)
    # Turned to the right, the left of the file is above; Blender's first pixels are the lowest.
    assert shown(rig.panels(book)["page.left"]) == BLUE
    assert look() == ()
    bpy.ops.hingeleaf.reload_description()
    assert shown(rig.panels(book)["page.left"]) == BLUE
    lying(GREEN, RED)
    assert look() == ("page.png",)
    assert shown(rig.panels(book)["page.left"]) == RED


def test_a_lying_picture_is_upright_when_it_is_assigned(bpy, book, rig, tmp_path):
    from PIL import Image

    image = Image.new("RGB", (80, 40), RED)
    image.paste(BLUE, (40, 0, 80, 40))
    exif = Image.Exif()
    exif[0x0112] = 8
    image.save(tmp_path / "lying.png", exif=exif)
    bpy.ops.hingeleaf.assign_artwork(filepath=str(tmp_path / "lying.png"), on="PAGES", face="back")
    shows = image_of(rig.panels(book)["page.left"], 1)
    assert tuple(shows.size) == (40, 80)
    # Turned to the left, the left of the file is below, where Blender begins.
    assert shown(rig.panels(book)["page.left"], 1) == RED


def test_without_artwork_there_is_nothing_to_look_at(bpy, open_scene, watching):
    open_scene()
    assert watching.look_at_files(bpy.context) is None


def test_no_timer_runs_in_the_background(bpy, watching):
    assert not bpy.app.timers.is_registered(watching._look)
    watching.start_looking()
    assert bpy.app.timers.is_registered(watching._look) == (not bpy.app.background)
    watching.stop_looking()
    assert not bpy.app.timers.is_registered(watching._look)


def test_a_look_costs_little(bpy, book, watching):
    """Of a book at rest: a state of each file, and nothing that takes longer."""
    for _ in range(3):
        watching.look_at_files(bpy.context)
    names, calls = calls_of(watching.look_at_files, bpy.context)
    assert names == ()
    # A hundred a file; to read one takes many more.
    assert calls < 400
