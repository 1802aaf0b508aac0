"""Baked keyframes against the driven motion, in a Blender that knows nothing of Hingeleaf."""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from tests.addon.driven import CORNERS, FIRST, LAST, OPEN, TIMES, animate, assert_follow, card_of, driven_corners

ROOT = Path(__file__).resolve().parents[2]
SCENES = ["v-fold", "cut-in-step", "platform", "flap", "pull-strip", "demo/low-tide"]

#: Opens a file without scripts and prints where the corners of objects are.
RELOADED = (
    CORNERS
    + """
import json, sys
bpy.ops.wm.open_mainfile(filepath=sys.argv[1], use_scripts=False)
assert not [name for name in bpy.context.preferences.addons.keys() if "hingeleaf" in name]
collection = bpy.data.collections[sys.argv[2]]
for item in collection.objects:
    assert not item.constraints, item.name
    assert item.animation_data is None or not item.animation_data.drivers, item.name
    assert not [key for key in item.keys() if key.startswith("hingeleaf")], item.name
items = {item.name.removesuffix(" Baked"): item for item in collection.objects if item.type == "MESH"}
rows = [corners(items, time) for time in json.loads(sys.argv[3])]
json.dump({name: [row[name] for row in rows] for name in items}, open(sys.argv[4], "w"))
"""
)


def bake(bpy, **options):
    options = {"start": FIRST, "end": LAST, **options}
    assert bpy.ops.hingeleaf.bake_motion("EXEC_DEFAULT", **options) == {"FINISHED"}
    return next(item for item in bpy.data.collections if item.name.endswith(" Baked"))


def curves_of(item):
    """F-curves of an object, of 4.5's layout or a later one."""
    action = item.animation_data.action if item.animation_data else None
    if action is None:
        return []
    bags = [bag for layer in action.layers for strip in layer.strips for bag in strip.channelbags]
    return [curve for bag in bags for curve in bag.fcurves]


@pytest.mark.parametrize("scene", SCENES)
def test_baked_file_moves_as_the_book_did(bpy, open_scene, plain_blender, tmp_path, scene):
    root = open_scene(f"scenes/{scene}.toml")
    animate(root)
    want = driven_corners(card_of(root))
    assert max(np.ptp(places, axis=0).max() for places in want.values()) > 50.0
    baked = bake(bpy, keep=False)
    assert not set(want) & {item.name for item in bpy.data.objects}, "the book itself is gone"
    blend, answer = tmp_path / "baked.blend", tmp_path / "corners.json"
    bpy.ops.wm.save_as_mainfile(filepath=str(blend), copy=True)
    plain_blender(RELOADED, blend, baked.name, json.dumps(TIMES), answer)
    got = json.loads(answer.read_text())
    assert set(got) == set(want)
    assert_follow(got, want, 0.011)


def test_as_few_keyframes_as_needed_or_one_on_every_frame(bpy, open_scene):
    root = open_scene("scenes/v-fold.toml")
    animate(root)
    want = driven_corners(card_of(root))
    for keys in ("EVERY", "NEEDED"):
        baked = bake(bpy, spacing=keys)
        items = {item.name.removesuffix(" Baked"): item for item in baked.objects if item.type == "MESH"}
        got = driven_corners(items)
        counts = {len(curve.keyframe_points) for item in items.values() for curve in curves_of(item)}
        if keys == "EVERY":
            assert counts == {LAST - FIRST + 1}
            whole = slice(None, None, 2)
            for name in want:
                assert np.abs(got[name][whole] - want[name][whole]).max() < 0.005, name
        else:
            assert_follow(got, want, 0.011)
            page = curves_of(items["page.left"])
            assert [curve.data_path for curve in page] == ["rotation_euler"], "a page turns about its spine alone"
            assert max(counts) < len(TIMES) - 2 * (LAST - OPEN) + 3, "none where nothing moves"


