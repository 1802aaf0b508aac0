"""Shots of a book: what it does before the camera, and what the camera does, as a script."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from .film_script import CameraTrack, ShotScript
from .filming_camera import Flight, follow, smoothed
from .filming_motion import Timeline, reached
from .filming_subject import Subject
from .framing import View
from .geometry.transforms import Array

__all__ = ["PRESETS", "SIZES", "Shot", "plan_shot", "plan_stills"]

#: Presets of films: name, label, what it is.
PRESETS = (
    ("OPENING", "Opening", "The book opens, then hands move what they can"),
    ("LOOK_AROUND", "Look Around", "A slow look round the open book"),
    ("BOOK", "Whole Book", "Turned through from cover to cover, with a pause at every spread"),
    ("TEASER", "Looping Teaser", "Opens and closes; the last frame meets the first"),
    ("STILLS", "Stills", "Pictures: closed, half open, every spread open, and details from three places"),
)
#: Sizes of pictures, by name: label, width and height.
SIZES = {
    "HD": ("HD", (1280, 720)),
    "FULL_HD": ("Full HD", (1920, 1080)),
    "SQUARE": ("Square", (1080, 1080)),
    "VERTICAL": ("Vertical", (1080, 1920)),
}

#: A picture that is higher than wide looks down more steeply, so that pages fill more of it.
_STEEPER_DEG = 14.0
#: How much of a half picture stays free on every side.
_MARGIN = 0.10
_CLOSER_MARGIN = 0.05


@dataclass(frozen=True)
class Shot:
    """What is asked of a film.

    Parameters
    ----------
    preset : one of PRESETS
    size : of the picture, pixels
    seconds : what one turn of a hand takes; for a look around, all of it
    rate : frames a second
    lively : whether the card lags a little and springs back at the end
    f_stop : of the camera; 0 where all is sharp
    follows : whether the camera moves with the book; else it is the scene's, as it stands
    """

    preset: str = "OPENING"
    size: tuple[int, int] = (1280, 720)
    seconds: float = 3.5
    rate: int = 24
    lively: bool = False
    f_stop: float = 0.0
    follows: bool = True


def plan_shot(subject: Subject, shot: Shot) -> ShotScript:
    """The script of a film.

    Parameters
    ----------
    subject : what is filmed
    shot : what is asked for; STILLS gives one named frame a picture

    Returns
    -------
    ShotScript
    """
    if shot.preset == "STILLS":
        return plan_stills(subject, shot)
    line = Timeline(shot.rate, _rest(subject, subject.rests[0]))
    _MOVES[shot.preset](subject, shot, line)
    loop = shot.preset == "TEASER"
    moved = [subject.key] if shot.lively and shot.preset != "LOOK_AROUND" else []
    values = line.values(lively=moved, loop=loop)
    camera = _fly(subject, shot, values, loop) if shot.follows else None
    plain = {key: tuple(np.round(column, 6).tolist()) for key, column in values.items()}
    return ShotScript(shot.rate, plain, camera, (), loop)


def _rest(subject: Subject, place: float) -> dict[str, float]:
    """Every property while the book rests somewhere."""
    return {subject.key: place, **{key: rest for key, (rest, _, _) in subject.hands.items()}}


def _opening(subject: Subject, shot: Shot, line: Timeline) -> None:
    """Open, and let each hand move there and back, to both ends where it rests between them."""
    line.hold(0.5)
    line.move(subject.key, subject.rests[1], shot.seconds)
    for key, (rest, low, high) in subject.hands.items():
        for end in (high, low):
            if end != rest:
                line.hold(0.25)
                line.move(key, end, 1.25)
                line.move(key, rest, 1.25)
    line.hold(1.0)


def _look_around(subject: Subject, shot: Shot, line: Timeline) -> None:
    """Stay open."""
    line.now[subject.key] = subject.rests[1]
    line.hold(max(0.1, shot.seconds * 2.0))


def _whole_book(subject: Subject, shot: Shot, line: Timeline) -> None:
    """Turn every leaf, closed at both ends; a single spread opens and closes."""
    line.hold(0.8)
    rests = subject.rests[1:] if len(subject.rests) > 2 else (subject.rests[1], subject.rests[0])
    for place in rests:
        line.move(subject.key, place, shot.seconds)
        line.hold(1.2 if place != rests[-1] else 0.8)


def _teaser(subject: Subject, shot: Shot, line: Timeline) -> None:
    """There and back again, with a breath at both ends."""
    line.hold(0.3)
    inner = subject.rests[1:-1] or subject.rests[1:]
    for place in inner:
        line.move(subject.key, place, shot.seconds * 0.8)
        line.hold(0.6)
    line.move(subject.key, subject.rests[0], shot.seconds * (0.8 if len(inner) == 1 else 1.2))
    line.hold(0.3)


_MOVES: dict[str, Callable[[Subject, Shot, Timeline], None]] = {
    "OPENING": _opening,
    "LOOK_AROUND": _look_around,
    "BOOK": _whole_book,
    "TEASER": _teaser,
}


def _fly(subject: Subject, shot: Shot, values: dict[str, Array], loop: bool) -> CameraTrack:
    """Where from the camera looks at every frame: down on a closed book, lower and from the side on a standing one."""
    count = len(values[subject.key])
    time = np.arange(count) / (count if loop else max(1, count - 1))
    if shot.preset == "LOOK_AROUND":
        turns = -34.0 + 68.0 * reached(time)
        elevations = 33.0 - 8.0 * np.sin(np.pi * reached(time))
    elif loop:
        turns = 13.0 * np.sin(2.0 * np.pi * time)
        elevations = 39.0 + 7.0 * np.cos(2.0 * np.pi * time)
    else:
        opened = np.interp(values[subject.key], *_openness(subject))
        turns = -7.0 + 21.0 * (3.0 * time**2 - 2.0 * time**3)
        elevations = 47.0 - 12.0 * _gently(opened, shot.rate)
    flight = Flight(elevations + _steeper(shot), turns, _view(shot), shot.rate, shot.f_stop, loop)
    return follow(flight, subject.corners(values))


def _openness(subject: Subject) -> tuple[tuple[float, ...], list[float]]:
    """How open the book is at each of its rests: 0 closed, 1 at a spread."""
    last = 0.0 if len(subject.rests) > 2 else 1.0
    return subject.rests, [0.0, *[1.0] * (len(subject.rests) - 2), last]


def _gently(values: Array, rate: int) -> Array:
    """Values without anything sudden: a second and a half of them at a time."""
    return smoothed(smoothed(values, rate * 3 // 4, False), rate * 3 // 4, False)


def _steeper(shot: Shot) -> float:
    return _STEEPER_DEG * min(1.0, max(0.0, shot.size[1] / shot.size[0] - 0.6))


def _view(shot: Shot, margin: float = _MARGIN) -> View:
    return View(aspect=shot.size[0] / shot.size[1], margin=margin)


@dataclass(frozen=True)
class _Still:
    """One picture: the book's place, where from, and whether only what stands in it is to fill the picture."""

    name: str
    place: float
    elevation_deg: float
    turn_deg: float
    detail: bool = False


