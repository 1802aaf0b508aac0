"""The cell: a closed loop of four panels about four lines, spherical or planar, over arrays of angles.

Frame of a cell: the host fold's direction **u**, the bisector **b** of the dihedral angle on the side where the
cell stands, and **w**, square to both, towards the right host. In it the right host is spanned by **u** and
``(0, cos(delta/2), sin(delta/2))``, the left host by **u** and ``(0, cos(delta/2), -sin(delta/2))``.

Everything is written in half angles, with the differences of squares factored, so that a cell which closes flat
or lies flat when open is exact there, and the limit left -> right hinge line is regular.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .errors import HingeleafError
from .tolerances import BRACKET
from .transforms import Array

__all__ = ["AWAY", "OVER", "Cell", "CellMotion", "PlanarCell", "SphericalCell", "closing_partner"]

#: The middle crease leans away from the host fold.
AWAY = 1
#: The middle crease leans back over the host fold.
OVER = -1


@dataclass(frozen=True)
class CellMotion:
    """How a cell stands at each dihedral angle of its host fold; NaN where it cannot stand.

    Parameters
    ----------
    left, right : (n,) float, radians; angle at each hinge line from the host's outer part, through the side on
        which the cell stands, to the added panel
    middle : (n,) float, radians; dihedral angle at the middle crease through the inside of the loop, 0 to pi
    exists : (n,) bool
    crease : (n, 3) float; spherical: unit direction of the middle crease in the cell's frame;
        planar: its place (0, b, w) in mm
    """

    left: Array
    right: Array
    middle: Array
    exists: np.ndarray
    crease: Array


def _settle(value: Array | float, scale: float) -> Array:
    """Set what is rounding of zero to zero."""
    return np.where(np.abs(value) <= BRACKET * scale, 0.0, value)


def _foot_angle(up: Array, out: Array) -> Array:
    """Angle from the host's outer part to the panel, with its cut below the host, where no panel can be."""
    angle = np.arctan2(up, out)
    return np.where(angle < -np.pi / 2, angle + 2 * np.pi, angle)


def _ratio(numerator: Array, denominator: Array, limit: float) -> Array:
    """Quotient with its limit where both are zero."""
    small = denominator < 1e-150
    return np.where(small, limit, numerator / np.where(small, 1.0, denominator))


