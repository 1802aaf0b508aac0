"""Where the corners of a chequerboard are in a picture of it, to a part of a pixel."""

from __future__ import annotations

import numpy as np

__all__ = ["corner_in"]


def corner_in(pixels, place, reach, *, least_step, most_uneven=np.inf):
    """The corner near a place, pixels (2,): where the fields on its two sides are equally light.

    Across an upright border, what lies above the corner less what lies below it steps from one value to its opposite.
    Where it does so follows from its sum, whatever part of a pixel the border cuts off. The step must be so great, and
    its two ends may differ by so large a part of it.
    """
    x, y = np.round(place).astype(int)
    patch = pixels[y - reach : y + reach, x - reach : x + reach].astype(float)
    keep = np.r_[0 : int(0.6 * reach), 2 * reach - int(0.6 * reach) : 2 * reach]
    found = []
    for axis, start in ((0, x), (1, y)):
        other = np.moveaxis(patch, axis, 0)[keep]
        half = len(other) // 2
        way = other[:half].mean(axis=0) - other[half:].mean(axis=0)
        ends = way[: reach // 2].mean(), way[-(reach // 2) :].mean()
        step = (ends[1] - ends[0]) / 2
        assert abs(ends[0] + ends[1]) < most_uneven * abs(step)
        assert abs(step) > least_step
        found.append(start - way.sum() / (2 * step))
    return np.array(found)
