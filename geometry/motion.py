"""Motion of a spread: from opening angles to every angle, and to the pose of every panel."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from .model import Angle, Hinge, Panel
from .transforms import Array

__all__ = ["Motion", "Unit", "pose_panels", "solve_cells", "solve_units"]


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
        return angle.of(self.variables, len(self.openings_rad))

    def dihedral(self, hinge: Hinge) -> Array:
        """A hinge's dihedral angle at every opening, (n,) float, radians."""
        return self.angle(hinge.dihedral)

    def reached(self) -> np.ndarray:
        """(n,) bool: openings at which every panel has a pose."""
        good = np.ones(len(self.openings_rad), dtype=bool)
        for value in self.variables.values():
            good &= np.isfinite(value)
        return good


class Unit(Protocol):
    """What moves as one: a cell, a loop, or what a hand moves."""

    @property
    def id(self) -> str:
        """The mechanism's name."""

    @property
    def needs(self) -> frozenset[str]:
        """Variables that it is solved from."""

    @property
    def gives(self) -> tuple[str, ...]:
        """Variables that it solves for."""

    def solve(self, variables: Mapping[str, Array]) -> Mapping[str, Array]:
        """Its variables, (n,) float each, NaN where it cannot stand, from those known before."""


def solve_cells(
    openings_rad: ArrayLike, cells: Iterable[Unit], hands: Mapping[str, ArrayLike] | None = None
) -> dict[str, Array]:
    """Every named angle of the spread at every opening.

    Parameters
    ----------
    openings_rad : (n,) float, 0 closed, pi flat open
    cells : cells, loops and hands, in an order in which each stands on folds of earlier ones
    hands : (n,) float or one number each; where a hand has moved what it moves, by variable; otherwise all rests

    Returns
    -------
    variables : dict of (n,) float, radians; NaN from the first cell on that cannot stand
    """
    openings = np.atleast_1d(np.asarray(openings_rad, dtype=float))
    moved = {name: np.asarray(value, dtype=float) for name, value in (hands or {}).items()}
    known = {name: np.broadcast_to(value, openings.shape) for name, value in moved.items()}
    return solve_units(cells, {"spine": openings, **known})


def solve_units(units: Iterable[Unit], known: Mapping[str, Array]) -> dict[str, Array]:
    """Everything that units give, added to what is known."""
    variables = dict(known)
    for unit in units:
        variables.update(unit.solve(variables))
    return variables


def pose_panels(panels: Iterable[Panel], variables: Mapping[str, Array], count: int | None = None) -> dict[str, Array]:
    """Pose of every panel, parents first.

    Parameters
    ----------
    panels : each after its parent
    variables : what solve_cells returned
    count : how many positions; by default as many as there are openings

    Returns
    -------
    matrices : dict of (n, 4, 4) float; NaN where the pose cannot be reached
    """
    count = len(variables["spine"]) if count is None else count
    matrices: dict[str, Array] = {}
    for panel in panels:
        above = np.broadcast_to(np.eye(4), (count, 4, 4)) if panel.parent is None else matrices[panel.parent]
        if panel.axis is None:
            matrices[panel.id] = above @ panel.rest
        else:
            matrices[panel.id] = above @ panel.axis.motion(panel.axis.turn.of(variables, count)) @ panel.rest
    return matrices
