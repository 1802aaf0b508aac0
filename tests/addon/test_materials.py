"""The look of card: where it is creased and cut, and how much light goes through it."""

import numpy as np
import pytest

#: Where a strip beside a crease ends, in calipers.
STRIP = 1.4
SCENES = ["v-fold", "cut-in-in-a-cut-in", "accordion", "flap", "strap", "demo/low-tide"]
FRONT, BACK, EDGE = 0, 1, 2


def layer(mesh, name):
    """A vector a corner of a face, (n, 3) float; zero where there is none."""
    found = np.zeros(3 * len(mesh.loops), dtype=np.float32)
    if name in mesh.attributes:
        mesh.attributes[name].data.foreach_get("vector", found)
    return found.reshape(-1, 3).astype(float)


def lean_at(near, along, leans):
    """What the shader makes of the attributes at a point: how near creases are, and which way its surface leans."""
    inside = np.minimum(1.0 - np.abs(near - 1.0), 40.0 * (1.0 - np.abs(along)))
    weights = np.maximum(inside, 0.0)
    return weights, (weights[..., None] * leans).sum(axis=-2)


def to_net(item, spread, panel):
    """Places of a panel's vertices on its net, (n, 2) float, mm; from the core's own frames."""
    from bl_ext.user_default.hingeleaf.convert import object_frame

    points = 1000.0 * np.array([vertex.co for vertex in item.data.vertices])
    frame = object_frame(spread.panels[panel])
    return (points @ frame[:3, :3].T + frame[:3, 3])[:, :2], frame


@pytest.mark.parametrize("scene", SCENES)
def test_every_point_near_a_crease_leans_and_no_other(open_scene, spread_of, rig, scene):
    """Against the distance from the core's hinges, at random points of Blender's own triangles, both faces."""
    import shapely

    spread, random = spread_of(f"scenes/{scene}.toml"), np.random.default_rng(7)
    checked = 0
    for name, item in rig.panels(open_scene(f"scenes/{scene}.toml")).items():
        mesh = item.data
        strip = STRIP * spread.piece(spread.panels[name].piece).stock.caliper_mm
        lines = [
            line
            for hinge in spread.hinges
            if hinge.kind != "glue"
            for panel, line in zip(hinge.panels, hinge.lines, strict=True)
            if panel == name
        ]
        net, frame = to_net(item, spread, name)
        near, along = layer(mesh, "Crease Near"), layer(mesh, "Crease Along")
        leans = np.stack([layer(mesh, f"Crease Lean {axis}") for axis in "XY"], axis=-1)
        mesh.calc_loop_triangles()
        for triangle in mesh.loop_triangles:
            if abs(np.array(triangle.normal) @ frame[2, :3]) < 0.5:
                continue
            loops = list(triangle.loops)
            corners = net[[mesh.loops[loop].vertex_index for loop in loops]]
            shares = np.concatenate([random.dirichlet(way, 60) for way in ((1, 1, 1), (0.05, 1, 1), (1, 0.05, 1))])
            points = shares @ corners
            weights, lean = lean_at(
                shares @ near[loops], shares @ along[loops], np.einsum("pc,cij->pij", shares, leans[loops])
            )
            away = np.array([shapely.distance(shapely.LineString(line), shapely.points(points)) for line in lines])
            away = away.min(axis=0) if len(lines) else np.full(len(points), np.inf)
            beyond = away > strip + 0.02
            assert not weights[beyond].any(), name
            ends = np.array([end for line in lines for end in line])
            free = np.linalg.norm(points[:, None] - ends, axis=2).min(axis=1) > 0.2 * strip if len(lines) else ~beyond
            middle = (away < strip) & free & _off_the_ends(points, lines)
            assert np.abs(weights[middle].max(axis=1) - (1.0 - away[middle] / strip)).max(initial=0.0) < 0.02, name
            assert np.all(np.linalg.norm(lean[middle], axis=1) > 0.0) or not middle.any()
            checked += int(middle.sum())
    assert checked > 100


