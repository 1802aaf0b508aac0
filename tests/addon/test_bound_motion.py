"""Bound books: the leaves move as the core says, nothing passes through anything, and no script is needed for it."""

import json

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from geometry.checks.bulk import outside_panels
from geometry.transforms import apply
from tests.addon.bound_books import (
    OPENING_DEG,
    RIG_MM,
    bound_root,
    core_of,
    corners_of,
    in_base,
    panels_of,
    set_leaves,
    spread_roots,
    worst_misfit,
)
from tests.addon.conftest import ROOT


def test_every_driver_is_one_that_needs_no_script(bpy, opened):
    opened(studio=True)
    drivers = [
        curve for item in bpy.data.objects if item.animation_data is not None for curve in item.animation_data.drivers
    ]
    assert len(drivers) > 40
    for curve in drivers:
        assert curve.driver.is_valid, curve.data_path
        assert curve.driver.type == "AVERAGE" or curve.driver.is_simple_expression, curve.driver.expression


def test_leaves_and_panels_are_where_the_core_has_them(bpy, opened):
    bound = opened()
    binding = core_of(bound)
    rng = np.random.default_rng(7)
    # Closed, open, and where pages begin to stand off from each other.
    turns = [0, 1, 2, 3, 4, 0.004, 1.01, 1.99, 2.004, 2.995]
    for turn in turns:
        worst, off = worst_misfit(bpy, bound, binding, turn)
        assert worst < RIG_MM, turn
        assert off < OPENING_DEG, turn
    for turn in rng.uniform(0.0, 4.0, 25):
        worst, off = worst_misfit(bpy, bound, binding, turn, rng.uniform(-180.0, 180.0, 4))
        assert worst < RIG_MM, turn
        assert off < OPENING_DEG, turn


def test_it_moves_with_its_root(bpy, opened):
    bound = opened()
    binding = core_of(bound)
    bound.location, bound.rotation_euler = (0.3, -0.2, 0.1), (0.4, -0.7, 1.1)
    worst, _ = worst_misfit(bpy, bound, binding, 1.4, (0.0, 10.0, -5.0, 0.0))
    assert worst < RIG_MM


def test_nothing_dips_into_the_table_and_the_book_lies_on_it(bpy, opened):
    bound = opened(studio=True)
    table = next(item for item in bound.children if item.get("hingeleaf_table"))
    top = 1000.0 * table.location.z
    boards = [item for item in bound.children_recursive if item.get("hingeleaf_cover", "").endswith("Board")]
    assert len(boards) == 2
    for turn in np.arange(0.0, 4.001, 0.05):
        set_leaves(bpy, bound, turn)
        base = next(item for item in bound.children if item.get("hingeleaf_base"))
        lift = 1000.0 * base.location.z
        lowest = min(corners_of(bound, item)[:, 2].min() for item in boards)
        for root in spread_roots(bound):
            lowest = min(lowest, *(corners_of(bound, item)[:, 2].min() for item in panels_of(root).values()))
        assert lowest + lift > top - 0.02, turn
        assert lowest + lift < top + 0.02 or 0.0 < turn < 4.0, turn


def test_a_closed_book_is_as_thick_as_it_will_be(bpy, opened):
    bound = opened(cover="[cover]\nboard = 3.0\n")
    binding = core_of(bound)
    boards = [item for item in bound.children_recursive if item.get("hingeleaf_cover", "").endswith("Board")]
    for turn in (0.0, 4.0):
        set_leaves(bpy, bound, turn)
        heights = np.concatenate([corners_of(bound, item)[:, 2] for item in boards])
        assert np.ptp(heights) == pytest.approx(binding.thickness_mm, abs=0.02)
    assert binding.thickness_mm > 2 * 3.0 + 6 * 0.3


def _outermost(item):
    """The corners of the convex hull of an object's mesh, (n, 3) float, mm, in its own coordinates."""
    points = 1000.0 * np.array([vertex.co for vertex in item.data.vertices])
    return points[ConvexHull(points).vertices]


