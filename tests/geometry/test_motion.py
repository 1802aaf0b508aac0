"""Whole motion sweeps, every whole degree from 0 to 180, of every scene: what an independent judge of `poses` sees."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from geometry import Spread, assemble, parse_description
from geometry.checks import run_checks
from geometry.model import Angle
from geometry.motion import pose_panels, solve_cells
from geometry.poses import poses_data
from tests.geometry import judge
from tests.geometry.scene_texts import FILES, HEAD, ROOT, SCENES, WRONG

TEXTS = {
    **SCENES,
    **{f"wrong: {name}": HEAD + body for name, (body, _) in WRONG.items()},
    **{str(file.relative_to(ROOT)): file.read_text(encoding="utf-8") for file in FILES},
}
MOVING = [name for name in TEXTS if name != "wrong: never stands"]
every_scene = pytest.mark.parametrize("name", TEXTS)
every_moving_scene = pytest.mark.parametrize("name", MOVING)

RIGID = 1e-9
COINCIDE_MM = 1e-6
FLAT_MM = 1e-6
ANGLE_DEG = 1e-5


@lru_cache(maxsize=200)
def spread_of(name: str) -> Spread:
    return assemble(parse_description(TEXTS[name], folder=ROOT / "scenes"))


@lru_cache(maxsize=200)
def swept(name: str) -> judge.Posed:
    return judge.posed(poses_data(spread_of(name), np.arange(0.0, 181.0)))


@every_scene
def test_matrices_are_rigid(name):
    assert judge.rigid_error(swept(name)) <= RIGID


@every_scene
def test_the_two_sides_of_every_hinge_coincide(name):
    scene = swept(name)
    assert scene.hinges
    gaps = {hinge["id"]: judge.hinge_gap(scene, hinge) for hinge in scene.hinges}
    assert {key: gap for key, gap in gaps.items() if gap > COINCIDE_MM} == {}


@every_scene
def test_hinges_lie_on_the_edges_of_the_panels_they_join(name):
    scene = swept(name)
    for hinge in scene.hinges:
        on_host = hinge["kind"] == "glue"
        for panel, line in list(zip(hinge["panels"], hinge["line"], strict=True))[: 1 if on_host else 2]:
            assert judge.lies_on_edge(scene.outlines[panel], line) <= 1e-4, (hinge["id"], panel)


@every_scene
def test_dihedral_angles_of_creases_agree_with_outlines_and_normals(name):
    scene = swept(name)
    creases = [hinge for hinge in scene.hinges if hinge["kind"] != "glue"]
    assert creases[0]["id"] == "spine"
    for hinge in creases:
        measured = judge.signed_dihedral_deg(scene, hinge)
        assert judge.turned_deg(measured, hinge["dihedral"]) <= ANGLE_DEG, hinge["id"]


@every_scene
def test_dihedral_angles_at_glue_lines_agree_with_tabs_and_normals(name):
    scene = swept(name)
    for hinge in scene.hinges:
        if hinge["kind"] != "glue":
            continue
        panel = hinge["panels"][0]
        if panel.endswith(".tab"):
            expected = 180.0 if tab_is_inner(name, panel.removesuffix(".tab"), scene) else 0.0
            assert (hinge["dihedral"][np.isfinite(hinge["dihedral"])] == expected).all()
            tab, host = (scene.matrices[item][:, :3, 2] for item in hinge["panels"])
            level = np.abs(np.einsum("ni,ni->n", tab, host))
            assert level[np.isfinite(level)].min(initial=1.0) > 1 - 1e-12
        else:
            foot = hinge["id"].split("#")[0].removesuffix(".glue")
            measured = judge.glue_dihedral_deg(scene, hinge, tab_inner=tab_is_inner(name, foot, scene))
            assert judge.turned_deg(measured, hinge["dihedral"]) <= ANGLE_DEG, hinge["id"]


def tab_is_inner(name: str, foot: str, scene) -> bool:
    """What the description asks for; the supports of a platform always hold it by outer tabs.

    Kinds whose tabs are named in another way are taken at their word: what their tabs say must agree with their panels.
    """
    owner, *parts = foot.split(".")
    spec = next(spec for spec in parse_description(TEXTS[name], folder=ROOT / "scenes").mechanisms if spec.id == owner)
    if spec.kind not in ("v-fold", "tent", "platform", "strap", "layer"):
        tab = next(hinge for hinge in scene.hinges if hinge["id"].split("#")[0] == f"{foot}.tab.glue")
        return bool(np.nanmax(tab["dihedral"]) == 180.0)
    return "support" not in parts and (spec.sided("tab")["right" in parts] or "inner") == "inner"


@every_moving_scene
def test_no_hinge_jumps_to_another_branch(name):
    spread = spread_of(name)
    openings = np.radians(np.arange(0.0, 181.0))
    rough = {hinge.id: spread.pose(openings).dihedral(hinge) for hinge in spread.hinges}
    for hinge in spread.hinges:
        steps = np.nan_to_num(np.abs(np.diff(rough[hinge.id])))
        step, low, high = float(steps.max()), *openings[[steps.argmax(), steps.argmax() + 1]]
        assert step < 0.7, (hinge.id, np.degrees([step, low]))
        while step > np.radians(3.0):
            # Half an infinite slope, as at a lock, shrinks to a quarter when the step is sixteenth; a jump stays.
            inside = np.linspace(low, high, 17)
            finer = np.nan_to_num(np.abs(np.diff(spread.pose(inside).dihedral(hinge))))
            assert finer.max() <= 0.4 * step, (hinge.id, np.degrees([step, low]))
            step, low, high = float(finer.max()), *inside[[finer.argmax(), finer.argmax() + 1]]


@every_scene
def test_flat_when_closed_exactly_where_no_finding_says_otherwise(name):
    scene = swept(name)
    spread = spread_of(name)
    findings = [finding for finding in run_checks(spread) if finding.code == "closes-flat"]
    # A solid stands rigid: a finding of its own says so.
    heights = np.array([np.abs(scene.corners(panel)[0, :, 2]).max() for panel in spread.folding.panels])
    if findings:
        reached = heights[np.isfinite(heights)]
        assert np.isnan(heights).any() or reached.max() > FLAT_MM
    else:
        assert heights.max() <= FLAT_MM


@every_scene
def test_reached_at_every_opening_where_no_finding_says_otherwise(name):
    scene = swept(name)
    codes = {finding.code for finding in run_checks(spread_of(name))}
    if codes & {"closes-flat", "opens-fully"}:
        return
    assert all(np.isfinite(matrix).all() for matrix in scene.matrices.values())


@pytest.mark.parametrize("name", SCENES)
def test_no_panel_passes_through_its_host(name):
    """Keeps the scenes above sound: every foot stays between lying outwards and lying inwards on its host."""
    spread = spread_of(name)
    variables = spread.pose(np.radians(np.linspace(0.0, 180.0, 721))).variables
    for item in spread.cells:
        for side in ("left", "right", "middle"):
            angle = np.degrees(variables[f"{item.id}:{side}"])
            assert angle.min() > -1e-6, (item.id, side)
            assert angle.max() < 180.0 + 1e-6, (item.id, side)


OUTSIDE = ("outside", "back", "ridge", "riders on pages")


@pytest.mark.parametrize("name", [name for name in SCENES if not any(word in name for word in OUTSIDE)])
def test_everything_stands_between_the_pages(name):
    """On the valley side nothing is below the right page or behind the left one, wherever it is above a page."""
    scene = swept(name)
    for panel in scene.outlines:
        points = scene.corners(panel)
        on_left = np.linalg.inv(scene.matrices["page.left"]) @ np.moveaxis(_homogeneous(points), 2, 1)
        over_right = points[:, :, 0] >= 0
        over_left = on_left[:, 0, :] <= 0
        assert points[:, :, 2][over_right & over_left].min(initial=0.0) >= -1e-6, panel
        assert on_left[:, 2, :][over_right & over_left].min(initial=0.0) >= -1e-6, panel


def _homogeneous(points):
    return np.concatenate([points, np.ones((*points.shape[:2], 1))], axis=2)


@every_scene
def test_the_world_frame_is_the_one_of_the_design(name):
    scene = swept(name)
    right, left = scene.matrices["page.right"], scene.matrices["page.left"]
    assert np.array_equal(right, np.broadcast_to(np.eye(4), right.shape))
    shut, upright, flat = (left[index] @ [-10.0, 20.0, 0.0, 1.0] for index in (0, 90, 180))
    assert shut == pytest.approx([10, 20, 0, 1], abs=1e-12)
    assert upright == pytest.approx([0, 20, 10, 1], abs=1e-12)
    assert flat == pytest.approx([-10, 20, 0, 1], abs=1e-12)


def test_every_scene_file_is_swept():
    assert len(FILES) >= 18
    assert {file.parent.name for file in FILES} >= {"scenes", "demo"}


def test_the_sweep_goes_five_deep():
    def depth(spread, panel):
        above = spread.panels[panel].parent
        return 0 if above is None else 1 + depth(spread, above)

    for name in ("five deep", "five deep of all kinds"):
        spread = spread_of(name)
        assert max(depth(spread, panel) for panel in spread.panels) >= 5


def test_solving_many_angles_at_once_is_solving_each():
    spread = spread_of("five deep of all kinds")
    openings = np.radians([0.0, 1e-6, 33.3, 90.0, 179.9999, 180.0])
    together = spread.pose(openings)
    for index, opening in enumerate(openings):
        alone = spread.pose(opening)
        for panel in spread.panels:
            assert np.array_equal(together.matrices[panel][index], alone.matrices[panel][0])


def test_reached_tells_openings_at_which_every_panel_has_a_pose():
    spread = spread_of("wrong: locks")
    motion = spread.pose(np.radians([0.0, 90.0, 97.0, 98.0, 180.0]))
    assert motion.reached().tolist() == [True, True, True, False, False]
    assert np.isnan(motion.matrices["tent.left"][3]).all()


def test_what_stands_on_a_locked_cell_is_not_reached_either():
    spread = spread_of("wrong: locks deep inside")
    variables = solve_cells(np.radians([100.0, 103.0]), spread.cells)
    assert np.isfinite(variables["bird:middle"]).tolist() == [True, False]
    assert np.isfinite(variables["hill:middle"]).all()
    matrices = pose_panels(spread.panels.values(), variables)
    assert np.isnan(matrices["bird.right"][1]).all()
    assert np.isfinite(matrices["hill.right"]).all()


def test_an_angle_is_a_scaled_and_shifted_variable():
    assert Angle("spine", -2.0, 1.0).of({"spine": np.array([0.0, 3.0])}, 2).tolist() == [1.0, -5.0]
    assert Angle(None, 1.0, 0.5).of({}, 3).tolist() == [0.5, 0.5, 0.5]
    through = Angle("x", 1.0, 0.25)
    both = through.of({"x": np.array([1.0])}, 1) + through.other_side().of({"x": np.array([1.0])}, 1)
    assert both == pytest.approx(2 * np.pi)
