"""Any model in Blender is gathered as it is seen, with the marks of its edges, and is made simpler where wished."""

from itertools import pairwise

import numpy as np
import pytest

from tests.addon.unfolded_models import area, choose, drawn, laid, model_of, module, nets, unfold

pytestmark = pytest.mark.usefixtures("no_step_waits")


def gathered(bpy, *items):
    return module("model_gathering").gather(bpy.context, items)


def volume(mesh):
    """Signed volume of a closed mesh, mm3: above 0 where faces run counter-clockwise seen from outside."""
    total = 0.0
    for number in range(len(mesh.starts) - 1):
        first, *rest = mesh.vertices[mesh.face(number)]
        total += sum(np.dot(first, np.cross(b, c)) for b, c in pairwise(rest)) / 6
    return total


def test_modifiers_instances_scale_and_mirroring_are_in_the_mesh(bpy, box):
    """Each with the volume that it must have, counted from outside."""
    one = 80 * 60 * 50
    assert volume(gathered(bpy, box).mesh) == pytest.approx(one, rel=1e-5)
    box.scale = (-1.0, 2.0, 1.0)
    bpy.context.view_layer.update()
    assert volume(gathered(bpy, box).mesh) == pytest.approx(2 * one, rel=1e-5)
    array = box.modifiers.new("Array", "ARRAY")
    array.count, array.relative_offset_displace[0] = 3, 1.5
    bpy.context.view_layer.update()
    mesh = gathered(bpy, box).mesh
    assert volume(mesh) == pytest.approx(6 * one, rel=1e-5)
    assert len(mesh.starts) - 1 == 18
    collection = bpy.data.collections.new("Boxes")
    collection.objects.link(box)
    bpy.context.scene.collection.objects.unlink(box)
    instance = bpy.data.objects.new("Instance", None)
    instance.instance_type, instance.instance_collection = "COLLECTION", collection
    instance.scale = (1.0, 1.0, -0.5)
    instance.location = (5.0, -70.0, 3.0)
    bpy.context.scene.collection.objects.link(instance)
    choose(bpy, instance)
    found = gathered(bpy, instance)
    assert volume(found.mesh) == pytest.approx(3 * one, rel=1e-4)
    assert found.origin_m == pytest.approx([4.88, -70.0, 3.0 - 0.025], abs=1e-5)
    assert np.abs(found.mesh.vertices[:, 2]).min() == pytest.approx(0.0, abs=1e-9)


def test_real_instances_of_geometry_nodes(bpy, box):
    group = bpy.data.node_groups.new("Twice", "GeometryNodeTree")
    group.interface.new_socket("Geometry", in_out="INPUT", socket_type="NodeSocketGeometry")
    group.interface.new_socket("Geometry", in_out="OUTPUT", socket_type="NodeSocketGeometry")
    nodes, links = group.nodes, group.links
    start, end = nodes.new("NodeGroupInput"), nodes.new("NodeGroupOutput")
    points, put = nodes.new("GeometryNodeMeshLine"), nodes.new("GeometryNodeInstanceOnPoints")
    points.inputs["Count"].default_value = 4
    points.inputs["Offset"].default_value = (0.2, 0.0, 0.0)
    links.new(points.outputs[0], put.inputs["Points"])
    links.new(start.outputs[0], put.inputs["Instance"])
    links.new(put.outputs[0], end.inputs[0])
    box.modifiers.new("Twice", "NODES").node_group = group
    bpy.context.view_layer.update()
    mesh = gathered(bpy, box).mesh
    assert len(mesh.starts) - 1 == 24
    assert volume(mesh) == pytest.approx(4 * 80 * 60 * 50, rel=1e-4)


@pytest.mark.parametrize("kind", ["curve", "text", "metaball"])
def test_what_is_no_mesh_is_unfolded_as_it_is_seen(bpy, kind):
    if kind == "text":
        data = bpy.data.curves.new("Word", "FONT")
        data.body, data.extrude = "LV", 0.2
    elif kind == "curve":
        data = bpy.data.curves.new("Ring", "CURVE")
        data.dimensions, data.bevel_depth, data.bevel_resolution = "3D", 0.1, 0
        spline = data.splines.new("POLY")
        spline.points.add(3)
        for point, place in zip(spline.points, ((0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0)), strict=True):
            point.co = (*place, 1)
        spline.use_cyclic_u = True
    else:
        data = bpy.data.metaballs.new("Blob")
        data.elements.new().radius = 1.0
        data.resolution = 0.5
    item = bpy.data.objects.new("Thing", data)
    bpy.context.scene.collection.objects.link(item)
    choose(bpy, item)
    root = laid(bpy)
    unfold(bpy, root, 1.0)
    model = model_of(bpy, root)
    assert len(nets(root)) == len(model.unfolded.nets)
    mesh = gathered(bpy, item).mesh
    corners = [mesh.vertices[mesh.face(number)] for number in range(len(mesh.starts) - 1)]
    assert sum(model.unfolded.facets.areas_mm2) == pytest.approx(model.scale**2 * sum(map(area, corners)), rel=1e-3)
    shown = [face for item in nets(root) for face in drawn(bpy, item)]
    assert np.ptp(np.concatenate(shown)[:, 2]) < 1.0


