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

__all__ = [
    "AWAY",
    "OVER",
    "Cell",
    "CellMotion",
    "PlanarCell",
    "SphericalCell",
    "closing_partner",
    "planar_brackets",
    "solve_planar",
    "solve_spherical",
    "spherical_brackets",
]

#: A number, or one for each angle.
Number = float | Array
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


def _paired(first: Number, second: Number, scale: Number) -> tuple[Number, Number]:
    """Two small numbers, exactly equal, opposite or zero where they differ from that only by rounding.

    Both brackets are differences of two squares. Where one factor is zero on paper, everything that is divided by
    the same small number must know it, or the quotient is anything at all.
    """
    equal, opposite = np.abs(first - second) <= BRACKET * scale, np.abs(first + second) <= BRACKET * scale
    if isinstance(first, np.ndarray) or isinstance(second, np.ndarray):
        zero = equal & opposite
        other = np.where(equal, first, np.where(opposite, -first, second))
        return np.where(zero, 0.0, first), np.where(zero, 0.0, other)
    if equal and opposite:
        return 0.0, 0.0
    return first, first if equal else -first if opposite else second


def _foot_angle(up: Array, out: Array) -> Array:
    """Angle from the host's outer part to the panel, with its cut below the host, where no panel can be."""
    angle = np.arctan2(up, out)
    return np.where(angle < -np.pi / 2, angle + 2 * np.pi, angle)


def _stood(left: Array, right: Array, middle: Array, exists: np.ndarray, crease: Array) -> CellMotion:
    """The motion, with NaN where the cell cannot stand."""
    if not exists.all():
        for values in (left, right, middle, crease):
            values[~exists] = np.nan
    return CellMotion(left, right, middle, exists, crease)


def _spherical_halves(
    alpha_left: Number, alpha_right: Number, beta_left: Number, beta_right: Number
) -> tuple[Number, Number, Number, Number]:
    """Half the difference of the alphas and of the betas; half the sums, each less a right angle."""
    difference, tau = _paired((alpha_left - alpha_right) / 2, (beta_left - beta_right) / 2, 1.0)
    square = float(np.pi / 2)
    total, sigma = _paired((alpha_left + alpha_right) / 2 - square, (beta_left + beta_right) / 2 - square, 1.0)
    return difference, tau, total, sigma


def spherical_brackets(
    alpha_left: Number, alpha_right: Number, beta_left: Number, beta_right: Number
) -> tuple[Number, Number]:
    """The closing bracket and the opening bracket of a spherical cell, zero where it lies flat.

    Parameters
    ----------
    alpha_left, alpha_right, beta_left, beta_right : float or (n,) float, radians; see SphericalCell

    Returns
    -------
    close : sin^2 of half the hinge lines' angle minus sin^2 of half the difference of the betas, folded shut; zero
        when it closes flat
    open : the same for the sum of the betas, host lying flat; zero when it lies flat when open
    """
    difference, tau, total, sigma = _spherical_halves(alpha_left, alpha_right, beta_left, beta_right)
    close = np.sin(difference + tau) * np.sin(difference - tau)
    wide = np.sin(total + sigma) * np.sin(total - sigma)
    return close, wide