def _apart(bound, roots, solids, one, other):
    """The widest strip between two parallel planes along the spine that parts the card of two spreads, mm.

    Negative where none of many planes has all card of the one on one side and all of the other on its other side.
    """
    nearer, further = (
        np.concatenate([apply(in_base(bound, item), points) for item, points in solids[index]])
        for index in (one, other)
    )
    # Square to the leaves between them, which lie close; and every 2 degrees, for what lies at both sides of the spine.
    leaves = [in_base(bound, panels_of(roots[leaf])["page.right"])[:3, 2] for leaf in range(one, other)]
    angles = np.radians(np.arange(0.0, 360.0, 2.0))
    around = np.column_stack([np.cos(angles), np.zeros_like(angles), np.sin(angles)])
    normals = np.vstack([leaves, around]).T
    return float(((nearer @ normals).min(axis=0) - (further @ normals).max(axis=0)).max())


def _least_gap(bpy, bound, moments):
    roots = spread_roots(bound)
    pairs = [(one, other) for one in range(len(roots)) for other in range(one + 1, len(roots))]
    solids = [[(item, _outermost(item)) for item in panels_of(root).values()] for root in roots]
    worst = (np.inf, None)
    for turn, own in moments:
        set_leaves(bpy, bound, turn, own)
        gaps = [(_apart(bound, roots, solids, *pair), (turn, pair)) for pair in pairs]
        worst = min([worst, *gaps], key=lambda item: item[0])
    return worst


def test_no_card_of_one_spread_passes_through_a_leaf_or_another_spread(bpy, opened):
    # The pages are panels too: where a plane parts all card of two spreads, neither meets the other's panels or leaves.
    # Every leaf at every 2 degrees, and leaves fanned out at random.
    bound = opened()
    rng = np.random.default_rng(3)
    turned = [(turn, ()) for turn in np.arange(0.0, 4.0001, 2.0 / 180.0)]
    fanned = [(turn, rng.uniform(-180.0, 180.0, 4)) for turn in rng.uniform(0.3, 3.7, 60)]
    gap, moment = _least_gap(bpy, bound, turned + fanned)
    assert gap > -0.03, moment


def test_nothing_passes_through_anything_in_the_demo_book(bpy):
    file = ROOT / "scenes/demo/book.toml"
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    bound = bound_root(bpy)
    worst, off = worst_misfit(bpy, bound, core_of(bound), 1.37, (20.0, -15.0, 10.0, 0.0))
    assert worst < RIG_MM
    assert off < OPENING_DEG
    last = len(spread_roots(bound)) + 1
    gap, moment = _least_gap(bpy, bound, [(turn, ()) for turn in np.arange(0.0, last + 1e-4, 2.0 / 180.0)])
    assert gap > -0.03, moment


@pytest.mark.parametrize("files", [None, ("fold.toml", "stage.toml", "boxes.toml")], ids=["usual", "glued below"])
def test_card_of_one_spread_stays_between_its_pages(bpy, opened, files):
    """What is drawn: the closed stack, layer on layer, inside the leaves, also where it is glued below a platform."""
    bound = opened() if files is None else opened(files=files)
    spreads = core_of(bound).spreads
    for turn in (0.0, 1.0, 2.0, 4.0):
        set_leaves(bpy, bound, turn)
        depsgraph = bpy.context.evaluated_depsgraph_get()
        for root in spread_roots(bound):
            if root["opening"] > 1.0:
                continue
            panels = panels_of(root)
            right = in_base(bound, panels["page.right"])
            left = in_base(bound, panels["page.left"])
            height = float((left[:3, 3] - right[:3, 3]) @ right[:3, 2])
            spans = {}
            for name, item in panels.items():
                mesh = item.evaluated_get(depsgraph).data
                points = np.empty(3 * len(mesh.vertices))
                mesh.vertices.foreach_get("co", points)
                matrix = in_base(bound, item)
                world = 1000.0 * points.reshape(-1, 3) @ matrix[:3, :3].T + matrix[:3, 3]
                along = (world - right[:3, 3]) @ right[:3, 2]
                spans[name] = along.min(), along.max()
            beside = outside_panels(spreads[root["hingeleaf_number"] - 1]) | {"page.left", "page.right"}
            between = {name: span for name, span in spans.items() if name not in beside}
            out = {name: span for name, span in between.items() if span[0] < -0.06 or span[1] > height + 0.06}
            assert not out, (turn, root.name)


