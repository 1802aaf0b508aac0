"""What a hand moves, in Blender: its property, its drivers, its part of the film."""

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
        drivers = list(item.animation_data.drivers) if item.animation_data else []
        assert len(drivers) <= 1
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


def test_film_moves_each_hand_while_the_book_lies_open(installed):
    from bl_ext.user_default.hingeleaf import film

    plan = film.FilmPlan(turn=20, hand=10)
    shown = film.moments(plan, (0.0, 170.0), {"hand_sun": (0.0, 0.0, 90.0), "hand_boat": (5.0, 0.0, 30.0)})
    first = shown[: plan.turn + 1]
    assert [moment["opening"] for moment in first] == film.openings(plan, 0.0, 170.0)
    assert {(moment["hand_sun"], moment["hand_boat"]) for moment in first} == {(0.0, 5.0)}
    rest = shown[plan.turn + 1 :]
    assert {moment["opening"] for moment in rest} == {170.0}
    assert max(moment["hand_sun"] for moment in rest) == pytest.approx(90.0)
    assert (min(m["hand_boat"] for m in rest), max(m["hand_boat"] for m in rest)) == pytest.approx((0.0, 30.0))
    assert rest[-1] == {"opening": 170.0, "hand_sun": pytest.approx(0.0), "hand_boat": pytest.approx(5.0)}
    assert all((m["hand_sun"] == 0.0) or (m["hand_boat"] == 5.0) for m in rest)
    assert len(rest) == 3 * plan.hand
