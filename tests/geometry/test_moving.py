"""Motion: dead points and snaps against planes and differences of poses, speed against the closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import Point

from geometry import assemble, parse_description
from geometry.checks import moving
from geometry.checks.moving import check_dead_points, check_snaps, flat_when_open, speeds
from geometry.figures import figures_data, figures_text
from geometry.linkage import PlanarCell
from geometry.model import Angle, CellOnFold
from tests.geometry import corpus
from tests.geometry.scene_texts import FILES, HEAD, SCENES, cut_in, mechanism, tent, v_fold
from tests.geometry.strap_texts import ROW


def scene(body):
    return assemble(parse_description(HEAD + body))


def from_coplanar_deg(motion, one, two):
    """How far two panels' planes are from being one, (n,), from their poses alone."""
    first, second = (motion.matrices[name][:, :3, 2] for name in (one, two))
    sine = np.linalg.norm(np.cross(first, second), axis=1)
    return np.degrees(np.arctan2(sine, np.abs(np.einsum("ni,ni->n", first, second))))


def hosts(spread, mechanism):
    """The panels that a mechanism's two panels stand on."""
    return tuple(spread.panels[f"{mechanism}.{side}"].parent for side in ("left", "right"))


def turn_deg(spread, pair, openings_deg):
    """By how much two panels turn against each other from each opening to the next, (n - 1,), from poses."""
    motion = spread.pose(np.radians(openings_deg))
    first, second = (motion.matrices[name][:, :3, :3] for name in pair)
    relative = np.einsum("nji,njk->nik", first, second)
    step = np.einsum("nji,njk->nik", relative[:-1], relative[1:])
    # The chord between two rotations, not their trace, whose cosine is blind to small turns.
    size = np.sqrt(((step - np.eye(3)) ** 2).sum(axis=(1, 2)))
    return np.degrees(2 * np.arcsin(np.minimum(size / np.sqrt(8.0), 1.0)))


def faulty(prefix):
    found = [path for path in corpus.FAULTY if path.stem.startswith(prefix)]
    return pytest.mark.parametrize("path", found, ids=lambda path: path.stem)


# --- dead points ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    [path for path in corpus.FAULTY if path.stem.startswith("dead-") and not corpus.built(path)[1].loops],
    ids=lambda path: path.stem,
)
def test_a_dead_point_is_where_the_added_panels_are_nearest_to_one_plane(path):
    _, spread = corpus.built(path)
    findings = check_dead_points(spread)
    assert findings
    for finding in findings:
        mechanism = finding.panel.split(".")[0]
        start, end = max(finding.opening_deg - 15.0, 0.0), min(finding.opening_deg + 15.0, 180.0)
        fine = np.linspace(start, end, 3001)
        motion = spread.pose(np.radians(fine))
        apart = from_coplanar_deg(motion, f"{mechanism}.left", f"{mechanism}.right")
        nearest = int(np.argmin(apart))
        assert finding.measure == pytest.approx(apart[nearest], abs=0.01)
        assert finding.opening_deg == pytest.approx(fine[nearest], abs=0.25)
        # No hosts in one plane: it is no card that lies in the closed book, or flat open by design.
        assert from_coplanar_deg(motion, *hosts(spread, mechanism))[nearest] > spread.limits.dead_point
        assert np.isfinite(finding.place_mm).all()
        assert spread.panels[finding.panel].outline.boundary.distance(Point(finding.place_mm)) < 1e-6


def test_the_fold_that_turns_back_passes_a_dead_point_in_mid_motion():
    _, spread = corpus.built(next(path for path in corpus.FAULTY if path.stem == "dead-turning-back"))
    (finding,) = check_dead_points(spread)
    assert "from 139.5 to 147.5 degrees" in finding.message
    fine = np.arange(100.0, 180.0, 0.05)
    apart = from_coplanar_deg(spread.pose(np.radians(fine)), "chick.left", "chick.right")
    near = fine[apart < spread.limits.dead_point]
    assert near[0] == pytest.approx(139.5, abs=0.25)
    assert near[-1] == pytest.approx(147.5, abs=0.25)
    assert apart[0] > 30
    assert apart[-1] > 30


@faulty(("never-v-fold", "never-tent-over", "never-on-a-ridge"))
def test_what_never_leaves_its_dead_point_lies_on_its_hosts_all_the_way(path):
    _, spread = corpus.built(path)
    (finding,) = check_dead_points(spread)
    assert finding.severity == "note"
    mechanism = finding.panel.split(".")[0]
    motion = spread.pose(np.radians(np.arange(0.0, 180.0, 0.5)))
    for side, host in zip(("left", "right"), hosts(spread, mechanism), strict=True):
        assert from_coplanar_deg(motion, f"{mechanism}.{side}", host).max() < 1e-4


