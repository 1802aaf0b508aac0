"""Letters of our own for the cover: capitals as a knife cuts them, stems that flare towards their ends."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from .carving import Wobble, path, stroke, union

__all__ = ["letters"]

Line = tuple[tuple[float, float], ...]

#: Capitals one unit high: how far to the next letter, straight strokes, and bowed ones through their points.
_CAPITALS: dict[str, tuple[float, tuple[Line, ...], tuple[Line, ...]]] = {
    "T": (0.86, (((0.4, 0.0), (0.4, 0.92)), ((0.02, 0.92), (0.78, 0.92))), ()),
    "E": (
        0.74,
        (
            ((0.1, 0.0), (0.1, 1.0)), ((0.1, 0.92), (0.62, 0.92)), ((0.1, 0.52), (0.54, 0.52)),
            ((0.1, 0.08), (0.66, 0.08)),
        ),
        (),
    ),
    "R": (
        0.84,
        (((0.1, 0.0), (0.1, 1.0)), ((0.34, 0.46), (0.72, 0.0))),
        (((0.1, 0.92), (0.38, 0.92), (0.62, 0.82), (0.64, 0.66), (0.56, 0.52), (0.36, 0.46), (0.1, 0.46)),),
    ),
    "N": (0.94, (((0.1, 0.0), (0.1, 1.0)), ((0.1, 0.94), (0.74, 0.06)), ((0.74, 0.0), (0.74, 1.0))), ()),
    "O": (
        1.0,
        (),
        ((
            (0.46, 0.07), (0.2, 0.16), (0.08, 0.5), (0.2, 0.84), (0.46, 0.93), (0.72, 0.84), (0.84, 0.5), (0.72, 0.16),
            (0.46, 0.07),
        ),),
    ),
    "C": (
        0.86,
        (),
        ((
            (0.74, 0.78), (0.6, 0.9), (0.4, 0.92), (0.18, 0.8), (0.08, 0.5), (0.18, 0.2), (0.4, 0.08), (0.6, 0.1),
            (0.76, 0.24),
        ),),
    ),
    "K": (0.86, (((0.1, 0.0), (0.1, 1.0)), ((0.68, 0.98), (0.14, 0.44)), ((0.3, 0.58), (0.74, 0.0))), ()),
    " ": (0.5, (), ()),
}  # fmt: skip


def letters(text: str, height_mm: float, *, weight: float = 0.165, seed: int = 1) -> BaseGeometry:
    """A line of capitals, its foot on y = 0 and its middle at x = 0, mm.

    Parameters
    ----------
    text : of the letters that are drawn: T E R N O C K and the space
    height_mm : of a capital
    weight : of a stem, in heights
    seed : of the knife's unevenness
    """
    shapes, at = [], 0.0
    for letter in text:
        advance, straight, bowed = _CAPITALS[letter]
        for line in straight:
            ends = np.array(line)
            points = ends[0] + np.linspace(0.0, 1.0, 9)[:, None] * (ends[1] - ends[0])
            along = np.abs(np.linspace(-1.0, 1.0, 9))
            shapes.append(stroke(points + [at, 0.0], weight * (0.9 + 0.35 * along**3)))
        for line in bowed:
            points = path(np.array(line), step_mm=0.03)
            shapes.append(stroke(points + [at, 0.0], weight))
        at += advance
    last = _CAPITALS[text[-1]][0] - 0.84
    word = shapely.transform(
        union(shapes), lambda points: (points - [(at - 0.08 - max(last, 0.0)) / 2, 0.0]) * height_mm
    )
    return Wobble(seed, 0.012 * height_mm, 0.25 * height_mm)(shapely.buffer(word, 0.0))
