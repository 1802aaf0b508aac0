"""Nets of any model in Blender: gathered as it is seen, laid beside it, folding back onto it, kept with the file."""

import json
from importlib import import_module
from itertools import pairwise

import numpy as np
import pytest

PACKAGE = "bl_ext.user_default.hingeleaf"
#: Single precision of meshes and matrices, mm, of models a hand long.
NEAR_MM = 2e-3


def module(name):
    return import_module(f"{PACKAGE}.{name}")


def add(bpy, name, vertices, faces, **data):
    """A mesh object in the scene, active and alone selected."""
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(vertices, [], faces)
    item = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(item)
    choose(bpy, item)
    return item


def choose(bpy, *items):
    bpy.context.view_layer.update()
    for other in bpy.context.view_layer.objects:
        other.select_set(other in items)
    bpy.context.view_layer.objects.active = items[0]


BOX = [(x, y, z) for x in (-0.04, 0.04) for y in (-0.03, 0.03) for z in (0.0, 0.05)]
BOX_FACES = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
#: A house whose walls are pentagons at its gables, 80 mm long.
HOUSE = [(x, y, z) for x in (-0.04, 0.04) for y, z in ((-0.03, 0), (0.03, 0), (0.03, 0.04), (0, 0.07), (-0.03, 0.04))]
HOUSE_FACES = [(0, 4, 3, 2, 1), (5, 6, 7, 8, 9), *((n, (n + 1) % 5, 5 + (n + 1) % 5, 5 + n) for n in range(5))]


@pytest.fixture(autouse=True)
def no_step_waits(bpy):
    """Timers never fire here: what waits for one after an undo waits no longer than its test."""
    yield
    module("model_updating")._forget_steps()


@pytest.fixture
def box(bpy):
    return add(bpy, "Box", BOX, BOX_FACES)


@pytest.fixture
def house(bpy):
    return add(bpy, "House", HOUSE, HOUSE_FACES)


def laid(bpy):
    """Unfold what is selected; returns the empty of the nets."""
    assert bpy.ops.hingeleaf.unfold_model() == {"FINISHED"}
    return module("model_state").meant_model(bpy.context)


def nets(root):
    return sorted((i for i in root.children if "hingeleaf_model_net" in i), key=lambda i: i["hingeleaf_model_net"])


def model_of(bpy, root):
    return module("model_state").model_of(bpy.context, root)


def drawn(bpy, item):
    """Corners of the faces as they are drawn, per face, in the world, mm; tabs left out by their material."""
    bpy.context.view_layer.update()
    seen = item.evaluated_get(bpy.context.evaluated_depsgraph_get())
    matrix = np.array(seen.matrix_world)
    points = np.array([vertex.co for vertex in seen.data.vertices])
    world = 1000 * (points @ matrix[:3, :3].T + matrix[:3, 3])
    return [world[list(face.vertices)] for face in seen.data.polygons]


def unfold(bpy, root, value):
    root["unfolded"] = value
    root.update_tag()
    bpy.context.view_layer.update()


def area(corners):
    middle = corners.mean(axis=0)
    return np.linalg.norm(np.cross(corners - middle, np.roll(corners, -1, axis=0) - middle).sum(axis=0)) / 2


def edge_to_edge(bpy, root):
    """Nets without tabs, so that all that is drawn is the model's."""
    root.hingeleaf_model.edge_to_edge = True
    module("model_updating").look_after(bpy.context)


def source_faces(bpy, item):
    """The faces of an object as they stand, in the world, mm."""
    matrix = np.array(item.matrix_world)
    points = np.array([vertex.co for vertex in item.data.vertices]) @ matrix[:3, :3].T + matrix[:3, 3]
    return [1000 * points[list(face.vertices)] for face in item.data.polygons]


def gathered(bpy, *items):
    return module("model_gathering").gather(bpy.context, items)


def volume(mesh):
    """Signed volume of a closed mesh, mm3: above 0 where faces run counter-clockwise seen from outside."""
    total = 0.0
    for number in range(len(mesh.starts) - 1):
        first, *rest = mesh.vertices[mesh.face(number)]
        total += sum(np.dot(first, np.cross(b, c)) for b, c in pairwise(rest)) / 6
    return total


