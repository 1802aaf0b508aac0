"""Core to Blender: units, axes, and the frames that hinges turn in. Nothing else converts either.

The core's world (spine on the Y axis, right page in z = 0) is right-handed with z up, as Blender's is, so axes stay
as they are and only lengths change: 1 mm is 0.001 m.

A panel's *object frame* is given in its net coordinates. A turning panel's frame has its origin on the hinge and its
x axis along it, so that the panel turns by one rotation channel about x (or slides by one location channel along x):

    pose(child) = pose(parent) A RotX(turn) A^-1 rest        A: hinge frame in the parent's net coordinates
    object(panel) = pose(panel) B                            B = rest^-1 A, in the panel's own net coordinates
    object(child) = object(parent) (B_parent^-1 A) RotX(turn)

``B_parent^-1 A`` is the constant Blender calls the parent inverse. A fixed panel's frame is its net coordinates.
"""

from __future__ import annotations

import numpy as np
from mathutils import Matrix

from .geometry.model import Axis, Panel
from .geometry.transforms import Array, apply, frame, inverse, lift

__all__ = [
    "from_blender",
    "hinge_frame",
    "metres",
    "millimetres",
    "object_frame",
    "parent_inverse",
    "printed_side",
    "to_blender",
    "to_object",
]

_METRES_PER_MM = 0.001


def metres(lengths_mm: Array | float) -> Array:
    """Lengths in metres, of the same shape."""
    return np.asarray(lengths_mm, dtype=float) * _METRES_PER_MM


def millimetres(lengths_m: Array | float) -> Array:
    """Lengths in millimetres, of the same shape."""
    return np.asarray(lengths_m, dtype=float) / _METRES_PER_MM


def from_blender(matrix: Matrix) -> Array:
    """A transform of Blender's, metres, as the core's (4, 4) float, mm."""
    scaled = np.array(matrix, dtype=float)
    scaled[:3, 3] = millimetres(scaled[:3, 3])
    return scaled


def to_blender(matrix: Array) -> Matrix:
    """A rigid transform of the core (4, 4), mm, as Blender's matrix in metres."""
    scaled = np.array(matrix, dtype=float)
    scaled[:3, 3] = metres(scaled[:3, 3])
    return Matrix([[float(value) for value in row] for row in scaled])


def hinge_frame(axis: Axis, rest: Array) -> Array:
    """Frame of a hinge in the coordinates that its axis is given in.

    Parameters
    ----------
    axis : the hinge line
    rest : (4, 4) float; where the panel that turns lies at hinge angle 0

    Returns
    -------
    (4, 4) float, mm; origin on the line, x along it, z to the panel's printed side. About a pivot, which stands square
    to the panel, z is the panel's own x axis
    """
    along = np.asarray(axis.direction, dtype=float)
    side = np.cross(rest[:3, 2], along)
    if np.linalg.norm(side) < 0.5:
        side = np.cross(rest[:3, 0], along)
    return frame(axis.point, along, side / np.linalg.norm(side))


def object_frame(panel: Panel) -> Array:
    """A panel's object frame in its net coordinates, (4, 4) float, mm."""
    if panel.axis is None:
        return np.eye(4)
    return np.asarray(inverse(panel.rest) @ hinge_frame(panel.axis, panel.rest))


def parent_inverse(panel: Panel, parent: Panel | None) -> Matrix:
    """The constant transform from the parent's object to the panel's, at hinge angle 0.

    Parameters
    ----------
    panel : the panel
    parent : the panel it stands on; None where it stands on the book's root
    """
    onto = np.eye(4) if parent is None else inverse(object_frame(parent))
    start = panel.rest if panel.axis is None else hinge_frame(panel.axis, panel.rest)
    return to_blender(onto @ start)


def printed_side(panel: Panel) -> Array:
    """The way to a panel's printed side in its object's coordinates, (3,) float: z, but for a wheel x or -x."""
    return np.asarray(inverse(object_frame(panel))[:3, 2])


def to_object(panel: Panel, points_mm: Array) -> Array:
    """Points of a panel's net as its object has them.

    Parameters
    ----------
    panel : the panel
    points_mm : (n, 2) or (n, 3) float, mm, net coordinates

    Returns
    -------
    (n, 3) float, metres, object coordinates
    """
    points = np.asarray(points_mm, dtype=float)
    solid = lift(points) if points.shape[-1] == 2 else points
    return metres(apply(inverse(object_frame(panel)), solid))
