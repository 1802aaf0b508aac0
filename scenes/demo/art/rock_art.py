"""Who lives on Tern Rock: the lighthouse and the crab in the cave."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geometry import Spread

from . import inks
from .carving import Array, Wobble, blob, dots, gouges, hatch, path, polygon, rounded, stroke, turned, union
from .sheet import Sheet

__all__ = ["draw_crab", "draw_lighthouse"]

#: Half the width of the crab with its claws and a rim, as drawn, mm.
_CRAB_HALF_MM = 14.0
#: The crab's shell, the halves of its right claw, and its right legs from body to foot.
_SHELL = (
    (-7.2, 6.4), (-5.4, 9.0), (-2.6, 10.0), (0, 9.6), (2.6, 10.0), (5.4, 9.0), (7.2, 6.4), (5.2, 3.2), (2.2, 2.0),
    (-2.2, 2.0), (-5.2, 3.2),
)  # fmt: skip
_CLAW = (
    ((10.0, 8.0), (8.6, 9.8), (8.7, 11.4), (10.4, 12.0), (11.6, 12.6), (11.0, 10.8), (11.1, 9.6)),
    ((10.1, 8.0), (11.2, 9.4), (11.9, 10.8), (12.6, 11.2), (12.7, 9.2), (11.8, 8.0)),
)
_LEGS = (
    ((5.2, 4.8), (8.8, 6.0), (11.6, 2.2)),
    ((4.6, 3.8), (8.0, 4.2), (9.6, 1.2)),
    ((3.6, 3.0), (6.2, 2.6), (7.2, 0.6)),
)


def draw_lighthouse(sheet: Sheet, spread: Spread) -> None:
    """Print the lighthouse: bands on the tower, a gallery, the lit lantern under its roof."""
    rng = np.random.default_rng(321)
    uneven = Wobble(322, 0.12, 2.5)
    left, low, right, _ = sheet.box
    gallery, lantern, eaves = _levels(spread)
    bands = np.linspace(low + 3.0, gallery, 6)
    for number, (start, end) in enumerate(pairwise(bands)):
        ink, cut = ((inks.CORAL, inks.BRICK), (inks.CREAM, inks.DUNE))[number % 2]
        curve = path([[left, end + 0.5], [0, end - 0.35], [right, end + 0.5]])
        band = uneven(polygon([*curve, [right, start - 4], [left, start - 4]]))
        face = shapely.intersection(band, shapely.box(left, start, right, end + 1))
        sheet.lay(face, ink)
        for edge, share in ((1.0, 0.45), (2.8, 0.7), (4.4, 0.9)):
            dark = shapely.box(edge, start, right, end + 1)
            shade = hatch(dark, 0.0, rng, spacing=0.9, length=(1.2, 3.2), width=(0.2, 0.4), share=share)
            sheet.lay(shade, cut, within=face)
        sheet.lay(hatch(face, 0.0, rng, spacing=2.0, length=(0.8, 2.0), width=(0.15, 0.3), share=0.5), cut)
    _openings(sheet, uneven, low + 3.0, bands)
    _lantern(sheet, uneven, gallery, lantern, eaves)
    sheet.lay(uneven(shapely.box(left, low, right, low + 4.6)), inks.SLATE)
    stones = [shapely.box(x + 0.2, low + 2.6, x + 2.2, low + 4.3) for x in np.arange(left, right, 2.5)]
    sheet.lay(uneven(union(stones)), inks.STONE)
    roots = np.column_stack([np.arange(left, right, 0.7), np.full(int(np.ceil((right - left) / 0.7)), low + 2.4)])
    tips = roots + np.column_stack([rng.uniform(-0.6, 0.6, len(roots)), rng.uniform(1.2, 2.6, len(roots))])
    sheet.lay(union([shapely.box(left, low, right, low + 3.2), gouges(roots, tips, 0.8)]), inks.GRASS)
    sheet.lay(gouges(roots[::2] + [0.3, -0.6], tips[::2] + [0.3, -0.9], 0.4), inks.HEDGE)


def _levels(spread: Spread) -> tuple[float, float, float]:
    """Where the gallery, the lantern and the roof begin, read off the outline's corners, mm."""
    heights = sorted({round(float(y), 3) for _, y in spread.panels["lighthouse"].outline.exterior.coords})
    return heights[1], heights[2], heights[3]