def test_folded_it_is_the_model_and_unfolded_it_lies_flat_with_all_its_area(bpy, house):
    root = laid(bpy)
    edge_to_edge(bpy, root)
    shift = 1000 * np.array(root.matrix_world.translation)
    unfold(bpy, root, 0.0)
    faces = [face for item in nets(root) for face in drawn(bpy, item)]
    wanted = source_faces(bpy, house)
    assert len(faces) == len(wanted)
    assert root["unfolded"] == 0.0
    for face in wanted:
        moved = face + [shift[0], shift[1], shift[2]]
        best = min(np.abs(_sorted(face_) - _sorted(moved)).max() for face_ in faces if len(face_) == len(moved))
        assert best < NEAR_MM
    unfold(bpy, root, 1.0)
    flat = [face for item in nets(root) for face in drawn(bpy, item)]
    assert np.ptp(np.concatenate(flat)[:, 2]) < NEAR_MM
    assert sum(map(area, flat)) == pytest.approx(sum(map(area, wanted)), rel=1e-5)


def _sorted(points):
    return points[np.lexsort(np.round(points, 1).T)]


def test_no_fold_tears_on_the_way(bpy, house):
    root = laid(bpy)
    lines_of, model = module("model_lines").lines_of, model_of(bpy, root)
    folds = set(model.folds.tolist())
    for value in np.linspace(0.0, 1.0, 13):
        unfold(bpy, root, float(value))
        for item in nets(root):
            lines = lines_of(bpy.context, item)
            assert folds & set(lines.edges.tolist())
            points = np.concatenate(drawn(bpy, item))
            # Both facets of a fold have its ends as corners.
            for edge, ends in zip(lines.edges.tolist(), lines.ends, strict=True):
                if edge in folds:
                    for end in ends:
                        near = np.linalg.norm(points - 1000 * end, axis=1)
                        assert np.count_nonzero(near < 0.11) >= 2, (value, edge)


def test_nets_lie_beside_the_model_and_clear_of_each_other(bpy, house):
    root = laid(bpy)
    unfold(bpy, root, 1.0)
    right = max(face[:, 0].max() for face in source_faces(bpy, house))
    boxes = []
    for item in nets(root):
        points = np.concatenate(drawn(bpy, item))
        boxes.append((points.min(axis=0), points.max(axis=0)))
    assert min(low[0] for low, _ in boxes) > right
    for number, (low, high) in enumerate(boxes):
        for other_low, other_high in boxes[:number]:
            assert (low[:2] > other_high[:2]).any() or (other_low[:2] > high[:2]).any()


def test_it_plays_in_a_blender_without_the_extension(bpy, house, plain_blender, tmp_path):
    root = laid(bpy)
    bpy.context.scene.frame_set(5)
    assert bpy.ops.hingeleaf.keyframe_model(way="UNFOLD") == {"FINISHED"}
    heights = {}
    for frame in (5, 35, 65):
        bpy.context.scene.frame_set(frame)
        heights[frame] = [float(np.concatenate(drawn(bpy, item))[:, 2].max()) for item in nets(root)]
    assert max(heights[5]) > 60
    assert max(heights[65]) < 60
    file = tmp_path / "plays.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(file))
    code = """
import bpy, json, os, sys
bpy.ops.wm.open_mainfile(filepath=sys.argv[1])
found = {}
for frame in (5, 35, 65):
    bpy.context.scene.frame_set(frame)
    graph = bpy.context.evaluated_depsgraph_get()
    items = sorted((i for i in bpy.data.objects if "hingeleaf_model_net" in i), key=lambda i: i["hingeleaf_model_net"])
    seen = [i.evaluated_get(graph) for i in items]
    found[frame] = [max(1000 * (e.matrix_world @ e.data.vertices[v].co).z for f in e.data.polygons for v in f.vertices)
                    for e in seen]
print("HEIGHTS", json.dumps(found), flush=True)
os._exit(0)
"""
    line = next(line for line in plain_blender(code, file).splitlines() if line.startswith("HEIGHTS"))
    again = {int(frame): values for frame, values in json.loads(line[8:]).items()}
    for frame, values in heights.items():
        assert again[frame] == pytest.approx(values, abs=NEAR_MM)


