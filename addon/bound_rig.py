"""A bound book as Blender objects: its root turns the leaves, each leaf carries what is glued on it.

The root of the last spread hangs on an empty that turns with the last leaf. The empty of every other leaf copies where
the left page of the spread behind it is, and the spread before hangs on that. So each spread stays a book of its own,
with its own panels below its own root, and can be designed as any other.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import degrees
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from .books import NUMBER_KEY, bound_root_of, collection_of, panels_of
from .bound_layers import lay_closed, lay_open
from .bound_motion import angle_key, drive, drive_leaves, drive_opening, separation, undrive
from .channels import OPENING
from .convert import metres, object_frame, to_blender
from .geometry.binding import Binding
from .geometry.model import Panel
from .geometry.transforms import Array, inverse
from .set_aside import set_objects_aside

__all__ = ["COVER_KEY", "Leaves", "hang_spreads", "leaves_of", "let_go", "set_free", "skeleton_of", "thickness_of"]

#: Property by which objects of the cover say what they are.
COVER_KEY = "hingeleaf_cover"

#: Properties by which the empties of leaves, and the one that all leaves lie on, say what they are.
_LEAF_KEY, _BASE_KEY = "hingeleaf_leaf", "hingeleaf_base"
_SKELETON = _LEAF_KEY, _BASE_KEY
_COPY = "Left Page"
#: Property of the root: thickness of the closed book, mm.
_THICKNESS = "hingeleaf_thickness"


@dataclass(frozen=True)
class Leaves:
    """What the leaves of a bound book are in Blender.

    Parameters
    ----------
    base : the empty that lifts the book so far that no leaf dips into the table
    leaves : one empty a leaf, from the front
    frames : for each, (4, 4) float, mm: from the empty to the leaf's own frame. The spine is y; x runs to the fore
        edge, z up through the closed book. z = 0 is the printed face of the right page of the last leaf, and of the
        left page of every other
    lift, front_height : properties of the root, mm: how far the base is lifted, and how high the outside of the front
        board is at the spine over the printed face of the last leaf's
    """

    base: bpy.types.Object
    leaves: tuple[bpy.types.Object, ...]
    frames: tuple[Array, ...]
    lift: str
    front_height: str


def leaves_of(bound: bpy.types.Object) -> dict[int, bpy.types.Object]:
    """The empties of the leaves of a bound book, by number."""
    return {int(item[_LEAF_KEY]): item for item in bound.children_recursive if item.get(_LEAF_KEY) is not None}


def skeleton_of(bound: bpy.types.Object) -> list[bpy.types.Object]:
    """The root of a bound book and the empties that carry its leaves."""
    empties = [item for item in bound.children_recursive if any(item.get(key) is not None for key in _SKELETON)]
    return [bound, *empties]


def set_free(gone: Collection[bpy.types.Object], but: Collection[bpy.types.Object] = ()) -> None:
    """Let what a user hung on objects that are about to go hang on nothing, and stay where it is; but for some."""
    for item in [child for part in gone for child in part.children if child not in gone and child not in but]:
        place = item.matrix_world.copy()
        item.parent = None
        item.matrix_world = place


def thickness_of(bound: bpy.types.Object) -> float:
    """Thickness of the closed book, both boards included, mm."""
    return float(bound.get(_THICKNESS, 0.0))


def hang_spreads(bound: bpy.types.Object, roots: Sequence[bpy.types.Object], binding: Binding) -> Leaves:
    """Hang spreads on the leaves of a bound book and let its root turn them; what is so already is left alone.

    Parameters
    ----------
    bound : its root
    roots : of the spreads, from the front
    binding : what they are bound to

    Returns
    -------
    Leaves
    """
    count = len(roots)
    width = binding.page_size_mm[0]
    gaps, thick = binding.gaps_mm.tolist(), binding.leaves_mm.tolist()
    lift, front = drive_leaves(bound, thick, gaps, width)
    bound[_THICKNESS] = binding.thickness_mm
    base = _base_of(bound)
    drive(base, "location", "0.001 * lift", {"lift": (bound, lift)}, 2)
    known = leaves_of(bound)
    gone = [item for leaf, item in known.items() if leaf > count]
    # With what lies on them, which is of the cover and will be made anew.
    covers = [child for leaf in gone for child in leaf.children if child.get(COVER_KEY) is not None]
    if gone:
        set_free([*gone, *covers], roots)
        bpy.data.batch_remove(covers)
        set_objects_aside(gone)
    leaves = [known.get(leaf) or _new_leaf(bound, base, leaf) for leaf in range(count + 1)]
    frames = [np.eye(4)] * (count + 1)
    drive(leaves[count], "rotation_euler", "-radians(angle)", {"angle": (bound, angle_key(count))}, 1)
    _copy_nothing(leaves[count])
    for number in range(count, 0, -1):
        root = roots[number - 1]
        root[NUMBER_KEY] = number
        onto = frames[number].copy()
        if number < count:
            onto[:3, :3], onto[:3, 3] = frames[number][:3, :3], (frames[number] @ [0, 0, thick[number], 1])[:3]
        _hang(root, leaves[number], to_blender(onto))
        drive_opening(root, bound, number)
        panels = panels_of(root)
        left = binding.spreads[number - 1].panels["page.left"]
        _stand_off(panels[left.id], root, left, separation(gaps[number - 1], width, "opening"))
        _copy(leaves[number - 1], panels[left.id])
        frames[number - 1] = _left_frame(left)
        lay_closed(binding, number, root, panels)
    return Leaves(base, tuple(leaves), tuple(frames), lift, front)


def _left_frame(left: Panel) -> Array:
    """From the object of a left page to the frame that lies as the right page's does while the spread is closed."""
    axis = left.axis
    closed = np.eye(4) if axis is None else axis.motion(np.array([axis.turn.offset]))[0]
    return inverse(closed @ left.rest @ object_frame(left))


