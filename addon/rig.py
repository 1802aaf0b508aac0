"""A spread as Blender objects: a root that carries the opening, and a chain of panels that it drives.

A book that stands already is changed in place: what has not changed is not touched, so that what a user has done to it,
such as keyframes, a place in the scene or a lamp hung on a panel, stays.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
from shapely import Polygon

from .artwork import Artwork
from .channels import HANDS, Channel, Curve
from .convert import metres
from .creasing import creases_of
from .geometry.artwork import art_box
from .geometry.description.data import MechanismSpec
from .geometry.model import Panel, Piece
from .geometry.solids import Solid
from .geometry.spread import Spread
from .geometry.trees import owner_of, trees_of
from .geometry.unfold.mesh_files import model_states, state_of
from .materials import Side, edge_material, paper_material
from .naming import object_name
from .panel_objects import MOTION_KEY, PANEL_KEY, PIECE_KEY, Look, Place, fit_panel, hang_panel, new_panel
from .resting import Shift, depth_behind, resting_shifts
from .slab import ArtBox

__all__ = [
    "MOTION_KEY",
    "PANEL_KEY",
    "PIECE_KEY",
    "Book",
    "build_book",
    "motion_of",
    "remove_objects",
    "update_book",
    "update_part",
]

#: Keys of a mechanism that only change how it looks.
_LOOKS = ("title", "stock", "art_front", "art_back", "color_front", "color_back", "art_box")
#: Property of a panel's object: the look of its piece.
_LOOK_KEY = "hingeleaf_look"


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


def build_book(spread: Spread, channels: Sequence[Channel], parent: bpy.types.Collection) -> Book:
    """Build the objects of a spread.

    Parameters
    ----------
    spread : the assembled spread
    channels : the opening first, then what hands move; every panel that moves has its curve there
    parent : the collection that gets the book's own collection

    Returns
    -------
    Book
    """
    collection = bpy.data.collections.new(spread.title)
    parent.children.link(collection)
    root = bpy.data.objects.new(spread.title, None)
    root.empty_display_type = "ARROWS"
    root.empty_display_size = float(metres(0.1 * spread.page_size_mm[0]))
    collection.objects.link(root)
    return update_book(spread, channels, root, {})


def update_book(
    spread: Spread, channels: Sequence[Channel], root: bpy.types.Object, old: Mapping[str, bpy.types.Object]
) -> Book:
    """Make a book that stands in Blender that of another spread.

    Parameters
    ----------
    spread : what it is to be
    channels : the opening first, then what hands move; panels whose motion is as before need no curve
    root : its root
    old : its objects, by panel

    Returns
    -------
    Book
    """
    collection = root.users_collection[0]
    worn = {slot.material for item in old.values() for slot in item.material_slots if slot.material is not None}
    _set_properties(root, channels)
    artwork = Artwork()
    looks = {piece.id: _look(spread, piece, artwork, old) for piece in spread.pieces}
    shifts = resting_shifts(spread, channels)
    curves = {name: (channel.key, curve) for channel in channels for name, curve in channel.curves.items()}
    motions, creases = motion_of(spread), creases_of(spread)
    objects: dict[str, bpy.types.Object] = {}
    for panel in spread.panels.values():
        item = old.get(panel.id) or new_panel(panel, collection)
        item[PIECE_KEY] = panel.piece
        look, look_digest = looks[panel.piece]
        fit_panel(item, panel, look, creases.get(panel.id, ()))
        motion = motions[owner_of(panel.id)]
        hang_panel(item, panel, _place(spread, panel, root, objects, shifts[panel.id], curves, motion))
        item[_LOOK_KEY] = look_digest
        objects[panel.id] = item
    remove_objects(item for name, item in old.items() if name not in objects)
    there = set(bpy.data.materials)
    _remove_materials(worn & there)
    return Book(collection, root, objects, depth_behind(spread, shifts), tuple(artwork.warnings))


def update_part(
    spread: Spread,
    channels: Sequence[Channel],
    root: bpy.types.Object,
    old: Mapping[str, bpy.types.Object],
    *,
    moved: Set[str],
    cut: Mapping[str, Polygon],
) -> None:
    """Show a part of a book that is being changed; everything else stays as it is.

    Parameters
    ----------
    spread : the part
    channels : its own
    root : the book's root
    old : the book's objects, by panel
    moved : the mechanisms of the part that may have changed
    cut : outlines of panels of others that are cut otherwise, by panel
    """
    objects = dict(old)

    def is_looked_at(piece: Piece) -> bool:
        """Whether it is the mechanism's own, or one that was not there, as another pleat's prop."""
        new = owner_of(piece.id) in moved and not any(name in old for name in piece.panels)
        return new or piece.id in moved

    looks = {piece.id: _look(spread, piece, Artwork(), old) for piece in spread.pieces if is_looked_at(piece)}
    new = {material for look, _ in looks.values() for material in look.materials}
    slots = [slot for name, item in old.items() if owner_of(name) in moved for slot in item.material_slots]
    worn = {slot.material for slot in slots if slot.material is not None} - new
    shifts = resting_shifts(spread, channels)
    curves = {name: (channel.key, curve) for channel in channels for name, curve in channel.curves.items()}
    motions, creases = motion_of(spread), creases_of(spread)
    for panel in spread.panels.values():
        owner = owner_of(panel.id)
        if owner in moved:
            item = objects.setdefault(panel.id, old.get(panel.id) or new_panel(panel, root.users_collection[0]))
            look = looks[panel.piece][0] if panel.piece in looks else _present_look(spread, panel, old)
            fit_panel(item, panel, look, creases.get(panel.id, ()))
            # Marked as a part's, so that the whole is sampled again once nothing is dragged any more.
            motion = f"part {motions[owner]}"
            hang_panel(item, panel, _place(spread, panel, root, objects, shifts[panel.id], curves, motion))
            # Not the root: every panel of the book depends on that.
            item.update_tag(refresh={"OBJECT", "TIME"})
        elif panel.id in cut:
            look = _present_look(spread, panel, old)
            fit_panel(objects[panel.id], panel.with_outline(cut[panel.id]), look, creases.get(panel.id, ()))
    gone = [item for name, item in old.items() if owner_of(name) in moved and name not in spread.panels]
    remove_objects(gone)
    _remove_materials(worn & set(bpy.data.materials))


def _present_look(spread: Spread, panel: Panel, old: Mapping[str, bpy.types.Object]) -> Look:
    """The look that a piece has."""
    piece = spread.piece(panel.piece)
    item = next(old[name] for name in piece.panels if name in old)
    materials = tuple(slot.material for slot in item.material_slots if slot.material is not None)
    return Look(ArtBox(*art_box(spread, piece.id)), materials, piece.stock.caliper_mm)


def motion_of(spread: Spread) -> dict[str, str]:
    """For each mechanism, and the page, what tells the motion of its tree from others."""
    specs = {spec.id: spec for spec in spread.mechanisms}
    found: dict[str, str] = {"page": "page"}
    for tree in trees_of(spread)[1:]:
        names = sorted({owner_of(name) for name in tree.panels} - {"page"})
        said = [(name, specs[name].kind, _moving(specs[name])) for name in names if name in specs]
        digest = hashlib.blake2b(f"{spread.page_size_mm} {said}".encode(), digest_size=12).hexdigest()
        found |= dict.fromkeys(names, digest)
    return found


def _moving(spec: MechanismSpec) -> list[tuple[str, Any]]:
    """What a mechanism's motion, and how finely it is sampled, may depend on."""
    return sorted((key, value) for key, value in spec.values.items() if key not in _LOOKS)