def _off_the_ends(points, lines):
    """Points whose nearest place on every crease near them lies well within it."""
    good = np.ones(len(points), dtype=bool)
    for start, end in lines:
        way = end - start
        along = 2.0 * ((points - start) @ way) / (way @ way) - 1.0
        good &= (np.abs(along) < 0.97) | (np.abs(along) > 1.0 + 4.0 / np.linalg.norm(way))
    return good


def test_a_valley_rises_and_a_mountain_falls_towards_its_line(open_scene, spread_of, rig):
    """The printed face of a v-fold's middle crease lies outside, that of the spine inside."""
    root = open_scene("scenes/v-fold.toml")
    spread, panels = spread_of("scenes/v-fold.toml"), rig.panels(root)
    for panel, hinge, outside in (("fold.left", "fold.middle", True), ("page.left", "spine", False)):
        mesh = panels[panel].data
        line = next(item for item in spread.hinges if item.id == hinge)
        start, end = line.lines[line.panels.index(panel)]
        inward = np.asarray(spread.panels[panel].outline.centroid.coords[0]) - (start + end) / 2
        _, frame = to_net(panels[panel], spread, panel)
        for slot, other in ((FRONT, False), (BACK, True)):
            face = next(
                face
                for face in mesh.polygons
                if face.material_index == slot and abs(np.array(face.normal) @ frame[2, :3]) > 0.5
            )
            loop = face.loop_start
            found = [layer(mesh, f"Crease Lean {axis}")[loop] for axis in "XY"]
            # The crease that the face's own line is: its lean is square to it.
            ways = frame[:2, :2] @ np.array(found)
            along = (end - start) / np.linalg.norm(end - start)
            number = next(n for n in range(3) if np.linalg.norm(ways[:, n]) > 0.5 and abs(ways[:, n] @ along) < 1e-3)
            towards_line = bool(ways[:, number] @ inward < 0.0)
            assert towards_line == (outside != other), (panel, slot)
            assert layer(mesh, "Crease Outside")[loop][number] == float(outside != other)


def test_only_what_is_cut_is_white(open_scene, spread_of, rig, scene_file):
    """Sides of a slab along a crease belong to a face; all others show the core."""
    import shapely

    spread = spread_of(scene_file)
    for name, item in rig.panels(open_scene(scene_file)).items():
        lines = [
            shapely.LineString(line).buffer(0.05)
            for hinge in spread.hinges
            if hinge.kind != "glue"
            for panel, line in zip(hinge.panels, hinge.lines, strict=True)
            if panel == name
        ]
        creased = shapely.union_all(lines)
        net, frame = to_net(item, spread, name)
        for face in item.data.polygons:
            if abs(np.array(face.normal) @ frame[2, :3]) < 0.5:
                side = shapely.LineString(net[list(face.vertices)[::3]])
                share = side.intersection(creased).length / side.length
                # Shorter ones, where curves end at a crease, are as long as what is taken for on it.
                if side.length > 0.5 and abs(share - 0.5) > 0.1:
                    assert (face.material_index != EDGE) == (share > 0.5), name


def test_light_sees_cut_edges_rounded_and_faces_flat(open_scene, spread_of, rig):
    root = open_scene("scenes/demo/low-tide.toml")
    spread = spread_of("scenes/demo/low-tide.toml")
    for name, item in rig.panels(root).items():
        _, frame = to_net(item, spread, name)
        up = frame[2, :3]
        for face in item.data.polygons:
            normals = np.array([item.data.corner_normals[loop].vector for loop in face.loop_indices])
            leaned = np.degrees(np.arccos(np.clip(normals @ np.array(face.normal), -1, 1)))
            if abs(np.array(face.normal) @ up) > 0.5:
                assert leaned.max() < 0.1, name
            elif face.material_index == EDGE:
                assert np.abs(normals @ up) == pytest.approx(np.full(4, 0.7071), abs=2e-3), name
                assert leaned.max() < 60.0, name