def plan_stills(subject: Subject, shot: Shot) -> ShotScript:
    """The set of stills: closed, half open, open at every spread, and details of what stands highest.

    Returns
    -------
    ShotScript with a name a frame
    """
    rests = subject.rests
    spreads = rests[1:-1] or rests[1:]
    half = rests[0] + 0.62 * (rests[1] - rests[0])
    stills = [_Still("closed", rests[0], 47.0, -7.0), _Still("half-open", half, 33.0, 16.0)]
    for number, place in enumerate(spreads, start=1):
        name = f"spread-{number}" if len(rests) > 2 else "open"
        stills.append(_Still(name, place, 36.0, 11.0))
        stills += [
            _Still(f"{name}-detail-{count}", place, height, turn, True)
            for count, (height, turn) in enumerate(((17.0, -33.0), (24.0, 38.0), (48.0, 0.0)), start=1)
        ]
    if len(rests) > 2:
        stills.append(_Still("back", rests[-1], 47.0, 7.0))
    columns = [_rest(subject, still.place) for still in stills]
    values = {key: np.array([column[key] for column in columns]) for key in columns[0]}
    tracks = [_frame_still(subject, shot, still, values, number) for number, still in enumerate(stills)]
    camera = None
    if shot.follows:
        camera = replace(
            tracks[0],
            places=tuple(track.places[0] for track in tracks),
            turns=tuple(track.turns[0] for track in tracks),
            focus_m=tuple(track.focus_m[0] for track in tracks),
        )
    plain = {key: tuple(column.tolist()) for key, column in values.items()}
    return ShotScript(shot.rate, plain, camera, tuple(still.name for still in stills))


def _frame_still(subject: Subject, shot: Shot, still: _Still, values: dict[str, Array], number: int) -> CameraTrack:
    """The camera of one still."""
    corners = subject.corners({key: column[number : number + 1] for key, column in values.items()})
    if still.detail and subject.raised.any():
        standing = corners[:, subject.raised]
        # In a bound book most mechanisms lie closed in other spreads: what stands is above the middle of the height.
        high = standing[0, :, 2] > 0.35 * standing[0, :, 2].max()
        corners = standing[:, high] if high.any() else standing
    height = np.array([still.elevation_deg + (0.0 if still.detail else _steeper(shot))])
    view = _view(shot, _CLOSER_MARGIN if still.detail else _MARGIN)
    return follow(Flight(height, np.array([still.turn_deg]), view, shot.rate, shot.f_stop), corners)