def test_steps_are_near_enough(bpy, house):
    """Between two shape keys no point is off by more than a tenth of a millimeter."""
    root = laid(bpy)
    edge_to_edge(bpy, root)
    model = model_of(bpy, root)
    steps = np.array([0.013, 0.31, 0.5017, 0.77, 0.991])
    poses = module("geometry.unfold.folding").folded_poses(model.unfolded, steps)
    meshes = module("model_mesh").net_meshes(model.unfolded, model.joins)
    posed = module("model_mesh").posed
    for item, mesh, matrices in zip(nets(root), meshes, poses, strict=True):
        count = sum(len(face) for face in mesh.faces)
        for number, step in enumerate(steps.tolist()):
            unfold(bpy, root, step)
            seen = item.evaluated_get(bpy.context.evaluated_depsgraph_get())
            shown = 1000 * np.array([vertex.co for vertex in seen.data.vertices])[:count]
            exact = posed(mesh, matrices[number], 1 - step)[:count]
            # All is carried aside by one shift.
            off = shown - exact
            assert np.abs(off - off.mean(axis=0)).max() < 0.1 + NEAR_MM


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


def test_its_size_is_handy_or_as_it_is_wished(bpy, house):
    root = laid(bpy)
    # 80 mm long: made in its real size.
    assert root.hingeleaf_model.size_by == "REAL"
    assert model_of(bpy, root).scale == 1.0
    choose(bpy, house)
    house.scale = (100.0, 100.0, 100.0)
    bpy.ops.hingeleaf.remove_model_nets()
    choose(bpy, house)
    root = laid(bpy)
    # 8 m long: the longest side is made about 50 mm.
    assert root.hingeleaf_model.size_by == "HEIGHT"
    assert root.hingeleaf_model.height == pytest.approx(45.0)
    assert model_of(bpy, root).scale == pytest.approx(45.0 / 7000.0, rel=1e-6)
    # Shown as large as the model stands there.
    assert root.scale[0] == pytest.approx(7000.0 / 45.0, rel=1e-6)
    root.hingeleaf_model.height = 50.0
    module("model_updating").look_after(bpy.context)
    facets = model_of(bpy, root).unfolded.facets
    assert np.ptp(facets.vertices[:, 2]) == pytest.approx(50.0, rel=1e-9)
    assert root.scale[0] == pytest.approx(140.0, rel=1e-6)
    root.hingeleaf_model.true_size = True
    module("model_updating").look_after(bpy.context)
    assert root.scale[0] == pytest.approx(1.0)


def test_wishes_that_cannot_be_leave_the_nets_and_say_why(bpy, house):
    root = laid(bpy)
    before = [item.name for item in nets(root)], model_of(bpy, root).folds.tolist()
    house.data.clear_geometry()
    with pytest.raises(RuntimeError, match="no faces are seen there"):
        bpy.ops.hingeleaf.refresh_model()
    assert ([item.name for item in nets(root)], model_of(bpy, root).folds.tolist()) == before


def test_an_edited_model_is_followed(bpy, house):
    root = laid(bpy)
    updating = module("model_updating")
    choose(bpy, house)
    for vertex in house.data.vertices:
        vertex.co.x *= 1.5
    house.data.update()
    bpy.context.view_layer.update()
    updating.look_after(bpy.context)
    facets = model_of(bpy, root).unfolded.facets
    assert np.ptp(facets.vertices[:, 0]) == pytest.approx(120.0, rel=1e-5)
    shown = [face for item in nets(root) for face in drawn(bpy, item)]
    assert len(shown) >= 7
    # Laying nets is no edit: nothing more is to be done.
    names = [item.name for item in nets(root)]
    bpy.context.view_layer.update()
    updating.look_after(bpy.context)
    assert [item.name for item in nets(root)] == names


