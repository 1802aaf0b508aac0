"""How accurate the hand must be: what errors of cutting, creasing and gluing do to closing.

Every error of a cell comes down to errors of its four sizes. A glued panel that sits e along or across its glue line
carries its middle crease sideways; at half the crease's length that is an angle, and so it is counted (an estimate:
a cell whose lines miss each other by a hair moves only because card gives).

Every copy is made of card that has a thickness: what that does to a cell, creep, is in creep. Its error is that of the
card's caliper, the same all over a copy for all that is cut from one stock.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .copies import Copies, closing, copies_of, driven_cells, nominal_sizes
from .creep import CellCreep, creeps
from .layers import calipers_mm
from .linkage import PlanarCell, SphericalCell
from .model import CellOnFold
from .spread import Spread
from .transforms import Array

__all__ = [
    "Accuracy",
    "Creep",
    "Dimension",
    "MonteCarlo",
    "creep_effects",
    "dimensions",
    "monte_carlo",
    "sensitivities",
]

_SIZES = ("host_left", "host_right", "added_left", "added_right")


@dataclass(frozen=True)
class Dimension:
    """One size that a hand sets, or the caliper of the card.

    Parameters
    ----------
    mechanism, name : whose, and which
    unit : "mm" or "deg", of the error
    deviation : standard deviation of the error, in that unit
    effect : (4,) float; change of the cell's sizes (host left, host right, added left, added right; radians or mm)
        for an error of one unit; of a caliper in first order
    stock : the stock whose caliper it is; empty for what a hand sets
    """

    mechanism: str
    name: str
    unit: str
    deviation: float
    effect: Array
    stock: str = ""


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
class Creep:
    """What the thickness of card does to one mechanism, cut and glued without any error.

    Parameters
    ----------
    mechanism : the cell's id
    layers, thickness_mm : what its middle crease closes round, where it is thickest
    creep_mm : card that each of its two panels loses by that
    host_layers, hosts_apart_mm : what lies between its two hosts, where its panels lie
    feet_mm : card that its left and its right panel lose on what lies between them and their hosts
    fore_edge_mm : how far the fore edge stays open if this mechanism alone is of thick card; exact
    stand_off_mm : how far a crease then stands off its host in the shut spread
    """

    mechanism: str
    layers: int
    thickness_mm: float
    creep_mm: float
    host_layers: int
    hosts_apart_mm: float
    feet_mm: tuple[float, float]
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


def dimensions(spread: Spread, *, thickness: bool = True) -> tuple[Dimension, ...]:
    """Every size of the spread that can be off, cell by cell.

    Parameters
    ----------
    spread : Spread
    thickness : with the calipers, after all that a hand sets; without, card has no thickness

    Returns
    -------
    tuple of Dimension
    """
    return _dimensions(spread, creeps(spread) if thickness else {})


def _dimensions(spread: Spread, creep: Mapping[str, CellCreep]) -> tuple[Dimension, ...]:
    cells = driven_cells(spread)
    by_hand = [item for cell in cells for item in _of_cell(spread, cell)]
    stocks = list(calipers_mm(spread).items())
    of_card = [
        Dimension(
            cell.id,
            f"caliper of {stocks[number][0]}",
            "mm",
            spread.limits.sd_caliper * stocks[number][1],
            creep[cell.id].slope(number, stocks[number][1]),
            stocks[number][0],
        )
        for cell in cells
        if cell.id in creep
        for number in creep[cell.id].stocks
    ]
    return (*by_hand, *of_card)


def _of_cell(spread: Spread, item: CellOnFold) -> list[Dimension]:
    cut = spread.panels[spread.middle_of(item.id).panels[0]].role == "strip"
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


def _copies(spread: Spread, creep: Mapping[str, CellCreep], every: Sequence[Dimension], errors: Array) -> Copies:
    """Copies with these errors, (n, d), in each dimension's unit."""
    stocks = list(calipers_mm(spread))
    calipers = np.array(list(calipers_mm(spread).values()))
    cells = driven_cells(spread)
    sizes = {item.id: np.tile(nominal_sizes(item), (len(errors), 1)) for item in cells}
    factors = {item.id: np.ones((len(errors), len(stocks))) for item in cells}
    for column, dimension in enumerate(every):
        if dimension.stock:
            number = stocks.index(dimension.stock)
            factors[dimension.mechanism][:, number] += errors[:, column] / calipers[number]
        else:
            sizes[dimension.mechanism] += errors[:, column : column + 1] * dimension.effect
    # No card is thinner than nothing, however large the deviation.
    return copies_of(
        spread, len(errors), sizes, creep, {name: np.maximum(values, 0.0) for name, values in factors.items()}
    )


