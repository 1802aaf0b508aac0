"""Bound books in Blender: opened, made, bound, rearranged, designed in, saved; and each step undone and done again."""

import numpy as np
import pytest

from geometry.binding import parse_book, read_bound
from tests.addon.bound_books import (
    bound_root,
    core_of,
    panels_of,
    set_leaves,
    spread_roots,
    worst_misfit,
    write_book,
)
from tests.addon.conftest import ROOT
from tests.addon.test_extension import drawn

RIG_MM, OPENING_DEG = 0.02, 1e-4


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


def assert_moves(bpy, seed=1):
    """The only bound book moves as the core says of what it is now."""
    bound = bound_root(bpy)
    binding, count = core_of(bound), len(spread_roots(bound))
    rng = np.random.default_rng(seed)
    for turn in [0.0, 1.004, *rng.uniform(0.0, count + 1.0, 6)]:
        worst, off = worst_misfit(bpy, bound, binding, turn, rng.uniform(-180.0, 180.0, count + 1))
        assert worst < RIG_MM, turn
        assert off < OPENING_DEG, turn


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


@pytest.fixture
def opened(bpy, tmp_path):
    def opened(studio=False, **how):
        file = write_book(tmp_path / "book", **how)
        assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=studio) == {"FINISHED"}
        return bound_root(bpy)

    return opened


@pytest.fixture
def new_bound(bpy):
    def new_bound(count=3, **given):
        given = {"title": "Harbor", "size": "A6", "studio": False} | given
        assert bpy.ops.hingeleaf.new_bound_book(count=count, **given) == {"FINISHED"}
        return bound_root(bpy)

    return new_bound


def show(bpy, number):
    assert bpy.ops.hingeleaf.show_spread(number=number) == {"FINISHED"}
    return spread_roots(bound_root(bpy))[number - 1]


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


def test_a_bound_book_is_saved_and_opened_again(bpy, opened, tmp_path):
    opened()
    show(bpy, 1)
    bpy.ops.hingeleaf.add_spread(title="Gale")
    before = core_of(bound_root(bpy))
    file = tmp_path / "elsewhere/tides.toml"
    assert bpy.ops.hingeleaf.save_bound(filepath=str(file)) == {"FINISHED"}
    after = read_bound(file)
    assert np.allclose(after.leaves_mm, before.leaves_mm)
    assert np.allclose(after.gaps_mm, before.gaps_mm)
    assert [spread.title for spread in after.spreads] == [spread.title for spread in before.spreads]
    assert {path.name for path in file.parent.glob("*.toml")} == {
        "tides.toml", "fold.toml", "gale.toml", "tide.toml", "doors.toml",
    }  # fmt: skip
    assert list((file.parent / "art").glob("*.png"))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    assert_moves(bpy)


def test_saving_does_not_write_over_strange_files(bpy, opened, tmp_path):
    opened()
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    (folder / "tide.toml").write_text("mine")
    with pytest.raises(RuntimeError, match="another file is there"):
        bpy.ops.hingeleaf.save_bound(filepath=str(folder / "book.toml"))
    assert [path.name for path in folder.iterdir()] == ["tide.toml"]


def test_a_blend_alone_carries_the_whole_book(bpy, opened, tmp_path):
    import shutil

    opened(cover='[cover]\nart_front = "art/cover.png"\n')
    picture = next((ROOT / "scenes/demo/art").glob("*.png"))
    shutil.copy(picture, tmp_path / "book/art/cover.png")
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.ops.hingeleaf.open_description(filepath=str(tmp_path / "book/book.toml"), studio=False)
    blend = tmp_path / "book.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(blend))
    shutil.rmtree(tmp_path / "book")
    bpy.ops.wm.open_mainfile(filepath=str(blend))
    show(bpy, 2)
    bpy.ops.hingeleaf.change_cover(board=3.0)
    board = next(item for item in bound_root(bpy).children_recursive if item.get("hingeleaf_cover") == "Front Board")
    assert any(node.type == "TEX_IMAGE" for node in board.data.materials[0].node_tree.nodes)
    bpy.ops.hingeleaf.add_mechanism(kind="v-fold", fold="spine", at=150.0)
    file = tmp_path / "again/book.toml"
    assert bpy.ops.hingeleaf.save_bound(filepath=str(file)) == {"FINISHED"}
    assert (file.parent / "art/cover.png").read_bytes() == picture.read_bytes()
    assert len(read_bound(file).spreads) == 3


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


def test_a_linked_bound_book_is_made_local(bpy, new_bound, tmp_path):
    name = new_bound(count=2, size="A6").users_collection[0].name
    file = tmp_path / "book.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(file))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with bpy.data.libraries.load(str(file), link=True) as (_, here):
        here.collections = [name]
    shown = bpy.data.objects.new("Shown", None)
    shown.instance_type, shown.instance_collection = "COLLECTION", here.collections[0]
    shown.location = (0.5, 0.0, 0.0)
    bpy.context.scene.collection.objects.link(shown)
    bpy.context.view_layer.objects.active = shown
    bpy.context.view_layer.update()
    assert bpy.ops.hingeleaf.make_book_local() == {"FINISHED"}
    bound = bound_root(bpy)
    assert bound.library is None
    assert bound.location.x == pytest.approx(0.5)
    show(bpy, 2)
    assert bpy.ops.hingeleaf.add_mechanism(kind="tent", fold="spine", at=60.0) == {"FINISHED"}
    assert_moves(bpy)


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
