"""Add a mechanism: choose a kind, point at a fold or a panel, click."""

from typing import TYPE_CHECKING

import bpy
from bpy.props import EnumProperty, FloatProperty, FloatVectorProperty, StringProperty

from ..books import active_book
from ..design_properties import activate
from ..designing import change_book, design_of
from ..geometry import HingeleafError
from ..geometry.design.offering import ADDED, TARGETS, Target, offers
from ..geometry.design.placing import can_carry, place
from ..picking import Hover, Picker
from ..sizes import kind_label
from .pick_base import PickingOperator, no_book

__all__ = ["KIND_ITEMS", "HINGELEAF_OT_add_mechanism"]

_MEANINGS = {
    "v-fold": "Two panels that meet at a crease, glued across a fold from one apex",
    "tent": "Two panels that meet at a ridge parallel to the fold",
    "slit-cut-in": "Two slits across a fold, and the strip between them folded the other way",
    "rider": "A flat piece glued on one panel, or across a fold",
    "strap": "A link between two panels that share no fold",
    "flap": "A panel hinged on another one, opened by hand",
    "pull-strip": "A strip that a hand pulls",
    "wheel": "A disc that a hand turns behind its panel",
    "platform": "A layer that stays parallel to the pages, on supports",
    "box": "Four walls that rise as a box",
    "layer": "A wall of scenery inside a box",
    "accordion": "Several panels in zigzag over a fold",
}
KIND_ITEMS = [(kind, kind_label(kind), _MEANINGS.get(kind, "")) for kind in ADDED]


class HINGELEAF_OT_add_mechanism(PickingOperator, bpy.types.Operator):
    """Point at a fold or a panel and click: the mechanism stands there with sizes that close flat and fit"""

    bl_idname = "hingeleaf.add_mechanism"
    bl_label = "Add Mechanism"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        kind: str
        fold: str
        side: str
        at: float
        panel: str
        point: tuple[float, float]
        second: str
    else:
        kind: EnumProperty(name="Kind", description="What to add", items=KIND_ITEMS, options={"SKIP_SAVE"})
        fold: StringProperty(name="Fold", description="The fold that carries it", options={"SKIP_SAVE"})
        side: StringProperty(name="Side", description="Side of that fold", options={"SKIP_SAVE"})
        at: FloatProperty(name="At (mm)", description="Where along the fold", options={"SKIP_SAVE"})
        panel: StringProperty(name="Panel", description="The panel that carries it", options={"SKIP_SAVE"})
        point: FloatVectorProperty(
            name="Place (mm)", description="Where on the panel's net", size=2, options={"SKIP_SAVE"}
        )
        second: StringProperty(name="To", description="The panel on which a strap ends", options={"SKIP_SAVE"})

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        """What this kind is, and how it is placed."""
        kind = properties.kind  # type: ignore[attr-defined]
        return f"{_MEANINGS[kind]}. Point at what is to carry it and click"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a book to build on."""
        return not no_book(cls, context)

    def is_told(self) -> bool:
        """A strap needs two panels, everything else one fold or panel."""
        if TARGETS[self.kind] == "panels":
            return bool(self.panel and self.second)
        return bool(self.fold or self.panel)

    def new_picker(self, context: bpy.types.Context) -> Picker:
        """The folds or panels of the active book."""
        root = self.book(context)
        description, spread = design_of(root)
        known = offers(spread, description, self.kind)
        if self.kind == "rider":
            known = (*known, *offers(spread, description, self.kind, on="fold"))

        def try_out(hover: Hover) -> str:
            if TARGETS[self.kind] == "panels":
                return ""
            return can_carry(description, spread, self.kind, hover.offer.target)

        return Picker(root, spread, known, try_out)

    def take(self, hover: Hover) -> None:
        """Remember what was clicked."""
        target = hover.offer.target
        if target.panel is not None and self.panel and TARGETS[self.kind] == "panels":
            self.second = target.panel
            return
        self.fold, self.side, self.panel = target.fold or "", target.side or "", target.panel or ""
        self.at, self.point = hover.at_mm, hover.point_mm

    def forget(self) -> None:
        """Ask anew."""
        self.fold = self.side = self.panel = self.second = ""

    def run(self, context: bpy.types.Context) -> None:
        """Place it and build."""
        root = active_book(context)
        if root is None or not self.is_told():
            raise HingeleafError("Name the fold or the panel that is to carry it")
        description, spread = design_of(root)
        target = Target(self.fold or None, self.side or None, self.panel or None)
        placed = place(
            description,
            spread,
            self.kind,
            target,
            at_mm=self.at if self.fold else None,
            point_mm=(self.point[0], self.point[1]) if self.panel else None,
            second=Target(panel=self.second) if self.second else None,
        )
        change_book(context, root, placed.description)
        activate(context, root, placed.mechanism_id)
        for note in placed.notes:
            self.report({"WARNING"}, note)

    def draw(self, context: bpy.types.Context) -> None:
        """Draw what can be changed afterwards."""
        layout = self.layout
        layout.use_property_split = True
        layout.prop(self, "kind")
        if self.fold:
            for name in ("fold", "side", "at"):
                layout.prop(self, name)
        else:
            for name in ("panel", "point", *(("second",) if self.second else ())):
                layout.prop(self, name)