def remove_objects(items: Any) -> None:
    """Remove objects with their meshes, and the materials and pictures that nothing else uses."""
    items = list(items)
    meshes = [item.data for item in items if item.data is not None]
    materials = {slot.material for item in items for slot in item.material_slots if slot.material is not None}
    if not items:
        # Even removing nothing lets Blender sort all objects anew.
        return
    bpy.data.batch_remove(items)
    bpy.data.batch_remove([mesh for mesh in meshes if mesh.users == 0])
    _remove_materials(materials)


def _remove_materials(materials: set[bpy.types.Material]) -> None:
    images = {image for material in materials for image in _images_of(material)}
    unused = [material for material in materials if material.users == 0]
    if unused:
        bpy.data.batch_remove(unused)
    gone = [image for image in images if image.users == 0]
    if gone:
        bpy.data.batch_remove(gone)


def _images_of(material: bpy.types.Material) -> list[bpy.types.Image]:
    """The pictures that a material shows."""
    nodes: Any = material.node_tree.nodes if material.node_tree is not None else ()
    return [node.image for node in nodes if node.type == "TEX_IMAGE" and node.image is not None]


def _place(
    spread: Spread,
    panel: Panel,
    root: bpy.types.Object,
    objects: Mapping[str, bpy.types.Object],
    shift: Shift,
    curves: Mapping[str, tuple[str, Curve]],
    motion: str,
) -> Place:
    above = None if panel.parent is None else (objects[panel.parent], spread.panels[panel.parent])
    key, curve = curves.get(panel.id, (None, None))
    return Place(root, above, shift, key, curve, motion)