def a_fold(model):
    return int(model.folds[0])


def test_a_click_cuts_and_another_joins(bpy, house):
    root = laid(bpy)
    model = model_of(bpy, root)
    edge, count = a_fold(model), len(nets(root))
    assert bpy.ops.hingeleaf.cut_edge(edge=edge) == {"FINISHED"}
    cut = model_of(bpy, root)
    assert edge not in cut.folds
    assert len(nets(root)) == len(cut.unfolded.nets) == count + (len(cut.folds) < len(model.folds))
    seams = [edge.use_seam for edge in house.data.edges]
    assert not any(seams)
    # The choice stays when other wishes change.
    root.hingeleaf_model.tab_width = 4.0
    module("model_updating").look_after(bpy.context)
    assert edge not in model_of(bpy, root).folds
    assert bpy.ops.hingeleaf.cut_edge(edge=edge) == {"FINISHED"}
    assert edge in model_of(bpy, root).folds
    choices = module("model_state").choices_of(root)
    assert [choice.mark for choice in choices] == [module("geometry.unfold.data").KEEP]
    assert bpy.ops.hingeleaf.forget_choices() == {"FINISHED"}
    assert module("model_state").choices_of(root) == ()
    with pytest.raises(RuntimeError, match="There is no edge 999"):
        bpy.ops.hingeleaf.cut_edge(edge=999)


def test_cuts_become_seams_where_they_are_wanted(bpy, house):
    root = laid(bpy)
    model = model_of(bpy, root)
    with pytest.raises(RuntimeError, match="No edge was cut or joined by hand"):
        bpy.ops.hingeleaf.write_seams()
    bpy.ops.hingeleaf.cut_edge(edge=a_fold(model))
    assert bpy.ops.hingeleaf.write_seams() == {"FINISHED"}
    assert sum(edge.use_seam for edge in house.data.edges) == 1
    assert bpy.ops.hingeleaf.write_seams(every=True) == {"FINISHED"}
    assert sum(edge.use_seam for edge in house.data.edges) == len(model_of(bpy, root).unfolded.cuts)


def test_saved_and_opened_again_it_is_what_it_was(bpy, house, tmp_path):
    root = laid(bpy)
    bpy.ops.hingeleaf.cut_edge(edge=a_fold(model_of(bpy, root)))
    before = model_of(bpy, root)
    flat = [np.concatenate(drawn(bpy, item)) for item in nets(root)]
    file = tmp_path / "kept.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(file))
    bpy.ops.wm.open_mainfile(filepath=str(file))
    module("model_wishes").forget_models()
    root = module("model_state").meant_model(bpy.context)
    after = model_of(bpy, root)
    assert after.folds.tolist() == before.folds.tolist()
    assert not module("model_state").is_stale(root)
    assert after.unfolded.facets.vertices == pytest.approx(before.unfolded.facets.vertices, abs=1e-12)
    for item, points in zip(nets(root), flat, strict=True):
        assert np.concatenate(drawn(bpy, item)) == pytest.approx(points, abs=1e-9)
    assert bpy.ops.hingeleaf.cut_edge(edge=a_fold(after)) == {"FINISHED"}


def test_one_step_of_undo_each(bpy, house):
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.unfold_model("EXEC_DEFAULT", True)
    state = module("model_state")
    root = state.meant_model(bpy.context)
    edge = a_fold(model_of(bpy, root))
    bpy.ops.hingeleaf.cut_edge("EXEC_DEFAULT", True, edge=edge)
    assert len(state.choices_of(root)) == 1
    bpy.ops.ed.undo()
    root = state.meant_model(bpy.context)
    assert state.choices_of(root) == ()
    assert edge in model_of(bpy, root).folds
    bpy.ops.ed.undo()
    assert state.meant_model(bpy.context) is None
    assert not [item for item in bpy.data.objects if "hingeleaf_model_net" in item]
    bpy.ops.ed.redo()
    assert edge in model_of(bpy, state.meant_model(bpy.context)).folds


