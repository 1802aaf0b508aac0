"""Take hold of a size in the viewport and pull; the book follows, and one undo takes the whole pull back."""

from typing import TYPE_CHECKING

import bpy
from bpy.props import FloatProperty, StringProperty

from ..books import active_book, find_object
from ..designing import change_book, change_sizes, finish_change, is_changing, read_design
from ..geometry import HingeleafError
from ..geometry.changes import spec_of
from ..geometry.design.handles import values_for
from ..presenting import redraw
from ..projecting import viewport_at
from ..pulling import Pull
from ..reporting import sentence, show_refusal
from ..sizes import label_of
from .base import Outcome, ReportingOperator
from .pick_base import no_book

__all__ = ["HINGELEAF_OT_drag_size"]

_HELP = "Ctrl: whole steps    Shift: finely    Esc: as it was"
_FINE = 0.1


class HINGELEAF_OT_drag_size(ReportingOperator, bpy.types.Operator):
    """Drag to change this size; Ctrl for whole millimeters or degrees, Shift for fine steps"""

    bl_idname = "hingeleaf.drag_size"
    bl_label = "Change Size"
    bl_options = {"REGISTER", "UNDO", "BLOCKING"}

    if TYPE_CHECKING:
        mechanism: str
        handle: str
        value: float
    else:
        mechanism: StringProperty(name="Mechanism", description="Whose size it is", options={"HIDDEN"})
        handle: StringProperty(name="Size", description="The key of the size", options={"HIDDEN"})
        value: FloatProperty(name="Value", description="Millimeters or degrees", precision=2)

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a book that can be changed."""
        return not no_book(cls, context)

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        """Which size it is."""
        name = label_of(properties.handle.replace(".", " "))  # type: ignore[attr-defined]
        return f"{name}: drag to change it; Ctrl for whole steps, Shift for fine ones"

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Take hold."""
        root = active_book(context)
        if root is None:
            return {"CANCELLED"}
        try:
            finish_change(context, root)
            self.pull = Pull(root, self.mechanism, self.handle)
        except HingeleafError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        self.before = read_design(root)
        self.wished = self.pull.value
        self.pointed: float | None = None
        context.window_manager.modal_handler_add(self)
        self._say(context)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Follow the pointer."""
        root = find_object(self.pull.root_name)
        if root is None:
            return {"CANCELLED"}
        if event.type == "MOUSEMOVE":
            self._move(context, root, event)
        elif event.type in ("ESC", "RIGHTMOUSE") and event.value == "PRESS":
            change_book(context, root, self.before)
            self._end(context)
            return {"CANCELLED"}
        elif event.type in ("LEFTMOUSE", "RET", "NUMPAD_ENTER") and event.value == "RELEASE":
            return self._release(context, root)
        return {"RUNNING_MODAL"}

    def _move(self, context: bpy.types.Context, root: bpy.types.Object, event: bpy.types.Event) -> None:
        viewport = viewport_at(context, event)
        if viewport is None:
            return
        pointed = self.pull.wish(root, viewport)
        # What counts is how far the pointer goes: it seldom takes hold exactly in the middle of the handle.
        if self.pointed is not None:
            self.wished += (pointed - self.pointed) * (_FINE if event.shift else 1.0)
        self.pointed = pointed
        self.pull.set(context, root, round(self.wished, 0 if event.ctrl else 2 if event.shift else 1))
        self._say(context)
        redraw(context)

    def _release(self, context: bpy.types.Context, root: bpy.types.Object) -> Outcome:
        self._end(context)
        self.value = self.pull.value
        if self.pull.value == self.pull.start:
            if is_changing(root):
                change_book(context, root, self.before)
            return {"CANCELLED"}
        try:
            finish_change(context, root, own_step=False)
        except HingeleafError as error:
            change_book(context, root, self.before)
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        show_refusal(context, "")
        return {"FINISHED"}

    def _say(self, context: bpy.types.Context) -> None:
        unit = "°" if self.pull.handle.unit == "deg" else " mm"
        name = label_of(self.handle.replace(".", " "))
        text = f"{name}: {self.pull.value:.2f}{unit}"
        if self.pull.refusal:
            text = f"{text}    not {self.wished:g}{unit}: {self.pull.refusal}"
        if context.area is not None:
            context.area.header_text_set(text)
        if context.workspace is not None:
            context.workspace.status_text_set(_HELP)

    def _end(self, context: bpy.types.Context) -> None:
        if context.area is not None:
            context.area.header_text_set(None)
        if context.workspace is not None:
            context.workspace.status_text_set(None)
        redraw(context)

    def run(self, context: bpy.types.Context) -> None:
        """Set the size to the value, as from the panel below the viewport."""
        root = self.book(context)
        pull = Pull(root, self.mechanism, self.handle)
        spec = spec_of(read_design(root), self.mechanism)
        change_sizes(context, root, self.mechanism, values_for(spec, pull.handle, self.value))
        finish_change(context, root, own_step=False)
