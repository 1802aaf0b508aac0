"""A mechanism marked as an asset carries itself, and what is dropped stands on the nearest fold that can carry it."""

import numpy as np
import pytest

from tests.geometry.scene_texts import HILL, ROOF, SUN, head

DESCRIPTION = head("Stage", "[140, 200]") + HILL + 'art_front = "sky.png"\n' + SUN + ROOF
PLAIN = """
format = 1
title = "Plain"
[page]
size = [150, 210]
[stock.card]
grammage = 300
[[mechanism]]
kind = "tent"
id = "house"
fold = "spine"
at = 20
length = 60
base = 25
height = 35
"""


@pytest.fixture
def open_text(bpy, tmp_path):
    def open_text(text, name):
        from PIL import Image

        folder = tmp_path / name
        folder.mkdir()
        Image.new("RGB", (50, 40), (10, 200, 30)).save(folder / "sky.png")
        (folder / "book.toml").write_text(text)
        assert bpy.ops.hingeleaf.open_description(filepath=str(folder / "book.toml"), studio=False, alone=False) == {
            "FINISHED"
        }
        return bpy.context.view_layer.objects.active

    return open_text


@pytest.fixture
def asset(bpy, open_text, rig):
    """The v-fold with its rider as an asset, and its book."""
    root = open_text(DESCRIPTION, "one")
    bpy.context.view_layer.objects.active = rig.panels(root)["hill.left"]
    assert bpy.ops.hingeleaf.mark_asset() == {"FINISHED"}
    return bpy.data.objects["hill"], root


def drop(bpy, item, place):
    """What Blender does when an asset of the same file is dropped."""
    copy = item.copy()
    copy.location = place
    bpy.context.scene.collection.objects.link(copy)
    bpy.context.view_layer.objects.active = copy
    bpy.context.view_layer.update()
    return copy


def specs(root):
    from geometry import parse_description

    return {spec.id: spec for spec in parse_description(root["hingeleaf_description"]).mechanisms}


def test_the_asset_shows_the_mechanism_as_it_stands(bpy, asset, rig):
    item, root = asset
    assert item.asset_data is not None
    assert "Hingeleaf" in item.asset_data.tags
    assert "1 more" in item.asset_data.description
    assert item.hide_render
    assert item.name not in bpy.context.view_layer.objects
    panels = rig.panels(root)
    names = [name for name in panels if name.split(".")[0] in ("hill", "sun")]
    assert len(names) == 5
    bpy.context.view_layer.update()
    depsgraph = bpy.context.evaluated_depsgraph_get()
    expected = []
    for name in names:
        seen = panels[name].evaluated_get(depsgraph)
        matrix = np.array(seen.matrix_world)
        expected += [matrix[:3, :3] @ vertex.co + matrix[:3, 3] for vertex in seen.data.vertices]
    # Its origin is where the apex meets the spine.
    expected = np.array(expected) - [0, 0.060, 0]
    found = np.array([vertex.co for vertex in item.data.vertices])
    assert len(found) == len(expected)
    order, other = (points[np.lexsort(points.round(6).T)] for points in (found, expected))
    assert np.abs(order - other).max() < 1e-5
    assert len(item.data.uv_layers) == 1
    assert {slot.material.name for slot in item.material_slots} >= {"Stage: hill front", "Stage: sun front"}


def test_dropped_on_another_book_it_stands_on_its_nearest_fold(bpy, asset, open_text, rig):
    item, one = asset
    other = open_text(PLAIN, "two")
    other.location = (0.5, 0.1, 0.2)
    bpy.context.view_layer.update()
    copy = drop(bpy, item, (0.51, 0.1 + 0.12, 0.21))
    assert bpy.ops.hingeleaf.place_asset() == {"FINISHED"}
    found = specs(other)
    assert list(found) == ["house", "hill", "sun"]
    assert found["hill"].values["fold"] == "spine"
    assert found["hill"].values["at"] == pytest.approx(120)
    assert list(specs(one)) == ["hill", "sun", "roof"]
    assert len(bpy.data.objects["hill"].users_collection) == 1
    with pytest.raises(ReferenceError):
        copy.name.strip()
    nodes = rig.panels(other)["hill.left"].material_slots[0].material.node_tree.nodes
    image = next(node.image for node in nodes if node.type == "TEX_IMAGE")
    assert tuple(round(255 * value) for value in image.pixels[:3]) == (10, 200, 30)


def test_a_fold_of_a_mechanism_may_be_nearer(bpy, asset, open_text, rig):
    """Over the middle crease of the tent, high above the spine."""
    item, _ = asset
    other = open_text(PLAIN, "two")
    other.location = (0.5, 0, 0)
    rig.set_opening(other, 120)
    bpy.context.view_layer.update()
    panel = rig.panels(other)["house.left"]
    ridge = max((tuple(corner) for corner in rig.world(panel)), key=lambda corner: corner[2])
    drop(bpy, item, (ridge[0] / 1000, 0.045, ridge[2] / 1000))
    assert bpy.ops.hingeleaf.place_asset() == {"FINISHED"}
    assert specs(other)["hill"].values["fold"] == "house.middle"


