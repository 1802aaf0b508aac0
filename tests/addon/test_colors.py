"""Flat colours: in the description, on the model, undone in one step; and sRGB is shown as it was painted."""

import numpy as np
import pytest

from tests.addon.painted_books import DESCRIPTION, picture, text

#: Whole 255ths, as a description has them: light, dark, near black, saturated.
PATCHES = ((200, 120, 40), (12, 40, 90), (3, 5, 7), (255, 0, 64), (128, 128, 128), (250, 251, 246))


@pytest.fixture
def book(bpy, tmp_path):
    file = tmp_path / "book" / "painted.toml"
    file.parent.mkdir()
    file.write_text(DESCRIPTION)
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    return bpy.context.view_layer.objects.active


def activate(bpy, rig, root, panel):
    bpy.context.view_layer.objects.active = rig.panels(root)[panel]


def linear(color):
    """Source: IEC 61966-2-1."""
    return [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in (part / 255 for part in color)]


def ground(item, slot=0):
    return list(item.material_slots[slot].material.diffuse_color)[:3]


def test_a_color_of_each_face_in_the_description_and_on_the_card(bpy, book, rig):
    activate(bpy, rig, book, "hill.left")
    book.hingeleaf.color_front = [part / 255 for part in (200, 120, 40)]
    book.hingeleaf.color_back = [part / 255 for part in (12, 40, 90)]
    assert 'color_front = "#c87828"' in text(book)
    assert 'color_back = "#0c285a"' in text(book)
    for panel in ("hill.left", "hill.right", "hill.left.tab"):
        assert ground(rig.panels(book)[panel]) == pytest.approx(linear((200, 120, 40)), abs=1e-4)
        assert ground(rig.panels(book)[panel], 1) == pytest.approx(linear((12, 40, 90)), abs=1e-4)
    assert [round(255 * part) for part in book.hingeleaf.color_front] == [200, 120, 40]


def test_pages_have_colors_too_and_their_strips_with_them(bpy, book, rig):
    activate(bpy, rig, book, "step.left")
    book.hingeleaf.color_front = [1.0, 0.0, 64 / 255]
    assert text(book).index('color_front = "#ff0040"') < text(book).index("[stock.card]")
    for panel in ("page.left", "step.left"):
        assert ground(rig.panels(book)[panel]) == pytest.approx(linear((255, 0, 64)), abs=1e-4)


def test_without_a_color_that_of_the_card_is_shown(bpy, book, rig):
    activate(bpy, rig, book, "hill.left")
    assert [round(255 * part) for part in book.hingeleaf.color_front] == [251, 250, 246]
    activate(bpy, rig, book, "roof.left.support.wall")
    before = text(book)
    book.hingeleaf.color_front = (0.0, 0.0, 0.0)
    assert text(book) == before
    assert "no artwork of its own" in bpy.context.window_manager.hingeleaf.refusal


def test_taken_off_and_undone(bpy, book, rig):
    activate(bpy, rig, book, "hill.left")
    plain, name = text(book), book.name
    book.hingeleaf.color_front = (0.0, 0.0, 1.0)
    bpy.ops.ed.undo_push(message="color")
    colored = text(book)
    bpy.ops.hingeleaf.remove_color("EXEC_DEFAULT", True)
    assert text(bpy.data.objects[name]) == plain
    with pytest.raises(RuntimeError, match="no color on the printed face of hill"):
        bpy.ops.hingeleaf.remove_color()
    bpy.ops.ed.undo()
    assert text(bpy.data.objects[name]) == colored
    assert ground(rig.panels(bpy.data.objects[name])["hill.left"]) == pytest.approx((0, 0, 1), abs=1e-6)


RIDER = '[[mechanism]]\nkind = "rider"\nid = "r{0}"\npanel = "page.right"\nat = [{0}, 70]\nsize = [8, 8]\n'


@pytest.mark.parametrize("more", [0, 6])
def test_dragging_a_color_leaves_nothing_behind(bpy, rig, tmp_path, more):
    """In a small book all of it is built at every step, in a larger one a part."""
    file = tmp_path / "more.toml"
    file.write_text(DESCRIPTION + "".join(RIDER.format(60 + 5 * number) for number in range(more)))
    bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False)
    book = bpy.context.view_layer.objects.active
    activate(bpy, rig, book, "hill.left")
    book.hingeleaf.color_front = (0.0, 0.0, 0.0)
    count = len(bpy.data.materials)
    for step in range(1, 20):
        book.hingeleaf.color_front = (step / 20, 0.0, 0.0)
    assert len(bpy.data.materials) == count


