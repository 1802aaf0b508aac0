"""Creep: what the thickness of card does to a cell when the book is shut.

**Loss.** A crease that closes by 180 degrees closes round what lies between its two panels. Model: square corners.
Where the stack reaches the crease, the crease becomes a wall as high as the stack, h, with a right-angled turn at each
end, and a wall is made of its panels' card (derived here; common practice in making cartons, where every right angle
takes half of the thickness that it goes round). A half circle takes pi h/2 of card but reaches h/2 out beyond its ends,
so that in all 0.57 h is lost to each h of a wall; corners are taken because they are the worse case, and because they
go on into the other one: where the stack begins q away, card runs straight from the crease to the stack's edge and
loses only the detour, sqrt(q^2 + h^2) - q, which is h at q = 0 and soon next to nothing.

- A *free* crease, a middle crease or the spine, gives from both sides: each panel rises by half the stack, h = t/2, and
  both lose the same. So do hosts and added panels, left and right, and the closing condition stays as it was.
- A *foot* is glued to its host, which gives no card. The panel rises by all that lies between it and its host, h = u,
  and alone loses the detour. What lies under one panel only makes it too short for the other: the cell jams where that
  was the shorter of the two already, or its equal, and its crease stands off where it was the longer.
- A cell that stands on the fold of a foot has its hinge line on the rising panel moved nearer to the fold by that loss.

**Room.** Card between panels and hosts, t in all, holds the hinge lines sqrt((a - b)^2 + t^2) apart. That alone would
forgive a misfit of t^2 / (2 |a - b|), and of t where a = b, but for that the middle crease would have to stand through
a host. Kept between the hosts a panel of width c that is too long can only lie askew in the gap beside the stack, which
takes up t^2 / (2 c). So thickness helps by that much and no more. What lies inside the cell holds the hosts and the two
panels apart alike, t and t: it falls out, and no stack inside a cell keeps it from closing.

All this is derived here. Card under pressure gives a little, so less is lost in truth, and more is forgiven.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .layers import Between, Pile, pile_of
from .linkage import PlanarCell
from .model import CellOnFold, Panel
from .spread import Spread
from .transforms import Array

#: Places along a crease at which the way up a stack is measured.
_PLACES = 16

__all__ = ["CellCreep", "Loss", "Rise", "Stack", "creeps", "half_crease"]


@dataclass(frozen=True)
class Stack:
    """Card on card, where it is thickest.

    Parameters
    ----------
    layers : how many
    parts_mm : (k,) float; its thickness, of each stock
    """

    layers: int
    parts_mm: Array

    @property
    def thickness_mm(self) -> float:
        """All of it."""
        return float(self.parts_mm.sum())


@dataclass(frozen=True)
class Rise:
    """A panel's way from a crease up a stack, at places spread over the stack's length along the crease.

    Parameters
    ----------
    parts_mm : (m, k) float; what the panel rises by at each place where its way is longest, of each stock
    away_mm : (m,) float; how far from the crease the stack begins there
    """

    parts_mm: Array
    away_mm: Array

    def loss_mm(self, factors: Array) -> Array:
        """Card that the panel loses, the mean over its places, (n,) float; factors (n, k) on each stock's caliper."""
        if not len(self.away_mm):
            return np.zeros(len(factors))
        return np.asarray(np.mean(_detour(self.away_mm, factors @ self.parts_mm.T), axis=1))

    def slope(self, stock: int, caliper_mm: float) -> float:
        """Change of the loss for each mm of one stock's caliper."""
        if not len(self.away_mm):
            return 0.0
        rise = self.parts_mm.sum(axis=1)
        return float(np.mean(rise / np.hypot(self.away_mm, rise) * self.parts_mm[:, stock])) / caliper_mm


def _detour(away: Array, rise: Array) -> Array:
    """sqrt(away^2 + rise^2) - away, without the difference of nearly equal numbers."""
    return np.asarray(rise**2 / np.maximum(np.hypot(away, rise) + away, 1e-300))


