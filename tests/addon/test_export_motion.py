"""Exports against the driven motion, read in a Blender without Hingeleaf, and glTF by an outside reader too."""

import json

import numpy as np
import pytest

from tests.addon.driven import CORNERS, FIRST, LAST, TIMES, Gltf, animate, assert_follow, card_of, driven_corners

SCENES = ["v-fold", "cut-in-step", "platform", "flap", "pull-strip", "demo/low-tide"]

#: Imports a file and prints where the corners of objects are; frames of the file go by twice as fast.
RELOADED = (
    CORNERS
    + """
import json, re, sys
bpy.ops.wm.read_factory_settings(use_empty=True)
assert not [name for name in bpy.context.preferences.addons.keys() if "hingeleaf" in name]
scene = bpy.context.scene
scene.render.fps = 48
if sys.argv[1].endswith(".glb"):
    bpy.ops.preferences.addon_enable(module="io_scene_gltf2")
    bpy.ops.import_scene.gltf(filepath=sys.argv[1], merge_vertices=False)
else:
    bpy.ops.wm.usd_import(filepath=sys.argv[1], set_frame_range=True)
    scene.render.fps = 48
names, found = json.loads(sys.argv[4]), {}
def called(item):
    return names.get(re.sub("[ _]card([._]?[0-9]+)?$", "", item.name)) or called(item.parent)
for item in bpy.data.objects:
    if item.type == "MESH":
        found[called(item)] = item
rows = [corners(found, 2 * time) for time in json.loads(sys.argv[2])]
json.dump({name: [row[name] for row in rows] for name in found}, open(sys.argv[3], "w"))
print("IMAGES", len([image for image in bpy.data.images if all(image.size)]))
"""
)


@pytest.fixture
def driven(bpy, open_scene):
    """Opens a scene that moves; returns its root and where its corners are."""
    bpy.ops.preferences.addon_enable(module="io_scene_gltf2")

    def driven(scene):
        root = open_scene(f"scenes/{scene}.toml")
        animate(root)
        return root, driven_corners(card_of(root))

    return driven


def export(bpy, kind, path, **options):
    options = {"start": FIRST, "end": LAST, **options}
    return getattr(bpy.ops.hingeleaf, f"export_{kind}")("EXEC_DEFAULT", filepath=str(path), **options)


def reload(plain_blender, tmp_path, file, names):
    answer = tmp_path / f"{file.suffix[1:]}.json"
    printed = plain_blender(RELOADED, file, json.dumps(TIMES), answer, json.dumps(names))
    return json.loads(answer.read_text()), int(printed.partition("IMAGES")[2].split()[0])


@pytest.mark.parametrize("scene", SCENES)
def test_gltf_moves_as_the_book_did(bpy, driven, plain_blender, tmp_path, scene):
    _, want = driven(scene)
    file = tmp_path / "book.glb"
    assert export(bpy, "gltf", file) == {"FINISHED"}
    outside = Gltf(file)
    rows = [outside.corners(time / 24.0) for time in TIMES]
    assert set(rows[0]) == set(want)
    assert_follow({name: np.array([row[name] for row in rows]) for name in want}, want)
    got, images = reload(plain_blender, tmp_path, file, {name: name for name in want})
    assert_follow(got, want)
    assert (images > 0) == scene.startswith("demo")


@pytest.mark.parametrize("scene", SCENES)
def test_usd_moves_as_the_book_did(bpy, driven, plain_blender, tmp_path, scene):
    _, want = driven(scene)
    file = tmp_path / "book.usdc"
    assert export(bpy, "usd", file) == {"FINISHED"}
    # USD's names have neither dots nor blanks.
    names = {name.replace(".", "_").replace(" ", "_"): name for name in want}
    got, images = reload(plain_blender, tmp_path, file, names)
    assert set(got) == set(want)
    assert_follow(got, want)
    assert (images > 0) == scene.startswith("demo")


def test_scene_is_as_it_was_after_an_export(bpy, driven, tmp_path):
    root, _ = driven("demo/low-tide")

    def everything():
        kinds = ("scenes", "objects", "meshes", "materials", "images", "actions", "collections")
        return {(kind, item.name) for kind in kinds for item in getattr(bpy.data, kind)}

    bpy.context.scene.frame_set(7)
    before = everything(), bpy.context.scene.frame_current, [image.packed_file.size for image in bpy.data.images]
    for kind, ending in (("gltf", "glb"), ("usd", "usdz")):
        assert export(bpy, kind, tmp_path / f"book.{ending}") == {"FINISHED"}
        after = everything(), bpy.context.scene.frame_current, [image.packed_file.size for image in bpy.data.images]
        assert after == before
    assert bpy.context.scene.name == root.users_scene[0].name
    assert sorted(path.name for path in tmp_path.iterdir()) == ["book.glb", "book.usdz"]


