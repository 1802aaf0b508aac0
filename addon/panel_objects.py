"""One panel as a Blender object: its mesh, where it hangs, and what turns it; made once, then kept up to date in place.

Every moving panel has one channel, its rotation about its own x axis or its way along it, driven by one property of the
root, the opening or what a hand moves, through an F-curve of samples. No script takes part, so the file moves in any
Blender, without Hingeleaf.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from .channels import OPENING, Curve
from .convert import metres, object_frame, parent_inverse, printed_side, to_object
from .creasing import Crease
from .geometry.model import Panel
from .geometry.transforms import Array
from .materials import ALONG, LEANS, NEAR, OUTSIDE
from .naming import object_name
from .resting import Shift
from .slab import ArtBox, Slab, make_slab

__all__ = [
    "MOTION_KEY",
    "PANEL_KEY",
    "PIECE_KEY",
    "RESTING",
    "Look",
    "Place",
    "fit_panel",
    "follow",
    "hang_panel",
    "new_panel",
]

#: Properties by which a panel's object says what it is.
PANEL_KEY, PIECE_KEY = "hingeleaf_panel", "hingeleaf_piece"
#: Properties that say what an object was made from, so that what has not changed is left alone.
_SHAPE_KEY, _PLACE_KEY, _REST_KEY = "hingeleaf_shape", "hingeleaf_place", "hingeleaf_rest"
#: Property that says which motion of its tree an object has.
MOTION_KEY = "hingeleaf_motion"
#: The modifier that draws card on card.
RESTING = "Card on Card"
#: How slabs are made; another one has every panel of an older file made anew.
_SHAPES = "rounded"


@dataclass(frozen=True)
class Look:
    """What the panels of one piece have in common."""

    box: ArtBox
    materials: tuple[bpy.types.Material, ...]
    caliper_mm: float


@dataclass(frozen=True)
class Place:
    """Where a panel hangs, and how it moves there.

    Parameters
    ----------
    root : the book's root
    parent : the object of the panel it turns on, and that panel; None for the right page
    shift : how far it is drawn from where it is
    key, curve : what property of the root drives it, and how; None where nothing does, or where that has not changed
    motion : what tells one motion from another
    """

    root: bpy.types.Object
    parent: tuple[bpy.types.Object, Panel] | None
    shift: Shift
    key: str | None
    curve: Curve | None
    motion: str


def new_panel(panel: Panel, collection: bpy.types.Collection) -> bpy.types.Object:
    """An object for a panel, without a shape or a place yet."""
    mechanism, dot, rest = panel.id.partition(".")
    name = object_name(mechanism, f"{dot}{rest}")
    item = bpy.data.objects.new(name, bpy.data.meshes.new(name))
    item[PANEL_KEY], item[PIECE_KEY] = panel.id, panel.piece
    item.lock_location = item.lock_rotation = item.lock_scale = (True, True, True)
    collection.objects.link(item)
    return item


def fit_panel(item: bpy.types.Object, panel: Panel, look: Look, creases: Sequence[Crease] = ()) -> None:
    """Give a panel's object its shape and its look, if they are not what it has."""
    box = look.box
    names = tuple(material.name for material in look.materials)
    bends = b"".join(crease.as_bytes() for crease in creases)
    sizes = (box.left, box.low, box.right, box.high, look.caliper_mm)
    digest = _digest(_SHAPES, panel.outline.wkb, _frame(panel), sizes, names, bends)
    if item.get(_SHAPE_KEY) == digest:
        return
    slab = make_slab(panel.outline, box, look.caliper_mm, creases)
    mesh: Any = item.data
    mesh.clear_geometry()
    mesh.from_pydata(to_object(panel, slab.vertices).tolist(), [], slab.faces)
    mesh.uv_layers.new(name="Artwork").data.foreach_set("uv", slab.uvs.astype(np.float32).ravel())
    if tuple(material.name for material in mesh.materials if material is not None) != names:
        mesh.materials.clear()
        for material in look.materials:
            mesh.materials.append(material)
    # After the materials: clearing them sets every face to the first.
    mesh.polygons.foreach_set("material_index", slab.slots.astype(np.int32))
    _set_surface(mesh, panel, slab)
    mesh.update()
    item[_SHAPE_KEY] = digest


def _set_surface(mesh: Any, panel: Panel, slab: Slab) -> None:
    """Say how light sees a slab: its normals, and what its material has to know of creases."""
    turn = object_frame(panel)[:3, :3]
    mesh.normals_split_custom_set((slab.normals @ turn).tolist())
    marks = slab.marks
    pivots = panel.axis is not None and panel.axis.pivots
    if pivots or not np.any(marks.near):
        return
    # The printed side is the object's z axis, so that a lean has no third component.
    leans = np.concatenate([marks.leans, np.zeros_like(marks.near)[..., None]], axis=2) @ turn
    layers = (NEAR, marks.near), (ALONG, marks.along), (OUTSIDE, marks.outside)
    for name, values in (*layers, *zip(LEANS, (leans[..., 0], leans[..., 1]), strict=True)):
        _set_layer(mesh, name, values)


def _set_layer(mesh: Any, name: str, values: Array) -> None:
    """A vector a corner of a face."""
    layer = mesh.attributes.new(name, "FLOAT_VECTOR", "CORNER")
    layer.data.foreach_set("vector", values.astype(np.float32).ravel())


