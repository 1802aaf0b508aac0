"""What a reader sees of each face: exact polygons in the coordinates of the net.

From an eye at a point, another panel hides of a panel exactly its central projection onto that panel's plane: of the
other panel only the part that lies between the eye and the plane casts it, and straight edges stay straight. So a
panel's hidden part is a union of polygons, and what is seen from several eyes and at several openings is what is left
when all that is hidden from each of them is taken away.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from ..booklet.hidden import lifts
from ..outline import parts_of
from ..sampling import hand_range
from ..spread import Spread
from ..transforms import Array, apply, inverse, rotation_about
from .contact import contacts
from .faces import FACES, Face

__all__ = ["Placed", "Sight", "hidden_parts", "placed", "reader_eyes", "sight_of", "views_while_opening"]

#: How far a reader's eyes are from the middle of the spread (common practice for reading at a table); further from a
#: book that is larger than that allows, as many of its longer sides.
_READING_MM, _LONGER_SIDES = 450.0, 1.8
#: Where the eyes of a reader in front of the foot may be: to the right, and above the table, degrees.
_EYES_DEG = ((0.0, 45.0), (0.0, 65.0), (0.0, 30.0), (-20.0, 45.0), (20.0, 45.0))
#: Which of them look at it while it opens.
_STEADY = (0, 3, 4)
#: Openings at which a spread is looked at while it opens, degrees; the open spread comes first, by itself.
_OPENINGS_DEG = np.arange(30.0, 180.0, 15.0)
#: Places of what a hand moves, at which the open spread is looked at.
_HAND_STEPS = 7
#: What is nearer to a panel's plane than this lies in it and hides nothing of it; card on card is told apart by lifts.
_EPS_MM = 1e-4
#: Card that stands on a plane may reach below it by the hair of the lifts; it need not be cut off there, if it stands
#: this high.
_HAIR_MM, _STANDS_MM = 0.03, 1.0
#: What is nearer to the eye than this share of the eye's height over the panel's plane hides what is out of sight.
_NEAR_EYE = 1e-3
#: A panel whose plane the eye is nearer to than this is seen on edge.
_ON_EDGE_MM = 1.0
#: Overlays snap to this grid.
_GRID_MM = 1e-5


@dataclass(frozen=True)
class Placed:
    """Panels where they are.

    Parameters
    ----------
    names, outlines : of each, n of them
    poses : (n, 4, 4) float, with the hair that card on card lies off its place
    corners, starts : (k, 3) float, mm, corners of all outlines in the world; (n,) int, where those of each begin
    opening_rad : of the spread
    """

    names: tuple[str, ...]
    outlines: tuple[Polygon, ...]
    poses: Array
    corners: Array
    starts: NDArray[np.int64]
    opening_rad: float = np.pi


@dataclass(frozen=True)
class Sight:
    """How much of one face of a panel is seen, mm, in net coordinates.

    Parameters
    ----------
    seen : from the reader's place while the spread lies open
    opening : besides that, while it opens from 30 degrees on, either page lying on the table, or while a hand moves
        something
    never : the rest; what is glued is in it
    """

    seen: BaseGeometry
    opening: BaseGeometry
    never: BaseGeometry


def reader_eyes(spread: Spread) -> Array:
    """Where the eyes of a reader in front of the foot of the spread may be, (e, 3) float, mm."""
    away = max(_READING_MM, _LONGER_SIDES * max(spread.page_size_mm))
    turns, heights = np.radians(_EYES_DEG).T
    ways = np.stack([np.sin(turns) * np.cos(heights), -np.cos(turns) * np.cos(heights), np.sin(heights)], axis=1)
    return np.asarray(np.array([0.0, spread.page_size_mm[1] / 2, 0.0]) + away * ways)


def placed(spread: Spread, matrices: Mapping[str, Array], opening_rad: float = np.pi) -> Placed:
    """Panels at one opening.

    Parameters
    ----------
    spread : Spread
    matrices : (4, 4) float by panel; those with NaN are left out
    opening_rad : of the spread
    """
    found = {name: matrix for name, matrix in matrices.items() if np.isfinite(matrix).all()}
    poses = {name: matrix.copy() for name, matrix in found.items()}
    for name, lift in lifts(spread, found).items():
        poses[name][:3, 3] += lift
    names = tuple(poses)
    every = np.array(list(poses.values())).reshape(-1, 4, 4)
    outlines = tuple(spread.panels[name].outline for name in names)
    corners = [apply(poses[name], shapely.get_coordinates(spread.panels[name].outline.exterior)) for name in names]
    starts = np.cumsum([0, *(len(each) for each in corners[:-1])])
    return Placed(names, outlines, every, np.concatenate(corners), starts, opening_rad)


def hidden_parts(view: Placed, index: int, eye: Array, within: BaseGeometry) -> BaseGeometry:
    """What of one panel the others hide from an eye.

    Parameters
    ----------
    view : Placed
    index : of the panel
    eye : (3,) float, mm
    within : the part of the panel that matters, in its net coordinates

    Returns
    -------
    BaseGeometry, in the panel's net coordinates; it may reach beyond the part that matters
    """
    onto = inverse(view.poses[index])
    here = apply(onto, eye[None])[0]
    side = float(np.sign(here[2]))
    top = float(abs(here[2])) * (1 - _NEAR_EYE)
    solid = apply(onto, view.corners)
    heights = side * solid[:, 2]
    lows, highs = np.minimum.reduceat(heights, view.starts), np.maximum.reduceat(heights, view.starts)
    whole = (lows >= -_HAIR_MM) & (highs > _STANDS_MM) & (highs <= top) | (lows >= _EPS_MM) & (highs <= top)
    casts = (highs > _EPS_MM) & (lows < top)
    # Where a panel casts its shadow as a whole, the shadow's corners are those of the panel.
    stretch = here[2] / np.maximum(np.abs(here[2] - solid[:, 2]), 1e-9) * side
    flat = here[:2] + (solid[:, :2] - here[:2]) * stretch[:, None]
    bounds = np.asarray(within.bounds)
    beyond = (np.maximum.reduceat(flat, view.starts) <= bounds[:2]).any(axis=1)
    beyond |= (np.minimum.reduceat(flat, view.starts) >= bounds[2:]).any(axis=1)
    casts &= ~(whole & beyond)
    casts[index] = False
    shadows: list[Polygon] = []
    for other in np.flatnonzero(casts):
        outline = view.outlines[other]
        carry = onto @ view.poses[other]
        casting = outline if whole[other] else _between(outline, side * carry[2], _EPS_MM, top)
        shadows += _cast(casting, carry, here, within)
    return shapely.union_all(shadows, grid_size=_GRID_MM) if shadows else Polygon()


def _cast(casting: BaseGeometry, carry: Array, eye: Array, within: BaseGeometry) -> Iterator[Polygon]:
    """Shadows of a shape, where they may meet what matters."""
    left, low, right, high = within.bounds

    def onto_plane(points: Array) -> Array:
        solid = apply(carry, points)
        stretch = eye[2] / (eye[2] - solid[:, 2:])
        return np.asarray(eye[:2] + (solid[:, :2] - eye[:2]) * stretch)

    for part in parts_of(casting):
        shadow = shapely.transform(part, onto_plane)
        west, south, east, north = shadow.bounds
        if east > left and west < right and north > low and south < high:
            # Projection keeps a simple ring simple; what rounding has done to a thin one is put right.
            yield from parts_of(shadow if shadow.is_valid else shapely.make_valid(shadow))


def _between(outline: Polygon, row: Array, low: float, high: float) -> BaseGeometry:
    """The part of an outline where a x + b y + d of row (a, b, c, d) lies between two values."""
    slope = float(np.hypot(row[0], row[1]))
    if slope < 1e-12:
        return outline
    along, middle = row[:2] / slope, np.asarray(outline.centroid.coords[0])
    level = float(row[:2] @ middle + row[3])
    reach = 2.0 * float(np.hypot(*np.ptp(np.reshape(outline.bounds, (2, 2)), axis=0)))
    first, last = max((low - level) / slope, -reach), min((high - level) / slope, reach)
    if first >= last:
        return Polygon()
    across = np.array([-along[1], along[0]]) * reach
    ends = [middle + along * first, middle + along * last]
    band = Polygon([ends[0] - across, ends[1] - across, ends[1] + across, ends[0] + across])
    return outline.intersection(band)


def views_while_opening(spread: Spread) -> tuple[list[Placed], list[Placed]]:
    """The open spread, and the spread while it opens and while hands move what they move.

    Returns
    -------
    (one Placed of the open spread, as far as it opens; the others)
    """
    low, high = spread.reachable()
    if not np.isfinite(high):
        return [], []
    openings = np.radians(_OPENINGS_DEG)
    openings = openings[(openings > low) & (openings < high)]
    motions = [spread.pose(np.array([high])), spread.pose(openings)]
    for hand in spread.hands:
        moved = np.linspace(*hand_range(spread, hand), _HAND_STEPS)
        motions.append(spread.pose(np.full(_HAND_STEPS, high), {hand.id: moved}))
    every = [
        placed(spread, {name: each[step] for name, each in motion.matrices.items()}, float(motion.openings_rad[step]))
        for motion in motions
        for step in range(len(motion.openings_rad))
    ]
    return every[:1], every[1:]


def sight_of(spread: Spread, *, bound: bool = False) -> dict[tuple[str, Face], Sight]:
    """What a reader sees of every face of every panel.

    Parameters
    ----------
    spread : Spread
    bound : whether the outsides of its pages are glued into a book

    Returns
    -------
    dict of Sight, by panel and face

    Notes
    -----
    The outsides of the pages are looked at while the book is shut: all that is not glued counts as seen, unless the
    spread is bound.
    """
    eyes = reader_eyes(spread)
    glued = contacts(spread)
    bare = {
        (name, face): panel.outline.difference(glued.get((name, face), Polygon()))
        for name, panel in spread.panels.items()
        for face in FACES
    }
    still, opening = views_while_opening(spread)
    unseen_open = _unseen(bare, [(view, eyes) for view in still])
    unseen = _unseen(unseen_open, [(view, _either_way(view, eyes[list(_STEADY)])) for view in opening])
    found = {}
    for (name, face), whole in bare.items():
        outside = face == "back" and spread.panels[name].role == "page"
        if outside and bound:
            found[name, face] = Sight(Polygon(), Polygon(), spread.panels[name].outline)
            continue
        outline = spread.panels[name].outline
        seen = _clean(whole if outside else whole.difference(unseen_open[name, face]))
        later = Polygon() if outside else _clean(unseen_open[name, face].difference(unseen[name, face]))
        found[name, face] = Sight(seen, later, _clean(outline.difference(shapely.union(seen, later))))
    return found


def _either_way(view: Placed, eyes: Array) -> Array:
    """Eyes of a reader who turns the left page over, and of one who turns the right page, in the world's frame."""
    turn = np.pi - view.opening_rad
    if turn < 1e-6:
        return eyes
    back = rotation_about(np.zeros(3), np.array([0.0, 1.0, 0.0]), turn)[0]
    return np.concatenate([eyes, apply(back, eyes)])


def _unseen(
    faces: Mapping[tuple[str, Face], BaseGeometry], views: Sequence[tuple[Placed, Array]]
) -> dict[tuple[str, Face], BaseGeometry]:
    """What of each face is hidden in every view and from every eye."""
    left = dict(faces)
    for view, eyes in views:
        for eye in eyes:
            for index, name in enumerate(view.names):
                height = float((eye - view.poses[index][:3, 3]) @ view.poses[index][:3, 2])
                face: Face = "front" if height > 0.0 else "back"
                if abs(height) > _ON_EDGE_MM and not left[name, face].is_empty:
                    hidden = hidden_parts(view, index, eye, left[name, face])
                    common = shapely.intersection(left[name, face], hidden, grid_size=_GRID_MM)
                    left[name, face] = _clean(common)
    return left


def _clean(shape: BaseGeometry) -> BaseGeometry:
    """Its polygons, without lines, points and slivers, and free of the grid."""
    free = shapely.set_precision(shape, 0.0)
    return MultiPolygon([part for part in parts_of(free) if part.area > 1e-3 * part.length])
