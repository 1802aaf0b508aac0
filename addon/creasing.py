"""Where card is creased: the lines at which a panel's surface bends, and which way.

Only the look needs them. A scored line is pressed into the face that comes to lie outside, where the print stretches
over a rounded back and cracks; on the other face it stands up as a bead (common practice of scoring).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .geometry.model import Hinge
from .geometry.motion import solve_cells
from .geometry.spread import Spread
from .geometry.transforms import Array

__all__ = ["Crease", "creases_of"]

#: Openings at which it is seen which way a crease bends.
_LOOKS = 5


@dataclass(frozen=True)
class Crease:
    """A crease on one of its two panels.

    Parameters
    ----------
    start, end : (2,) float, mm, net coordinates of the panel
    mountain : whether the printed face comes to lie outside
    """

    start: Array
    end: Array
    mountain: bool

    def as_bytes(self) -> bytes:
        """What tells it from others."""
        return self.start.tobytes() + self.end.tobytes() + bytes([self.mountain])


def creases_of(spread: Spread) -> Mapping[str, tuple[Crease, ...]]:
    """The creases of every panel that has any, by panel.

    Parameters
    ----------
    spread : the assembled spread

    Returns
    -------
    dict of tuples of Crease; a crease that never bends, as far as is looked, counts as a valley
    """
    bent = _furthest(spread)
    found: dict[str, list[Crease]] = {}
    for hinge in spread.hinges:
        if hinge.kind == "glue":
            continue
        for panel, line in zip(hinge.panels, np.asarray(hinge.lines, dtype=float), strict=True):
            found.setdefault(panel, []).append(Crease(line[0], line[1], bent[hinge.id] > 0.0))
    return {panel: tuple(creases) for panel, creases in found.items()}


def _furthest(spread: Spread) -> dict[str, float]:
    """How far each crease bends at most from flat, radians, above zero for a mountain; by hinge.

    Looked at over the openings, what hands move at rest and at the ends of their ways.
    """
    low, high = spread.reachable()
    openings = np.linspace(low, high, _LOOKS)
    ends = ({hand.variable: getattr(hand, end) for hand in spread.hands} for end in ("rest", "low", "high"))
    looks = [solve_cells(openings, spread.units, moved) for moved in (ends if spread.hands else ({},))]
    return {hinge.id: _bend(hinge, looks) for hinge in spread.hinges if hinge.kind != "glue"}


def _bend(hinge: Hinge, looks: list[dict[str, Array]]) -> float:
    bends = np.concatenate([hinge.dihedral.of(variables, _LOOKS) for variables in looks]) - np.pi
    bends = bends[np.isfinite(bends)]
    return float(bends[np.argmax(np.abs(bends))]) if len(bends) else 0.0
