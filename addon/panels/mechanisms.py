"""The mechanisms of the book: add, choose, arrange; and the sizes of the active one."""

from typing import Any

import bpy

from ..books import active_book, is_linked
from ..design_properties import active_id
from ..geometry import HingeleafError
from ..geometry.design.showing import Shown
from ..operators.add_mechanism import KIND_ITEMS
from ..sizes import APART, active_spec, group_name, kind_label, label_of, shown_sizes
from .base import SidebarPanel, draw_text

__all__ = [
    "HINGELEAF_MT_add",
    "HINGELEAF_MT_arrange",
    "HINGELEAF_PT_mechanisms",
    "HINGELEAF_PT_sizes",
    "HINGELEAF_UL_mechanisms",
]

#: Kinds by what they stand on, as the Add menu has them.
_ON_FOLDS = ("v-fold", "tent", "slit-cut-in", "platform", "box", "accordion")
_ICONS = {
    "v-fold": "MOD_BEVEL", "tent": "LINCURVE", "slit-cut-in": "MOD_EDGESPLIT", "rider": "MESH_PLANE",
    "strap": "CONSTRAINT", "flap": "MOD_SIMPLIFY", "pull-strip": "ARROW_LEFTRIGHT", "wheel": "MESH_CIRCLE",
    "platform": "MOD_SOLIDIFY", "box": "MESH_CUBE", "layer": "RENDERLAYERS", "accordion": "MOD_ARRAY",
}  # fmt: skip
_PLACES = ("fold", "panel", "box", "from", "to", "drives")
_SIDES = ("left", "right")


class HINGELEAF_MT_add(bpy.types.Menu):
    """Everything that can be added to a book"""

    bl_idname = "HINGELEAF_MT_add"
    bl_label = "Hingeleaf"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout: Any = self.layout
        layout.operator_context = "INVOKE_DEFAULT"
        layout.operator("hingeleaf.new_book", icon="FILE_NEW")
        layout.separator()
        for kind, label, _ in KIND_ITEMS:
            if kind in _ON_FOLDS:
                layout.operator("hingeleaf.add_mechanism", text=label, icon=_ICONS[kind]).kind = kind
        layout.separator()
        for kind, label, _ in KIND_ITEMS:
            if kind not in _ON_FOLDS:
                layout.operator("hingeleaf.add_mechanism", text=label, icon=_ICONS[kind]).kind = kind


class HINGELEAF_MT_arrange(bpy.types.Menu):
    """What can be done with the active mechanism"""

    bl_idname = "HINGELEAF_MT_arrange"
    bl_label = "Arrange"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout: Any = self.layout
        layout.operator_context = "INVOKE_DEFAULT"
        layout.operator("hingeleaf.rename_mechanism", icon="GREASEPENCIL")
        layout.operator("hingeleaf.duplicate_mechanism", icon="DUPLICATE")
        layout.operator("hingeleaf.mirror_mechanism", icon="MOD_MIRROR")
        layout.operator("hingeleaf.rehost_mechanism", icon="SNAP_EDGE")
        layout.operator("hingeleaf.select_mechanism", text="Select with What Stands on It").which = "ABOVE"
        layout.separator()
        layout.operator("hingeleaf.delete_mechanism", icon="TRASH")


class HINGELEAF_UL_mechanisms(bpy.types.UIList):
    """The mechanisms of a book, each indented below what it stands on"""

    bl_idname = "HINGELEAF_UL_mechanisms"

    def draw_item(  # type: ignore[override]
        self,
        context: bpy.types.Context,
        layout: bpy.types.UILayout,
        data: object,
        item: bpy.types.PropertyGroup,
        icon: int,
        active_data: object,
        active_property: str,
        index: int = 0,
        flt_flag: int = 0,
    ) -> None:
        """Draw one line."""
        row: Any = layout.row(align=True)
        for _ in range(min(item.depth, 4)):  # type: ignore[attr-defined]
            row.label(text="", icon="BLANK1")
        row.label(text=item.name, icon=_ICONS.get(item.kind, "DOT"))  # type: ignore[attr-defined]


