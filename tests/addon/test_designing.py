"""Designing a book in Blender: new books, mechanisms, live sizes, handles, arranging; and that nothing is half done."""

from types import SimpleNamespace

import numpy as np
import pytest

from geometry import assemble, parse_description
from tests.addon.designs import assert_same, book_of, push, standing, text_of


def kinds(root):
    return {entry.name: entry.kind for entry in root.hingeleaf.entries}


def sizes(root, mechanism):
    """The live sizes of a mechanism, made the active one."""
    names = [entry.name for entry in root.hingeleaf.entries]
    root.hingeleaf.index = names.index(mechanism)
    assert root.hingeleaf.active == mechanism
    return getattr(root.hingeleaf, root.hingeleaf.entries[mechanism].kind.replace("-", "_"))


@pytest.fixture
def new_book(bpy):
    """A book with an empty spread, and a step of undo to go back to."""

    def new_book(**given):
        push(bpy, "start")
        given = {"title": "Yard", "studio": False} | given
        assert bpy.ops.hingeleaf.new_book("EXEC_DEFAULT", True, **given) == {"FINISHED"}
        return book_of(bpy)

    return new_book


@pytest.fixture
def add(bpy):
    """Add a mechanism as a click would."""

    def add(kind, fold="spine", **given):
        assert bpy.ops.hingeleaf.add_mechanism("EXEC_DEFAULT", True, kind=kind, fold=fold, **given) == {"FINISHED"}
        return book_of(bpy).hingeleaf.active

    return add


def test_a_new_book_is_its_description(bpy, new_book):
    root = new_book(size="OTHER", width=130, height=180, margin=4, grammage=300, color=(1.0, 0.5, 0.0))
    description = parse_description(root["hingeleaf_description"])
    assert (description.page.width_mm, description.page.height_mm, description.page.margin_mm) == (130, 180, 4)
    stock = description.stocks["card"]
    assert stock.grammage_gsm == 300
    assert stock.color == pytest.approx((1.0, 0.5, 0.0), abs=0.005)
    assert {item["hingeleaf_panel"] for item in root.children_recursive if "hingeleaf_panel" in item} == {
        "page.left",
        "page.right",
    }
    with pytest.raises(RuntimeError, match="margin"):
        bpy.ops.hingeleaf.new_book(title="No Page Left", margin=150, studio=False)
    with pytest.raises(RuntimeError, match="title"):
        bpy.ops.hingeleaf.new_book(title="  ", studio=False)
    assert sum(item.get("hingeleaf_description") is not None for item in bpy.data.objects) == 1


def test_what_is_added_stands_and_passes_every_check(bpy, new_book, add):
    new_book()
    add("v-fold", at=110)
    add("slit-cut-in", "v-fold.middle", at=20)
    add("platform", at=40)
    root = book_of(bpy)
    assert kinds(root) == {"v-fold": "v-fold", "slit-cut-in": "slit-cut-in", "platform": "platform"}
    assert bpy.context.view_layer.objects.active["hingeleaf_panel"].startswith("platform")
    bpy.ops.hingeleaf.check_book()
    found = bpy.context.scene.hingeleaf.findings
    assert not [finding.message for finding in found if finding.severity != "note"]
    with pytest.raises(RuntimeError, match="fold"):
        add("tent", "no-such-fold")
    assert list(kinds(book_of(bpy))) == ["v-fold", "slit-cut-in", "platform"]


def test_a_rider_is_added_on_a_panel_and_a_strap_between_two(bpy, new_book, add):
    new_book()
    add("v-fold", at=110)
    bpy.ops.hingeleaf.add_mechanism(kind="rider", panel="page.right", point=(80, 60))
    rider = next(spec for spec in parse_description(text_of(bpy)).mechanisms if spec.kind == "rider")
    assert rider.values["panel"] == "page.right"


def test_objects_follow_the_text(bpy, new_book, add, tmp_path):
    """After many changes in place every object stands where a book opened afresh has it."""
    new_book()
    add("v-fold", at=110)
    add("slit-cut-in", "v-fold.middle", at=20)
    add("tent", at=40)
    root = book_of(bpy)
    sizes(root, "v-fold").height = 48.0
    sizes(root, "tent").length = 31.5
    bpy.ops.hingeleaf.mirror_mechanism(mechanism="v-fold")
    bpy.ops.hingeleaf.duplicate_mechanism(mechanism="tent")
    bpy.ops.hingeleaf.rename_mechanism(mechanism="tent", name="barn")
    bpy.ops.hingeleaf.delete_mechanism(mechanism="slit-cut-in")
    places, text = standing(bpy), text_of(bpy)
    spread = assemble(parse_description(text))
    assert sorted(places) == sorted(spread.panels)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    file = tmp_path / "yard.toml"
    file.write_text(text)
    bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False)
    assert_same(standing(bpy), places)