@dataclass(frozen=True)
class Loss:
    """What one size of a cell loses.

    Parameters
    ----------
    size : 0 to 3; host left, host right, added left, added right
    rise : Rise
    effect : float; change of the size for 1 mm lost, mm or radians
    """

    size: int
    rise: Rise
    effect: float


@dataclass(frozen=True)
class CellCreep:
    """What thickness does to one cell.

    Parameters
    ----------
    mechanism : the cell's id
    card : its own stock, by number
    inside : what its middle crease closes round
    hosts : what lies between its hosts, where its panels lie
    middle : what each of its panels rises by at the middle crease
    room : what lies between its panels and its hosts, both sides together, where it is thickest
    slack : (2,) float; misfit that a panel lying askew takes up, left and right, for 1 mm^2 of the room's square, mm
        or radians
    losses : what its feet, and the foot on whose fold it stands, take from its sizes
    """

    mechanism: str
    card: int
    inside: Stack
    hosts: Stack
    middle: Rise
    room: Stack
    slack: Array
    losses: tuple[Loss, ...]

    @property
    def stocks(self) -> tuple[int, ...]:
        """The stocks, by number, whose caliper may change how it closes: its own, and those of what it wraps."""
        parts = np.concatenate([self.room.parts_mm[None], *(loss.rise.parts_mm for loss in self.losses)])
        return tuple(sorted({self.card, *(int(index) for index in np.flatnonzero(parts.any(axis=0)))}))

    def shortened(self, sizes: Array, factors: Array) -> Array:
        """Sizes, (n, 4), less what is lost and what lies askew, with factors (n, k) on the caliper of each stock."""
        result = sizes.copy()
        for loss in self.losses:
            result[:, loss.size] -= loss.effect * loss.rise.loss_mm(factors)
        host_left, host_right, left, right = result.T
        jams = np.abs(left - right) - np.abs(host_left - host_right)
        square = (factors @ self.room.parts_mm) ** 2
        for index, longer in ((2, left > right), (3, right > left)):
            askew = np.clip(jams, 0.0, square * self.slack[index - 2])
            result[:, index] -= np.where(longer, askew, 0.0)
        return result

    def slope(self, stock: int, caliper_mm: float) -> Array:
        """Change of its sizes for 1 mm of one stock's caliper, (4,) float."""
        result = np.zeros(4)
        for loss in self.losses:
            result[loss.size] -= loss.effect * loss.rise.slope(stock, caliper_mm)
        return result


def half_crease(spread: Spread, item: CellOnFold) -> float:
    """Half the length of a cell's middle crease, its parts taken together, mm: where a spherical cell is measured."""
    parts = [hinge.lines[0] for hinge in spread.hinges if hinge.id.split("#")[0] == f"{item.id}.middle"]
    return float(sum(np.hypot(*(part[1] - part[0])) for part in parts)) / 2


def creeps(spread: Spread) -> dict[str, CellCreep]:
    """What thickness does to every cell of a spread, by mechanism.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    dict of CellCreep. Where the spread jams before it is shut, counted as it lies there. Cells whose two panels do not
    stand on their hosts and meet in one crease (those of an accordion or a platform) are left out
    """
    pile = pile_of(spread)
    low, _ = spread.reachable()
    variables = spread.pose(np.array([low if np.isfinite(low) else np.pi / 2])).variables
    found = {}
    for item in spread.cells:
        panels = _panels_of(spread, item)
        if panels is not None:
            flat = abs(float(item.host.of(variables)[0]) - np.pi) < np.pi / 2
            found[item.id] = _creep(spread, pile, item, panels, flat)
    return found


def _panels_of(spread: Spread, item: CellOnFold) -> tuple[Panel, Panel] | None:
    """The two added panels: each turns on a host of the fold by the cell's own angle; the middle crease joins them."""
    turning = {panel.variable: panel for panel in spread.panels.values() if panel.axis is not None}
    left, right = turning.get(f"{item.id}:left"), turning.get(f"{item.id}:right")
    middle = next((hinge for hinge in spread.hinges if hinge.id == f"{item.id}.middle"), None)
    if left is None or right is None or middle is None or middle.panels != (left.id, right.id):
        return None
    hosts = [(fold.left.panel, fold.right.panel) for fold in spread.folds.values() if fold.id == item.fold]
    return (left, right) if (left.parent, right.parent) in hosts else None


