"""What tests of bound books read from Blender, and the bound book that they read it from."""

import re
import shutil
from pathlib import Path

import numpy as np

from geometry import assemble, parse_description
from geometry.binding import bind, parse_book
from geometry.transforms import apply, inverse
from tests.addon.conftest import ROOT

#: What a rig promises, mm (geometry/tolerances.py), and the openings, degrees.
RIG_MM, OPENING_DEG = 0.02, 1e-4
#: Spreads of one page size: a v-fold, the demo spread with its artwork, and flaps that hands open.
FILES = {"fold.toml": "scenes/v-fold.toml", "tide.toml": "scenes/demo/low-tide.toml", "doors.toml": "scenes/flap.toml"}
USUAL = tuple(FILES)
#: Others: a platform and a box, with tabs glued below.
FILES |= {"stage.toml": "scenes/platform.toml", "boxes.toml": "scenes/box.toml"}


def write_book(folder, files=USUAL, cover=""):
    """A book file and those of its spreads in a folder; returns the book file."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in files:
        text = re.sub(r"^size = \[.*\]", 'size = "A5"', (ROOT / FILES[name]).read_text(), count=1, flags=re.MULTILINE)
        (folder / name).write_text(text)
    shutil.copytree(ROOT / "scenes/demo/art", folder / "art", dirs_exist_ok=True)
    spreads = "".join(f'[[spread]]\nfile = "{name}"\n' for name in files)
    book = folder / "book.toml"
    book.write_text(f'format = 1\ntitle = "Three Tides"\n{cover}{spreads}')
    return book


def bound_root(bpy):
    """The root of the only bound book."""
    return next(item for item in bpy.data.objects if item.get("hingeleaf_book") is not None)


def spread_roots(bound):
    """The roots of its spreads, from the front, as their numbers say."""
    found = [item for item in bound.children_recursive if item.get("hingeleaf_description") is not None]
    return sorted(found, key=lambda item: item["hingeleaf_number"])


def set_leaves(bpy, bound, turn, own=()):
    """Set the turn and what each leaf is turned besides; returns both as Blender has them, in single precision."""
    bound["turn"] = float(np.float32(turn))
    count = len(spread_roots(bound)) + 1
    own = np.zeros(count) if len(own) == 0 else np.asarray(own, dtype=np.float32).astype(float)
    for leaf in range(count):
        bound[f"leaf_{leaf}"] = float(own[leaf])
    bound.update_tag()
    bpy.context.view_layer.update()
    return bound["turn"], own


def core_of(bound):
    """The core's own binding of what the bound book says it is."""
    roots = spread_roots(bound)
    descriptions = [
        parse_description(root["hingeleaf_description"], source="x", folder=Path(root["hingeleaf_folder"]))
        for root in roots
    ]
    names = "".join(f'[[spread]]\nfile = "{number}.toml"\n' for number in range(len(roots)))
    text = bound["hingeleaf_book"]
    cover = text[text.index("[cover]") : text.index("[[spread]]")] if "[cover]" in text else ""
    book = parse_book(f"format = 1\n{cover}{names}", look=False)
    return bind(book, descriptions, [assemble(description) for description in descriptions])


def base_of(bound):
    return next(item for item in bound.children if item.get("hingeleaf_base"))


def in_base(bound, item):
    """From an object's coordinates, metres, to the bound world, mm: a (4, 4) float that acts on mm."""

    def of(matrix):
        found = np.array(matrix, dtype=float)
        found[:3, 3] *= 1000.0
        return found

    return inverse(of(base_of(bound).matrix_world)) @ of(item.matrix_world)


def corners_of(bound, item):
    """Every corner of an object's mesh in the bound world, (n, 3) float, mm."""
    points = np.empty(3 * len(item.data.vertices))
    item.data.vertices.foreach_get("co", points)
    return apply(in_base(bound, item), 1000.0 * points.reshape(-1, 3))


def panels_of(root):
    found = {}
    for item in root.children_recursive:
        if "hingeleaf_panel" in item:
            found.setdefault(item["hingeleaf_panel"], item)
    return found


def worst_misfit(bpy, bound, binding, turn, own=()):
    """How far any corner of any panel is from where the core has it, mm; and the openings', degrees."""
    turn, own = set_leaves(bpy, bound, turn, own)
    angles = binding.leaf_angles([turn], own)
    poses = binding.pose(angles)
    openings = np.degrees(binding.openings(angles))[0]
    roots = spread_roots(bound)
    off = max(abs(openings[index] - root["opening"]) for index, root in enumerate(roots))
    worst = 0.0
    for number, root in enumerate(roots, start=1):
        panels = binding.spreads[number - 1].panels
        for name, item in panels_of(root).items():
            # The outline's corners, by the panel's own axes: printed face z = 0, whatever its mesh has besides.
            outline = np.asarray(panels[name].outline.exterior.coords)
            expected = apply(poses[number, name][0], outline)
            given = apply(in_base(bound, item) @ own_axes(panels[name]), outline)
            worst = max(worst, float(np.abs(given - expected).max()))
    return worst, off


def own_axes(panel):
    """From a panel's net to its object, (4, 4) float, mm: origin on its hinge, x along it, z to its printed side."""
    if panel.axis is None:
        return np.eye(4)
    along = np.asarray(panel.axis.direction, dtype=float)
    side = np.cross(panel.rest[:3, 2], along)
    if np.linalg.norm(side) < 0.5:
        side = np.cross(panel.rest[:3, 0], along)
    side /= np.linalg.norm(side)
    hinge = np.eye(4)
    hinge[:3, :3] = np.column_stack([along, side, np.cross(along, side)])
    hinge[:3, 3] = panel.axis.point
    return inverse(hinge) @ panel.rest


def assert_moves(bpy, seed=1):
    """The only bound book moves as the core says of what it is now."""
    bound = bound_root(bpy)
    binding, count = core_of(bound), len(spread_roots(bound))
    rng = np.random.default_rng(seed)
    for turn in [0.0, 1.004, *rng.uniform(0.0, count + 1.0, 6)]:
        worst, off = worst_misfit(bpy, bound, binding, turn, rng.uniform(-180.0, 180.0, count + 1))
        assert worst < RIG_MM, turn
        assert off < OPENING_DEG, turn


def show(bpy, number):
    assert bpy.ops.hingeleaf.show_spread(number=number) == {"FINISHED"}
    return spread_roots(bound_root(bpy))[number - 1]