def test_the_book_stays_hidden_and_is_shown_again(bpy, open_scene):
    root = open_scene("scenes/v-fold.toml")
    animate(root)
    before = {item.name for item in bpy.data.objects}
    actions, meshes = len(bpy.data.actions), len(bpy.data.meshes)
    baked = bake(bpy)
    panels = card_of(root)
    assert not {item.data for item in baked.objects if item.data} & {item.data for item in panels.values()}
    assert all(item.hide_render and item.hide_get() for item in panels.values())
    assert not any(item.hide_render or item.hide_get() for item in baked.objects)
    assert not bpy.data.objects["Table"].hide_render, "the studio is still there"
    again = bake(bpy)
    assert len([item for item in bpy.data.collections if "Baked" in item.name]) == 1
    assert len(again.objects) == len(panels) + 1
    assert bpy.ops.hingeleaf.remove_bake() == {"FINISHED"}
    assert not any(item.hide_render or item.hide_get() for item in panels.values())
    assert {item.name for item in bpy.data.objects} == before
    assert (len(bpy.data.actions), len(bpy.data.meshes)) == (actions, meshes)
    assert not [key for item in panels.values() for key in list(item.keys()) if "hidden" in key]


def test_a_renamed_book_and_a_copy_deleted_by_hand_leave_nothing_hidden(bpy, open_scene):
    root = open_scene("scenes/v-fold.toml")
    animate(root)
    panels = card_of(root)
    bake(bpy)
    root.name = "Another Name"
    assert bpy.ops.hingeleaf.remove_bake() == {"FINISHED"}
    assert not any(item.hide_render or item.hide_get() for item in panels.values())
    for _ in range(2):
        baked = bake(bpy)
        assert not any(item.hide_render or item.hide_get() for item in baked.objects)
        bpy.data.batch_remove([*baked.objects, baked])
    assert all(item.hide_render and item.hide_get() for item in panels.values())
    assert bpy.ops.hingeleaf.remove_bake() == {"FINISHED"}
    assert not any(item.hide_render or item.hide_get() for item in panels.values())


def test_of_several_copies_the_active_one_is_removed(bpy, open_scene):
    copies = []
    for scene in ("v-fold", "cut-in-step"):
        animate(open_scene(f"scenes/{scene}.toml"))
        before = set(bpy.data.collections)
        bake(bpy)
        copies += set(bpy.data.collections) - before
    names = [item.name for item in copies]
    # A book that is opened shuts away all else of the scene.
    bpy.context.view_layer.layer_collection.children[names[0]].exclude = False
    bpy.context.view_layer.objects.active = copies[0].objects[0]
    assert bpy.ops.hingeleaf.remove_bake() == {"FINISHED"}
    assert [name in bpy.data.collections for name in names] == [False, True]


def test_hidden_panels_move_and_stay_hidden(bpy, open_scene):
    root = open_scene("scenes/v-fold.toml")
    animate(root)
    want = driven_corners(card_of(root))
    *disabled, closed = card_of(root).values()
    for item in disabled:
        item.hide_viewport = True
    closed.hide_set(True)
    baked = bake(bpy)
    assert all(item.hide_viewport for item in disabled)
    for item in baked.objects:
        item.hide_viewport = False
    got = driven_corners({item.name.removesuffix(" Baked"): item for item in baked.objects if item.type == "MESH"})
    assert_follow(got, want, 0.011)


def test_a_panel_that_is_not_rendered_still_carries_what_is(bpy, open_scene):
    root = open_scene("scenes/cut-in-step.toml")
    animate(root)
    panels = card_of(root)
    carrier = next(item for item in panels.values() if any(child.name in panels for child in item.children))
    carrier.hide_render = True
    baked = bake(bpy)
    assert {item.name for item in baked.objects if item.type == "MESH"} == {f"{name} Baked" for name in panels}
    assert [item.name for item in baked.objects if item.hide_render] == [f"{carrier.name} Baked"]
    assert bpy.ops.hingeleaf.remove_bake() == {"FINISHED"}
    assert [item for item in panels.values() if item.hide_render] == [carrier]


def test_a_linked_book_is_neither_baked_nor_exported(bpy, open_scene, tmp_path):
    root = open_scene("scenes/v-fold.toml")
    animate(root)
    name, blend = root.users_collection[0].name, tmp_path / "book.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(blend), copy=True)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.ops.preferences.addon_enable(module="io_scene_gltf2")
    with bpy.data.libraries.load(str(blend), link=True) as (_, wanted):
        wanted.collections = [name]
    bpy.context.scene.collection.children.link(wanted.collections[0])
    for act, options in (
        (bpy.ops.hingeleaf.bake_motion, {}),
        (bpy.ops.hingeleaf.export_gltf, {"filepath": str(tmp_path / "book.glb")}),
        (bpy.ops.hingeleaf.export_usd, {"filepath": str(tmp_path / "book.usdc")}),
    ):
        with pytest.raises(RuntimeError, match="press Make Book Local"):
            act("EXEC_DEFAULT", start=FIRST, end=LAST, **options)
    assert [path.name for path in tmp_path.iterdir()] == ["book.blend"]


