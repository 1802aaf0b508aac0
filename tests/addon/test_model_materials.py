"""Nets of a model wear its materials, on the screen, on a panel of a book and in files."""

from unittest.mock import MagicMock

import numpy as np
import pytest

from tests.addon.unfolded_models import choose, edge_to_edge, laid, model_of, module, nets


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


def test_baking_that_is_stopped_says_no_more_of_what_is_baked(bpy, box):
    mapped(box)
    dressed(bpy, box, color=(0.25, 0.5, 1.0, 1.0), mixed=True)
    root = laid(bpy)
    assert [note.name.split(":")[0] for note in root.hingeleaf_model.notes] == ["Paint"]
    assert list(module("model_baking").bake_materials(bpy.context, root, 16)) == ["Paint"]
    # As after Esc while a next one is waited for: nothing has laid the nets since.
    operator = MagicMock(nets=root.name)
    assert module("operators.bake_model").HINGELEAF_OT_bake_model.stop(operator, bpy.context) == {"FINISHED"}
    assert len(root.hingeleaf_model.notes) == 0
    assert operator.report.call_args.args[0] == {"INFO"}


def test_a_material_that_gets_another_name_while_it_is_baked(bpy, box):
    mapped(box)
    material = dressed(bpy, box, color=(0.25, 0.5, 1.0, 1.0), mixed=True)
    root = laid(bpy)
    baking = module("model_baking").bake_materials(bpy.context, root, 16)
    assert next(baking) == "Paint"
    material.name = "Lacquer"
    assert list(baking) == []
    assert [entry.baked.name for entry in root.hingeleaf_model.surfaces] == ["Lacquer Baked"]
    assert module("model_baking").unbaked_materials(root) == []


def test_nets_that_are_removed_while_materials_are_baked(bpy, box):
    mapped(box)
    dressed(bpy, box, color=(0.25, 0.5, 1.0, 1.0), mixed=True)
    root = laid(bpy)
    name, baking = root.name, module("model_baking").bake_materials(bpy.context, root, 16)
    assert next(baking) == "Paint"
    assert bpy.ops.hingeleaf.remove_model_nets() == {"FINISHED"}
    with pytest.raises(module("geometry").HingeleafError, match="the nets were removed while"):
        next(baking)
    operator = MagicMock(nets=name)
    assert module("operators.bake_model").HINGELEAF_OT_bake_model.stop(operator, bpy.context) == {"FINISHED"}
    assert operator.report.call_args.args[0] == {"ERROR"}


def test_nothing_to_bake_is_said(bpy, box):
    dressed(bpy, box)
    laid(bpy)
    with pytest.raises(RuntimeError, match="nothing needs baking"):
        bpy.ops.hingeleaf.bake_model()


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
