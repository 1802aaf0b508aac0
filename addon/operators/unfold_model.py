"""Lay the nets of a model beside it, lay them anew, fold them over time, take them away, and mark edges for it."""

from typing import TYPE_CHECKING, Any

import bmesh
import bpy
from bpy.props import BoolProperty, EnumProperty

from ..geometry import HingeleafError
from ..model_gathering import KINDS
from ..model_marks import AVOIDED
from ..model_preview import keyframe_folding, remove_model
from ..model_state import (
    choices_of,
    is_model,
    meant_model,
    refuse_linked,
    remember_choices,
    sources_of,
    wishes_group,
)
from ..model_updating import gather_again, lay_nets, renew
from ..model_writing_back import write_seams
from ..presenting import make_active, redraw
from .base import ReportingOperator

__all__ = ["CLASSES", "ModelOperator"]


_WAYS = (("FOLD", "Fold", "From flat nets to the model"), ("UNFOLD", "Unfold", "From the model to flat nets"))


def _is_source(item: bpy.types.Object) -> bool:
    """Whether an object can have faces, or makes instances of what has."""
    return item.type in KINDS or item.instance_type == "COLLECTION"


class ModelOperator(ReportingOperator):
    """Works on the nets of the meant model."""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there are nets of a model."""
        if meant_model(context) is None:
            cls.poll_message_set("Select a model and press Unfold Model first")
            return False
        return True

    def root(self, context: bpy.types.Context) -> bpy.types.Object:
        """The empty of the nets that are meant."""
        root = meant_model(context)
        if root is None:
            raise HingeleafError("There are no nets of a model: select a model and press Unfold Model first")
        refuse_linked(root)
        return root


class HINGELEAF_OT_unfold_model(ReportingOperator, bpy.types.Operator):
    """Lay the nets of the selected objects beside them, as card that is cut, folded and glued"""

    bl_idname = "hingeleaf.unfold_model"
    bl_label = "Unfold Model"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether anything is selected that can have faces."""
        if context.mode not in ("OBJECT", "EDIT_MESH"):
            cls.poll_message_set("Go to Object Mode first")
            return False
        if not any(_is_source(item) for item in _selected(context)):
            cls.poll_message_set("Select a mesh, curve, text or metaball, or an instance of a collection, first")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Unfold, and lay the nets."""
        sources = [item for item in _selected(context) if _is_source(item)]
        active = context.view_layer.objects.active
        sources.sort(key=lambda item: item != active)
        root = lay_nets(context, sources)
        if context.mode == "OBJECT":
            make_active(context, root)
        redraw(context)
        self.report({"INFO"}, wishes_group(root).figures)


def _selected(context: bpy.types.Context) -> list[bpy.types.Object]:
    """The selected objects that belong to no nets."""
    items = context.selected_objects or [item for item in (context.view_layer.objects.active,) if item is not None]
    return [item for item in items if not _in_nets(item)]


def _in_nets(item: bpy.types.Object) -> bool:
    return is_model(item) or is_model(item.parent)


class HINGELEAF_OT_refresh_model(ModelOperator, bpy.types.Operator):
    """Take the model as it is now, and lay its nets anew"""

    bl_idname = "hingeleaf.refresh_model"
    bl_label = "Refresh"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context: bpy.types.Context) -> None:
        """Gather and lay."""
        root = self.root(context)
        gather_again(context, root)
        redraw(context)
        self.report({"INFO"}, wishes_group(root).figures)


class HINGELEAF_OT_remove_model_nets(ModelOperator, bpy.types.Operator):
    """Take the nets of the model away; the model stays"""

    bl_idname = "hingeleaf.remove_model_nets"
    bl_label = "Remove Nets"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context: bpy.types.Context) -> None:
        """Remove them, and select the model again."""
        root = self.root(context)
        sources = [item for item in sources_of(root) if item.name in context.view_layer.objects]
        remove_model(root)
        if sources and context.mode == "OBJECT":
            make_active(context, sources[0])


class HINGELEAF_OT_forget_choices(ModelOperator, bpy.types.Operator):
    """Forget which edges were cut and joined by hand, and find the best cuts anew"""

    bl_idname = "hingeleaf.forget_choices"
    bl_label = "Forget Choices"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there are any."""
        if not super().poll(context):
            return False
        root = meant_model(context)
        if root is None or not choices_of(root):
            cls.poll_message_set("No edge was cut or joined by hand")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Forget them, and lay the nets anew."""
        root = self.root(context)
        before = choices_of(root)
        remember_choices(root, ())
        try:
            renew(context, root)
        except HingeleafError:
            remember_choices(root, before)
            raise
        redraw(context)


class HINGELEAF_OT_write_seams(ModelOperator, bpy.types.Operator):
    """Mark the cuts of the nets as seams of the model's mesh, so that they stay with it"""

    bl_idname = "hingeleaf.write_seams"
    bl_label = "Cuts to Seams"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        every: bool
    else:
        every: BoolProperty(
            name="All Cuts", description="All cuts, not only those that were chosen by hand", default=False
        )

    def run(self, context: bpy.types.Context) -> None:
        """Mark them."""
        marked, left = write_seams(context, self.root(context), every=self.every)
        if left:
            self.report({"WARNING"}, f"{left} edges were made by modifiers or instances and cannot be marked")
        self.report({"INFO"}, f"Marked {marked} edges")


