"""Pace of the walk: it is a generator that gives Blender its window back at each yield, and never sleeps.

A window that a script holds up neither draws nor takes events, so all waiting is asking again at the next tick.
"""

import os
import sys
import time
import traceback

import bpy

__all__ = ["DONE", "PATIENCE_S", "beat", "expect", "say", "start", "until"]

#: Last line of a walk that went well.
DONE = "Window walk: done"
#: The machine may be slow and busy.
PATIENCE_S = 60.0
_TICK_S = 0.05
#: In so many ticks the window has taken events that were sent before, and has drawn.
_BEAT = 6


def say(text):
    """One line, at once."""
    print(f"Window walk: {text}", flush=True)


def expect(holds, message):
    """Stop the walk with a message where something does not hold."""
    if not holds:
        raise AssertionError(message)


def beat(ticks=_BEAT):
    """Let the window take events and draw."""
    for _ in range(ticks):
        yield


def until(what, condition, *, seconds=PATIENCE_S):
    """Wait until a condition holds; `what` says which, in case it never does. Returns what the condition returned."""
    end = time.monotonic() + seconds
    while not (found := condition()):
        expect(time.monotonic() < end, f"waited {seconds:.0f} s in vain: {what}")
        yield
    return found


def start(walk, picture):
    """Take the walk, a generator; the first thing that goes wrong ends Blender with exit status 1, after a picture."""

    def tick():
        went = False
        try:
            next(walk)
            went = True
        except StopIteration:
            went = True
            print(DONE, flush=True)
            bpy.app.timers.register(quit_blender, first_interval=_TICK_S)
            return None
        finally:
            if not went:
                traceback.print_exc()
                picture("stopped-here")
                sys.stdout.flush()
                sys.stderr.flush()
                os._exit(1)
        return _TICK_S

    # Loading a file ends every timer that is not persistent.
    bpy.app.timers.register(tick, first_interval=_TICK_S, persistent=True)


def quit_blender():
    """End it; what was saved is saved."""
    bpy.ops.wm.quit_blender()