def radiance(bpy, item, tmp_path):
    """How bright an object is, seen from above, against a sky that is dark above it and of radiance 1 below."""
    from PIL import Image

    scene = bpy.context.scene
    scene.world = bpy.data.worlds.new("Below")
    if scene.world.node_tree is None:
        scene.world.use_nodes = True
    nodes, links = scene.world.node_tree.nodes, scene.world.node_tree.links
    nodes.clear()
    place, split = nodes.new("ShaderNodeTexCoord"), nodes.new("ShaderNodeSeparateXYZ")
    below, light = nodes.new("ShaderNodeMath"), nodes.new("ShaderNodeBackground")
    below.operation = "LESS_THAN"
    below.inputs[1].default_value = 0.0
    links.new(place.outputs["Generated"], split.inputs[0])
    links.new(split.outputs["Z"], below.inputs[0])
    links.new(below.outputs[0], light.inputs["Strength"])
    links.new(light.outputs[0], nodes.new("ShaderNodeOutputWorld").inputs[0])
    camera = bpy.data.objects.new("Camera", bpy.data.cameras.new("Camera"))
    camera.data.type, camera.data.ortho_scale, camera.location = "ORTHO", 0.02, (0.05, 0.07, 0.2)
    camera.data.clip_start = 0.01
    scene.collection.objects.link(camera)
    scene.camera = camera
    for other in bpy.data.objects:
        other.hide_render = other not in (item, camera)
    scene.render.engine, scene.cycles.samples, scene.cycles.use_denoising = "CYCLES", 256, False
    scene.cycles.max_bounces = scene.cycles.diffuse_bounces = scene.cycles.transmission_bounces = 32
    scene.render.resolution_x = scene.render.resolution_y = 12
    scene.view_settings.view_transform = "Raw"
    scene.render.filepath = str(tmp_path / "light.png")
    bpy.ops.render.render(write_still=True)
    return np.asarray(Image.open(tmp_path / "light.png").convert("RGB"), dtype=float).mean() / 255.0


@pytest.mark.parametrize("grammage", [80, 250])
def test_as_much_light_goes_through_as_the_law_says(bpy, tmp_path, grammage):
    """White card of a grammage over an evenly bright sky, rendered, against Kubelka and Munk's sheet."""
    from bl_ext.user_default.hingeleaf.translucency import light_through

    file = tmp_path / "plain.toml"
    stock = f'[stock.card]\ngrammage = {grammage}\ncolor = "#f2f2f2"\n'
    file.write_text(f"format = 1\n[page]\nsize = [100, 140]\n{stock}")
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    shown = radiance(bpy, bpy.data.objects["page.right"], tmp_path)
    assert shown == pytest.approx(light_through(grammage), rel=0.3)
    assert 0.02 < shown < 0.3


def test_a_flat_colour_is_printed_on_a_face_and_the_core_stays_white(bpy, open_scene, spread_of):
    from bl_ext.user_default.hingeleaf.materials import Side, edge_material, paper_material

    stock = spread_of("scenes/v-fold.toml").pieces[0].stock
    bare = paper_material(Side("bare", stock, None))
    printed = paper_material(Side("printed", stock, None, (1.0, 0.5, 0.0)))
    assert list(printed.diffuse_color) == pytest.approx([1.0, 0.2140411, 0.0, 1.0], abs=1e-6)
    assert list(bare.diffuse_color) != list(printed.diffuse_color)
    rgb = next(node for node in printed.node_tree.nodes if node.type == "RGB")
    assert list(rgb.outputs[0].default_value)[:3] == pytest.approx([1.0, 0.2140411, 0.0], abs=1e-6)
    assert min(edge_material("edge").diffuse_color) > 0.7
    image = bpy.data.images.new("art", 4, 4)
    painted = paper_material(Side("painted", stock, image, (1.0, 0.5, 0.0)))
    assert painted.node_tree.nodes.active.image == image, "solid viewports show the active picture"
    grounds = [
        [list(socket.default_value)[:3] for socket in node.inputs if socket.type == "RGBA" and not socket.is_linked]
        for node in painted.node_tree.nodes
        if node.type == "MIX"
    ]
    assert [pytest.approx([1.0, 0.2140411, 0.0], abs=1e-6)] in grounds, "it lies under the artwork"
    # Print cracks at creases, bare card does not.
    assert not any(node.type == "MIX" for node in bare.node_tree.nodes)
    assert any(node.type == "MIX" for node in printed.node_tree.nodes)
