"""An independent way to close a cell's loop: turn about one hinge after the other and ask to come back.

Unknown are the angles at the hinge lines and at the middle crease; scipy's least_squares finds them from a start.
Nothing here is taken from the core but the meaning of the three angles.
"""

from __future__ import annotations

import numpy as np
from scipy.optimize import least_squares

from geometry.linkage import PlanarCell, SphericalCell

Array = np.ndarray


def _about_z(angle: float) -> Array:
    cosine, sine = np.cos(angle), np.sin(angle)
    return np.array([[cosine, -sine, 0.0], [sine, cosine, 0.0], [0.0, 0.0, 1.0]])


def _about_x(angle: float) -> Array:
    cosine, sine = np.cos(angle), np.sin(angle)
    return np.array([[1.0, 0.0, 0.0], [0.0, cosine, -sine], [0.0, sine, cosine]])


def spherical_residual(cell: SphericalCell, dihedral: float, angles: Array) -> Array:
    """Nine numbers, zero where the loop closes: the turn about its lines and through its sectors, less one."""
    left, right, middle = angles
    at_middle = cell.branch * (np.pi - middle)
    turn = _about_z(cell.alpha_right) @ _about_x(-right) @ _about_z(cell.beta_right) @ _about_x(-at_middle)
    turn = turn @ _about_z(cell.beta_left) @ _about_x(-left) @ _about_z(cell.alpha_left) @ _about_x(dihedral - np.pi)
    return (turn - np.eye(3)).ravel()


def planar_residual(cell: PlanarCell, dihedral: float, angles: Array) -> Array:
    """Four numbers, zero where the loop closes: the way round its four sides, and the turns at its four corners."""
    left, right, middle = angles
    turns = [right, cell.branch * (np.pi - middle), left, np.pi - dihedral]
    heading, place = 0.0, np.zeros(2)
    for side, turn in zip((cell.base_right, cell.width_right, cell.width_left, cell.base_left), turns, strict=True):
        place = place + side * np.array([np.cos(heading), np.sin(heading)])
        heading += turn
    return np.array([*place, np.cos(heading) - 1.0, np.sin(heading)])


def residual(cell: SphericalCell | PlanarCell, dihedral: float, angles: Array) -> Array:
    """What is missing for the loop to close, for either kind of cell."""
    function = spherical_residual if isinstance(cell, SphericalCell) else planar_residual
    return function(cell, dihedral, np.asarray(angles))


def close_loop(cell: SphericalCell | PlanarCell, dihedral: float, start: Array) -> Array:
    """The angles left, right, middle with which the loop closes, found from a start near them."""
    found = least_squares(lambda angles: residual(cell, dihedral, angles), start, xtol=1e-15, ftol=1e-15, gtol=1e-15)
    return np.asarray(found.x)
