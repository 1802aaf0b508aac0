"""What v-fold and tent share: a piece of two panels on a cell, each with its foot and tab on a host."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from ..building import Building, HingePlan
from ..description.data import MechanismSpec
from ..linkage import AWAY, Cell
from ..model import Angle, Fold, HostSide
from .feet import Foot, add_foot
from .windows import windows

__all__ = ["Glued", "host_normal", "sides", "stand", "with_holes"]


@dataclass(frozen=True)
class Glued:
    """A glued piece of two panels.

    Parameters
    ----------
    fold : the host fold, measured so that the sectors add up to at most 180 degrees
    cell : Cell
    feet : left and right
    crease_length_mm : length of the middle crease, which runs on the net from (0, 0) along +y
    outer : whether the outer face is printed
    crease_start_mm : where it begins, if the panels are cut away at the apex
    """

    fold: Fold
    cell: Cell
    feet: tuple[Foot, Foot]
    crease_length_mm: float
    outer: bool
    crease_start_mm: float = 0.0


def sides(spec: MechanismSpec, name: str, default: float) -> tuple[float, float]:
    """Left and right value of a sided number, with the default where nothing was given."""
    left, right = spec.sided(name)
    return (default if left is None else float(left), default if right is None else float(right))


def with_holes(spec: MechanismSpec, outline: Polygon, key: str, mirror: float) -> Polygon:
    """The outline with the holes that a key lists, in the coordinates x away from the crease, y along it."""
    holes = spec.values.get(key, spec.values.get(key.rsplit("_", 1)[0], ()))
    return windows(outline, holes, key, mirror)


def host_normal(fold: Fold, side: str) -> float:
    """+1 where the mechanism stands on the printed side (+z) of the host, -1 where on its back."""
    host = fold.left if side == "left" else fold.right
    return (fold.handed if side == "left" else -fold.handed) * host.turns_left


def stand(spec: MechanismSpec, building: Building, glued: Glued) -> None:
    """Add the piece: panels, tabs, hinges, and the folds it offers."""
    names = [f"{spec.id}.left", f"{spec.id}.right"]
    building.add_piece(spec, [*names, *(f"{name}.tab" for name in names)])
    building.add_cell(spec, glued.cell, glued.fold)
    for foot in glued.feet:
        add_foot(building, spec.id, foot, host_normal(glued.fold, foot.side))
    _add_middle(spec, building, glued)


def _add_middle(spec: MechanismSpec, building: Building, glued: Glued) -> None:
    name = f"{spec.id}.middle"
    fold, branch = glued.fold, glued.cell.branch
    mirror = fold.handed if glued.outer else -fold.handed
    origin, along = np.zeros(2), np.array([0.0, 1.0])
    left = HostSide(f"{spec.id}.left", origin, along, np.array([-mirror, 0.0]))
    right = HostSide(f"{spec.id}.right", origin, along, np.array([mirror, 0.0]))
    inside = Angle(f"{spec.id}:middle")
    printed_inside = (branch == AWAY) != glued.outer
    panels = (left.panel, right.panel)
    dihedral = inside if printed_inside else inside.other_side()
    building.hinges.append(HingePlan(name, "crease", panels, (origin, origin), (along, along), dihedral, panels))
    handed = -fold.handed * branch
    start, end = glued.crease_start_mm, glued.crease_length_mm
    building.add_fold(Fold(name, "valley", left, right, inside, handed, start, end))
    building.add_fold(Fold(name, "mountain", left, right, inside.other_side(), -handed, start, end))
