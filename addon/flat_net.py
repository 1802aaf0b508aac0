"""The net of one piece beside its book: copies of its panels that unfold from where the piece stands, and fold back.

The copies share the meshes of the panels, so they show the same artwork. One property of the net's empty, *unfolded*,
drives every crease through sampled curves, as the opening drives the book; so it can be keyframed, and moves without
scripts. A copy hangs on the one before it about their common crease: by itself where that is the line about which the
panel turns in the book, else through an empty on the crease.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from .books import collection_of, panels_of
from .channels import OPENING, Curve, hand_key
from .convert import metres, object_frame, to_blender
from .framing import swept_corners
from .geometry import HingeleafError
from .geometry.design.unfolding import Joint, Unfolding, unfolding
from .geometry.spread import Spread
from .geometry.transforms import Array, frame, inverse, translation_along
from .panel_objects import follow
from .set_aside import set_aside
from .tinting import NET_PANEL_KEY

__all__ = ["UNFOLDED", "add_net", "keyframe_unfolding", "net_of", "piece_of", "remove_net", "renew_net"]

#: Property of the empty: 0 where the copies are one with the standing piece, 1 where they lie flat.
UNFOLDED = "unfolded"
#: Properties of the empty: the piece, and the opening and the ways of hands at which the piece stood.
_PIECE_KEY, _OPENING_KEY, _HANDS_KEY = "hingeleaf_net", "hingeleaf_net_opening", "hingeleaf_net_hands"
#: Steps of the unfolding that are sampled; straight lines between them are off by less than those of the book's rig.
_STEPS = 181
#: Between the book, with all that it sweeps over, and the net.
_GAP_MM = 15.0
#: Lines that are off by less are one line.
_SAME = 1e-9
_KEYFRAMES = 30


@dataclass(frozen=True)
class _Hung:
    """Something that copies hang on: an object, and its frame in net coordinates, (4, 4) float, mm."""

    item: bpy.types.Object
    frame: Array


@dataclass(frozen=True)
class _Build:
    """What all objects of a net have in common."""

    spread: Spread
    unfolding: Unfolding
    empty: bpy.types.Object
    collection: bpy.types.Collection
    panels: Mapping[str, bpy.types.Object]


def net_of(root: bpy.types.Object) -> bpy.types.Object | None:
    """The empty of the net beside a book; None where there is none."""
    return next((item for item in root.children if item.get(_PIECE_KEY) is not None), None)


def piece_of(net: bpy.types.Object) -> str:
    """The piece that a net is of."""
    return str(net[_PIECE_KEY])


def add_net(context: bpy.types.Context, root: bpy.types.Object, spread: Spread, piece: str) -> bpy.types.Object:
    """Lay the net of a piece beside its book, ready to fold up to where the piece stands now.

    Parameters
    ----------
    context : of the window; what is evaluated there says how card is drawn on card
    root : the book
    spread : what its description builds
    piece : name of the piece

    Returns
    -------
    the net's empty, with the property that unfolds it

    Raises
    ------
    HingeleafError
        The piece cannot stand at the book's opening; then nothing was changed.
    """
    hands = {hand.id: float(root[hand_key(hand.id)]) for hand in spread.hands}
    found = _found(spread, piece, float(root[OPENING]), hands)
    empty = bpy.data.objects.new(f"Net: {spread.piece(piece).title}", None)
    empty.empty_display_size = float(metres(5.0))
    empty[_PIECE_KEY], empty[_OPENING_KEY], empty[_HANDS_KEY] = piece, float(root[OPENING]), hands
    empty[UNFOLDED] = 1.0
    text = "How far the net is unfolded: 0 is the standing piece, 1 lies flat"
    limits: Any = empty.id_properties_ui(UNFOLDED)
    limits.update(min=0.0, max=1.0, soft_min=0.0, soft_max=1.0, default=1.0, precision=3, step=1, description=text)
    empty.property_overridable_library_set(f'["{UNFOLDED}"]', True)
    collection = bpy.data.collections.new(empty.name)
    collection_of(root).children.link(collection)
    collection.objects.link(empty)
    empty.parent = root
    _hang(_Build(spread, found, empty, collection, panels_of(root)), context.evaluated_depsgraph_get())
    return empty


def remove_net(net: bpy.types.Object) -> None:
    """Take a net away, with its collection; meshes and materials are the panels' own."""
    action = net.animation_data.action if net.animation_data is not None else None
    collection = collection_of(net)
    bpy.data.batch_remove([*net.children_recursive, net])
    set_aside(collection)
    if action is not None and action.users == 0:
        bpy.data.batch_remove([action])


def renew_net(context: bpy.types.Context, root: bpy.types.Object, spread: Spread) -> None:
    """Make the net beside a book anew after the book was changed, as far unfolded as it was, its keyframes kept.

    Where there is no longer such a piece, or it cannot stand as it stood, the net is taken away.
    """
    net = net_of(root)
    if net is None:
        return
    try:
        found = _found(spread, piece_of(net), net[_OPENING_KEY], dict(net[_HANDS_KEY]))
    except HingeleafError:
        remove_net(net)
        return
    bpy.data.batch_remove(list(net.children_recursive))
    _hang(_Build(spread, found, net, collection_of(net), panels_of(root)), context.evaluated_depsgraph_get())


def keyframe_unfolding(net: bpy.types.Object, frame: int) -> int:
    """Let a net unfold from a frame on; returns the frame at which it lies flat."""
    path = f'["{UNFOLDED}"]'
    for value, at in ((0.0, frame), (1.0, frame + _KEYFRAMES)):
        net[UNFOLDED] = value
        net.keyframe_insert(path, frame=at)
    net[UNFOLDED] = 0.0
    net.update_tag()
    return frame + _KEYFRAMES


