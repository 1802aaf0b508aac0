"""Where panels are in a picture: standing as they do at an opening, folded shut on a page, or laid flat.

All states are in the reader's frame: the spine along y, its foot towards the reader, the book symmetrical about x = 0
and opening upwards (z).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np

from ..spread import Spread
from ..transforms import Array, inverse, rotation_about

__all__ = ["flat", "lying", "lying_opening", "reading", "standing"]

#: A piece folded shut is drawn this far open, so that one can see what lies on what.
_AJAR_RAD = float(np.radians(4.0))
#: What hands move is drawn off its rest by this share of its travel: lying in its host's plane it would not be seen.
_LIFTED = 0.03


def reading(spread: Spread) -> tuple[float, float]:
    """The openings that can be drawn, (low, high), radians; all of them where the book cannot move at all."""
    low, high = spread.reachable()
    return (low, high) if np.isfinite(low) and np.isfinite(high) else (0.0, float(np.pi))


def _hands(spread: Spread, lifted: float) -> dict[str, float]:
    return {
        hand.id: hand.rest + lifted * (hand.high - hand.rest if hand.high > hand.rest else hand.low - hand.rest)
        for hand in spread.hands
    }


def standing(spread: Spread, opening_rad: float, *, lifted: float = _LIFTED) -> dict[str, Array]:
    """Poses at an opening.

    Parameters
    ----------
    spread : Spread
    opening_rad : float
    lifted : how much of its travel a hand has moved what it moves

    Returns
    -------
    dict of (4, 4) float, by panel; without those that cannot stand there
    """
    motion = spread.pose(np.array([opening_rad]), _hands(spread, lifted))
    level = rotation_about(np.zeros(3), [0.0, 1.0, 0.0], -(np.pi - opening_rad) / 2)[0]
    return {name: level @ matrix[0] for name, matrix in motion.matrices.items() if np.isfinite(matrix).all()}


def lying_opening(spread: Spread) -> float:
    """The opening at which a piece is drawn that is folded shut."""
    low, high = reading(spread)
    return min(low + _AJAR_RAD, high)


def lying(spread: Spread, opening_rad: float, panels: Collection[str]) -> dict[str, Array]:
    """Poses at an opening, some panels folded shut on the left page as they lie there in the closed spread."""
    around = standing(spread, opening_rad)
    shut = standing(spread, lying_opening(spread))
    carry = around["page.left"] @ inverse(shut["page.left"])
    return {**around, **{name: carry @ shut[name] for name in panels if name in shut}}


def flat(spread: Spread, panels: Collection[str], *, back: bool) -> Mapping[str, Array]:
    """Panels laid flat as on the net, the printed face up, or the back after turning over left to right."""
    turned = np.diag([-1.0, 1.0, -1.0, 1.0]) if back else np.eye(4)
    return dict.fromkeys((name for name in panels if name in spread.panels), turned)
