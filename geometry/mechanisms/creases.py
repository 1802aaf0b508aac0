"""Creases between two panels of one piece, with both their sides as places to build on."""

from __future__ import annotations

import numpy as np

from ..building import Building, HingePlan
from ..model import Angle, Fold, HostSide
from ..transforms import Array

__all__ = ["add_crease"]


def add_crease(
    building: Building,
    name: str,
    panels: tuple[str, str],
    origin: Array,
    right: float,
    length_mm: float,
    printed: Angle,
) -> None:
    """Add a crease that runs up the net, its hinge and its two folds.

    Parameters
    ----------
    building : Building
    name : of the hinge and the folds
    panels : left and right host
    origin : (2,) float, mm; where it begins on the net, from there along +y
    right : +1 where the right host lies at larger x than the crease, -1 where at smaller x
    length_mm : of the crease
    printed : its dihedral angle through the printed face
    """
    along = np.array([0.0, 1.0])
    building.hinges.append(HingePlan(name, "crease", panels, (origin, origin), (along, along), printed, panels))
    left = HostSide(panels[0], origin, along, np.array([-right, 0.0]))
    other = HostSide(panels[1], origin, along, np.array([right, 0.0]))
    angles = printed.of(building.variables)
    folded = angles[np.isfinite(angles)]
    mountain = bool(len(folded)) and folded[np.argmax(np.abs(folded - np.pi))] > np.pi
    front, back = ("mountain", "valley") if mountain else ("valley", "mountain")
    building.add_fold(Fold(name, front, left, other, printed, right, 0.0, length_mm))
    building.add_fold(Fold(name, back, left, other, printed.other_side(), -right, 0.0, length_mm))