def settled(bpy):
    """What a timer does in a window once the hand rests."""
    module("model_updating")._look_now()


def stepped(bpy, way):
    """A step of undo or redo, and what a timer does in a window after each."""
    updating = module("model_updating")
    getattr(bpy.ops.ed, way)()
    while updating._STEPPED:
        getattr(updating, f"_{way}_on")()


def held(bpy):
    """The height that is wished, and the nets that lie there; all are in the file."""
    root = module("model_state").meant_model(bpy.context)
    collection = bpy.data.collections[root.name]
    assert {item.name for item in collection.objects} == {root.name, *(item.name for item in nets(root))}
    assert all(item == bpy.data.objects[item.name] for item in collection.objects)
    return root.hingeleaf_model.height, root.hingeleaf_model.tab_width, len(nets(root)), len(model_of(bpy, root).folds)


def test_a_wish_and_its_nets_are_taken_back_together(bpy, house):
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.unfold_model("EXEC_DEFAULT", True)
    states = [held(bpy)]
    for height in (60.0, 1000.0):
        group = module("model_state").meant_model(bpy.context).hingeleaf_model
        group.size_by, group.height = "HEIGHT", height
        bpy.ops.ed.undo_push(message="Height")
        settled(bpy)
        states.append(held(bpy))
    # So high a house is cut apart to fit its sheets.
    assert states[2][2] > states[1][2]
    for wanted in states[1::-1]:
        stepped(bpy, "undo")
        assert held(bpy) == wanted
        assert not module("model_state").is_stale(module("model_state").meant_model(bpy.context))
    for wanted in states[1:]:
        stepped(bpy, "redo")
        assert held(bpy) == wanted


def test_nets_that_followed_an_edit_are_a_step_of_their_own(bpy, house):
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.unfold_model("EXEC_DEFAULT", True)
    before = held(bpy)
    choose(bpy, house)
    bpy.ops.object.mode_set("EXEC_DEFAULT", True, mode="EDIT")
    bpy.ops.mesh.select_all("EXEC_DEFAULT", True, action="SELECT")
    bpy.ops.mesh.poke("EXEC_DEFAULT", True, offset=0.01)
    bpy.ops.object.mode_set("EXEC_DEFAULT", True, mode="OBJECT")
    bpy.context.view_layer.update()
    settled(bpy)
    after = held(bpy)
    # Each wall has become a pyramid.
    assert after[3] > before[3] + 20
    bpy.ops.ed.undo()
    # What Blender says of the model now is no edit: nets laid here would take away what can be redone.
    bpy.context.view_layer.update()
    module("model_updating")._undo_on()
    settled(bpy)
    assert held(bpy) == before
    for _ in range(3):
        stepped(bpy, "undo")
        assert held(bpy) == before
    for _ in range(4):
        stepped(bpy, "redo")
    assert held(bpy) == after


def test_a_refused_wish_is_no_half_step_of_undo(bpy, house, monkeypatch):
    bpy.ops.hingeleaf.unfold_model("EXEC_DEFAULT", True)
    updating, state = module("model_updating"), module("model_state")
    group = state.meant_model(bpy.context).hingeleaf_model
    group.tab_width = 9.0
    assert updating._is_half_done()

    def refused(*_):
        raise module("geometry").HingeleafError("It cannot be")

    monkeypatch.setattr(updating, "renew", refused)
    settled(bpy)
    root = state.meant_model(bpy.context)
    assert root.hingeleaf_model.refusal == "It cannot be"
    assert state.is_stale(root)
    # Undoing what comes after it stops there.
    assert not updating._is_half_done()


def test_unfolding_again_lays_anew_and_removing_leaves_nothing(bpy, house):
    before = {name: len(getattr(bpy.data, name)) for name in ("objects", "meshes", "collections", "shape_keys")}
    root = laid(bpy)
    choose(bpy, house)
    assert laid(bpy) == root
    assert bpy.ops.hingeleaf.remove_model_nets() == {"FINISHED"}
    assert {name: len(getattr(bpy.data, name)) for name in before} == before
    assert bpy.context.view_layer.objects.active == house