class HINGELEAF_PT_mechanisms(SidebarPanel, bpy.types.Panel):
    """What stands on the pages"""

    bl_label = "Mechanisms"
    bl_idname = "HINGELEAF_PT_mechanisms"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a book."""
        return active_book(context) is not None

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout: Any = self.layout
        root: Any = active_book(context)
        layout.menu("HINGELEAF_MT_add", text="Add", icon="ADD")
        if not root.hingeleaf.entries:
            draw_text(layout, context, "Choose a kind under Add, point at a fold in the viewport and click")
            return
        row = layout.row()
        row.template_list("HINGELEAF_UL_mechanisms", "", root.hingeleaf, "entries", root.hingeleaf, "index", rows=4)
        column = row.column(align=True)
        column.operator("hingeleaf.delete_mechanism", text="", icon="REMOVE")
        column.menu("HINGELEAF_MT_arrange", text="", icon="DOWNARROW_HLT")
        column.separator()
        column.operator("hingeleaf.move_mechanism", text="", icon="TRIA_UP").by = -1
        column.operator("hingeleaf.move_mechanism", text="", icon="TRIA_DOWN").by = 1


class HINGELEAF_PT_sizes(SidebarPanel, bpy.types.Panel):
    """The sizes of the active mechanism, in millimeters and degrees"""

    bl_label = "Sizes"
    bl_idname = "HINGELEAF_PT_sizes"
    bl_parent_id = "HINGELEAF_PT_mechanisms"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a mechanism is active."""
        root = active_book(context)
        return root is not None and bool(active_id(root))

    def draw(self, context: bpy.types.Context) -> None:
        """Draw it."""
        layout: Any = self.layout
        root: Any = active_book(context)
        moment: Any = context.window_manager.hingeleaf  # type: ignore[attr-defined]
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.enabled = not is_linked(root)
        try:
            spec = active_spec(root)
            shown = {} if spec is None else shown_sizes(root, spec.id)
        except HingeleafError as error:
            draw_text(layout, context, str(error), icon="ERROR")
            return
        if spec is None:
            return
        if moment.refusal:
            draw_text(layout.box(), context, moment.refusal, icon="ERROR")
        hosts = ", ".join(str(spec.values[key]) for key in _PLACES if key in spec.values)
        row = layout.row()
        row.label(text=f"{kind_label(spec.kind)} on {hosts}", icon=_ICONS.get(spec.kind, "DOT"))
        row.prop(moment, "handles", text="", icon="GIZMO", toggle=True)
        sizes = getattr(root.hingeleaf, group_name(spec.kind))
        column = layout.column()
        for key, item in shown.items():
            if not key.endswith(tuple(f"_{side}" for side in _SIDES)) or not item.field.sided:
                _draw_size(column, sizes, key, item, shown)


def _draw_size(column: Any, sizes: Any, key: str, item: Shown, shown: dict[str, Shown]) -> None:
    """One size; of one with sides a switch that shows them apart."""
    if not hasattr(sizes, key):
        return
    if not item.field.sided:
        _draw_row(column, sizes, key, item)
        return
    apart = f"{key}{APART}"
    if not getattr(sizes, apart):
        row = _draw_row(column, sizes, key, item)
        row.prop(sizes, apart, text="", icon="UNLINKED", emboss=False)
        return
    for number, side in enumerate(_SIDES):
        label = f"{label_of(key)} {side[0].upper()}"
        row = _draw_row(column, sizes, f"{key}_{side}", shown[f"{key}_{side}"], label)
        if number == 0:
            row.prop(sizes, apart, text="", icon="LINKED", emboss=False)
        else:
            row.label(text="", icon="BLANK1")


def _draw_row(column: Any, sizes: Any, key: str, item: Shown, label: str | None = None) -> Any:
    row = column.row(align=True)
    field = row.row(align=True)
    # What nobody has given is shown as it came out, a little dimmer.
    field.active = item.given or item.field.default is None
    if item.field.type == "name" and key == "stock":
        field.prop(sizes, key, text="Card")
    else:
        field.prop(sizes, key, text=label)
    if item.given and item.field.default is not None and key != "stock":
        row.operator("hingeleaf.reset_size", text="", icon="LOOP_BACK", emboss=False).key = key
    elif not item.field.sided:
        row.label(text="", icon="BLANK1")
    return row