def test_sizes_read_and_write_the_description(bpy, new_book, add):
    root = new_book()
    add("v-fold", at=110)
    live = sizes(root, "v-fold")
    live.height = 44.25
    assert "height = 44.25" in text_of(bpy)
    assert live.width == pytest.approx(44.25), "what nobody gave follows"
    live.angle = np.radians(50.0)
    assert "angle = 50" in text_of(bpy)
    assert live.crease_angle == pytest.approx(np.radians(90.0))
    live.tab = "outer"
    assert 'tab = "outer"' in text_of(bpy)
    assert not live.angle_apart
    live.angle_apart = True
    live.angle_left = np.radians(55.0)
    assert "angle_left = 55" in text_of(bpy)
    assert live.angle_right == pytest.approx(np.radians(50.0))
    live.angle_apart = False
    assert "angle_left" not in text_of(bpy)
    bpy.ops.hingeleaf.reset_size(key="tab")
    assert "tab =" not in text_of(bpy)
    live.title = "Gate"
    assert 'title = "Gate"' in text_of(bpy)


def test_a_size_that_cannot_be_is_refused(bpy, new_book, add):
    root = new_book()
    add("v-fold", at=110)
    moment = bpy.context.window_manager.hingeleaf
    live, text, places = sizes(root, "v-fold"), text_of(bpy), standing(bpy)
    live.at = 400.0
    assert text_of(bpy) == text
    assert live.at == pytest.approx(110.0)
    assert "spine runs from 0 to 210" in moment.refusal
    assert_same(standing(bpy), places)
    live.height = 40.0
    assert moment.refusal == ""


def test_a_drag_in_a_large_book_is_finished_as_the_whole(bpy, new_book, add):
    new_book(size="A4")
    for number in range(8):
        add("tent", at=15 + 33 * number)
    root = book_of(bpy)
    names = list(kinds(root))
    assert len(names) == 8
    sizes(root, names[3]).length = 20.0
    assert root["hingeleaf_changing"], "only a part is built at once"
    seen = standing(bpy)
    bpy.ops.hingeleaf.check_book()
    assert not root["hingeleaf_changing"], "whatever speaks of the book builds the whole first"
    after = standing(bpy)
    for name in seen:
        if name.startswith(names[3]):
            assert np.abs(seen[name] - after[name]).max() < 0.5, "what is dragged is shown to within half a mm"


def test_a_handle_is_one_step_of_undo(bpy, new_book, add):
    new_book()
    add("v-fold", at=110)
    before = text_of(bpy)
    for handle, value in (("height", 37.5), ("angle", 52.0), ("at", 95.0)):
        bpy.ops.hingeleaf.drag_size("EXEC_DEFAULT", True, mechanism="v-fold", handle=handle, value=value)
    assert all(said in text_of(bpy) for said in ("height = 37.5", "angle = 52", "at = 95"))
    for _ in range(3):
        bpy.ops.ed.undo()
    assert text_of(bpy) == before
    for _ in range(3):
        bpy.ops.ed.redo()
    assert "at = 95" in text_of(bpy)
    with pytest.raises(RuntimeError, match="no handle"):
        bpy.ops.hingeleaf.drag_size(mechanism="v-fold", handle="nothing", value=1.0)


def test_deleting_takes_what_stands_on_it_and_undo_brings_all_back(bpy, new_book, add):
    new_book()
    add("v-fold", at=110)
    add("slit-cut-in", "v-fold.middle", at=20)
    text, places = text_of(bpy), standing(bpy)
    bpy.ops.hingeleaf.delete_mechanism("EXEC_DEFAULT", True, mechanism="v-fold")
    assert kinds(book_of(bpy)) == {}
    assert len(standing(bpy)) == 2
    bpy.ops.ed.undo()
    assert text_of(bpy) == text
    assert_same(standing(bpy), places)


def test_another_fold(bpy, new_book, add):
    new_book()
    add("v-fold", at=120)
    name = add("v-fold", at=50)
    bpy.ops.hingeleaf.rehost_mechanism(mechanism=name, fold="v-fold.left", side="outer", at=12)
    spec = next(spec for spec in parse_description(text_of(bpy)).mechanisms if spec.id == name)
    assert spec.values["fold"] == "v-fold.left"
    with pytest.raises(RuntimeError):
        bpy.ops.hingeleaf.rehost_mechanism(mechanism="v-fold", fold=f"{name}.middle", at=5)


def test_pages_change_and_the_studio_with_them(bpy, new_book, add):
    root = new_book(studio=True)
    add("v-fold", at=110)
    camera = next(item for item in root.children_recursive if item.type == "CAMERA")
    before = camera.location.copy()
    bpy.ops.hingeleaf.change_pages(title="Orchard", size="A4", margin=6, grammage=250)
    root = book_of(bpy)
    assert root.name == "Orchard"
    assert 'size = "A4"' in text_of(bpy)
    cameras = [item for item in root.children_recursive if item.type == "CAMERA"]
    assert len(cameras) == 1
    assert (cameras[0].location - before).length > 0.05


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