def test_says_why_it_is_unavailable(bpy):
    with pytest.raises(RuntimeError, match="Select a mesh, curve, text or metaball"):
        bpy.ops.hingeleaf.unfold_model()
    for name in ("refresh_model", "remove_model_nets", "write_model_nets", "keyframe_model", "cut_edge"):
        with pytest.raises(RuntimeError, match="Select a model and press Unfold Model first"):
            getattr(bpy.ops.hingeleaf, name)()
    lone = add(bpy, "Lone", [(0, 0, 0), (1, 0, 0)], [])
    with pytest.raises(RuntimeError, match="Lone: no faces are seen there"):
        bpy.ops.hingeleaf.unfold_model()
    assert [item.name for item in bpy.data.objects] == [lone.name]


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


def dressed(bpy, item, *, image=None, color=(0.5, 0.2, 0.05, 1.0), mixed=False):
    """Give an object a material: a color, an image, or an image that is mixed with a color."""
    material = bpy.data.materials.new("Paint")
    if material.node_tree is None:
        material.use_nodes = True
    nodes, links = material.node_tree.nodes, material.node_tree.links
    shader = next(node for node in nodes if node.type == "BSDF_PRINCIPLED")
    shader.inputs["Base Color"].default_value = color
    if image is not None:
        texture = nodes.new("ShaderNodeTexImage")
        texture.image = image
        links.new(texture.outputs["Color"], shader.inputs["Base Color"])
    if mixed:
        inverted = nodes.new("ShaderNodeInvert")
        inverted.inputs["Color"].default_value = color
        links.new(inverted.outputs[0], shader.inputs["Base Color"])
    item.data.materials.append(material)
    return material


def picture(bpy, name="Checker", size=8):
    image = bpy.data.images.new(name, size, size)
    image.pixels = [value for n in range(size * size) for value in ((1, 0, 0, 1) if n % 2 else (0, 0, 1, 1))]
    return image


def mapped(item):
    uv = item.data.uv_layers.new(name="Chart")
    for face in item.data.polygons:
        for number, loop in enumerate(face.loop_indices):
            uv.uv[loop].vector = ((0, 0), (1, 0), (1, 1), (0, 1), (0.5, 1.5))[number]


def surfaces(bpy, root):
    return module("model_state").with_surfaces(root, model_of(bpy, root).unfolded).facets.mesh.surfaces


def test_colors_are_turned_from_scene_linear_to_srgb(bpy, box):
    dressed(bpy, box, color=(0.5, 0.2140411, 0.001, 1.0))
    (surface,) = surfaces(bpy, laid(bpy))
    # IEC 61966-2-1: 0.5 is 0.7353569, 0.2140411 is 0.5, and what is small is 12.92 times as large.
    assert surface.color == pytest.approx((0.7353569, 0.5, 0.01292), abs=1e-4)
    assert surface.texture is None


def test_images_come_as_files_with_the_pixels_that_they_have(bpy, box, tmp_path):
    from PIL import Image

    image = picture(bpy)
    mapped(box)
    dressed(bpy, box, image=image)
    root = laid(bpy)

    def pixels():
        (surface,) = surfaces(bpy, root)
        with Image.open(surface.texture) as opened:
            return np.array(opened.convert("RGB")), surface.texture

    wanted = np.zeros((8, 8, 3), dtype=np.uint8)
    wanted[:, 0::2, 2], wanted[:, 1::2, 0] = 255, 255
    assert (pixels()[0] == wanted).all()
    image.pack()
    assert (pixels()[0] == wanted).all()
    file = tmp_path / "own.png"
    image.filepath_raw, image.file_format = str(file), "PNG"
    image.save()
    image.unpack(method="REMOVE")
    image.reload()
    assert pixels()[1] == str(file)
    # Painted over and not saved: what is seen is printed.
    image.pixels = [0.0, 1.0, 0.0, 1.0] * 64
    found, name = pixels()
    assert name != str(file)
    assert (found == [0, 255, 0]).all()


