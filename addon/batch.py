"""Everything without a window: a description becomes a .blend that moves, stills, a film, or a file for a farm.

    python -m hingeleaf.batch SCENE.toml --blend F.blend --stills DIR --still-angles 0,45,90,135,180 --film F.mp4
    python -m hingeleaf.batch SCENE.toml --stills DIR --still-angles 150 --still-hand door=0,90,180
    python -m hingeleaf.batch BOOK.toml --preset book --size vertical --film F.webm --frames 1-120
    python -m hingeleaf.batch --join F.webm.frames --film F.webm

Needs Blender as a Python module, or runs inside ``blender --background``. Prints ``PROGRESS done total label`` lines.
"""

from __future__ import annotations

import argparse
import hashlib
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import bpy

from .channels import OPENING, hand_key
from .film import join_film, make_film, make_stills, save_for_farm
from .film_script import Quality, ShotScript
from .filming import Shot, plan_shot
from .filming_backgrounds import set_background
from .filming_subject import Subject, bound_subject, spread_subject
from .filming_words import arguments
from .geometry import HingeleafError, Spread, assemble, parse_description
from .geometry.binding import bind, is_book, parse_book, read_spreads
from .geometry.description.reader import read_text
from .geometry.model import Hand
from .geometry.sampling import hand_range
from .open_book import open_book, open_bound
from .saving import save_blend

__all__ = ["main"]

_QUICK_SECONDS = 2.6
_VIDEOS = (".mp4", ".webm")


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


@dataclass(frozen=True)
class _Built:
    """What was built: its root, what a film of it is of, its spreads, and what it was made from as a digest."""

    root: bpy.types.Object
    subject: Subject
    spreads: tuple[Spread, ...]
    source: str


def main(words: list[str]) -> int:
    """Run the command line; returns the exit status."""
    given = arguments(words)
    try:
        if given.join:
            join_film(given.join, given.film)
        else:
            _run(given)
    except (HingeleafError, OSError, RuntimeError) as error:  # Blender's own refusals are RuntimeErrors
        print(error, file=sys.stderr)
        return 2
    return 0


def _run(given: argparse.Namespace) -> None:
    """Build, save, render."""
    film, quality = _film_of(given), _quality(given)
    built = _build(given, quality.size)
    shot = _shot(given, built, quality.size)
    script = plan_shot(built.subject, shot) if film or given.farm else None
    stills = _stills_script(given, built, shot) if given.stills else None
    first, last = given.frames or (1, script.count if script else 1)
    pictures = last - first + 2 if film else 0
    count = _Count(1 + (stills.count if stills else 0) + pictures)
    count.show(0, 0, "Blender file")
    if given.blend:
        save_blend(given.blend)
    count.step(1)
    if stills:
        make_stills(built.root, given.stills, stills, quality, count.show)
        count.step(stills.count)
    if film and script:
        film.parent.mkdir(parents=True, exist_ok=True)
        make_film(built.root, film, script, quality, count.show, source=built.source, frames=given.frames)
        count.step(pictures)
    if given.farm and script:
        save_for_farm(built.root, given.farm, script, quality, source=built.source)
    count.show(0, 0, "done")


def _film_of(given: argparse.Namespace) -> Path | None:
    """Where the film goes, with the ending of its format; HingeleafError where words do not go together."""
    film: Path | None = given.film
    if film is not None and given.format is not None and film.suffix.lower() != given.format:
        film = film.with_suffix(given.format) if film.suffix.lower() in _VIDEOS else Path(f"{film}{given.format}")
    if given.preset == "STILLS" and (film or given.farm):
        raise HingeleafError("--preset stills: these are pictures and no film; say with --stills where they go")
    if given.background == "TRANSPARENT" and film is not None and film.suffix.lower() in _VIDEOS:
        raise HingeleafError(f"{film.name}: a transparent background needs a sequence of pictures; use --format png")
    return film


def _build(given: argparse.Namespace, size: tuple[int, int]) -> _Built:
    """Build a spread, or a bound book, in an empty file."""
    text = read_text(given.scene)
    covers: tuple[str | None, ...] = ()
    source, folder = given.scene.name, given.scene.resolve().parent
    if is_book(text):
        book = parse_book(text, source=source, folder=folder)
        descriptions, spreads = read_spreads(book)
        binding = bind(book, descriptions, spreads)
        bpy.ops.wm.read_factory_settings(use_empty=True)
        root = open_bound(book, bpy.context, size, warn=_warn)
        subject, covers = bound_subject(binding), (book.cover.art_front, book.cover.art_back)
    else:
        descriptions = (parse_description(text, source=source, folder=folder),)
        spreads = (assemble(descriptions[0]),)
        # What cannot be is said before anything is touched.
        _stills(spreads[0], given.still_angles, given.still_hand)
        bpy.ops.wm.read_factory_settings(use_empty=True)
        made = open_book(descriptions[0], spreads[0], bpy.context, size=size)
        for warning in made.warnings:
            _warn(warning)
        root, subject = made.root, spread_subject(spreads[0], made.root, made.depth_mm)
    if given.background:
        set_background(root.users_scene[0], root, given.background)
    texts = [text, *(description.text for description in descriptions), given.background or ""]
    return _Built(root, subject, tuple(spreads), _fingerprint(texts, spreads, covers))


def _warn(sentence: str) -> None:
    print(f"warning: {sentence}", file=sys.stderr)


def _shot(given: argparse.Namespace, built: _Built, size: tuple[int, int]) -> Shot:
    """What is asked of the film."""
    usual = "BOOK" if len(built.subject.rests) > 2 else "OPENING"
    seconds = given.seconds or (_QUICK_SECONDS if given.quick else Shot.seconds)
    return Shot(
        preset=given.preset or usual,
        size=size,
        seconds=seconds,
        lively=given.lively,
        f_stop=given.f_stop,
        follows=not given.still_camera,
    )


def _stills_script(given: argparse.Namespace, built: _Built, shot: Shot) -> ShotScript:
    """The set of stills, or of a spread those that are asked for one by one, through the studio's camera."""
    if given.preset == "STILLS" or built.subject.key != OPENING:
        return plan_shot(built.subject, replace(shot, preset="STILLS"))
    moments = _stills(built.spreads[0], given.still_angles, given.still_hand)
    names = [f"opening-{moment[OPENING]:03.0f}" for moment in moments]
    numbered = [
        f"{name}-{names[: number + 1].count(name)}" if names.count(name) > 1 else name
        for number, name in enumerate(names)
    ]
    values = {key: tuple(float(moment[key]) for moment in moments) for key in moments[0]}
    return ShotScript(shot.rate, values, None, tuple(numbered))


def _stills(
    spread: Spread, angles: Sequence[float], moves: Sequence[tuple[str, list[float]]]
) -> list[dict[str, float]]:
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


def _fingerprint(texts: Sequence[str], spreads: Sequence[Spread], covers: Sequence[str | None]) -> str:
    """Says what is filmed: the descriptions, their artwork, and how they are built."""
    digest = hashlib.sha256("\0".join(texts).encode())
    pieces = [piece for spread in spreads for piece in spread.pieces]
    named = [*covers, *(path for piece in pieces for path in (piece.art_front, piece.art_back))]
    artwork = {path for path in named if path is not None}
    for file in [*map(Path, sorted(artwork)), *sorted(Path(__file__).parent.rglob("*.py"))]:
        digest.update(file.read_bytes() if file.is_file() else b"missing")
    return digest.hexdigest()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
