"""Shots: easing, springing card, a camera that loses nothing, a loop that closes, backgrounds."""

import json
import shutil
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
PRESETS = ("OPENING", "LOOK_AROUND", "BOOK", "TEASER")


@pytest.fixture
def filming(bpy):
    """The modules of the installed extension."""
    from bl_ext.user_default.hingeleaf import film_scene, film_script, filming, filming_motion, filming_subject

    class Modules:
        scene, script, shots, motion, subject = film_scene, film_script, filming, filming_motion, filming_subject

    return Modules


def test_hand_starts_gently_and_takes_its_time_to_settle(filming):
    shares = filming.motion.reached(np.linspace(0.0, 1.0, 85))
    steps = np.diff(shares)
    assert (shares[0], shares[-1]) == (0.0, 1.0)
    assert (steps > 0).all()
    assert steps[0] < 0.1 * steps.max()
    assert steps[-1] < 0.1 * steps.max()
    assert shares[42] > 0.5


@pytest.mark.parametrize("rate", [12, 24, 240])
@pytest.mark.parametrize("damping", [0.1, 0.38, 0.9])
def test_spring_is_exact_at_every_rate(filming, rate, damping):
    """The response to a ramp, against the textbook's: u = s t from rest."""
    spring = filming.motion.Spring(per_second=1.1, damping=damping)
    time = np.arange(3 * rate) / rate
    speed, pulse = 40.0, 2 * np.pi * 1.1
    swing = pulse * np.sqrt(1 - damping**2)
    lag = 2 * damping * speed / pulse
    swung = np.cos(swing * time) + (damping * pulse - speed / lag) / swing * np.sin(swing * time)
    expected = speed * time - lag + lag * np.exp(-damping * pulse * time) * swung
    assert spring.follow(speed * time, 1.0 / rate) == pytest.approx(expected, abs=1e-9)


def test_spring_satisfies_its_equation(filming):
    """The same against an integrator of another make (SciPy's), led by the hand's own way."""
    scipy = pytest.importorskip("scipy.integrate")
    spring = filming.motion.Spring()
    time = np.arange(120) / 24.0
    led = 180.0 * filming.motion.reached(time / 3.5)
    pulse = 2 * np.pi * spring.per_second

    def slope(t, state):
        return state[1], -2 * spring.damping * pulse * state[1] - pulse**2 * (state[0] - np.interp(t, time, led))

    solved = scipy.solve_ivp(slope, (0, time[-1]), (0.0, 0.0), t_eval=time, rtol=1e-9, atol=1e-9, max_step=1 / 24)
    assert spring.follow(led, 1 / 24) == pytest.approx(solved.y[0], abs=1e-3)


def test_lively_card_lags_bounces_once_and_stays_in_reach(filming):
    line = filming.motion.Timeline(24, {"opening": 0.0})
    line.hold(0.5)
    line.move("opening", 180.0, 3.5)
    line.hold(4.0)
    led, lively = line.values()["opening"], line.values(lively=["opening"])["opening"]
    assert led.min() >= 0.0
    assert lively.min() >= 0.0
    assert lively.max() <= 180.0
    assert 5.0 < (led - lively).max() < 40.0, "it lags"
    landed = int(np.argmax(lively > 179.9))
    bounce = 180.0 - lively[landed:]
    assert 1.0 < bounce.max() < 4.0, "it springs back"
    assert bounce[np.argmax(bounce) + 24 :].max() < 0.5 * bounce.max(), "only once to speak of"
    assert bounce[-1] < 0.05


def shown(bpy, root, script, filming, size):
    """Where every corner of every panel is in the picture at every frame, through the film's own keyframes."""
    from bpy_extras.object_utils import world_to_camera_view
    from mathutils import Vector

    quality = filming.script.Quality(size=size, engine="BLENDER_WORKBENCH")
    scene = filming.scene.set_up(root, script, quality)
    panels = [item for item in root.children_recursive if "hingeleaf_panel" in item]
    boards = [item for item in root.children_recursive if item.type == "MESH" and "board" in item.name]
    places = []
    for frame in range(1, script.count + 1):
        scene.frame_set(frame)
        for item in [*panels, *boards]:
            matrix = item.matrix_world
            box = [vertex.co for vertex in item.data.vertices]
            places += [world_to_camera_view(scene, scene.camera, matrix @ Vector(corner)) for corner in box]
    assert min(place.z for place in places) > 0
    return np.array([(place.x, place.y) for place in places])


