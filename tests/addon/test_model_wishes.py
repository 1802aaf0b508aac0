"""Nets of a model follow what is wished, clicked and edited, each a step of undo, and are kept with the file."""

import numpy as np
import pytest

from tests.addon.unfolded_models import NEAR_MM, add, choose, drawn, laid, model_of, module, nets, unfold

pytestmark = pytest.mark.usefixtures("no_step_waits")


def test_its_size_is_handy_or_as_it_is_wished(bpy, house):
    root = laid(bpy)
    # 80 mm long: made in its real size.
    assert root.hingeleaf_model.size_by == "REAL"
    assert model_of(bpy, root).scale == 1.0
    choose(bpy, house)
    house.scale = (100.0, 100.0, 100.0)
    bpy.ops.hingeleaf.remove_model_nets()
    choose(bpy, house)
    root = laid(bpy)
    # 8 m long: the longest side is made about 50 mm.
    assert root.hingeleaf_model.size_by == "HEIGHT"
    assert root.hingeleaf_model.height == pytest.approx(45.0)
    assert model_of(bpy, root).scale == pytest.approx(45.0 / 7000.0, rel=1e-6)
    # Shown as large as the model stands there.
    assert root.scale[0] == pytest.approx(7000.0 / 45.0, rel=1e-6)
    root.hingeleaf_model.height = 50.0
    module("model_updating").look_after(bpy.context)
    facets = model_of(bpy, root).unfolded.facets
    assert np.ptp(facets.vertices[:, 2]) == pytest.approx(50.0, rel=1e-9)
    assert root.scale[0] == pytest.approx(140.0, rel=1e-6)
    root.hingeleaf_model.true_size = True
    module("model_updating").look_after(bpy.context)
    assert root.scale[0] == pytest.approx(1.0)


def test_wishes_that_cannot_be_leave_the_nets_and_say_why(bpy, house):
    root = laid(bpy)
    before = [item.name for item in nets(root)], model_of(bpy, root).folds.tolist()
    house.data.clear_geometry()
    with pytest.raises(RuntimeError, match="no faces are seen there"):
        bpy.ops.hingeleaf.refresh_model()
    assert ([item.name for item in nets(root)], model_of(bpy, root).folds.tolist()) == before


def test_an_edited_model_is_followed(bpy, house):
    root = laid(bpy)
    updating = module("model_updating")
    choose(bpy, house)
    for vertex in house.data.vertices:
        vertex.co.x *= 1.5
    house.data.update()
    bpy.context.view_layer.update()
    updating.look_after(bpy.context)
    facets = model_of(bpy, root).unfolded.facets
    assert np.ptp(facets.vertices[:, 0]) == pytest.approx(120.0, rel=1e-5)
    shown = [face for item in nets(root) for face in drawn(bpy, item)]
    assert len(shown) >= 7
    # Laying nets is no edit: nothing more is to be done.
    names = [item.name for item in nets(root)]
    bpy.context.view_layer.update()
    updating.look_after(bpy.context)
    assert [item.name for item in nets(root)] == names


def a_fold(model):
    return int(model.folds[0])


def test_a_click_cuts_and_another_joins(bpy, house):
    root = laid(bpy)
    model = model_of(bpy, root)
    edge, count = a_fold(model), len(nets(root))
    assert bpy.ops.hingeleaf.cut_edge(edge=edge) == {"FINISHED"}
    cut = model_of(bpy, root)
    assert edge not in cut.folds
    assert len(nets(root)) == len(cut.unfolded.nets) == count + (len(cut.folds) < len(model.folds))
    seams = [edge.use_seam for edge in house.data.edges]
    assert not any(seams)
    # The choice stays when other wishes change.
    root.hingeleaf_model.tab_width = 4.0
    module("model_updating").look_after(bpy.context)
    assert edge not in model_of(bpy, root).folds
    assert bpy.ops.hingeleaf.cut_edge(edge=edge) == {"FINISHED"}
    assert edge in model_of(bpy, root).folds
    choices = module("model_state").choices_of(root)
    assert [choice.mark for choice in choices] == [module("geometry.unfold.data").KEEP]
    assert bpy.ops.hingeleaf.forget_choices() == {"FINISHED"}
    assert module("model_state").choices_of(root) == ()
    with pytest.raises(RuntimeError, match="There is no edge 999"):
        bpy.ops.hingeleaf.cut_edge(edge=999)


