"""Rigid transforms as 4x4 matrices: frames and rotations about lines.

Matrices act on column vectors; ``(n, 4, 4)`` arrays hold one matrix an angle.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Array", "apply", "frame", "inverse", "lift", "map_between", "rotation_about", "translation_along"]

Array = NDArray[np.float64]


def lift(points: ArrayLike) -> Array:
    """Put points of the plane into space at z = 0.

    Parameters
    ----------
    points : (n, 2) or (2,) float, mm

    Returns
    -------
    (n, 3) or (3,) float, mm
    """
    flat = np.asarray(points, dtype=float)
    return np.concatenate([flat, np.zeros((*flat.shape[:-1], 1))], axis=-1)


def apply(matrix: Array, points: ArrayLike) -> Array:
    """Carry points by one matrix or by one matrix an angle.

    Parameters
    ----------
    matrix : (4, 4) or (n, 4, 4) float
    points : (k, 3) or (k, 2) float, mm; two coordinates mean z = 0

    Returns
    -------
    (k, 3) or (n, k, 3) float, mm
    """
    array = np.asarray(points, dtype=float)
    if array.shape[-1] == 2:
        array = lift(array)
    linear = matrix[..., :3, :3]
    return np.asarray(array @ np.swapaxes(linear, -1, -2) + matrix[..., None, :3, 3])


def frame(origin: ArrayLike, first: ArrayLike, second: ArrayLike) -> Array:
    """Right-handed frame with its first two axes along two perpendicular unit vectors.

    Parameters
    ----------
    origin, first, second : (3,) float

    Returns
    -------
    (4, 4) float, columns first, second, first x second, origin
    """
    matrix = np.eye(4)
    x, y = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    matrix[:3, 0] = x
    matrix[:3, 1] = y
    matrix[:3, 2] = np.cross(x, y)
    matrix[:3, 3] = origin
    return matrix


def inverse(matrix: Array) -> Array:
    """Inverse of a rigid transform, exactly rigid again.

    Parameters
    ----------
    matrix : (..., 4, 4) float

    Returns
    -------
    (..., 4, 4) float
    """
    result = np.zeros_like(matrix)
    turned = np.swapaxes(matrix[..., :3, :3], -1, -2)
    result[..., :3, :3] = turned
    result[..., :3, 3] = -np.einsum("...ij,...j->...i", turned, matrix[..., :3, 3])
    result[..., 3, 3] = 1.0
    return result


def map_between(source: Array, target: Array) -> Array:
    """Rigid transform that carries one frame onto another.

    Parameters
    ----------
    source, target : (4, 4) float

    Returns
    -------
    (4, 4) float
    """
    return np.asarray(target @ inverse(source))


def rotation_about(point: ArrayLike, direction: ArrayLike, angles_rad: ArrayLike) -> Array:
    """Rotation about a line in space, one matrix an angle.

    Parameters
    ----------
    point : (3,) float, mm, on the line
    direction : (3,) float, unit vector along it
    angles_rad : (n,) float

    Returns
    -------
    (n, 4, 4) float

    Notes
    -----
    Source: Rodrigues' rotation formula.
    """
    axis = np.asarray(direction, dtype=float)
    angles = np.atleast_1d(np.asarray(angles_rad, dtype=float))
    cross = np.array([[0.0, -axis[2], axis[1]], [axis[2], 0.0, -axis[0]], [-axis[1], axis[0], 0.0]])
    sine = np.sin(angles)[:, None, None]
    versine = (2.0 * np.sin(angles / 2.0) ** 2)[:, None, None]
    turn = np.eye(3) + sine * cross + versine * (cross @ cross)
    result = np.zeros((len(angles), 4, 4))
    result[:, :3, :3] = turn
    start = np.asarray(point, dtype=float)
    result[:, :3, 3] = start - turn @ start
    result[:, 3, 3] = 1.0
    return result


def translation_along(direction: ArrayLike, ways_mm: ArrayLike) -> Array:
    """Translation along a direction, one matrix a way.

    Parameters
    ----------
    direction : (3,) float, unit vector
    ways_mm : (n,) float

    Returns
    -------
    (n, 4, 4) float
    """
    ways = np.atleast_1d(np.asarray(ways_mm, dtype=float))
    result = np.broadcast_to(np.eye(4), (len(ways), 4, 4)).copy()
    result[:, :3, 3] = ways[:, None] * np.asarray(direction, dtype=float)
    return result
