"""What tests of designing read from a book: its text, and where every panel is."""

import numpy as np

OPENINGS = (10.0, 95.0, 180.0)


def book_of(bpy):
    """The root of the only book."""
    return next(item for item in bpy.data.objects if item.get("hingeleaf_description"))


def text_of(bpy):
    """The description that the only book was built from."""
    return book_of(bpy)["hingeleaf_description"]


def standing(bpy):
    """Every corner of every panel in the world at some openings, by panel, mm, rounded to what a rig promises."""
    root = book_of(bpy)
    before = root["opening"]
    panels = {item["hingeleaf_panel"]: item for item in root.children_recursive if "hingeleaf_panel" in item}
    found = {name: [] for name in panels}
    for opening in OPENINGS:
        root["opening"] = opening
        root.update_tag()
        bpy.context.view_layer.update()
        for name, item in panels.items():
            points = np.array([item.matrix_world @ vertex.co for vertex in item.data.vertices])
            found[name].append(1000.0 * points)
    root["opening"] = before
    root.update_tag()
    bpy.context.view_layer.update()
    return {name: np.array(places) for name, places in found.items()}


def assert_same(one, two):
    """Two books stand alike."""
    assert sorted(one) == sorted(two)
    for name, places in one.items():
        assert places.shape == two[name].shape, name
        assert np.abs(places - two[name]).max() < 1e-3, name


def push(bpy, message):
    """Make a step of undo, as Blender does when a size was typed in the sidebar."""
    bpy.ops.ed.undo_push(message=message)


def kinds(root):
    return {entry.name: entry.kind for entry in root.hingeleaf.entries}


def sizes(root, mechanism):
    """The live sizes of a mechanism, made the active one."""
    names = [entry.name for entry in root.hingeleaf.entries]
    root.hingeleaf.index = names.index(mechanism)
    assert root.hingeleaf.active == mechanism
    return getattr(root.hingeleaf, root.hingeleaf.entries[mechanism].kind.replace("-", "_"))
