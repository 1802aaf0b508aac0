"""Dimensions: every size of a spread that a hand sets, and the caliper of the card, each with its usual error."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .copies import driven_cells
from .creep import CellCreep
from .layers import calipers_mm
from .linkage import PlanarCell, SphericalCell
from .loop_errors import ErringLoop
from .model import CellOnFold
from .spread import Spread
from .transforms import Array

__all__ = ["Dimension", "dimensions_of"]

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
        for an error of one unit; of a caliper in first order. Empty where it is a loop's
    stock : the stock whose caliper it is; empty for what a hand sets
    of_loop : it is a size of a loop, and not of a cell
    """

    mechanism: str
    name: str
    unit: str
    deviation: float
    effect: Array
    stock: str = ""
    of_loop: bool = False


def dimensions_of(spread: Spread, creep: Mapping[str, CellCreep], loops: Sequence[ErringLoop]) -> tuple[Dimension, ...]:
    """Every size that can be off: cell by cell, then loop by loop, then the calipers.

    Parameters
    ----------
    spread : Spread
    creep : what thickness does to its cells; the calipers of those that are in it are counted
    loops : its loops

    Returns
    -------
    tuple of Dimension
    """
    cells = driven_cells(spread)
    by_hand = [item for cell in cells for item in _of_cell(spread, cell)]
    of_loops = [item for loop in loops for item in _of_loop(spread, loop)]
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
    return (*by_hand, *of_loops, *of_card)


def _of_loop(spread: Spread, item: ErringLoop) -> list[Dimension]:
    limits = spread.limits
    return [
        Dimension(
            item.loop.id,
            error.name,
            "deg" if error.turns else "mm",
            limits.sd_angle if error.turns else limits.sd_length,
            np.zeros(0),
            of_loop=True,
        )
        for error in item.errors
    ]


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