class HINGELEAF_OT_keyframe_model(ModelOperator, bpy.types.Operator):
    """Let the nets fold to the model, or unfold, from the current frame on, within 60 frames"""

    bl_idname = "hingeleaf.keyframe_model"
    bl_label = "Keyframe Folding"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        way: str
    else:
        way: EnumProperty(
            name="Way",
            description="Which way it goes",
            items=(
                ("FOLD", "Fold", "From flat nets to the model"),
                ("UNFOLD", "Unfold", "From the model to flat nets"),
            ),
        )

    def run(self, context: bpy.types.Context) -> None:
        """Set two keyframes."""
        first = context.scene.frame_current
        last = keyframe_folding(self.root(context), first, fold=self.way == "FOLD")
        self.report({"INFO"}, f"It goes from frame {first} to {last}")


class HINGELEAF_OT_avoid_edges(ReportingOperator, bpy.types.Operator):
    """Flag the selected edges: a model is better not cut there when it is unfolded"""

    bl_idname = "hingeleaf.avoid_edges"
    bl_label = "Avoid Cutting"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        clear: bool
    else:
        clear: BoolProperty(name="Clear", description="Take the flag off again", default=False)

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a mesh is edited."""
        if context.mode != "EDIT_MESH":
            cls.poll_message_set("Edit a mesh and select edges first")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Set or clear the flags."""
        flagged = 0
        for item in context.objects_in_mode:
            if isinstance(item.data, bpy.types.Mesh):
                flagged += _flag(item.data, not self.clear)
        if not flagged:
            raise HingeleafError("No edge is selected: select the edges that are meant")


def _flag(mesh: bpy.types.Mesh, value: bool) -> int:
    """Flag the selected edges of a mesh in Edit Mode; returns how many."""
    edited: Any = bmesh.from_edit_mesh(mesh)
    layer = edited.edges.layers.bool.get(AVOIDED) or edited.edges.layers.bool.new(AVOIDED)
    chosen = [edge for edge in edited.edges if edge.select and not edge.hide]
    for edge in chosen:
        edge[layer] = value
    bmesh.update_edit_mesh(mesh, loop_triangles=False, destructive=False)
    return len(chosen)


CLASSES = (
    HINGELEAF_OT_unfold_model,
    HINGELEAF_OT_refresh_model,
    HINGELEAF_OT_remove_model_nets,
    HINGELEAF_OT_forget_choices,
    HINGELEAF_OT_write_seams,
    HINGELEAF_OT_keyframe_model,
    HINGELEAF_OT_avoid_edges,
)
