"""How light sees a slab of card: which way its surface leans beside creases, and that its cut edges are rounded.

The slab's corners stay where the core has them. What bends is said in attributes of the corners of faces, which the
material turns into a lean of the normal and a lighter line where print cracks. All of them are linear in the plane of a
face, so that however a face is cut into triangles, every point of it has what it must.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .creasing import Crease
from .geometry.transforms import Array

__all__ = ["CREASES", "Bend", "Marks", "bends_at", "edge_marks", "edge_normals", "face_marks", "folded"]

#: A face knows so many creases, one a component of a vector.
CREASES = 3
#: Half the width of the strip beside a crease that bends, in calipers (by eye: a scoring channel is about so wide).
_STRIP_CALIPERS = 1.4
#: Sides of an outline that meet at less than this angle are one curve.
_CURVED_COS = float(np.cos(np.radians(40.0)))
#: A crease is on a side of the outline that is no further away than this, mm.
_ON_SIDE_MM = 0.02
#: Where two panels gape at a crease it is rounded: how far it looks outward at the face, and at the line (by eye).
_ROUNDED = (0.35, 1.0)


@dataclass(frozen=True)
class Bend:
    """A crease where it is on a side of the outline.

    Parameters
    ----------
    crease : which
    outward : (2,) float, unit vector square to it, away from the panel
    share : of that side that it takes
    """

    crease: Crease
    outward: Array
    share: float


@dataclass(frozen=True)
class Marks:
    """What corners of faces know of up to three creases.

    Parameters
    ----------
    near : (n, 3) float; 1 on the line, 0 where the strip that bends ends, less beyond
    along : (n, 3) float; -1 at its start, 1 at its end
    outside : (n, 3) float; 1 where this side of the card comes to lie outside
    leans : (n, 3, 2) float, the way that the surface leans at each
    """

    near: Array
    along: Array
    outside: Array
    leans: Array

    @classmethod
    def none(cls, count: int) -> Marks:
        """Those of so many corners that know of no crease."""
        near, along, outside = np.zeros((3, count, CREASES))
        return cls(near, along, outside, np.zeros((count, CREASES, 2)))

    @classmethod
    def joined(cls, parts: Sequence[Marks]) -> Marks:
        """Those of several faces, one after the other."""
        near, along, outside = (
            np.concatenate([getattr(part, name) for part in parts]) for name in ("near", "along", "outside")
        )
        return cls(near, along, outside, np.concatenate([part.leans for part in parts]))


def bends_at(start: Array, end: Array, creases: Sequence[Crease]) -> list[Bend]:
    """The creases on the side of an outline from one corner to the next, the panel on its left.

    Parameters
    ----------
    start, end : (2,) float, mm, net coordinates
    creases : of the panel
    """
    way = end - start
    length = float(np.hypot(*way))
    if length == 0.0:
        return []
    way = way / length
    found = []
    for crease in creases:
        ends = np.array([crease.start, crease.end]) - start
        if np.abs(ends[:, 0] * way[1] - ends[:, 1] * way[0]).max() > _ON_SIDE_MM:
            continue
        first, last = sorted(ends @ way)
        shared = min(last, length) - max(first, 0.0)
        if shared > _ON_SIDE_MM:
            found.append(Bend(crease, np.array([way[1], -way[0]]), shared / length))
    return found


def folded(bends: Sequence[Bend]) -> Crease | None:
    """What the side of a slab is folded at, if most of it is; where nothing is cut, no core is seen."""
    if sum(bend.share for bend in bends) <= 0.5:
        return None
    return max(bends, key=lambda bend: bend.share).crease


def face_marks(corners: Array, bends: Sequence[Bend], caliper_mm: float, *, back: bool) -> Marks:
    """What the corners of a printed face, or of a back, know.

    Parameters
    ----------
    corners : (n, 2) float, mm, net coordinates
    bends : of the panel
    caliper_mm : thickness of the card
    back : whether it is the back
    """
    strip = _STRIP_CALIPERS * caliper_mm
    marks = Marks.none(len(corners))
    for number, bend in enumerate(_nearest(corners, bends)):
        crease = bend.crease
        middle, half = (crease.start + crease.end) / 2, (crease.end - crease.start) / 2
        outside = crease.mountain != back
        marks.near[:, number] = 1.0 + (corners - middle) @ bend.outward / strip
        marks.along[:, number] = (corners - middle) @ half / (half @ half)
        marks.outside[:, number] = float(outside)
        marks.leans[:, number] = bend.outward if outside else -bend.outward
    return marks


def _nearest(corners: Array, bends: Sequence[Bend]) -> list[Bend]:
    """The bends that a face has to know: those whose lines its corners are nearest to."""
    if len(bends) <= CREASES:
        return list(bends)
    return sorted(bends, key=lambda bend: _distance(corners, bend))[:CREASES]


def _distance(corners: Array, bend: Bend) -> float:
    """From a crease to the convex hull of a few corners, mm; 0 where it is a side of them. Good enough to sort by."""
    crease = bend.crease
    steps = np.linspace(crease.start, crease.end, 9)
    sides = np.roll(corners, -1, axis=0) - corners
    lengths = np.maximum((sides**2).sum(axis=1), 1e-12)
    share = np.clip(((steps[:, None] - corners) * sides).sum(axis=2) / lengths, 0.0, 1.0)
    return float(np.linalg.norm(corners + share[..., None] * sides - steps[:, None], axis=2).min(axis=1).mean())


def edge_marks(crease: Crease | None) -> Marks:
    """What the four corners of a side of the slab know: print cracks where a crease gapes, and nothing else."""
    marks = Marks.none(4)
    if crease is not None:
        marks.near[:, 0] = marks.outside[:, 0] = 1.0
    return marks


def edge_normals(ring: Array, folds: Sequence[Crease | None]) -> Array:
    """How light sees the sides of a slab along one ring of its outline.

    Parameters
    ----------
    ring : (n, 2) float, mm; the panel on its left
    folds : the crease at which each side is folded, from each corner to the next

    Returns
    -------
    (n, 4, 3) float, unit vectors; the corners of a side are its start and end as (front, back, back, front). Cut edges
    are rounded from face to face, and smooth along a curve; a crease is rounded towards the face that lies outside
    """
    ways = np.roll(ring, -1, axis=0) - ring
    ways = ways / np.maximum(np.linalg.norm(ways, axis=1, keepdims=True), 1e-12)
    outward = np.column_stack([ways[:, 1], -ways[:, 0]])
    found = np.zeros((len(ring), 4, 3))
    for side, crease in enumerate(folds):
        if crease is not None:
            up = 1.0 if crease.mountain else -1.0
            # At the face that lies outside first, then where the two panels meet.
            rounds = _ROUNDED if crease.mountain else _ROUNDED[::-1]
            for corner, share in zip((0, 1, 2, 3), (rounds[0], rounds[1], rounds[1], rounds[0]), strict=True):
                found[side, corner] = (*share * outward[side], up)
            continue
        for corner, other, up in ((0, side - 1, 1.0), (1, side - 1, -1.0), (2, side + 1, -1.0), (3, side + 1, 1.0)):
            other %= len(ring)
            smooth = folds[other] is None and ways[side] @ ways[other] > _CURVED_COS
            way = outward[side] + outward[other] if smooth else outward[side]
            found[side, corner] = (*way / np.linalg.norm(way), up)
    return np.asarray(found / np.linalg.norm(found, axis=2, keepdims=True))
