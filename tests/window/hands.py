"""A person's mouse and keyboard, and what the screen shows; places are screen pixels from the top left."""

import os
import subprocess
import tempfile
from pathlib import Path

__all__ = [
    "FOLDER",
    "click",
    "color_at",
    "drag",
    "key",
    "move",
    "press",
    "release",
    "screen_size",
    "shot",
    "slide",
    "typed",
    "wheel",
]

#: Pictures of the screen go here; whoever starts Blender may name the folder.
FOLDER = Path(os.environ.get("WINDOW_DIR") or tempfile.mkdtemp(prefix="hingeleaf-window-"))


def _xdotool(*words):
    return subprocess.run(["xdotool", *map(str, words)], check=True, capture_output=True, text=True).stdout


def screen_size():
    """Width and height of the screen."""
    width, height = _xdotool("getdisplaygeometry").split()
    return int(width), int(height)


def move(place):
    """Put the pointer somewhere."""
    _xdotool("mousemove", *map(round, place))


def press(button=1):
    """Hold a mouse button down."""
    _xdotool("mousedown", button)


def release(button=1):
    """Let go of it."""
    _xdotool("mouseup", button)


def wheel(clicks):
    """Turn the wheel, down where positive."""
    _xdotool("click", "--repeat", abs(clicks), "--delay", 30, 5 if clicks > 0 else 4)


def click(place=None, *, times=1):
    """Press and let go of the left button, somewhere or where the pointer is; a step of a walk.

    The pointer comes first, so that the window knows what is under it when the button goes down.
    """
    if place is not None:
        move((place[0] - 2, place[1]))
        yield from _drawn()
        move(place)
        yield from _drawn()
    _xdotool("click", "--repeat", times, "--delay", 60, 1)
    yield from _drawn()


def drag(start, end, *, steps=6):
    """Press at one place, go to another, let go; a step of a walk."""
    move(start)
    yield from _drawn()
    press()
    yield from _drawn()
    for step in range(1, steps + 1):
        share = step / steps
        move([one + share * (two - one) for one, two in zip(start, end, strict=True)])
        yield from _drawn()
    release()
    yield from _drawn()


def slide(start, far, *, step=12):
    """Press at one place, pull sideways bit by bit, let go; for sliders, which hide the pointer meanwhile.

    Parameters
    ----------
    start : where to press
    far : pixels to the right, to the left where negative
    step : pixels at a time
    """
    move(start)
    yield from _drawn()
    press()
    yield from _drawn()
    for _ in range(0, abs(far), step):
        _xdotool("mousemove_relative", "--", step if far > 0 else -step, 0)
        yield
    yield from _drawn()
    release()
    yield from _drawn()


def key(*names, times=1):
    """Press keys by their X names, such as "n" or "ctrl+z"; the pointer says what gets them. A step of a walk."""
    for name in names:
        _xdotool("key", "--repeat", times, "--delay", 60, name)
        yield from _drawn()


def typed(text):
    """Type text; a step of a walk."""
    _xdotool("type", "--delay", 25, text)
    yield from _drawn()


def _drawn():
    for _ in range(4):
        yield


def shot(name):
    """Save what the screen shows as a picture."""
    subprocess.run(["import", "-window", "root", str(FOLDER / f"{name}.png")], check=True)


def color_at(place):
    """Red, green and blue of the screen about a place, 0 to 255."""
    x, y = (round(each) - 4 for each in place)
    words = ["import", "-window", "root", "-crop", f"9x9+{x}+{y}", "-depth", "8", "rgb:-"]
    pixels = subprocess.run(words, check=True, capture_output=True).stdout
    return tuple(sum(pixels[channel::3]) / len(pixels[channel::3]) for channel in range(3))
