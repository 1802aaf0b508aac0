"""Polynomials through positions that are known: the way on, between them, and out to the end of a range."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .transforms import Array

__all__ = ["Stretch", "extrapolated", "interpolated", "predicted", "surprises"]

#: Positions that the way on is led through, at the most.
_BEHIND = 6


@dataclass(frozen=True)
class Stretch:
    """The last stretch of a range: a polynomial in the distance from its end, or in a root of that.

    Parameters
    ----------
    end, length : where the range ends, and how long the stretch is
    power : 1; or 2 where the motion begins like a square root, as that of a crank whose rod lies in line with it
    roots : (k,) float; distances from the end, their roots where power is 2
    angles : (k, m) float; positions there
    """

    end: float
    length: float
    power: int
    roots: Array
    angles: Array

    def holds(self, values: Array) -> Array:
        """(n,) bool: which values lie in the stretch."""
        return np.asarray(np.abs(values - self.end) < self.length)

    def at(self, values: Array) -> Array:
        """Positions at values in the stretch, (n, m) float."""
        return extrapolated(self.roots, self.angles, np.abs(values - self.end) ** (1 / self.power))


def predicted(values: Array, angles: Array, places: Array) -> Array:
    """The way on, through the last positions, (p, m) float."""
    return extrapolated(values[-_BEHIND:], angles[-_BEHIND:], places)


def surprises(values: Array, angles: Array, known: int) -> Array:
    """How far positions are from where the three before each lead, (k - known,) float: those after the known ones."""
    early = range(known, min(3, len(values)))
    off = [angles[row] - extrapolated(values[:row], angles[:row], values[[row]])[0] for row in early]
    later = np.arange(max(known, 3), len(values))
    rows = later[:, None] - np.arange(3, 0, -1)
    off.extend(angles[later] - (_weights(values[rows], values[later])[:, None] @ angles[rows])[:, 0])
    return np.asarray(np.abs(np.array(off)).max(axis=1))


def interpolated(values: Array, angles: Array, places: Array) -> Array:
    """Cubic interpolation between positions, (p, m) float."""
    width = min(4, len(values))
    first = np.clip(np.searchsorted(values, places) - 2, 0, len(values) - width)
    rows = first[:, None] + np.arange(width)
    return np.asarray((_weights(values[rows], places)[:, None] @ angles[rows])[:, 0])


def extrapolated(values: Array, angles: Array, places: Array) -> Array:
    """The polynomial through all positions, (p, m) float."""
    return np.asarray(_weights(values[None], places) @ angles)


def _weights(values: Array, places: Array) -> Array:
    """Of positions at (p, k) values, or at the same (1, k) ones, in the polynomial through them at places, (p, k).

    Notes
    -----
    Source: Lagrange's interpolation formula.
    """
    others = ~np.eye(values.shape[1], dtype=bool)
    parts = np.ones((len(places), *others.shape))
    np.divide(places[:, None, None] - values[:, None], values[:, :, None] - values[:, None], out=parts, where=others)
    return np.asarray(parts.prod(axis=2))
