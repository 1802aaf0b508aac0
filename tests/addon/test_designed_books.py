"""What is done to a designed book beside designing it, by hand or with files, leaves it whole."""

import pytest

from tests.addon.designs import assert_same, book_of, kinds, sizes, standing, text_of


def test_what_a_user_did_to_a_book_stays(bpy, new_book, add):
    root = new_book()
    add("v-fold", at=110)
    root.location = (1.0, 2.0, 3.0)
    root["opening"] = 120.0
    root.keyframe_insert('["opening"]', frame=5)
    panel = next(item for item in root.children_recursive if item.get("hingeleaf_panel") == "v-fold.left")
    lamp = bpy.data.objects.new("Lamp", bpy.data.lights.new("Lamp", "POINT"))
    bpy.context.scene.collection.objects.link(lamp)
    lamp.parent = panel
    sizes(root, "v-fold").height = 39.0
    assert tuple(root.location) == (1.0, 2.0, 3.0)
    assert root["opening"] == 120.0
    assert root.animation_data.action is not None
    assert lamp.parent == panel


def test_two_books_do_not_mix(bpy, new_book, add):
    new_book(title="One")
    add("v-fold", at=110)
    one = bpy.data.objects["One"]
    bpy.ops.hingeleaf.new_book(title="Two", studio=False, alone=False)
    add("tent", at=60)
    assert list(kinds(one)) == ["v-fold"]
    assert list(kinds(bpy.data.objects["Two"])) == ["tent"]
    text = bpy.data.objects["Two"]["hingeleaf_description"]
    sizes(one, "v-fold").height = 33.0
    assert bpy.data.objects["Two"]["hingeleaf_description"] == text


def test_saved_reopened_appended_and_linked(bpy, new_book, add, tmp_path):
    new_book()
    add("v-fold", at=110)
    add("slit-cut-in", "v-fold.middle", at=20)
    text, places = text_of(bpy), standing(bpy)
    file = str(tmp_path / "yard.blend")
    bpy.ops.wm.save_as_mainfile(filepath=file)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with bpy.data.libraries.load(file, link=False) as (there, here):
        here.collections = [name for name in there.collections if name == "Yard"]
    bpy.context.scene.collection.children.link(here.collections[0])
    bpy.context.view_layer.update()
    assert text_of(bpy) == text
    assert_same(standing(bpy), places)
    sizes(book_of(bpy), "v-fold").height = 41.0
    assert "height = 41" in text_of(bpy), "an appended book can be changed"

    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with bpy.data.libraries.load(file, link=True) as (there, here):
        here.collections = [name for name in there.collections if name == "Yard"]
    bpy.context.scene.collection.children.link(here.collections[0])
    bpy.context.view_layer.update()
    with pytest.raises(RuntimeError, match="Make Book Local"):
        bpy.ops.hingeleaf.delete_mechanism(mechanism="slit-cut-in")
    assert bpy.ops.hingeleaf.make_book_local() == {"FINISHED"}
    assert text_of(bpy) == text
    assert_same(standing(bpy), places)
    sizes(book_of(bpy), "v-fold").height = 42.0
    assert "height = 42" in text_of(bpy)


def test_disabled_and_enabled_again(bpy, new_book, add):
    new_book()
    add("v-fold", at=110)
    text, places = text_of(bpy), standing(bpy)
    module = "bl_ext.user_default.hingeleaf"
    bpy.ops.preferences.addon_disable(module=module)
    assert not hasattr(bpy.types.Object, "hingeleaf")
    assert text_of(bpy) == text
    assert_same(standing(bpy), places)
    bpy.ops.preferences.addon_enable(module=module)
    root = book_of(bpy)
    assert text_of(bpy) == text
    assert kinds(root) == {"v-fold": "v-fold"}
    sizes(root, "v-fold").height = 36.0
    assert "height = 36" in text_of(bpy)