def test_cuts_become_seams_where_they_are_wanted(bpy, house):
    root = laid(bpy)
    model = model_of(bpy, root)
    with pytest.raises(RuntimeError, match="No edge was cut or joined by hand"):
        bpy.ops.hingeleaf.write_seams()
    bpy.ops.hingeleaf.cut_edge(edge=a_fold(model))
    assert bpy.ops.hingeleaf.write_seams() == {"FINISHED"}
    assert sum(edge.use_seam for edge in house.data.edges) == 1
    assert bpy.ops.hingeleaf.write_seams(every=True) == {"FINISHED"}
    assert sum(edge.use_seam for edge in house.data.edges) == len(model_of(bpy, root).unfolded.cuts)


def test_saved_and_opened_again_it_is_what_it_was(bpy, house, tmp_path):
    root = laid(bpy)
    bpy.ops.hingeleaf.cut_edge(edge=a_fold(model_of(bpy, root)))
    before = model_of(bpy, root)
    flat = [np.concatenate(drawn(bpy, item)) for item in nets(root)]
    file = tmp_path / "kept.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(file))
    bpy.ops.wm.open_mainfile(filepath=str(file))
    module("model_wishes").forget_models()
    root = module("model_state").meant_model(bpy.context)
    after = model_of(bpy, root)
    assert after.folds.tolist() == before.folds.tolist()
    assert not module("model_state").is_stale(root)
    assert after.unfolded.facets.vertices == pytest.approx(before.unfolded.facets.vertices, abs=1e-12)
    for item, points in zip(nets(root), flat, strict=True):
        assert np.concatenate(drawn(bpy, item)) == pytest.approx(points, abs=1e-9)
    assert bpy.ops.hingeleaf.cut_edge(edge=a_fold(after)) == {"FINISHED"}


def test_one_step_of_undo_each(bpy, house):
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.unfold_model("EXEC_DEFAULT", True)
    state = module("model_state")
    root = state.meant_model(bpy.context)
    edge = a_fold(model_of(bpy, root))
    bpy.ops.hingeleaf.cut_edge("EXEC_DEFAULT", True, edge=edge)
    assert len(state.choices_of(root)) == 1
    bpy.ops.ed.undo()
    root = state.meant_model(bpy.context)
    assert state.choices_of(root) == ()
    assert edge in model_of(bpy, root).folds
    bpy.ops.ed.undo()
    assert state.meant_model(bpy.context) is None
    assert not [item for item in bpy.data.objects if "hingeleaf_model_net" in item]
    bpy.ops.ed.redo()
    assert edge in model_of(bpy, state.meant_model(bpy.context)).folds


def settled(bpy):
    """What a timer does in a window once the hand rests."""
    module("model_updating")._look_now()


def stepped(bpy, way):
    """A step of undo or redo, and what a timer does in a window after each."""
    updating = module("model_updating")
    getattr(bpy.ops.ed, way)()
    while updating._STEPPED:
        getattr(updating, f"_{way}_on")()


def held(bpy):
    """The height that is wished, and the nets that lie there; all are in the file."""
    root = module("model_state").meant_model(bpy.context)
    collection = bpy.data.collections[root.name]
    assert {item.name for item in collection.objects} == {root.name, *(item.name for item in nets(root))}
    assert all(item == bpy.data.objects[item.name] for item in collection.objects)
    return root.hingeleaf_model.height, root.hingeleaf_model.tab_width, len(nets(root)), len(model_of(bpy, root).folds)


def test_a_wish_and_its_nets_are_taken_back_together(bpy, house):
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.unfold_model("EXEC_DEFAULT", True)
    states = [held(bpy)]
    for height in (60.0, 1000.0):
        group = module("model_state").meant_model(bpy.context).hingeleaf_model
        group.size_by, group.height = "HEIGHT", height
        bpy.ops.ed.undo_push(message="Height")
        settled(bpy)
        states.append(held(bpy))
    # So high a house is cut apart to fit its sheets.
    assert states[2][2] > states[1][2]
    for wanted in states[1::-1]:
        stepped(bpy, "undo")
        assert held(bpy) == wanted
        assert not module("model_state").is_stale(module("model_state").meant_model(bpy.context))
    for wanted in states[1:]:
        stepped(bpy, "redo")
        assert held(bpy) == wanted


