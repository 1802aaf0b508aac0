"""The net beside the book: one with the standing piece, flat at true size, and on the way never torn."""

import numpy as np
import pytest

#: Single precision of meshes, matrices and driver curves, through chains of up to ten joints, mm.
NEAR_MM = 2e-3


def net_empty(root):
    return next((item for item in root.children if "hingeleaf_net" in item), None)


def copies(root):
    return {i["hingeleaf_net_panel"]: i for i in net_empty(root).children_recursive if "hingeleaf_net_panel" in i}


def unfold(bpy, root, value):
    empty = net_empty(root)
    empty["unfolded"] = value
    empty.update_tag()
    bpy.context.view_layer.update()


def lay(bpy, root, rig, panel):
    """Select a panel and lay the net of its piece."""
    bpy.context.view_layer.objects.active = rig.panels(root)[panel]
    assert bpy.ops.hingeleaf.show_net() == {"FINISHED"}
    return copies(root)


def drawn_corners(bpy, item):
    """Corners as they are drawn, with card lifted off card, mm."""
    seen = item.evaluated_get(bpy.context.evaluated_depsgraph_get())
    mesh = seen.to_mesh()
    points = 1000 * np.array([seen.matrix_world @ vertex.co for vertex in mesh.vertices])
    seen.to_mesh_clear()
    return points


def one_panel_a_piece(spread):
    return {piece.id: piece.panels[-1] for piece in spread.pieces}


def test_at_zero_it_is_one_with_the_standing_piece(bpy, open_scene, spread_of, rig, scene_file):
    """Where the book's own drivers have a sample; between two, as near as these are to the exact motion."""
    from geometry.tolerances import RIG_MM

    root = open_scene(scene_file, studio=False)
    for opening in (0.0, 57.0, 180.0):
        rig.set_opening(root, opening)
        near = RIG_MM if opening == 57.0 else NEAR_MM
        for panel in one_panel_a_piece(spread_of(scene_file)).values():
            found = lay(bpy, root, rig, panel)
            unfold(bpy, root, 0.0)
            for name, item in found.items():
                standing = drawn_corners(bpy, rig.panels(root)[name])
                assert np.abs(drawn_corners(bpy, item) - standing).max() < near, (name, opening)
            bpy.ops.hingeleaf.show_net()
            assert net_empty(root) is None


def test_at_one_it_is_the_net_at_true_size(bpy, open_scene, spread_of, rig, scene_file):
    root, spread = open_scene(scene_file, studio=False), spread_of(scene_file)
    rig.set_opening(root, 100.0)
    for panel in one_panel_a_piece(spread).values():
        found = lay(bpy, root, rig, panel)
        bpy.context.view_layer.update()
        shifts = []
        for name, item in found.items():
            corners = rig.world(item)
            assert np.abs(corners[:, 2]).max() < NEAR_MM, name
            outline = spread.panels[name].outline
            low = np.array(outline.bounds[:2])
            shifts.append(corners[:, :2].min(axis=0) - low)
            assert np.ptp(corners[:, :2], axis=0) == pytest.approx(np.array(outline.bounds[2:]) - low, abs=NEAR_MM)
        assert np.ptp(shifts, axis=0).max() < NEAR_MM, "one shift carries all panels of the net"
        bpy.ops.hingeleaf.show_net()


def test_no_crease_tears_on_the_way(bpy, open_scene, spread_of, rig):
    from geometry.transforms import apply, inverse

    scene = "scenes/demo/low-tide.toml"
    root, spread = open_scene(scene), spread_of(scene)
    found = lay(bpy, root, rig, "cliff.right")
    from geometry.tolerances import RIG_MM

    net = spread.creases("cliff")
    for value in np.linspace(0.0, 1.0, 23):
        unfold(bpy, root, float(value))
        poses = {}
        for name, item in found.items():
            corners, flat = rig.world(item), np.array(rig.front_corners(item))
            # From net coordinates to the world, by the corners of the printed face.
            plane = net_corners(spread.panels[name], len(flat))
            poses[name] = fitted(plane, corners)
        for hinge in net:
            one, two = (apply(poses[p], line) for p, line in zip(hinge.panels, hinge.lines, strict=True))
            assert np.abs(one - two).max() < RIG_MM + NEAR_MM, (hinge.id, value)
    assert inverse(poses["cliff.right"]).shape == (4, 4)


def net_corners(panel, count):
    """Corners of a panel's outline in the order of its slab: counter-clockwise, then the holes clockwise."""
    from shapely.geometry.polygon import orient

    turned = orient(panel.outline, 1.0)
    flat = np.concatenate([np.array(ring.coords)[:-1] for ring in (turned.exterior, *turned.interiors)])
    assert len(flat) == count
    return flat


def fitted(flat, solid):
    """The rigid transform of a plane's points, (n, 2), to points in space, (n, 3), by least squares."""
    source = np.column_stack([flat, np.zeros(len(flat))])
    u, _, v = np.linalg.svd((source - source.mean(axis=0)).T @ (solid - solid.mean(axis=0)))
    turn = v.T @ np.diag([1, 1, np.sign(np.linalg.det(v.T @ u.T))]) @ u.T
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = turn, solid.mean(axis=0) - turn @ source.mean(axis=0)
    return matrix


def test_it_lies_beside_all_that_the_book_sweeps_over(bpy, open_scene, rig):
    root = open_scene("scenes/demo/low-tide.toml")
    found = lay(bpy, root, rig, "cliff.right")
    bpy.context.view_layer.update()
    right = max(rig.world(item)[:, 0].max() for item in found.values())
    for opening in (0, 90, 180):
        rig.set_opening(root, opening)
        assert right < min(rig.world(item)[:, 0].min() for item in rig.panels(root).values())


