"""The peer: scipy's least_squares closing every loop at every angle, one after the other.

It is given the leanest form of the problem: the unknown is only where the middle crease is (a point of the plane, or
a direction in space), the residuals are the sizes of the two added panels, the Jacobian is exact, the method is
MINPACK's ("lm"), the start is the answer at the neighbouring angle. It begins at the middle of the motion, from the
answer there, and works towards both ends; a flat spread would be a bad start, for there the branches meet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import cos, sin, sqrt

import numpy as np
from scipy.optimize import least_squares

from geometry.linkage import Cell, PlanarCell
from geometry.model import CellOnFold
from geometry.transforms import Array

_CLOSE = 1e-15


def solve_cells(
    openings_rad: Array, cells: Sequence[CellOnFold], starts: Mapping[str, Array]
) -> tuple[dict[str, Array], dict[str, Array]]:
    """Every angle of the spread, and where every middle crease is, by closing loop after loop.

    Parameters
    ----------
    openings_rad : (n,) float
    cells : in an order in which each stands on folds of earlier ones
    starts : each cell's crease at the middle one of the openings

    Returns
    -------
    variables, creases : dict of (n,) float in radians, dict of (n, 2) or (n, 3) float
    """
    variables, creases = {"spine": openings_rad}, {}
    for item in cells:
        dihedral = item.host.of(variables, len(openings_rad))
        planar = isinstance(item.cell, PlanarCell)
        function = _planar if planar else _spherical
        problems = [function(item.cell, float(angle)) for angle in dihedral]
        crease = np.empty((len(dihedral), 2 if planar else 3))
        middle = len(dihedral) // 2
        for order in (range(middle, len(dihedral)), range(middle - 1, -1, -1)):
            here = starts[item.id] if order.start == middle else crease[middle]
            for index in order:
                residual, jacobian = problems[index]
                here = least_squares(residual, here, jac=jacobian, method="lm", xtol=_CLOSE, ftol=_CLOSE, gtol=_CLOSE).x
                crease[index] = here
        creases[item.id] = crease
        angles = _angles(item.cell, dihedral, crease)
        for name, values in zip(("left", "right", "middle"), angles, strict=True):
            variables[f"{item.id}:{name}"] = values
    return variables, creases


def _planar(cell, dihedral):
    """Residuals and Jacobian of two lengths, in the plane square to the fold."""
    half_cos, half_sin = cos(dihedral / 2), sin(dihedral / 2)
    left_x, left_y = cell.base_left * half_cos, -cell.base_left * half_sin
    right_x, right_y = cell.base_right * half_cos, cell.base_right * half_sin

    def residual(place):
        x, y = place
        to_left = sqrt((x - left_x) ** 2 + (y - left_y) ** 2)
        return to_left - cell.width_left, sqrt((x - right_x) ** 2 + (y - right_y) ** 2) - cell.width_right

    def jacobian(place):
        x, y = place
        to_left = sqrt((x - left_x) ** 2 + (y - left_y) ** 2)
        to_right = sqrt((x - right_x) ** 2 + (y - right_y) ** 2)
        return ((x - left_x) / to_left, (y - left_y) / to_left), ((x - right_x) / to_right, (y - right_y) / to_right)

    return residual, jacobian


def _spherical(cell, dihedral):
    """Residuals and Jacobian of two sectors and of the length of a unit vector."""
    half_cos, half_sin = cos(dihedral / 2), sin(dihedral / 2)
    sin_l, sin_r = sin(cell.alpha_left), sin(cell.alpha_right)
    left = (cos(cell.alpha_left), sin_l * half_cos, -sin_l * half_sin)
    right = (cos(cell.alpha_right), sin_r * half_cos, sin_r * half_sin)
    cos_l, cos_r = cos(cell.beta_left), cos(cell.beta_right)

    def residual(crease):
        x, y, z = crease
        return (
            x * left[0] + y * left[1] + z * left[2] - cos_l,
            x * right[0] + y * right[1] + z * right[2] - cos_r,
            x * x + y * y + z * z - 1.0,
        )

    def jacobian(crease):
        x, y, z = crease
        return left, right, (2 * x, 2 * y, 2 * z)

    return residual, jacobian


def _angles(cell: Cell, dihedral: Array, crease: Array) -> tuple[Array, Array, Array]:
    """Foot angles and the angle at the middle crease, measured with vectors, for all angles at once."""
    half_cos, half_sin = np.cos(dihedral / 2), np.sin(dihedral / 2)
    zero = np.zeros_like(dihedral)
    feet, inwards = [], []
    if isinstance(cell, PlanarCell):
        crease = np.column_stack([zero, crease])
    for sign, alpha, base in ((-1.0, "alpha_left", "base_left"), (1.0, "alpha_right", "base_right")):
        into = np.column_stack([zero, half_cos, sign * half_sin])
        up = np.column_stack([zero, half_sin, -sign * half_cos])
        if isinstance(cell, PlanarCell):
            out, across = into, crease - getattr(cell, base) * into
            inward = -across
        else:
            sine, cosine = np.sin(getattr(cell, alpha)), np.cos(getattr(cell, alpha))
            line = sine * into + np.array([cosine, 0.0, 0.0])
            out = cosine * into - np.array([sine, 0.0, 0.0])
            across = crease
            inward = line - (line * crease).sum(axis=1, keepdims=True) * crease
        feet.append(np.arctan2((across * up).sum(axis=1), (across * out).sum(axis=1)))
        inwards.append(inward)
    normal = np.linalg.norm(np.cross(*inwards), axis=1)
    return feet[0], feet[1], np.arctan2(normal, (inwards[0] * inwards[1]).sum(axis=1))