@pytest.mark.parametrize("size", [(1280, 720), (1080, 1080), (1080, 1920)], ids=str)
@pytest.mark.parametrize("preset", PRESETS)
def test_camera_loses_nothing_at_any_frame(bpy, open_scene, filming, preset, size):
    root = open_scene("scenes/flap.toml")
    shot = filming.shots.Shot(preset=preset, size=size, seconds=0.8, rate=12, lively=True)
    script = filming.shots.plan_shot(filming.subject.subject_of(root), shot)
    places = shown(bpy, root, script, filming, size)
    assert places.min() > 0.02
    assert places.max() < 0.98
    spans = places.max(axis=0) - places.min(axis=0)
    assert spans.max() > 0.75, "the book fills the picture one way or the other"


@pytest.fixture
def bound(bpy, tmp_path):
    """The root of a bound book of two spreads."""
    for name in ("v-fold", "tent"):
        shutil.copy(ROOT / f"scenes/{name}.toml", tmp_path)
    text = 'format = 1\ntitle = "Two"\n[[spread]]\nfile = "v-fold.toml"\n[[spread]]\nfile = "tent.toml"\n'
    (tmp_path / "book.toml").write_text(text)
    assert bpy.ops.hingeleaf.open_description(filepath=str(tmp_path / "book.toml")) == {"FINISHED"}
    return next(item for item in bpy.context.scene.objects if item.get("turn") is not None)


@pytest.mark.parametrize("preset", PRESETS)
def test_camera_loses_nothing_of_a_bound_book(bpy, bound, filming, preset):
    shot = filming.shots.Shot(preset=preset, seconds=0.6, rate=12, lively=True)
    script = filming.shots.plan_shot(filming.subject.subject_of(bound), shot)
    places = shown(bpy, bound, script, filming, shot.size)
    assert places.min() > 0.02
    assert places.max() < 0.98
    turned = script.values["turn"]
    ends = {"OPENING": (0, 1), "LOOK_AROUND": (1, 1), "BOOK": (0, 3), "TEASER": (0, 2)}[preset]
    assert (min(turned), max(turned)) == pytest.approx(ends, abs=0.1)


def test_whole_book_rests_at_every_spread(bound, filming):
    script = filming.shots.plan_shot(filming.subject.subject_of(bound), filming.shots.Shot(preset="BOOK"))
    turned = np.array(script.values["turn"])
    assert [round(float(value)) for value in sorted({turned[0], turned[-1]})] == [0, 3]
    for place in range(4):
        assert (np.abs(turned - place) < 1e-6).sum() >= 19, place
    stills = filming.shots.plan_shot(filming.subject.subject_of(bound), filming.shots.Shot(preset="STILLS"))
    assert [name for name in stills.names if "detail" not in name] == [
        "closed",
        "half-open",
        "spread-1",
        "spread-2",
        "back",
    ]


@pytest.mark.parametrize("preset", PRESETS)
def test_camera_does_not_jerk(open_scene, filming, preset):
    """At no frame does the camera change its speed by more than a twentieth of its distance a second, a frame."""
    root = open_scene("scenes/v-fold.toml")
    script = filming.shots.plan_shot(filming.subject.subject_of(root), filming.shots.Shot(preset=preset))
    places = np.array(script.camera.places)
    if script.loop:
        places = np.concatenate([places[-2:], places, places[:2]])
    jolts = np.linalg.norm(np.diff(places, 2, axis=0), axis=1) * 24.0
    assert jolts.max() < 0.05 * np.linalg.norm(places[0])
    turns = np.array(script.camera.turns)
    assert np.linalg.norm(turns, axis=1) == pytest.approx(1.0, abs=1e-6)
    assert (np.sum(turns[1:] * turns[:-1], axis=1) > 0.99).all()


@pytest.mark.parametrize("lively", [False, True])
def test_loop_closes(open_scene, filming, lively):
    """From the last frame to the first nothing changes faster than from any frame to its next."""
    root = open_scene("scenes/v-fold.toml")
    shot = filming.shots.Shot(preset="TEASER", lively=lively, f_stop=8.0)
    script = filming.shots.plan_shot(filming.subject.subject_of(root), shot)
    assert script.loop
    opening = np.array(script.values["opening"])
    places, turns, focus = (np.array(v) for v in (script.camera.places, script.camera.turns, script.camera.focus_m))
    for column in (opening[:, None], places, turns, focus[:, None]):
        steps = np.linalg.norm(np.diff(column, axis=0), axis=1)
        closing = np.linalg.norm(column[0] - column[-1])
        assert closing <= steps.max()
        assert closing <= max(steps[0], steps[-1]) * 1.5 + 1e-6
    assert opening.max() > 175.0
    assert opening.min() < 5.0


def test_camera_stays_where_it_is_asked_to(open_scene, filming):
    root = open_scene("scenes/v-fold.toml")
    script = filming.shots.plan_shot(filming.subject.subject_of(root), filming.shots.Shot(follows=False))
    assert script.camera is None


