"""A solid on a page shows what its model shows, and changes with the model's files."""

import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from tests.addon.conftest import MODULE
from tests.geometry.lidded_block import MODEL, SOLID, materials, write_block
from tests.geometry.scene_texts import head

DESCRIPTION = head("Block", "[148, 210]") + SOLID.format(folder="models/")
BLUE, YELLOW, RED, GREEN = (0, 0, 1), (1, 1, 0), (1, 0, 0), (0, 1, 0)


@pytest.fixture
def block(bpy, tmp_path):
    """The root of a book with the block on its right page; its files are in the folder models."""
    write_block(tmp_path / "models", "0 0 1")
    file = tmp_path / "block.toml"
    file.write_text(DESCRIPTION)
    sys.modules[f"{MODULE}.watching"].forget_files(altogether=True)
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    return bpy.context.view_layer.objects.active


def facets(root):
    found = {item["hingeleaf_panel"]: item for item in root.children_recursive if "hingeleaf_panel" in item}
    return {name: item for name, item in found.items() if name.startswith("block.f")}


def seen(item, place):
    """The colour that a panel shows at a place of the world, through its UV coordinates: red, green, blue, alpha."""
    import bpy
    from mathutils.interpolate import poly_3d_calc

    local = item.matrix_world.inverted() @ place
    mesh = item.data
    faces = [face for face in mesh.polygons if face.material_index == 0]
    face = min(
        faces, key=lambda each: abs((local - each.center).dot(each.normal)) + 1e6 * (not _inside(mesh, each, local))
    )
    weights = poly_3d_calc([mesh.vertices[at].co for at in face.vertices], local)
    layer = mesh.uv_layers["Artwork"].data
    uv = sum(
        (weight * np.array(layer[loop].uv) for weight, loop in zip(weights, face.loop_indices, strict=True)),
        np.zeros(2),
    )
    material = item.material_slots[0].material
    image = next((node.image for node in material.node_tree.nodes if node.type == "TEX_IMAGE"), None)
    assert image is not None, f"{item.name} shows no picture"
    assert image.packed_file is not None
    width, height = image.size
    pixels = np.empty(4 * width * height, dtype=np.float32)
    image.pixels.foreach_get(pixels)
    x, y = int(uv[0] * width), int(uv[1] * height)
    assert bpy.data.images.get(image.name) == image
    return tuple(float(value) for value in pixels.reshape(height, width, 4)[y, x])


def _inside(mesh, face, local):
    from mathutils.geometry import intersect_point_tri

    corners = [mesh.vertices[at].co for at in face.vertices]
    return any(intersect_point_tri(local, corners[0], one, two) is not None for one, two in pairwise(corners[1:]))


def outwards(item):
    """The middle of a panel's printed side, and where that looks, in the world."""
    faces = [face for face in item.data.polygons if face.material_index == 0]
    area = sum(face.area for face in faces)
    middle = sum((face.center * face.area for face in faces[1:]), faces[0].center * faces[0].area) / area
    normal = sum((face.normal * face.area for face in faces[1:]), faces[0].normal * faces[0].area) / area
    return item.matrix_world @ middle, (item.matrix_world.to_3x3() @ normal).normalized()


def walls_and_lid(root):
    walls, lid = {}, None
    for name, item in facets(root).items():
        place, normal = outwards(item)
        if normal.z > 0.9:
            lid = item, place
        elif abs(normal.z) < 0.1:
            walls[name] = item, place
    assert len(walls) == 4
    assert lid is not None
    return walls, lid


def test_the_faces_of_a_solid_show_colours_and_texture(bpy, block):
    walls, (lid, middle) = walls_and_lid(block)
    for item, place in walls.values():
        assert seen(item, place) == pytest.approx((*BLUE, 1), abs=0.01)
    # The lid is 30 mm long, along x where the block is not turned: at either end is one half of its picture.
    x = (block.matrix_world.to_3x3() @ lid.matrix_world.to_3x3().col[0]).normalized()
    along = max((x, x.cross(outwards(lid)[1])), key=lambda way: abs(way.x))
    along = along * np.sign(along.x)
    assert seen(lid, middle - 0.009 * along) == pytest.approx((*RED, 1), abs=0.01)
    assert seen(lid, middle + 0.009 * along) == pytest.approx((*GREEN, 1), abs=0.01)