def test_nets_that_followed_an_edit_are_a_step_of_their_own(bpy, house):
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.unfold_model("EXEC_DEFAULT", True)
    before = held(bpy)
    choose(bpy, house)
    bpy.ops.object.mode_set("EXEC_DEFAULT", True, mode="EDIT")
    bpy.ops.mesh.select_all("EXEC_DEFAULT", True, action="SELECT")
    bpy.ops.mesh.poke("EXEC_DEFAULT", True, offset=0.01)
    bpy.ops.object.mode_set("EXEC_DEFAULT", True, mode="OBJECT")
    bpy.context.view_layer.update()
    settled(bpy)
    after = held(bpy)
    # Each wall has become a pyramid.
    assert after[3] > before[3] + 20
    bpy.ops.ed.undo()
    # What Blender says of the model now is no edit: nets laid here would take away what can be redone.
    bpy.context.view_layer.update()
    module("model_updating")._undo_on()
    settled(bpy)
    assert held(bpy) == before
    for _ in range(3):
        stepped(bpy, "undo")
        assert held(bpy) == before
    for _ in range(4):
        stepped(bpy, "redo")
    assert held(bpy) == after


def test_a_refused_wish_is_no_half_step_of_undo(bpy, house, monkeypatch):
    bpy.ops.hingeleaf.unfold_model("EXEC_DEFAULT", True)
    updating, state = module("model_updating"), module("model_state")
    group = state.meant_model(bpy.context).hingeleaf_model
    group.tab_width = 9.0
    assert updating._is_half_done()

    def refused(*_):
        raise module("geometry").HingeleafError("It cannot be")

    monkeypatch.setattr(updating, "renew", refused)
    settled(bpy)
    root = state.meant_model(bpy.context)
    assert root.hingeleaf_model.refusal == "It cannot be"
    assert state.is_stale(root)
    # Undoing what comes after it stops there.
    assert not updating._is_half_done()


def test_unfolding_again_lays_anew_and_removing_leaves_nothing(bpy, house):
    def count():
        used = sum(item.users > 0 for item in bpy.data.collections)
        return used, *(len(getattr(bpy.data, name)) for name in ("objects", "meshes", "shape_keys"))

    before = count()
    root = laid(bpy)
    choose(bpy, house)
    assert laid(bpy) == root
    assert bpy.ops.hingeleaf.remove_model_nets() == {"FINISHED"}
    assert count() == before
    assert bpy.context.view_layer.objects.active == house


def test_says_why_it_is_unavailable(bpy):
    with pytest.raises(RuntimeError, match="Select a mesh, curve, text or metaball"):
        bpy.ops.hingeleaf.unfold_model()
    for name in ("refresh_model", "remove_model_nets", "write_model_nets", "keyframe_model", "cut_edge"):
        with pytest.raises(RuntimeError, match="Select a model and press Unfold Model first"):
            getattr(bpy.ops.hingeleaf, name)()
    lone = add(bpy, "Lone", [(0, 0, 0), (1, 0, 0)], [])
    with pytest.raises(RuntimeError, match="Lone: no faces are seen there"):
        bpy.ops.hingeleaf.unfold_model()
    assert [item.name for item in bpy.data.objects] == [lone.name]


class Seen:
    """A viewport that looks straight down, 100 pixels a decimeter, its middle at a place of the world."""

    def __init__(self, middle, pointer):
        from types import SimpleNamespace

        self.region = SimpleNamespace(width=800, height=600, as_pointer=lambda: 1)
        scale = 10 / np.array([800 / 200, 600 / 200])
        matrix = np.diag([scale[0], scale[1], -1.0, 1.0])
        matrix[:2, 3] = -scale * middle[:2]
        self.view = SimpleNamespace(perspective_matrix=matrix)
        self.pointer = pointer


def test_the_pointer_finds_a_fold_on_the_nets_and_an_edge_on_the_model(bpy, house):
    root = laid(bpy)
    unfold(bpy, root, 1.0)
    picking, model = module("model_picking"), model_of(bpy, root)
    picker = picking.EdgePicker(bpy.context, root)
    try:
        edge = a_fold(model)
        item_lines = [module("model_lines").lines_of(bpy.context, item) for item in nets(root)]
        place = next(lines.ends[lines.edges == edge][0].mean(axis=0) for lines in item_lines if edge in lines.edges)
        picker.move(bpy.context, Seen(place, (405.0, 300.0)))
        assert picker.hover == edge
        picker.move(bpy.context, Seen(place + [0, -5, 0], (400.0, 300.0)))
        assert picker.hover == -1
        ridge = Seen(np.array([0.0, 0.0, 0.07]), (400.0, 303.0))
        picker.move(bpy.context, ridge)
        facets = model.unfolded.facets
        ends = facets.vertices[facets.edges[picker.hover]]
        assert ends[:, 2] == pytest.approx(70.0, abs=NEAR_MM), "of all edges under the pointer the topmost"
        words = picking.words_of(model, picker.hover)
        assert "90.0° mountain" in words
    finally:
        picker.close()
