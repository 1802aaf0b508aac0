"""The test card on the model: every corner is on the panel where the core's pose has that point of the net.

The way from the picture to the panel is read backwards from the meshes that Blender evaluates, through their own UVs.
"""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
import shapely

from tests.geometry.chequerboards import corner_in

LIMIT_MM = 0.05
#: Corners so near to a panel's border are left to the panel beside it.
BORDER_MM = 0.02
ROOT = Path(__file__).resolve().parents[2]
SCENES = ("demo/low-tide", "tent-unequal", "flap", "wheel", "accordion")


def picture_of(piece, face):
    """What the picture of a face is called, so that it is assigned by its name."""
    return f"{piece.replace('.', '-')}-{face}.png"


class Carded:
    """A scene with a test card on every face, opened in Blender."""

    def __init__(self, bpy, scene, folder):
        from geometry import assemble, read_description
        from geometry.__main__ import main
        from geometry.templates import TemplateOptions, write_templates

        source = folder / "plain.toml"
        lines = (ROOT / "scenes" / f"{scene}.toml").read_text(encoding="utf-8").splitlines()
        source.write_text("\n".join(line for line in lines if not line.startswith("art_")) + "\n", encoding="utf-8")
        plain = assemble(read_description(source))
        write_templates(plain, folder / "cards", TemplateOptions(dpi=60, formats=("svg",), test_card=True))
        self.cards, painted = {}, folder / "painted"
        painted.mkdir()
        for file in sorted((folder / "cards").glob("*-test-card.json")):
            data = json.loads(file.read_text())
            self.cards[data["piece"], data["side"]] = data
            shutil.copy(folder / "cards" / data["picture"], painted / picture_of(data["piece"], data["side"]))
        assert main(["assign", str(source), "--folder", str(painted)]) == 0
        scene_file = folder / "plain-painted.toml"
        self.spread = assemble(read_description(scene_file))
        painted = {piece.id for piece in self.spread.pieces if piece.art_front and piece.art_back}
        assert painted == {piece for piece, _ in self.cards}
        assert bpy.ops.hingeleaf.open_description(filepath=str(scene_file)) == {"FINISHED"}
        self.root = bpy.context.view_layer.objects.active

    def corners(self, panel, face):
        """Corners on a panel: on the net, mm, and in the picture of the face."""
        data = self.cards.get((panel.piece, face), {"corners": []})
        net = np.array([corner["net"] for corner in data["corners"]]).reshape(-1, 2)
        art = np.array([corner["art"] for corner in data["corners"]]).reshape(-1, 2)
        inside = shapely.contains_xy(panel.outline.buffer(-BORDER_MM), net[:, 0], net[:, 1])
        return net[inside], art[inside]


def shown_faces(mesh, name):
    """Triangles of a mesh whose material shows the picture of that name: corners (n, 3, 3), m, and places (n, 3, 2)."""
    mesh.calc_loop_triangles()
    slots = set()
    for number, material in enumerate(mesh.materials):
        images = [node.image for node in material.node_tree.nodes if node.type == "TEX_IMAGE" and node.image]
        if any(Path(image.filepath).name == name or image.name.startswith(Path(name).stem) for image in images):
            slots.add(number)
    layer = mesh.uv_layers["Artwork"].data
    corners, places = [], []
    for triangle in mesh.loop_triangles:
        if triangle.material_index in slots:
            corners.append([mesh.vertices[vertex].co[:] for vertex in triangle.vertices])
            places.append([layer[loop].uv[:] for loop in triangle.loops])
    return np.array(corners).reshape(-1, 3, 3), np.array(places).reshape(-1, 3, 2)


def points_showing(mesh, name, art):
    """The points of a mesh that show places of a picture, (n, 3) float, m; NaN where none does."""
    corners, places = shown_faces(mesh, name)
    found = np.full((len(art), 3), np.nan)
    for solid, flat in zip(corners, places, strict=True):
        sides = np.stack([flat[1] - flat[0], flat[2] - flat[0]], axis=1)
        if abs(np.linalg.det(sides)) < 1e-10:
            continue
        shares = np.linalg.solve(sides, (art - flat[0]).T).T
        weights = np.column_stack([1 - shares.sum(axis=1), shares])
        inside = (weights > -1e-5).all(axis=1)
        found[inside] = weights[inside] @ solid
    return found


