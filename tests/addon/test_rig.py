"""The rig against the core, in the extension's Blender and in a plain one."""

import json

import numpy as np
import pytest

from geometry.tolerances import RIG_MM

#: Opens the file without scripts, sets openings, and prints the front corners of every panel, mm in the world.
PLAIN = """
import json, sys
import bpy, numpy as np
bpy.ops.wm.open_mainfile(filepath=sys.argv[1], use_scripts=False)
assert not [name for name in bpy.context.preferences.addons.keys() if "hingeleaf" in name]
assert not hasattr(bpy.types.Scene, "hingeleaf")
assert not bpy.context.preferences.filepaths.use_scripts_auto_execute
root = bpy.data.objects[sys.argv[2]]
result = []
for opening in json.load(open(sys.argv[3])):
    root["opening"] = opening
    root.update_tag()
    bpy.context.view_layer.update()
    corners = {}
    for item in root.children_recursive:
        if "hingeleaf_panel" in item:
            front = item.data.vertices[: len(item.data.vertices) // 2]
            corners[item["hingeleaf_panel"]] = [[1000 * c for c in item.matrix_world @ v.co] for v in front]
    result.append(corners)
json.dump(result, open(sys.argv[4], "w"))
"""


def between_samples(root, count):
    """Openings in the middle between two samples of the rig's curves, spread over all of them, degrees."""
    curves = [curve for item in root.children_recursive if item.animation_data for curve in item.animation_data.drivers]
    found = []
    for curve in curves:
        samples = np.empty(2 * len(curve.keyframe_points))
        curve.keyframe_points.foreach_get("co", samples)
        found.append(samples[::2])
    keys = np.unique(np.concatenate(found))
    keys = keys[(keys >= root.id_properties_ui("opening").as_dict()["min"]) & (keys <= root["opening"])]
    middles = (keys[:-1] + keys[1:]) / 2
    if len(middles) >= count:
        return middles[np.linspace(0, len(middles) - 1, count).astype(int)]
    extra = np.random.default_rng(5).uniform(keys[0], keys[-1], count - len(middles))
    return np.sort(np.concatenate([middles, extra]))


def net_corners(item, spread, name):
    """Front corners of a panel's object in net coordinates, recovered from its artwork coordinates."""
    from geometry.artwork import art_box

    left, low, right, high = art_box(spread, spread.panels[name].piece)
    count = len(item.data.vertices) // 2
    uvs = item.data.uv_layers[0].data
    places = np.full((count, 2), np.nan)
    for face in item.data.polygons:
        if face.material_index == 0 and max(face.vertices) < count:
            for loop in face.loop_indices:
                places[item.data.loops[loop].vertex_index] = uvs[loop].uv
    return np.array([left, low]) + places * [right - left, high - low]


def exact_corners(spread, openings_deg, nets):
    """The core's corners, by panel (openings, n, 3), mm."""
    from geometry.transforms import apply

    motion = spread.pose(np.radians(openings_deg))
    return {name: apply(motion.matrices[name], net) for name, net in nets.items()}


def test_corners_between_the_samples(open_scene, scene_file, spread_of, rig):
    root = open_scene(scene_file)
    spread = spread_of(scene_file)
    panels = rig.panels(root)
    openings = between_samples(root, 200)
    exact = exact_corners(spread, openings, {name: net_corners(item, spread, name) for name, item in panels.items()})
    for number, opening in enumerate(openings):
        rig.set_opening(root, opening)
        for name, item in panels.items():
            off = np.linalg.norm(rig.world(item) - exact[name][number], axis=1)
            assert off.max() < RIG_MM, f"{name} at {opening}"


def test_net_corners_are_the_outline(open_scene, scene_file, spread_of, rig):
    """The corners that the other tests follow are those of the core's outlines, every one."""
    spread = spread_of(scene_file)
    for name, item in rig.panels(open_scene(scene_file)).items():
        outline = spread.panels[name].outline
        rings = [np.asarray(ring.coords)[:-1] for ring in (outline.exterior, *outline.interiors)]
        want = np.concatenate(rings)
        got = net_corners(item, spread, name)
        assert len(got) == len(want)
        nearest = np.linalg.norm(got[:, None] - want[None], axis=2).min(axis=0)
        assert nearest.max() < 1e-4


