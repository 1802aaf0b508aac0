"""Everything without a window: a description becomes a .blend that moves, stills and the opening film.

    python -m hingeleaf.batch SCENE.toml --blend F.blend --stills DIR --still-angles 0,45,90,135,180 --film F.mp4
    python -m hingeleaf.batch SCENE.toml --stills DIR --still-angles 150 --still-hand door=0,90,180

Needs Blender as a Python module, or runs inside ``blender --background``. Prints ``PROGRESS done total label`` lines.
"""

from __future__ import annotations

import argparse
import hashlib
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import bpy

from .channels import OPENING, hand_key
from .film import FilmPlan, Moment, Quality, make_film, make_stills, moments
from .geometry import Description, HingeleafError, Spread, assemble, read_description
from .geometry.model import Hand
from .geometry.sampling import hand_range
from .open_book import open_book
from .saving import save_blend

__all__ = ["main"]

_QUICK_PLAN = FilmPlan(hold_closed=12, turn=63, hold_open=24)
_LARGEST_PIXELS = 8192


@dataclass
class _Count:
    """Adds the steps of several jobs up into one progress."""

    total: int
    before: int = 0

    def show(self, done: int, _total: int, label: str) -> None:
        """Print how far the whole is."""
        print(f"PROGRESS {self.before + done} {self.total} {label}", flush=True)

    def step(self, steps: int) -> None:
        """A job of so many steps is finished."""
        self.before += steps


def main(words: list[str]) -> int:
    """Run the command line; returns the exit status."""
    given = _arguments(words)
    try:
        _run(given)
    except (HingeleafError, OSError, RuntimeError) as error:  # Blender's own refusals are RuntimeErrors
        print(error, file=sys.stderr)
        return 2
    return 0


def _run(given: argparse.Namespace) -> None:
    """Build, save, render."""
    plan = _QUICK_PLAN if given.quick else FilmPlan()
    quality = _quality(given)
    description = read_description(given.scene)
    spread = assemble(description)
    stills = _stills(spread, given.still_angles, given.still_hand) if given.stills else []
    hands = {hand.id: (hand.rest, hand.low, hand.high) for hand in spread.hands}
    pictures = len(moments(plan, (0.0, 180.0), hands)) + 1 if given.film else 0
    count = _Count(2 + len(stills) + pictures)
    count.show(0, 0, "spread")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    book = open_book(description, spread, bpy.context, size=quality.size)
    for warning in book.warnings:
        print(f"warning: {warning}", file=sys.stderr)
    count.step(1)
    count.show(0, 0, "Blender file")
    if given.blend:
        save_blend(given.blend)
    count.step(1)
    if given.stills:
        make_stills(book.root, stills, given.stills, quality, count.show)
        count.step(len(stills))
    if given.film:
        source = _fingerprint(description, spread)
        make_film(book.root, given.film, quality, count.show, plan=plan, source=source)
        count.step(pictures)
    count.show(0, 0, "done")


def _stills(spread: Spread, angles: Sequence[float], moves: Sequence[tuple[str, list[float]]]) -> list[Moment]:
    """What every still shows: one value for all of them, or one each, of the opening and of what hands move.

    Raises
    ------
    HingeleafError
        No hand moves something of that name, or not so far, or there are not as many values as stills.
    """
    hands = {hand.id: hand for hand in spread.hands}
    columns: dict[str, tuple[str, Sequence[float]]] = {"--still-angles": (OPENING, angles)}
    for name, values in moves:
        option = f"--still-hand {name}"
        if name not in hands:
            known = f"a hand moves {', '.join(hands)}" if hands else "a hand moves nothing in this spread"
            raise HingeleafError(f"{option}: no hand moves that; {known}")
        if option in columns:
            raise HingeleafError(f"{option}: it is moved twice; write all its values with commas")
        for value in values:
            _check_reach(spread, hands[name], value)
        columns[option] = hand_key(name), values
    count = max(len(values) for _, values in columns.values())
    for option, (_, column) in columns.items():
        if len(column) not in (1, count):
            raise HingeleafError(f"{option}: {len(column)} values for {count} stills; write one for all, or {count}")
    return [{key: column[number % len(column)] for key, column in columns.values()} for number in range(count)]


def _check_reach(spread: Spread, hand: Hand, value: float) -> None:
    """HingeleafError where a hand does not move so far, or a loop stops it before."""
    low, high = (hand.said(end) for end in hand_range(spread, hand))
    if not low - 1e-6 <= value <= high + 1e-6:
        reach = f"{hand.id} moves from {low:g} to {high:g} {hand.unit}"
        raise HingeleafError(f"--still-hand {hand.id}: {reach}, not to {value:g}")


def _quality(given: argparse.Namespace) -> Quality:
    """The asked size and samples, or those of a quick look."""
    size = given.size or ((640, 360) if given.quick else (1280, 720))
    samples = given.samples or (3 if given.quick else Quality.samples)
    return Quality(size=size, samples=samples, engine=given.engine)


def _fingerprint(description: Description, spread: Spread) -> str:
    """Says what is filmed: the description, its artwork, and how it is built."""
    digest = hashlib.sha256(description.text.encode())
    artwork = {path for piece in spread.pieces for path in (piece.art_front, piece.art_back) if path is not None}
    for file in [*map(Path, sorted(artwork)), *sorted(Path(__file__).parent.rglob("*.py"))]:
        digest.update(file.read_bytes() if file.is_file() else b"missing")
    return digest.hexdigest()


def _size(text: str) -> tuple[int, int]:
    """Read WIDTHxHEIGHT; H.264 wants even numbers."""
    try:
        width, height = (int(part) for part in text.lower().split("x"))
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is no size; write WIDTHxHEIGHT, such as 1280x720') from None
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


def _arguments(words: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="hingeleaf.batch", description="Build a spread in Blender and film it.")
    parser.add_argument("scene", type=Path, metavar="SCENE.toml")
    parser.add_argument("--blend", type=Path, help="write the Blender file here")
    parser.add_argument("--stills", type=Path, metavar="DIR", help="write stills into this folder")
    parser.add_argument("--still-angles", type=_angles, default=[0.0, 45.0, 90.0, 135.0, 180.0], help="degrees")
    about = "how far a hand has moved a flap or a wheel (degrees) or a pull-strip (mm), in all stills or one by one"
    parser.add_argument("--still-hand", type=_move, action="append", default=[], metavar="ID=VALUES", help=about)
    parser.add_argument("--film", type=Path, help="write the opening film (MP4) here")
    parser.add_argument("--size", type=_size, help="pixels, 1280x720 unless told")
    parser.add_argument("--samples", type=_samples, help=f"light paths a pixel, {Quality.samples} unless told")
    parser.add_argument("--engine", default="CYCLES", choices=("CYCLES", "BLENDER_WORKBENCH"))
    parser.add_argument("--quick", action="store_true", help="small, short and rough, for a first look")
    return parser.parse_args(words)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