def test_copies_share_meshes_and_are_no_panels_of_the_book(bpy, open_scene, rig):
    root = open_scene("scenes/demo/low-tide.toml")
    before, meshes = len(rig.panels(root)), len(bpy.data.meshes)
    found = lay(bpy, root, rig, "cliff.right")
    assert len(rig.panels(root)) == before
    assert len(bpy.data.meshes) == meshes
    assert all(item.data == rig.panels(root)[name].data for name, item in found.items())


def test_the_button_takes_it_away_wholly_or_puts_another_in_its_place(bpy, open_scene, rig):
    root = open_scene("scenes/demo/low-tide.toml")

    def count():
        return len(bpy.data.objects), sum(item.users > 0 for item in bpy.data.collections)

    before = count()
    lay(bpy, root, rig, "cliff.right")
    other = lay(bpy, root, rig, "hills.left")
    assert set(other) == {"hills.left", "hills.right", "hills.left.tab", "hills.right.tab"}
    assert len([item for item in root.children if "hingeleaf_net" in item]) == 1
    bpy.context.view_layer.objects.active = root
    assert bpy.ops.hingeleaf.show_net() == {"FINISHED"}
    assert count() == before


def test_keyframes_play_without_scripts_and_are_kept_when_the_book_changes(bpy, open_scene, rig):
    root = open_scene("scenes/v-fold.toml")
    lay(bpy, root, rig, "fold.right")
    bpy.context.scene.frame_set(10)
    assert bpy.ops.hingeleaf.keyframe_unfolding() == {"FINISHED"}
    empty = net_empty(root)
    values = []
    for frame in (10, 25, 40):
        bpy.context.scene.frame_set(frame)
        values.append(empty["unfolded"])
    assert values == pytest.approx([0.0, 0.5, 1.0], abs=0.02)
    driven = [item.animation_data for item in empty.children_recursive if item.animation_data]
    curves = [curve for data in driven for curve in data.drivers]
    assert curves
    assert {curve.driver.type for curve in curves} == {"AVERAGE"}
    module = __import__("importlib").import_module("bl_ext.user_default.hingeleaf.flat_net")
    designing = __import__("importlib").import_module("bl_ext.user_default.hingeleaf.designing")
    module.renew_net(bpy.context, root, designing.spread_of(root))
    assert net_empty(root) == empty
    assert set(copies(root)) == {"fold.left", "fold.right", "fold.left.tab", "fold.right.tab"}
    bpy.context.scene.frame_set(10)
    assert empty["unfolded"] == pytest.approx(0.0)
    for name, item in copies(root).items():
        assert np.abs(rig.world(item) - rig.world(rig.panels(root)[name])).max() < NEAR_MM, name


def changed(bpy, root, old, new):
    """Change the design of a book by its text."""
    from importlib import import_module

    package = "bl_ext.user_default.hingeleaf"
    parse = import_module(f"{package}.geometry").parse_description
    text = root["hingeleaf_description"]
    assert old in text
    import_module(f"{package}.designing").change_book(bpy.context, root, parse(text.replace(old, new)))
    bpy.context.view_layer.update()


def test_it_follows_when_the_book_is_changed(bpy, open_scene, rig):
    root = open_scene("scenes/v-fold.toml")
    rig.set_opening(root, 120.0)
    lay(bpy, root, rig, "fold.right")
    unfold(bpy, root, 0.0)
    height = next(line for line in root["hingeleaf_description"].splitlines() if line.startswith("height"))
    changed(bpy, root, height, "height = 31")
    assert net_empty(root)["unfolded"] == 0.0
    for name, item in copies(root).items():
        assert np.abs(drawn_corners(bpy, item) - drawn_corners(bpy, rig.panels(root)[name])).max() < 0.02, name


def test_it_goes_with_its_piece(bpy, open_scene, rig):
    root = open_scene("scenes/v-fold.toml")
    lay(bpy, root, rig, "fold.right")
    changed(bpy, root, 'id = "fold"', 'id = "other"')
    assert net_empty(root) is None
    assert not [item for item in bpy.data.objects if "hingeleaf_net_panel" in item]


def test_one_step_of_undo(bpy, open_scene, rig):
    root = open_scene("scenes/v-fold.toml")
    bpy.context.view_layer.objects.active = rig.panels(root)["fold.right"]
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.show_net("EXEC_DEFAULT", True)
    names = [item.name for item in bpy.data.objects if "hingeleaf_net" in item]
    assert len(names) == 1
    bpy.ops.ed.undo()
    assert not [item for item in bpy.data.objects if "hingeleaf_net" in item]
    bpy.ops.ed.redo()
    assert [item.name for item in bpy.data.objects if "hingeleaf_net" in item] == names


def test_says_why_it_is_unavailable(bpy, open_scene):
    with pytest.raises(RuntimeError, match="Make a new book or open a description first"):
        bpy.ops.hingeleaf.show_net()
    root = open_scene("scenes/v-fold.toml")
    bpy.context.view_layer.objects.active = root
    with pytest.raises(RuntimeError, match="Select a panel of the piece first"):
        bpy.ops.hingeleaf.show_net()
    with pytest.raises(RuntimeError, match="Show the net of a piece first"):
        bpy.ops.hingeleaf.keyframe_unfolding()
