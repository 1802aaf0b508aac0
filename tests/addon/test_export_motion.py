"""Exports against the driven motion, read in a Blender without Hingeleaf, and glTF by an outside reader too."""

import io
import json
import struct
import zlib
from functools import partial
from types import SimpleNamespace

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

    bpy.context.window.view_layer = bpy.context.scene.view_layers.new("Another")
    bpy.context.scene.frame_set(7)
    before = everything(), bpy.context.scene.frame_current, [image.packed_file.size for image in bpy.data.images]
    for kind, ending in (("gltf", "glb"), ("usd", "usdz")):
        assert export(bpy, kind, tmp_path / f"book.{ending}") == {"FINISHED"}
        after = everything(), bpy.context.scene.frame_current, [image.packed_file.size for image in bpy.data.images]
        assert after == before
        assert bpy.context.window.view_layer.name == "Another"
    assert bpy.context.scene.name == root.users_scene[0].name
    assert sorted(path.name for path in tmp_path.iterdir()) == ["book.glb", "book.usdz"]


def write_png(path, color, depth):
    """A picture of one colour, 206 by 146 pixels; written here, since few write 16 bits with alpha (PNG, RFC 2083)."""
    row = b"\0" + 206 * b"".join((value * 257).to_bytes(2, "big") if depth == 16 else bytes([value]) for value in color)

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", 206, 146, depth, 6, 0, 0, 0)
    chunks = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(146 * row)) + chunk(b"IEND", b"")
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + chunks)


def over(color, alpha, ground):
    """One 8-bit sRGB colour over another, mixed scene-linear (IEC 61966-2-1, recalled)."""

    def linear(value):
        return value / 255 / 12.92 if value / 255 <= 0.04045 else ((value / 255 + 0.055) / 1.055) ** 2.4

    mixed = [alpha * linear(one) + (1 - alpha) * linear(other) for one, other in zip(color, ground, strict=True)]
    return [255 * (1.055 * value ** (1 / 2.4) - 0.055) for value in mixed]


@pytest.mark.parametrize(("depth", "alpha"), [(8, 0), (8, 128), (16, 128)])
def test_artwork_in_a_gltf_is_opaque_and_lies_where_it_is_painted(bpy, tmp_path, depth, alpha):
    """Transparent artwork shows the card's own colour; UV as glTF has it, from the upper left."""
    from PIL import Image

    write_png(tmp_path / "art.png", (200, 120, 40, alpha), depth)
    scene = tmp_path / "painted.toml"
    scene.write_text(
        'format = 1\n[page]\nsize = [100, 140]\nart_front = "art.png"\n'
        '[stock.card]\ngrammage = 250\ncolor = "#336699"\n'
    )
    bpy.ops.preferences.addon_enable(module="io_scene_gltf2")
    assert bpy.ops.hingeleaf.open_description(filepath=str(scene)) == {"FINISHED"}
    animate(bpy.context.view_layer.objects.active)
    for own in list(bpy.data.materials):
        # A user's own that is called as a plain one would be.
        bpy.data.materials.new(f"{own.name} (plain)")
    assert export(bpy, "gltf", tmp_path / "book.glb") == {"FINISHED"}
    outside = Gltf(tmp_path / "book.glb")
    material = next(item for item in outside.tree["materials"] if "front" in item["name"])
    assert material.get("alphaMode", "OPAQUE") == "OPAQUE"
    texture = outside.tree["textures"][material["pbrMetallicRoughness"]["baseColorTexture"]["index"]]
    image = outside.tree["images"][texture["source"]]
    pixels = np.asarray(Image.open(io.BytesIO(outside.view(image["bufferView"]))).convert("RGB"))
    assert np.abs(pixels - over((200, 120, 40), alpha / 255, (0x33, 0x66, 0x99))).max() <= 1
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


def test_files_of_others_are_left_alone(bpy, tmp_path):
    """Two books whose artwork has one name, into a folder where a user has files of such names, too."""
    own = [tmp_path / "out" / "textures" / "page.png", tmp_path / "out" / "part-one.usda"]
    own[0].parent.mkdir(parents=True)
    for file in own:
        file.write_bytes(b"the user's")
    used = {}
    for title, color in (("one", (200, 120, 40, 255)), ("two", (20, 60, 240, 255))):
        folder = tmp_path / title
        folder.mkdir()
        write_png(folder / "page.png", color, 8)
        (folder / "book.toml").write_text('format = 1\n[page]\nsize = [100, 140]\nart_front = "page.png"\n')
        assert bpy.ops.hingeleaf.open_description(filepath=str(folder / "book.toml")) == {"FINISHED"}
        animate(bpy.context.view_layer.objects.active)
        file = tmp_path / "out" / f"{title}.usda"
        for _ in range(2):
            assert export(bpy, "usd", file) == {"FINISHED"}
        text = file.read_text()
        assert "hingeleaf-" not in text, "nothing of the folder it was written in"
        used[title] = {file.parent / part.partition("@")[0] for part in text.split("inputs:file = @")[1:]}
    for title, files in used.items():
        assert [file.read_bytes() for file in files] == [(tmp_path / title / "page.png").read_bytes()]
    assert all(file.read_bytes() == b"the user's" for file in own)
    assert {path.name for path in own[1].parent.iterdir()} == {"one.usda", "two.usda", "textures", "part-one.usda"}


def test_what_is_not_shown_in_the_viewport_moves_in_a_file_and_what_is_not_rendered_is_not_drawn(bpy, driven, tmp_path):
    root, want = driven("cut-in-step")
    panels = card_of(root)
    carrier = next(item for item in panels.values() if any(child.name in panels for child in item.children))
    carrier.hide_render = True
    for item in panels.values():
        item.hide_viewport = True
    assert export(bpy, "gltf", tmp_path / "book.glb") == {"FINISHED"}
    assert all(item.hide_viewport for item in panels.values())
    outside = Gltf(tmp_path / "book.glb")
    rows = [outside.corners(time / 24.0) for time in TIMES]
    del want[carrier.name]
    assert set(rows[0]) == set(want)
    assert_follow({name: np.array([row[name] for row in rows]) for name in want}, want)


def test_frames_before_0_are_in_the_file(bpy, driven, tmp_path):
    _, want = driven("v-fold")
    assert export(bpy, "gltf", tmp_path / "book.glb", start=-12) == {"FINISHED"}
    outside = Gltf(tmp_path / "book.glb")
    rows = [outside.corners((time + 12) / 24.0) for time in TIMES]
    assert_follow({name: np.array([row[name] for row in rows]) for name in want}, want)


def test_blender_asks_before_it_overwrites(bpy):
    """It looks for the file that is called as it will be."""
    from bl_ext.user_default.hingeleaf.operators import export_motion

    kinds = {"gltf": {"": ".glb", ".glb": ".glb", ".v2": ".v2.glb"}, "usd": {"": ".usdc", ".USDZ": ".USDZ"}}
    for kind, ends in kinds.items():
        asked_for = getattr(bpy.ops.hingeleaf, f"export_{kind}").get_rna_type().properties
        assert asked_for["check_existing"].default
        operator = getattr(export_motion, f"HINGELEAF_OT_export_{kind}")
        for given, end in ends.items():
            asked = SimpleNamespace(filepath=f"book{given}", ends=operator.ends)
            asked.ended = partial(operator.ended, asked)
            assert operator.check(asked, None) == (given != end)
            assert asked.filepath == f"book{end}"