def _openings(sheet: Sheet, uneven: Wobble, foot: float, bands: Array) -> None:
    """The door and three windows up the stair."""
    door = union([shapely.box(-1.9, foot, 1.1, foot + 4.6), blob([-0.4, foot + 4.6], 1.5)])
    sheet.lay(uneven(shapely.buffer(door, 0.5)), inks.STONE)
    sheet.lay(uneven(door), inks.DEEP)
    seams = np.array([-1.3, -0.4, 0.5])
    low, high = (np.column_stack([seams, np.full(3, foot + height)]) for height in (1.8, 5.6))
    sheet.lay(gouges(low, high, 0.22), inks.SHALLOW)
    sheet.lay(blob([0.6, foot + 3.6], 0.26), inks.OCHRE)
    for x, y in ((-1.2, bands[2] + 1.6), (0.9, bands[3] + 1.4), (-0.6, bands[4] + 1.8)):
        pane = union([shapely.box(x - 0.75, y, x + 0.75, y + 2.4), blob([x, y + 2.4], 0.75)])
        sheet.lay(uneven(shapely.buffer(pane, 0.4)), inks.SLATE)
        sheet.lay(pane, inks.NIGHT)
        sheet.lay(stroke([[x - 0.4, y + 0.6], [x - 0.4, y + 2.2]], 0.3), inks.OCHRE)
        sheet.lay(shapely.box(x - 1.4, y - 0.6, x + 1.4, y), inks.SLATE)


def _lantern(sheet: Sheet, uneven: Wobble, gallery: float, lantern: float, eaves: float) -> None:
    """The gallery with its rail, the lantern, the roof."""
    left, _, right, high = sheet.box
    sheet.lay(shapely.box(left, gallery - 0.1, right, high), inks.NIGHT)
    sheet.lay(uneven(shapely.box(left, gallery, right, gallery + 0.9)), inks.STONE)
    posts = np.arange(-9.2, 9.5, 1.15)
    sheet.lay(union([stroke([[x, gallery + 0.7], [x, lantern]], 0.32) for x in posts]), inks.CREAM)
    sheet.lay(uneven(shapely.box(left, lantern - 0.55, right, lantern + 0.1)), inks.CREAM)
    glass = shapely.box(left, lantern + 0.6, right, eaves - 0.5)
    sheet.lay(glass, inks.OCHRE)
    middle = (lantern + eaves) / 2
    beam = np.array([[0.0, 0.0], [9.0, -1.2], [9.0, 1.2]])
    glow = [polygon(turned(beam, angle) + [0.0, middle]) for angle in range(0, 360, 30)]
    sheet.lay(union(glow), inks.PEACH, within=glass)
    sheet.lay(blob([0, middle], 1.7), inks.CREAM)
    bars = [stroke([[x, lantern], [x, eaves]], 0.5) for x in (-4.7, -1.65, 1.65, 4.7)]
    sheet.lay(uneven(union([*bars, stroke([[left, middle], [right, middle]], 0.35)])), inks.NIGHT)
    roof = polygon([[left, eaves - 0.6], [right, eaves - 0.6], [right, high], [left, high]])
    sheet.lay(uneven(roof), inks.CORAL)
    seams = [stroke([[x, eaves - 0.6], [0, high - 3.0]], [0.45, 0.2]) for x in (-4.2, -1.7, 0.8, 3.2)]
    sheet.lay(union(seams), inks.BRICK)
    shade, rng = shapely.box(1.0, eaves, right, high), np.random.default_rng(331)
    sheet.lay(hatch(shade, -50.0, rng, spacing=0.9, length=(0.8, 2.0), width=(0.2, 0.36), share=0.7), inks.BRICK)
    sheet.lay(uneven(shapely.box(left, eaves - 0.75, right, eaves + 0.25)), inks.NIGHT)


