"""How large a net may be, and how loosely it may fill its box."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
import shapely

from ..transforms import Array
from .hinges import Places

__all__ = ["Limits", "hull_of", "levelled", "turns_of"]

#: A net that is laid out anew may be larger than its room by this share of it: the rounding of some thousand folds.
_HAIR = 1e-9
#: A compact net fills so much of its smallest box, or its parts would fill theirs no better.
_FILLED, _LOOSER = 0.45, 1.02


@dataclass(frozen=True)
class Limits:
    """What a net must keep to.

    Parameters
    ----------
    room_mm : width and height of the box that it must fit in, turned as it likes; None for any
    compact : whether it must fill its box well
    """

    room_mm: tuple[float, float] | None = None
    compact: bool = False

    @property
    def any(self) -> bool:
        """Whether there are any."""
        return self.compact or self.room_mm is not None

    def fits(self, hull: Places) -> bool:
        """Whether a net with that hull fits in the room."""
        return self.room_mm is None or self._fitting(hull, 0.0) is not None

    def kept(self, hull: Places, area: float) -> bool:
        """Whether a net with that hull and area, mm2, keeps to them."""
        return self.fits(hull) and (not self.compact or area >= _FILLED * _smallest_box(hull))

    def turn_for(self, hull: Places) -> complex:
        """What turns a hull so that it fits in the room, as level as can be; or just level if nothing does."""
        turn = None if self.room_mm is None else self._fitting(hull, _HAIR * max(self.room_mm))
        return levelled(hull) if turn is None else turn

    def _fitting(self, hull: Places, hair: float) -> complex | None:
        """What turns a hull so that it fits, or None: with a side level, or else with a corner on each of two rims."""
        for turns in (turns_of(hull), self._tight(hull)):
            widths, heights = _sizes(hull, turns)
            wide, high = self.room_mm or (inf, inf)
            upright = (widths <= wide + hair) & (heights <= high + hair)
            lying = (heights <= wide + hair) & (widths <= high + hair)
            good = np.nonzero(upright | lying)[0]
            if len(good):
                best = int(good[np.argmin((widths * heights)[good])])
                turn = complex(turns[best])
                across = widths[best] >= heights[best] if upright[best] and lying[best] else upright[best]
                return turn if across else turn * 1j
        return None

    def _tight(self, hull: Places) -> Places:
        """Turns at which two corners of a hull are just as far apart as the room is wide or high.

        Where a hull fits, it fits as far as it can be turned until it fills the room one way; so if it fits at none of
        these and with no side level, it does not.
        """
        ways = (hull[:, None] - hull[None, :]).ravel()
        turns = []
        for side in self.room_mm or ():
            far = ways[np.abs(ways) >= side]
            open_rad = np.arccos(side * (1 - 1e-12) / np.abs(far))
            straight = np.conj(far) / np.abs(far)
            turns += [straight * np.exp(1j * open_rad), straight * np.exp(-1j * open_rad)]
        return np.concatenate(turns) if turns else np.zeros(0, dtype=complex)

    def may_join(self, one: Places, other: Places, area: float) -> bool:
        """Whether two nets may become one.

        Parameters
        ----------
        one, other : their hulls, as they would lie
        area : of both together, mm2
        """
        both = hull_of(np.concatenate([one, other]))
        if not self.fits(both):
            return False
        box = _smallest_box(both)
        return not self.compact or area >= _FILLED * box or box <= _LOOSER * (_smallest_box(one) + _smallest_box(other))


def hull_of(points: Places) -> Places:
    """Corners of the convex hull of points, complex, without repeating the first."""
    hull = shapely.convex_hull(shapely.multipoints(np.stack([points.real, points.imag], axis=1)))
    corners = shapely.get_coordinates(hull)
    corners = corners[:-1] if len(corners) > 3 else corners
    return np.asarray(corners[:, 0] + 1j * corners[:, 1])


def turns_of(hull: Places) -> Places:
    """What turns each side of a hull level, (k,) complex."""
    sides = np.roll(hull, -1) - hull
    sides = sides[np.abs(sides) > 0]
    return np.asarray(np.conj(sides) / np.abs(sides)) if len(sides) else np.ones(1, dtype=complex)


def levelled(hull: Places) -> complex:
    """What turns a hull so that the longer side of its smallest box is level."""
    turns = turns_of(hull)
    widths, heights = _sizes(hull, turns)
    areas = widths * heights
    # Equally small boxes of a regular outline: the first, whatever the rounding.
    best = int(np.nonzero(areas <= areas.min() * (1 + 1e-9))[0][0])
    return complex(turns[best]) * (1.0 if widths[best] >= heights[best] else 1j)


def _smallest_box(hull: Places) -> float:
    widths, heights = _sizes(hull, turns_of(hull))
    return float((widths * heights).min())


def _sizes(hull: Places, turns: Places) -> tuple[Array, Array]:
    turned = turns[:, None] * hull
    return np.ptp(turned.real, axis=1), np.ptp(turned.imag, axis=1)