@pytest.mark.parametrize(("angle", "note"), [(90.0, True), (90.0 + 1e-7, True), (89.9, False), (80.0, False)])
def test_a_v_fold_beside_square_rises_late_and_snaps(angle, note):
    spread = scene(v_fold("wall", body=f"at = 100; angle = {angle}; crease_angle = 90; height = 40; width = 40"))
    assert bool(check_dead_points(spread)) is note
    assert bool(check_snaps(spread)) is (angle == 89.9)


@pytest.mark.parametrize("name", SCENES)
def test_scenes_have_no_dead_point_in_their_motion_and_nothing_snaps(name):
    spread = assemble(parse_description(SCENES[name]))
    found = check_dead_points(spread) + check_snaps(spread)
    assert not [finding for finding in found if finding.severity != "note"]
    assert bool(found) is (name == "v-fold upright")


def twice_as_fast(cell):
    """A tent whose fold turns twice as fast as the spine, from 0 to 360 degrees, for closed forms in mid motion."""
    spread = scene(tent("roof", body="at = 60; length = 50; base = 30; height = 30.0"))
    return replace(spread, units=(CellOnFold("roof", cell, Angle("spine", 2.0, 0.0), "spine"),))


def test_in_mid_motion_hosts_that_lie_flat_too_are_no_excuse():
    """Four equal sides all lie flat half-way, and nothing holds them there."""
    (finding,) = check_dead_points(twice_as_fast(PlanarCell(30, 30, 30, 30)))
    assert finding.opening_deg == 90.0
    assert finding.measure == pytest.approx(0.0, abs=1e-6)


def test_what_lies_flat_only_with_its_fold_is_not_told_again():
    """On a ridge that lies flat half-way stands a second tent of four equal sides, which does so with it."""
    below = twice_as_fast(PlanarCell(30, 30, 30, 30))
    body = tent("roof", body="at = 60; length = 50; base = 30; height = 30.0")
    both = scene(body + tent("top", "roof.middle", "at = 10; length = 20; base = 10; height = 10; tab_width = 4"))
    both = replace(both, units=(*below.cells, both.cells[1]))
    top = moving._travel(both).middle(both.cells[1])
    assert top.max() == pytest.approx(180.0, abs=1e-6)
    assert [finding.panel for finding in check_dead_points(both)] == ["roof.left"]
    # On a fold that passes flat while what makes the fold does not, it is told.
    roof = replace(below.cells[0], cell=PlanarCell(30, 30, 40, 40), host=Angle("spine"))
    alone = replace(both, units=(roof, replace(both.cells[1], host=Angle("roof:left", 2.0, 0.0))))
    assert [finding.panel for finding in check_dead_points(alone)] == ["top.left"]


@pytest.mark.parametrize("height", [30.05, 30.1, 30.2, 33.0])
def test_the_limit_decides_how_near_is_near(height):
    spread = twice_as_fast(PlanarCell(30, 30, height, height))
    nearest = 180 - np.degrees(2 * np.arcsin(30 / height))
    for limit, hit in ((nearest + 0.5, True), (nearest - 0.5, False)):
        found = check_dead_points(replace(spread, limits=replace(spread.limits, dead_point=limit)))
        assert bool(found) is hit
        if hit:
            assert found[0].measure == pytest.approx(nearest, abs=1e-6)
            assert found[0].opening_deg == 90.0


def test_stretches_at_the_start_are_left_out():
    flags = np.array([1, 1, 0, 1, 0, 0, 1], dtype=bool)
    assert moving._without_start(flags).tolist() == [False, False, False, True, False, False, True]
    assert not moving._without_start(np.ones(5, dtype=bool)).any()
    assert not moving._without_start(np.zeros(5, dtype=bool)).any()


@pytest.mark.parametrize("path", [p for p in corpus.FAULTY if p.stem.startswith(("lock-", "jam-", "off-"))], ids=str)
def test_a_lock_is_told_as_a_lock_and_nothing_else(path):
    _, spread = corpus.built(path)
    assert check_dead_points(spread) + check_snaps(spread) == []


def test_a_spread_that_cannot_move_has_no_motion_to_judge():
    spread = scene(tent("tent", body="at = 60; length = 50; base_left = 90; base_right = 20; height = 20"))
    assert check_dead_points(spread) + check_snaps(spread) == []
    assert speeds(spread) == ()
    assert flat_when_open(spread) == ()


