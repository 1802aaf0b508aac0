"""Rough and quiet water: the face of a wave that stands, and rows of waves on a page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from . import inks
from .carving import Array, Wobble, dashes, dots, hatch, polygon, stroke, union
from .sheet import Sheet

__all__ = ["Waters", "draw_face", "lay_rows", "moved_by", "swell"]

Rng = np.random.Generator


@dataclass(frozen=True)
class Waters:
    """Inks of a wave, from its crest down, and how far below the crest each begins, mm."""

    bands: tuple[tuple[float, str], ...]
    cuts: tuple[str, str]
    rim: str = inks.FOAM


#: A wave in a storm.
ROUGH = Waters(
    ((2.4, inks.SHALLOW), (5.6, inks.TEAL), (12.5, inks.DEEP), (27.0, inks.NIGHT)), (inks.SHALLOW, inks.LEAD)
)


def moved_by(shape: BaseGeometry, way: ArrayLike) -> BaseGeometry:
    """A shape carried along a vector, mm."""
    step = np.asarray(way, dtype=float)
    return shapely.transform(shape, lambda points: points + step)


def swell(points: Array) -> Array:
    """Direction of short waves, degrees, (n,) float."""
    return np.asarray(9.0 * np.sin(points[:, 0] / 13.0) + 6.0 * np.cos(points[:, 1] / 9.0))


def draw_face(
    sheet: Sheet,
    face: BaseGeometry,
    seed: int,
    *,
    waters: Waters = ROUGH,
    down: ArrayLike = (0.0, -1.0),
    way: float | Callable[[Array], Array] = swell,
    within: BaseGeometry | None = None,
) -> None:
    """Print a wave that stands: foam on its crest, bands that darken towards its foot, the cuts of the water.

    Parameters
    ----------
    sheet : where
    face : the card that shows it, net coordinates
    seed : of the generator
    waters : its inks
    down : from the crest to the foot, a unit vector
    way : direction of the cuts, degrees
    within : region that its bleed may take, where other panels are beside it
    """
    rng = np.random.default_rng(seed)
    uneven, ragged = Wobble(seed + 1, 0.35, 4.0), Wobble(seed + 2, 0.9, 3.2)
    step = np.asarray(down, dtype=float)
    bleed = shapely.buffer(face, 3.5, join_style="mitre")
    bleed = bleed if within is None else shapely.intersection(bleed, within)
    sheet.lay(bleed, waters.rim)
    for number, (depth, ink) in enumerate(waters.bands):
        # What a band leaves free is the crest alone: the foot runs on into the bleed.
        low = moved_by(union([face, moved_by(face, step * 6.0)]), step * depth)
        sheet.lay((ragged if number < 2 else uneven)(low), ink, within=bleed)
    deep = shapely.intersection(moved_by(face, step * (waters.bands[1][0] + 1.5)), face)
    light, dark = waters.cuts
    sheet.lay(hatch(deep, way, rng, spacing=2.3, length=(2.0, 6.0), width=(0.25, 0.6), share=0.62), light)
    sheet.lay(hatch(deep, way, rng, spacing=3.0, length=(2.0, 5.0), width=(0.25, 0.6), share=0.55), dark)
    _foam(sheet, face, deep, rng, step)


def _foam(sheet: Sheet, face: BaseGeometry, deep: BaseGeometry, rng: Rng, step: Array) -> None:
    """Fingers of foam that hang from the crest, and lines of it along the face."""
    crest = shapely.difference(face, moved_by(face, step * 7.0))
    angle = float(np.degrees(np.arctan2(step[1], step[0])))
    fingers = hatch(crest, angle, rng, spacing=2.1, length=(2.5, 6.0), width=(0.6, 1.2), share=0.6)
    sheet.lay(fingers, inks.FOAM)
    sheet.lay(dots(crest, rng, spacing=2.0, radius=(0.2, 0.55), share=0.55), inks.CREAM)
    for depth in (9.0, 15.0, 23.0):
        edge = shapely.intersection(moved_by(face, step * depth), face)
        lines = shapely.intersection(shapely.buffer(shapely.boundary(edge), 0.01), shapely.buffer(face, -1.0))
        if not lines.is_empty and edge.area > 30.0:
            inner = shapely.intersection(shapely.boundary(edge), shapely.buffer(face, -1.2))
            if inner.length > 4.0:
                marks = dashes(inner, rng, length=(3.0, 9.0), gap=(2.0, 7.0), width=(0.35, 0.8))
                sheet.lay(marks, inks.FOAM if depth < 12 else inks.SHALLOW, within=deep)


def lay_rows(
    sheet: Sheet,
    water: BaseGeometry,
    horizon: float,
    rng: Rng,
    *,
    height: float,
    faces: tuple[str, str],
    foam: str,
    cuts: tuple[str, str],
) -> None:
    """Print rows of waves up to the horizon, lower and closer towards it.

    Parameters
    ----------
    sheet : where
    water : the region that they fill
    horizon : y of the horizon, mm
    rng : generator
    height : of the nearest waves, mm
    faces : inks of a wave's lit shoulder and of its back
    foam : ink of the crests' foam
    cuts : inks of the cuts, light and dark
    """
    left, low, right, _ = sheet.box
    x = np.arange(left - 8.0, right + 8.0, 1.5)
    for number, (level, near) in enumerate(_levels(horizon, low, height)):
        tall = 0.5 + near * height * 0.55
        long = 9.0 + 34.0 * near
        phase = rng.uniform(0.0, 2 * np.pi, 2)
        peak = np.abs(np.sin(x / long + phase[0])) ** 1.6 + 0.35 * np.sin(x / (long * 0.37) + phase[1])
        crest = np.column_stack([x, level - tall * peak])
        back = polygon(np.vstack([crest, [[right + 9, low - 9], [left - 9, low - 9]]]))
        fine = Wobble(700 + number, 0.15 + 0.3 * near, 3.0 + 4.0 * near)
        sheet.lay(fine(back), faces[number % 2], within=water)
        thick = 0.55 * tall * np.clip(peak, 0.04, 1.0)
        sheet.lay(fine(stroke(crest - [0.0, 0.85 * tall], thick)), cuts[1], within=water)
        line = shapely.LineString(crest - [0.0, 0.12 * tall])
        marks = dashes(
            line,
            rng,
            length=(3.0 + 6 * near, 9.0 + 22 * near),
            gap=(1.0 + 3 * near, 4.0 + 16 * near),
            width=(0.3 + 0.5 * near, 0.6 + 1.5 * near),
        )
        sheet.lay(fine(marks), foam, within=water)
        strip = shapely.intersection(water, shapely.box(left, level - 2.6 * tall - 2.0, right, level - tall))
        spacing = 1.6 + 2.4 * near
        reach = (1.5 + 2.0 * near, 3.0 + 6.0 * near)
        wide = (0.2 + 0.1 * near, 0.35 + 0.4 * near)
        sheet.lay(hatch(strip, swell, rng, spacing=spacing, length=reach, width=wide, share=0.5), cuts[0])


def _levels(horizon: float, low: float, height: float) -> list[tuple[float, float]]:
    """Where each row stands, mm, and how near it is, 0 at the horizon to 1 at the foot."""
    levels, y = [], horizon - 1.2
    while y > low - height:
        near = (horizon - y) / (horizon - low)
        levels.append((y, near))
        y -= 1.6 + near * height * 1.35
    return levels