@pytest.mark.parametrize("scene", SCENES)
def test_every_corner_is_on_the_panel_where_the_pose_has_it(bpy, tmp_path, rig, scene):
    """Within 0.05 mm along the card, at several openings; across it the card's own thickness and rest are the same
    for all corners of a face.
    """
    carded = Carded(bpy, scene, tmp_path)
    high = float(np.degrees(carded.spread.reachable()[1]))
    asked = 0
    for opening in (0.0, 40.0, 90.0, 135.0, min(high, 180.0)):
        rig.set_opening(carded.root, opening)
        motion = carded.spread.pose([np.radians(opening)])
        graph = bpy.context.evaluated_depsgraph_get()
        for name, item in rig.panels(carded.root).items():
            panel, matrix = carded.spread.panels[name], motion.matrices[name][0]
            placed = item.evaluated_get(graph)
            mesh = placed.to_mesh()
            for face in ("front", "back"):
                net, art = carded.corners(panel, face)
                if not len(net):
                    continue
                found = points_showing(mesh, picture_of(panel.piece, face), art)
                assert np.isfinite(found).all(), (name, face)
                world = np.array(placed.matrix_world)
                points = 1000.0 * (found @ world[:3, :3].T + world[:3, 3])
                expected = net @ matrix[:3, :2].T + matrix[:3, 3]
                off = points - expected
                across = off @ matrix[:3, 2]
                along = off - across[:, None] * matrix[:3, 2]
                assert np.linalg.norm(along, axis=1).max() < LIMIT_MM, (name, face, opening)
                assert np.ptp(across) < LIMIT_MM, (name, face, opening)
                assert np.abs(across).max() < 5.0
                asked += len(net)
            placed.to_mesh_clear()
    assert asked > 200


def rendered(bpy, file, middle, side, *, from_below):
    """What a camera square over a place of the open pages sees of so many mm, (420, 420) float, 0 to 1."""
    from PIL import Image

    scene = bpy.context.scene
    camera = bpy.data.objects.new("Square", bpy.data.cameras.new("Square"))
    scene.collection.objects.link(camera)
    camera.data.type, camera.data.ortho_scale = "ORTHO", side / 1000
    camera.location = (middle[0] / 1000, middle[1] / 1000, -0.3 if from_below else 0.3)
    # From below, right is where the left was.
    camera.rotation_euler = (0.0, np.pi if from_below else 0.0, 0.0)
    scene.camera = camera
    world = scene.world = bpy.data.worlds.new("White")
    if world.node_tree is None:
        world.use_nodes = True
    world.node_tree.nodes["Background"].inputs[0].default_value = (1, 1, 1, 1)
    scene.view_settings.view_transform = "Standard"
    scene.render.engine, scene.cycles.samples, scene.cycles.use_denoising = "CYCLES", 16, False
    scene.cycles.device, scene.cycles.max_bounces, scene.cycles.seed = "CPU", 1, 3
    scene.render.resolution_x = scene.render.resolution_y = 420
    scene.render.resolution_percentage = 100
    scene.render.use_motion_blur = False
    scene.render.image_settings.file_format = "PNG"
    scene.render.filepath = str(file)
    bpy.ops.render.render(write_still=True)
    with Image.open(file) as image:
        return np.asarray(image.convert("L"), dtype=float) / 255


@pytest.mark.parametrize("face", ["front", "back"])
def test_corners_are_found_in_a_rendered_picture(bpy, tmp_path, face):
    """A camera square over the open right page, 0.1 mm a pixel: every corner within half a pixel, 0.05 mm."""
    from PIL import Image

    carded = Carded(bpy, "v-fold", tmp_path)
    scene, page = bpy.context.scene, bpy.data.objects["page.right"]
    carded.root["opening"] = 180.0
    carded.root.update_tag()
    for item in scene.objects:
        item.hide_render = item is not page and item.type != "CAMERA"
    # Where the v-fold is not: the outer part of the page.
    width, height = carded.spread.page_size_mm
    side, middle = 42.0, np.array([width - 24.0, height / 2])
    pixels = rendered(bpy, tmp_path / "page.png", middle, side, from_below=face == "back")
    with Image.open(tmp_path / "painted" / picture_of("page", face)) as image:
        card = np.asarray(image.convert("L"), dtype=float) / 255
    down = 1.0 if face == "front" else -1.0
    net, art = carded.corners(carded.spread.panels["page.right"], face)
    across = (net[:, 0] - middle[0]) * down
    places = np.stack([across, middle[1] - net[:, 1]], axis=1) * 420 / side + 210
    shown = ((places > 30) & (places < 390)).all(axis=1)
    places, art = places[shown], art[shown]
    # Creases and outlines are drawn over the card, but not near its corners.
    assert len(places) >= 9
    size = np.array(carded.cards["page", face]["size_px"])
    for place, share in zip(places, art * [1, -1] + [0, 1], strict=True):
        # The fields about it are light and dark as in the picture, 1.5 mm from the corner.
        for way in ((-1.5, -1.5), (1.5, -1.5), (-1.5, 1.5), (1.5, 1.5)):
            x, y = np.int64(place + np.multiply(way, 420 / side))
            column, row = np.int64(share * size + np.multiply(way, 60 / 25.4))
            assert (pixels[y, x] > 0.6) == (card[row, column] > 0.6), (place, way)
    offs = [np.abs(corner_in(pixels, place, 14, least_step=0.08) - place).max() for place in places]
    assert max(offs) < 0.5, max(offs)