def _base_of(bound: bpy.types.Object) -> bpy.types.Object:
    found = next((item for item in bound.children if item.get(_BASE_KEY) is not None), None)
    if found is None:
        found = _empty(bound, "Leaves")
        found[_BASE_KEY] = True
        found.parent = bound
    return found


def _new_leaf(bound: bpy.types.Object, base: bpy.types.Object, leaf: int) -> bpy.types.Object:
    item = _empty(bound, f"Leaf {leaf}")
    item[_LEAF_KEY] = leaf
    item.parent = base
    return item


def _empty(bound: bpy.types.Object, name: str) -> bpy.types.Object:
    item = bpy.data.objects.new(name, None)
    item.empty_display_size = float(metres(5.0))
    item.lock_location = item.lock_rotation = item.lock_scale = (True, True, True)
    item.hide_select = True
    collection_of(bound).objects.link(item)
    return item


def _hang(root: bpy.types.Object, leaf: bpy.types.Object, onto: Matrix) -> None:
    """Hang a spread's root on a leaf, where it lies nowhere else than its leaf says."""
    if root.parent != leaf:
        root.parent = leaf
    if root.matrix_parent_inverse != onto:
        root.matrix_parent_inverse = onto
    root.matrix_basis = Matrix()
    root.lock_location = root.lock_rotation = root.lock_scale = (True, True, True)


def _copy(leaf: bpy.types.Object, page: bpy.types.Object) -> None:
    """Let a leaf be where the left page of the spread behind it is."""
    undrive(leaf, "rotation_euler", 1)
    found: Any = leaf.constraints.get(_COPY)
    if found is None:
        found = leaf.constraints.new("COPY_TRANSFORMS")
        found.name = _COPY
    if found.target != page:
        found.target = page


def _copy_nothing(leaf: bpy.types.Object) -> None:
    found: Any = leaf.constraints.get(_COPY)
    if found is not None:
        leaf.constraints.remove(found)


def _stand_off(item: bpy.types.Object, root: bpy.types.Object, left: Panel, apart: str) -> None:
    """Move a left page off along its normal, away from what lies between the pages."""
    if left.axis is None:
        return
    turn = left.axis.turn
    angle = f"radians({degrees(turn.offset):.6f} + {turn.scale:.6f} * opening)"
    opening = {"opening": (root, OPENING)}
    drive(item, "location", f"0.001 * {apart} * sin({angle})", opening, 1)
    drive(item, "location", f"-0.001 * {apart} * cos({angle})", opening, 2)


def let_go(root: bpy.types.Object) -> None:
    """Let a spread be a book of its own again: nothing opens it any more, and it lies where its bound book lies."""
    bound = bound_root_of(root)
    opening = float(root[OPENING])
    undrive(root, f'["{OPENING}"]')
    root[OPENING] = opening
    panels = panels_of(root)
    left = panels.get("page.left")
    if left is not None:
        undrive(left, "location", 1)
        undrive(left, "location", 2)
        left.location = (left.location.x, 0.0, 0.0)
    lay_open(panels)
    if root.get(NUMBER_KEY) is not None:
        del root[NUMBER_KEY]
    root.parent = None
    root.matrix_parent_inverse = Matrix()
    root.matrix_basis = Matrix() if bound is None else bound.matrix_world
    root.lock_location = root.lock_rotation = root.lock_scale = (False, False, False)