@dataclass(frozen=True)
class SphericalCell:
    """A cell whose four lines pass through one apex.

    Parameters
    ----------
    alpha_left, alpha_right : float, radians; sector on each host, from **u** to the hinge line; sum at most pi
    beta_left, beta_right : float, radians; sector of each added panel, from the hinge line to the middle crease
    branch : AWAY or OVER
    """

    alpha_left: float
    alpha_right: float
    beta_left: float
    beta_right: float
    branch: int = AWAY

    def __post_init__(self) -> None:
        for name in ("alpha_left", "alpha_right", "beta_left", "beta_right"):
            if not 0.0 < getattr(self, name) < np.pi:
                raise HingeleafError(f"{name} must lie between 0 and 180 degrees")
        if self.alpha_left + self.alpha_right > np.pi + 1e-12:
            raise HingeleafError("measure the sectors from the other end of the fold: together they exceed 180 degrees")

    def brackets(self) -> tuple[float, float]:
        """The closing bracket and the opening bracket, zero where the cell lies flat.

        Returns
        -------
        close : float, sin^2 of half the hinge lines' angle minus sin^2 of half the difference of the betas, folded
            shut; zero when it closes flat
        open : float, the same for the sum of the betas, host lying flat; zero when it lies flat when open
        """
        difference = (self.alpha_left - self.alpha_right) / 2
        total = (self.alpha_left + self.alpha_right) / 2
        tau = (self.beta_left - self.beta_right) / 2
        sigma = (self.beta_left + self.beta_right) / 2
        close = float(_settle(np.sin(difference + tau) * np.sin(difference - tau), 1.0))
        wide = float(_settle(np.sin(sigma + total) * np.sin(sigma - total), 1.0))
        return close, wide

    def solve(self, dihedral_rad: ArrayLike) -> CellMotion:
        """Stand the cell on its host fold at each dihedral angle.

        Parameters
        ----------
        dihedral_rad : (n,) float, radians, through the side on which the cell stands

        Returns
        -------
        CellMotion

        Notes
        -----
        Source: derived in DESIGN.md, section 3, from the spherical law of cosines, in half-angle form.
        """
        delta = np.atleast_1d(np.asarray(dihedral_rad, dtype=float))
        half_sin, half_cos = np.sin(delta / 2), np.cos(delta / 2)
        sin_l, cos_l = np.sin(self.alpha_left), np.cos(self.alpha_left)
        sin_r, cos_r = np.sin(self.alpha_right), np.cos(self.alpha_right)
        product = sin_l * sin_r
        difference = (self.alpha_left - self.alpha_right) / 2
        total = (self.alpha_left + self.alpha_right) / 2
        tau = (self.beta_left - self.beta_right) / 2
        sigma = (self.beta_left + self.beta_right) / 2
        close, wide = self.brackets()
        short2 = close + product * half_sin**2
        long2 = wide + product * half_cos**2
        exists = (short2 >= -BRACKET) & (long2 >= -BRACKET)
        short = np.sqrt(np.maximum(short2, 0.0))
        long = np.sqrt(np.maximum(long2, 0.0))
        sin_g = np.sqrt(np.sin(difference) ** 2 + product * half_sin**2)
        cos_g = np.sqrt(_settle(np.cos(total), 1.0) ** 2 + product * half_cos**2)

        zero = np.zeros_like(delta)
        left = np.stack([zero + cos_l, sin_l * half_cos, -sin_l * half_sin], axis=1)
        right = np.stack([zero + cos_r, sin_r * half_cos, sin_r * half_sin], axis=1)
        # p along left + right, q along right - left; where one of them vanishes, its limit direction.
        along = (left + right) / 2
        apart = (right - left) / 2
        p = np.where((cos_g < 1e-150)[:, None], [0.0, 1.0, 0.0], along / np.maximum(cos_g, 1e-150)[:, None])
        q = np.where((sin_g < 1e-150)[:, None], [0.0, 0.0, 1.0], apart / np.maximum(sin_g, 1e-150)[:, None])
        normal = np.cross(q, p)
        on_p = _ratio(_settle(np.cos(sigma), 1.0) * np.cos(tau) + zero, cos_g, 0.0)
        on_q = _ratio(np.sin(sigma) * _settle(np.sin(tau), 1.0) + zero, sin_g, 0.0)
        off = self.branch * _ratio(short, sin_g, 1.0) * _ratio(long, cos_g, 1.0)
        # Away from the fold is against p x q when q runs to the right: see DESIGN.md on the branch.
        crease = on_p[:, None] * p + on_q[:, None] * q + off[:, None] * normal
        middle = 2 * np.arctan2(short, long)
        up_r = crease[:, 1] * half_sin - crease[:, 2] * half_cos
        up_l = crease[:, 1] * half_sin + crease[:, 2] * half_cos
        out_r = -sin_r * crease[:, 0] + cos_r * (crease[:, 1] * half_cos + crease[:, 2] * half_sin)
        out_l = -sin_l * crease[:, 0] + cos_l * (crease[:, 1] * half_cos - crease[:, 2] * half_sin)
        gap = ~exists
        crease[gap] = np.nan
        return CellMotion(
            left=np.where(gap, np.nan, _foot_angle(up_l, out_l)),
            right=np.where(gap, np.nan, _foot_angle(up_r, out_r)),
            middle=np.where(gap, np.nan, middle),
            exists=exists,
            crease=crease,
        )

    def lock(self) -> tuple[float, float]:
        """Smallest and largest dihedral angle of the host fold that the cell allows.

        Returns
        -------
        (closing, opening) : float, radians; 0 and pi where the cell does not stop the fold, NaN, NaN where it
            cannot stand at all

        Notes
        -----
        Source: DESIGN.md, section 3; the half-angle form of the spherical law of cosines.
        """
        product = np.sin(self.alpha_left) * np.sin(self.alpha_right)
        return _lock(*self.brackets(), product)