def hang_panel(item: bpy.types.Object, panel: Panel, place: Place) -> None:
    """Hang a panel's object on its parent and let its channel turn it, where that is not as it is already."""
    parent = place.root if place.parent is None else place.parent[0]
    above = None if place.parent is None else place.parent[1]
    digest = _digest(_frame(panel), b"" if above is None else _frame(above), parent.name)
    if item.parent != parent or item.get(_PLACE_KEY) != digest:
        # What hangs or drives objects otherwise lets Blender sort all of them anew: only where it must be.
        if item.parent != parent:
            item.parent = parent
            # Nothing of where it may have been left, as when what it hung on was deleted by hand.
            item.matrix_basis = Matrix()
        item.matrix_parent_inverse = parent_inverse(panel, above)
        item[_PLACE_KEY] = digest
    shift = place.shift
    samples = b"" if shift.values is None else shift.values.tobytes()
    rest = _digest(shift.mm.tobytes(), shift.key or "", samples, printed_side(panel).round(6).tobytes())
    if item.get(_REST_KEY) != rest:
        _rest(item, place.root, panel, shift)
        item[_REST_KEY] = rest
    if item.get(MOTION_KEY) != place.motion:
        _turn(item, panel, place)
        item[MOTION_KEY] = place.motion


def _digest(*parts: object) -> str:
    whole = hashlib.blake2b(digest_size=12)
    for part in parts:
        whole.update(part if isinstance(part, bytes) else repr(part).encode())
        whole.update(b"|")
    return whole.hexdigest()


def _frame(panel: Panel) -> bytes:
    """What a panel's own frame and its place on its parent come from."""
    axis = panel.axis
    line = b"" if axis is None else axis.point.tobytes() + axis.direction.tobytes() + bytes([axis.slides])
    return np.asarray(panel.rest, dtype=float).tobytes() + line


def _rest(item: bpy.types.Object, root: bpy.types.Object, panel: Panel, shift: Shift) -> None:
    """Move what is seen of a panel along its printed side; its corners and its hinge stay where they are."""
    modifier: Any = item.modifiers.get(RESTING)
    if modifier is not None:
        item.driver_remove(f'modifiers["{RESTING}"].strength')
        if not np.any(shift.mm):
            item.modifiers.remove(modifier)
    if not np.any(shift.mm):
        return
    if modifier is None:
        modifier = item.modifiers.new(RESTING, "DISPLACE")
    side = printed_side(panel)
    modifier.direction, modifier.mid_level = "XYZ"[int(np.argmax(np.abs(side)))], 0.0
    amount = metres(shift.mm * np.sign(side.sum()))
    if shift.key is None or shift.values is None:
        modifier.strength = float(amount)
    else:
        path = f'modifiers["{RESTING}"].strength'
        follow(item.driver_add(path), root, shift.key, Curve(shift.values, amount))


def _turn(item: bpy.types.Object, panel: Panel, place: Place) -> None:
    """Let a property of the root turn an object about its x axis, or slide it along; or leave it at its angle."""
    slides = panel.axis is not None and panel.axis.slides
    path, other = ("location", "rotation_euler") if slides else ("rotation_euler", "location")
    if _driver_of(item, other) is not None:
        item.driver_remove(other, 0)
    driven = _driver_of(item, path)
    if place.key is not None and place.curve is not None:
        amounts = metres(place.curve.amounts) if slides else place.curve.amounts
        curve = Curve(place.curve.values, amounts)
        if driven is not None and _follows(driven, place.root, place.key):
            _set_points(driven.keyframe_points, curve)
        else:
            follow(item.driver_add(path, 0), place.root, place.key, curve)
        return
    if driven is not None:
        item.driver_remove(path, 0)
    still = 0.0 if panel.axis is None else panel.axis.turn.offset
    item.location.x = float(metres(still)) if slides else 0.0
    item.rotation_euler.x = 0.0 if slides else still


def follow(curve: Any, root: bpy.types.Object, key: str, samples: Curve) -> None:
    """Let a driver follow a property of the root through samples."""
    driver = curve.driver
    driver.type = "AVERAGE"
    variable: Any = driver.variables[0] if len(driver.variables) else driver.variables.new()
    variable.name = "opening" if key == OPENING else "hand"
    variable.type = "SINGLE_PROP"
    variable.targets[0].id = root
    variable.targets[0].data_path = f'["{key}"]'
    while curve.modifiers:
        curve.modifiers.remove(curve.modifiers[0])
    _set_points(curve.keyframe_points, samples)


def _driver_of(item: bpy.types.Object, path: str) -> Any:
    """The driver of the first channel of a path; None where there is none."""
    animation: Any = item.animation_data
    return None if animation is None else animation.drivers.find(path, index=0)


def _follows(curve: Any, root: bpy.types.Object, key: str) -> bool:
    """Whether a driver follows a property of the root already."""
    variables = curve.driver.variables
    target = variables[0].targets[0] if len(variables) else None
    return target is not None and target.id == root and target.data_path == f'["{key}"]'


def _set_points(points: Any, curve: Curve) -> None:
    samples = np.column_stack([curve.values, curve.amounts]).astype(np.float32)
    samples = samples[np.append(True, np.diff(samples[:, 0]) > 0)]
    if len(points) != len(samples):
        points.clear()
        points.add(len(samples))
    for name in ("co", "handle_left", "handle_right"):
        points.foreach_set(name, samples.ravel())
    kinds: Any = bpy.types.Keyframe.bl_rna.properties["interpolation"]
    linear = kinds.enum_items["LINEAR"].value
    points.foreach_set("interpolation", np.full(len(samples), linear, dtype=np.int32))
    # No curve.update(): it would merge samples that are nearer than 0.01 degrees. They are in order, and straight
    # lines need no handles.
