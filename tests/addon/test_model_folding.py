"""Nets of a model in Blender: laid beside it, folding back onto it, with lines that say which way each crease turns."""

import json

import numpy as np
import pytest

from tests.addon.unfolded_models import (
    HOUSE,
    HOUSE_FACES,
    NEAR_MM,
    add,
    area,
    drawn,
    edge_to_edge,
    laid,
    model_of,
    module,
    nets,
    unfold,
)

pytestmark = pytest.mark.usefixtures("no_step_waits")


def source_faces(bpy, item):
    """The faces of an object as they stand, in the world, mm."""
    matrix = np.array(item.matrix_world)
    points = np.array([vertex.co for vertex in item.data.vertices]) @ matrix[:3, :3].T + matrix[:3, 3]
    return [1000 * points[list(face.vertices)] for face in item.data.polygons]


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