# --- snaps ---------------------------------------------------------------------------------------------------------


@faulty("snaps-")
def test_a_snap_is_the_fastest_turn_of_poses(path):
    _, spread = corpus.built(path)
    (finding,) = check_snaps(spread)
    mechanism = finding.panel.split(".")[0]
    fine = np.arange(170.0, 180.0, 0.002)
    pairs = [
        (f"{mechanism}.{side}", host) for side, host in zip(("left", "right"), hosts(spread, mechanism), strict=True)
    ]
    pairs.append((f"{mechanism}.left", f"{mechanism}.right"))
    fastest = max(turn_deg(spread, pair, fine).max() for pair in pairs) / 0.002
    assert finding.measure == pytest.approx(fastest, rel=2e-3)
    assert finding.unit == "deg/deg"
    assert finding.opening_deg == 180.0


@pytest.mark.parametrize("angle", [86.0, 86.3, 86.5, 88.0, 92.0, 94.0])
def test_an_upright_v_fold_snaps_by_the_closed_form(angle):
    """Flat open, with crease angles of 90: 1 / (2 |cos angle|) degrees a degree."""
    spread = scene(v_fold("wall", body=f"at = 100; angle = {angle}; height = 40; width = 40"))
    gain = 1 / (2 * abs(np.cos(np.radians(angle))))
    found = check_snaps(spread)
    assert bool(found) == (gain > 8.0)
    if found:
        assert found[0].measure == pytest.approx(gain, rel=1e-4)


def test_what_stands_on_a_fold_that_snaps_is_not_told_again():
    body = v_fold("wall", body="at = 100; angle = 88; height = 80; width = 80")
    nested = body + tent("nest", "wall.left", "at = 20; length = 30; base = 12; height = 14; tab_width = 4")
    spread = scene(nested)
    assert moving._travel(spread).rates["nest:left"].max() > spread.limits.snap
    assert [finding.panel for finding in check_snaps(spread)] == ["wall.left"]


def test_a_dead_point_is_not_told_again_as_a_snap():
    """A tent on a fold that turns half as fast as the spine, up to 90 degrees, where the tent is pulled straight."""
    straight = 30 * np.sqrt(0.5)
    for height, code in ((straight * 1.0005, "dead-point"), (straight * 1.05, None)):
        spread = twice_as_fast(PlanarCell(30, 30, height, height))
        slow = replace(spread, units=(replace(spread.cells[0], host=Angle("spine", 0.5, 0.0)),))
        assert [finding.code for finding in check_dead_points(slow) + check_snaps(slow)] == ([code] if code else [])


def test_two_that_are_pulled_straight_at_once_are_both_told():
    """One on a fold of 90 degrees, one on the first one's foot at 133.2, each hardly long enough."""
    lengths = 30 * np.sin(np.radians(45.0)) * 1.0005, 10 * np.sin(np.radians(66.6)) * 1.001
    body = tent("roof", body="at = 60; length = 50; base = 30; height = 30.0")
    spread = scene(body + tent("top", "roof.left", "at = 10; length = 20; base = 10; height = 10; tab_width = 4"))
    cells = (
        CellOnFold("roof", PlanarCell(30, 30, lengths[0], lengths[0]), Angle("spine", 0.5, 0.0), "spine"),
        replace(spread.cells[1], cell=PlanarCell(10, 10, lengths[1], lengths[1])),
    )
    found = check_dead_points(replace(spread, units=cells))
    assert [(finding.panel, finding.opening_deg) for finding in found] == [("roof.left", 180.0), ("top.left", 180.0)]


def test_what_had_no_time_to_rise_is_not_said_never_to():
    """The low tent locks at 3 degrees; up to there the high one has hardly risen."""
    low = tent("low", body="at = 20; length = 40; base = 40; height = 1")
    high = tent("high", body="at = 100; length = 40; base = 30; height = 60")
    spread = scene(low + high)
    assert np.degrees(spread.reachable()[1]) < 4
    assert check_dead_points(spread) == []


# --- speeds --------------------------------------------------------------------------------------------------------