def test_nets_wear_the_materials_and_uv_coordinates_of_the_model(bpy, house):
    mapped(house)
    material = dressed(bpy, house, image=picture(bpy))
    root = laid(bpy)
    edge_to_edge(bpy, root)
    charts = {
        frozenset(tuple(np.round(house.data.uv_layers[0].uv[loop].vector, 5)) for loop in face.loop_indices)
        for face in house.data.polygons
    }
    for item in nets(root):
        assert item.data.uv_layers[0].name == "Chart"
        for face in item.data.polygons:
            assert item.data.materials[face.material_index] == material
            chart = [tuple(np.round(item.data.uv_layers[0].uv[loop].vector, 5)) for loop in face.loop_indices]
            assert frozenset(chart) in charts


def test_other_materials_are_baked(bpy, box):
    """The complement of a color, which no look at the nodes finds out."""
    mapped(box)
    material = dressed(bpy, box, color=(0.25, 0.5, 1.0, 1.0), mixed=True)
    root = laid(bpy)
    assert [note.name.split(":")[0] for note in root.hingeleaf_model.notes] == ["Paint"]
    assert surfaces(bpy, root)[0].texture is None
    scenes, objects = len(bpy.data.scenes), len(bpy.data.objects)
    assert bpy.ops.hingeleaf.bake_model(size=16) == {"FINISHED"}
    assert (len(bpy.data.scenes), len(bpy.data.objects)) == (scenes, objects)
    assert len(root.hingeleaf_model.notes) == 0
    from PIL import Image

    with Image.open(surfaces(bpy, root)[0].texture) as opened:
        middle = np.array(opened.convert("RGB"))[8, 8] / 255
    wanted = module("model_materials").srgb((0.75, 0.5, 0.0))
    assert middle == pytest.approx(wanted, abs=0.02)
    assert [node.type for node in material.node_tree.nodes].count("TEX_IMAGE") == 0


def test_nothing_to_bake_is_said(bpy, box):
    dressed(bpy, box)
    laid(bpy)
    with pytest.raises(RuntimeError, match="nothing needs baking"):
        bpy.ops.hingeleaf.bake_model()


class Seen:
    """A viewport that looks straight down, 100 pixels a decimeter, its middle at a place of the world."""

    def __init__(self, middle, pointer):
        from types import SimpleNamespace

        self.region = SimpleNamespace(width=800, height=600, as_pointer=lambda: 1)
        scale = 10 / np.array([800 / 200, 600 / 200])
        matrix = np.diag([scale[0], scale[1], -1.0, 1.0])
        matrix[:2, 3] = -scale * middle[:2]
        self.view = SimpleNamespace(perspective_matrix=matrix)
        self.pointer = pointer


def test_the_pointer_finds_a_fold_on_the_nets_and_an_edge_on_the_model(bpy, house):
    root = laid(bpy)
    unfold(bpy, root, 1.0)
    picking, model = module("model_picking"), model_of(bpy, root)
    picker = picking.EdgePicker(bpy.context, root)
    try:
        edge = a_fold(model)
        item_lines = [module("model_lines").lines_of(bpy.context, item) for item in nets(root)]
        place = next(lines.ends[lines.edges == edge][0].mean(axis=0) for lines in item_lines if edge in lines.edges)
        picker.move(bpy.context, Seen(place, (405.0, 300.0)))
        assert picker.hover == edge
        picker.move(bpy.context, Seen(place + [0, -5, 0], (400.0, 300.0)))
        assert picker.hover == -1
        ridge = Seen(np.array([0.0, 0.0, 0.07]), (400.0, 303.0))
        picker.move(bpy.context, ridge)
        facets = model.unfolded.facets
        ends = facets.vertices[facets.edges[picker.hover]]
        assert ends[:, 2] == pytest.approx(70.0, abs=NEAR_MM), "of all edges under the pointer the topmost"
        words = picking.words_of(model, picker.hover)
        assert "90.0° mountain" in words
    finally:
        picker.close()