def test_what_did_not_change_is_not_painted_again(bpy, block):
    worn = {name: item.material_slots[0].material.name for name, item in facets(block).items()}
    assert bpy.ops.hingeleaf.reload_description() == {"FINISHED"}
    assert {name: item.material_slots[0].material.name for name, item in facets(block).items()} == worn


def test_a_colour_changed_on_disk_is_shown_without_a_click(bpy, block, tmp_path):
    watching = sys.modules[f"{MODULE}.watching"]
    assert watching.look_at_files(bpy.context) == ()
    (tmp_path / "models" / "block.mtl").write_text(materials("1 1 0 \n"))
    read = [watching.look_at_files(bpy.context) for _ in range(3)]
    assert read == [(), ("models/block.mtl",), ()]
    walls, _ = walls_and_lid(block)
    for item, place in walls.values():
        assert seen(item, place) == pytest.approx((*YELLOW, 1), abs=0.01)


def test_a_model_half_written_leaves_the_solid_as_it_was(bpy, block, tmp_path):
    watching = sys.modules[f"{MODULE}.watching"]
    watching.look_at_files(bpy.context)
    before = {name: len(item.data.vertices) for name, item in facets(block).items()}
    (tmp_path / "models" / "block.obj").write_text("v 0 0 0\nf 1 2")
    for _ in range(3):
        assert watching.look_at_files(bpy.context) == ()
    assert {name: len(item.data.vertices) for name, item in facets(block).items()} == before
    (tmp_path / "models" / "block.obj").write_text(MODEL.replace("25", "35"))
    read = [watching.look_at_files(bpy.context) for _ in range(3)]
    assert read == [(), ("models/block.obj",), ()]
    bpy.context.view_layer.update()
    _, (_, middle) = walls_and_lid(block)
    assert middle.z == pytest.approx(0.035, abs=0.002)


def test_a_blend_alone_carries_its_models(bpy, block, tmp_path):
    """Saved, and opened where the description's folder is gone: checked, changed, and saved with its model again."""
    import shutil

    blend = tmp_path / "block.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(blend))
    shutil.rmtree(tmp_path / "models")
    bpy.ops.wm.open_mainfile(filepath=str(blend))
    root = bpy.data.objects["Block"]
    bpy.context.view_layer.objects.active = root
    assert bpy.ops.hingeleaf.check_book() == {"FINISHED"}
    codes = [finding.short.partition(":")[0] for finding in bpy.context.scene.hingeleaf.findings]
    assert "solid-stands" in codes
    assert "artwork" not in codes
    designing = sys.modules[f"{MODULE}.designing"]
    designing.change_sizes(bpy.context, root, "block", {"turn": 30.0})
    designing.finish_change(bpy.context, root)
    assert "turn = 30" in root["hingeleaf_description"]
    walls, _ = walls_and_lid(root)
    for item, place in walls.values():
        assert seen(item, place) == pytest.approx((*BLUE, 1), abs=0.01)
    target = tmp_path / "elsewhere" / "again.toml"
    assert bpy.ops.hingeleaf.save_description(filepath=str(target)) == {"FINISHED"}
    assert (target.parent / "models" / "block.obj").read_text() == MODEL
    assert (target.parent / "models" / "block.mtl").read_text() == materials("0 0 1")
    assert (target.parent / "models" / "lid.png").is_file()


