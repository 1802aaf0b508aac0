"""Sizes are fitted to wishes in the book's own place, and only granted ones are taken unless told."""

import numpy as np
import pytest

from tests.geometry.scene_texts import HILL, SUN, head

DESCRIPTION = head("Fitted", "[140, 200]") + HILL + SUN


@pytest.fixture
def book(bpy, tmp_path, rig):
    file = tmp_path / "fitted.toml"
    file.write_text(DESCRIPTION)
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    root = bpy.context.view_layer.objects.active
    bpy.context.view_layer.objects.active = rig.panels(root)["hill.left"]
    return root


def values(root, mechanism="hill"):
    from geometry import parse_description

    specs = parse_description(root["hingeleaf_description"]).mechanisms
    return next(spec for spec in specs if spec.id == mechanism).values


def test_as_large_as_closes_inside_the_page(bpy, book):
    assert bpy.ops.hingeleaf.fit_sizes(wish="largest", free={"height", "width"}) == {"FINISHED"}
    found = values(book)
    assert found["height"] == pytest.approx(found["width"])
    # Flat when shut, its tip lies 45 + 90 degrees from the spine: on the page's edge or fore edge, whichever is nearer.
    assert 60 < found["height"] <= 140 / np.sin(np.radians(45)) + 1e-6
    assert bpy.ops.hingeleaf.check_book() == {"FINISHED"}
    assert not [entry for entry in bpy.context.scene.hingeleaf.findings if entry.severity == "error"]


def test_tip_comes_to_the_cursor_wherever_the_book_lies(bpy, book, rig):
    """The target is where the tip of the same v-fold with another height and place is."""
    from mathutils import Vector

    from geometry import assemble, parse_description

    other = assemble(parse_description(DESCRIPTION.replace("height = 50", "height = 58").replace("at = 60", "at = 66")))
    matrix = other.pose(np.radians([120.0])).matrices["hill.left"][0]
    tip = matrix[:3, :3] @ [0, 58, 0] + matrix[:3, 3]
    book.location, book.rotation_euler = (0.3, -0.2, 0.1), (0.2, 0.4, 1.0)
    rig.set_opening(book, 120)
    bpy.context.scene.cursor.location = book.matrix_world @ Vector(tip / 1000)
    with pytest.raises(RuntimeError, match="cannot stand so, missed by"):
        bpy.ops.hingeleaf.fit_sizes(wish="tip", free={"height"})
    assert values(book)["height"] == 50
    assert bpy.ops.hingeleaf.fit_sizes(wish="tip", free={"height", "at"}) == {"FINISHED"}
    assert (values(book)["height"], values(book)["at"]) == pytest.approx((58, 66), abs=0.01)
    rig.set_opening(book, 120)
    corners = rig.world(rig.panels(book)["hill.left"])
    place = 1000 * np.array(bpy.context.scene.cursor.location)
    assert np.linalg.norm(corners - place, axis=1).min() < 0.02


def test_height_at_this_opening(bpy, book, rig):
    rig.set_opening(book, 120)
    assert bpy.ops.hingeleaf.fit_sizes(wish="height", height=55, free={"height"}) == {"FINISHED"}
    from geometry import assemble, parse_description

    spread = assemble(parse_description(book["hingeleaf_description"]))
    matrix = spread.pose(np.radians([120.0])).matrices["hill.left"][0]
    assert (matrix[:3, :3] @ [0, values(book)["height"], 0] + matrix[:3, 3])[2] == pytest.approx(55, abs=0.01)


def test_both_sides_of_an_equal_one_change_together(bpy, book, rig):
    rig.set_opening(book, 180)
    assert bpy.ops.hingeleaf.fit_sizes(wish="stand", stand=70, free={"crease_angle"}) == {"FINISHED"}
    assert "crease_angle" in values(book)
    assert "crease_angle_left" not in values(book)


def test_what_is_missed_is_taken_only_if_told(bpy, book):
    with pytest.raises(RuntimeError, match="cannot stand so"):
        bpy.ops.hingeleaf.fit_sizes(wish="height", height=300, free={"height"})
    assert values(book)["height"] == 50
    assert bpy.ops.hingeleaf.fit_sizes(wish="height", height=300, free={"height"}, anyway=True) == {"FINISHED"}
    assert values(book)["height"] > 50


def test_wrong_wishes_are_said(bpy, book, rig):
    with pytest.raises(RuntimeError, match="tick those that may change"):
        bpy.ops.hingeleaf.fit_sizes(wish="largest", free=set())
    bpy.context.view_layer.objects.active = rig.panels(book)["sun"]
    with pytest.raises(RuntimeError, match="no middle crease"):
        bpy.ops.hingeleaf.fit_sizes(wish="largest", free={"turn"} if "turn" in values(book, "sun") else {"at.x"})


def test_undone(bpy, book):
    name, before = book.name, book["hingeleaf_description"]
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.fit_sizes("EXEC_DEFAULT", True, wish="height", height=55, free={"height"})
    assert bpy.data.objects[name]["hingeleaf_description"] != before
    bpy.ops.ed.undo()
    assert bpy.data.objects[name]["hingeleaf_description"] == before
