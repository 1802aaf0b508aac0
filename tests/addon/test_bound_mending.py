"""Bound books that hands have been at: deleted spreads, objects of a user, pictures from elsewhere, names that meet."""

import re

import numpy as np
import pytest
from PIL import Image

from geometry.binding import parse_book, read_bound
from tests.addon.bound_books import bound_root, panels_of, spread_roots, write_book

SPREAD = """format = 1
title = "{title}"
[page]
size = "A6"
art_front = "art/page.png"
"""


def picture(file, color, size=(40, 30)):
    file.parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", size, color).save(file)
    return file


def single(bpy, folder, title, color=None, name="spread.toml"):
    """Open a spread from a folder of its own; returns its root."""
    folder.mkdir(parents=True, exist_ok=True)
    text = SPREAD.format(title=title)
    (folder / name).write_text(text if color else text.replace('art_front = "art/page.png"\n', ""))
    if color:
        picture(folder / "art/page.png", color)
    assert bpy.ops.hingeleaf.open_description(filepath=str(folder / name), studio=False) == {"FINISHED"}
    return next(item for item in bpy.data.objects if item.name == title and "hingeleaf_description" in item)


def new_bound(bpy, count=3, studio=False):
    assert bpy.ops.hingeleaf.new_bound_book(title="Harbor", size="A6", count=count, studio=studio) == {"FINISHED"}
    return bound_root(bpy)


def show(bpy, number):
    assert bpy.ops.hingeleaf.show_spread(number=number) == {"FINISHED"}
    return spread_roots(bound_root(bpy))[number - 1]


def board_image(bpy, name):
    board = next(item for item in bound_root(bpy).children_recursive if item.get("hingeleaf_cover") == name)
    nodes = next(slot.material for slot in board.material_slots if slot.material).node_tree.nodes
    return next((bytes(node.image.packed_file.data) for node in nodes if node.type == "TEX_IMAGE"), None)


def curves_of(item):
    action = item.animation_data.action if item.animation_data else None
    strips = [] if action is None else [strip for layer in action.layers for strip in layer.strips]
    return {curve.data_path for strip in strips for bag in strip.channelbags for curve in bag.fcurves}


def plain_object(bpy, name, collection, parent=None, place=(0.0, 0.0, 0.0)):
    item = bpy.data.objects.new(name, bpy.data.meshes.new(name))
    collection.objects.link(item)
    item.parent = parent
    item.location = place
    bpy.context.view_layer.update()
    return item


def test_cover_artwork_from_elsewhere_stays_and_is_saved(bpy, tmp_path):
    new_bound(bpy)
    file = picture(tmp_path / "elsewhere/sea.png", "teal")
    assert bpy.ops.hingeleaf.change_cover(art_front=str(file)) == {"FINISHED"}
    show(bpy, 1)
    assert bpy.ops.hingeleaf.add_spread(title="Gale") == {"FINISHED"}
    assert board_image(bpy, "Front Board") == file.read_bytes()
    assert [item["hingeleaf_origin"] for item in bpy.data.images if "hingeleaf_origin" in item] == [str(file.resolve())]
    book = tmp_path / "saved/book.toml"
    assert bpy.ops.hingeleaf.save_bound(filepath=str(book)) == {"FINISHED"}
    assert board_image(bpy, "Front Board") == file.read_bytes()
    assert (book.parent / "art/sea.png").read_bytes() == file.read_bytes()


@pytest.mark.parametrize("name", ["sea.png", "Sea.png"])
def test_both_boards_have_their_own_pictures_of_one_name(bpy, tmp_path, name):
    new_bound(bpy, 1)
    front, back = picture(tmp_path / "one/sea.png", "teal"), picture(tmp_path / "two" / name, "maroon")
    assert bpy.ops.hingeleaf.change_cover(art_front=str(front), art_back=str(back)) == {"FINISHED"}
    assert board_image(bpy, "Front Board") == front.read_bytes()
    assert board_image(bpy, "Back Board") == back.read_bytes()
    cover = parse_book(bound_root(bpy)["hingeleaf_book"], look=False).cover
    assert cover.art_front.casefold() != cover.art_back.casefold()


@pytest.mark.parametrize("same", [False, True])
def test_spreads_with_pictures_of_one_name_are_not_saved_over_each_other(bpy, tmp_path, same):
    single(bpy, tmp_path / "one", "Calm", "teal", "calm.toml")
    single(bpy, tmp_path / "two", "Storm", "teal" if same else "maroon", "storm.toml")
    assert bpy.ops.hingeleaf.bind_spreads(title="Sea", studio=False) == {"FINISHED"}
    book = tmp_path / "saved/book.toml"
    if same:
        assert bpy.ops.hingeleaf.save_bound(filepath=str(book)) == {"FINISHED"}
        return
    # The first picture is there already, so only the second would be written.
    picture(book.parent / "art/page.png", "teal")
    with pytest.raises(RuntimeError, match=r"page\.png: Calm and Storm have different files"):
        bpy.ops.hingeleaf.save_bound(filepath=str(book), replace=True)
    assert [path.name for path in book.parent.iterdir()] == ["art"]