def check_too_high_a_tower(bpy, tmp_path):
    """Open and check a book whose v-fold looks out of the page, for which there is a remedy."""
    file = tmp_path / "book.toml"
    file.write_text(
        'format = 1\n[page]\nsize = "A6"\n[stock.card]\n[[mechanism]]\nkind = "v-fold"\nid = "tower"\n'
        'fold = "spine"\nat = 100\nangle = 60\nheight = 90\n'
    )
    bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False)
    bpy.ops.hingeleaf.check_book()


def test_a_remedy_is_applied(bpy, tmp_path):
    check_too_high_a_tower(bpy, tmp_path)
    check = bpy.context.scene.hingeleaf
    index = next(number for number, finding in enumerate(check.findings) if finding.mending)
    message = check.findings[index].message
    assert bpy.ops.hingeleaf.apply_remedy(index=index) == {"FINISHED"}
    assert message not in [finding.message for finding in check.findings]
    assert check.book == book_of(bpy)
    none = [number for number, finding in enumerate(check.findings) if not finding.mending]
    for number in none[:1]:
        with pytest.raises(RuntimeError, match="No remedy"):
            bpy.ops.hingeleaf.apply_remedy(index=number)


def test_a_remedy_for_a_book_that_has_changed_since_is_refused(bpy, tmp_path):
    """It would move what was mended by hand."""
    from bl_ext.user_default.hingeleaf import designing

    check_too_high_a_tower(bpy, tmp_path)
    check, root = bpy.context.scene.hingeleaf, book_of(bpy)
    index = next(number for number, finding in enumerate(check.findings) if finding.mending)
    designing.change_sizes(bpy.context, root, "tower", {"height": 30.0})
    designing.finish_change(bpy.context, root)
    text = root["hingeleaf_description"]
    with pytest.raises(RuntimeError, match="has changed since it was checked: check it again"):
        bpy.ops.hingeleaf.apply_remedy(index=index)
    assert root["hingeleaf_description"] == text


def test_playing_keyframes_the_opening_once(bpy, new_book, add):
    root = new_book()
    add("v-fold", at=110)
    assert bpy.ops.hingeleaf.play_opening(seconds=1.0) == {"FINISHED"}
    scene = bpy.context.scene
    seen = []
    for frame in range(scene.frame_preview_start, scene.frame_preview_end + 1):
        scene.frame_set(frame)
        seen.append(root["opening"])
    assert min(seen) == pytest.approx(0.0)
    assert max(seen) == pytest.approx(180.0)
    end = scene.frame_preview_end
    bpy.ops.hingeleaf.play_opening(seconds=9.0)
    assert scene.frame_preview_end == end, "what is keyframed is left as it is"
    assert scene.frame_end == 250


def test_tooltips_say_what_a_kind_is(bpy):
    operator = bpy.types.HINGELEAF_OT_add_mechanism
    for kind in ("v-fold", "slit-cut-in", "box"):
        said = operator.description(bpy.context, SimpleNamespace(kind=kind))
        assert len(said) > 30
        assert not said.endswith(".")


def test_a_finding_stands_where_it_was_found(bpy, new_book, add):
    """Places of glue are on the net of the host, not of the tab that is glued there."""
    root = new_book(size="A5")
    add("v-fold", at=110)
    sizes(root, "v-fold").at = 200.0
    bpy.ops.hingeleaf.check_book()
    glued = [finding for finding in bpy.context.scene.hingeleaf.findings if finding.short.startswith("glue")]
    assert glued
    for finding in glued:
        assert finding.anchor.startswith("page.")
        assert 150 < finding.place_y < 250, "about the head of the page"
        assert abs(1000 * finding.spot[1] - finding.place_y) < 1e-3 or finding.anchor == "page.left"


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


def test_a_cut_that_the_whole_refuses_is_taken_back(bpy, tmp_path):
    """The part alone can be built, the whole cannot: then the book is as it was when it could."""
    file = tmp_path / "steps.toml"
    file.write_text(
        'format = 1\n[page]\nsize = "A4"\n[stock.card]\n'
        + "".join(
            f'[[mechanism]]\nkind = "slit-cut-in"\nid = "s{number}"\nfold = "spine"\nat = {15 + 33 * number}\n'
            "length = 12\nwidth = 8\n"
            for number in range(8)
        )
    )
    bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False)
    root = book_of(bpy)
    text, places = text_of(bpy), standing(bpy)
    sizes(root, "s2").length = 42.0
    assert root["hingeleaf_changing"]
    with pytest.raises(RuntimeError, match="cut"):
        bpy.ops.hingeleaf.check_book()
    assert not root["hingeleaf_changing"]
    assert text_of(bpy) == text
    assert_same(standing(bpy), places)


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
