"""What operators share that work step by step while Blender goes on."""

from collections.abc import Generator
from typing import Any

import bpy

from ..geometry import HingeleafError
from ..reporting import sentence
from .base import Outcome, ReportingOperator

__all__ = ["SteppingOperator"]


class SteppingOperator(ReportingOperator):
    """Does a step whenever a timer fires, and says how far it is; Esc stops it."""

    #: How long Blender has for itself between two steps, seconds.
    tick_s: float = 0.01
    #: What is reported, and returned, where a person has stopped it.
    stopped: tuple[str, Outcome] = ("Stopped", {"CANCELLED"})

    def say(self, context: bpy.types.Context, step: Any) -> None:
        """Show how far it is, by what the last step gave; None at the end."""
        raise NotImplementedError

    def stop(self, context: bpy.types.Context) -> Outcome:
        """What is done, after it has ended, where a person has stopped it."""
        said, outcome = self.stopped
        self.report({"INFO"}, said)
        return outcome

    def begin(self, context: bpy.types.Context, steps: Generator[Any, None, None]) -> Outcome:
        """Do the steps from now on."""
        self.steps = steps
        self.timer = context.window_manager.event_timer_add(self.tick_s, window=context.window)
        context.window_manager.modal_handler_add(self)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Do the next step; an error of the core ends it, and is reported."""
        if event.type == "ESC" and event.value == "PRESS":
            self.cancel(context)
            return self.stop(context)
        if event.type != "TIMER":
            return {"PASS_THROUGH"}
        try:
            step = next(self.steps)
        except StopIteration:
            self.cancel(context)
            return {"FINISHED"}
        except HingeleafError as error:
            self.cancel(context)
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        self.say(context, step)
        return {"RUNNING_MODAL"}

    def cancel(self, context: bpy.types.Context) -> None:
        """End it, wherever it is; Blender calls this too, as when a file is loaded."""
        self.steps.close()
        context.window_manager.event_timer_remove(self.timer)
        self.say(context, None)
