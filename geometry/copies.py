"""Copies of a spread, each with its own sizes and its own card: at which opening each stops when a hand closes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .creep import CellCreep, half_crease
from .linkage import AWAY, PlanarCell, SphericalCell, solve_planar, solve_spherical
from .model import CellOnFold
from .motion import Unit, solve_cells
from .spread import Spread
from .tolerances import ANGLE_RAD
from .transforms import Array

__all__ = ["Copies", "closing", "closing_conditions", "copies_of", "driven_cells", "misses_mm", "nominal_sizes"]

#: How often a step between openings is halved; the last times, within a quarter of a thousandth of a degree, what loops
#: give is taken to run straight: that is off by less than 1e-11 of a radian, and near a loop's own end by no more than
#: what is left of the step.
_BISECTIONS, _STRAIGHT = 30, 17
#: Openings at which a copy is tried on its way down from 90 degrees. A nested copy may stand again below the opening at
#: which it stops, so the steps are small.
_STEPS_RAD = np.radians(np.concatenate([[0.0, 0.25, 0.5], np.arange(1.0, 30.0), np.arange(30.0, 91.0, 2.0)]))
#: Closing conditions of a cell whose fold is shut, or lies flat, in the closed book: multiples of its sizes, and of 1.
_SHUT = ((1.0, -1.0, 1.0, -1.0, 0.0), (1.0, -1.0, -1.0, 1.0, 0.0))
_FLAT = ((1.0, 1.0, -1.0, -1.0, 0.0), (1.0, 1.0, -1.0, 1.0, 0.0), (1.0, 1.0, 1.0, -1.0, 0.0))
_PAST_FLAT = (1.0, 1.0, 1.0, 1.0, -2 * np.pi)


@dataclass(frozen=True)
class Copies:
    """Copies of all cells that the opening moves.

    Parameters
    ----------
    count : n
    units : of the spread as designed; loops move in every copy as they do there
    given : variables of loops that cells stand on
    cells : in solving order
    sizes : (n, 4) float a cell, mm or radians; host left, host right, added left, added right
    """

    count: int
    units: tuple[Unit, ...]
    given: frozenset[str]
    cells: tuple[CellOnFold, ...]
    sizes: Mapping[str, Array]

    def solve(self, openings_rad: Array, given: Mapping[str, Array] | None = None) -> dict[str, Array]:
        """All angles, each copy at its own opening; what loops give may be known."""
        loops = self._of_loops(openings_rad) if given is None else given
        variables: dict[str, Array] = {"spine": openings_rad, **loops}
        for item in self.cells:
            host = item.host.of(variables, self.count)
            solver = solve_planar if isinstance(item.cell, PlanarCell) else solve_spherical
            own = self.sizes[item.id].T
            motion = solver(own[0], own[1], own[2], own[3], item.cell.branch, host)
            variables.update(zip(item.gives, (motion.left, motion.right, motion.middle), strict=True))
        return variables

    def _of_loops(self, openings_rad: Array) -> dict[str, Array]:
        if not self.given:
            return {}
        openings, back = np.unique(openings_rad, return_inverse=True)
        variables = solve_cells(openings, self.units)
        return {name: variables[name][back] for name in self.given}

    def stands(self, openings_rad: Array, given: Mapping[str, Array] | None = None) -> NDArray[np.bool_]:
        """(n,) bool: which copies stand, each at its own opening; what loops give may be known."""
        return np.asarray(np.all([np.isfinite(value) for value in self.solve(openings_rad, given).values()], axis=0))

    def at(self, rows: NDArray[np.int64]) -> Copies:
        """Some of the copies."""
        sizes = {name: values[rows] for name, values in self.sizes.items()}
        return replace(self, count=len(rows), sizes=sizes)

    def stops(self) -> Array:
        """Where each stops when it is closed from 90 degrees, (n,) float, radians; NaN: it does not stand there."""
        # The last step, coming down from 90 degrees, at which a copy still stands.
        standing, first = np.arange(self.count), np.full(self.count, len(_STEPS_RAD))
        for index in reversed(range(len(_STEPS_RAD))):
            if not len(standing):
                break
            standing = standing[self.at(standing).stands(np.full(len(standing), _STEPS_RAD[index]))]
            first[standing] = index
        stop = np.where(first < len(_STEPS_RAD), 0.0, np.nan)
        between = np.flatnonzero((first > 0) & (first < len(_STEPS_RAD)))
        if len(between):
            low, high = _STEPS_RAD[first[between] - 1], _STEPS_RAD[first[between]]
            stop[between] = self.at(between).ceasing(low, high)
        return stop

    def ceasing(self, low: Array, high: Array) -> Array:
        """Where each ceases to stand, between an opening at which it does not and one at which it does, (n,) float."""
        for _ in range(_BISECTIONS - _STRAIGHT):
            low, high = _halved(low, high, self.stands((low + high) / 2))
        # So close together what loops give runs straight.
        below, above, start, wide = self._of_loops(low), self._of_loops(high), low, high - low
        for _ in range(_STRAIGHT):
            middle = (low + high) / 2
            part = (middle - start) / np.maximum(wide, np.finfo(float).tiny)
            given = {name: below[name] + part * (above[name] - below[name]) for name in self.given}
            low, high = _halved(low, high, self.stands(middle, given))
        return high


def _halved(low: Array, high: Array, good: NDArray[np.bool_]) -> tuple[Array, Array]:
    """The half of each range in which a copy ceases to stand, from whether it stands in the middle."""
    middle = (low + high) / 2
    return np.where(good, low, middle), np.where(good, middle, high)


def driven_cells(spread: Spread) -> tuple[CellOnFold, ...]:
    """The cells that the opening moves, by itself or through other cells and loops; not those that a hand moves."""
    moved = spread.moved_by("spine")
    return tuple(item for item in spread.cells if item.needs <= moved)


def nominal_sizes(item: CellOnFold) -> Array:
    """Sizes of a cell as designed, (4,) float, mm or radians."""
    cell = item.cell
    if isinstance(cell, PlanarCell):
        return np.array([cell.base_left, cell.base_right, cell.width_left, cell.width_right])
    return np.array([cell.alpha_left, cell.alpha_right, cell.beta_left, cell.beta_right])


def copies_of(
    spread: Spread, count: int, sizes: Mapping[str, Array], creep: Mapping[str, CellCreep], factors: Mapping[str, Array]
) -> Copies:
    """Copies with these sizes cut and glued, out of card of these thicknesses.

    Parameters
    ----------
    spread : Spread
    count : n
    sizes : (n, 4) float a cell
    creep : what thickness does to each cell; cells that are not in it are of card without thickness
    factors : (n, k) float a cell; what multiplies the caliper of each stock there

    Returns
    -------
    Copies
    """
    cells = driven_cells(spread)
    made = {
        item.id: creep[item.id].shortened(sizes[item.id], factors[item.id]) if item.id in creep else sizes[item.id]
        for item in cells
    }
    loops = {name for loop in spread.loops for name in loop.gives}
    given = frozenset(name for item in cells for name in item.needs if name in loops)
    return Copies(count, spread.units, given, cells, made)


def closing(spread: Spread, copies: Copies) -> tuple[Array, Array, Array]:
    """For each copy: the opening where it stops (rad), its fore edge's gap (mm), the stand-off of its creases (mm).

    The gap is what the opening leaves; the thickness of the shut spread itself is not in it.
    """
    stops = copies.stops()
    fore_edge = 2 * spread.page_size_mm[0] * np.sin(np.where(np.isfinite(stops), stops, np.pi) / 2)
    variables = copies.solve(np.where(np.isfinite(stops), stops, np.pi / 2))
    off = np.zeros(copies.count)
    shut = stops == 0.0
    for item in copies.cells:
        own = copies.sizes[item.id]
        planar = isinstance(item.cell, PlanarCell)
        reach = own[:, 2] if planar else np.sin(own[:, 2]) * 2 * half_crease(spread, item)
        height = np.abs(np.sin(variables[f"{item.id}:left"])) * reach
        off = np.fmax(off, np.where(shut, height, 0.0))
    return stops, fore_edge, off


def closing_conditions(spread: Spread) -> dict[str, Array]:
    """What the sizes of each cell are multiplied by in its closing condition, and what is added: 0 where it closes.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    dict of (5,) float

    Notes
    -----
    Source: DESIGN.md, section 3. Of conditions that its fold leaves open the one that the cell as designed is nearest
    to; of those it is equally near to, the one for its branch.
    """
    low, _ = spread.reachable()
    variables = solve_cells(np.array([low if np.isfinite(low) else np.pi / 2]), spread.units)
    found = {}
    for item in driven_cells(spread):
        if abs(float(item.host.of(variables)[0]) - np.pi) < np.pi / 2:
            every = [*_FLAT, _PAST_FLAT] if isinstance(item.cell, SphericalCell) else [*_FLAT]
        else:
            every = [*_SHUT] if item.cell.branch == AWAY else [*reversed(_SHUT)]
        missing = np.abs(np.array(every) @ np.append(nominal_sizes(item), 1.0))
        found[item.id] = np.array(every[int(np.flatnonzero(missing <= missing.min() + ANGLE_RAD)[0])])
    return found


def misses_mm(spread: Spread, copies: Copies) -> Array:
    """By how much the worst cell of each copy misses its closing condition, (n,) float, mm; half-way up its crease."""
    conditions, worst = closing_conditions(spread), np.zeros(copies.count)
    for item in copies.cells:
        reach = 1.0 if isinstance(item.cell, PlanarCell) else half_crease(spread, item)
        condition = conditions[item.id]
        worst = np.maximum(worst, reach * np.abs(copies.sizes[item.id] @ condition[:4] + condition[4]))
    return worst
