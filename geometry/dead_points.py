"""Dead points: where the weakest direction of a loop's Jacobian fades on the way and comes back."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from .transforms import Array

__all__ = ["crossings", "narrowed", "weakest_strength"]


def weakest_strength(jacobian: Array, rank: int) -> Array:
    """How strong the weakest direction is, as a part of the strongest, (n,) float."""
    strength = np.linalg.svd(jacobian, compute_uv=False)
    return np.asarray(strength[:, rank - 1] / strength[:, 0])


def narrowed(place: float, step: float, strength_at: Callable[[Array], Array]) -> float:
    """A dead point, looked at from nearer and nearer."""
    for near in step / 16.0 ** np.arange(1, 4):
        strength = strength_at(place + near * np.array([-2.0, -1.0, 1.0, 2.0]))
        if len(strength) < 4 or min(strength[0] - strength[1], strength[3] - strength[2]) <= 0:
            break
        left = place - near + near * strength[1] / (strength[0] - strength[1])
        right = place + near - near * strength[2] / (strength[3] - strength[2])
        place = (left + right) / 2
    return place


def crossings(values: Array, strength: Array) -> Array:
    """Where the weakest direction's strength comes down to zero and rises again: a V whose two arms meet there."""
    found = []
    for middle in range(3, len(values) - 3):
        if strength[middle] != strength[middle - 2 : middle + 3].min():
            continue
        zeros = []
        for near, far in ((middle - 1, middle - 2), (middle + 1, middle + 2)):
            slope = (strength[near] - strength[far]) / (values[near] - values[far])
            if slope:
                zeros.append(values[near] - strength[near] / slope)
        step = values[middle + 1] - values[middle]
        if len(zeros) == 2 and abs(zeros[0] - zeros[1]) < 0.1 * step and abs(zeros[0] - values[middle]) < step:
            found.append(float(sum(zeros)) / 2)
    return np.asarray(found, dtype=np.float64)
