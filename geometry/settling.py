"""From a guess to a position in which a loop closes: a damped Gauss-Newton correction, many positions at once."""

from __future__ import annotations

import numpy as np

from .transforms import Array
from .tree import Tree

__all__ = ["CLOSED_MM", "FREE", "WEAK", "settled"]

#: A closure that misses by less is closed: a hundred times what the rounding of a chain of ten panels adds up to.
CLOSED_MM = 1e-11
#: Directions of the Jacobian weaker than this part of the strongest are free motions.
FREE = 1e-8
#: Within the last stretch of a range, directions weaker than this are left to the extrapolation.
WEAK = 0.02
#: Nothing is to be gained from a further correction: what rounding adds up to, and an angle's last digit.
_FINEST_MM, _FINEST = 1e-13, 1e-15
#: An angle is corrected by no more at once, radians.
_LARGEST_STEP = 0.3
#: How much shorter a column's square may be, and how independent columns are at the least (the determinant of their
#: cosines): then no direction is weak, and the normal equations lose no more than a correction can spare.
_EVEN, _INDEPENDENT = 1e-6, 1e-6


def settled(
    tree: Tree, values: Array, guess: Array, weak: Array, most: int, within: float = np.inf
) -> tuple[Array, Array]:
    """Positions in which a loop closes, and by how much it still misses.

    Parameters
    ----------
    tree : of the loop
    values : (b, n) float; what moves each body, as far as it is known
    guess : (n, m) float; the unknowns to start from
    weak : (n,) float; directions of the Jacobian weaker than this part of the strongest are left alone
    most : corrections
    within : of the guess; what strays further is given up

    Returns
    -------
    angles : (n, m) float
    misfit : (n,) float, mm; infinite where something is not known, or was given up
    """
    angles = guess.copy()
    misfit = np.full(len(guess), np.inf)
    active = np.flatnonzero(np.isfinite(tree.with_unknowns(values, guess)).all(axis=0))
    for round_left in range(most, -1, -1):
        if not len(active):
            break
        posed = tree.posed(tree.with_unknowns(values[:, active], angles[active]))
        off = tree.misfit(posed)
        misfit[active] = np.abs(off).max(axis=1)
        if not round_left:
            break
        wrong = np.flatnonzero(misfit[active] > _FINEST_MM)
        if len(wrong) < len(active):
            active, posed, off = active[wrong], posed.at(wrong), off[wrong]
        if not len(active):
            break
        step = _corrections(tree.jacobian(posed), off, weak[active])
        length = np.abs(step).max(axis=1, initial=0.0)
        step *= np.minimum(1.0, _LARGEST_STEP / np.maximum(length, 1e-300))[:, None]
        moving = length > _FINEST
        active = active[moving]
        angles[active] += step[moving]
        if np.isfinite(within):
            strayed = np.abs(angles[active] - guess[active]).max(axis=1, initial=0.0) > within
            misfit[active[strayed]] = np.inf
            active = active[~strayed]
    return angles, misfit


def _corrections(jacobian: Array, off: Array, weak: Array) -> Array:
    """The shortest steps that lessen the misfit the most, (n, m) float."""
    turned = np.swapaxes(jacobian, 1, 2)
    normal, slope = turned @ jacobian, turned @ off[:, :, None]
    squares = np.einsum("nii->ni", normal)
    sound = (squares.min(axis=1) > _EVEN * squares.max(axis=1)) & (weak <= FREE)
    sound &= np.linalg.det(normal) > _INDEPENDENT * squares.prod(axis=1)
    if sound.all():
        return np.asarray(-np.linalg.solve(normal, slope)[:, :, 0])
    step = np.empty(squares.shape)
    even, odd = np.flatnonzero(sound), np.flatnonzero(~sound)
    step[odd] = -(np.linalg.pinv(jacobian[odd], rcond=weak[odd]) @ off[odd, :, None])[:, :, 0]
    if len(even):
        step[even] = -np.linalg.solve(normal[even], slope[even])[:, :, 0]
    return step
