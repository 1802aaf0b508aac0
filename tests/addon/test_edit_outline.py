"""Outlines drawn in Blender and in files become edges of card; hinges stay, what cannot be cut stays for mending."""

import math

import numpy as np
import pytest

from tests.geometry.scene_texts import HILL, ROOF, head, rider_on

DESCRIPTION = (
    head("Outlined", "[140, 200]")
    + HILL
    + 'edge_right = "M 20 70 C 40 70 50 40 52 20"\n'
    + rider_on("sun", "hill.left", "at = [-20, 30]; turn = 30; size = [10, 20]")
    + ROOF
)


@pytest.fixture
def book(bpy, tmp_path):
    file = tmp_path / "outlined.toml"
    file.write_text(DESCRIPTION)
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    return bpy.context.view_layer.objects.active


@pytest.fixture
def activate(bpy, rig):
    def activate(root, panel, *others):
        item = rig.panels(root)[panel]
        for other in bpy.context.view_layer.objects:
            other.select_set(other == item or other in others)
        bpy.context.view_layer.objects.active = item
        return item

    return activate


def values(root, mechanism):
    from geometry import parse_description

    return next(
        spec for spec in parse_description(root["hingeleaf_description"]).mechanisms if spec.id == mechanism
    ).values


def net_points(rig, root, panel):
    """Corners of a panel on its net, from the core's own spread of the book's text."""
    from geometry import assemble, parse_description

    return np.array(assemble(parse_description(root["hingeleaf_description"])).panels[panel].outline.exterior.coords)


def test_the_curve_lies_on_the_edge_it_shows(bpy, book, activate, rig):
    """In the world, at another opening, wherever the book was moved and turned."""
    book.location, book.rotation_euler = (0.3, -0.2, 0.1), (0.2, 0.4, 1.0)
    rig.set_opening(book, 130)
    panels = rig.panels(book)
    for panel, key in (("hill.left", "edge_left"), ("roof.right", "edge_end_right"), ("sun", "outline")):
        activate(book, panel)
        bpy.ops.hingeleaf.edit_outline(key=key)
        curve = bpy.context.view_layer.objects.active
        assert bpy.context.mode == "EDIT_CURVE"
        bpy.context.view_layer.update()
        corners = rig.world(panels[panel])
        matrix = np.array(curve.matrix_world)
        for point in curve.data.splines[0].points:
            place = 1000 * (matrix @ np.array(point.co))[:3]
            assert np.linalg.norm(corners - place, axis=1).min() < 2e-3
        bpy.ops.hingeleaf.cancel_outline()
        assert bpy.context.mode == "OBJECT"


def test_applied_unchanged_the_card_is_the_same(bpy, book, activate, rig):
    before = {name: net_points(rig, book, name) for name in ("hill.left", "hill.right", "roof.left", "sun")}
    for panel, key in (("hill.left", "edge_left"), ("hill.right", "edge_right"), ("roof.left", "edge_start_left")):
        activate(book, panel)
        bpy.ops.hingeleaf.edit_outline(key=key)
        assert bpy.ops.hingeleaf.apply_outline() == {"FINISHED"}
        assert bpy.context.view_layer.objects.active == rig.panels(book)[panel]
    assert "C" in values(book, "hill")["edge_right"]
    for name, points in before.items():
        from shapely import Polygon

        after = Polygon(net_points(rig, book, name))
        assert after.symmetric_difference(Polygon(points)).area < 0.2


def test_a_moved_point_moves_the_edge_and_nothing_else(bpy, book, activate, rig):
    activate(book, "hill.left")
    hinge = net_points(rig, book, "hill.right")
    bpy.ops.hingeleaf.edit_outline(key="edge_left")
    curve = bpy.context.view_layer.objects.active
    points = curve.data.splines[0].points
    assert [round(1000 * value, 3) for value in points[1].co[:2]] == [-50.0, 50.0]
    points[1].co = (-0.065, 0.045, 0, 1)
    points[0].co = (-0.002, 0.049, 0, 1)
    bpy.ops.hingeleaf.apply_outline()
    assert values(book, "hill")["edge_left"] == [[65.0, 45.0]]
    assert [-65.0, 45.0] in net_points(rig, book, "hill.left").round(6).tolist()
    assert [0.0, 50.0] in net_points(rig, book, "hill.left").round(6).tolist()
    assert np.array_equal(hinge, net_points(rig, book, "hill.right"))
    assert not [item for item in bpy.data.objects if item.type == "CURVE"]
    assert not bpy.data.curves


