"""Picking an edge of a model, on its nets or on the model itself: both sides of it are drawn, and what a click does.

Nothing of Blender's is kept from one event to the next but names: an undo would leave references to nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from .books import find_object
from .convert import metres
from .geometry import HingeleafError
from .geometry.transforms import Array
from .geometry.unfold.cutting import with_edge_cut, with_edge_joined
from .geometry.unfold.data import CUT, KEEP, Ints
from .marking import HOVERED, REFUSED, begin_drawing, draw_label, draw_lines, end_drawing
from .model_lines import lines_of
from .model_state import is_model, iterate_nets, model_of, placed_by, wishes_of
from .model_wishes import Choice, Model
from .projecting import Viewport
from .reporting import sentence

__all__ = ["EdgePicker", "changed_at", "words_of"]

#: An edge is under the pointer within so many pixels; edges that are as near within this are told apart by depth.
_NEAR_PX, _SAME_PX = 14.0, 3.0


def changed_at(model: Model, root: bpy.types.Object, edge: int) -> tuple[Model, Choice]:
    """The model with a fold cut, or a cut joined.

    Parameters
    ----------
    model : as it is
    root : the empty of its nets
    edge : number of the edge

    Raises
    ------
    HingeleafError
        That cannot be done there.
    """
    unfolded = model.unfolded
    if not 0 <= edge < len(unfolded.facets.edges):
        raise HingeleafError(
            f"There is no edge {edge}: the edges are numbered from 0 to {len(unfolded.facets.edges) - 1}"
        )
    if unfolded.facets.sides[edge, 1] < 0:
        raise HingeleafError("This edge is a rim: there is no card beyond it to join")
    folded = edge in model.folds
    changed = with_edge_cut(unfolded, edge) if folded else with_edge_joined(unfolded, edge)
    return model.with_unfolded(changed, wishes_of(root)), model.choice(edge, CUT if folded else KEEP)


def words_of(model: Model, edge: int) -> str:
    """What an edge is: a fold or a cut, its label, and how far the card bends there."""
    facets = model.unfolded.facets
    if facets.sides[edge, 1] < 0:
        return "Rim: nothing is glued here"
    bend = float(np.degrees(facets.bends[edge]))
    way = "flat" if abs(bend) < 0.05 else f"{abs(bend):.1f}° {'mountain' if bend > 0 else 'valley'}"
    if edge in model.folds:
        return f"Fold, {way}. Click to cut"
    label = next((join.label for join in model.joins if join.edge == edge), "")
    return f"Cut {label}, {way}. Click to join"


@dataclass(frozen=True)
class _Lines:
    """Lines in the world, (n, 2, 3) float, metres, and the edge that each is."""

    ends: Array
    edges: Ints


class EdgePicker:
    """Says what edge of a model the pointer is on, and draws it.

    Parameters
    ----------
    context : of the window
    root : the empty of the nets
    """

    def __init__(self, context: bpy.types.Context, root: bpy.types.Object) -> None:
        self.root_name = root.name
        self.hover = -1
        self._words, self._refusal = "", ""
        self._shown: list[Vector] = []
        self._pointer: tuple[float, float] = (0.0, 0.0)
        self._region = 0
        model_of(context, root)
        self._handlers = begin_drawing(self._draw_view, self._draw_pixels)

    def close(self) -> None:
        """Draw nothing any more."""
        end_drawing(self._handlers)

    @property
    def root(self) -> bpy.types.Object | None:
        """The empty of the nets; None where it is no more."""
        found = find_object(self.root_name)
        return found if is_model(found) else None

    def move(self, context: bpy.types.Context, viewport: Viewport | None) -> None:
        """Find out what the pointer is on."""
        self.hover, self._shown, self._refusal = -1, [], ""
        root = self.root
        if viewport is None or root is None:
            self._region = 0
            return
        self._pointer, self._region = viewport.pointer, viewport.region.as_pointer()
        try:
            model = model_of(context, root)
        except HingeleafError as error:
            self._refusal = sentence(error)
            return
        lines = _lines(context, root, model)
        self.hover = _nearest(viewport, lines)
        if self.hover >= 0:
            self._words = words_of(model, self.hover)
            self._shown = [Vector(end) for end in lines.ends[lines.edges == self.hover].reshape(-1, 3).tolist()]

    def refuse(self, text: str) -> None:
        """Say why a click did nothing."""
        self._refusal = text

    def _draw_view(self) -> None:
        draw_lines(self._shown, REFUSED if self._refusal else HOVERED, 6.0)

    def _draw_pixels(self) -> None:
        region: Any = bpy.context.region
        if region is None or region.as_pointer() != self._region or not (self.hover >= 0 or self._refusal):
            return
        refused = bool(self._refusal)
        draw_label(
            self._pointer, self._refusal or self._words, REFUSED if refused else HOVERED, "×" if refused else "+"
        )


def _lines(context: bpy.types.Context, root: bpy.types.Object, model: Model) -> _Lines:
    """All edges where they are seen: on the nets, and on the model."""
    found = [
        (lines.ends[lines.edges >= 0], lines.edges[lines.edges >= 0])
        for item in iterate_nets(root)
        if item.visible_get()
        for lines in [lines_of(context, item)]
    ]
    facets = model.unfolded.facets
    onto = placed_by(root)
    if onto is not None:
        ends = metres(facets.vertices[facets.edges]) / model.scale
        found.append((ends @ onto[:3, :3].T + onto[:3, 3], np.arange(len(facets.edges))))
    if not found:
        return _Lines(np.zeros((0, 2, 3)), np.zeros(0, dtype=np.int64))
    return _Lines(np.concatenate([ends for ends, _ in found]), np.concatenate([edges for _, edges in found]))


def _nearest(viewport: Viewport, lines: _Lines) -> int:
    """The edge that is nearest to the pointer, of those that are as near the one nearest to the viewer; -1 for none."""
    if not len(lines.edges):
        return -1
    region = viewport.region
    seen = np.concatenate([lines.ends, np.ones((*lines.ends.shape[:2], 1))], axis=2)
    clip = seen @ np.array(viewport.view.perspective_matrix, dtype=float).T
    w = clip[..., 3]
    before = (w > 1e-9).all(axis=1)
    pixels = (clip[..., :2] / np.where(w > 1e-9, w, 1.0)[..., None] + 1.0) / 2.0 * [region.width, region.height]
    start, along = pixels[:, 0], pixels[:, 1] - pixels[:, 0]
    away = np.array(viewport.pointer) - start
    square = np.maximum((along**2).sum(axis=1), 1e-9)
    part = np.clip((away * along).sum(axis=1) / square, 0.0, 1.0)
    distance = np.where(before, np.linalg.norm(away - part[:, None] * along, axis=1), np.inf)
    depth = w[:, 0] + part * (w[:, 1] - w[:, 0])
    least = distance.min()
    if least > _NEAR_PX:
        return -1
    near = np.flatnonzero(distance <= least + _SAME_PX)
    # In an orthographic view w is the same everywhere: there the projected depth decides.
    third = clip[:, :, 2].mean(axis=1) if np.ptp(w) < 1e-9 else depth
    return int(lines.edges[near[np.argmin(third[near])]])
