"""Artwork lies on the card at true size, and reads right from both sides."""

import numpy as np
import pytest

from tests.geometry.scene_texts import HILL, head

DESCRIPTION = (
    head("Painted", "[100, 140]", page='art_front = "front.png"; art_back = "back.png"')
    + HILL
    + 'art_front = "front.png"\n'
)


@pytest.fixture
def painted(bpy, tmp_path):
    """A book with artwork on the pages' both sides and on the v-fold's printed face."""
    from PIL import Image

    for name in ("front", "back"):
        Image.new("RGB", (206, 146), (200, 120, 40)).save(tmp_path / f"{name}.png")
    file = tmp_path / "painted.toml"
    file.write_text(DESCRIPTION)
    assert bpy.ops.hingeleaf.open_description(filepath=str(file)) == {"FINISHED"}
    return bpy.context.view_layer.objects.active


def uv_of(item, slot):
    """Place on the artwork by the place of the corner in the object (mm, rounded), on one side of a panel."""
    layer = item.data.uv_layers[0].data
    found = {}
    for face in item.data.polygons:
        if face.material_index == slot:
            for loop in face.loop_indices:
                corner = item.data.vertices[item.data.loops[loop].vertex_index].co
                found[tuple(round(1000 * value, 3) for value in corner[:2])] = tuple(layer[loop].uv)
    return found


def test_art_box_of_the_pages_is_the_pages_and_three_millimetres(painted, rig):
    """The right page's object coordinates are its net coordinates, so its corners are known without the core."""
    front = uv_of(rig.panels(painted)["page.right"], 0)
    back = uv_of(rig.panels(painted)["page.right"], 1)
    for x, y in ((0.0, 0.0), (100.0, 0.0), (100.0, 140.0), (0.0, 140.0)):
        u, v = (x + 103.0) / 206.0, (y + 3.0) / 146.0
        assert front[(x, y)] == pytest.approx((u, v), abs=2e-7)
        assert back[(x, y)] == pytest.approx((1.0 - u, v), abs=2e-7)


def test_artwork_is_at_true_size_on_every_panel(painted, rig):
    """Lengths on the artwork times its size are lengths on the card, without any mirroring on the printed face."""
    sizes = {"page": (206.0, 146.0)}
    from geometry import assemble, parse_description
    from geometry.artwork import art_box

    spread = assemble(parse_description(DESCRIPTION))
    left, low, right, high = art_box(spread, "hill")
    sizes["hill"] = (right - left, high - low)
    for item in rig.panels(painted).values():
        for slot, mirrored in ((0, 1.0), (1, -1.0)):
            places = uv_of(item, slot)
            card = np.array(list(places))
            art = np.array(list(places.values())) * sizes[item["hingeleaf_piece"]]
            card, art = card - card[0], art - art[0]
            assert np.linalg.norm(art, axis=1) == pytest.approx(np.linalg.norm(card, axis=1), abs=2e-3)
            areas = [corners[1, 0] * corners[2, 1] - corners[1, 1] * corners[2, 0] for corners in (card[:3], art[:3])]
            assert np.sign(areas[0]) == mirrored * np.sign(areas[1])


def test_cover_wears_the_artwork_of_the_outside(bpy, painted, rig):
    """The board's outer face continues the page's back: the same place on the card, the same place on the artwork."""
    board = bpy.data.objects["page.right board"]
    assert board.material_slots[0].material == rig.panels(painted)["page.right"].material_slots[1].material
    layer = board.data.uv_layers[0].data
    outer = next(face for face in board.data.polygons if face.normal.z < -0.9)
    for loop in outer.loop_indices:
        x, y, _ = 1000 * board.data.vertices[board.data.loops[loop].vertex_index].co
        assert tuple(layer[loop].uv) == pytest.approx((1.0 - (x + 103.0) / 206.0, (y + 3.0) / 146.0), abs=1e-6)


def test_cover_of_plain_pages_is_cloth(bpy, open_scene):
    open_scene("scenes/v-fold.toml")
    assert bpy.data.objects["page.right board"].material_slots[0].material.name.endswith("cover")


def test_artwork_is_packed_and_shared(bpy, painted):
    assert sorted(image.name.split(".")[0] for image in bpy.data.images) == ["back", "front"]
    assert all(image.packed_file is not None for image in bpy.data.images)


def test_artwork_is_in_the_file_when_the_folder_is_gone(bpy, painted, plain_blender, tmp_path):
    folder = tmp_path / "elsewhere"
    folder.mkdir()
    blend = folder / "book.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(blend), copy=True)
    for name in ("front", "back"):
        (tmp_path / f"{name}.png").unlink()
    code = (
        "import bpy, sys\n"
        "bpy.ops.wm.open_mainfile(filepath=sys.argv[1], use_scripts=False)\n"
        "print('PIXELS', [round(255 * value) for image in bpy.data.images for value in image.pixels[:3]])\n"
    )
    assert "PIXELS [200, 120, 40, 200, 120, 40]" in plain_blender(code, blend)