def test_both_sides(bpy, book, activate):
    activate(book, "hill.left")
    bpy.ops.hingeleaf.edit_outline(key="edge_left", both=True)
    bpy.context.view_layer.objects.active.data.splines[0].points[1].co = (-0.06, 0.06, 0, 1)
    bpy.ops.hingeleaf.apply_outline()
    edges = {key: value for key, value in values(book, "hill").items() if "edge" in key}
    assert edges == {"edge": [[60.0, 60.0]]}


def test_what_crosses_itself_is_said_and_stays_for_mending(bpy, book, activate):
    before = book["hingeleaf_description"]
    activate(book, "hill.left")
    bpy.ops.hingeleaf.edit_outline(key="edge_left")
    curve = bpy.context.view_layer.objects.active
    curve.data.splines[0].points[1].co = (-0.02, -0.03, 0, 1)
    with pytest.raises(RuntimeError, match="crosses itself"):
        bpy.ops.hingeleaf.apply_outline()
    assert bpy.context.view_layer.objects.active == curve
    assert bpy.context.mode == "EDIT_CURVE"
    assert book["hingeleaf_description"] == before
    curve.data.splines[0].points[1].co = (-0.05, 0.03, 0, 1)
    assert bpy.ops.hingeleaf.apply_outline() == {"FINISHED"}


def test_windows_are_drawn_as_closed_splines(bpy, book, activate):
    activate(book, "roof.left")
    bpy.ops.hingeleaf.edit_outline(key="holes_left")
    curve = bpy.context.view_layer.objects.active
    for place in (10, 20):
        spline = curve.data.splines.new("POLY")
        spline.points.add(3)
        for point, (x, y) in zip(spline.points, ((0, 0), (4, 0), (4, 4), (0, 4)), strict=True):
            point.co = (-(place + x) / 1000, (15 + y) / 1000, 0, 1)
        spline.use_cyclic_u = place == 10
    with pytest.raises(RuntimeError, match="join its ends"):
        bpy.ops.hingeleaf.apply_outline()
    curve.data.splines[1].use_cyclic_u = True
    bpy.ops.hingeleaf.apply_outline()
    assert [len(hole) for hole in values(book, "roof")["holes_left"]] == [4, 4]


def test_undo_goes_back_over_the_whole_edit(bpy, book, activate, rig):
    before, name = book["hingeleaf_description"], book.name
    activate(book, "hill.left")
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.edit_outline("EXEC_DEFAULT", True, key="edge_left")
    bpy.context.view_layer.objects.active.data.splines[0].points[1].co = (-0.065, 0.045, 0, 1)
    bpy.ops.ed.undo_push(message="Move")
    bpy.ops.hingeleaf.apply_outline("EXEC_DEFAULT", True)
    after = bpy.data.objects[name]["hingeleaf_description"]
    assert after != before
    bpy.ops.ed.undo()
    assert bpy.data.objects[name]["hingeleaf_description"] == before
    bpy.ops.ed.redo()
    root = bpy.data.objects[name]
    assert root["hingeleaf_description"] == after
    for _ in range(4):
        bpy.ops.ed.undo()
    root = bpy.data.objects[name]
    assert bpy.context.mode == "OBJECT"
    assert root["hingeleaf_description"] == before
    assert not [item for item in bpy.data.objects if item.type == "CURVE"]
    assert not [item for item in root.children_recursive if item.type == "CURVE"]


def circle(bpy, radius_mm, count=24):
    """A mesh ring in z = 0."""
    mesh = bpy.data.meshes.new("ring")
    angles = [2 * math.pi * number / count for number in range(count)]
    places = [(radius_mm / 1000 * math.cos(angle), radius_mm / 1000 * math.sin(angle), 0) for angle in angles]
    mesh.from_pydata(places, [(number, (number + 1) % count) for number in range(count)], [])
    item = bpy.data.objects.new("ring", mesh)
    bpy.context.scene.collection.objects.link(item)
    return item


