"""One table, lamps and a camera for a bound book; and what keeps the thinner side of the open book level.

An open book is thicker on one side. As a photographer does, a support is put under the thinner side: a plain block in
the colour of the table, which comes up as a leaf comes down on it and goes again as the book closes.
"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from .books import camera_of, collection_of
from .bound_motion import angle_key, drive
from .bound_rig import Leaves
from .convert import metres
from .filming_backgrounds import SUPPORT_KEY, TABLE_KEY
from .geometry.binding import Binding
from .geometry.transforms import Array, apply
from .studio import STUDIO, furnish, light_scene, renew_studio

__all__ = ["build_bound_studio", "set_table", "swept_by"]

#: Property of the root: for which page its studio was built.
_PAGE_KEY = "hingeleaf_studio_page"
#: Turns at which all that moves is taken for framing, one spread.
_STEPS = 8
#: A support is so much smaller than the board on it, and begins so far below the table, to be level with it.
_INSET_MM, _BELOW_MM = 9.0, 0.3
#: A support is all there under a leaf that stands up from lying on it by so little, and gone at so much, degrees: it
#: grows where the leaf's own shadow hides it.
_LANDED, _AWAY = 4.0, 20.0


def build_bound_studio(
    context: bpy.types.Context, bound: bpy.types.Object, binding: Binding, size: tuple[int, int]
) -> bpy.types.Object:
    """Set a bound book on a lit table and stand a camera before it that sees the whole of its motion.

    Parameters
    ----------
    context : its scene gets the camera, the world and the look of the picture
    bound : the book's root
    binding : what is bound
    size : width and height of the picture, pixels

    Returns
    -------
    the camera
    """
    camera = _stand(bound, binding, size)
    context.scene.camera = camera
    light_scene(context, binding.title, size)
    return camera


def _stand(bound: bpy.types.Object, binding: Binding, size: tuple[int, int]) -> bpy.types.Object:
    studio = bpy.data.collections.new(STUDIO)
    collection_of(bound).children.link(studio)
    return _set_up(studio, bound, binding, size)


def _set_up(
    studio: bpy.types.Collection, bound: bpy.types.Object, binding: Binding, size: tuple[int, int]
) -> bpy.types.Object:
    table_mm = -float(binding.leaves_mm[-1])
    bound[_PAGE_KEY] = list(binding.page_size_mm)
    camera = furnish(studio, bound, binding.title, swept_by(binding), table_mm, size)
    table = _table_of(bound)
    for side in ("left", "right"):
        _add_support(studio, bound, binding, side, table)
    return camera


def set_table(context: bpy.types.Context, bound: bpy.types.Object, binding: Binding, leaves: Leaves) -> None:
    """Let the table of a bound book, if it has one, be as high as its thickness asks for, and the supports follow."""
    if camera_of(bound) is None:
        return
    if list(bound.get(_PAGE_KEY, ())) != list(binding.page_size_mm):
        size = context.scene.render.resolution_x, context.scene.render.resolution_y
        renew_studio(bound, collection_of(bound), lambda made: _set_up(made, bound, binding, size))
    below, last = float(binding.leaves_mm[-1]), len(binding.spreads)
    table = _table_of(bound)
    if table is not None:
        table.location.z = float(metres(-below))
    names = {"lift": (bound, leaves.lift), "front": (bound, leaves.front_height), "a": (bound, angle_key(0))}
    room = {
        "left": (f"max(0, lift + front + {below:.6f}) * {_landed('180 - a')}", names),
        "right": (f"lift * {_landed('a')}", {"lift": names["lift"], "a": (bound, angle_key(last))}),
    }
    for item in bound.children:
        if item.get(SUPPORT_KEY) is not None:
            item.location.z = float(metres(-below - _BELOW_MM))
            expression, sources = room[item[SUPPORT_KEY]]
            drive(item, "scale", f"{0.8 * _BELOW_MM:.6f} + {expression}", sources, 2)


def _landed(angle: str) -> str:
    """An expression for how far a support is there, 0 to 1, by how far its leaf stands up from lying on it, degrees."""
    return f"clamp(({_AWAY:.1f} - ({angle})) / {_AWAY - _LANDED:.1f}, 0, 1)"


def swept_by(binding: Binding) -> Array:
    """Every corner of every panel and board as a bound book is turned through, (n, 3) float, metres."""
    turns = np.linspace(0.0, len(binding.spreads) + 1.0, _STEPS * (len(binding.spreads) + 1) + 1)
    angles = binding.leaf_angles(turns)
    boards = binding.boards(angles)
    lift = np.maximum(0.0, -boards[0].matrices[:, 2, 3] - float(binding.leaves_mm[-1]))
    outlines: list[tuple[Array, Array]] = [
        (np.asarray(board.outline.exterior.coords), board.matrices) for board in boards
    ]
    for (number, name), matrices in binding.pose(angles).items():
        outlines.append((np.asarray(binding.spreads[number - 1].panels[name].outline.exterior.coords), matrices))
    corners = [apply(matrices, outline) + [0.0, 0.0, 1.0] * lift[:, None, None] for outline, matrices in outlines]
    points = np.concatenate([item.reshape(-1, 3) for item in corners])
    return metres(points[np.isfinite(points).all(axis=1)])


def _table_of(bound: bpy.types.Object) -> bpy.types.Object | None:
    return next((item for item in bound.children if item.get(TABLE_KEY) is not None), None)


def _add_support(
    studio: bpy.types.Collection,
    bound: bpy.types.Object,
    binding: Binding,
    side: str,
    table: bpy.types.Object | None,
) -> None:
    """A block under one side, one mm high; its driver says how high it is."""
    width, height = binding.page_size_mm
    near, far = 1.0, width - _INSET_MM
    xs = (near, far) if side == "right" else (-far, -near)
    corners = [(x, y, z) for z in (0.0, 1.0) for y in (_INSET_MM, height - _INSET_MM) for x in xs]
    mesh = bpy.data.meshes.new("Support")
    faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (1, 3, 7, 5), (0, 4, 6, 2), (2, 6, 7, 3)]
    mesh.from_pydata(metres(np.array(corners)).tolist(), [], faces)
    for material in _materials_of(table):
        mesh.materials.append(material)
    item = bpy.data.objects.new(f"Support {side.capitalize()}", mesh)
    item[SUPPORT_KEY] = side
    item.hide_select = True
    item.parent = bound
    item.matrix_basis = Matrix()
    studio.objects.link(item)


def _materials_of(table: Any) -> list[bpy.types.Material]:
    return [] if table is None else [material for material in table.data.materials if material is not None]