def test_the_model_on_a_panel_of_a_book(bpy, house, tmp_path):
    mapped(house)
    dressed(bpy, house, image=picture(bpy))
    root = laid(bpy)
    file = tmp_path / "book.toml"
    file.write_text('format = 1\ntitle = "Plot"\n[page]\nsize = [150, 200]\n', encoding="utf-8")
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False, alone=False) == {"FINISHED"}
    book = bpy.context.view_layer.objects.active
    choose(bpy, root)
    assert bpy.ops.hingeleaf.put_model(panel="page.right", at=(70.0, 100.0)) == {"FINISHED"}
    assert 'kind = "solid"' in book["hingeleaf_description"]
    assert {path.name for path in (tmp_path / "models").iterdir()} == {"house.obj", "house.mtl", "house-0.png"}
    spread = module("designing").spread_of(book)
    (solid,) = spread.solids
    assert solid.height_mm == pytest.approx(70.0, abs=1e-3)
    # Saved elsewhere, the model goes with it.
    other = tmp_path / "other" / "book.toml"
    other.parent.mkdir()
    assert bpy.ops.hingeleaf.save_description(filepath=str(other)) == {"FINISHED"}
    assert (other.parent / "models" / "house-0.png").is_file()


def test_lines_are_mountains_where_the_model_is_convex_and_valleys_where_it_is_not(bpy):
    """A house whose roof has fallen in: its ridge is the only valley."""
    sunk = [(x, y, 0.02 if z == 0.07 else z) for x, y, z in HOUSE]
    add(bpy, "Ruin", sunk, HOUSE_FACES)
    root = laid(bpy)
    mesh, model = module("model_mesh"), model_of(bpy, root)
    facets = model.unfolded.facets
    ridge = int(np.flatnonzero(np.isclose(facets.vertices[facets.edges][:, :, 2], 20.0, atol=1e-3).all(axis=1))[0])
    if ridge not in model.folds:
        bpy.ops.hingeleaf.cut_edge(edge=ridge)
    folds = set(model_of(bpy, root).folds.tolist())
    assert ridge in folds
    kinds = {}
    for item in nets(root):
        lines = module("model_lines").lines_of(bpy.context, item)
        kinds |= {e: k for e, k in zip(lines.edges.tolist(), lines.kinds.tolist(), strict=True) if e in folds}
    assert set(kinds) == folds
    assert {edge for edge, kind in kinds.items() if kind == mesh.VALLEY_LINE} == {ridge}
    assert all(kind == mesh.MOUNTAIN_LINE for edge, kind in kinds.items() if edge != ridge)


def test_nets_are_written_with_labels_and_artwork(bpy, house, tmp_path):
    import xml.etree.ElementTree as ElementTree

    mapped(house)
    dressed(bpy, house, image=picture(bpy))
    root = laid(bpy)
    chosen = {"formats": {"svg", "pdf", "dxf"}, "sheet": "A3", "angles": True, "dpi": 72}
    assert bpy.ops.hingeleaf.write_model_nets(directory=str(tmp_path), **chosen) == {"FINISHED"}
    assert {path.suffix for path in tmp_path.iterdir()} == {".svg", ".pdf", ".dxf"}
    drawings = [ElementTree.parse(path).getroot() for path in sorted(tmp_path.glob("*.svg"))]
    assert all(sorted((each.get("width"), each.get("height"))) == ["297mm", "420mm"] for each in drawings)
    pieces = {group.get("data-piece") for each in drawings for group in each.iter() if group.get("data-piece")}
    assert len(pieces) == len(nets(root))
    assert any(element.tag.endswith("image") for each in drawings for element in each.iter())
    # There is no order of assembly of a model, and so none is offered.
    offered = bpy.ops.hingeleaf.write_model_nets.get_rna_type().properties["formats"].enum_items
    assert [each.identifier for each in offered] == ["svg", "pdf", "dxf", "cutting"]
    other = tmp_path / "none"
    other.mkdir()
    with pytest.raises(RuntimeError, match="Choose a kind of file that a model has"):
        bpy.ops.hingeleaf.write_model_nets(directory=str(other), formats=set())
    assert not list(other.iterdir())
