"""A flap that a pull-strip opens, as plates in a physics engine: see test_mujoco_loop.py for the way.

Judge: MuJoCo (Todorov, Erez, Tassa 2012; https://mujoco.org). The strip is a body on a slide joint, which is drawn step
by step; the link is hinged on it and connected to the flap at two points. The book lies flat open.
"""

from __future__ import annotations

import numpy as np
import pytest

from geometry import assemble, parse_description
from tests.geometry.hand_texts import HEAD, flap, strip
from tests.published import test_mujoco_loop as engine

mujoco = engine.mujoco

START_MM = 10.0
#: The issue asks for 0.01 mm; what it really reaches is below 1e-9 mm.
AGREE_MM = 1e-6
CASES = {
    "link stretched at rest, strip behind the page": flap() + strip(40.0, way="out", face="back"),
    "strip under the flap": flap() + strip(8.0, 26.0, 24.0, way="in"),
    "strip beyond the hinge": flap() + strip(-20.0, way="out"),
}


def model_of(spread):
    """The flat open spread with the strip at START_MM, the strip's own slide driven."""
    motion = spread.pose(np.pi, {"pull": START_MM})
    matrices = {name: matrix[0] for name, matrix in motion.matrices.items()}
    hinge = next(item for item in spread.hinges if item.id == "pull.link.end.glue")
    loops = {}
    for panel, ends in zip(hinge.panels, hinge.lines, strict=True):
        loops[panel] = [(0, ends[0] + np.array([[0.1], [0.9]]) * (ends[1] - ends[0]))]
    equalities = [f'<connect site1="0.{end}.{hinge.panels[0]}" site2="0.{end}.{hinge.panels[1]}"/>' for end in (0, 1)]
    root = next(panel for panel in spread.panels.values() if panel.parent is None)
    xml = (
        '<mujoco><compiler angle="radian"/>'
        '<option gravity="0 0 0" timestep="0.002" integrator="implicitfast" solver="PGS" '
        'tolerance="1e-15" iterations="300"><flag contact="disable"/></option>'
        '<default><equality solref="0.01 1" solimp="0.999 0.999 0.001"/></default>'
        f"<worldbody>{''.join(engine.body_xml(spread, matrices, root, loops))}</worldbody>"
        f"<equality>{''.join(equalities)}"
        '<joint name="page" joint1="page.left" polycoef="0 0 0 0 0"/>'
        '<joint name="drive" joint1="pull.strip" polycoef="0 0 0 0 0"/></equality></mujoco>'
    )
    return mujoco.MjModel.from_xml_string(xml)


def settle(model, data, moved_mm):
    """Draw the strip step by step to a place and wait until everything is at rest."""
    drive = mujoco.mj_name2id(model, mujoco.mjtObj.mjOBJ_EQUALITY, "drive")
    begin, target = model.eq_data[drive, 0], (moved_mm - START_MM) * engine.SCALE
    for share in np.linspace(0.0, 1.0, 150):
        model.eq_data[drive, 0] = begin + share * (target - begin)
        mujoco.mj_step(model, data)
    for _ in range(1200):
        mujoco.mj_step(model, data)
    mujoco.mj_forward(model, data)


def furthest(spread, data, moved_mm):
    """The largest distance of any panel corner from where the core has it, mm."""
    poses = spread.pose(np.pi, {"pull": moved_mm}).matrices
    worst = 0.0
    for panel in spread.panels:
        body = data.body(panel)
        found = engine.corners(spread, panel) @ body.xmat.reshape(3, 3).T + body.xpos / engine.SCALE
        expected = engine.corners(spread, panel) @ poses[panel][0][:3, :3].T + poses[panel][0][:3, 3]
        worst = max(worst, float(np.abs(found - expected).max()))
    return worst


@pytest.mark.parametrize("name", CASES)
def test_the_engine_finds_the_same_poses(name):
    spread = assemble(parse_description(HEAD + CASES[name]))
    model = model_of(spread)
    data = mujoco.MjData(model)
    far = spread.hands[0].high
    for moved in (15.0, 0.85 * far, 12.0, 4.0, 1.0):
        settle(model, data, moved)
        assert furthest(spread, data, moved) <= AGREE_MM, moved


def test_the_engine_notices_a_wrong_crank():
    """The comparison can fail: a link glued a tenth of a millimetre further out on the flap is found out at once."""
    name = "link stretched at rest, strip behind the page"
    right = assemble(parse_description(HEAD + CASES[name]))
    wrong = assemble(parse_description(HEAD + flap() + strip(40.0, 15.1, way="out", face="back")))
    data = mujoco.MjData(model := model_of(wrong))
    settle(model, data, 20.0)
    assert furthest(right, data, 20.0) > 0.01