def solve_spherical(
    alpha_left: Number, alpha_right: Number, beta_left: Number, beta_right: Number, branch: int, dihedral_rad: ArrayLike
) -> CellMotion:
    """Stand spherical cells on their host folds: one cell at many angles, or a cell an angle.

    Parameters
    ----------
    alpha_left, alpha_right, beta_left, beta_right : float or (n,) float, radians; see SphericalCell
    branch : AWAY or OVER
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
    sin_l, cos_l = np.sin(alpha_left), np.cos(alpha_left)
    sin_r, cos_r = np.sin(alpha_right), np.cos(alpha_right)
    product = sin_l * sin_r
    difference, tau, total, sigma = _spherical_halves(alpha_left, alpha_right, beta_left, beta_right)
    close, wide = spherical_brackets(alpha_left, alpha_right, beta_left, beta_right)
    short2 = close + product * half_sin**2
    long2 = wide + product * half_cos**2
    exists = (short2 >= -BRACKET) & (long2 >= -BRACKET)
    short = np.sqrt(np.maximum(short2, 0.0))
    long = np.sqrt(np.maximum(long2, 0.0))
    sin_d, cos_d = np.sin(difference), np.cos(difference)
    # Narrow sectors keep all their digits in their own sine, wide ones in that of what is left to a right angle.
    sin_t, cos_t = np.sin((alpha_left + alpha_right) / 2), -np.sin(total)
    sin_s, cos_s = np.sin((beta_left + beta_right) / 2), -np.sin(sigma)
    # Lengths of half the sum and half the difference of the hinge lines, and these as unit vectors p and q; where
    # the difference vanishes, q has its limit direction. Written in half sums and half differences of the
    # sectors, so that a small difference is not lost in rounding.
    cos_g = np.sqrt(cos_t**2 + product * half_cos**2)
    sin_g = np.sqrt(sin_d**2 + product * half_sin**2)
    shut = sin_g < 1e-150
    shut_any = bool(shut.any())
    if shut_any:
        sin_g = np.where(shut, 1.0, sin_g)
    p_u, p_b, p_w = cos_t * cos_d / cos_g, sin_t * cos_d * half_cos / cos_g, -cos_t * sin_d * half_sin / cos_g
    q_u, q_b, q_w = sin_t * sin_d / sin_g, -cos_t * sin_d * half_cos / sin_g, sin_t * cos_d * half_sin / sin_g
    on_p, on_q = cos_s * np.cos(tau) / cos_g, sin_s * np.sin(tau) / sin_g
    off = branch * short / sin_g * long / cos_g
    if shut_any:
        q_w, off = np.where(shut, 1.0, q_w), np.where(shut, branch * long / cos_g, off)
    # Away from the fold is along q x p when q runs to the right: see DESIGN.md on the branch.
    u = on_p * p_u + on_q * q_u + off * (q_b * p_w - q_w * p_b)
    b = on_p * p_b + on_q * q_b + off * (q_w * p_u - q_u * p_w)
    w = on_p * p_w + on_q * q_w + off * (q_u * p_b - q_b * p_u)
    middle = 2 * np.arctan2(short, long)
    to_b, to_w = b * half_cos, w * half_sin
    left = _foot_angle(b * half_sin + w * half_cos, cos_l * (to_b - to_w) - sin_l * u)
    right = _foot_angle(b * half_sin - w * half_cos, cos_r * (to_b + to_w) - sin_r * u)
    return _stood(left, right, middle, exists, np.array([u, b, w]).T)


def _planar_sums(
    base_left: Number, base_right: Number, width_left: Number, width_right: Number
) -> tuple[Number, Number, Number, Number]:
    """Differences of the bases and of the widths, then their sums; exact where they differ only by rounding."""
    whole = base_left + base_right + width_left + width_right
    bases, widths = _paired(base_left - base_right, width_left - width_right, whole)
    base, width = _paired(base_left + base_right, width_left + width_right, whole)
    return bases, widths, base, width


def planar_brackets(
    base_left: Number, base_right: Number, width_left: Number, width_right: Number
) -> tuple[Number, Number]:
    """The closing bracket and the opening bracket of a planar cell, mm^2, zero where it lies flat.

    Parameters
    ----------
    base_left, base_right, width_left, width_right : float or (n,) float, mm; see PlanarCell
    """
    bases, widths, base, width = _planar_sums(base_left, base_right, width_left, width_right)
    return (bases + widths) * (bases - widths), (width + base) * (width - base)


def solve_planar(
    base_left: Number, base_right: Number, width_left: Number, width_right: Number, branch: int, dihedral_rad: ArrayLike
) -> CellMotion:
    """Stand planar cells on their host folds: one cell at many angles, or a cell an angle.

    Parameters
    ----------
    base_left, base_right, width_left, width_right : float or (n,) float, mm; see PlanarCell
    branch : AWAY or OVER
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
    a, b, c, d = base_left, base_right, width_left, width_right
    close, wide = planar_brackets(a, b, c, d)
    scale = (a + b + c + d) ** 2
    short2 = close + 4 * a * b * half_sin**2
    long2 = wide + 4 * a * b * half_cos**2
    exists = (short2 >= -BRACKET * scale) & (long2 >= -BRACKET * scale)
    short = np.sqrt(np.maximum(short2, 0.0))
    long = np.sqrt(np.maximum(long2, 0.0))
    bases, widths, _, _ = _planar_sums(a, b, c, d)
    span = np.sqrt(bases**2 + 4 * a * b * half_sin**2)
    shut = span < 1e-150
    shut_any = bool(shut.any())
    if shut_any:
        span = np.where(shut, 1.0, span)
    q_b, q_w = -bases * half_cos / span, (a + b) * half_sin / span
    shift, height = widths * (c + d) / 2 / span, branch * short / span * long / 2
    if shut_any:
        q_w, height = np.where(shut, 1.0, q_w), np.where(shut, branch * long / 2, height)
    across, along = (b - a) / 2 * half_sin, (a + b) / 2 * half_cos
    place_b = along + shift * q_b + height * q_w
    place_w = across + shift * q_w - height * q_b
    to_b, to_w = place_b * half_cos, place_w * half_sin
    up_b, up_w = place_b * half_sin, place_w * half_cos
    left, right = _foot_angle(up_b + up_w, to_b - to_w - a), _foot_angle(up_b - up_w, to_b + to_w - b)
    crease = np.array([np.zeros_like(delta), place_b, place_w]).T
    return _stood(left, right, 2 * np.arctan2(short, long), exists, crease)


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
        """The closing and the opening bracket; see spherical_brackets."""
        close, wide = spherical_brackets(self.alpha_left, self.alpha_right, self.beta_left, self.beta_right)
        return float(close), float(wide)

    def solve(self, dihedral_rad: ArrayLike) -> CellMotion:
        """Stand the cell on its host fold at each dihedral angle, (n,) float, radians; see solve_spherical."""
        sizes = self.alpha_left, self.alpha_right, self.beta_left, self.beta_right
        return solve_spherical(*sizes, self.branch, dihedral_rad)

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
        """The closing and the opening bracket in mm^2; see planar_brackets."""
        close, wide = planar_brackets(self.base_left, self.base_right, self.width_left, self.width_right)
        return float(close), float(wide)

    def solve(self, dihedral_rad: ArrayLike) -> CellMotion:
        """Stand the cell on its host fold at each dihedral angle, (n,) float, radians; see solve_planar."""
        sizes = self.base_left, self.base_right, self.width_left, self.width_right
        return solve_planar(*sizes, self.branch, dihedral_rad)

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
