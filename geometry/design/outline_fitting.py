"""Putting a line that was drawn elsewhere into its place on the card: fitted, or at true size."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from ..errors import HingeleafError
from ..spread import Spread
from ..transforms import Array
from .outline_keys import OutlineKey, reaching
from .strokes import Stroke

__all__ = ["Size", "placed"]

Size = Literal["fitted", "true"]

#: Windows that replace none take this share of their panel.
_WINDOW_SHARE = 0.5


def placed(
    strokes: Sequence[Stroke], key: OutlineKey, spread: Spread, *, size: Size = "fitted", mirrored: bool = False
) -> tuple[Stroke, ...]:
    """Lines from elsewhere in the coordinates of a key, upright as they were drawn, seen from the printed face.

    Parameters
    ----------
    strokes : mm, y up
    key : where they go
    spread : the design as it stands
    size : fitted, an open line scaled and turned so that it runs from end to end of its hinge, closed ones scaled into
        the box of what they replace; or true: an open line begins at an end of its hinge and is led straight to the
        other, closed ones stand in the middle of what they replace
    mirrored : turned over, left to right

    Returns
    -------
    tuple of Stroke

    Raises
    ------
    HingeleafError
        None fits the key: it wants one open line, one closed one, or closed ones.
    """
    strokes = [stroke for stroke in strokes if stroke.closed == (key.ends is None)]
    if key.form != "outlines" and len(strokes) != 1:
        wanted = "open line" if key.form == "line" else "closed outline"
        raise HingeleafError(f"{key.key} wants one {wanted}; there are {len(strokes)}")
    if not strokes:
        raise HingeleafError(f"{key.key} wants closed outlines; there are none")
    if mirrored:
        strokes = [stroke.moved(np.diag([-1.0, 1.0, 1.0])) for stroke in strokes]
    from_net: Array = np.asarray(np.linalg.inv(key.frame), dtype=float)
    if key.ends is None:
        frame = _into_box(strokes, _box(key, spread), size)
        return tuple(stroke.moved(from_net @ frame) for stroke in strokes)
    ends = key.ends @ key.frame[:2, :2].T + key.frame[:2, 2]
    line = _between(strokes[0], ends) if size == "fitted" else _from_an_end(strokes[0], ends)
    return (reaching(line.moved(from_net), key.ends),)


def _between(stroke: Stroke, ends: Array) -> Stroke:
    """A line scaled and turned from end to end, drawn in the direction in which it need be turned less."""
    ways = []
    for line in (stroke, stroke.reversed()):
        drawn, wanted = (complex(*way) for way in (line.points[-1] - line.points[0], ends[1] - ends[0]))
        if abs(drawn) < 1e-6:
            raise HingeleafError("The line ends where it begins; an edge runs from one end of its hinge to the other")
        ways.append((abs(np.angle(wanted / drawn)), line, wanted / drawn))
    _, line, turn = min(ways, key=lambda way: way[0])
    frame = np.array([[turn.real, -turn.imag, 0.0], [turn.imag, turn.real, 0.0], [0.0, 0.0, 1.0]])
    frame[:2, 2] = ends[0] - frame[:2, :2] @ line.points[0]
    return line.moved(frame)


def _from_an_end(stroke: Stroke, ends: Array) -> Stroke:
    """A line as large and the way up as it was drawn, beginning at the first end and heading for the second."""
    line = stroke if (stroke.points[-1] - stroke.points[0]) @ (ends[1] - ends[0]) >= 0 else stroke.reversed()
    frame = np.eye(3)
    frame[:2, 2] = ends[0] - line.points[0]
    return line.moved(frame)


def _into_box(strokes: Sequence[Stroke], box: tuple[Array, Array], size: Size) -> Array:
    """What carries closed lines into a box, or to its middle."""
    points = np.concatenate([np.concatenate([stroke.points, stroke.before, stroke.after]) for stroke in strokes])
    low, high = points.min(axis=0), points.max(axis=0)
    scale = 1.0 if size == "true" else float(np.min((box[1] - box[0]) / np.maximum(high - low, 1e-9)))
    frame = np.diag([scale, scale, 1.0])
    frame[:2, 2] = (box[0] + box[1]) / 2 - scale * (low + high) / 2
    return frame


def _box(key: OutlineKey, spread: Spread) -> tuple[Array, Array]:
    """The box about what is replaced, lower left and upper right on the net; else in the middle of the panel."""
    present = [stroke.moved(key.frame).points for stroke in key.strokes]
    if present:
        points = np.concatenate(present)
        return points.min(axis=0), points.max(axis=0)
    bounds = np.array(spread.panels[key.panel].outline.bounds)
    middle, half = (bounds[:2] + bounds[2:]) / 2, (bounds[2:] - bounds[:2]) / 2 * _WINDOW_SHARE
    return middle - half, middle + half
