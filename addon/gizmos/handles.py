"""Handles on the active mechanism: a double arrow for each length, a ball for each angle, to be pulled."""

from __future__ import annotations

from typing import Any

import bpy

from ..books import is_hidden_in_book, is_linked, root_of
from ..design_properties import active_id
from ..geometry import HingeleafError
from ..marking import FREE, HOVERED
from ..picking import is_picking
from ..pulling import handle_places
from .shapes import ANGLE_SHAPE, LENGTH_SHAPE

__all__ = ["HINGELEAF_GGT_handles", "HINGELEAF_GT_handle"]

_OPERATOR = "hingeleaf.drag_size"
#: Sizes that are mostly left alone have no handle of their own; the sidebar has them all.
_QUIET = ("tab_width", "apex_cut", "link_tab", "guide_width")


class HINGELEAF_GT_handle(bpy.types.Gizmo):
    """One handle; what it does is an operator, so that a pull is one step of undo"""

    bl_idname = "HINGELEAF_GT_handle"

    def setup(self) -> None:
        """Make the shapes."""
        self.shapes = {
            "mm": self.new_custom_shape("TRIS", LENGTH_SHAPE),
            "deg": self.new_custom_shape("TRIS", ANGLE_SHAPE),
        }
        self.unit = "mm"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        self.draw_custom_shape(self.shapes[self.unit])

    def draw_select(self, context: bpy.types.Context, select_id: int) -> None:  # type: ignore[override]
        """Draw it for the pointer to be found on."""
        self.draw_custom_shape(self.shapes[self.unit], select_id=select_id)


class HINGELEAF_GGT_handles(bpy.types.GizmoGroup):
    """Arrows that change the sizes of the active mechanism"""

    bl_idname = "HINGELEAF_GGT_handles"
    bl_label = "Size Handles"
    bl_space_type = "VIEW_3D"
    bl_region_type = "WINDOW"
    bl_options = {"3D", "PERSISTENT", "SHOW_MODAL_ALL"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a mechanism is selected that can be changed."""
        moment: Any = context.window_manager.hingeleaf  # type: ignore[attr-defined]
        item = context.view_layer.objects.active
        if not moment.handles or is_picking() or context.mode != "OBJECT" or item is None or not item.select_get():
            return False
        root = root_of(item)
        if root is None or is_linked(root) or is_hidden_in_book(root):
            return False
        return bool(active_id(root))

    def setup(self, context: bpy.types.Context) -> None:
        """Handles are made as they are needed."""
        self.shown: dict[str, Any] = {}

    def refresh(self, context: bpy.types.Context) -> None:
        """Put the handles where the sizes are now."""
        self._place(context)

    def draw_prepare(self, context: bpy.types.Context) -> None:
        """Follow the opening."""
        self._place(context)

    def _place(self, context: bpy.types.Context) -> None:
        root = root_of(context.view_layer.objects.active)
        mechanism = "" if root is None else active_id(root)
        places = {}
        if root is not None and mechanism:
            try:
                places = handle_places(root, mechanism)
            except HingeleafError:
                places = {}
        places = {name: found for name, found in places.items() if not name.startswith(_QUIET)}
        for name, gizmo in self.shown.items():
            gizmo.hide = name not in places
        for name, (handle, place, way) in places.items():
            gizmo = self.shown.get(name)
            if gizmo is None:
                gizmo = self.shown[name] = self._new()
            if not gizmo.is_modal:
                target = gizmo.target_set_operator(_OPERATOR)
                target.mechanism, target.handle = mechanism, name
            matrix = way.to_track_quat("Z", "Y").to_matrix().to_4x4()
            matrix.translation = place
            gizmo.unit = handle.unit
            gizmo.matrix_basis = matrix

    def _new(self) -> Any:
        gizmo: Any = self.gizmos.new(HINGELEAF_GT_handle.bl_idname)
        gizmo.color, gizmo.alpha = FREE[:3], 0.9
        gizmo.color_highlight, gizmo.alpha_highlight = HOVERED[:3], 1.0
        gizmo.scale_basis = 0.75
        gizmo.use_draw_modal = True
        return gizmo
