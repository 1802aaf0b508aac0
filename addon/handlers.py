"""What happens by itself: after a file was loaded, and after an undo or a redo."""

from __future__ import annotations

from collections.abc import Callable

import bpy
from bpy.app.handlers import persistent

from .assets import after_update, mark_seen, stop_watching
from .books import all_books_anywhere
from .designing import finish_soon, forget_steps, is_between_steps, is_changing, read_design, stop_finishing
from .geometry import HingeleafError
from .listing import list_mechanisms
from .reporting import show_refusal
from .watching import forget_files, start_looking, stop_looking

__all__ = ["register_handlers", "unregister_handlers"]

#: How long Blender takes at most to say all of an undo, seconds; until then none is asked for.
_STEP_S = 0.05


@persistent  # type: ignore[untyped-decorator]
def _after_load(*_: object) -> None:
    """Forget what was shown of another file; give books of an earlier version their list of mechanisms."""
    moment = bpy.context.window_manager.hingeleaf  # type: ignore[attr-defined]
    moment.check_share, moment.refusal = -1.0, ""
    mark_seen()
    forget_files(altogether=True)
    forget_steps()
    for root in all_books_anywhere():
        design = root.hingeleaf  # type: ignore[attr-defined]
        if len(design.entries) == 0:
            try:
                list_mechanisms(root, read_design(root))
            except HingeleafError:
                # The sidebar says what is wrong with it.
                continue
        if is_changing(root):
            finish_soon()


@persistent  # type: ignore[untyped-decorator]
def _after_undo(*_: object) -> None:
    """What was refused is no more, and what was half built when the step was made is undone with it, or built now."""
    _after_step(_undo_on)


@persistent  # type: ignore[untyped-decorator]
def _after_redo(*_: object) -> None:
    """The same of a redo."""
    _after_step(_redo_on)


def _after_step(go_on: Callable[[], None]) -> None:
    show_refusal(bpy.context, "")
    forget_files()
    _stop_waiting()
    if is_between_steps():
        stop_finishing()
        bpy.app.timers.register(go_on, first_interval=_STEP_S)
    elif any(is_changing(root) for root in all_books_anywhere()):
        finish_soon()


def _undo_on() -> None:
    if not is_between_steps():
        return
    if bpy.ops.ed.undo.poll():  # type: ignore[call-arg]
        bpy.ops.ed.undo()
    else:
        # No older step is kept: there is nothing more to undo, and the whole is the step after.
        _redo_on()


def _redo_on() -> None:
    if not is_between_steps():
        return
    if bpy.ops.ed.redo.poll():  # type: ignore[call-arg]
        bpy.ops.ed.redo()
    else:
        finish_soon()


def _stop_waiting() -> None:
    """Ask for no undo or redo that was to come."""
    for waiting in (_undo_on, _redo_on):
        if bpy.app.timers.is_registered(waiting):
            bpy.app.timers.unregister(waiting)


@persistent  # type: ignore[untyped-decorator]
def _after_update(*_: object) -> None:
    """A mechanism may have been dropped into the scene."""
    after_update()


_HANDLERS = (
    ("load_post", _after_load),
    ("undo_post", _after_undo),
    ("redo_post", _after_redo),
    ("depsgraph_update_post", _after_update),
)


def register_handlers() -> None:
    """Begin to listen; and look at the file that is open already."""
    for name, handler in _HANDLERS:
        getattr(bpy.app.handlers, name).append(handler)
    bpy.app.timers.register(_look_now, first_interval=0.0)
    start_looking()


def _look_now() -> None:
    """While extensions are enabled, the open file cannot be looked at yet."""
    _after_load()


def unregister_handlers() -> None:
    """Listen no more."""
    stop_watching()
    stop_looking()
    _stop_waiting()
    for name, handler in _HANDLERS:
        listening = getattr(bpy.app.handlers, name)
        if handler in listening:
            listening.remove(handler)
    if bpy.app.timers.is_registered(_look_now):
        bpy.app.timers.unregister(_look_now)
