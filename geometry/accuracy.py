"""How accurate the hand must be: what errors of cutting, creasing and gluing do to closing.

Every error of a cell comes down to errors of its four sizes. A glued panel that sits e along or across its glue line
carries its middle crease sideways; at half the crease's length that is an angle, and so it is counted (an estimate:
a cell whose lines miss each other by a hair moves only because card gives).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .linkage import PlanarCell, SphericalCell, solve_planar, solve_spherical
from .model import CellOnFold
from .motion import value_of
from .spread import Spread
from .transforms import Array

__all__ = ["Accuracy", "Dimension", "MonteCarlo", "dimensions", "monte_carlo", "sensitivities"]

_SIZES = ("host_left", "host_right", "added_left", "added_right")
_BISECTIONS = 30
#: Openings at which a copy is tried on its way down from 90 degrees. A nested copy may stand again below the opening at
#: which it stops, so the steps are small.
_STEPS_RAD = np.radians(np.concatenate([[0.0, 0.25, 0.5], np.arange(1.0, 30.0), np.arange(30.0, 91.0, 2.0)]))


@dataclass(frozen=True)
class Dimension:
    """One size that a hand sets.

    Parameters
    ----------
    mechanism, name : whose, and which
    unit : "mm" or "deg", of the error
    deviation : standard deviation of the error, in that unit
    effect : (4,) float; change of the cell's sizes (host left, host right, added left, added right; radians or mm)
        for an error of one unit
    """

    mechanism: str
    name: str
    unit: str
    deviation: float
    effect: Array


@dataclass(frozen=True)
class Accuracy:
    """What one dimension does to closing.

    Parameters
    ----------
    dimension : Dimension
    misfit_per_unit : change of the closing condition (degrees or mm) for an error of one unit, first order
    fore_edge_mm : how far the fore edge stays open for an error of one standard deviation, the worse sign; exact
    stand_off_mm : how far a crease stands off its host in the shut spread for the same error, the worse sign
    """

    dimension: Dimension
    misfit_per_unit: float
    fore_edge_mm: float
    stand_off_mm: float


@dataclass(frozen=True)
class MonteCarlo:
    """Closing of many copies with random errors.

    Parameters
    ----------
    copies, seed : as asked for
    opening_deg : (n,) float; opening at which each copy stops when closed by hand
    fore_edge_mm : (n,) float; how far its fore edge then stays open
    stand_off_mm : (n,) float; how far a crease stands off its host in the shut copy
    gap_mm : the limit held to
    share : part of the copies whose fore edge stays within the limit. A crease that stands off is pressed flat by the
        closing hand and is not counted: on an equal cell it is a loose flap
    """

    copies: int
    seed: int
    opening_deg: Array
    fore_edge_mm: Array
    stand_off_mm: Array
    gap_mm: float
    share: float


def dimensions(spread: Spread) -> tuple[Dimension, ...]:
    """Every size of the spread that a hand sets, cell by cell."""
    return tuple(item for cell in spread.cells for item in _of_cell(spread, cell))


def _of_cell(spread: Spread, item: CellOnFold) -> list[Dimension]:
    cut = spread.panels[f"{item.id}.left"].role == "strip"
    if isinstance(item.cell, PlanarCell):
        return _planar_cut(spread, item) if cut else _planar_glued(spread, item, item.cell)
    return _spherical_cut(spread, item) if cut else _spherical_glued(spread, item, item.cell)


def _row(**sizes: float) -> Array:
    return np.array([sizes.get(name, 0.0) for name in _SIZES])


def _length(spread: Spread, hinge_id: str) -> float:
    """Length of a hinge, its parts taken together."""
    parts = [hinge.lines[0] for hinge in spread.hinges if hinge.id.split("#")[0] == hinge_id]
    return float(sum(np.hypot(*(part[1] - part[0])) for part in parts))


def _spherical_glued(spread: Spread, item: CellOnFold, cell: SphericalCell) -> list[Dimension]:
    limits = spread.limits
    half = _length(spread, f"{item.id}.middle") / 2
    degree = float(np.radians(1.0))
    found = []
    for side, beta in (("left", cell.beta_left), ("right", cell.beta_right)):
        host, added = f"host_{side}", f"added_{side}"
        along, across = float(np.sin(beta)) / half, float(np.cos(beta)) / half
        found += [
            Dimension(item.id, f"glue angle, {side}", "deg", limits.sd_angle, _row(**{host: degree})),
            Dimension(item.id, f"crease angle, {side}", "deg", limits.sd_angle, _row(**{added: degree})),
            Dimension(item.id, f"glue along its line, {side}", "mm", limits.sd_length, _row(**{added: along})),
            Dimension(item.id, f"glue across its line, {side}", "mm", limits.sd_length, _row(**{added: across})),
        ]
    return found


def _planar_glued(spread: Spread, item: CellOnFold, cell: PlanarCell) -> list[Dimension]:
    limits = spread.limits
    tilt = float(np.radians(1.0)) * _length(spread, f"{item.id}.middle") / 2
    found = []
    for side in ("left", "right"):
        host, added = f"host_{side}", f"added_{side}"
        found += [
            Dimension(item.id, f"glue across its line, {side}", "mm", limits.sd_length, _row(**{host: 1.0})),
            Dimension(item.id, f"height, {side}", "mm", limits.sd_length, _row(**{added: 1.0})),
            Dimension(item.id, f"glue angle, {side}", "deg", limits.sd_angle, _row(**{host: tilt})),
        ]
    return found


def _spherical_cut(spread: Spread, item: CellOnFold) -> list[Dimension]:
    deviation = spread.limits.sd_length
    middle = 1.0 / _length(spread, f"{item.id}.middle")
    found = [
        Dimension(item.id, "middle crease, far end", "mm", deviation, _row(added_left=middle, added_right=-middle))
    ]
    for side in ("left", "right"):
        turn = 1.0 / _length(spread, f"{item.id}.{side}")
        effect = _row(**{f"host_{side}": turn, f"added_{side}": turn})
        found.append(Dimension(item.id, f"{side} crease, far end", "mm", deviation, effect))
    return found


def _planar_cut(spread: Spread, item: CellOnFold) -> list[Dimension]:
    deviation = spread.limits.sd_length
    found = [Dimension(item.id, "middle crease", "mm", deviation, _row(added_left=1.0, added_right=-1.0))]
    for side in ("left", "right"):
        effect = _row(**{f"host_{side}": 1.0, f"added_{side}": 1.0})
        found.append(Dimension(item.id, f"{side} crease", "mm", deviation, effect))
    return found


def _nominal(item: CellOnFold) -> Array:
    cell = item.cell
    if isinstance(cell, PlanarCell):
        return np.array([cell.base_left, cell.base_right, cell.width_left, cell.width_right])
    return np.array([cell.alpha_left, cell.alpha_right, cell.beta_left, cell.beta_right])


def _solve(cells: Sequence[CellOnFold], sizes: Mapping[str, Array], openings_rad: Array) -> dict[str, Array]:
    """All angles of n copies, each at its own opening; sizes are (n, 4) a cell."""
    variables: dict[str, Array] = {"spine": openings_rad}
    for item in cells:
        host = value_of(item.host, variables, len(openings_rad))
        own = sizes[item.id].T
        solver = solve_planar if isinstance(item.cell, PlanarCell) else solve_spherical
        motion = solver(own[0], own[1], own[2], own[3], item.cell.branch, host)
        variables[f"{item.id}:left"] = motion.left
        variables[f"{item.id}:right"] = motion.right
        variables[f"{item.id}:middle"] = motion.middle
    return variables


def _stands(variables: Mapping[str, Array]) -> NDArray[np.bool_]:
    return np.asarray(np.all([np.isfinite(value) for value in variables.values()], axis=0))


def _stops(cells: Sequence[CellOnFold], sizes: Mapping[str, Array], count: int) -> Array:
    """Where each copy stops when it is closed from 90 degrees, (n,) float, radians; NaN: it does not stand there."""
    steps = _STEPS_RAD
    stands = np.stack([_stands(_solve(cells, sizes, np.full(count, step))) for step in steps])
    # The last step, coming down from 90 degrees, at which a copy still stands.
    below = np.cumprod(stands[::-1], axis=0)[::-1].astype(bool)
    first = np.argmax(below, axis=0)
    high = steps[first]
    low = steps[np.maximum(first - 1, 0)]
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2
        good = _stands(_solve(cells, sizes, middle))
        high, low = np.where(good, middle, high), np.where(good, low, middle)
    stop = np.where(first == 0, 0.0, high)
    return np.where(below.any(axis=0), stop, np.nan)


def _closing(spread: Spread, sizes: Mapping[str, Array], count: int) -> tuple[Array, Array, Array]:
    """For n copies: opening where each stops (rad), its fore edge's gap (mm), the stand-off of its creases (mm)."""
    stops = _stops(spread.cells, sizes, count)
    fore_edge = 2 * spread.page_size_mm[0] * np.sin(np.where(np.isfinite(stops), stops, np.pi) / 2)
    variables = _solve(spread.cells, sizes, np.where(np.isfinite(stops), stops, np.pi / 2))
    off = np.zeros(count)
    shut = stops == 0.0
    for item in spread.cells:
        own = sizes[item.id]
        planar = isinstance(item.cell, PlanarCell)
        reach = own[:, 2] if planar else np.sin(own[:, 2]) * _length(spread, f"{item.id}.middle")
        height = np.abs(np.sin(variables[f"{item.id}:left"])) * reach
        off = np.fmax(off, np.where(shut, height, 0.0))
    return stops, fore_edge, off


