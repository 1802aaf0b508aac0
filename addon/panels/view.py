"""What is seen of the book: tints, findings, sizes, and the net of a piece."""

from typing import Any

import bpy

from ..books import active_book
from ..designing import mechanism_of
from ..flat_net import UNFOLDED, net_of, piece_of
from ..panel_objects import PIECE_KEY
from ..tinting import TINTS, legend_of, tint_of
from .base import SidebarPanel, draw_text
from .swatches import swatch

__all__ = ["HINGELEAF_PT_view"]


class HINGELEAF_PT_view(SidebarPanel, bpy.types.Panel):
    """What is seen of the book"""

    bl_label = "View"
    bl_idname = "HINGELEAF_PT_view"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a book."""
        return active_book(context) is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout: Any = self.layout
        root = active_book(context)
        if root is None:
            return
        _draw_tint(layout, root)
        check = context.scene.hingeleaf  # type: ignore[attr-defined]
        layout.prop(check, "show_findings")
        shown = check.show_dimensions
        text = "Hide Dimensions" if shown else "Show Dimensions"
        layout.operator("hingeleaf.show_dimensions", text=text, icon="DRIVER_DISTANCE", depress=shown)
        if shown and not mechanism_of(context.active_object):
            draw_text(layout, context, "Select a panel of a mechanism to see its sizes", icon="INFO")
        _draw_net(layout, root, context.active_object)


def _draw_tint(layout: Any, root: bpy.types.Object) -> None:
    """The choice of tints, and what the colors mean."""
    label = next((label for name, label, _ in TINTS if name == tint_of(root)), "None")
    row = layout.split(factor=0.3)
    row.label(text="Tint")
    row.operator_menu_enum("hingeleaf.tint", "by", text=label, icon="COLOR")
    column = layout.column(align=True)
    for line in legend_of(root):
        column.label(text=line.meaning, icon_value=swatch(line.color))


def _draw_net(layout: Any, root: bpy.types.Object, active: bpy.types.Object | None) -> None:
    """The button of the net, and while it lies there how far it is unfolded."""
    net = net_of(root)
    piece = "" if active is None else active.get(PIECE_KEY, "")
    hides = net is not None and piece in ("", piece_of(net))
    text = "Hide Net" if hides else "Show Net"
    layout.operator("hingeleaf.show_net", text=text, icon="MOD_UVPROJECT", depress=hides)
    if net is not None:
        column = layout.column(align=True)
        column.prop(net, f'["{UNFOLDED}"]', text=net.name.removeprefix("Net: "), slider=True)
        column.operator("hingeleaf.keyframe_unfolding", icon="KEYTYPE_KEYFRAME_VEC")
