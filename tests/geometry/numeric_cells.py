"""A cell as a loop of the numeric solver: the same four panels, three hinges in a row and the fourth to be closed."""

from __future__ import annotations

import numpy as np
from shapely import box

from geometry.closures import Closure, LoopGeometry, loop_geometry
from geometry.linkage import Cell, PlanarCell
from geometry.loops import Loop, Start
from geometry.model import Angle, Axis, Panel
from geometry.transforms import Array, frame

X, Y, ZERO = np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]), np.zeros(3)
CARD = box(0, 0, 1, 1)
UNKNOWNS = ("foot", "crease")


def cell_loop(cell: Cell, start: float = np.pi / 2) -> Loop:
    """The loop, started from the closed form at one opening.

    The middle crease's turn is its dihedral angle or less that, as the branch has it: the one that closes is taken.
    """
    geometry = _planar(cell) if isinstance(cell, PlanarCell) else _spherical(cell)
    stood = cell.solve(np.array([start]))
    guesses = np.array([[stood.left[0], sign * stood.middle[0]] for sign in (1.0, -1.0)])
    known = {"spine": np.full(2, start), "foot": guesses[:, 0], "crease": guesses[:, 1]}
    misfit = np.abs(geometry.misfit(known)).max(axis=1)
    if misfit.min() > 1e-9:
        raise AssertionError(f"the closed form does not close the loop: {misfit} mm")
    return Loop("cell", "spine", 0.0, np.pi, geometry, (), Start(start, guesses[[int(np.argmin(misfit))]]))


def _hosts() -> list[Panel]:
    left = Axis(ZERO, Y, Angle("spine", -1.0, np.pi))
    return [Panel("R", "hosts", CARD, None, np.eye(4)), Panel("L", "hosts", CARD, "R", np.eye(4), left)]


def _closed(first: Panel, second: Panel, frames: tuple[Array, Array]) -> LoopGeometry:
    panels = {panel.id: panel for panel in (*_hosts(), first, second)}
    return loop_geometry(panels, UNKNOWNS, [Closure("right", ("R", "B"), (frames[1], frames[0]), 40.0)])


def _planar(cell: PlanarCell) -> LoopGeometry:
    place, width, other = -cell.base_left * X, cell.width_left * X, cell.width_right * X
    first = Panel("A", "cell", CARD, "L", frame(place, -X, Y), Axis(place, Y, Angle("foot")))
    second = Panel("B", "cell", CARD, "A", frame(width, -X, Y), Axis(width, Y, Angle("crease")))
    return _closed(first, second, (frame(other, -Y, -X), frame(cell.base_right * X, -Y, X)))


def _spherical(cell: Cell) -> LoopGeometry:
    def ray(angle: float, side: float) -> tuple[Array, Array]:
        """A line through the apex, and the unit vector square to it, away from the y axis."""
        along = np.cos(angle) * Y + side * np.sin(angle) * X
        return along, -np.sin(angle) * Y + side * np.cos(angle) * X

    line, out = ray(cell.alpha_left, -1.0)
    first = Panel("A", "cell", CARD, "L", frame(ZERO, out, line), Axis(ZERO, line, Angle("foot")))
    crease, beyond = ray(cell.beta_left, 1.0)
    second = Panel("B", "cell", CARD, "A", frame(ZERO, -beyond, crease), Axis(ZERO, crease, Angle("crease")))
    end, after = ray(cell.beta_right, 1.0)
    host, outward = ray(cell.alpha_right, 1.0)
    return _closed(first, second, (frame(ZERO, -end, -after), frame(ZERO, -host, outward)))
