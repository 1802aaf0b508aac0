"""A spread as Blender objects: a root that carries the opening, and a chain of panels that it drives.

Every moving panel has one channel, its rotation about its own x axis or its way along it, driven by one property of the
root, the opening or what a hand moves, through an F-curve of samples. No script takes part, so the file moves in any
Blender, without Hingeleaf.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from .artwork import Artwork
from .channels import HANDS, OPENING, Channel
from .convert import metres, parent_inverse, printed_side, to_object
from .geometry.artwork import art_box
from .geometry.model import Panel, Piece
from .geometry.spread import Spread
from .geometry.transforms import Array
from .materials import Side, edge_material, paper_material
from .resting import Shift, depth_behind, resting_shifts
from .slab import ArtBox, make_slab

__all__ = ["PANEL_KEY", "PIECE_KEY", "Book", "build_book"]

#: Properties by which a panel's object says what it is.
PANEL_KEY, PIECE_KEY = "hingeleaf_panel", "hingeleaf_piece"


@dataclass(frozen=True)
class Book:
    """A spread that stands in Blender.

    Parameters
    ----------
    collection : holds everything of the book
    root : the empty that carries the opening
    panels : one object a panel, by panel id
    depth_mm : how far card reaches behind the printed faces of the pages
    warnings : what could not be done, one sentence each
    """

    collection: bpy.types.Collection
    root: bpy.types.Object
    panels: Mapping[str, bpy.types.Object]
    depth_mm: float
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class _Look:
    """What the panels of one piece have in common."""

    box: ArtBox
    materials: tuple[bpy.types.Material, ...]
    caliper_mm: float


def build_book(spread: Spread, channels: Sequence[Channel], parent: bpy.types.Collection) -> Book:
    """Build the objects of a spread.

    Parameters
    ----------
    spread : the assembled spread
    channels : the opening first, then what hands move
    parent : the collection that gets the book's own collection

    Returns
    -------
    Book
    """
    collection = bpy.data.collections.new(spread.title)
    parent.children.link(collection)
    root = _make_root(spread, channels, collection)
    moved = {name: channel for channel in channels for name in channel.turns}
    artwork = Artwork()
    looks = {piece.id: _look(spread, piece, artwork) for piece in spread.pieces}
    shifts = resting_shifts(spread, channels)
    objects: dict[str, bpy.types.Object] = {}
    for panel in spread.panels.values():
        item = _make_panel(panel, looks[panel.piece])
        _rest(item, root, panel, shifts[panel.id])
        collection.objects.link(item)
        above = None if panel.parent is None else spread.panels[panel.parent]
        item.parent = root if panel.parent is None else objects[panel.parent]
        item.matrix_parent_inverse = parent_inverse(panel, above)
        if panel.id in moved:
            _drive(item, root, panel, moved[panel.id])
        elif panel.axis is not None and panel.axis.slides:
            item.location.x = float(metres(panel.axis.turn.offset))
        elif panel.axis is not None:
            item.rotation_euler.x = panel.axis.turn.offset
        _lock(item)
        objects[panel.id] = item
    return Book(collection, root, objects, depth_behind(spread, shifts), tuple(artwork.warnings))


def _make_root(spread: Spread, channels: Sequence[Channel], collection: bpy.types.Collection) -> bpy.types.Object:
    """The empty at the foot of the spine, with a property a channel."""
    root = bpy.data.objects.new(spread.title, None)
    root.empty_display_type = "ARROWS"
    root.empty_display_size = float(metres(0.1 * spread.page_size_mm[0]))
    for channel in channels:
        _add_property(root, channel)
    if len(channels) > 1:
        root[HANDS] = {channel.key: channel.label for channel in channels[1:]}
    collection.objects.link(root)
    return root


def _add_property(root: bpy.types.Object, channel: Channel) -> None:
    low, high, start = float(channel.values[0]), float(channel.values[-1]), channel.start
    root[channel.key] = start
    limits: Any = root.id_properties_ui(channel.key)
    limits.update(
        min=low, max=high, soft_min=low, soft_max=high, default=start, precision=1, step=10, description=channel.text
    )
    root.property_overridable_library_set(f'["{channel.key}"]', True)


def _look(spread: Spread, piece: Piece, artwork: Artwork) -> _Look:
    """The materials and the art box of a piece."""
    name = f"{spread.title}: {piece.id}"
    sides = (
        Side(f"{name} front", piece.stock, artwork.image(piece.art_front)),
        Side(f"{name} back", piece.stock, artwork.image(piece.art_back)),
    )
    materials = (*(paper_material(side) for side in sides), edge_material(f"{name} edge"))
    return _Look(ArtBox(*art_box(spread, piece.id)), materials, piece.stock.caliper_mm)


def _make_panel(panel: Panel, look: _Look) -> bpy.types.Object:
    """One panel's object, not yet parented."""
    slab = make_slab(panel.outline, look.box, look.caliper_mm)
    mesh = bpy.data.meshes.new(panel.id)
    mesh.from_pydata(to_object(panel, slab.vertices).tolist(), [], slab.faces)
    mesh.polygons.foreach_set("material_index", slab.slots.astype(np.int32))
    mesh.uv_layers.new(name="Artwork").data.foreach_set("uv", slab.uvs.astype(np.float32).ravel())
    for material in look.materials:
        mesh.materials.append(material)
    mesh.update()
    item = bpy.data.objects.new(panel.id, mesh)
    item[PANEL_KEY], item[PIECE_KEY] = panel.id, panel.piece
    return item