def _inside(right, world):
    """How far inside foot, head and fore edge of an A5 page something lies, mm."""
    across, up = ((world - right[:3, 3]) @ right[:3, axis] for axis in (0, 1))
    return min(148.0 - across.max(), up.min(), 210.0 - up.max())


def test_a_closed_spread_is_drawn_in_layers(bpy, opened):
    bound = opened()
    set_leaves(bpy, bound, 0.0)
    tide = spread_roots(bound)[1]
    heights, gap = core_of(bound).closed_heights(2), core_of(bound).gaps_mm[1]
    depsgraph = bpy.context.evaluated_depsgraph_get()
    right = in_base(bound, panels_of(tide)["page.right"])
    moved = 0
    for name, item in panels_of(tide).items():
        points = np.array([vertex.co for vertex in item.evaluated_get(depsgraph).data.vertices])
        matrix = in_base(bound, item)
        world = 1000.0 * points @ matrix[:3, :3].T + matrix[:3, 3]
        low = ((world - right[:3, 3]) @ right[:3, 2]).min()
        if _inside(right, world) > 4.0 * gap:
            # Too deep in the closed book to be seen; such cost no time, unless it would come through a page.
            assert "Closed Stack" not in item.modifiers or low == pytest.approx(heights[name], abs=0.06), name
            continue
        # Layers that are nearer than 0.05 mm to where they are drawn anyway stay there.
        assert low == pytest.approx(heights[name], abs=0.06), name
        moved += "Closed Stack" in item.modifiers
    assert moved > 2
    set_leaves(bpy, bound, 2.0)
    depsgraph = bpy.context.evaluated_depsgraph_get()
    for item in panels_of(tide).values():
        if "Closed Stack" in item.modifiers:
            assert item.evaluated_get(depsgraph).modifiers["Closed Stack"].strength == 0.0


MOVE = """
import json, sys
import bpy
path, moments = sys.argv[-2], json.loads(sys.argv[-1])
bpy.ops.wm.open_mainfile(filepath=path, use_scripts=False)
assert "hingeleaf" not in " ".join(bpy.context.preferences.addons.keys())
bound = next(item for item in bpy.data.objects if item.get("hingeleaf_book") is not None)
found = []
for turn, own in moments:
    bound["turn"] = turn
    for leaf, value in enumerate(own):
        bound[f"leaf_{leaf}"] = value
    bound.update_tag()
    bpy.context.view_layer.update()
    items = [item for item in bpy.data.objects if "hingeleaf_panel" in item or "hingeleaf_cover" in item]
    found.append({item.name: [list(row) for row in item.matrix_world] for item in items})
print("FOUND", json.dumps(found))
"""


def test_a_saved_book_turns_without_the_extension_and_without_scripts(bpy, opened, plain_blender, tmp_path):
    bound = opened(studio=True)
    file = tmp_path / "book.blend"
    moments = [(0.0, [0.0] * 4), (1.3, [0.0, -20.0, 15.0, 0.0]), (2.01, [0.0] * 4), (3.5, [0.0] * 4), (4.0, [0.0] * 4)]
    expected = []
    for turn, own in moments:
        set_leaves(bpy, bound, turn, own)
        items = [item for item in bpy.data.objects if "hingeleaf_panel" in item or "hingeleaf_cover" in item]
        expected.append({item.name: np.array(item.matrix_world) for item in items})
    set_leaves(bpy, bound, 1.0)
    bpy.ops.wm.save_as_mainfile(filepath=str(file))
    said = plain_blender(MOVE, file, json.dumps(moments))
    found = json.loads(next(line for line in said.splitlines() if line.startswith("FOUND"))[6:])
    for before, after in zip(expected, found, strict=True):
        assert before.keys() == after.keys()
        for name, matrix in before.items():
            assert np.abs(np.array(after[name]) - matrix).max() < 1e-6, name


def test_an_appended_book_turns(bpy, opened, tmp_path):
    bound = opened(studio=True)
    binding, name = core_of(bound), bound.users_collection[0].name
    file = tmp_path / "book.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(file))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    with bpy.data.libraries.load(str(file)) as (_, here):
        here.collections = [name]
    bpy.context.scene.collection.children.link(here.collections[0])
    worst, off = worst_misfit(bpy, bound_root(bpy), binding, 2.4, (0.0, 5.0, -10.0, 0.0))
    assert worst < RIG_MM
    assert off < OPENING_DEG