def rendered(bpy, material, size=32):
    """A surface of a material that shines of itself, filmed without any look: what a monitor gets, 0 to 255."""
    import tempfile
    from pathlib import Path

    from PIL import Image

    scene = bpy.context.scene
    mesh = bpy.data.meshes.new("patch")
    mesh.from_pydata([(-1, -1, 0), (1, -1, 0), (1, 1, 0), (-1, 1, 0)], [], [(0, 1, 2, 3)])
    mesh.uv_layers.new()
    item = bpy.data.objects.new("patch", mesh)
    scene.collection.objects.link(item)
    camera = bpy.data.objects.new("eye", bpy.data.cameras.new("eye"))
    camera.data.type, camera.data.ortho_scale, camera.location.z = "ORTHO", 1.0, 2.0
    scene.collection.objects.link(camera)
    scene.camera = camera
    mesh.materials.append(material)
    scene.render.engine = "CYCLES"
    scene.cycles.samples, scene.cycles.use_denoising = 1, False
    scene.view_settings.view_transform, scene.view_settings.look = "Standard", "None"
    scene.render.dither_intensity = 0.0
    scene.render.resolution_x = scene.render.resolution_y = size
    file = Path(tempfile.mkdtemp()) / "patch.png"
    scene.render.filepath, scene.render.image_settings.file_format = str(file), "PNG"
    bpy.ops.render.render(write_still=True)
    bpy.data.objects.remove(item)
    with Image.open(file) as picture:
        return np.asarray(picture.convert("RGB"))[size // 2, size // 2].astype(int)


def shining(bpy, material):
    """The same material, its printed colour shining instead of being lit: light, fibres and all left out."""
    nodes, links = material.node_tree.nodes, material.node_tree.links
    texture = next((node for node in nodes if node.type == "TEX_IMAGE"), None)
    if texture is not None:
        source = next(link.to_node for link in links if link.from_node == texture and link.from_socket.name == "Color")
        socket = next(out for out in source.outputs if out.type == "RGBA")
    else:
        socket = next(node for node in nodes if node.type == "RGB").outputs[0]
    glow = nodes.new("ShaderNodeEmission")
    output = next(node for node in nodes if node.type == "OUTPUT_MATERIAL")
    links.new(socket, glow.inputs[0])
    links.new(glow.outputs[0], output.inputs[0])
    return material


@pytest.mark.parametrize("color", PATCHES)
def test_a_flat_color_is_shown_true(bpy, book, rig, color):
    activate(bpy, rig, book, "hill.left")
    book.hingeleaf.color_front = [part / 255 for part in color]
    material = rig.panels(book)["hill.left"].material_slots[0].material
    assert np.abs(rendered(bpy, shining(bpy, material)) - color).max() <= 1


def sixteen_bits(file, color):
    """A PNG of 16 bits a channel. Source: PNG 1.2 (recalled)."""
    import struct
    import zlib

    def chunk(name, data):
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    row = b"\0" + struct.pack(">3H", *(257 * part for part in color)) * 60
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 60, 40, 16, 2, 0, 0, 0))
    file.write_bytes(b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(row * 40)) + chunk(b"IEND", b""))
    return file


@pytest.mark.parametrize("color", PATCHES)
@pytest.mark.parametrize("kind", ["8 bits", "16 bits", "palette", "another profile"])
def test_what_is_painted_srgb_is_shown_true(bpy, book, rig, tmp_path, color, kind):
    from PIL import Image, ImageCms

    file = tmp_path / "patch.png"
    if kind == "16 bits":
        sixteen_bits(file, color)
    elif kind == "palette":
        Image.new("RGB", (60, 40), color).convert("P", palette=Image.Palette.ADAPTIVE).save(file)
    elif kind == "another profile":
        # Whose name alone differs: its numbers mean the same.
        profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
        other = profile.replace("sRGB".encode("utf-16-be"), "mine".encode("utf-16-be"))
        Image.new("RGB", (60, 40), color).save(file, icc_profile=other)
    else:
        picture(file, color)
    activate(bpy, rig, book, "hill.left")
    bpy.ops.hingeleaf.assign_artwork(filepath=str(file))
    material = rig.panels(book)["hill.left"].material_slots[0].material
    image = next(node.image for node in material.node_tree.nodes if node.type == "TEX_IMAGE")
    assert image.colorspace_settings.name == "sRGB"
    assert np.abs(rendered(bpy, shining(bpy, material)) - color).max() <= 1


def test_a_color_lies_under_alpha(bpy, book, rig, tmp_path):
    from PIL import Image

    Image.new("RGBA", (60, 40), (255, 0, 0, 0)).save(tmp_path / "clear.png")
    activate(bpy, rig, book, "hill.left")
    bpy.ops.hingeleaf.assign_artwork(filepath=str(tmp_path / "clear.png"))
    book.hingeleaf.color_front = (0.0, 0.0, 1.0)
    material = rig.panels(book)["hill.left"].material_slots[0].material
    assert tuple(rendered(bpy, shining(bpy, material))) == (0, 0, 255)
