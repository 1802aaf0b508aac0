"""Findings as symbols at the place: color and shape say how bad each is, a click goes there."""

from __future__ import annotations

from typing import Any

import bpy
from mathutils import Matrix

from ..found import is_stale, shown_check, symbols_in
from ..overlays import DIMMED, SYMBOL_PX, severity_color

__all__ = ["HINGELEAF_GGT_findings"]

#: A cross, a triangle and an i, as in the list of findings.
_ICONS = {"error": "CANCEL", "warning": "ERROR", "note": "INFO"}
_OPACITY = 0.9


class HINGELEAF_GGT_findings(bpy.types.GizmoGroup):
    """Symbols of what the check found"""

    bl_idname = "HINGELEAF_GGT_findings"
    bl_label = "Findings"
    bl_space_type = "VIEW_3D"
    bl_region_type = "WINDOW"
    bl_options = {"PERSISTENT", "SCALE"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is something to show."""
        space: Any = context.space_data
        return bool(space.overlay.show_overlays) and shown_check(context) is not None

    def setup(self, context: bpy.types.Context) -> None:
        """Make the symbols."""
        self.refresh(context)

    def refresh(self, context: bpy.types.Context) -> None:
        """Make as many symbols as there are findings, each with its look."""
        check = shown_check(context)
        findings = [] if check is None else list(check.findings)
        while len(self.gizmos) < len(findings):
            symbol: Any = self.gizmos.new("GIZMO_GT_button_2d")
            symbol.draw_options = {"BACKDROP", "OUTLINE"}
            symbol.use_tooltip = True
            symbol.target_set_operator("hingeleaf.show_finding").index = len(self.gizmos) - 1
        for symbol, finding in zip(self.gizmos, findings, strict=False):
            symbol.icon = _ICONS[finding.severity]

    def draw_prepare(self, context: bpy.types.Context) -> None:
        """Put each where its place is seen now; what is out of date is dimmed."""
        scale = context.preferences.system.ui_scale
        placed = {symbol.index: symbol for symbol in symbols_in(context, SYMBOL_PX * scale)}
        check = shown_check(context)
        alpha = DIMMED if check is not None and is_stale(check) else _OPACITY
        for index, gizmo in enumerate(self.gizmos):
            gizmo.hide = index not in placed
            if index in placed:
                x, y = placed[index].place
                gizmo.matrix_basis = Matrix.Translation((float(x), float(y), 0.0))
                gizmo.scale_basis = 0.5 * SYMBOL_PX
                gizmo.color = gizmo.color_highlight = severity_color(placed[index].severity)[:3]
                gizmo.alpha, gizmo.alpha_highlight = alpha, 1.0