def test_resting_camera_is_the_one_of_the_scene(bpy, open_scene, filming):
    root = open_scene("scenes/v-fold.toml")
    scene, studio = bpy.context.scene, bpy.context.scene.camera
    script = filming.script.ShotScript(24, {"opening": (0.0,)})
    mine = bpy.data.objects.new("Mine", bpy.data.cameras.new("Mine"))
    scene.collection.objects.link(mine)
    scene.camera = mine
    filming.scene.set_up(root, script, filming.script.Quality())
    assert scene.camera == mine
    open_scene("scenes/tent.toml")
    filming.scene.set_up(root, script, filming.script.Quality())
    assert scene.camera == studio, "another book's studio does not look at this one"


def test_what_else_moves_is_seen(bpy, open_scene, filming):
    root = open_scene("scenes/v-fold.toml")
    scene = bpy.context.scene
    script = filming.shots.plan_shot(filming.subject.subject_of(root), filming.shots.Shot(seconds=0.2))
    filming.scene.set_up(root, script, filming.script.Quality())
    assert not filming.scene.moves_besides(root, scene, script)
    strength = scene.world.node_tree.nodes["Background"].inputs["Strength"]
    for moved, path in ((strength, "default_value"), (scene.objects["Key"], "location")):
        moved.keyframe_insert(path, frame=1)
        assert filming.scene.moves_besides(root, scene, script)
        moved.id_data.animation_data.action = None
        assert not filming.scene.moves_besides(root, scene, script)


def test_hands_rest_in_a_film_of_a_bound_book(bpy, tmp_path, filming):
    shutil.copy(ROOT / "scenes/flap.toml", tmp_path)
    (tmp_path / "book.toml").write_text('format = 1\ntitle = "One"\n[[spread]]\nfile = "flap.toml"\n')
    assert bpy.ops.hingeleaf.open_description(filepath=str(tmp_path / "book.toml")) == {"FINISHED"}
    bound = next(item for item in bpy.context.scene.objects if item.get("turn") is not None)
    spread = next(item for item in bound.children_recursive if item.get("hingeleaf_hands") is not None)
    rests = {key: spread.id_properties_ui(key).as_dict()["default"] for key in spread["hingeleaf_hands"]}
    assert set(rests) == {"hand_door", "hand_hatch"}
    bound["leaf_0"] = -20.0
    for frame, value in ((1, 90.0), (40, 120.0)):
        spread["hand_door"] = value
        spread.keyframe_insert('["hand_door"]', frame=frame)
    script = filming.shots.plan_shot(filming.subject.subject_of(bound), filming.shots.Shot(seconds=0.2))
    filming.scene.set_up(bound, script, filming.script.Quality(engine="BLENDER_WORKBENCH"))
    bpy.context.scene.frame_set(30)
    assert {key: spread[key] for key in rests} == rests
    assert bound["leaf_0"] == 0.0
    assert spread.animation_data.drivers, "what opens it stays"


def test_linked_book_is_filmed_but_not_for_a_farm(bpy, open_scene, filming, tmp_path):
    from bl_ext.user_default.hingeleaf import film

    root = open_scene("scenes/v-fold.toml")
    name, collection = root.name, root.users_collection[0].name
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "book.blend"))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with bpy.data.libraries.load(str(tmp_path / "book.blend"), link=True) as (_, here):
        here.collections = [collection]
    bpy.context.scene.collection.children.link(here.collections[0])
    root = bpy.data.objects[name]
    assert root.library is not None
    script = filming.shots.plan_shot(filming.subject.subject_of(root), filming.shots.Shot(seconds=0.2))
    with pytest.raises(RuntimeError, match="press Make Book Local first"):
        film.save_for_farm(root, tmp_path / "farm.blend", script, filming.script.Quality(), source="")
    filming.scene.set_up(root, script, filming.script.Quality())
    scene = bpy.context.scene
    assert scene.camera.library is None
    openings = []
    for frame in (1, script.count):
        scene.frame_set(frame)
        openings.append(root.evaluated_get(bpy.context.evaluated_depsgraph_get())["opening"])
    assert openings[1] - openings[0] > 150.0


