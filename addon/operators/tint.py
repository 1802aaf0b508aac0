"""Tint the panels of the book."""

from typing import TYPE_CHECKING

import bpy
from bpy.props import EnumProperty

from ..designing import spread_of
from ..geometry import HingeleafError
from ..tinting import TINTS, choose_tint
from .base import BookOperator

__all__ = ["HINGELEAF_OT_tint"]


class HINGELEAF_OT_tint(BookOperator, bpy.types.Operator):
    """Color the panels in solid viewports by what one wants to see; artwork stays as it is"""

    bl_idname = "hingeleaf.tint"
    bl_label = "Tint Panels"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        by: str
    else:
        by: EnumProperty(name="Tint", description="What the colors of the panels show", items=TINTS, default="PIECE")

    def run(self, context: bpy.types.Context) -> None:
        """Tint, or show card and artwork again."""
        root = self.book(context)
        if self.by == "FINDING" and context.scene.hingeleaf.book != root:  # type: ignore[attr-defined]
            raise HingeleafError(f"{root.name} has not been checked: use Check Book first")
        choose_tint(context, root, spread_of(root), self.by)