def _creep(spread: Spread, pile: Pile, item: CellOnFold, panels: tuple[Panel, Panel], flat: bool) -> CellCreep:
    names, hosts = [panel.id for panel in panels], [str(panel.parent) for panel in panels]
    inside = pile.between(names[0], names[1])
    crease = next(hinge for hinge in spread.hinges if hinge.id == f"{item.id}.middle").lines[0]
    lying = pile.cover(names[:1]) | pile.cover(names[1:])
    under = [_under(pile, panel) for panel in panels]
    beside = Between(lying, under[0].layers + under[1].layers, under[0].stacks + under[1].stacks)
    widths, effects = _lengths(spread, item)
    rises = [_foot_rise(pile, panel) for panel in panels]
    losses = [Loss(2 + index, rise, float(effects[2 + index])) for index, rise in enumerate(rises)]
    for index, host in enumerate(hosts):
        if host == item.fold:
            losses.append(Loss(index, _foot_rise(pile, spread.panels[host]), float(effects[index])))
    return CellCreep(
        item.id,
        pile.stocks.index(spread.piece(panels[0].piece).stock.id),
        _thickest(inside),
        _thickest(pile.between(hosts[0], hosts[1]), lying),
        _rise(pile, inside, names[0], crease, 0.5),
        _thickest(beside),
        # On a fold that lies flat in the shut book nothing holds hinge lines apart.
        np.zeros(2) if flat else np.abs(effects[2:]) / (2 * widths),
        tuple(losses),
    )


def _lengths(spread: Spread, item: CellOnFold) -> tuple[Array, Array]:
    """Widths of the two panels, (2,) mm; and change of the four sizes for 1 mm across their hinge lines, (4,)."""
    cell = item.cell
    if isinstance(cell, PlanarCell):
        return np.array([cell.width_left, cell.width_right]), np.ones(4)
    # At half the middle crease's length.
    half = half_crease(spread, item)
    sectors = np.array([cell.alpha_left, cell.alpha_right, cell.beta_left, cell.beta_right])
    return half * np.sin(sectors[2:]), np.cos(sectors) / half


def _thickest(between: Between, where: NDArray[np.bool_] | None = None) -> Stack:
    rows = np.flatnonzero(between.faces if where is None else between.faces & where)
    if not len(rows):
        return Stack(0, np.zeros(between.stacks.shape[1]))
    row = rows[int(np.argmax(between.stacks[rows].sum(axis=1)))]
    return Stack(int(between.layers[row]), between.stacks[row])


def _rise(pile: Pile, between: Between, panel: str, line: Array, share: float) -> Rise:
    """A panel's way from a line of a panel up what lies between two panels, if it rises by a share of the stack."""
    rows = np.flatnonzero(between.layers)
    if not len(rows):
        return Rise(np.zeros((0, between.stacks.shape[1])), np.zeros(0))
    rises = share * between.stacks[rows]
    away = pile.distances(panel, line, rows, _PLACES)
    # At each place the face that asks for the longest way.
    worst = np.argmax(_detour(away, rises.sum(axis=1)), axis=1)
    nearest = away[np.arange(_PLACES), worst]
    met = np.isfinite(nearest)
    return Rise(rises[worst[met]], nearest[met])


def _under(pile: Pile, panel: Panel) -> Between:
    """What lies between a panel and its host, less what carries its hinge line: its tab, and what that is glued on."""
    tab, host = f"{panel.id}.tab", str(panel.parent)
    return pile.between(panel.id, host, without=(tab, *pile.names_between(tab, host)))


def _foot_rise(pile: Pile, panel: Panel) -> Rise:
    """What a panel rises by at its foot."""
    if panel.axis is None or panel.parent not in pile.panels:
        return Rise(np.zeros((0, len(pile.stocks))), np.zeros(0))
    line = np.array([panel.axis.point, panel.axis.point + panel.axis.direction])
    return _rise(pile, _under(pile, panel), panel.parent, line, 1.0)
