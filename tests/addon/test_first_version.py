"""Files of the first version, and of a future one: what stands in them stays, and can be worked on or is told of.

data/first-version.blend was made by the first version of the extension in Blender 4.5: a v-fold whose opening is keyed
from 20 to 160 degrees, with a lamp of the user's own hung on it. The folder of its description is nowhere any more.
"""

import re
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.addon.conftest import MODULE

FILE = Path(__file__).parent / "data" / "first-version.blend"


@pytest.fixture
def root(bpy):
    """The root of the old book."""
    bpy.ops.wm.open_mainfile(filepath=str(FILE))
    found = bpy.data.objects["V-fold"]
    bpy.context.view_layer.objects.active = found
    return found


def core_corners(text, opening_deg):
    """By panel the corners of its printed face as the core has them, mm."""
    from geometry import assemble, parse_description
    from geometry.transforms import apply, lift

    spread = assemble(parse_description(text))
    matrices = spread.pose(np.radians([opening_deg])).matrices
    outlines = {name: np.array(panel.outline.exterior.coords)[:-1] for name, panel in spread.panels.items()}
    return {name: apply(matrices[name][0], lift(outline)) for name, outline in outlines.items()}


def off_mm(bpy, rig, root, opening_deg):
    """How far the worst corner of any panel is from where the core has it."""
    root["opening"] = opening_deg
    root.update_tag()
    bpy.context.view_layer.update()
    worst = 0.0
    for name, corners in core_corners(root["hingeleaf_description"], opening_deg).items():
        shown = rig.world(rig.panels(root)[name])
        apart = np.linalg.norm(shown[:, None] - corners[None], axis=2)
        worst = max(worst, float(apart.min(axis=0).max()))
    return worst


def test_a_book_of_the_first_version_is_checked_changed_and_saved(bpy, rig, root, tmp_path):
    keys = [tuple(point.co) for point in _curve(root).keyframe_points]
    assert keys == [(1.0, 20.0), (48.0, 160.0)]
    assert bpy.ops.hingeleaf.check_book() == {"FINISHED"}
    changed = sys.modules[f"{MODULE}.designing"].change_sizes(bpy.context, root, "fold", {"height": 40.0})
    assert changed is None
    assert re.search(r"^height = 40\b", root["hingeleaf_description"], re.MULTILINE)
    assert [tuple(point.co) for point in _curve(root).keyframe_points] == keys
    bpy.context.scene.frame_set(48)
    assert root["opening"] == pytest.approx(160.0)
    lamp = bpy.data.objects["Lamp of the user"]
    assert lamp.parent == rig.panels(root)["fold.left"]
    root.animation_data_clear()
    for opening in (5.0, 77.0, 180.0):
        assert off_mm(bpy, rig, root, opening) < 0.05
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "today.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "today.blend"))
    again = bpy.data.objects["V-fold"]
    assert off_mm(bpy, rig, again, 77.0) < 0.05


def test_what_it_cannot_find_is_told_and_nothing_changes(bpy, root):
    before = root["hingeleaf_description"], sorted(item.name for item in bpy.data.objects)
    with pytest.raises(RuntimeError, match=r"v-fold\.toml.*cannot be read"):
        bpy.ops.hingeleaf.reload_description()
    assert (root["hingeleaf_description"], sorted(item.name for item in bpy.data.objects)) == before


def test_a_book_of_a_future_version_is_told_of_and_left_alone(bpy, root, tmp_path):
    text = root["hingeleaf_description"].replace("format = 1", "format = 2")
    root["hingeleaf_description"], root["hingeleaf_glow"] = text, 3
    panels = sorted(item.name for item in bpy.data.objects)
    with pytest.raises(RuntimeError, match=r"format.*2"):
        bpy.ops.hingeleaf.check_book()
    assert root["hingeleaf_description"] == text
    assert root["hingeleaf_glow"] == 3
    assert sorted(item.name for item in bpy.data.objects) == panels
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "future.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "future.blend"))
    assert bpy.data.objects["V-fold"]["hingeleaf_description"] == text
    # It moves all the same: its drivers need no extension.
    found = bpy.data.objects["V-fold"]
    bpy.context.scene.frame_set(48)
    left = next(item for item in found.children_recursive if item.get("hingeleaf_panel") == "page.left")
    assert found["opening"] == pytest.approx(160.0)
    assert np.degrees(left.matrix_world.to_euler().x) == pytest.approx(20.0, abs=1e-3)


def _curve(root):
    action = root.animation_data.action
    bags = [bag for layer in action.layers for strip in layer.strips for bag in strip.channelbags]
    (curve,) = [curve for bag in bags for curve in bag.fcurves if curve.data_path == '["opening"]']
    return curve
