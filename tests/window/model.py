"""A mesh from Blender's menu to card: unfolded, sized, cut and joined by hand, its nets written and folded."""

import sys
from xml.etree import ElementTree

import bpy
from mathutils import Vector

from tests.window.eyes import browse, find, middle, open_sidebar, seen, sidebar, type_over, viewport
from tests.window.files import FILES
from tests.window.hands import click, key, move, shot, typed
from tests.window.pace import beat, expect, say, until
from tests.window.spread import new_file

__all__ = ["unfold_model"]

#: A cube of so many millimeters has one net on A4, and one of twice that has not.
SMALL, LARGE = 50, 100


def unfold_model():
    """The whole way of one model, in a new file; what is open is saved first, or Blender would ask about it."""
    if bpy.data.filepath:
        move(middle(viewport()))
        yield from beat()
        yield from key("ctrl+s")
        yield from until("the file is saved", lambda: not bpy.data.is_dirty)
    yield from new_file()
    yield from add_cube()
    yield from open_sidebar()
    place = yield from find("hingeleaf.unfold_model", sidebar)
    yield from click(place)
    yield from until("there are nets", lambda: root() is not None)
    say(f"Unfold Model: {figures()}")
    yield from type_heights()
    yield from cut_and_join()
    yield from avoid_cutting()
    yield from fold()
    yield from write_model_nets()


def _installed(name):
    """A module of the installed extension."""
    return next(module for key, module in sys.modules.items() if key.endswith(f".hingeleaf.{name}"))


def root():
    """The empty of the nets; None where there is none."""
    return next((item for item in bpy.data.objects if item.get("hingeleaf_mesh") is not None), None)


def nets():
    """The objects of the nets."""
    return [] if root() is None else list(root().children)


def figures():
    """What the sidebar says of the nets."""
    return root().hingeleaf_model.figures


def model():
    """The nets as the extension knows them."""
    return _installed("model_state").model_of(bpy.context, root())


def folds():
    """The numbers of the edges that are folded."""
    return set(model().folds.tolist())


def edge_place(edge):
    """The middle of an edge in the world, on the first of the nets that has it."""
    for item in nets():
        lines = _installed("model_lines").lines_of(bpy.context, item)
        for number, ends in zip(lines.edges.tolist(), lines.ends, strict=True):
            if number == edge:
                return Vector(ends.mean(axis=0))
    raise AssertionError(f"no net has the edge {edge}")


def add_cube():
    """Take the new file's cube away, and add one from the Add menu."""
    bpy.data.batch_remove([bpy.data.objects["Cube"]])
    bpy.ops.ed.undo_push(message="Empty scene")
    move(middle(viewport()))
    yield from beat()
    yield from key("shift+a")
    yield from beat()
    yield from typed("cube")
    yield from beat()
    yield from key("Return")
    yield from until("there is a cube", lambda: bpy.context.view_layer.objects.active is not None)
    yield from beat()


def type_heights():
    """A cube that is larger than a sheet is cut apart; each height is one step of undo, with its nets."""
    yield from type_height(SMALL)
    expect(len(nets()) == 1 and len(folds()) == 5, f"a cube of {SMALL} mm has one net, and there are {figures()}")
    yield from frame_nets()
    shot("30-one-net")
    before = figures()
    yield from type_height(LARGE)
    expect(len(nets()) > 1, f"a cube of {LARGE} mm has no one net on A4, and there are {figures()}")
    after = figures()
    move(middle(viewport()))
    yield from beat()
    for keys, height, said in (("ctrl+z", SMALL, before), ("ctrl+shift+z", LARGE, after), ("ctrl+z", SMALL, before)):
        yield from key(keys)
        yield from until(f"{keys} brings a height of {height} mm", lambda wanted=said: figures() == wanted)
        yield from beat(30)
        held = root().hingeleaf_model.height
        expect((held, figures()) == (height, said), f"after {keys} the height is {held} and the nets are {figures()}")
        expect(len(nets()) == int(said.split()[0]), f"{len(nets())} nets lie there, and the sidebar says {said}")
    say(f"Height: {before}; {after}; undo and redo")


def type_height(height):
    """Type a height into the sidebar, and wait for its nets."""
    place = yield from find("hingeleaf_model.height", sidebar, across=0.7)
    yield from type_over(place, str(height))
    group = root().hingeleaf_model
    expect(abs(group.height - height) < 1e-3, f"{height} was typed, and the height is {group.height}")
    stale = _installed("model_state").is_stale
    yield from until(f"nets of {height} mm are laid", lambda: not stale(root()))
    yield from beat(20)


def frame_nets():
    """Look at everything from above."""
    move(middle(viewport()))
    yield from beat()
    yield from key("KP_7", "Home")
    yield from beat(20)


def cut_and_join():
    """Click a fold, which is cut, and the same edge again, which is joined; then take the joining back."""
    before = folds()
    edge = min(before)
    place = yield from find("hingeleaf.pick_edges", sidebar)
    yield from click(place)
    yield from beat()
    yield from click(seen(edge_place(edge)))
    yield from until("a click cuts the fold", lambda: folds() == before - {edge})
    yield from beat()
    expect(len(nets()) == 2, f"one fold of one net was cut, and there are {figures()}")
    shot("31-cut")
    cut = figures()
    yield from click(seen(edge_place(edge)))
    yield from until("another click joins it", lambda: folds() == before)
    yield from beat()
    shot("32-joined")
    yield from key("Escape")
    yield from beat()
    yield from key("ctrl+z")
    yield from until("undo brings the cut back", lambda: figures() == cut and len(nets()) == 2)
    yield from beat(30)
    expect(folds() == before - {edge}, "after undoing the joining another edge is cut")
    yield from key("ctrl+z")
    yield from until("undo takes the cut back", lambda: len(nets()) == 1)
    say(f"Edit Cuts: {cut}, joined again, and both undone")


