"""A bound book is kept whole: in files of its own, in a .blend alone, and linked from there."""

import numpy as np
import pytest

from geometry.binding import read_bound
from tests.addon.bound_books import (
    assert_moves,
    bound_root,
    core_of,
    show,
)
from tests.addon.conftest import ROOT


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
