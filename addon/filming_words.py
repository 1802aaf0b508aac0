"""The words of the command line that builds and films a book."""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable
from pathlib import Path

from .film_script import Quality
from .filming import PRESETS, SIZES
from .filming_backgrounds import BACKGROUNDS

__all__ = ["arguments"]

_LARGEST_PIXELS = 8192
_ENGINES = {"draft": "BLENDER_WORKBENCH", "preview": "EEVEE", "final": "CYCLES"}


def _said(name: str) -> str:
    """A name of ours as one writes it in a command."""
    return name.lower().replace("_", "-")


def _choice(names: dict[str, str], what: str) -> Callable[[str], str]:
    """Reads one of several names, however it is written."""

    def read(text: str) -> str:
        found = {**names, **{_said(name): name for name in names.values()}}.get(_said(text))
        if found is None:
            raise argparse.ArgumentTypeError(f'"{text}" is no {what}; write {", ".join(names)}')
        return found

    return read


def _frames(text: str) -> tuple[int, int]:
    """Read FIRST-LAST, or one frame."""
    first, _, last = text.partition("-")
    if not first.isdecimal() or not (last or first).isdecimal() or not 1 <= int(first) <= int(last or first):
        raise argparse.ArgumentTypeError(f'"{text}" is no range of frames; write FIRST-LAST, such as 1-120')
    return int(first), int(last or first)


def _between(low: float, high: float, what: str) -> Callable[[str], float]:
    """Reads a number within limits."""

    def read(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not low <= value <= high:
            raise argparse.ArgumentTypeError(f'"{text}" is no {what}; write a number from {low:g} to {high:g}')
        return value

    return read


def _size(text: str) -> tuple[int, int]:
    """Read WIDTHxHEIGHT, or the name of a size; H.264 wants even numbers."""
    named = SIZES.get(text.upper().replace("-", "_"))
    if named is not None:
        return named[1]
    try:
        width, height = (int(part) for part in text.lower().split("x"))
    except ValueError:
        names = ", ".join(_said(name) for name in SIZES)
        message = f'"{text}" is no size; write WIDTHxHEIGHT, such as 1280x720, or {names}'
        raise argparse.ArgumentTypeError(message) from None
    if not all(16 <= side <= _LARGEST_PIXELS and side % 2 == 0 for side in (width, height)):
        raise argparse.ArgumentTypeError(f'"{text}": write even numbers from 16 to {_LARGEST_PIXELS}')
    return width, height


def _angles(text: str) -> list[float]:
    """Read openings in degrees, separated by commas."""
    try:
        values = [float(part) for part in text.split(",")]
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is no list of openings; write degrees such as 0,90,180') from None
    if not all(0.0 <= value <= 180.0 for value in values):
        raise argparse.ArgumentTypeError(f'"{text}": openings lie between 0 and 180 degrees')
    return values


def _move(text: str) -> tuple[str, list[float]]:
    """Read ID=VALUE,VALUE,...: how far a hand has moved something."""
    name, _, numbers = text.partition("=")
    try:
        values = [float(part) for part in numbers.split(",")]
    except ValueError:
        values = []
    if not name or not values or not all(map(math.isfinite, values)):
        raise argparse.ArgumentTypeError(f'"{text}" moves nothing; write ID=VALUE, or ID=VALUE,VALUE,... one a still')
    return name, values


def _samples(text: str) -> int:
    """Read a number of samples."""
    if not text.isdecimal() or not 1 <= int(text) <= 4096:
        raise argparse.ArgumentTypeError(f'"{text}" is no number of samples; write 1 to 4096')
    return int(text)


def arguments(words: list[str]) -> argparse.Namespace:
    """Read the command line."""
    about = "Build a spread or a book in Blender and film it."
    parser = argparse.ArgumentParser(prog="hingeleaf.batch", description=about)
    parser.add_argument("scene", type=Path, nargs="?", metavar="SCENE.toml", help="a spread, or a book of several")
    parser.add_argument("--blend", type=Path, help="write the Blender file here")
    parser.add_argument("--stills", type=Path, metavar="DIR", help="write stills into this folder")
    parser.add_argument("--still-angles", type=_angles, default=[0.0, 45.0, 90.0, 135.0, 180.0], help="degrees")
    about = "how far a hand has moved a flap or a wheel (degrees) or a pull-strip (mm), in all stills or one by one"
    parser.add_argument("--still-hand", type=_move, action="append", default=[], metavar="ID=VALUES", help=about)
    about = "write the film here: .mp4 (H.264), .webm (VP9), or a folder for a sequence of pictures"
    parser.add_argument("--film", type=Path, help=about)
    _add_shot(parser)
    parser.add_argument("--frames", type=_frames, metavar="FIRST-LAST", help="render only these, to be joined later")
    about = "put frames together that were rendered apart, in one folder or several"
    parser.add_argument("--join", type=Path, nargs="+", metavar="FRAMES", help=about)
    parser.add_argument("--farm", type=Path, metavar="F.blend", help="write a file that any render farm takes")
    given = parser.parse_args(words)
    if (given.scene is None) == (given.join is None):
        parser.error("write the file of a spread or a book, or --join with a folder of frames and --film")
    if given.join and not given.film:
        parser.error("--join: say with --film where the film goes")
    return given


def _add_shot(parser: argparse.ArgumentParser) -> None:
    """What is filmed, and how."""
    presets = {_said(name): name for name, _, _ in PRESETS}
    backgrounds = {_said(name): name for name in BACKGROUNDS}
    formats = {"mp4": ".mp4", "webm": ".webm", "png": ""}
    about = f"{', '.join(presets)}; unless told, an opening, of a book the whole"
    parser.add_argument("--preset", type=_choice(presets, "preset"), metavar="NAME", help=about)
    about = f"WIDTHxHEIGHT in pixels, or {', '.join(_said(name) for name in SIZES)}; 1280x720 unless told"
    parser.add_argument("--size", type=_size, help=about)
    parser.add_argument("--samples", type=_samples, help=f"light paths a pixel, {Quality.samples} unless told")
    engine = _choice(_ENGINES, "engine")
    parser.add_argument("--engine", type=engine, default="CYCLES", metavar="NAME", help=f"{', '.join(_ENGINES)}")
    about = "mp4, webm or png; unless told, by the film's name"
    parser.add_argument("--format", type=_choice(formats, "format"), metavar="NAME", help=about)
    about = "what the book stands before: " + ", ".join(backgrounds)
    parser.add_argument("--background", type=_choice(backgrounds, "background"), metavar="NAME", help=about)
    seconds = _between(0.05, 60.0, "time in seconds")
    parser.add_argument("--seconds", type=seconds, help="what one turn of the hand takes, 3.5 unless told")
    f_stop = _between(0.1, 128.0, "f-stop")
    parser.add_argument("--f-stop", type=f_stop, default=0.0, help="depth of field; all is sharp unless told")
    parser.add_argument("--lively", action="store_true", help="card lags a little, and springs back at the end")
    parser.add_argument("--still-camera", action="store_true", help="the camera stays where the studio has it")
    parser.add_argument("--quick", action="store_true", help="small, short and rough, for a first look")
