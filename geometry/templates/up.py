"""Which way is up on a panel for the reader of the open spread."""

from __future__ import annotations

import numpy as np

from ..transforms import Array

__all__ = ["up_on"]

#: The direction a reader looks from, degrees above the table, straight in front of the foot.
_ELEVATION_DEG = 45.0
#: A panel that is seen under less than this (sine) is taken as seen on edge.
_ON_EDGE = 0.08


def up_on(matrix: Array) -> Array:
    """The direction on a panel's net that runs straight up in the reader's picture.

    Parameters
    ----------
    matrix : (4, 4) float; the panel's pose while the spread lies open

    Returns
    -------
    (2,) float, unit vector in net coordinates; on a panel that is seen on edge, the one that rises most

    Notes
    -----
    Derived here: with A the net's axes in the picture (right, up), A w = (0, 1).

    Examples
    --------
    >>> up_on(np.eye(4))
    array([0., 1.])
    """
    height = np.radians(_ELEVATION_DEG)
    right, up = np.array([1.0, 0.0, 0.0]), np.array([0.0, np.sin(height), np.cos(height)])
    seen = np.array([right, up]) @ matrix[:3, :2]
    if abs(float(np.linalg.det(seen))) > _ON_EDGE:
        way = np.linalg.solve(seen, np.array([0.0, 1.0]))
    else:
        way = seen[1]
    size = float(np.hypot(*way))
    return np.asarray(way / size + 0.0) if size > 1e-9 else np.array([0.0, 1.0])