def test_artwork_in_a_gltf_is_opaque_and_lies_where_it_is_painted(bpy, tmp_path):
    """Transparent artwork shows the card's own colour; UV as glTF has it, from the upper left."""
    import io

    from PIL import Image

    Image.new("RGBA", (206, 146), (200, 120, 40, 0)).save(tmp_path / "art.png")
    scene = tmp_path / "painted.toml"
    scene.write_text(
        'format = 1\n[page]\nsize = [100, 140]\nart_front = "art.png"\n'
        '[stock.card]\ngrammage = 250\ncolor = "#336699"\n'
    )
    bpy.ops.preferences.addon_enable(module="io_scene_gltf2")
    assert bpy.ops.hingeleaf.open_description(filepath=str(scene)) == {"FINISHED"}
    animate(bpy.context.view_layer.objects.active)
    assert export(bpy, "gltf", tmp_path / "book.glb") == {"FINISHED"}
    outside = Gltf(tmp_path / "book.glb")
    material = next(item for item in outside.tree["materials"] if "front" in item["name"])
    assert material.get("alphaMode", "OPAQUE") == "OPAQUE"
    texture = outside.tree["textures"][material["pbrMetallicRoughness"]["baseColorTexture"]["index"]]
    image = outside.tree["images"][texture["source"]]
    pixels = np.asarray(Image.open(io.BytesIO(outside.view(image["bufferView"]))).convert("RGB"))
    assert np.abs(pixels.astype(int) - [0x33, 0x66, 0x99]).max() <= 1
    node = next(item for item in outside.tree["nodes"] if item.get("name") == "page.right")
    part = outside.tree["meshes"][node["mesh"]]["primitives"][0]
    places = outside.accessor(part["attributes"]["TEXCOORD_0"])
    points = 1000.0 * outside.accessor(part["attributes"]["POSITION"])
    want = np.column_stack([(points[:, 0] + 103.0) / 206.0, 1.0 - (-points[:, 2] + 3.0) / 146.0])
    assert np.abs(places - want).max() < 1e-6


@pytest.mark.parametrize("kind", ["gltf", "usd"])
def test_bad_paths_are_refused_in_one_sentence(bpy, open_scene, tmp_path, kind):
    bpy.ops.preferences.addon_enable(module="io_scene_gltf2")
    animate(open_scene("scenes/v-fold.toml"))
    ending = {"gltf": ".glb", "usd": ".usdc"}[kind]
    (tmp_path / f"folder{ending}").mkdir()
    for path, said in (
        (tmp_path / "book.obj", "ends in"),
        (tmp_path / "nowhere" / f"book{ending}", "is not there; make it first"),
        (tmp_path / f"folder{ending}", "this is a folder"),
        ("", "Choose the file"),
    ):
        with pytest.raises(RuntimeError, match=said) as error:
            export(bpy, kind, path)
        assert "Traceback" not in str(error.value)
    assert [path.name for path in tmp_path.iterdir()] == [f"folder{ending}"]


def test_without_the_gltf_addon_it_says_so(bpy, open_scene, tmp_path):
    animate(open_scene("scenes/v-fold.toml"))
    bpy.ops.preferences.addon_disable(module="io_scene_gltf2")
    with pytest.raises(RuntimeError, match="Turn on Blender's own add-on"):
        export(bpy, "gltf", tmp_path / "book.glb")


def test_a_file_that_cannot_be_finished_leaves_the_old_one(bpy, driven, tmp_path, monkeypatch):
    """What an exporter refuses half way leaves neither a part of a file nor a scene of its own."""
    from bl_ext.user_default.hingeleaf import exporting

    driven("v-fold")
    file = tmp_path / "book.glb"
    file.write_bytes(b"old")

    def refuse(*arguments):
        raise RuntimeError("Error: the disk is full")

    monkeypatch.setattr(exporting, "_fill", refuse)
    with pytest.raises(RuntimeError, match="the disk is full"):
        export(bpy, "gltf", file)
    assert file.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["book.glb"]
    assert len(bpy.data.scenes) == 1
    assert "page.left" in bpy.data.objects
