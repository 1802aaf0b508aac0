"""Copies with errors of hand, closed one by one and slowly: what Monte Carlo is compared with."""

from __future__ import annotations

import numpy as np

from geometry.accuracy import dimensions
from geometry.linkage import PlanarCell, SphericalCell

__all__ = ["cells_of", "errors_of", "sizes_of", "slow_stop"]


def errors_of(spread, copies, seed):
    """The errors that a run draws, (n, d), as its documentation says: normal, independent, one a dimension."""
    every = dimensions(spread, thickness=False)
    random = np.random.default_rng(seed)
    return random.standard_normal((copies, len(every))) * [item.deviation for item in every]


def sizes_of(spread, mechanism, nominal, errors):
    """(n, 4) sizes of one cell with the errors in them."""
    total = np.tile(np.asarray(nominal, dtype=float), (len(errors), 1))
    for column, item in enumerate(dimensions(spread, thickness=False)):
        if item.mechanism == mechanism and not item.of_loop:
            total += errors[:, column : column + 1] * item.effect
    return total


def cells_of(spread, errors):
    """By cell its four sizes with the errors in them, (n, 4)."""
    cells = {}
    for item in spread.cells:
        cell = item.cell
        sizes = (
            (cell.base_left, cell.base_right, cell.width_left, cell.width_right)
            if isinstance(cell, PlanarCell)
            else (cell.alpha_left, cell.alpha_right, cell.beta_left, cell.beta_right)
        )
        cells[item.id] = sizes_of(spread, item.id, sizes, errors)
    return cells


def slow_stop(spread, sizes):
    """The opening at which one copy stops: cells with the changed sizes, walked down from 90 degrees in small steps.

    Loops stand as designed.
    """
    cells = []
    of_loops = [name for loop in spread.loops for name in loop.gives]
    for item in spread.cells:
        kind = PlanarCell if isinstance(item.cell, PlanarCell) else SphericalCell
        cells.append((item, kind(*sizes[item.id], item.cell.branch)))

    def stands(openings):
        designed = spread.pose(openings).variables if of_loops else {}
        variables = {"spine": np.asarray(openings), **{name: designed[name] for name in of_loops}}
        good = np.ones(len(openings), dtype=bool)
        for item, cell in cells:
            motion = cell.solve(item.host.of(variables, len(openings)))
            good &= motion.exists
            variables |= {
                f"{item.id}:left": motion.left,
                f"{item.id}:right": motion.right,
                f"{item.id}:middle": motion.middle,
            }
        return good

    walk = np.radians([*np.arange(90.0, 0.0, -0.05), 0.03, 0.01, 0.0])
    good = stands(walk)
    if good.all():
        return 0.0
    stop = int(np.argmin(good))
    low, high = walk[stop], walk[stop - 1] if stop else np.nan
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (low, middle) if stands([middle])[0] else (middle, high)
    return high