def creep_effects(spread: Spread) -> tuple[Creep, ...]:
    """What the thickness of card does to each mechanism, all cut and glued as designed.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    tuple of Creep, in solving order; see creep for the model, and for which cells are left out
    """
    creep = creeps(spread)
    cells = [item for item in driven_cells(spread) if item.id in creep]
    if not cells:
        return ()
    stocks = len(calipers_mm(spread))
    sizes = {item.id: np.tile(nominal_sizes(item), (len(cells), 1)) for item in driven_cells(spread)}
    # One copy a cell, in which it alone is of card with a thickness.
    alone = np.eye(len(cells))
    factors = {item.id: np.tile(alone[:, row : row + 1], (1, stocks)) for row, item in enumerate(cells)}
    _, fore_edge, off = closing(spread, copies_of(spread, len(cells), sizes, creep, factors))
    return tuple(_effect(creep[item.id], gap, stands) for item, gap, stands in zip(cells, fore_edge, off, strict=True))


def _effect(creep: CellCreep, fore_edge_mm: float, stand_off_mm: float) -> Creep:
    nominal = np.ones((1, len(creep.room.parts_mm)))
    feet = {loss.size: float(loss.rise.loss_mm(nominal)[0]) for loss in creep.losses}
    return Creep(
        creep.mechanism,
        creep.inside.layers,
        creep.inside.thickness_mm,
        float(creep.middle.loss_mm(nominal)[0]),
        creep.hosts.layers,
        creep.hosts.thickness_mm,
        (feet[2], feet[3]),
        float(fore_edge_mm),
        float(stand_off_mm),
    )


def sensitivities(spread: Spread, *, thickness: bool = True) -> tuple[Accuracy, ...]:
    """What each dimension alone does to closing, the worst first.

    Parameters
    ----------
    spread : Spread
    thickness : whether card has any; without, the result is that of ideal panels, and no caliper is in it

    Returns
    -------
    tuple of Accuracy

    Notes
    -----
    Source: derived here from DESIGN.md, section 3. First order: the closing condition is host left + added left -
    host right - added right (with signs by leaning). The gap is solved exactly with that one error in it.
    """
    creep = creeps(spread) if thickness else {}
    every = _dimensions(spread, creep)
    if not every:
        return ()
    one = np.diag([dimension.deviation for dimension in every])
    errors = np.concatenate([one, -one])
    _, fore_edge, off = closing(spread, _copies(spread, creep, every, errors))
    gaps, offs = fore_edge.reshape(2, -1).max(axis=0), off.reshape(2, -1).max(axis=0)
    planar = {item.id: isinstance(item.cell, PlanarCell) for item in driven_cells(spread)}
    found = []
    for dimension, gap, stands in zip(every, gaps, offs, strict=True):
        misfit = float(dimension.effect @ np.array([1.0, -1.0, 1.0, -1.0]))
        scale = 1.0 if planar[dimension.mechanism] else float(np.degrees(1.0))
        found.append(Accuracy(dimension, misfit * scale, float(gap), float(stands)))
    return tuple(sorted(found, key=lambda item: -item.fore_edge_mm))


def monte_carlo(spread: Spread, *, copies: int = 10_000, seed: int = 1, thickness: bool = True) -> MonteCarlo:
    """Close many copies, each with its own random errors.

    Parameters
    ----------
    spread : Spread
    copies : how many
    seed : of the random numbers; the same seed gives the same copies
    thickness : whether card has any, with its own error; what the hand does is the same either way

    Returns
    -------
    MonteCarlo

    Notes
    -----
    Errors are independent and normal; a stock's caliper is off by the same in all of a copy. Each copy's chain of cells
    is solved exactly with its own sizes; the opening at which it stops is bisected.
    """
    creep = creeps(spread) if thickness else {}
    every = _dimensions(spread, creep)
    random = np.random.default_rng(seed)
    by_hand = sum(not dimension.stock for dimension in every)
    drawn = random.standard_normal((copies, by_hand))
    stocks = list(calipers_mm(spread))
    card = random.standard_normal((copies, len(stocks)))
    columns = [stocks.index(dimension.stock) for dimension in every[by_hand:]]
    deviations = np.array([dimension.deviation for dimension in every])
    errors = np.concatenate([drawn, card[:, columns]], axis=1) * deviations
    stops, fore_edge, off = closing(spread, _copies(spread, creep, every, errors))
    limit = spread.limits.gap
    share = float(np.mean(fore_edge <= limit)) if copies else 1.0
    return MonteCarlo(copies, seed, np.degrees(stops), fore_edge, off, limit, share)
