"""Bound books in Blender: opened, made, bound, rearranged, designed in; and each step undone and done again."""

import numpy as np
import pytest

from geometry.binding import parse_book
from tests.addon.bound_books import (
    assert_moves,
    bound_root,
    core_of,
    panels_of,
    set_leaves,
    show,
    spread_roots,
    write_book,
)
from tests.addon.conftest import ROOT
from tests.addon.sidebar import drawn


def push(bpy):
    bpy.ops.ed.undo_push(message="step")


def is_bound(bpy):
    return any(item.get("hingeleaf_book") is not None for item in bpy.data.objects)


def state(bpy):
    """What there is: the texts, in order, and where every panel and board is at some turns."""
    if not is_bound(bpy):
        texts = sorted(item["hingeleaf_description"] for item in bpy.data.objects if "hingeleaf_description" in item)
        return texts, sorted(item.name for item in bpy.data.objects), {}
    bound = bound_root(bpy)
    roots = spread_roots(bound)
    turn, own = bound["turn"], [bound[f"leaf_{leaf}"] for leaf in range(len(roots) + 1)]
    places = {}
    for at in (0.0, 0.7, 1.0, 1.6):
        set_leaves(bpy, bound, at)
        for item in bound.children_recursive:
            if "hingeleaf_panel" in item or "hingeleaf_cover" in item:
                places[at, item.name] = np.round(np.array(item.matrix_world), 6).tolist()
    set_leaves(bpy, bound, turn, own)
    said = [bound["hingeleaf_book"], turn, *(root["hingeleaf_description"] for root in roots)]
    return said, sorted(item.name for item in bpy.data.objects), places


def undone_and_redone(bpy, action):
    """Do something; then undo gives what was before, redo what came of it."""
    push(bpy)
    before = state(bpy)
    assert action() == {"FINISHED"}
    after = state(bpy)
    assert after != before
    bpy.ops.ed.undo()
    assert state(bpy) == before
    bpy.ops.ed.redo()
    assert state(bpy) == after


def test_an_opened_book_has_its_spreads_in_order_and_one_studio(bpy, opened):
    bound = opened(studio=True)
    assert [root["hingeleaf_source"] for root in spread_roots(bound)] == ["fold.toml", "tide.toml", "doors.toml"]
    assert sum(item.type == "CAMERA" for item in bpy.data.objects) == 1
    assert bpy.context.scene.camera.parent == bound
    assert bpy.context.view_layer.objects.active == spread_roots(bound)[0]


def test_the_studio_sees_the_whole_motion(bpy, opened):
    from bpy_extras.object_utils import world_to_camera_view

    bound = opened(studio=True)
    scene, camera = bpy.context.scene, bpy.context.scene.camera
    for turn in np.arange(0.0, 4.01, 0.25):
        set_leaves(bpy, bound, turn)
        for root in spread_roots(bound):
            for item in panels_of(root).values():
                for corner in item.bound_box:
                    x, y, depth = world_to_camera_view(scene, camera, item.matrix_world @ type(item.location)(corner))
                    assert min(x, y, 1.0 - x, 1.0 - y, depth) > 0.0, (turn, item.name)


def test_a_book_that_cannot_be_opened_leaves_the_scene_alone(bpy, tmp_path):
    file = write_book(tmp_path / "book")
    (tmp_path / "book/tide.toml").write_text('format = 1\n[page]\nsize = "A6"\n')
    before = sorted(item.name for item in bpy.data.objects)
    with pytest.raises(RuntimeError, match=r"tide\.toml.*pages of 105 x 148"):
        bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False)
    assert sorted(item.name for item in bpy.data.objects) == before
    assert not [item for item in bpy.data.collections if item.name == "Three Tides"]


def test_a_new_bound_book(bpy):
    undone_and_redone(
        bpy, lambda: bpy.ops.hingeleaf.new_bound_book("EXEC_DEFAULT", True, title="Harbor", size="A6", studio=False)
    )
    assert len(spread_roots(bound_root(bpy))) == 3
    assert_moves(bpy)


def test_single_books_are_bound_and_taken_apart_again(bpy, open_scene):
    for path in ("scenes/flap.toml", "scenes/pull-strip.toml"):
        open_scene(path)
    cameras = sum(item.type == "CAMERA" for item in bpy.data.objects)
    undone_and_redone(bpy, lambda: bpy.ops.hingeleaf.bind_spreads("EXEC_DEFAULT", True, title="Doors"))
    bound = bound_root(bpy)
    assert cameras == 2
    assert sum(item.type == "CAMERA" for item in bpy.data.objects) == 1
    assert parse_book(bound["hingeleaf_book"], look=False).files == ("flap.toml", "pull-strip.toml")
    assert_moves(bpy)
    undone_and_redone(bpy, lambda: bpy.ops.hingeleaf.take_apart("EXEC_DEFAULT", True))
    assert not is_bound(bpy)
    roots = [item for item in bpy.data.objects if item.get("hingeleaf_description")]
    assert [root.parent for root in roots] == [None, None]
    for root in roots:
        root["opening"] = 30.0
        root.update_tag()
        bpy.context.view_layer.update()
        assert root["opening"] == 30.0
        left = panels_of(root)["page.left"]
        assert left.location.length == 0.0
    assert not [item for item in bpy.data.objects if "hingeleaf_cover" in item or "hingeleaf_leaf" in item]


