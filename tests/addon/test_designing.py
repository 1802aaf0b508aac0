"""Designing a book in Blender: new books, mechanisms, live sizes, handles, arranging; and that nothing is half done."""

from types import SimpleNamespace

import numpy as np
import pytest

from geometry import assemble, parse_description
from tests.addon.designs import assert_same, book_of, kinds, push, sizes, standing, text_of


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


PLEATS = (
    'format = 1\n[page]\nsize = [160, 240]\n[[mechanism]]\nkind = "accordion"\nid = "waves"\nfold = "spine"\nat = 20\n'
    "length = 60\nbases = [26, 26]\nheights = [36, 36]\n"
)


def test_more_and_fewer_pieces_in_a_large_book(bpy, tmp_path):
    """Another pleat has props of its own, pieces that were not there; a pleat less takes them away."""
    hills = "".join(
        f'[[mechanism]]\nkind = "v-fold"\nid = "v{number}"\nfold = "spine"\nat = {100 + 14 * number}\nangle = 50\n'
        "height = 40\n"
        for number in range(8)
    )
    file = tmp_path / "pleats.toml"
    file.write_text(PLEATS + hills, encoding="utf-8")
    bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False)
    root = book_of(bpy)
    from bl_ext.user_default.hingeleaf import designing

    change, before = designing.change_sizes, standing(bpy)
    for number in (3, 5, 2):
        change(bpy.context, root, "waves", {"bases": [52 / number] * number, "heights": [52 / number + 10] * number})
        assert root["hingeleaf_changing"]
        part = standing(bpy)
        bpy.ops.hingeleaf.check_book()
        assert not root["hingeleaf_changing"]
        assert set(part) == set(standing(bpy))
        assert len({name for name in part if name.endswith(".prop")}) == 2 * (number - 1)
        looks = [len(item.data.materials) for item in root.children_recursive if "hingeleaf_panel" in item]
        assert set(looks) == {3}
    assert set(standing(bpy)) == set(before)
    assert_same(standing(bpy), before)


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


def large_book(bpy, new_book, add):
    """Eight tents; returns the third one's name."""
    new_book(size="A4")
    for number in range(8):
        add("tent", at=15 + 33 * number)
    return list(kinds(book_of(bpy)))[3]


def test_finishing_that_makes_objects_is_a_step_of_its_own_that_no_undo_ends_in(bpy, new_book, add):
    """A net beside the book is laid anew; an undo that found its new objects without a step ended Blender."""
    from bl_ext.user_default.hingeleaf import designing, handlers

    name = large_book(bpy, new_book, add)
    assert bpy.ops.hingeleaf.show_net() == {"FINISHED"}
    push(bpy, "base")
    before, places = text_of(bpy), standing(bpy)
    sizes(book_of(bpy), name).length = 20.0
    push(bpy, "size")
    after = text_of(bpy)
    assert designing._finish_now() is None
    whole = standing(bpy)
    for _ in range(2):
        bpy.ops.ed.undo()
        assert designing.is_changing(book_of(bpy)), "between the step that changed it and the one that finished it"
        assert bpy.app.timers.is_registered(handlers._undo_on)
        assert not bpy.app.timers.is_registered(designing._finish_now), "that would end the way forward"
        handlers._undo_on()
        assert text_of(bpy) == before
        assert_same(standing(bpy), places)
        bpy.ops.ed.redo()
        assert bpy.app.timers.is_registered(handlers._redo_on)
        handlers._redo_on()
        assert text_of(bpy) == after
        assert not designing.is_changing(book_of(bpy))
        assert_same(standing(bpy), whole)


def test_what_an_operator_finishes_before_it_fails_is_a_step(bpy, new_book, add):
    """It is no step itself then, and an undo would find the new objects of the net."""
    from bl_ext.user_default.hingeleaf import designing, handlers

    name = large_book(bpy, new_book, add)
    assert bpy.ops.hingeleaf.show_net() == {"FINISHED"}
    push(bpy, "base")
    before = text_of(bpy)
    sizes(book_of(bpy), name).length = 20.0
    push(bpy, "size")
    after = text_of(bpy)
    with pytest.raises(RuntimeError, match="No size is free"):
        bpy.ops.hingeleaf.fit_sizes(wish="largest", free=set())
    whole = standing(bpy)
    assert not designing.is_changing(book_of(bpy))
    bpy.ops.ed.undo()
    handlers._undo_on()
    assert text_of(bpy) == before
    bpy.ops.ed.redo()
    handlers._redo_on()
    assert text_of(bpy) == after
    assert not designing.is_changing(book_of(bpy))
    assert_same(standing(bpy), whole)


def test_an_undo_that_cannot_go_on_stays_at_the_whole(bpy, new_book, add):
    """Of older steps Blender keeps only so many: then that before the change is gone."""
    from bl_ext.user_default.hingeleaf import designing, handlers

    name = large_book(bpy, new_book, add)
    assert bpy.ops.hingeleaf.show_net() == {"FINISHED"}
    kept = bpy.context.preferences.edit.undo_steps
    bpy.context.preferences.edit.undo_steps = 2
    try:
        push(bpy, "base")
        sizes(book_of(bpy), name).length = 20.0
        push(bpy, "size")
        assert designing._finish_now() is None
        after, whole = text_of(bpy), standing(bpy)
        push(bpy, "other")
        bpy.ops.ed.undo()
        bpy.ops.ed.undo()
        assert designing.is_changing(book_of(bpy)), "the oldest step that is kept"
        handlers._undo_on()
        assert text_of(bpy) == after
        assert not designing.is_changing(book_of(bpy))
        assert_same(standing(bpy), whole)
    finally:
        bpy.context.preferences.edit.undo_steps = kept


def test_a_redo_that_cannot_go_on_finishes_the_book(bpy, new_book, add):
    """The same size a second time, undone and redone before the hand rested: no step with the whole comes after."""
    from bl_ext.user_default.hingeleaf import designing, handlers

    name = large_book(bpy, new_book, add)
    assert bpy.ops.hingeleaf.show_net() == {"FINISHED"}
    push(bpy, "base")
    for finished in (True, False):
        sizes(book_of(bpy), name).length = 20.0
        push(bpy, "size")
        if finished:
            assert designing._finish_now() is None
            bpy.ops.ed.undo()
        else:
            designing.stop_finishing()
        bpy.ops.ed.undo()
    bpy.ops.ed.redo()
    handlers._redo_on()
    assert bpy.app.timers.is_registered(designing._finish_now)
    assert designing._finish_now() is None
    assert "length = 20" in text_of(bpy)
    assert not designing.is_changing(book_of(bpy))


def test_finishing_that_makes_nothing_is_no_step(bpy, new_book, add):
    from bl_ext.user_default.hingeleaf import designing, handlers

    name = large_book(bpy, new_book, add)
    push(bpy, "base")
    before = text_of(bpy)
    sizes(book_of(bpy), name).length = 20.0
    push(bpy, "size")
    assert designing._finish_now() is None
    bpy.ops.ed.undo()
    assert text_of(bpy) == before
    assert not bpy.app.timers.is_registered(handlers._undo_on)
    bpy.ops.ed.redo()
    assert "length = 20" in text_of(bpy)
    assert bpy.app.timers.is_registered(designing._finish_now), "half built it was when the step was made"


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
