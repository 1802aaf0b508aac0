"""The studio: the camera sees the whole motion, the book lies on the table, card lies on card."""

import numpy as np
import pytest

from tests.addon.designs import book_of, text_of

OPENINGS = range(0, 181, 15)


def seen(bpy, root, rig):
    """Where every corner lies in the picture at several openings, (n, 2), 0 to 1; and nothing behind the camera."""
    from bpy_extras.object_utils import world_to_camera_view
    from mathutils import Vector

    scene = bpy.context.scene
    places = []
    for opening in OPENINGS:
        rig.set_opening(root, opening)
        for item in rig.panels(root).values():
            places += [world_to_camera_view(scene, scene.camera, Vector(p / 1000)) for p in rig.world(item)]
    assert min(place.z for place in places) > 0
    return np.array([(place.x, place.y) for place in places])


def test_camera_sees_the_whole_motion_with_margins(bpy, open_scene, rig, scene_file):
    root = open_scene(scene_file)
    places = seen(bpy, root, rig)
    assert places.min() > 0.04
    assert places.max() < 0.96
    spans = places.max(axis=0) - places.min(axis=0)
    assert spans.max() > 0.75, "the book fills the picture one way or the other"


@pytest.mark.parametrize("size", [(1280, 720), (1080, 1080), (720, 1280), (2400, 720)])
def test_film_of_another_shape_still_sees_all(bpy, open_scene, rig, size):
    from bl_ext.user_default.hingeleaf import film_scene, film_script

    root = open_scene("scenes/v-fold.toml")
    film_scene.set_up(root, film_script.ShotScript(24, {"opening": (0.0,)}), film_script.Quality(size=size))
    root.animation_data.action = None
    places = seen(bpy, root, rig)
    assert places.min() > 0.0
    assert places.max() < 1.0


def test_everything_of_the_studio_hangs_on_the_book(bpy, open_scene):
    root = open_scene("scenes/v-fold.toml")
    studio = bpy.data.collections["Studio"]
    assert {item.type for item in studio.objects} == {"CAMERA", "LIGHT", "MESH"}
    assert all(item in root.children_recursive for item in studio.objects)


def test_table_is_under_everything(bpy, open_scene, rig):
    root = open_scene("scenes/v-fold.toml")
    top = bpy.data.objects["Table"].matrix_world.translation.z
    for opening in OPENINGS:
        rig.set_opening(root, opening)
        for item in root.children_recursive:
            if item.type == "MESH" and item.name != "Table":
                low = min((item.matrix_world @ vertex.co).z for vertex in item.data.vertices)
                assert low > top - 1e-6


def drawn(bpy, item):
    """Corners of a panel as it is drawn, in the world, mm."""
    mesh = item.evaluated_get(bpy.context.evaluated_depsgraph_get()).data
    return np.array([1000 * (item.matrix_world @ vertex.co) for vertex in mesh.vertices])


def test_tabs_and_riders_lie_on_their_host(bpy, open_scene, rig, scene_file, spread_of):
    """Drawn, a glued panel shares no plane with its host: it starts just off the face that it is glued on.

    A guide starts just off the strip that slides under it.
    """
    spread = spread_of(scene_file)
    root = open_scene(scene_file)
    panels = rig.panels(root)
    rig.set_opening(root, 180)
    for area in spread.glue_areas:
        host, glued = panels[area.host], panels[area.glued]
        normal = np.array(host.matrix_world.to_3x3().col[2])
        heights = (drawn(bpy, glued) - np.array(host.matrix_world.translation) * 1000) @ normal
        strips = [f"{name.rpartition('.guide')[0]}.strip" for name in [area.glued] if name.endswith(".bridge")]
        under = panels[strips[0]] if strips else host
        face = (drawn(bpy, under) - np.array(host.matrix_world.translation) * 1000) @ normal
        if area.face == "front":
            assert heights.min() == pytest.approx(face.max() + 0.02, abs=2e-3), area.glued
        else:
            assert heights.max() == pytest.approx(face.min() - 0.02, abs=2e-3), area.glued


def test_layer_that_lies_flat_when_open_is_drawn_above_the_page(bpy, tmp_path, rig):
    file = tmp_path / "flat.toml"
    file.write_text(
        'format = 1\n[page]\nsize = "A5"\n[stock.card]\ncaliper = 0.3\n[[mechanism]]\nkind = "tent"\nid = "roof"\n'
        'fold = "spine"\nat = 20\nlength = 30\nbase = 25\nheight = 25\n'
    )
    assert bpy.ops.hingeleaf.open_description(filepath=str(file)) == {"FINISHED"}
    root = bpy.context.view_layer.objects.active
    panels = rig.panels(root)
    rig.set_opening(root, 180)
    for side in ("left", "right"):
        assert np.abs(rig.world(panels[f"roof.{side}"])[:, 2]).max() < 0.02, "the tent lies flat"
        page_top = drawn(bpy, panels[f"page.{side}"])[:, 2].max()
        tab = drawn(bpy, panels[f"roof.{side}.tab"])[:, 2]
        panel = drawn(bpy, panels[f"roof.{side}"])[:, 2]
        assert page_top < tab.min() < tab.max() < panel.min()


def test_pages_change_and_the_studio_with_them(bpy, new_book, add):
    root = new_book(studio=True)
    add("v-fold", at=110)
    camera = next(item for item in root.children_recursive if item.type == "CAMERA")
    camera["mine"] = "kept"
    before = camera.location.copy()
    board = bpy.data.objects["page.right board"]
    cover, tall = board.data.materials[0], board.dimensions.y
    materials = len(bpy.data.materials)
    bpy.data.objects.remove(bpy.data.objects["Rim"])
    bpy.ops.hingeleaf.change_pages(title="Orchard", size="A4", margin=6, grammage=250)
    root = book_of(bpy)
    bpy.context.view_layer.update()
    assert board.dimensions.y == pytest.approx(tall + (297 - 210) / 1000)
    assert board.data.materials[0] == cover
    assert "Rim" not in bpy.data.objects
    assert len(bpy.data.materials) == materials
    assert len([item for item in bpy.data.objects if item.name.startswith("Table")]) == 1
    assert len([item for item in bpy.data.collections if item.name.startswith("Studio")]) == 1
    assert root.name == "Orchard"
    assert 'size = "A4"' in text_of(bpy)
    cameras = [item for item in root.children_recursive if item.type == "CAMERA"]
    assert len(cameras) == 1
    assert (cameras[0].location - before).length > 0.05
    assert cameras[0]["mine"] == "kept"