def test_dropped_in_its_own_book_it_gets_a_name_of_its_own(bpy, asset):
    item, root = asset
    drop(bpy, item, (0, 0.1, 0))
    assert bpy.ops.hingeleaf.place_asset() == {"FINISHED"}
    assert len(specs(root)) == 5
    assert [spec.kind for spec in specs(root).values()] == ["v-fold", "rider", "tent", "v-fold", "rider"]
    assert len(bpy.data.images) == 1


def test_appended_from_another_file_with_its_artwork(bpy, asset, open_text, tmp_path, rig):
    """The file that it came from and all its pictures are gone when the design is used."""
    import shutil

    blend = tmp_path / "assets.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(blend), copy=True)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    shutil.rmtree(tmp_path / "one")
    other = open_text(PLAIN, "two")
    (tmp_path / "two" / "sky.png").write_bytes(b"another picture")
    with bpy.data.libraries.load(str(blend), assets_only=True) as (source, target):
        target.objects = list(source.objects)
    assert [item.name for item in target.objects] == ["hill"]
    item = target.objects[0]
    item.location = (0, 0.12, 0)
    bpy.context.scene.collection.objects.link(item)
    if item.asset_data is not None:
        item.asset_clear()
    bpy.context.view_layer.update()
    assert bpy.ops.hingeleaf.place_asset(name=item.name) == {"FINISHED"}
    assert specs(other)["hill"].values["art_front"].endswith("sky-2.png")
    nodes = rig.panels(other)["hill.left"].material_slots[0].material.node_tree.nodes
    image = next(node.image for node in nodes if node.type == "TEX_IMAGE")
    assert tuple(round(255 * value) for value in image.pixels[:3]) == (10, 200, 30)
    target = tmp_path / "three" / "new.toml"
    assert bpy.ops.hingeleaf.save_description(filepath=str(target)) == {"FINISHED"}
    assert (target.parent / "sky-2.png").is_file()


def test_where_it_can_stand_nowhere_the_object_stays(bpy, asset, open_text, rig):
    _, root = asset
    bpy.context.view_layer.objects.active = rig.panels(root)["roof.left"]
    bpy.ops.hingeleaf.mark_asset()
    long = bpy.data.objects["roof"]
    long["hingeleaf_cutting"] = long["hingeleaf_cutting"].replace("length = 40", "length = 400")
    before = root["hingeleaf_description"]
    copy = drop(bpy, long, (0, 0.1, 0))
    with pytest.raises(RuntimeError, match="can stand nowhere here"):
        bpy.ops.hingeleaf.place_asset()
    assert copy.name in bpy.data.objects
    assert root["hingeleaf_description"] == before


def test_undo_takes_it_out_and_brings_the_copy_back(bpy, asset):
    item, root = asset
    name, before = root.name, root["hingeleaf_description"]
    copy = drop(bpy, item, (0, 0.1, 0)).name
    bpy.ops.ed.undo_push(message="drop")
    bpy.ops.hingeleaf.place_asset("EXEC_DEFAULT", True)
    assert bpy.data.objects[name]["hingeleaf_description"] != before
    bpy.ops.ed.undo()
    assert bpy.data.objects[name]["hingeleaf_description"] == before
    assert copy in bpy.data.objects


def test_only_what_was_dropped_is_placed(bpy, asset, rig):
    _, root = asset
    bpy.context.view_layer.objects.active = rig.panels(root)["hill.left"]
    with pytest.raises(RuntimeError, match="dropped from the Asset Browser"):
        bpy.ops.hingeleaf.place_asset()


def test_a_dropped_copy_is_noticed_once(bpy, asset):
    """The timer that the handler starts never runs here; that it is started, and not again, is seen."""
    import importlib
    import sys

    assets = importlib.import_module(next(name for name in sys.modules if name.endswith("hingeleaf.assets")))
    item, _ = asset
    bpy.context.view_layer.update()
    assert not bpy.app.timers.is_registered(assets._place_now)
    bpy.context.scene.collection.objects.link(bpy.data.objects.new("other", None))
    bpy.context.view_layer.update()
    assert not bpy.app.timers.is_registered(assets._place_now)
    drop(bpy, item, (0, 0.1, 0))
    assert bpy.app.timers.is_registered(assets._place_now)
    bpy.app.timers.unregister(assets._place_now)
    assets.mark_seen()
    bpy.context.scene.collection.objects.link(bpy.data.objects.new("one more", None))
    bpy.context.view_layer.update()
    assert not bpy.app.timers.is_registered(assets._place_now)