def _found(spread: Spread, piece: str, opening_deg: float, hands: Mapping[str, float]) -> Unfolding:
    moved = {hand.id: hand.inside(hands.get(hand.id, hand.said(hand.rest))) for hand in spread.hands}
    return unfolding(spread, piece, float(np.radians(opening_deg)), moved, np.linspace(0.0, 1.0, _STEPS))


def _hang(build: _Build, depsgraph: bpy.types.Depsgraph) -> None:
    """Copies of all panels, each on the one before it."""
    base = build.unfolding.base
    hung = {base: _copy(build, base, _travelling(build), depsgraph)}
    for joint in build.unfolding.joints:
        hung[joint.panel] = _jointed(build, joint, hung[joint.parent], depsgraph)


def _travelling(build: _Build) -> _Hung:
    """The empty that carries the whole net from its standing place to its place beside the book."""
    found = build.unfolding
    item = bpy.data.objects.new(f"Net {found.base}", None)
    _place(build, item, build.empty, np.eye(4))
    item.empty_display_size = float(metres(1.0))
    item.hide_select = True
    item.rotation_mode = "AXIS_ANGLE"
    item.rotation_axis_angle = (found.angle, *(float(value) for value in found.axis))
    began = found.start[:3, :3] @ found.middle + found.start[:3, 3]
    ends = found.middle + _beside(build)
    for axis in range(3):
        _drive(build, item, ("location", axis), metres(np.array([began[axis], ends[axis]])))
    _drive(build, item, ("rotation_axis_angle", 0), np.array([found.angle, 0.0]))
    carried = translation_along(np.array([1.0, 0.0, 0.0]), np.zeros(1))[0]
    carried[:3, 3] = found.middle
    return _Hung(item, carried)


def _beside(build: _Build) -> Array:
    """Where the net's zero point comes to lie: left of all that the book sweeps over, its lowest edge at the foot."""
    panels = build.spread.panels
    bounds = [panels[name].outline.bounds for name in build.spread.piece(build.unfolding.piece).panels]
    right, low = max(bound[2] for bound in bounds), min(bound[1] for bound in bounds)
    swept_mm = 1000.0 * float(swept_corners(build.spread)[:, 0].min(initial=0.0))
    return np.array([swept_mm - _GAP_MM - right, -low, 0.0])


def _jointed(build: _Build, joint: Joint, parent: _Hung, depsgraph: bpy.types.Depsgraph) -> _Hung:
    """The copy of a panel that turns about a crease."""
    own = object_frame(build.spread.panels[joint.panel])
    off = own[:3, 3] - joint.point
    on_line = np.linalg.norm(off - joint.direction * (off @ joint.direction)) < 1e3 * _SAME
    along = float(own[:3, 0] @ joint.direction)
    if on_line and abs(abs(along) - 1.0) < _SAME:
        # The panel's own frame lies along the crease: it turns by itself.
        hung = _copy(build, joint.panel, _Hung(parent.item, parent.frame), depsgraph, own)
        _drive(build, hung.item, ("rotation_euler", 0), np.sign(along) * joint.turns)
        return hung
    item = bpy.data.objects.new(f"Net {joint.crease}", None)
    item.empty_display_size = float(metres(1.0))
    item.hide_select = True
    crease = frame(joint.point, joint.direction, np.cross([0.0, 0.0, 1.0], joint.direction))
    _place(build, item, parent.item, inverse(parent.frame) @ crease)
    _drive(build, item, ("rotation_euler", 0), joint.turns)
    return _copy(build, joint.panel, _Hung(item, crease), depsgraph)


def _copy(build: _Build, panel: str, parent: _Hung, depsgraph: bpy.types.Depsgraph, own: Array | None = None) -> _Hung:
    """An object that shows a panel, hung on another one as it lies on the net."""
    source = build.panels[panel]
    item = bpy.data.objects.new(f"Net {panel}", source.data)
    item[NET_PANEL_KEY] = panel
    item.color = source.color
    own = object_frame(build.spread.panels[panel]) if own is None else own
    _place(build, item, parent.item, inverse(parent.frame) @ own)
    _settle(build, item, source.evaluated_get(depsgraph))
    return _Hung(item, own)


def _settle(build: _Build, item: bpy.types.Object, source: bpy.types.Object) -> None:
    """What lies on other card is drawn a hair above it while it stands; on the net nothing lies on anything."""
    for drawn in source.modifiers:
        if isinstance(drawn, bpy.types.DisplaceModifier):
            modifier: Any = item.modifiers.new(drawn.name, "DISPLACE")
            modifier.direction, modifier.mid_level = drawn.direction, drawn.mid_level
            _drive(build, item, (f'modifiers["{drawn.name}"].strength', -1), np.array([drawn.strength, 0.0]))


def _place(build: _Build, item: bpy.types.Object, parent: bpy.types.Object, onto: Array) -> None:
    item.parent = parent
    item.matrix_parent_inverse = to_blender(onto)
    item.lock_location = item.lock_rotation = item.lock_scale = (True, True, True)
    build.collection.objects.link(item)


def _drive(build: _Build, item: bpy.types.Object, channel: tuple[str, int], amounts: Array) -> None:
    """Let the property that unfolds the net drive one channel; two amounts are its ends."""
    values = build.unfolding.steps if len(amounts) > 2 else np.array([0.0, 1.0])
    follow(item.driver_add(*channel), build.empty, UNFOLDED, Curve(values, amounts))
