"""What operators share that ask for a fold or a panel in the viewport."""

from __future__ import annotations

import bpy

from ..books import active_book, is_linked, text_of
from ..geometry import HingeleafError
from ..picking import Hover, Picker
from ..presenting import redraw
from ..projecting import viewport_at
from ..reporting import sentence
from .base import Outcome, ReportingOperator

__all__ = ["PickingOperator", "no_book", "stop_picking"]

#: The pointer has to rest so long before what it is on is tried out, seconds.
_REST_S = 0.15
_HELP = "Click to place    Tab: other side of the fold    Esc: cancel"


class PickingOperator(ReportingOperator):
    """Asks for a fold or a panel, then runs; what it was told at once, as by a script, it does not ask for."""

    # Of the class, but no ClassVar: `typing` would cache it, and so hold Blender's types until after the end of Blender
    # 4.5, whose process then never ends.
    _picker: Picker | None = None
    _timer: bpy.types.Timer | None = None
    _moved: bool = False

    def new_picker(self, context: bpy.types.Context) -> Picker:
        """What can be picked; HingeleafError where nothing can."""
        raise NotImplementedError

    def is_told(self) -> bool:
        """Whether there is nothing left to ask for."""
        raise NotImplementedError

    def take(self, hover: Hover) -> None:
        """Put what was picked into the operator's properties."""
        raise NotImplementedError

    def forget(self) -> None:
        """Take out again what was picked."""
        raise NotImplementedError

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask, in whatever 3D viewport the pointer is."""
        if self.is_told():
            return self.execute(context)
        stop_picking(context)
        try:
            PickingOperator._picker = self.new_picker(context)
        except HingeleafError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        self.asking = PickingOperator._picker
        manager = context.window_manager
        PickingOperator._timer = manager.event_timer_add(_REST_S, window=context.window)
        manager.modal_handler_add(self)
        context.workspace.status_text_set(f"{self.bl_label}: {_HELP}")
        redraw(context)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Follow the pointer until something is picked."""
        picker = PickingOperator._picker
        if picker is None or self.asking is not picker:
            # Another one has begun to ask.
            return {"CANCELLED"}
        undone = event.type == "Z" and (event.ctrl or event.oskey)
        if (event.type in ("ESC", "RIGHTMOUSE") and event.value == "PRESS") or undone or self._is_over(context, picker):
            stop_picking(context)
            return {"CANCELLED"}
        if event.type == "MOUSEMOVE":
            PickingOperator._moved = True
            picker.move(viewport_at(context, event))
            redraw(context)
        elif event.type == "TIMER" and not PickingOperator._moved and picker.hover is not None:
            picker.refusal(thorough=True)
            redraw(context)
        elif event.type == "TIMER":
            PickingOperator._moved = False
        elif event.type == "TAB" and event.value == "PRESS":
            picker.other_side()
            picker.move(viewport_at(context, event))
            redraw(context)
            return {"RUNNING_MODAL"}
        elif event.type == "LEFTMOUSE" and event.value == "PRESS":
            return self._click(context, event, picker)
        return {"PASS_THROUGH"}

    def _is_over(self, context: bpy.types.Context, picker: Picker) -> bool:
        """Whether the book is gone, was changed meanwhile, or another one is active now."""
        root = picker.root
        return root is None or root != active_book(context) or text_of(root) != picker.text

    def cancel(self, context: bpy.types.Context) -> None:
        """Blender ends it, as when a file is loaded."""
        stop_picking(context)

    def _click(self, context: bpy.types.Context, event: bpy.types.Event, picker: Picker) -> Outcome:
        viewport = viewport_at(context, event)
        if viewport is None:
            return {"PASS_THROUGH"}
        picker.move(viewport)
        if picker.hover is None:
            self.report({"INFO"}, "Nothing to build on is under the pointer; click a colored line")
            return {"RUNNING_MODAL"}
        reason = picker.refusal(thorough=False)
        if reason:
            self.report({"WARNING"}, f"{picker.said()}: {reason}")
            return {"RUNNING_MODAL"}
        self.take(picker.hover)
        if not self.is_told():
            redraw(context)
            return {"RUNNING_MODAL"}
        try:
            done = self.execute(context)
        except Exception:
            # Whatever it is, nothing must stay drawn in the viewport.
            stop_picking(context)
            raise
        if "FINISHED" not in done:
            # The reason has been said; another place may do.
            self.forget()
            return {"RUNNING_MODAL"}
        stop_picking(context)
        return done


def stop_picking(context: bpy.types.Context) -> None:
    """End whatever is being asked for."""
    if PickingOperator._picker is not None:
        PickingOperator._picker.close()
        PickingOperator._picker = None
    if PickingOperator._timer is not None:
        context.window_manager.event_timer_remove(PickingOperator._timer)
        PickingOperator._timer = None
    if context.workspace is not None:
        context.workspace.status_text_set(None)
    redraw(context)


def no_book(cls: type[bpy.types.Operator], context: bpy.types.Context) -> bool:
    """Whether there is no book that could be changed; then the operator's poll message says so."""
    root = active_book(context)
    if root is None:
        cls.poll_message_set("Make a new book or open a description first")
        return True
    if is_linked(root):
        cls.poll_message_set(
            "This book is linked from another file: press Make Book Local in the Book panel to change it"
        )
        return True
    if context.mode != "OBJECT":
        cls.poll_message_set("Leave Edit Mode first")
        return True
    return False