def test_only_pages_of_one_size_are_bound(bpy, open_scene):
    for path in ("scenes/flap.toml", "scenes/v-fold.toml"):
        open_scene(path, studio=False)
    with pytest.raises(RuntimeError, match=r"148 × 210.*100 × 140"):
        bpy.ops.hingeleaf.bind_spreads()
    assert not is_bound(bpy)


def test_spreads_are_added_moved_and_removed(bpy, opened):
    bound = opened()

    def titles():
        return [root.name for root in spread_roots(bound_root(bpy))]

    first, second, third = titles()
    show(bpy, 1)
    undone_and_redone(bpy, lambda: bpy.ops.hingeleaf.add_spread("EXEC_DEFAULT", True, title="Gale"))
    assert titles() == [first, "Gale", second, third]
    assert_moves(bpy, 2)
    show(bpy, 4)
    undone_and_redone(bpy, lambda: bpy.ops.hingeleaf.move_spread("EXEC_DEFAULT", True, way="EARLIER"))
    assert titles() == [first, "Gale", third, second]
    assert_moves(bpy, 3)
    show(bpy, 1)
    undone_and_redone(bpy, lambda: bpy.ops.hingeleaf.remove_spread("EXEC_DEFAULT", True))
    assert titles() == ["Gale", third, second]
    assert_moves(bpy, 4)
    bound = bound_root(bpy)
    assert parse_book(bound["hingeleaf_book"], look=False).files == ("gale.toml", "doors.toml", "tide.toml")
    assert bound.get("leaf_4") is None
    assert bound.get("leaf_angle_4") is None
    show(bpy, 3)
    with pytest.raises(RuntimeError, match="last spread already"):
        bpy.ops.hingeleaf.move_spread(way="LATER")


def test_the_last_spread_stays(bpy, new_bound):
    new_bound(count=1)
    with pytest.raises(RuntimeError, match="keeps one spread"):
        bpy.ops.hingeleaf.remove_spread()


def test_operators_say_why_they_are_unavailable(bpy):
    for name in ("take_apart", "show_spread", "add_spread", "move_spread", "change_cover", "save_bound"):
        with pytest.raises(RuntimeError, match="bound book"):
            getattr(bpy.ops.hingeleaf, name)()


def test_the_cover_is_changed(bpy, opened):
    bound = opened(studio=True)
    thick = core_of(bound).thickness_mm
    picture = ROOT / "scenes/demo/art" / sorted(path.name for path in (ROOT / "scenes/demo/art").glob("*.png"))[0]
    undone_and_redone(
        bpy,
        lambda: bpy.ops.hingeleaf.change_cover(
            "EXEC_DEFAULT", True, board=3.5, color=(0.2, 0.4, 0.6), art_front=str(picture)
        ),
    )
    bound = bound_root(bpy)
    cover = parse_book(bound["hingeleaf_book"], look=False).cover
    assert cover.board_mm == 3.5
    assert cover.color == pytest.approx((0.2, 0.4, 0.6), abs=0.003)
    assert core_of(bound).thickness_mm == pytest.approx(thick + 3.0)
    board = next(item for item in bound.children_recursive if item.get("hingeleaf_cover") == "Front Board")
    nodes = board.data.materials[0].node_tree.nodes
    assert any(node.type == "TEX_IMAGE" and node.image.packed_file for node in nodes)
    table = next(item for item in bound.children if item.get("hingeleaf_table"))
    assert 1000.0 * table.location.z == pytest.approx(-core_of(bound).leaves_mm[-1], abs=1e-3)
    assert_moves(bpy)


def test_a_mechanism_is_designed_in_a_bound_spread(bpy, opened):
    opened()
    show(bpy, 2)
    undone_and_redone(
        bpy, lambda: bpy.ops.hingeleaf.add_mechanism("EXEC_DEFAULT", True, kind="tent", fold="spine", at=60.0)
    )
    root = spread_roots(bound_root(bpy))[1]
    name = root.hingeleaf.active
    assert any(panel.startswith(name) for panel in panels_of(root))
    assert_moves(bpy)
    before = root["hingeleaf_description"]
    root.hingeleaf.tent.height = root.hingeleaf.tent.height * 0.8
    assert bpy.context.window_manager.hingeleaf.refusal == ""
    assert root["hingeleaf_description"] != before
    assert_moves(bpy, 2)