def avoid_cutting():
    """Flag a cut edge of the model in Edit Mode: the nets follow, and are cut elsewhere; undo goes through it all."""
    cube = next(item for item in bpy.data.objects if item.type == "MESH" and item not in nets())
    name, before = cube.name, folds()
    flagged = next(edge for edge in range(12) if edge not in before)
    facets = model().unfolded.facets
    ends = [tuple(round(float(x) / model().scale / 1000, 4) for x in facets.vertices[v]) for v in facets.edges[flagged]]
    yield from click(seen(cube.matrix_world.translation))
    yield from until("the cube is active", lambda: bpy.context.view_layer.objects.active.name == name)
    move(middle(viewport()))
    yield from beat()
    yield from key("Tab")
    yield from until("the cube is edited", lambda: bpy.context.mode == "EDIT_MESH")
    yield from key("2")
    # The edge by its ends: the model's zero point is the middle of its foot.
    _select_edge(name, ends)
    yield from beat()
    yield from key("ctrl+e")
    yield from beat(20)
    # The entries of Hingeleaf are the last two.
    yield from key("End", "Up")
    shot("33-avoid")
    yield from key("Return")
    yield from beat()
    yield from key("Tab")
    yield from until("the nets avoid the edge", lambda: flagged in folds())
    yield from beat(30)
    expect(len(nets()) == 1 and len(folds()) == 5, f"one edge is avoided, and there are {figures()}")
    shot("34-avoided")
    yield from key("ctrl+z")
    yield from until("undo takes the nets back", lambda: folds() == before)
    for _ in range(3):
        yield from key("ctrl+z")
        yield from beat(20)
    expect(folds() == before and len(nets()) == 1, f"undoing the edit changed the nets: {figures()}")
    yield from key("ctrl+shift+z", times=4)
    yield from until("redo brings them again", lambda: flagged in folds())
    yield from beat(30)
    say(f"Avoid Cutting: edge {flagged} is folded, undone and redone")


def _select_edge(name, ends):
    """Select the edge of a mesh in Edit Mode that has two places as its ends, meters from the middle of its foot."""
    import bmesh

    item = bpy.data.objects[name]
    edited = bmesh.from_edit_mesh(item.data)
    corners = [item.matrix_world @ vertex.co for vertex in edited.verts]
    foot = sum(corners, Vector()) / len(corners)
    foot.z = min(corner.z for corner in corners)
    for edge in edited.edges:
        here = [item.matrix_world @ vertex.co - foot for vertex in edge.verts]
        same = [all((one - Vector(two)).length < 1e-3 for one, two in zip(here, way, strict=True)) for way in
                (ends, ends[::-1])]  # fmt: skip
        edge.select_set(any(same))
    expect(sum(edge.select for edge in edited.edges) == 1, f"the mesh has no edge from {ends[0]} to {ends[1]}")
    bmesh.update_edit_mesh(item.data)
    bpy.ops.ed.undo_push(message="Select edge")


def fold():
    """Type 0 at Unfolded: the nets stand as the model; and flat again."""
    low = [_top(item) for item in nets()]
    place = yield from find('["unfolded"]', sidebar, across=0.4)
    yield from type_over(place, "0")
    yield from until("the nets are folded", lambda: root()["unfolded"] == 0.0)
    yield from beat()
    shot("35-folded")
    high = max(_top(item) for item in nets())
    # The cube from the menu is 2 m high, and the nets are shown as large as it.
    expect(max(low) < 0.1 and abs(high - 2.0) < 0.01, f"flat the nets reach {max(low):.2f} m, folded {high:.2f} m")
    yield from type_over(place, "1")
    yield from until("the nets lie flat", lambda: root()["unfolded"] == 1.0)
    say(f"Unfolded: {high:.3f} m high, and flat again")


def _top(item):
    """How high a net reaches above the model's foot, meters."""
    shown = item.evaluated_get(bpy.context.evaluated_depsgraph_get())
    foot = root().matrix_world.translation.z
    places = (shown.matrix_world @ vertex.co for vertex in shown.data.vertices)
    return max(place.z for place in places) - foot


def write_model_nets():
    """Write Model Nets through the file browser."""
    folder = FILES / "model-nets"
    folder.mkdir()
    place = yield from find("hingeleaf.write_model_nets", sidebar)
    yield from click(place)
    yield from browse(folder)
    name = _installed("model_state").sources_of(root())[0].name.lower()
    wanted = {f"{name}-nets.pdf", *(f"{name}-{kind}-1.{ending}" for kind in ("nets", "cutting")
              for ending in ("svg", "dxf"))}  # fmt: skip
    yield from until("the nets are written", lambda: {file.name for file in folder.iterdir()} == wanted)
    drawing = ElementTree.parse(folder / f"{name}-nets-1.svg").getroot()
    pieces = {group.get("data-piece") for group in drawing.iter() if group.get("data-piece")}
    size = drawing.get("width"), drawing.get("height")
    expect(len(pieces) == len(nets()), f"{len(nets())} nets lie there, and {pieces} are written")
    expect(size == ("210mm", "297mm"), f"the nets fit A4, and the sheet is {size}")
    yield from beat()
    say(f"Write Model Nets: {len(wanted)} files, {size[0]} × {size[1]}")