def marks_by_ends(found):
    mesh = found.mesh
    if mesh.marked is None:
        return {}
    return {frozenset(pair): mark for pair, mark in zip(mesh.marked.tolist(), mesh.marks.tolist(), strict=True)}


def test_seams_are_cut_sharp_edges_kept_flagged_ones_avoided(bpy, box):
    names = module("geometry.unfold.data")
    avoid, cut, keep = names.AVOID, names.CUT, names.KEEP
    edges = {frozenset(edge.vertices): edge for edge in box.data.edges}
    edges[frozenset((0, 1))].use_seam = True
    edges[frozenset((4, 5))].use_edge_sharp = True
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_all(action="DESELECT")
    bpy.ops.object.mode_set(mode="OBJECT")
    edges = {frozenset(edge.vertices): edge for edge in box.data.edges}
    bpy.context.tool_settings.mesh_select_mode = (False, True, False)
    edges[frozenset((6, 7))].select = True
    bpy.ops.object.mode_set(mode="EDIT")
    assert bpy.ops.hingeleaf.avoid_edges() == {"FINISHED"}
    bpy.ops.object.mode_set(mode="OBJECT")
    wanted = {frozenset((0, 1)): cut, frozenset((4, 5)): keep, frozenset((6, 7)): avoid}
    assert marks_by_ends(gathered(bpy, box)) == wanted
    # They go through modifiers: each of three boxes has its own.
    array = box.modifiers.new("Array", "ARRAY")
    array.count, array.relative_offset_displace[0] = 3, 1.5
    bpy.context.view_layer.update()
    marks = list(marks_by_ends(gathered(bpy, box)).values())
    assert sorted(marks) == sorted([cut, keep, avoid] * 3)
    box.modifiers.clear()
    root = laid(bpy)
    facets = model_of(bpy, root).unfolded.facets
    folds = set(model_of(bpy, root).folds.tolist())
    for edge, mark in enumerate(facets.marks.tolist()):
        if mark in (cut, keep):
            assert (edge in folds) == (mark == keep)
    assert sorted(facets.marks[facets.marks > 0].tolist()) == sorted([cut, keep, avoid])


def test_sharp_edges_of_shading_are_no_marks(bpy, box):
    for edge in box.data.edges:
        edge.use_edge_sharp = True
    found = gathered(bpy, box)
    assert marks_by_ends(found) == {}
    assert [note.code for note in found.mesh.notes] == ["shading"]


def test_a_reduced_copy_says_how_far_it_is_from_the_shape(bpy):
    import bmesh

    mesh = bpy.data.meshes.new("Ball")
    made = bmesh.new()
    bmesh.ops.create_uvsphere(made, u_segments=32, v_segments=16, radius=0.05)
    made.to_mesh(mesh)
    made.free()
    ball = bpy.data.objects.new("Ball", mesh)
    bpy.context.scene.collection.objects.link(ball)
    choose(bpy, ball)
    faces = len(mesh.polygons)
    root = laid(bpy)
    root.hingeleaf_model.reduce, root.hingeleaf_model.faces = True, 100
    module("model_updating").look_after(bpy.context)
    facets = model_of(bpy, root).unfolded.facets
    assert 60 <= len(facets.mesh.starts) - 1 <= 100
    assert len(ball.data.polygons) == faces
    note = next(note.name for note in root.hingeleaf_model.notes if note.name.startswith("Reduced"))
    largest = float(note.split("up to ")[1].split(" mm")[0])
    # No corner of the ball can be nearer to the copy than its faces are to the ball's middle.
    corners = 1000 * np.array([vertex.co for vertex in ball.data.vertices])
    middles = np.array([facets.vertices[ring[0]].mean(axis=0) for ring in facets.rings]) - [0, 0, 50]
    inside = 50 - np.linalg.norm(middles, axis=1).min()
    assert 0.2 < largest < 2 * inside
    assert np.linalg.norm(corners, axis=1) == pytest.approx(50.0, abs=1e-3)


def test_shape_error_of_two_boxes(bpy, box):
    """A box against one that is 3 mm higher: the tops are 3 mm apart, and nothing is further."""
    reduction = module("model_reduction")
    from dataclasses import replace

    low = gathered(bpy, box).mesh
    high = replace(low, vertices=np.where(low.vertices > 49, low.vertices + [0, 0, 3], low.vertices))
    error = reduction.shape_error(low, high)
    assert error.largest_mm == pytest.approx(3.0, abs=1e-5)
    assert 0.3 < error.mean_mm < 1.5