def test_what_is_packed_is_the_model_as_it_is_now(bpy, block, tmp_path):
    watching = sys.modules[f"{MODULE}.watching"]
    watching.look_at_files(bpy.context)
    assert unpacked(block)["models/block.obj"].decode() == MODEL
    (tmp_path / "models" / "block.obj").write_text(MODEL.replace("25", "35"))
    for _ in range(3):
        watching.look_at_files(bpy.context)
    files = unpacked(block)
    assert files["models/block.obj"].decode() == MODEL.replace("25", "35")
    assert files["models/lid.png"] == (tmp_path / "models" / "lid.png").read_bytes()


def unpacked(root):
    """What is packed in a book, by name."""
    import base64
    import io
    import zipfile

    with zipfile.ZipFile(io.BytesIO(base64.b64decode(root["hingeleaf_models"]))) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def test_nothing_outside_the_folder_is_packed_or_written(bpy, block, tmp_path):
    """A model may name files anywhere, and a .blend may come from anyone."""
    import base64
    import io
    import shutil
    import zipfile

    (tmp_path.parent / "secret.txt").write_text("secret")
    (tmp_path / "models" / "block.mtl").write_text(materials("0 0 1") + "map_Kd ../../secret.txt\n")
    assert bpy.ops.hingeleaf.reload_description() == {"FINISHED"}
    assert sorted(unpacked(block)) == ["models/block.mtl", "models/block.obj", "models/lid.png"]
    stream = io.BytesIO(base64.b64decode(block["hingeleaf_models"]))
    with zipfile.ZipFile(stream, "a") as archive:
        archive.writestr("../evil.txt", "evil")
    block["hingeleaf_models"] = base64.b64encode(stream.getvalue()).decode()
    shutil.rmtree(tmp_path / "models")
    target = tmp_path / "elsewhere" / "again.toml"
    assert bpy.ops.hingeleaf.save_description(filepath=str(target)) == {"FINISHED"}
    assert (target.parent / "models" / "block.obj").is_file()
    assert not list(tmp_path.rglob("evil.txt"))


def test_a_model_that_is_nowhere_is_told_of_in_one_sentence(bpy, block, tmp_path):
    import shutil

    shutil.rmtree(tmp_path / "models")
    del block["hingeleaf_models"]
    before = block["hingeleaf_description"]
    with pytest.raises(RuntimeError, match=r"block\.obj cannot be read"):
        bpy.ops.hingeleaf.check_book()
    target = tmp_path / "elsewhere" / "again.toml"
    with pytest.raises(RuntimeError, match=r"block\.obj cannot be read"):
        bpy.ops.hingeleaf.save_description(filepath=str(target))
    assert not target.exists()
    assert block["hingeleaf_description"] == before


@pytest.mark.parametrize("host", ["page.left", "page.right"])
@pytest.mark.parametrize("opening_deg", [15.0, 80.0, 180.0])
def test_a_solid_moves_with_its_panel(bpy, block, rig, host, opening_deg):
    """Every corner is where the core has it."""
    from geometry import assemble, parse_description
    from geometry.transforms import apply, lift

    designing = sys.modules[f"{MODULE}.designing"]
    if host == "page.left":
        text = block["hingeleaf_description"].replace("page.right", "page.left").replace("[60, 90]", "[-60, 90]")
        designing.change_book(bpy.context, block, parsed(text, block["hingeleaf_folder"]))
    rig.set_opening(block, opening_deg)
    folder = Path(block["hingeleaf_folder"])
    spread = assemble(parse_description(block["hingeleaf_description"], source="x", folder=folder))
    matrices = spread.pose(np.radians([opening_deg])).matrices
    panels, (solid,) = rig.panels(block), spread.solids
    assert spread.panels[solid.host].id == host
    for name in solid.panels:
        corners = apply(matrices[name][0], lift(np.array(spread.panels[name].outline.exterior.coords)[:-1]))
        shown = rig.world(panels[name])
        apart = np.linalg.norm(shown[:, None] - corners[None], axis=2).min(axis=0).max()
        assert apart < 0.05, name


def parsed(text, folder):
    """A description as the extension reads it."""
    return sys.modules[f"{MODULE}.geometry"].parse_description(text, source="block.toml", folder=Path(folder))