def test_the_pages_of_all_spreads_change_together(bpy, opened):
    bound = opened(files=("fold.toml", "doors.toml"), studio=True)
    show(bpy, 1)
    camera = tuple(bpy.context.scene.camera.location)
    bpy.ops.hingeleaf.change_pages(title="V-fold", size="OTHER", width=160, height=220, margin=0, grammage=250)
    assert core_of(bound).page_size_mm == (160, 220)
    assert_moves(bpy)
    assert tuple(bpy.context.scene.camera.location) != camera


def test_a_finding_is_shown_where_it_happens(bpy, opened):
    opened()
    root = show(bpy, 2)
    assert bpy.ops.hingeleaf.check_book() == {"FINISHED"}
    check = bpy.context.scene.hingeleaf
    entry = check.findings.add()
    entry.has_opening, entry.opening, entry.panel = True, 73.0, "page.left"
    bpy.ops.hingeleaf.show_finding(index=len(check.findings) - 1)
    bpy.context.view_layer.update()
    assert root["opening"] == pytest.approx(73.0, abs=1e-3)


def test_nothing_is_pointed_at_in_a_spread_that_lies_shut(bpy, opened):
    from bl_ext.user_default.hingeleaf import books, found

    bound = opened()
    root = show(bpy, 2)
    assert bpy.ops.hingeleaf.check_book() == {"FINISHED"}
    bpy.context.scene.hingeleaf.findings.add()
    assert not books.is_hidden_in_book(root)
    assert found.shown_check(bpy.context) is not None
    bound["turn"] = 1.0
    bound.update_tag()
    bpy.context.view_layer.update()
    assert books.is_hidden_in_book(root)
    assert found.shown_check(bpy.context) is None


def test_play_turns_the_whole_book(bpy, opened):
    bound = opened()
    bpy.ops.hingeleaf.play_opening(seconds=1.0)
    scene = bpy.context.scene
    turns = []
    for frame in range(scene.frame_preview_start, scene.frame_preview_end + 1):
        scene.frame_set(frame)
        turns.append(bound["turn"])
    assert (turns[0], turns[-1]) == (0.0, 4.0)
    assert {1.0, 2.0, 3.0} <= set(turns)
    assert np.diff(turns).min() > -1e-6


@pytest.mark.parametrize("seed", range(4))
def test_random_bound_books_move_as_the_core_says(bpy, new_bound, seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 6))
    new_bound(count=count, size="A5")
    for _ in range(4):
        show(bpy, int(rng.integers(1, count + 1)))
        kind = str(rng.choice(["v-fold", "tent", "box", "platform"]))
        try:
            bpy.ops.hingeleaf.add_mechanism(kind=kind, fold="spine", at=float(rng.uniform(30.0, 170.0)))
        except RuntimeError:
            # No room is left there: nothing was changed.
            continue
    assert_moves(bpy, seed)


def test_the_sidebar_shows_the_bound_book(bpy, opened):
    assert drawn(bpy, "bound")[0] == ["hingeleaf.new_bound_book"]
    bound = opened()
    operators, texts = drawn(bpy, "bound")
    assert operators.count("hingeleaf.show_spread") == 3
    assert {"hingeleaf.add_spread", "hingeleaf.move_spread", "hingeleaf.take_apart"} <= set(operators)
    assert f"{core_of(bound).thickness_mm:.1f} mm thick closed" in texts
    assert "hingeleaf.save_bound" in drawn(bpy, "book")[0]


def test_artwork_fills_each_board_from_the_spine_to_beyond_the_fore_edge(bpy, opened):
    """The picture's edges lie at the spine, and where the board ends: the board of an A5 page is 148 + 2.5 mm wide."""
    bound = opened()
    for name, outer, mirrored in (("Front Board", 1.0, False), ("Back Board", -1.0, True)):
        board = next(item for item in bound.children_recursive if item.get("hingeleaf_cover") == name)
        mesh = board.data
        face = next(each for each in mesh.polygons if each.normal.z * outer > 0.9)
        assert len(face.loop_indices) == 4
        for loop in face.loop_indices:
            x, y, _ = np.array(mesh.vertices[mesh.loops[loop].vertex_index].co) * 1e3
            u, v = mesh.uv_layers[0].data[loop].uv
            assert (1.0 - u if mirrored else u) * 150.5 == pytest.approx(x, abs=2e-3)
            assert v * 215.0 == pytest.approx(y + 2.5, abs=2e-3)
