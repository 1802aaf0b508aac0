"""Motion of a spread: from opening angles to every angle, and to the pose of every panel."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .model import Angle, CellOnFold, Hinge, Panel
from .transforms import Array, rotation_about

__all__ = ["Motion", "pose_panels", "solve_cells"]


@dataclass(frozen=True)
class Motion:
    """A spread at a number of openings.

    Parameters
    ----------
    openings_rad : (n,) float
    variables : each named angle, (n,) float, radians; NaN where it cannot be reached
    matrices : each panel's pose, (n, 4, 4) float; NaN where it cannot be reached
    """

    openings_rad: Array
    variables: Mapping[str, Array]
    matrices: Mapping[str, Array]

    def angle(self, angle: Angle) -> Array:
        """An angle of the spread at every opening, (n,) float, radians."""
        return value_of(angle, self.variables, len(self.openings_rad))

    def dihedral(self, hinge: Hinge) -> Array:
        """A hinge's dihedral angle at every opening, (n,) float, radians."""
        return self.angle(hinge.dihedral)

    def reached(self) -> np.ndarray:
        """(n,) bool: openings at which every panel has a pose."""
        good = np.ones(len(self.openings_rad), dtype=bool)
        for value in self.variables.values():
            good &= np.isfinite(value)
        return good


def value_of(angle: Angle, variables: Mapping[str, Array], count: int) -> Array:
    """Evaluate an angle, (n,) float, radians."""
    if angle.variable is None:
        return np.full(count, angle.offset)
    return angle.offset + angle.scale * variables[angle.variable]


def solve_cells(openings_rad: ArrayLike, cells: Iterable[CellOnFold]) -> dict[str, Array]:
    """Every named angle of the spread at every opening.

    Parameters
    ----------
    openings_rad : (n,) float, 0 closed, pi flat open
    cells : in an order in which each cell stands on folds of earlier ones

    Returns
    -------
    variables : dict of (n,) float, radians; NaN from the first cell on that cannot stand
    """
    openings = np.atleast_1d(np.asarray(openings_rad, dtype=float))
    variables: dict[str, Array] = {"spine": openings}
    for item in cells:
        motion = item.cell.solve(value_of(item.host, variables, len(openings)))
        variables[f"{item.id}:left"] = motion.left
        variables[f"{item.id}:right"] = motion.right
        variables[f"{item.id}:middle"] = motion.middle
    return variables


def pose_panels(panels: Iterable[Panel], variables: Mapping[str, Array]) -> dict[str, Array]:
    """Pose of every panel, parents first.

    Parameters
    ----------
    panels : each after its parent
    variables : what solve_cells returned

    Returns
    -------
    matrices : dict of (n, 4, 4) float; NaN where the pose cannot be reached
    """
    count = len(variables["spine"])
    matrices: dict[str, Array] = {}
    for panel in panels:
        above = np.broadcast_to(np.eye(4), (count, 4, 4)) if panel.parent is None else matrices[panel.parent]
        if panel.axis is None:
            matrices[panel.id] = above @ panel.rest
        else:
            turn = value_of(panel.axis.turn, variables, count)
            matrices[panel.id] = above @ rotation_about(panel.axis.point, panel.axis.direction, turn) @ panel.rest
    return matrices