def _sizes(spread: Spread, every: Sequence[Dimension], errors: Array) -> dict[str, Array]:
    """Sizes of every cell in n copies; errors are (n, d), in each dimension's unit."""
    sizes = {item.id: np.tile(_nominal(item), (len(errors), 1)) for item in spread.cells}
    for column, dimension in enumerate(every):
        sizes[dimension.mechanism] = sizes[dimension.mechanism] + errors[:, column : column + 1] * dimension.effect
    return sizes


def sensitivities(spread: Spread) -> tuple[Accuracy, ...]:
    """What each dimension alone does to closing, the worst first.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    tuple of Accuracy

    Notes
    -----
    Source: derived here from DESIGN.md, section 3. First order: the closing condition is host left + added left -
    host right - added right (with signs by leaning). The gap is solved exactly with that one error in it.
    """
    every = dimensions(spread)
    if not every:
        return ()
    one = np.diag([dimension.deviation for dimension in every])
    errors = np.concatenate([one, -one])
    _, fore_edge, off = _closing(spread, _sizes(spread, every, errors), len(errors))
    gaps, offs = fore_edge.reshape(2, -1).max(axis=0), off.reshape(2, -1).max(axis=0)
    planar = {item.id: isinstance(item.cell, PlanarCell) for item in spread.cells}
    found = []
    for dimension, gap, stands in zip(every, gaps, offs, strict=True):
        misfit = float(dimension.effect @ np.array([1.0, -1.0, 1.0, -1.0]))
        scale = 1.0 if planar[dimension.mechanism] else float(np.degrees(1.0))
        found.append(Accuracy(dimension, misfit * scale, float(gap), float(stands)))
    return tuple(sorted(found, key=lambda item: -item.fore_edge_mm))


def monte_carlo(spread: Spread, *, copies: int = 10_000, seed: int = 1) -> MonteCarlo:
    """Close many copies, each with its own random errors.

    Parameters
    ----------
    spread : Spread
    copies : how many
    seed : of the random numbers; the same seed gives the same copies

    Returns
    -------
    MonteCarlo

    Notes
    -----
    Errors are independent and normal. Each copy's chain of cells is solved exactly with its own sizes; the opening at
    which it stops is bisected.
    """
    every = dimensions(spread)
    random = np.random.default_rng(seed)
    deviations = np.array([dimension.deviation for dimension in every])
    errors = random.standard_normal((copies, len(every))) * deviations
    stops, fore_edge, off = _closing(spread, _sizes(spread, every, errors), copies)
    limit = spread.limits.gap
    share = float(np.mean(fore_edge <= limit)) if copies else 1.0
    return MonteCarlo(copies, seed, np.degrees(stops), fore_edge, off, limit, share)