@dataclass(frozen=True)
class PlanarCell:
    """A cell whose four lines are parallel.

    Parameters
    ----------
    base_left, base_right : float, mm; from the fold to each hinge line
    width_left, width_right : float, mm; from each hinge line to the middle crease
    branch : AWAY or OVER
    """

    base_left: float
    base_right: float
    width_left: float
    width_right: float
    branch: int = AWAY

    def __post_init__(self) -> None:
        for name in ("base_left", "base_right", "width_left", "width_right"):
            if not 0.0 < getattr(self, name) < np.inf:
                raise HingeleafError(f"{name} must be a length above 0 mm")

    def brackets(self) -> tuple[float, float]:
        """The closing bracket and the opening bracket in mm^2, zero where the cell lies flat."""
        a, b, c, d = self.base_left, self.base_right, self.width_left, self.width_right
        scale = (a + b + c + d) ** 2
        close = float(_settle((a - b + c - d) * (a - b - c + d), scale))
        wide = float(_settle((c + d + a + b) * (c + d - a - b), scale))
        return close, wide

    def solve(self, dihedral_rad: ArrayLike) -> CellMotion:
        """Stand the cell on its host fold at each dihedral angle.

        Parameters
        ----------
        dihedral_rad : (n,) float, radians, through the side on which the cell stands

        Returns
        -------
        CellMotion

        Notes
        -----
        Source: derived in DESIGN.md, section 3: the crossing of two circles, with the squares factored.
        """
        delta = np.atleast_1d(np.asarray(dihedral_rad, dtype=float))
        half_sin, half_cos = np.sin(delta / 2), np.cos(delta / 2)
        a, b, c, d = self.base_left, self.base_right, self.width_left, self.width_right
        close, wide = self.brackets()
        scale = (a + b + c + d) ** 2
        short2 = close + 4 * a * b * half_sin**2
        long2 = wide + 4 * a * b * half_cos**2
        exists = (short2 >= -BRACKET * scale) & (long2 >= -BRACKET * scale)
        short = np.sqrt(np.maximum(short2, 0.0))
        long = np.sqrt(np.maximum(long2, 0.0))
        span = np.sqrt((a - b) ** 2 + 4 * a * b * half_sin**2)
        zero = np.zeros_like(delta)
        left = np.stack([a * half_cos, -a * half_sin], axis=1)
        right = np.stack([b * half_cos, b * half_sin], axis=1)
        small = (span < 1e-150)[:, None]
        q = np.where(small, [0.0, 1.0], (right - left) / np.maximum(span, 1e-150)[:, None])
        away = np.stack([q[:, 1], -q[:, 0]], axis=1)
        shift = _ratio(_settle((c - d) * (c + d), scale) / 2 + zero, span, 0.0)
        height = self.branch * _ratio(short, span, 1.0) * long / 2
        place = (left + right) / 2 + shift[:, None] * q + height[:, None] * away
        from_r, from_l = place - right, place - left
        up_r = from_r[:, 0] * half_sin - from_r[:, 1] * half_cos
        up_l = from_l[:, 0] * half_sin + from_l[:, 1] * half_cos
        out_r = from_r[:, 0] * half_cos + from_r[:, 1] * half_sin
        out_l = from_l[:, 0] * half_cos - from_l[:, 1] * half_sin
        gap = ~exists
        crease = np.concatenate([zero[:, None], place], axis=1)
        crease[gap] = np.nan
        return CellMotion(
            left=np.where(gap, np.nan, _foot_angle(up_l, out_l)),
            right=np.where(gap, np.nan, _foot_angle(up_r, out_r)),
            middle=np.where(gap, np.nan, 2 * np.arctan2(short, long)),
            exists=exists,
            crease=crease,
        )

    def lock(self) -> tuple[float, float]:
        """Smallest and largest dihedral angle of the host fold that the cell allows; see SphericalCell.lock."""
        return _lock(*self.brackets(), 4 * self.base_left * self.base_right)


def _lock(close: float, wide: float, product: float) -> tuple[float, float]:
    low, high = -close / product, -wide / product
    if low > 1.0 or high > 1.0 or low + high > 1.0:
        return float("nan"), float("nan")
    closing = 0.0 if low <= 0.0 else 2 * float(np.arcsin(np.sqrt(low)))
    opening = float(np.pi) if high <= 0.0 else 2 * float(np.arccos(np.sqrt(high)))
    return closing, opening


def closing_partner(fold_closed_rad: float, branch: int, hosts: tuple[float, float], added: float) -> float:
    """The size of one added panel with which a cell closes flat, from the other's.

    Parameters
    ----------
    fold_closed_rad : the host fold's dihedral angle while the book is closed: 0, pi or 2 pi
    branch : AWAY or OVER
    hosts : on the hosts, first on the side of the added panel that is known: sectors (radians) or distances (mm)
    added : the known one: its sector (radians) or width (mm)

    Returns
    -------
    float, in the unit of the others

    Notes
    -----
    Source: DESIGN.md, section 3, facts on closing flat; the rule is the same for sectors and for distances. On a
    fold that is folded back (2 pi) the two leanings change places.

    Examples
    --------
    >>> closing_partner(0.0, AWAY, (20.0, 30.0), 40.0)
    30.0
    """
    own, other = hosts
    if abs(fold_closed_rad - np.pi) < np.pi / 2:
        return own + other - added
    sum_rule = (fold_closed_rad < np.pi) == (branch == AWAY)
    return added + own - other if sum_rule else added + other - own


Cell = SphericalCell | PlanarCell
