"""What every frame of a film shows, as numbers and names alone.

Needs nothing but Python's own library, as do all film modules besides Blender: they also run without the extension.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

__all__ = ["STILL_CARE", "CameraTrack", "FilmError", "Quality", "ShotScript", "distinct_frames"]

#: A still is looked at for longer than a frame: so many times its samples.
STILL_CARE = 4


class FilmError(RuntimeError):
    """Why there is no film, in one sentence."""


@dataclass(frozen=True)
class Quality:
    """How pictures are rendered.

    Parameters
    ----------
    size : width and height, pixels
    samples : light paths a pixel; the noise that they leave is taken out afterwards
    engine : CYCLES, EEVEE or BLENDER_WORKBENCH; samples matter to the first two
    blur : how much of a frame's time the shutter is open; 0 for none
    """

    size: tuple[int, int] = (1280, 720)
    samples: int = 8
    engine: str = "CYCLES"
    blur: float = 0.35


@dataclass(frozen=True)
class CameraTrack:
    """Where a camera is at every frame, in the space of the book's root.

    Parameters
    ----------
    places : (n, 3) float, metres
    turns : (n, 4) float, unit quaternions w, x, y, z
    focus_m : (n,) float, distance to what is sharp, along the way it looks
    lens_mm, sensor_mm : focal length and width of the picture in the camera
    f_stop : the smaller, the less is sharp; 0 where everything is
    """

    places: Sequence[Sequence[float]]
    turns: Sequence[Sequence[float]]
    focus_m: Sequence[float]
    lens_mm: float = 60.0
    sensor_mm: float = 36.0
    f_stop: float = 0.0


@dataclass(frozen=True)
class ShotScript:
    """What every frame of a film shows; nothing but numbers and names, so that it can be kept as JSON.

    Parameters
    ----------
    rate : frames a second
    values : by property of the root, (n,) float
    camera : None for the scene's own, as it stands
    names : of stills, one a frame; empty for a film
    loop : whether the first frame follows the last
    """

    rate: int
    values: Mapping[str, Sequence[float]]
    camera: CameraTrack | None = None
    names: Sequence[str] = ()
    loop: bool = False

    @property
    def count(self) -> int:
        """Number of frames."""
        return len(next(iter(self.values.values())))

    @staticmethod
    def from_dict(data: dict[str, Any]) -> ShotScript:
        """The script that asdict was made from."""
        camera = data.get("camera")
        return ShotScript(**{**data, "camera": CameraTrack(**camera) if camera else None})


def distinct_frames(script: ShotScript, blur: float = 0.35) -> list[int]:
    """For every frame, from 0, the first one that looks the same: while all is held, one picture does for many."""
    columns = [*script.values.values()]
    if script.camera is not None:
        columns += [*zip(*script.camera.places, strict=True), *zip(*script.camera.turns, strict=True)]
        columns.append(script.camera.focus_m)
    states = list(zip(*columns, strict=True))
    last = len(states) - 1
    first: dict[Any, int] = {}
    result = []
    for number, state in enumerate(states):
        before = states[number - 1 if number or script.loop else 0]
        after = states[number + 1 if number < last else 0 if script.loop else last]
        # The open shutter sees a part of the way from the frame before and to the next.
        key = (before, state, after) if blur > 0 else state
        result.append(first.setdefault(key, number))
    return result