def test_the_speed_of_a_ridge_is_that_of_the_closed_form():
    """Equal tent: the ridge stands at b cos(t/2) + sqrt(c2 - b2 sin2(t/2)) from the spine, on the bisector."""
    (speed,) = speeds(scene(tent("roof", body="at = 60; length = 50; base = 30; height = 40")))
    half = np.radians(np.arange(0.0, 180.01, 0.25)) / 2
    root = np.sqrt(1600 - (30 * np.sin(half)) ** 2)
    far = 30 * np.cos(half) + root
    outward = -30 * np.sin(half) - 900 * np.sin(half) * np.cos(half) / root
    # Half the opening turns the ridge and moves it out; the left foot turns with the page.
    ridge = np.hypot(far, outward) / 2
    fastest = np.radians(max(ridge.max(), 30.0))
    assert speed.mm_per_deg == pytest.approx(fastest, rel=1e-6)
    assert speed.speed_up == pytest.approx(max(ridge.max(), 30.0) / 148.0, rel=1e-6)
    assert speed.mechanism == "roof"


def moved_panels(spread, mechanism):
    """The two panels that a cell adds; of a loop all that it turns."""
    for loop in spread.loops:
        if loop.id == mechanism:
            return [panel for panel in spread.panels.values() if panel.variable in loop.geometry.unknowns]
    return [spread.panels[name] for name in spread.middle_of(mechanism).panels]


def test_a_strap_moves_as_fast_as_the_tent_that_it_is():
    """Solved by numbers and in closed form: the same tip, the same opening, the same speed."""
    row, roof = scene(ROW), scene(tent("roof", body="at = 110; length = 20; base = 40; height = 50"))
    (strap,), (cell,) = speeds(row), speeds(roof)
    assert strap.mechanism == "bridge"
    assert strap.mm_per_deg == pytest.approx(cell.mm_per_deg, rel=1e-7)
    assert strap.opening_deg == cell.opening_deg
    assert any("its tip is fastest" in line for line in figures_text(row))


def test_the_fastest_corner_of_a_box_in_closed_form():
    """Its left wall's top: the foot turns with the page, the wall's direction, the fold's bisector, half as fast."""
    found = scene(mechanism("box", "chest", "spine", "at = 60; length = 60; base = 30; height = 40"))
    (speed,) = speeds(found)
    half = np.radians(np.linspace(0.0, 90.0, 2001))
    left = np.abs(30.0 * np.exp(2j * half) + 20.0 * np.exp(1j * half))
    middle = np.hypot(np.sqrt(2) * 30 * np.sin(half), 30 * np.cos(half) + 40) / 2
    assert left.max() > middle.max()
    assert speed.mm_per_deg == pytest.approx(np.radians(left.max()), rel=1e-6)
    assert speed.panel in ("chest.left", "chest.end.left")
    assert speed.opening_deg == pytest.approx(2 * np.degrees(half[np.argmax(left)]), abs=0.25)


def test_what_a_hand_moves_has_no_speed():
    _, spread = corpus.built(next(path for path in FILES if path.stem == "pull-strip"))
    assert spread.loops
    assert speeds(spread) == ()


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_no_corner_moves_faster_than_is_said(path):
    _, spread = corpus.built(path)
    fine = np.append(np.arange(0.0, 180.0, 0.5), 179.985)
    before, after = spread.pose(np.radians(fine)), spread.pose(np.radians(fine + 0.01))
    for speed in speeds(spread):
        fastest = 0.0
        for panel in moved_panels(spread, speed.mechanism):
            corners = np.column_stack(
                [np.asarray(panel.outline.exterior.coords), np.zeros(len(panel.outline.exterior.coords))]
            )
            points = np.column_stack([corners, np.ones(len(corners))])
            way = np.einsum("nij,kj->nki", after.matrices[panel.id] - before.matrices[panel.id], points)
            fastest = max(fastest, float(np.linalg.norm(way[:, :, :3], axis=2).max() / 0.01))
        assert speed.mm_per_deg == pytest.approx(fastest, rel=5e-3)


# --- figures -------------------------------------------------------------------------------------------------------


def test_what_lies_flat_when_open_is_a_figure_and_no_finding():
    text = cut_in("step", body="at = 20; length = 50; width = 20") + tent(
        "roof", body="at = 100; length = 50; base = 30; height = 40"
    )
    spread = scene(text)
    assert flat_when_open(spread) == ("step",)
    assert check_dead_points(spread) == []
    assert figures_data(spread)["flat_when_open"] == ["step"]
    lines = figures_text(spread)
    assert sum("lies flat when open" in line for line in lines) == 1


def test_the_speed_up_is_in_the_figures():
    spread = scene(tent("roof", body="at = 60; length = 50; base = 30; height = 40"))
    (speed,) = figures_data(spread)["speeds"]
    assert speed["speed_up"] == pytest.approx(speed["mm_per_deg"] / np.radians(148.0))
    (line,) = [line for line in figures_text(spread) if "its tip is fastest" in line]
    assert f"{speed['speed_up']:.2f} times the page's fore edge" in line
