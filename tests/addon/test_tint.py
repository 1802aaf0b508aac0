"""Tints: the colors of panels are what the legend says, viewports show them, and undo brings everything back."""

import numpy as np
import pytest

DEMO = "scenes/demo/low-tide.toml"


def module(name):
    return __import__("importlib").import_module(f"bl_ext.user_default.hingeleaf.{name}")


def colors(rig, root):
    return {name: tuple(np.round(item.color, 5)) for name, item in rig.panels(root).items()}


def legend(root):
    """What each color means, as scene-linear RGBA."""
    tinting = module("tinting")
    return {tuple(np.round(tinting.linear(line.color), 5)): line.meaning for line in tinting.legend_of(root)}


def viewports(bpy):
    areas = [area for window in bpy.context.window_manager.windows for area in window.screen.areas]
    return [area.spaces.active for area in areas if area.type == "VIEW_3D"]


def test_by_piece(bpy, open_scene, spread_of, rig):
    root = open_scene(DEMO)
    assert bpy.ops.hingeleaf.tint(by="PIECE") == {"FINISHED"}
    found, meanings = colors(rig, root), legend(root)
    for piece in spread_of(DEMO).pieces:
        assert {meanings[found[panel]] for panel in piece.panels} == {piece.title}


def test_by_layer(bpy, open_scene, spread_of, rig):
    from geometry.design.lying import layer_numbers

    root = open_scene(DEMO)
    bpy.ops.hingeleaf.tint(by="LAYER")
    found, numbers = colors(rig, root), layer_numbers(spread_of(DEMO))
    light = {name: np.dot(found[name][:3], [0.2126, 0.7152, 0.0722]) for name in numbers}
    for one in numbers:
        for two in numbers:
            if numbers[one] < numbers[two]:
                assert light[one] > light[two], "higher layers are darker"
            elif numbers[one] == numbers[two]:
                assert found[one] == found[two]
    assert legend(root)[found["page.right"]] == "Layer 1 (lowest)"


def test_by_bulk(bpy, open_scene, spread_of, rig):
    from geometry.design.lying import thicknesses_mm

    root = open_scene(DEMO)
    bpy.ops.hingeleaf.tint(by="BULK")
    found, thick = colors(rig, root), thicknesses_mm(spread_of(DEMO))
    names = sorted(thick, key=thick.__getitem__)
    light = [np.dot(found[name][:3], [0.2126, 0.7152, 0.0722]) for name in names]
    assert (np.diff(light) <= 1e-6).all()
    assert legend(root)[found[names[-1]]] == f"{thick[names[-1]]:.2f} mm"
    assert legend(root)[found[names[0]]] == f"{thick[names[0]]:.2f} mm"


def test_by_finding_shows_the_worst_on_each_panel(bpy, open_scene, rig):
    root = open_scene("scenes/demo/low-tide.toml")
    with pytest.raises(RuntimeError, match="has not been checked: use Check Book first"):
        bpy.ops.hingeleaf.tint(by="FINDING")
    bpy.ops.hingeleaf.check_book()
    check = bpy.context.scene.hingeleaf
    for severity, panel in (("note", "cliff.left"), ("error", "cliff.left"), ("warning", "hills.left")):
        entry = check.findings.add()
        entry.severity, entry.piece, entry.panel = severity, panel.split(".")[0], panel
    assert bpy.ops.hingeleaf.tint(by="FINDING") == {"FINISHED"}
    found, meanings = colors(rig, root), legend(root)
    assert meanings[found["cliff.left"]] == "Error"
    assert meanings[found["hills.left"]] == "Warning"
    bpy.ops.hingeleaf.check_book()
    assert meanings[colors(rig, root)["cliff.left"]] != "Error", "a new check tints anew"


def test_severities_differ_for_every_kind_of_eye():
    """By lightness alone, too: no two of them have the same."""
    from geometry.bulk_drawing.tints import luminance

    light = sorted(luminance(color) for color in module("tinting").SEVERITY_COLORS.values())
    assert np.diff(light).min() > 0.1


def test_viewports_show_it_and_then_what_they_showed_before(bpy, open_scene, rig):
    root = open_scene(DEMO)
    spaces = viewports(bpy)
    assert spaces
    for space in spaces:
        space.shading.color_type = "MATERIAL"
    bpy.ops.hingeleaf.tint(by="LAYER")
    bpy.ops.hingeleaf.tint(by="PIECE")
    assert {space.shading.color_type for space in spaces} == {"OBJECT"}
    bpy.ops.hingeleaf.tint(by="NONE")
    assert {space.shading.color_type for space in spaces} == {"MATERIAL"}
    assert {tuple(item.color) for item in rig.panels(root).values()} == {(1.0, 1.0, 1.0, 1.0)}


def test_another_tinted_book_keeps_its_tint(bpy, open_scene):
    open_scene("scenes/v-fold.toml")
    bpy.ops.hingeleaf.tint(by="PIECE")
    open_scene("scenes/tent.toml", alone=False)
    bpy.ops.hingeleaf.tint(by="PIECE")
    bpy.ops.hingeleaf.tint(by="NONE")
    assert {space.shading.color_type for space in viewports(bpy)} == {"OBJECT"}


def test_undo_and_redo_bring_viewports_along(bpy, open_scene, rig):
    root = open_scene(DEMO)
    before = viewports(bpy)[0].shading.color_type
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.tint("EXEC_DEFAULT", True, by="LAYER")
    bpy.ops.ed.undo()
    root = next(item for item in bpy.data.objects if "opening" in item)
    assert {tuple(item.color) for item in rig.panels(root).values()} == {(1.0, 1.0, 1.0, 1.0)}
    assert viewports(bpy)[0].shading.color_type == before
    bpy.ops.ed.redo()
    assert viewports(bpy)[0].shading.color_type == "OBJECT"


def test_the_net_beside_the_book_is_tinted_too(bpy, open_scene, rig):
    root = open_scene(DEMO)
    bpy.context.view_layer.objects.active = rig.panels(root)["cliff.right"]
    bpy.ops.hingeleaf.show_net()
    bpy.ops.hingeleaf.tint(by="PIECE")
    found = colors(rig, root)
    copies = [item for item in root.children_recursive if "hingeleaf_net_panel" in item]
    assert copies
    assert {tuple(np.round(item.color, 5)) for item in copies} == {found["cliff.right"]}


def test_says_why_it_is_unavailable(bpy):
    with pytest.raises(RuntimeError, match="Make a new book or open a description first"):
        bpy.ops.hingeleaf.tint(by="PIECE")
