"""What is filmed is known again in another copy of an unchanged file, and any change is seen."""

import importlib

import pytest

MODULE = "bl_ext.user_default.hingeleaf"


def shake_memory(bpy):
    """What a window and an hour's work leave behind: another view, and everything new at another address."""
    screen = bpy.data.screens[0]
    view = next(area for area in screen.areas if area.type == "VIEW_3D")
    view.spaces[0].lens += 1.0
    view.spaces[0].region_3d.view_distance += 1.0
    for number in range(20):
        mesh = bpy.data.meshes.new(f"gone {number}")
        mesh.from_pydata([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [], [(0, 1, 2)])
        bpy.data.meshes.remove(mesh)
    bpy.context.scene.frame_set(bpy.context.scene.frame_current)
    bpy.context.view_layer.update()


@pytest.fixture
def saved(installed, tmp_path):
    """Open the v-fold in Blender's usual file, which has a window; returns what saves a copy: its bytes, its digest."""
    bpy = installed
    bpy.ops.wm.read_homefile(use_factory_startup=True)
    from pathlib import Path

    scene = Path(__file__).resolve().parents[2] / "scenes" / "v-fold.toml"
    assert bpy.ops.hingeleaf.open_description(filepath=str(scene)) == {"FINISHED"}
    digest = importlib.import_module(f"{MODULE}.film_source").source_digest

    def save():
        file = tmp_path / "copy.blend"
        bpy.ops.wm.save_as_mainfile(filepath=str(file), copy=True, compress=False)
        data = file.read_bytes()
        return data, digest(data)

    return save


def test_copies_of_an_unchanged_file_are_one_source(installed, saved):
    bytes_, known = saved()
    for _ in range(3):
        shake_memory(installed)
        others, again = saved()
        assert others != bytes_
        assert again == known


def card(bpy):
    """A panel of the book, and one of its materials."""
    item = next(item for item in bpy.data.objects if item.get("hingeleaf_panel") == "fold.left")
    return item, item.data.materials[0]


def move_corner(bpy):
    card(bpy)[0].data.vertices[0].co.x += 1e-4


def color_card(bpy):
    node = next(node for node in card(bpy)[1].node_tree.nodes if node.type == "BSDF_PRINCIPLED")
    node.inputs["Roughness"].default_value += 0.01


def show_other_shape(bpy):
    """Nothing but a pointer changes."""
    item, _ = card(bpy)
    other = next(each for each in bpy.data.objects if each.get("hingeleaf_panel") == "fold.right")
    item.data = other.data


def unlink_node(bpy):
    tree = card(bpy)[1].node_tree
    tree.links.remove(tree.links[0])


def move_frame(bpy):
    bpy.context.scene.frame_start += 1


def hide_lamp(bpy):
    next(item for item in bpy.data.objects if item.type == "LIGHT").hide_render = True


def move_light(bpy):
    next(item for item in bpy.data.objects if item.type == "LIGHT").location.z += 1e-3


CHANGES = (move_corner, color_card, show_other_shape, unlink_node, move_frame, hide_lamp, move_light)


@pytest.mark.parametrize("change", CHANGES, ids=lambda change: change.__name__)
def test_every_change_makes_another_source(installed, saved, change):
    _, known = saved()
    change(installed)
    assert saved()[1] != known


def test_a_link_to_another_socket_makes_another_source(installed, saved):
    """Only a pointer inside a material changes."""
    bpy = installed
    tree = card(bpy)[1].node_tree
    one, two = tree.nodes.new("ShaderNodeRGB"), tree.nodes.new("ShaderNodeRGB")
    mix = tree.nodes.new("ShaderNodeMix")
    link = tree.links.new(one.outputs[0], mix.inputs[0])
    _, known = saved()
    tree.links.remove(link)
    tree.links.new(two.outputs[0], mix.inputs[0])
    _, other = saved()
    tree.links.remove(tree.links[-1])
    tree.links.new(one.outputs[0], mix.inputs[0])
    assert other != known
    assert saved()[1] == known


def test_what_is_no_file_of_blender_is_its_bytes(installed):
    import hashlib

    digest = importlib.import_module(f"{MODULE}.film_source").source_digest
    for data in (b"", b"BLENDER17-01v0502", b"(\xb5/\xfdBLENDER", b"BLENDER-v405RENDATA"):
        assert digest(data) == hashlib.sha256(data).hexdigest()