def test_one_description_twice_becomes_two_files_once_they_differ(bpy, tmp_path):
    file = write_book(tmp_path / "book", files=("fold.toml", "fold.toml"))
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    show(bpy, 2)
    assert bpy.ops.hingeleaf.add_mechanism(kind="tent", fold="spine", at=60.0) == {"FINISHED"}
    texts = [root["hingeleaf_description"] for root in spread_roots(bound_root(bpy))]
    saved = tmp_path / "saved/book.toml"
    assert bpy.ops.hingeleaf.save_bound(filepath=str(saved)) == {"FINISHED"}
    files = parse_book(saved.read_text(), look=False).files
    assert len(set(files)) == 2
    assert [(saved.parent / name).read_text() for name in files] == texts


def test_names_of_spreads_differ_in_more_than_capital_letters(bpy, tmp_path):
    single(bpy, tmp_path / "one", "Calm", name="Sea.toml")
    single(bpy, tmp_path / "two", "Storm", name="sea.toml")
    bpy.ops.hingeleaf.bind_spreads(title="Sea", studio=False)
    assert parse_book(bound_root(bpy)["hingeleaf_book"], look=False).files == ("Sea.toml", "sea-2.toml")


def test_a_spread_deleted_by_hand_leaves_a_book_of_the_others(bpy, tmp_path):
    new_bound(bpy)
    root = show(bpy, 1)
    bpy.ops.object.select_all(action="DESELECT")
    with bpy.context.temp_override(selected_objects=[root, *panels_of(root).values()]):
        bpy.ops.object.delete()
    first = show(bpy, 1)
    assert bpy.ops.hingeleaf.add_spread(title="Gale") == {"FINISHED"}
    files = parse_book(bound_root(bpy)["hingeleaf_book"], look=False).files
    assert files == ("harbor-2.toml", "gale.toml", "harbor-3.toml")
    assert [item.name for item in spread_roots(bound_root(bpy))] == [first.name, "Gale", "Harbor 3"]
    book = tmp_path / "saved/book.toml"
    assert bpy.ops.hingeleaf.save_bound(filepath=str(book)) == {"FINISHED"}
    assert [spread.title for spread in read_bound(book).spreads] == ["Harbor 2", "Gale", "Harbor 3"]


def test_a_book_without_spreads_says_so(bpy):
    bound = new_bound(bpy, 1)
    root = show(bpy, 1)
    bpy.data.batch_remove([root, *panels_of(root).values()])
    bpy.context.view_layer.objects.active = bound
    for name in ("add_spread", "take_apart"):
        with pytest.raises(RuntimeError, match="No spread is left in Harbor"):
            getattr(bpy.ops.hingeleaf, name)()


def test_taking_apart_leaves_a_users_own_objects_where_they_are(bpy):
    bound = new_bound(bpy, 2, studio=True)
    bound.location = (0.3, 0.0, 0.1)
    home = bound.users_collection[0]
    leaf = next(item for item in bound.children_recursive if item.get("hingeleaf_leaf") == 0)
    board = next(item for item in bound.children_recursive if item.get("hingeleaf_cover") == "Front Board")
    hung = [plain_object(bpy, name, home, parent, (0.0, 0.02, 0.01))
            for name, parent in (("On Root", bound), ("On Leaf", leaf), ("On Board", board))]  # fmt: skip
    own = bpy.data.collections.new("Props")
    home.children.link(own)
    plain_object(bpy, "Prop", own)
    before = {item.name: np.array(item.matrix_world) for item in hung}
    assert bpy.ops.hingeleaf.take_apart() == {"FINISHED"}
    bpy.context.view_layer.update()
    for name, place in before.items():
        assert np.allclose(np.array(bpy.data.objects[name].matrix_world), place, atol=1e-6), name
    assert {"Prop", *before} <= {item.name for item in bpy.context.scene.objects}
    left = [item for item in bpy.data.objects if re.match("Leaf|Leaves|Front Board|Spine|Gusset|Support", item.name)]
    assert left == []
    assert "Harbor" not in bpy.data.collections