def test_a_file_without_the_list_gets_it(bpy, new_book, add, tmp_path):
    """Files that an earlier version saved have no list of mechanisms."""
    root = new_book()
    add("v-fold", at=110)
    root.hingeleaf.entries.clear()
    file = str(tmp_path / "old.blend")
    bpy.ops.wm.save_as_mainfile(filepath=file)
    bpy.ops.wm.open_mainfile(filepath=file)
    assert kinds(book_of(bpy)) == {"v-fold": "v-fold"}


def test_a_text_that_cannot_be_read_is_said(bpy, new_book, add):
    root = new_book()
    add("v-fold", at=110)
    root["hingeleaf_description"] = "format = 7\n"
    with pytest.raises(RuntimeError, match="page: is missing"):
        bpy.ops.hingeleaf.delete_mechanism(mechanism="v-fold")
    assert root["hingeleaf_description"] == "format = 7\n"


def panel(root, name):
    return next(item for item in root.children_recursive if item.get("hingeleaf_panel") == name)


def test_a_copied_panel_is_no_panel_of_the_book(bpy, new_book, add):
    root = new_book()
    add("v-fold", at=110)
    copy = panel(root, "v-fold.right").copy()
    root.users_collection[0].objects.link(copy)
    before = standing(bpy)
    sizes(root, "v-fold").height = 40.0
    sizes(root, "v-fold").height = before and 44.0
    assert "hingeleaf_panel" not in copy
    names = [item["hingeleaf_panel"] for item in root.children_recursive if "hingeleaf_panel" in item]
    assert len(names) == len(set(names))


def test_panels_deleted_by_hand_come_back_with_the_next_change(bpy, new_book, add):
    root = new_book()
    add("v-fold", at=110)
    add("slit-cut-in", "v-fold.middle", at=20)
    whole = standing(bpy)
    for name in ("v-fold.left", "v-fold.right"):
        bpy.data.objects.remove(panel(root, name))
    bpy.context.view_layer.update()
    root.hingeleaf.index = 0
    height = root.hingeleaf.v_fold.height
    root.hingeleaf.v_fold.height = height + 1.0
    root.hingeleaf.v_fold.height = height
    assert_same(standing(bpy), whole)
    left = [item for item in root.users_collection[0].all_objects if "hingeleaf_panel" in item]
    assert len(left) == len(whole), "nothing is left over"


def test_nothing_changes_while_a_panel_is_in_edit_mode(bpy, new_book, add):
    root = new_book()
    add("v-fold", at=110)
    text = text_of(bpy)
    live = sizes(root, "v-fold")
    bpy.context.view_layer.objects.active = panel(root, "v-fold.left")
    bpy.ops.object.mode_set(mode="EDIT")
    live.height = 44.0
    assert "Edit Mode" in bpy.context.window_manager.hingeleaf.refusal
    bpy.ops.object.mode_set(mode="OBJECT")
    assert text_of(bpy) == text
    live.height = 44.0
    assert "height = 44" in text_of(bpy)


def test_other_cameras_and_names_of_ones_own_stay(bpy, new_book, add):
    root = new_book(studio=True)
    camera = bpy.data.objects.new("Camera", bpy.data.cameras.new("Camera"))
    bpy.context.scene.collection.objects.link(camera)
    camera.parent = root
    root.name = "My Root"
    bpy.ops.hingeleaf.change_pages(title="Yard", size="A4", margin=5, grammage=250)
    assert camera.name in bpy.data.objects
    assert root.name == "My Root"
    add("v-fold", at=110)
    assert root.name == "My Root"


def test_the_root_deleted_after_a_check_is_no_book_any_more(bpy, new_book, add):
    root = new_book()
    add("v-fold", at=110)
    bpy.ops.hingeleaf.check_book()
    panel_object = panel(root, "v-fold.left")
    root.users_collection[0].objects.unlink(root)
    bpy.context.view_layer.update()
    bpy.context.view_layer.objects.active = panel_object
    with pytest.raises(RuntimeError, match="Make a new book"):
        bpy.ops.hingeleaf.delete_mechanism(mechanism="v-fold")