def test_a_mesh_is_seen_square_to_the_panel(bpy, book, activate, rig):
    """A ring that stands before the rider, parallel to it, is cut where it is seen; a modifier counts."""
    from mathutils import Matrix

    item = circle(bpy, 4)
    panel = rig.panels(book)["sun"]
    bpy.context.view_layer.update()
    item.matrix_world = panel.matrix_world @ Matrix.Translation((0.001, 0.002, 0.05))
    activate(book, "sun", item)
    assert bpy.ops.hingeleaf.outline_from_object(key="outline") == {"FINISHED"}
    points = np.array(values(book, "sun")["outline"])
    assert np.allclose(np.hypot(*(points - [1, 2]).T), 4, atol=2e-3)
    assert "size" not in values(book, "sun")
    modifier = item.modifiers.new("Larger", "CAST")
    modifier.use_radius_as_size, modifier.size, modifier.factor, modifier.radius = False, 0.006, 1.0, 0.0
    activate(book, "sun", item)
    bpy.ops.hingeleaf.outline_from_object(key="outline")
    points = np.array(values(book, "sun")["outline"])
    assert np.allclose(np.hypot(*(points - [1, 2]).T), 6, atol=2e-3)
    assert item.name in bpy.data.objects


def test_a_curve_stays_a_curve(bpy, book, activate, rig):
    data = bpy.data.curves.new("line", "CURVE")
    data.dimensions = "3D"
    spline = data.splines.new("BEZIER")
    spline.bezier_points.add(1)
    for point, x in zip(spline.bezier_points, (0.0, 0.05), strict=True):
        point.co = (x, 0.05 - x, 0)
        point.handle_left_type = point.handle_right_type = "FREE"
        point.handle_left = point.handle_right = (x + 0.02, 0.07 - x, 0)
    item = bpy.data.objects.new("line", data)
    bpy.context.scene.collection.objects.link(item)
    activate(book, "hill.right")
    bpy.ops.hingeleaf.edit_outline(key="edge_right")
    bpy.context.view_layer.update()
    matrix = bpy.context.view_layer.objects.active.matrix_world.copy()
    bpy.ops.hingeleaf.cancel_outline()
    item.matrix_world = matrix
    activate(book, "hill.right", item)
    bpy.ops.hingeleaf.outline_from_object(key="edge_right")
    assert values(book, "hill")["edge_right"] == "M 0 50 C 20 70 70 20 50 0"


SVG = """<svg xmlns="http://www.w3.org/2000/svg" width="100mm" height="100mm" viewBox="0 0 100 100">
<path id="ridge" d="M 0 50 L 10 20 L 30 40 L 50 50"/><path id="other" d="M 0 0 L 5 5"/>
<circle id="disc" cx="50" cy="50" r="10"/></svg>"""


@pytest.fixture
def drawing(tmp_path):
    file = tmp_path / "drawing.svg"
    file.write_text(SVG)
    return str(file)


def test_from_svg(bpy, book, activate, drawing):
    activate(book, "sun")
    assert bpy.ops.hingeleaf.outline_from_svg(filepath=drawing, key="outline", size="true") == {"FINISHED"}
    from geometry.outline import closed_outline

    assert closed_outline(values(book, "sun")["outline"]).area == pytest.approx(math.pi * 100, rel=2e-3)
    activate(book, "hill.right")
    with pytest.raises(RuntimeError, match="Write in Shape which one is meant: 1 ridge"):
        bpy.ops.hingeleaf.outline_from_svg(filepath=drawing, key="edge_right")
    with pytest.raises(RuntimeError, match='no shape "moon" in the file; it has 1 ridge'):
        bpy.ops.hingeleaf.outline_from_svg(filepath=drawing, key="edge_right", shape="moon")
    bpy.ops.hingeleaf.outline_from_svg(filepath=drawing, key="edge_right", shape="ridge")
    assert len(values(book, "hill")["edge_right"]) == 2
    activate(book, "roof.left")
    bpy.ops.hingeleaf.outline_from_svg(filepath=drawing, key="holes_left", shape="3", size="fitted")
    assert len(values(book, "roof")["holes_left"]) == 1


def test_polls_say_why(bpy, book, activate):
    activate(book, "page.left")
    with pytest.raises(RuntimeError, match="Select a panel of a mechanism"):
        bpy.ops.hingeleaf.edit_outline()
    with pytest.raises(RuntimeError, match="Edit an outline first"):
        bpy.ops.hingeleaf.apply_outline()
    activate(book, "sun")
    with pytest.raises(RuntimeError, match="Select a curve or a mesh, then the panel"):
        bpy.ops.hingeleaf.outline_from_object()