def test_file_moves_in_a_plain_blender_without_scripts(bpy, open_scene, spread_of, rig, plain_blender, tmp_path):
    scene = "scenes/cut-in-in-a-cut-in.toml"
    root = open_scene(scene)
    spread = spread_of(scene)
    nets = {name: net_corners(item, spread, name) for name, item in rig.panels(root).items()}
    openings = between_samples(root, 200)
    wanted, blend, answer = tmp_path / "openings.json", tmp_path / "book.blend", tmp_path / "corners.json"
    wanted.write_text(json.dumps(openings.tolist()))
    bpy.ops.wm.save_as_mainfile(filepath=str(blend), copy=True)
    plain_blender(PLAIN, blend, root.name, wanted, answer)
    exact = exact_corners(spread, openings, nets)
    for number, corners in enumerate(json.loads(answer.read_text())):
        assert set(corners) == set(nets)
        for name, points in corners.items():
            off = np.linalg.norm(np.array(points) - exact[name][number], axis=1)
            assert off.max() < RIG_MM, f"{name} at {openings[number]}"


def test_opening_can_be_keyframed(bpy, open_scene, rig):
    root = open_scene("scenes/v-fold.toml")
    left = rig.panels(root)["page.left"]
    for frame, opening in ((1, 0.0), (25, 180.0)):
        root["opening"] = opening
        root.keyframe_insert('["opening"]', frame=frame)
    turns = []
    for frame in (1, 13, 25):
        bpy.context.scene.frame_set(frame)
        turns.append(abs(left.matrix_world.to_3x3().col[2].z - np.cos(np.radians(180.0 - root["opening"]))))
    assert root["opening"] == pytest.approx(180.0)
    assert max(turns) < 1e-5


def test_opening_moves_the_panels(open_scene, rig):
    root = open_scene("scenes/v-fold.toml")
    panels = rig.panels(root)
    rig.set_opening(root, 180)
    flat = rig.world(panels["page.left"])
    assert np.abs(flat[:, 2]).max() < 1e-3
    assert flat[:, 0].min() < -100
    rig.set_opening(root, 90)
    standing = rig.world(panels["page.left"])
    assert np.abs(standing[:, 0]).max() < 1e-3
    rig.set_opening(root, 0)
    for item in panels.values():
        assert np.abs(rig.world(item)[:, 2]).max() < RIG_MM


def test_locks_are_the_limits(bpy, tmp_path, rig):
    """A tent that jams: the slider ends at the lock angle, and the rig is exact up to it."""
    from geometry import assemble, read_description

    file = tmp_path / "jam.toml"
    file.write_text(
        'format = 1\n[page]\nsize = "A5"\n[stock.card]\ngrammage = 250\n[[mechanism]]\nkind = "tent"\nid = "roof"\n'
        'fold = "spine"\nat = 20\nlength = 30\nbase_left = 40\nbase_right = 20\nheight_left = 30\nheight_right = 10.5\n'
    )
    assert bpy.ops.hingeleaf.open_description(filepath=str(file)) == {"FINISHED"}
    root = bpy.context.view_layer.objects.active
    spread = assemble(read_description(file))
    high = np.degrees(spread.reachable()[1])
    assert 10 < high < 170
    assert root.id_properties_ui("opening").as_dict()["max"] == pytest.approx(high, abs=1e-9)
    panels = rig.panels(root)
    nets = {name: net_corners(item, spread, name) for name, item in panels.items()}
    openings = between_samples(root, 200)
    openings = openings[openings < high]
    exact = exact_corners(spread, openings, nets)
    for number, opening in enumerate(openings):
        rig.set_opening(root, opening)
        for name, item in panels.items():
            off = np.linalg.norm(rig.world(item) - exact[name][number], axis=1)
            assert off.max() < RIG_MM, f"{name} at {opening}"