def draw_crab(sheet: Sheet, spread: Spread) -> None:
    """Print the crab, as wide as its two panels, on the dark of the cave."""
    panels = union([spread.panels[f"crab.{side}"].outline for side in ("left", "right")])
    scale = (panels.bounds[2] - panels.bounds[0]) / (2 * _CRAB_HALF_MM)
    matrix = np.diag([scale, scale, 1.0, 1.0])
    model = Sheet(tuple(value / scale for value in sheet.box), inks.NIGHT)
    _crab(model)
    sheet.paste(model, matrix, sheet.area)


def _crab(sheet: Sheet) -> None:
    """The crab at its own size: claws and eyes up."""
    rng = np.random.default_rng(341)
    uneven = Wobble(342, 0.1, 2.0)
    left, low, right, high = sheet.box
    sheet.lay(hatch(sheet.area, 70.0, rng, spacing=1.7, length=(0.8, 2.2), width=(0.15, 0.3), share=0.5), inks.DEEP)
    ground = path([[left, 1.6], [-6, 2.3], [0, 1.7], [7, 2.4], [right, 1.5]])
    floor = uneven(polygon([*ground, [right, low], [left, low]]))
    sheet.lay(floor, inks.SLATE)
    sheet.lay(dots(floor, rng, spacing=1.2, radius=(0.2, 0.45), share=0.7), inks.STONE)
    legs, claws = _limbs()
    sheet.lay(uneven(legs), inks.CORAL)
    sheet.lay(hatch(legs, 90.0, rng, spacing=0.9, length=(0.4, 0.9), width=(0.16, 0.28), share=0.6), inks.BRICK)
    sheet.lay(uneven(claws), inks.CORAL)
    sheet.lay(dots(shapely.buffer(claws, -0.3), rng, spacing=0.9, radius=(0.14, 0.24), share=0.7), inks.PEACH)
    shell = rounded(_SHELL, step_mm=0.5)
    sheet.lay(uneven(shapely.buffer(shell, 0.35)), inks.BRICK)
    sheet.lay(uneven(shell), inks.CORAL)
    belly = shapely.intersection(shell, shapely.transform(shell, lambda p: p * [0.9, 0.8] + [0.0, -1.6]))
    sheet.lay(hatch(belly, 0.0, rng, spacing=0.95, length=(0.8, 2.4), width=(0.18, 0.34), share=0.75), inks.BRICK)
    back = shapely.intersection(shell, shapely.box(left, 6.6, right, high))
    sheet.lay(dots(shapely.buffer(back, -0.6), rng, spacing=1.25, radius=(0.18, 0.36), share=0.85), inks.PEACH)
    for side in (-1.0, 1.0):
        sheet.lay(stroke([[1.9 * side, 9.2], [3.3 * side, 12.4]], 0.85), inks.CORAL)
        sheet.lay(blob([3.5 * side, 12.7], 1.15), inks.CREAM)
        sheet.lay(blob([3.4 * side, 12.6], 0.62), inks.NIGHT)
    sheet.lay(stroke(path([[-1.7, 4.9], [0, 4.2], [1.7, 4.9]], step_mm=0.4), 0.4, taper=0.3), inks.NIGHT)


def _limbs() -> tuple[BaseGeometry, BaseGeometry]:
    """Legs with arms, and the claws, open to the outside."""
    legs, claws = [], []
    for side in (-1.0, 1.0):
        mirror = np.array([side, 1.0])
        for leg in _LEGS:
            line = path(np.array(leg) * mirror, step_mm=0.6)
            legs.append(stroke(line, np.interp(np.linspace(0, 1, len(line)), [0, 0.6, 1], [1.1, 0.9, 0.2])))
        legs.append(stroke(path(np.array([[6.2, 6.6], [9.2, 7.0], [10.4, 8.6]]) * mirror, step_mm=0.6), 1.4))
        claws += [rounded(np.array(half) * mirror) for half in _CLAW]
    return union(legs), union(claws)
