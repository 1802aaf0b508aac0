"""How accurate the hand must be: what errors of cutting, creasing and gluing do to closing.

**The quantity.** A spread with errors is shut by a hand, and there are two ways how that can end. Either no card gives:
then it stops ajar, and what is seen of that is how far the *fore edge* stays open. Or the hand presses it shut: then
something must give what is missing, a glue line that slips or a panel that bows, and that is so many millimetres of
*card*. Both are told of every mechanism, in mm, in its worst place:

- `fore_edge_mm`: the opening at which its panels can no longer be joined, times the page. It is exact, and for the same
  error it may be nothing (a mechanism with a panel loose by that error) or much (an unequal one).
- `card_mm`: by how much its hinge lines miss each other in the shut spread, every panel lying as it should. This is
  nearly proportional to the error. A cell misses its closing condition by it; a loop's closing lines miss each other,
  by what no motion of it makes up.

A box shows why one of them does not do: its end walls would hold its side walls each alone, so that with any error its
lines miss each other at every opening. Card makes up for that on the way and when it is shut, or it does not close.

Every error of a cell comes down to errors of its four sizes. A glued panel that sits e along or across its glue line
carries its middle crease sideways; at half the crease's length that is an angle, and so it is counted (an estimate:
a cell whose lines miss each other by a hair moves only because card gives). A loop is solved with its errors in it as
they are: see loop_errors and loop_closing. What cells and loops stand on is taken as designed where that is a loop.

Every copy is made of card that has a thickness: what that does to a cell, creep, is in creep. Its error is that of the
card's caliper, the same all over a copy for all that is cut from one stock. Loops are counted without thickness.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .copies import Copies, closing, closing_conditions, copies_of, driven_cells, misses_mm, nominal_sizes
from .creep import CellCreep, creeps
from .dimensions import Dimension, dimensions_of
from .layers import calipers_mm
from .linkage import PlanarCell
from .loop_closing import card_mm, card_ways, loop_stops
from .loop_errors import ErringLoop, erring
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


@dataclass(frozen=True)
class Accuracy:
    """What one dimension does to closing.

    Parameters
    ----------
    dimension : Dimension
    misfit_per_unit : change of a cell's closing condition (degrees or mm), of a loop's largest miss (mm), for an error
        of one unit, first order
    fore_edge_mm : how far the fore edge stays open for an error of one standard deviation, the worse sign; exact
    card_mm : what card must give for the same error, the worse sign, where the spread is pressed shut
    stand_off_mm : how far a crease stands off its host in the shut spread for the same error, the worse sign
    hand_off : how far short of its rest a hand then stops, mm or degrees
    by_hand : a hand moves the mechanism, not the opening
    """

    dimension: Dimension
    misfit_per_unit: float
    fore_edge_mm: float
    card_mm: float
    stand_off_mm: float
    hand_off: float = 0.0
    by_hand: bool = False


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
    card_mm : (n,) float; what card must give where the copy is pressed shut, in its worst place
    stand_off_mm : (n,) float; how far a crease stands off its host in the shut copy
    gap_mm : the limit held to
    share : part of the copies whose fore edge stays within the limit. A crease that stands off is pressed flat by the
        closing hand and is not counted: on an equal cell it is a loose flap
    """

    copies: int
    seed: int
    opening_deg: Array
    fore_edge_mm: Array
    card_mm: Array
    stand_off_mm: Array
    gap_mm: float
    share: float


@dataclass(frozen=True)
class _Erring:
    """All of a spread that errs.

    Parameters
    ----------
    spread : Spread
    creep : what thickness does to its cells; none where card has no thickness
    loops : its loops, with what may be off in them
    dimensions : of both
    """

    spread: Spread
    creep: Mapping[str, CellCreep]
    loops: tuple[ErringLoop, ...]
    dimensions: tuple[Dimension, ...]

    def own(self, loop: ErringLoop) -> list[int]:
        """The columns of a loop's dimensions."""
        return [
            column for column, item in enumerate(self.dimensions) if item.of_loop and item.mechanism == loop.loop.id
        ]


@dataclass(frozen=True)
class _Closed:
    """Copies that were closed: (n,) float each, as in MonteCarlo, the opening in radians; and hands, by loop."""

    opening_rad: Array
    fore_edge_mm: Array
    card_mm: Array
    stand_off_mm: Array
    hand_off: Mapping[str, Array]


def _erring(spread: Spread, *, thickness: bool) -> _Erring:
    creep = creeps(spread) if thickness else {}
    loops = tuple(erring(spread, loop) for loop in spread.loops)
    return _Erring(spread, creep, loops, dimensions_of(spread, creep, loops))


def dimensions(spread: Spread, *, thickness: bool = True) -> tuple[Dimension, ...]:
    """Every size of the spread that can be off, cell by cell, then loop by loop.

    Parameters
    ----------
    spread : Spread
    thickness : with the calipers, after all that a hand sets; without, card has no thickness

    Returns
    -------
    tuple of Dimension
    """
    return _erring(spread, thickness=thickness).dimensions


