"""What lies between two panels of the closed spread: the stack that a crease has to wrap round.

All outlines, laid over each other as they lie when the book is shut, cut the page into *faces*, over each of which
everywhere the same card lies. In which order is read off where the book has just come open, when every panel is clear
of the next; card that is glued flat on card lies on the face that it is glued to.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree

from .outline import carried
from .spread import Spread
from .tolerances import SLIVER_MM2, TOUCH_MM
from .transforms import Array, apply

__all__ = ["Between", "Pile", "calipers_mm", "pile_of"]

#: How far the book is opened beyond where it stops, to see which panel lies above which.
_AJAR_RAD = float(np.radians(0.01))
#: Card glued on card is told from its host by this: a hundredth of what 1 mm from a hinge rises at that opening.
_GLUED_MM = 1e-6
#: A panel steeper than this (cosine) stands on edge and covers nothing.
_STEEP = 1e-3


@dataclass(frozen=True)
class Between:
    """What lies between two panels, face by face.

    Parameters
    ----------
    faces : (f,) bool; faces that both panels cover
    layers : (f,) int; panels between them there, 0 elsewhere
    stacks : (f, k) float, mm; card between them of each stock, in the pile's order of stocks
    """

    faces: NDArray[np.bool_]
    layers: NDArray[np.int64]
    stacks: Array


@dataclass(frozen=True)
class Pile:
    """The card of the closed spread, layer on layer.

    Parameters
    ----------
    stocks : names
    calipers_mm : (k,) float
    panels : names of those that lie, p of them
    stock : (p,) int; each one's stock
    faces : (f,) Polygon, mm; x from the spine, y from the foot
    covers : (p, f) bool
    heights : (p, f) float, mm; above the plane that halves the opening, the book just ajar
    matrices : (4, 4) float each; the panels as they are seen
    """

    stocks: tuple[str, ...]
    calipers_mm: Array
    panels: tuple[str, ...]
    stock: NDArray[np.int64]
    faces: NDArray[np.object_]
    covers: NDArray[np.bool_]
    heights: Array
    matrices: Mapping[str, Array]

    @cached_property
    def _row(self) -> dict[str, int]:
        return {name: row for row, name in enumerate(self.panels)}

    def cover(self, panels: Sequence[str]) -> NDArray[np.bool_]:
        """(f,) bool: faces that every one of the panels covers."""
        rows = [self._row.get(name) for name in panels]
        nothing = np.zeros(len(self.faces), dtype=bool)
        every = [nothing if row is None else self.covers[row] for row in rows]
        return np.asarray(np.all(every, axis=0))

    def between(self, first: str, second: str, without: Collection[str] = ()) -> Between:
        """What lies between two panels, some panels left out of the count."""
        inside = self._inside(first, second)
        inside[[self._row[name] for name in without if name in self._row]] = False
        stacks = np.zeros((len(self.faces), len(self.stocks)))
        for index, caliper in enumerate(self.calipers_mm):
            stacks[:, index] = caliper * inside[self.stock == index].sum(axis=0)
        return Between(self.cover((first, second)), inside.sum(axis=0), stacks)

    def names_between(self, first: str, second: str) -> tuple[str, ...]:
        """The panels that lie between two panels on any face."""
        rows = np.flatnonzero(self._inside(first, second).any(axis=1))
        return tuple(self.panels[row] for row in rows)

    def _inside(self, first: str, second: str) -> NDArray[np.bool_]:
        """(p, f) bool: the panels that lie between two panels, face by face."""
        faces = self.cover((first, second))
        if not faces.any():
            return np.zeros(self.covers.shape, dtype=bool)
        one, two = self.heights[self._row[first]], self.heights[self._row[second]]
        above, below = self.heights > np.minimum(one, two), self.heights < np.maximum(one, two)
        return np.asarray(self.covers & above & below & faces)

    def distances(self, panel: str, line: Array, faces: NDArray[np.int64], count: int) -> Array:
        """How far from a line of a panel faces begin, along lines square to it.

        Parameters
        ----------
        panel : its name
        line : (2, 2) or (2, 3) float, mm; two points in the panel's net coordinates
        faces : (m,) int; which
        count : how many such lines, spread evenly over the length that the faces take up

        Returns
        -------
        (count, m) float, mm; infinite where the face is not met
        """
        ends = apply(self.matrices[panel], line)[:, :2]
        along = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
        turn = np.array([along, [-along[1], along[0]]])
        shapes = shapely.transform(self.faces[faces], lambda points: (points - ends[0]) @ turn.T)
        low, across_low, high, across_high = shapely.total_bounds(shapes)
        places = low + (high - low) * (np.arange(count) + 0.5) / count
        reach = (np.minimum(across_low, 0.0) - 1.0, np.maximum(across_high, 0.0) + 1.0)
        rays = shapely.linestrings([[(place, reach[0]), (place, reach[1])] for place in places])
        bounds = shapely.bounds(shapely.intersection(rays[:, None], shapes[None, :]))
        nearest = np.maximum(np.maximum(bounds[..., 1], -bounds[..., 3]), 0.0)
        return np.where(np.isnan(nearest), np.inf, nearest)


def pile_of(spread: Spread) -> Pile:
    """Lay the panels of the closed spread over each other.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    Pile; where the spread jams, as it lies there; without any panel where it cannot stand at all
    """
    spread = spread.folding
    low, _ = spread.reachable()
    stocks = calipers_mm(spread)
    names = list(stocks)
    matrices = _ajar(spread, low) if np.isfinite(low) else {}
    lying = {name: matrix for name, matrix in matrices.items() if abs(matrix[2, 2]) > _STEEP}
    outlines = {name: carried(spread.panels[name].outline, matrix).buffer(0) for name, matrix in lying.items()}
    panels = tuple(name for name in lying if outlines[name].area > SLIVER_MM2)
    seen = np.array([outlines[name] for name in panels], dtype=object)
    faces = _faces(seen)
    middles = shapely.point_on_surface(faces)
    covers = np.zeros((len(panels), len(faces)), dtype=bool)
    face, panel = STRtree(seen).query(middles, predicate="within")
    covers[panel, face] = True
    points = shapely.get_coordinates(middles)
    lifts = _glued_lifts(spread, lying)
    heights = np.array([_heights(lying[name], points) + lifts[name] for name in panels]).reshape(covers.shape)
    stock = np.array([names.index(spread.piece(spread.panels[name].piece).stock.id) for name in panels], dtype=np.int64)
    calipers = np.array(list(stocks.values()))
    return Pile(tuple(names), calipers, panels, stock, faces, covers, heights, lying)


def calipers_mm(spread: Spread) -> dict[str, float]:
    """The caliper of every stock that the spread is made of, in a fixed order."""
    return {piece.stock.id: piece.stock.caliper_mm for piece in spread.pieces}


def _ajar(spread: Spread, low: float) -> dict[str, Array]:
    """Poses just above where the spread stops, turned so that the plane that halves the opening lies level."""
    opening = low + _AJAR_RAD
    half = opening / 2
    level = np.eye(4)
    level[0, 0], level[0, 2], level[2, 0], level[2, 2] = np.cos(half), np.sin(half), -np.sin(half), np.cos(half)
    poses = spread.pose(np.array([opening])).matrices
    return {name: level @ matrix[0] for name, matrix in poses.items() if np.isfinite(matrix).all()}


def _faces(outlines: NDArray[np.object_]) -> NDArray[np.object_]:
    """The parts into which all outlines cut the plane, (f,) Polygon; slivers between outlines that meet left out."""
    if not len(outlines):
        return np.empty(0, dtype=object)
    faces = shapely.get_parts(shapely.polygonize([shapely.union_all(shapely.boundary(outlines), grid_size=TOUCH_MM)]))
    chosen: NDArray[np.object_] = faces[2.0 * shapely.area(faces) > 10 * TOUCH_MM * shapely.length(faces)]
    return chosen


def _heights(matrix: Array, points: Array) -> Array:
    """Heights of a panel's plane over points of the level plane, (f,) float, mm."""
    normal, start = matrix[:3, 2], matrix[:3, 3]
    return np.asarray(start[2] - (points - start[:2]) @ normal[:2] / normal[2])


def _glued_lifts(spread: Spread, matrices: Mapping[str, Array]) -> dict[str, float]:
    """How far above its host's plane card lies that is glued on card, mm: a hair, upwards or downwards.

    What is glued later lies over what is glued there already.
    """
    faces = {area.glued: (area.host, 1.0 if area.face == "front" else -1.0) for area in spread.glue_areas}
    lifts: dict[str, float] = {}
    for number, (name, matrix) in enumerate(matrices.items()):
        lifts[name] = 0.0
        if spread.panels[name].axis is None and name in faces:
            host, face = faces[name]
            up = float(np.sign(matrices[host][2, 2] if host in matrices else matrix[2, 2]))
            lifts[name] = lifts.get(host, 0.0) + up * face * _GLUED_MM * (1 + number / len(matrices))
    return lifts
