"""What tests of models read from Blender: models of our own, the nets that are laid of them, and where these are."""

from importlib import import_module

import numpy as np

PACKAGE = "bl_ext.user_default.hingeleaf"
#: Single precision of meshes and matrices, mm, of models a hand long.
NEAR_MM = 2e-3


def module(name):
    return import_module(f"{PACKAGE}.{name}")


def add(bpy, name, vertices, faces):
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


def add_box(bpy):
    return add(bpy, "Box", BOX, BOX_FACES)


def add_house(bpy):
    return add(bpy, "House", HOUSE, HOUSE_FACES)


def forget_steps():
    """Let nothing wait any longer for a timer after an undo."""
    module("model_updating")._forget_steps()


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
