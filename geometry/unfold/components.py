"""What hangs together: connected components, without a loop over what is connected."""

from __future__ import annotations

import numpy as np

from .data import Ints

__all__ = ["components"]


def components(count: int, first: Ints, second: Ints) -> Ints:
    """Number each thing by the least number that it hangs together with.

    Parameters
    ----------
    count : of things
    first, second : (k,) int, the two ends of each link

    Returns
    -------
    (count,) int

    Notes
    -----
    Source: hooking and pointer jumping (Shiloach and Vishkin 1982, recalled).

    >>> components(5, np.array([4, 1]), np.array([2, 2]))
    array([0, 1, 1, 3, 1])
    """
    labels = np.arange(count)
    while True:
        low = np.minimum(labels[first], labels[second])
        high = np.maximum(labels[first], labels[second])
        apart = low < high
        if not apart.any():
            return labels
        first, second = first[apart], second[apart]
        np.minimum.at(labels, high[apart], low[apart])
        while True:
            jumped = labels[labels]
            if np.array_equal(jumped, labels):
                break
            labels = jumped
