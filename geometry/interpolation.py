"""Polynomials through positions that are known: the way on, between them, and out to the end of a range."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .transforms import Array

__all__ = ["Stretch", "extrapolated", "interpolated", "predicted"]


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


def predicted(values: list[float], angles: list[Array], value: float) -> Array:
    """The way on, through the last three positions."""
    last = min(len(values), 3)
    return np.asarray(_lagrange(np.array(values[-last:])[None], np.array(angles[-last:])[None], np.array([value]))[0])


def interpolated(values: Array, angles: Array, places: Array) -> Array:
    """Cubic interpolation between positions, (p, m) float."""
    width = min(4, len(values))
    first = np.clip(np.searchsorted(values, places) - 2, 0, len(values) - width)
    rows = first[:, None] + np.arange(width)
    return _lagrange(values[rows], angles[rows], places)


def extrapolated(values: Array, angles: Array, places: Array) -> Array:
    """The polynomial through all positions, (p, m) float."""
    shape = len(places), *values.shape
    return _lagrange(np.broadcast_to(values, shape), np.broadcast_to(angles, (len(places), *angles.shape)), places)


def _lagrange(values: Array, angles: Array, places: Array) -> Array:
    """Lagrange interpolation: values (p, k), angles (p, k, m), places (p,) to (p, m)."""
    count = values.shape[1]
    result = np.zeros((len(places), angles.shape[2]))
    for index in range(count):
        others = [other for other in range(count) if other != index]
        weight = np.prod((places[:, None] - values[:, others]) / (values[:, [index]] - values[:, others]), axis=1)
        result += weight[:, None] * angles[:, index]
    return result
