"""What a hand moves, in Blender: its property, its drivers, its part of the film."""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from geometry.tolerances import RIG_MM
from geometry.transforms import apply

SCENES = ("scenes/flap.toml", "scenes/pull-strip.toml", "scenes/wheel.toml")


def hand_limits(root, hand):
    limits = root.id_properties_ui(f"hand_{hand.id}").as_dict()
    return limits["min"], limits["max"], limits["default"]


@pytest.mark.parametrize("scene", SCENES)
def test_corners_while_a_hand_moves(open_scene, spread_of, rig, scene):
    """At openings and hand positions between all samples, no corner is off by more than the rig's tolerance."""
    root, spread = open_scene(scene), spread_of(scene)
    assert spread.hands
    random = np.random.default_rng(11)
    for hand in spread.hands:
        low, high, rest = hand_limits(root, hand)
        assert root[f"hand_{hand.id}"] == pytest.approx(hand.said(hand.rest))
        assert rest == pytest.approx(hand.said(hand.rest))
        for value in np.sort(random.uniform(low, high, 25)):
            for opening in (60.0, 180.0):
                root[f"hand_{hand.id}"] = float(value)
                rig.set_opening(root, opening)
                motion = spread.pose(np.radians([opening]), {hand.id: hand.inside(value)})
                for name, item in rig.panels(root).items():
                    corners = rig.world(item)
                    exact = apply(motion.matrices[name][0], np.asarray(spread.panels[name].outline.exterior.coords))
                    off = np.linalg.norm(corners[:, None] - exact[None], axis=2).min(axis=0)
                    assert off.max() < RIG_MM, f"{name} at {opening}, {hand.id} at {value}"
        root[f"hand_{hand.id}"] = float(rest)


@pytest.mark.parametrize("scene", SCENES)
def test_each_panel_has_one_driver(open_scene, spread_of, rig, scene):
    """A panel follows the opening or one hand, never both, and slides or turns, never both."""
    root, spread = open_scene(scene), spread_of(scene)
    by_hand = {}
    for name, item in rig.panels(root).items():
        every = list(item.animation_data.drivers) if item.animation_data else []
        drivers = [curve for curve in every if not curve.data_path.startswith("modifiers")]
        assert len(drivers) <= 1
        assert len(every) <= 2
        for curve in drivers:
            axis = spread.panels[name].axis
            assert curve.data_path == ("location" if axis.slides else "rotation_euler")
            by_hand.setdefault(curve.driver.variables[0].targets[0].data_path, set()).add(name)
    for hand in spread.hands:
        moved = spread.moved_by(hand.variable)
        wanted = {name for name, panel in spread.panels.items() if panel.axis and panel.axis.turn.variable in moved}
        assert by_hand[f'["hand_{hand.id}"]'] == wanted


def test_a_hand_can_be_keyframed(bpy, open_scene, spread_of, rig):
    root, spread = open_scene("scenes/flap.toml"), spread_of("scenes/flap.toml")
    hand = spread.hands[0]
    low, high, _ = hand_limits(root, hand)
    key = f"hand_{hand.id}"
    for frame, value in ((1, low), (11, high)):
        root[key] = float(value)
        root.keyframe_insert(f'["{key}"]', frame=frame)
    places = []
    moved = spread.moved_by(hand.variable)
    name = next(name for name, panel in spread.panels.items() if panel.axis and panel.axis.turn.variable in moved)
    for frame in (1, 6, 11):
        bpy.context.scene.frame_set(frame)
        places.append(rig.world(rig.panels(root)[name]).copy())
    assert np.abs(places[0] - places[1]).max() > 1.0
    assert np.abs(places[1] - places[2]).max() > 1.0


def test_film_moves_each_hand_while_the_book_lies_open(open_scene):
    """The door rests shut and goes to its one end; what rests between its ends goes to both, one after the other."""
    from bl_ext.user_default.hingeleaf import filming, filming_subject

    subject = filming_subject.subject_of(open_scene("scenes/flap.toml"))
    hands = {"hand_door": (0.0, 0.0, 90.0), "hand_hatch": (5.0, 0.0, 30.0)}
    subject = replace(subject, hands=hands, corners=lambda values: np.zeros((len(values["opening"]), 1, 3)))
    script = filming.plan_shot(subject, filming.Shot(seconds=1.0, rate=20, follows=False))
    opening, door, hatch = (np.array(script.values[key]) for key in ("opening", *hands))
    last = int(np.argmax(opening == 180.0))
    assert {*door[:last], *(hatch[:last] - 5.0)} == {0.0}
    assert set(opening[last:]) == {180.0}
    assert (door.min(), door.max(), hatch.min(), hatch.max()) == pytest.approx((0.0, 90.0, 0.0, 30.0))
    assert (door[-1], hatch[-1]) == pytest.approx((0.0, 5.0))
    assert np.all((door == 0.0) | (hatch == 5.0))
    # Half a second shut, one to open, three times a quarter and two and a half for the hands, one at the end.
    assert script.count == round(20 * (0.5 + 1.0 + 3 * 2.75 + 1.0))