def _copies(spread: Spread, creep: Mapping[str, CellCreep], every: Sequence[Dimension], errors: Array) -> Copies:
    """Copies with these errors, (n, d), in each dimension's unit."""
    stocks = list(calipers_mm(spread))
    calipers = np.array(list(calipers_mm(spread).values()))
    cells = driven_cells(spread)
    sizes = {item.id: np.tile(nominal_sizes(item), (len(errors), 1)) for item in cells}
    factors = {item.id: np.ones((len(errors), len(stocks))) for item in cells}
    for column, dimension in enumerate(every):
        if dimension.of_loop:
            continue
        if dimension.stock:
            number = stocks.index(dimension.stock)
            factors[dimension.mechanism][:, number] += errors[:, column] / calipers[number]
        else:
            sizes[dimension.mechanism] += errors[:, column : column + 1] * dimension.effect
    # No card is thinner than nothing, however large the deviation.
    return copies_of(
        spread, len(errors), sizes, creep, {name: np.maximum(values, 0.0) for name, values in factors.items()}
    )


def _close(every: _Erring, errors: Array, *, hands: bool) -> _Closed:
    """Close copies with these errors, (n, d); hands too are moved back to their rest where that is asked for."""
    spread = every.spread
    copies = _copies(spread, every.creep, every.dimensions, errors)
    stops, _, off = closing(spread, copies)
    card, hand_off = misses_mm(spread, copies), {}
    for item in every.loops:
        own = errors[:, every.own(item)]
        card = np.maximum(card, card_mm(card_ways(spread, item), own))
        if item.by_hand and not hands:
            continue
        found = loop_stops(spread, item, own, known=None if item.by_hand else stops)
        off = np.maximum(off, found.stand_off_mm)
        if item.by_hand:
            hand_off[item.loop.id] = item.said(found.short)
        else:
            stops = np.maximum(stops, found.short)
    fore_edge = 2 * spread.page_size_mm[0] * np.sin(np.where(np.isfinite(stops), stops, np.pi) / 2)
    return _Closed(stops, fore_edge, card, off, hand_off)


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
    Source: derived here from DESIGN.md, section 3. First order: a cell's closing condition is host left + added left -
    host right - added right (with signs by leaning); a loop's is in loop_closing. The gap is solved exactly with that
    one error in it, to a hundredth of itself for a loop.
    """
    every = _erring(spread, thickness=thickness)
    if not every.dimensions:
        return ()
    one = np.diag([dimension.deviation for dimension in every.dimensions])
    closed = _close(every, np.concatenate([one, -one]), hands=True)
    gaps, cards, offs = (_worse(part) for part in (closed.fore_edge_mm, closed.card_mm, closed.stand_off_mm))
    hands = {name: _worse(part) for name, part in closed.hand_off.items()}
    misfits, found = _misfits(every), []
    for column, item in enumerate(every.dimensions):
        by_hand = item.of_loop and item.mechanism in hands
        kept = float(hands[item.mechanism][column]) if by_hand else 0.0
        card, off = float(cards[column]), float(offs[column])
        found.append(Accuracy(item, misfits[column], float(gaps[column]), card, off, kept, by_hand))
    return tuple(sorted(found, key=lambda item: (-item.fore_edge_mm, -item.hand_off, -item.card_mm)))


def _worse(part: Array) -> Array:
    """The larger for each error, (d,), of copies that err by it and of those that err the other way, (2 d,)."""
    return np.asarray(part.reshape(2, -1).max(axis=0))


def _misfits(every: _Erring) -> list[float]:
    """What misfit_per_unit of Accuracy says, for each dimension."""
    spread = every.spread
    conditions = closing_conditions(spread)
    planar = {item.id: isinstance(item.cell, PlanarCell) for item in driven_cells(spread)}
    of_loops: dict[int, float] = {}
    for loop in every.loops:
        own = every.own(loop)
        of_loops.update(zip(own, card_mm(card_ways(spread, loop), np.eye(len(own))).tolist(), strict=True))
    found = []
    for column, item in enumerate(every.dimensions):
        if item.of_loop:
            found.append(of_loops[column])
        else:
            scale = 1.0 if planar[item.mechanism] else float(np.degrees(1.0))
            found.append(float(item.effect @ conditions[item.mechanism][:4]) * scale)
    return found


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
    is solved exactly with its own sizes, and the opening at which it stops is bisected; each of its loops with its own,
    on hosts as designed, and where it stops is known to a hundredth. The copy stops where the first of them does.
    """
    every = _erring(spread, thickness=thickness)
    random = np.random.default_rng(seed)
    by_hand = sum(not dimension.stock for dimension in every.dimensions)
    drawn = random.standard_normal((copies, by_hand))
    stocks = list(calipers_mm(spread))
    card = random.standard_normal((copies, len(stocks)))
    columns = [stocks.index(dimension.stock) for dimension in every.dimensions[by_hand:]]
    deviations = np.array([dimension.deviation for dimension in every.dimensions])
    errors = np.concatenate([drawn, card[:, columns]], axis=1) * deviations
    closed = _close(every, errors, hands=False)
    limit = spread.limits.gap
    share = float(np.mean(closed.fore_edge_mm <= limit)) if copies else 1.0
    opening = np.degrees(closed.opening_rad)
    return MonteCarlo(copies, seed, opening, closed.fore_edge_mm, closed.card_mm, closed.stand_off_mm, limit, share)