def test_removing_a_spread_leaves_a_users_own_objects(bpy):
    bound = new_bound(bpy, 2)
    root = show(bpy, 2)
    home = root.users_collection[0]
    plain_object(bpy, "Prop", home)
    leaf = next(item for item in bound.children_recursive if item.get("hingeleaf_leaf") == 2)
    plain_object(bpy, "On Leaf", bound.users_collection[0], leaf)
    assert bpy.ops.hingeleaf.remove_spread() == {"FINISHED"}
    assert {"Prop", "On Leaf"} <= {item.name for item in bpy.context.scene.objects}
    assert len(spread_roots(bound_root(bpy))) == 1


def test_binding_keeps_keyframes_of_what_a_hand_moves(bpy, open_scene):
    root = open_scene("scenes/pull-strip.toml", studio=False)
    hand = next(key for key in list(root.keys()) if key.startswith("hand_"))
    for frame in (1, 20):
        for path in (f'["{hand}"]', '["opening"]', "location"):
            root.keyframe_insert(path, frame=frame)
    assert bpy.ops.hingeleaf.bind_spreads(studio=False) == {"FINISHED"}
    assert curves_of(root) == {f'["{hand}"]'}


def test_keyframes_of_a_leaf_go_with_it(bpy):
    bound = new_bound(bpy, 2)
    for leaf in (1, 2):
        bound.keyframe_insert(f'["leaf_{leaf}"]', frame=1)
    show(bpy, 2)
    assert bpy.ops.hingeleaf.remove_spread() == {"FINISHED"}
    assert curves_of(bound_root(bpy)) == {'["leaf_1"]'}


def test_books_in_the_scene_collection_are_bound(bpy, tmp_path):
    scene = bpy.context.scene.collection
    roots = [single(bpy, tmp_path / name, name) for name in ("Calm", "Storm")]
    for root in roots:
        old = root.users_collection[0]
        for item in [root, *root.children_recursive]:
            old.objects.unlink(item)
            scene.objects.link(item)
    assert bpy.ops.hingeleaf.bind_spreads(studio=False) == {"FINISHED"}
    homes = [root.users_collection[0] for root in spread_roots(bound_root(bpy))]
    assert len({home.name for home in homes}) == 2
    for root, home in zip(roots, homes, strict=True):
        assert {item.users_collection for item in [root, *panels_of(root).values()]} == {(home,)}


def test_a_book_whose_spread_was_moved_in_the_outliner_is_taken_apart(bpy):
    new_bound(bpy, 2)
    root = show(bpy, 2)
    home = root.users_collection[0]
    bound_root(bpy).users_collection[0].children.unlink(home)
    other = bpy.data.collections.new("Other")
    bpy.context.scene.collection.children.link(other)
    other.children.link(home)
    assert bpy.ops.hingeleaf.take_apart() == {"FINISHED"}
    assert home in list(bpy.context.scene.collection.children)
    assert root.parent is None


def test_a_new_spread_is_of_the_folder_of_the_others(bpy, tmp_path):
    root = single(bpy, tmp_path / "one", "Calm", "teal")
    bpy.ops.hingeleaf.bind_spreads(studio=False)
    # Its picture is only in the .blend now, so its description is read from elsewhere.
    (tmp_path / "one/art/page.png").unlink()
    show(bpy, 1)
    assert bpy.ops.hingeleaf.add_spread(title="Gale") == {"FINISHED"}
    assert spread_roots(bound_root(bpy))[1]["hingeleaf_folder"] == root["hingeleaf_folder"]


def test_the_designs_of_a_long_book_are_kept(bpy):
    from bl_ext.user_default.hingeleaf import designing

    new_bound(bpy, 17)
    roots = spread_roots(bound_root(bpy))
    first = [designing.spread_of(root) for root in roots]
    assert all(designing.spread_of(root) is spread for root, spread in zip(roots, first, strict=True))


def test_cover_artwork_that_comes_later_is_shown(bpy, tmp_path):
    from bl_ext.user_default.hingeleaf import watching

    file = write_book(tmp_path / "book", files=("fold.toml",), cover='[cover]\nart_front = "art/late.png"\n')
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    watching.forget_files(altogether=True)
    assert board_image(bpy, "Front Board") is None
    late = picture(tmp_path / "book/art/late.png", "teal")
    watching.look_at_files(bpy.context), watching.look_at_files(bpy.context)
    assert board_image(bpy, "Front Board") == late.read_bytes()


def test_an_unreadable_place_is_said_in_a_sentence(bpy, tmp_path, monkeypatch):
    from pathlib import Path

    new_bound(bpy, 1)
    (tmp_path / "harbor-1.toml").write_text("mine")

    def refuse(self):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(RuntimeError, match=r"harbor-1\.toml: cannot be read \(Permission denied\)"):
        bpy.ops.hingeleaf.save_bound(filepath=str(tmp_path / "book.toml"))
