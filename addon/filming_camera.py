"""A camera that follows a book: all of it stays within the margins at every frame, and nothing jerks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from mathutils import Matrix

from .film_script import CameraTrack
from .framing import View, look_along
from .geometry.transforms import Array

__all__ = ["Flight", "follow", "smoothed"]

#: So long before and after a frame the camera knows what comes, seconds.
_AHEAD_S = 1.0
#: What counts as the top of a book: this share of its height.
_TOP = 0.12
#: Lower than this the book lies flat, metres.
_FLAT_M = 0.004


@dataclass(frozen=True)
class Flight:
    """Where from a camera looks, and how.

    Parameters
    ----------
    elevations_deg, turns_deg : (n,) float; as in a View
    view : lens, picture and margin
    rate : frames a second
    f_stop : 0 where all is sharp
    loop : whether the first frame follows the last
    """

    elevations_deg: Array
    turns_deg: Array
    view: View
    rate: int
    f_stop: float = 0.0
    loop: bool = False


def follow(flight: Flight, corners: Array) -> CameraTrack:
    """The camera's way.

    Parameters
    ----------
    flight : Flight
    corners : (n, m, 3) float, metres; what is to be seen at every frame

    Returns
    -------
    CameraTrack

    Notes
    -----
    Source: derived here. With p and w a point's coordinates across and back along the axes of its own frame, the
    camera at (x, d) sees it where x + k d >= p + k w and x - k d <= p - k w (see framing.stand_back). These are linear
    in the numbers x and d, so the mean of places, each of which satisfies the demands of every frame within a window,
    satisfies those of the frame in the middle: smoothing cannot leave the margins.
    """
    view, reach = flight.view, round(_AHEAD_S * flight.rate)
    turned = zip(flight.elevations_deg, flight.turns_deg, strict=True)
    axes = np.array([look_along(View(elevation_deg=high, turn_deg=turn)) for high, turn in turned])
    middle = (corners.reshape(-1, 3).min(axis=0) + corners.reshape(-1, 3).max(axis=0)) / 2.0
    along = np.einsum("nmi,nij->nmj", corners - middle, axes)
    half = 0.5 * view.sensor_mm / view.lens_mm
    spans = []
    for axis, slope in ((0, half), (1, half / view.aspect)):
        inner = slope * (1.0 - view.margin)
        upper = (along[:, :, axis] + inner * along[:, :, 2]).max(axis=1)
        lower = (along[:, :, axis] - inner * along[:, :, 2]).min(axis=1)
        widest = _windows(upper, reach, flight.loop).max(axis=1), _windows(lower, reach, flight.loop).min(axis=1)
        spans.append((*widest, inner))
    back = np.max([(upper - lower) / (2.0 * inner) for upper, lower, inner in spans], axis=0)
    across = [(upper + lower) / 2.0 for upper, lower, _ in spans]
    own = np.column_stack([smoothed(column, reach, flight.loop) for column in (*across, back)])
    depths = own[:, 2:] - along[:, :, 2]
    focus = smoothed(_focus(corners[:, :, 2], depths), reach, flight.loop)
    places = middle + np.einsum("nij,nj->ni", axes, own)
    return CameraTrack(
        places=_plain(places),
        turns=_plain(_quaternions(axes)),
        focus_m=_plain(focus),
        lens_mm=view.lens_mm,
        sensor_mm=view.sensor_mm,
        f_stop=flight.f_stop,
    )


def smoothed(values: Array, reach: int, loop: bool) -> Array:
    """The mean of each value and of as many as `reach` before and after it, the near ones counting more; (n,) float."""
    weights = np.hanning(2 * reach + 3)[1:-1]
    return np.asarray(_windows(values, reach, loop) @ (weights / weights.sum()))


def _windows(values: Array, reach: int, loop: bool) -> Array:
    """Each value with its neighbours, (n, 2 reach + 1) float; beyond the ends of a film all is as at the ends."""
    places = np.arange(len(values))[:, None] + np.arange(-reach, reach + 1)[None, :]
    places = places % len(values) if loop else np.clip(places, 0, len(values) - 1)
    return np.asarray(values[places])


def _focus(heights: Array, depths: Array) -> Array:
    """Distance to the front of what stands highest; of a flat book, to its middle. (n, m) float each to (n,) float."""
    low, high = heights.min(axis=1, keepdims=True), heights.max(axis=1, keepdims=True)
    top = heights >= high - _TOP * (high - low)
    front = np.where(top, depths, np.inf).min(axis=1)
    middle = (depths.min(axis=1) + depths.max(axis=1)) / 2.0
    standing = np.clip((high - low)[:, 0] / _FLAT_M - 1.0, 0.0, 1.0)
    return np.asarray(middle + (front - middle) * standing)


def _quaternions(axes: Array) -> Array:
    """(n, 3, 3) float as unit quaternions, (n, 4) float, each on the same side as the one before."""
    found = np.array([Matrix(frame.tolist()).to_quaternion()[:] for frame in axes])
    for number in range(1, len(found)):
        if found[number] @ found[number - 1] < 0.0:
            found[number] = -found[number]
    return found


def _plain(values: Array) -> tuple[Any, ...]:
    """Numbers as JSON has them, to a ten-millionth: what rests is exactly the same at every frame."""
    rounded = np.round(values, 7).tolist()
    return tuple(tuple(row) if isinstance(row, list) else row for row in rounded)
