"""Cells of all sorts, at random and at awkward places, and how far a motion is from closing their loop."""

from __future__ import annotations

import numpy as np
import pytest

from geometry.linkage import (
    AWAY,
    OVER,
    PlanarCell,
    SphericalCell,
    closing_partner,
)

PI = np.pi
_RNG = np.random.default_rng(20240613)


def random_spherical(rng, count, *, closing=None, total=None):
    """Cells of all shapes; `total` fixes the sum of the alphas, `closing` the branch on which they close flat."""
    cells = []
    while len(cells) < count:
        alpha_left, alpha_right = rng.uniform(0.1, PI - 0.1, 2)
        if total is not None:
            alpha_right = total - alpha_left
        beta_left, beta_right = rng.uniform(0.1, PI - 0.1, 2)
        branch = closing or int(rng.choice([AWAY, OVER]))
        if closing:
            beta_right = closing_partner(0.0, branch, (alpha_left, alpha_right), beta_left)
        if alpha_left + alpha_right <= PI + 1e-13 and alpha_right > 0.05 and 0.02 < beta_right < PI - 0.02:
            cells.append(SphericalCell(alpha_left, alpha_right, beta_left, beta_right, branch))
    return cells


def random_planar(rng, count, *, closing=None):
    cells = []
    while len(cells) < count:
        base_left, base_right, width_left, width_right = rng.uniform(3.0, 90.0, 4)
        branch = closing or int(rng.choice([AWAY, OVER]))
        if closing:
            width_right = closing_partner(0.0, branch, (base_left, base_right), width_left)
        if width_right > 1.0:
            cells.append(PlanarCell(base_left, base_right, width_left, width_right, branch))
    return cells


def named(cells):
    return [pytest.param(cell, id=f"{type(cell).__name__}-{index}") for index, cell in enumerate(cells)]


SEVERAL = (
    random_spherical(_RNG, 25)
    + random_spherical(_RNG, 25, closing=AWAY)
    + random_spherical(_RNG, 10, closing=OVER)
    + random_spherical(_RNG, 15, total=PI)
    + random_spherical(_RNG, 15, total=PI - 1e-9, closing=AWAY)
    + random_planar(_RNG, 25)
    + random_planar(_RNG, 25, closing=AWAY)
    + random_planar(_RNG, 10, closing=OVER)
)