def test_focus_is_on_what_stands_highest(bpy, open_scene, filming):
    root = open_scene("scenes/v-fold.toml")
    shot = filming.shots.Shot(preset="LOOK_AROUND", f_stop=4.0)
    script = filming.shots.plan_shot(filming.subject.subject_of(root), shot)
    scene = filming.scene.set_up(root, script, filming.script.Quality())
    scene.frame_set(script.count // 2)
    bpy.context.view_layer.update()
    panels = [item for item in root.children_recursive if "hingeleaf_panel" in item]
    corners = [item.matrix_world @ vertex.co for item in panels for vertex in item.data.vertices]
    high, low = max(corner.z for corner in corners), min(corner.z for corner in corners)
    view = scene.camera.matrix_world.inverted()
    depth = min(-(view @ corner).z for corner in corners if corner.z > high - 0.12 * (high - low))
    data = scene.camera.data
    assert data.dof.use_dof
    assert data.dof.aperture_fstop == pytest.approx(4.0)
    assert data.dof.focus_distance == pytest.approx(depth, abs=0.004)


def test_script_survives_json(open_scene, filming):
    root = open_scene("scenes/flap.toml")
    script = filming.shots.plan_shot(filming.subject.subject_of(root), filming.shots.Shot(seconds=0.5))
    again = filming.script.ShotScript.from_dict(json.loads(json.dumps(asdict(script))))
    assert json.dumps(asdict(again)) == json.dumps(asdict(script))
    assert set(script.values) == {"opening", "hand_door", "hand_hatch"}
    assert max(script.values["hand_door"]) == 180.0


def test_held_frames_are_rendered_once(filming):
    script = filming.script.ShotScript(24, {"opening": (0.0, 0.0, 0.0, 5.0, 9.0, 9.0, 9.0, 9.0)})
    # With an open shutter the last frame of a rest already sees what comes.
    assert filming.script.distinct_frames(script, 0.35) == [0, 0, 2, 3, 4, 5, 5, 5]
    assert filming.script.distinct_frames(script, 0.0) == [0, 0, 0, 3, 4, 4, 4, 4]


@pytest.mark.parametrize("name", ["CREAM", "WOOD", "DARK", "WHITE"])
def test_background_changes_and_can_be_undone(bpy, open_scene, name):
    root = open_scene("scenes/v-fold.toml")
    table = next(item for item in root.children_recursive if item.get("hingeleaf_table"))
    before = tuple(table.data.materials[0].diffuse_color)
    assert bpy.ops.hingeleaf.set_background(background=name) == {"FINISHED"}
    assert tuple(table.data.materials[0].diffuse_color) != before
    assert root["hingeleaf_background"] == name
    assert not bpy.context.scene.render.film_transparent


def test_background_without_a_studio_says_so(bpy, open_scene):
    open_scene("scenes/v-fold.toml", studio=False)
    with pytest.raises(RuntimeError, match="no studio"):
        bpy.ops.hingeleaf.set_background(background="DARK")


def test_background_leaves_what_is_the_users(bpy, open_scene):
    """The user's world, and a material of theirs on the table, stay as they are."""
    root = open_scene("scenes/v-fold.toml")
    world = bpy.data.worlds.new("Mine")
    if world.node_tree is None:
        world.use_nodes = True
    bpy.context.scene.world = world
    strength = world.node_tree.nodes["Background"].inputs["Strength"].default_value
    mine = bpy.data.materials.new("Mine")
    mine.diffuse_color = (1.0, 0.0, 0.0, 1.0)
    table = next(item for item in root.children_recursive if item.get("hingeleaf_table"))
    table.data.materials[0] = mine
    assert bpy.ops.hingeleaf.set_background(background="DARK") == {"FINISHED"}
    assert world.node_tree.nodes["Background"].inputs["Strength"].default_value == strength
    assert tuple(mine.diffuse_color) == (1.0, 0.0, 0.0, 1.0)
    assert table.data.materials[0] != mine
    table.data.materials.clear()
    assert bpy.ops.hingeleaf.set_background(background="CREAM") == {"FINISHED"}
    assert len(table.data.materials) == 1


def test_a_new_studio_is_not_transparent(bpy, open_scene):
    open_scene("scenes/v-fold.toml")
    bpy.ops.hingeleaf.set_background(background="TRANSPARENT")
    assert bpy.context.scene.render.film_transparent
    open_scene("scenes/tent.toml")
    assert not bpy.context.scene.render.film_transparent


@pytest.mark.parametrize("kind", ["spread", "book"])
def test_background_outlives_another_page_size(bpy, open_scene, request, kind):
    from bl_ext.user_default.hingeleaf import books, designing
    from bl_ext.user_default.hingeleaf.geometry import parse_description

    root = open_scene("scenes/v-fold.toml") if kind == "spread" else request.getfixturevalue("bound")
    assert bpy.ops.hingeleaf.set_background(background="DARK") == {"FINISHED"}

    def table():
        return next(item for item in root.children_recursive if item.get("hingeleaf_table"))

    color = tuple(table().data.materials[0].diffuse_color)
    wide = table().dimensions.x
    for spread in books.spreads_of(root) if kind == "book" else [root]:
        text = designing.read_design(spread).text
        line = next(line for line in text.splitlines() if line.startswith("size = "))
        smaller = parse_description(text.replace(line, "size = [130, 190]"), source="x.toml", folder=ROOT / "scenes")
        designing.change_book(bpy.context, spread, smaller)
    bpy.context.view_layer.update()
    assert table().dimensions.x != pytest.approx(wide, rel=0.05), "the studio stands as for the other pages"
    assert tuple(table().data.materials[0].diffuse_color) == color