def _rest(item: bpy.types.Object, root: bpy.types.Object, panel: Panel, shift: Shift) -> None:
    """Move what is seen of a panel along its printed side; its corners and its hinge stay where they are."""
    if not np.any(shift.mm):
        return
    side = printed_side(panel)
    modifier: Any = item.modifiers.new("Card on Card", "DISPLACE")
    modifier.direction, modifier.mid_level = "XYZ"[int(np.argmax(np.abs(side)))], 0.0
    amount = metres(shift.mm * np.sign(side.sum()))
    if shift.channel is None:
        modifier.strength = float(amount)
    else:
        _follow(item.driver_add(f'modifiers["{modifier.name}"].strength'), root, shift.channel, amount)


def _drive(item: bpy.types.Object, root: bpy.types.Object, panel: Panel, channel: Channel) -> None:
    """Let a property of the root turn an object about its x axis, or slide it along, through a sampled curve."""
    slides = panel.axis is not None and panel.axis.slides
    amounts = metres(channel.turns[panel.id]) if slides else channel.turns[panel.id]
    _follow(item.driver_add("location" if slides else "rotation_euler", 0), root, channel, amounts)


def _follow(curve: Any, root: bpy.types.Object, channel: Channel, amounts: Array) -> None:
    """Let a driver follow a property of the root through the channel's samples."""
    driver = curve.driver
    driver.type = "AVERAGE"
    variable = driver.variables.new()
    variable.name = "opening" if channel.key == OPENING else "hand"
    variable.type = "SINGLE_PROP"
    variable.targets[0].id = root
    variable.targets[0].data_path = f'["{channel.key}"]'
    while curve.modifiers:
        curve.modifiers.remove(curve.modifiers[0])
    points = curve.keyframe_points
    points.clear()
    samples = np.column_stack([channel.values, amounts]).astype(np.float32)
    samples = samples[np.append(True, np.diff(samples[:, 0]) > 0)]
    points.add(len(samples))
    for name in ("co", "handle_left", "handle_right"):
        points.foreach_set(name, samples.ravel())
    kinds: Any = bpy.types.Keyframe.bl_rna.properties["interpolation"]
    linear = kinds.enum_items["LINEAR"].value
    points.foreach_set("interpolation", np.full(len(samples), linear, dtype=np.int32))
    # No curve.update(): it would merge samples that are nearer than 0.01 degrees. They are in order, and straight
    # lines need no handles.


def _lock(item: bpy.types.Object) -> None:
    """Keep a hand in the viewport from pulling the panel off its hinge; the driver still turns it."""
    item.lock_location = (True, True, True)
    item.lock_rotation = (True, True, True)
    item.lock_scale = (True, True, True)