def test_undo_takes_it_back_wholly(bpy, open_scene):
    root = open_scene("scenes/v-fold.toml")
    animate(root)
    bpy.ops.ed.undo_push(message="base")
    before = {(kind, item.name) for kind in ("objects", "actions", "collections") for item in getattr(bpy.data, kind)}
    bpy.ops.hingeleaf.bake_motion("EXEC_DEFAULT", True, start=FIRST, end=LAST, keep=False)
    assert "page.left" not in bpy.data.objects
    bpy.ops.ed.undo()
    after = {(kind, item.name) for kind in ("objects", "actions", "collections") for item in getattr(bpy.data, kind)}
    assert after == before
    assert not bpy.data.objects["page.left"].hide_render


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ({"start": 10, "end": 5}, "comes before the first"),
        ({"start": 1, "end": 1_000_000}, "choose a shorter range"),
        ({"start": 400, "end": 420}, "give its opening keyframes first"),
    ],
)
def test_what_cannot_be_baked_is_refused_in_one_sentence(bpy, open_scene, options, said):
    root = open_scene("scenes/v-fold.toml")
    animate(root)
    before = {item.name for item in bpy.data.objects}
    with pytest.raises(RuntimeError, match=said):
        bpy.ops.hingeleaf.bake_motion("EXEC_DEFAULT", **options)
    assert {item.name for item in bpy.data.objects} == before
    assert not card_of(root)["page.left"].hide_render


def test_placed_book_is_baked_where_it_stands(bpy, open_scene):
    """A root that a user has moved, turned and hung on something."""
    root = open_scene("scenes/cut-in-step.toml")
    carrier = bpy.data.objects.new("Carrier", None)
    bpy.context.scene.collection.objects.link(carrier)
    for frame, place in ((1, 0.0), (37, 0.5)):
        carrier.location.x = place
        carrier.keyframe_insert("location", frame=frame)
    root.parent = carrier
    root.location = (0.1, 0.2, 0.3)
    root.rotation_euler = (0.2, 0.4, 1.0)
    animate(root)
    want = driven_corners(card_of(root))
    baked = bake(bpy)
    got = driven_corners({item.name.removesuffix(" Baked"): item for item in baked.objects if item.type == "MESH"})
    assert_follow(got, want, 0.011)


@pytest.mark.parametrize("keep", [True, False])
def test_bound_book_turns_on_without_its_leaves(bpy, tmp_path, keep):
    """Leaves that copy others, and drivers with expressions: all of it ends as keyframes."""
    for name in ("v-fold", "cut-in-step"):
        shutil.copy(ROOT / "scenes" / f"{name}.toml", tmp_path)
    book = tmp_path / "book.toml"
    spreads = "".join(f'[[spread]]\nfile = "{name}.toml"\n' for name in ("v-fold", "cut-in-step"))
    book.write_text(f'format = 1\ntitle = "Bound"\n{spreads}')
    assert bpy.ops.hingeleaf.open_description(filepath=str(book)) == {"FINISHED"}
    top = next(item for item in bpy.data.objects if "turn" in item)
    for frame, turn in ((FIRST, 0.0), (LAST, 3.0)):
        top["turn"] = turn
        top.keyframe_insert('["turn"]', frame=frame)
    studio = {item for item in bpy.data.collections["Studio"].objects if item.parent in (top, None)}
    supports = {item for item in studio if "hingeleaf_support" in item}
    assert len(supports) == 2, "blocks that keep the open book level, and move with it"
    studio -= supports
    items = {item.name: item for item in top.children_recursive if item.type == "MESH" and item not in studio}
    want = driven_corners(items)
    assert np.ptp(want["page.left"], axis=0).max() > 100.0
    baked = bake(bpy, keep=keep)
    got = {item.name.removesuffix(" Baked"): item for item in baked.objects if item.type == "MESH"}
    assert set(got) == set(want)
    for name, places in driven_corners(got).items():
        assert np.abs(places - want[name]).max() < 0.012, name
    assert not [key for item in baked.objects for key in list(item.keys()) if key != "cycles"]
    assert not [item for item in baked.objects if item.constraints]