def test_film_of_a_book_with_a_wheel(bpy, open_scene, tmp_path):
    """The film that a user makes turns the wheel: so many frames more, and in them something moves."""
    import av

    open_scene("scenes/wheel.toml")
    file = tmp_path / "sky.mp4"
    look = {"engine": "BLENDER_WORKBENCH", "width": 128, "height": 72, "samples": 1, "seconds": 0.25, "follows": False}
    assert bpy.ops.hingeleaf.make_film(filepath=str(file), **look) == {"FINISHED"}
    with av.open(str(file)) as film:
        frames = [frame.to_ndarray(format="rgb24").astype(float) for frame in film.decode(video=0)]
    # Half a second shut, a quarter to open, a quarter of rest, the wheel there and back, a second at the end.
    assert len(frames) == 12 + 6 + 6 + 60 + 24
    still, turned = frames[12 + 6 + 3], frames[12 + 6 + 6 + 15]
    assert abs(still - turned).max() > 60.0


def test_sliders_say_what_they_move_and_in_which_unit(open_scene):
    assert open_scene("scenes/flap.toml")["hingeleaf_hands"].to_dict() == {
        "hand_door": "Door (degrees)",
        "hand_hatch": "Hatch (degrees)",
    }
    assert open_scene("scenes/pull-strip.toml")["hingeleaf_hands"].to_dict() == {"hand_pull": "Pull (mm)"}


def test_a_name_longer_than_blender_allows(bpy, tmp_path):
    """Blender's properties have 63 letters at most; two names that differ only after that are kept apart."""
    text = (Path(__file__).resolve().parents[2] / "scenes/flap.toml").read_text(encoding="utf-8")
    long = "the-front-door-of-the-house-at-the-end-of-the-lane-behind-the-mill"
    file = tmp_path / "long.toml"
    file.write_text(text.replace('id = "door"', f'id = "{long}"').replace('id = "hatch"', f'id = "{long}-2"'))
    assert bpy.ops.hingeleaf.open_description(filepath=str(file)) == {"FINISHED"}
    root = bpy.context.view_layer.objects.active
    hands = root["hingeleaf_hands"].to_dict()
    name = "The Front Door Of The House At The End Of The Lane Behind The Mill"
    assert list(hands.values()) == [f"{name} (degrees)", f"{name} 2 (degrees)"]
    assert {len(key) for key in hands} == {63}
    assert [root[key] for key in hands] == [0.0, 0.0]


@pytest.fixture
def drawn(bpy, rig):
    """Lowest and highest place above the open right page's printed face at which a panel, or a board, is drawn, mm."""

    def drawn(root, name, **hands):
        for hand, value in hands.items():
            root[f"hand_{hand}"] = float(value)
        rig.set_opening(root, 180.0)
        item = next(item for item in root.children_recursive if item.name == name)
        seen = item.evaluated_get(bpy.context.evaluated_depsgraph_get())
        matrix = np.array(seen.matrix_world)
        heights = [1000.0 * float(matrix[2, :3] @ vertex.co + matrix[2, 3]) for vertex in seen.data.vertices]
        return min(heights), max(heights)

    return drawn


def test_flaps_lie_on_the_page_shut_and_open(open_scene, drawn):
    """Shut and turned over, a flap is drawn above the page, not in it; and near it."""
    root = open_scene("scenes/flap.toml")
    caliper = -drawn(root, "page.right")[0]
    for value in (0.0, 180.0):
        low, high = drawn(root, "door.flap", door=value)
        assert 0.0 < low < high < 3 * caliper, value
    # Upright it stands on its hinge.
    assert drawn(root, "door.flap", door=90.0)[0] == pytest.approx(0.0, abs=1e-3)


def test_strip_and_guides_lie_behind_the_page(open_scene, drawn):
    """From the page down: page, link's tab, strip, guide, board; none in another."""
    root = open_scene("scenes/pull-strip.toml")
    for value in (0.0, 12.0, 28.0):
        names = ("page.right", "pull.link.arm.tab", "pull.strip", "pull.guide1.bridge", "page.right board")
        layers = [drawn(root, name, pull=value) for name in names]
        for (low, _), (_, high) in pairwise(layers):
            assert -0.1 < high - low < 0.0
    # The boards lie on one level.
    assert drawn(root, "page.left board") == pytest.approx(drawn(root, "page.right board"), abs=1e-3)


def test_wheel_lies_between_page_and_board(open_scene, drawn):
    root = open_scene("scenes/wheel.toml")
    page, board = drawn(root, "page.right"), drawn(root, "page.right board")
    for value in (0.0, 77.0, 180.0):
        low, high = drawn(root, "sky.disc", sky=value)
        assert board[1] < low < high < page[0]