def _set_properties(root: bpy.types.Object, channels: Sequence[Channel]) -> None:
    """A property a channel; those of hands that are no more are removed."""
    labels = {channel.key: channel.label for channel in channels[1:]}
    for key in root.get(HANDS, {}):
        if key not in labels and root.get(key) is not None:
            del root[key]
    for channel in channels:
        _set_property(root, channel)
    if labels:
        root[HANDS] = labels
    elif root.get(HANDS) is not None:
        del root[HANDS]


def _set_property(root: bpy.types.Object, channel: Channel) -> None:
    low, high, start = channel.low, channel.high, channel.start
    value = min(max(float(root.get(channel.key, start)), low), high)
    root[channel.key] = value
    limits: Any = root.id_properties_ui(channel.key)
    limits.update(
        min=low, max=high, soft_min=low, soft_max=high, default=start, precision=1, step=10, description=channel.text
    )
    root.property_overridable_library_set(f'["{channel.key}"]', True)


def _look(spread: Spread, piece: Piece, artwork: Artwork, old: Mapping[str, bpy.types.Object]) -> tuple[Look, str]:
    """The materials and the art box of a piece, and what tells its look from others."""
    name = f"{spread.title}: {piece.id}"
    files = [(file, file and state_of(Path(file))) for file in (piece.art_front, piece.art_back)]
    box = ArtBox(*art_box(spread, piece.id))
    solid = spread.solid_with(piece.id)
    model = () if solid is None else _model_state(spread, piece, solid)
    digest = repr((name, piece.stock, files, piece.color_front, piece.color_back, *model))
    for panel in piece.panels:
        before = old.get(panel)
        if before is not None and before.get(_LOOK_KEY) == digest:
            kept = tuple(slot.material for slot in before.material_slots if slot.material is not None)
            if len(kept) == 3:
                return Look(box, kept, piece.stock.caliper_mm), digest
    front = artwork.image(piece.art_front) if solid is None else artwork.face(solid, piece.id, box)
    sides = (
        Side(object_name(name, " front"), piece.stock, front, piece.color_front),
        Side(object_name(name, " back"), piece.stock, artwork.image(piece.art_back), piece.color_back),
    )
    materials = (*(paper_material(side) for side in sides), edge_material(object_name(name, " edge")))
    return Look(box, materials, piece.stock.caliper_mm), digest


def _model_state(spread: Spread, piece: Piece, solid: Solid) -> tuple[object, ...]:
    """What the face of a net of a solid comes from: its model, the pictures on it, and how it is laid flat."""
    outlines = hashlib.blake2b(digest_size=12)
    for name in piece.panels:
        outlines.update(spread.panels[name].outline.wkb)
    return solid.model, *model_states(Path(solid.model)), outlines.hexdigest()
