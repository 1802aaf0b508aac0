"""The bulk map beside the book: the regions of the core at true size; one button lays it there and takes it away."""

import numpy as np
import pytest
import shapely

SCENES = ("scenes/demo/low-tide.toml", "scenes/v-fold-unequal.toml", "scenes/cut-in-in-a-cut-in.toml")


def sheets(root):
    return [item for item in root.children if item.name.startswith("Bulk")]


def areas_by_meaning(item):
    """Area of the faces under each material's name, mm2; every face must look up."""
    areas = {}
    for face in item.data.polygons:
        assert face.normal.z == pytest.approx(1.0, abs=1e-4)
        name = item.data.materials[face.material_index].name
        areas[name] = areas.get(name, 0.0) + 1e6 * face.area
    return areas


def region_faces(item):
    """The faces that show a thickness; the others are borders and the ring about the thickest place."""
    return [face for face in item.data.polygons if "layers" in item.data.materials[face.material_index].name]


def regions_of(spread):
    from geometry.checks.bulk import bulk_map

    return [region for region in bulk_map(spread).regions if region.layers]


@pytest.mark.parametrize("scene", SCENES)
def test_faces_are_the_regions_at_true_size(bpy, open_scene, spread_of, scene):
    root, regions = open_scene(scene), regions_of(spread_of(scene))
    assert bpy.ops.hingeleaf.show_bulk() == {"FINISHED"}
    (item,) = sheets(root)
    expected = {}
    for region in regions:
        name = f"Bulk: {region.layers} layers, {region.thickness_mm:.2f} mm"
        expected[name] = expected.get(name, 0.0) + region.outline.area
    found = areas_by_meaning(item)
    assert {name: area for name, area in found.items() if "layers" in name} == pytest.approx(expected, rel=1e-3)


def test_each_place_has_the_color_of_its_thickness(bpy, open_scene, spread_of):
    """Not only the sums: under the middle of each region lies a face of the region's own material."""
    root, regions = open_scene(SCENES[0]), regions_of(spread_of(SCENES[0]))
    bpy.ops.hingeleaf.show_bulk()
    (item,) = sheets(root)
    corners = np.array([vertex.co for vertex in item.data.vertices]) * 1000
    faces = region_faces(item)
    shapes = shapely.polygons([corners[list(face.vertices), :2] for face in faces])
    for region in regions:
        if region.outline.area < 1:
            continue
        on = shapely.intersects_xy(shapes, *region.place_mm)
        names = {item.data.materials[faces[index].material_index].name for index in np.flatnonzero(on)}
        assert names == {f"Bulk: {region.layers} layers, {region.thickness_mm:.2f} mm"}


def test_the_ring_is_about_the_thickest_place(bpy, open_scene, spread_of):
    from geometry.checks.bulk import bulk_map

    open_scene(SCENES[0])
    bpy.ops.hingeleaf.show_bulk()
    mesh = bpy.data.objects["Bulk"].data
    rings = [face for face in mesh.polygons if "ring" in mesh.materials[face.material_index].name]
    corners = np.array([mesh.vertices[index].co for face in rings for index in face.vertices]) * 1000
    middle = (corners.min(axis=0) + corners.max(axis=0))[:2] / 2
    assert middle == pytest.approx(bulk_map(spread_of(SCENES[0])).worst.place_mm, abs=1e-3)
    assert len(set(np.round(corners[:, 2], 3))) == 2, "the ring and its casing lie in one plane and flicker"


def test_thicker_is_darker(bpy, open_scene):
    root = open_scene(SCENES[0])
    bpy.ops.hingeleaf.show_bulk()
    (item,) = sheets(root)
    materials = [material for material in item.data.materials if "layers" in material.name]
    thick = [float(material.name.split(", ")[1].split()[0]) for material in materials]
    light = [np.dot(material.diffuse_color[:3], [0.2126, 0.7152, 0.0722]) for material in materials]
    assert thick == sorted(thick)
    assert len(thick) > 4
    assert (np.diff(light) < 0).all()


def test_it_lies_beside_the_open_book_and_is_not_filmed(bpy, open_scene, rig):
    root = open_scene(SCENES[0])
    bpy.ops.hingeleaf.show_bulk()
    (item,) = sheets(root)
    bpy.context.view_layer.update()
    left = min((item.matrix_world @ vertex.co).x for vertex in item.data.vertices)
    for opening in (0, 60, 120, 180):
        rig.set_opening(root, opening)
        assert left * 1000 > max(rig.world(panel)[:, 0].max() for panel in rig.panels(root).values())
    corners = np.array([item.data.vertices[index].co for face in region_faces(item) for index in face.vertices]) * 1000
    assert corners.min(axis=0) == pytest.approx([0, 0, 0], abs=1e-3)
    assert corners.max(axis=0) == pytest.approx([148, 210, 0], abs=1e-3)
    assert item.hide_render


def test_the_same_button_takes_it_away_wholly(bpy, open_scene):
    root = open_scene(SCENES[0])
    before = [len(blocks) for blocks in (bpy.data.objects, bpy.data.meshes, bpy.data.materials)]
    bpy.ops.hingeleaf.show_bulk()
    assert len(sheets(root)) == 1
    bpy.ops.hingeleaf.show_bulk()
    assert not sheets(root)
    assert [len(blocks) for blocks in (bpy.data.objects, bpy.data.meshes, bpy.data.materials)] == before


def viewports(bpy):
    areas = [area for window in bpy.context.window_manager.windows for area in window.screen.areas]
    return [area.spaces.active for area in areas if area.type == "VIEW_3D"]


@pytest.mark.parametrize("light", ["STUDIO", "MATCAP", "FLAT"])
def test_colors_look_as_in_the_legend_while_it_is_shown(bpy, open_scene, light):
    open_scene(SCENES[1])
    spaces = viewports(bpy)
    assert spaces
    for space in spaces:
        space.shading.light = light
    bpy.ops.hingeleaf.show_bulk()
    assert {space.shading.light for space in spaces} == {"FLAT"}
    bpy.ops.hingeleaf.show_bulk()
    assert {space.shading.light for space in spaces} == {light}


def test_one_step_of_undo(bpy, open_scene):
    open_scene(SCENES[1])
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.show_bulk("EXEC_DEFAULT", True)
    assert "Bulk" in bpy.data.objects
    bpy.ops.ed.undo()
    assert "Bulk" not in bpy.data.objects
    bpy.ops.ed.redo()
    assert "Bulk" in bpy.data.objects


def test_two_books_have_a_map_each(bpy, open_scene):
    first = open_scene(SCENES[1])
    bpy.ops.hingeleaf.show_bulk()
    second = open_scene(SCENES[2])
    bpy.ops.hingeleaf.show_bulk()
    assert len(sheets(first)) == len(sheets(second)) == 1


def test_it_goes_with_its_book(bpy, open_scene):
    open_scene(SCENES[1])
    bpy.ops.hingeleaf.show_bulk()
    assert bpy.ops.hingeleaf.reload_description() == {"FINISHED"}
    assert not [item for item in bpy.data.objects if item.name.startswith("Bulk")]
    assert not [material for material in bpy.data.materials if material.name.startswith("Bulk")]


def test_says_why_it_is_unavailable(bpy):
    with pytest.raises(RuntimeError, match="Make a new book or open a description first"):
        bpy.ops.hingeleaf.show_bulk()
