"""Tern Rock: beds of rock, a meadow with the lighthouse's ledge, a stair, birds on the ledges, the cave, the steps."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geometry import Spread
from geometry.transforms import inverse

from . import inks
from .carving import Array, Wobble, blob, dashes, dots, gouges, hatch, path, places, polygon, rounded, stroke, union
from .sheet import Sheet, moved
from .standing import Upright

__all__ = ["draw_back", "draw_cliff"]

Rng = np.random.Generator

#: Beds of rock: height of the upper edge over the foot, ink, ink of the cuts, ink of the light.
_BEDS = (
    (90.0, inks.STONE, inks.SLATE, inks.MIST),
    (66.0, inks.SAND, inks.CLAY, inks.CREAM),
    (57.0, inks.DUNE, inks.CLAY, inks.SAND),
    (50.5, inks.CORAL, inks.BRICK, inks.PEACH),
    (43.0, inks.PEACH, inks.CLAY, inks.CREAM),
    (37.5, inks.STONE, inks.SLATE, inks.MIST),
    (27.0, inks.CLAY, inks.BRICK, inks.DUNE),
    (21.0, inks.DUNE, inks.CLAY, inks.CREAM),
    (14.0, inks.STONE, inks.SLATE, inks.MIST),
    (6.5, inks.SLATE, inks.NIGHT, inks.STONE),
)
#: Faults: where on the foot, and how far the beds right of it have slipped, mm.
_FAULTS = ((-44.0, 2.6), (-23.0, -2.2), (19.0, 2.0), (41.0, -3.0))
#: Lower edge of the meadow on the left panel, upright; the lighthouse stands on it.
_MEADOW = (
    (-72, 30),
    (-58, 33),
    (-48, 37.5),
    (-39, 37.0),
    (-30, 38.4),
    (-18, 38.0),
    (-13, 43),
    (-11, 52),
    (-6, 61),
    (-3, 90),
)
#: The stair from the steps to the top, upright.
_STAIR = (
    (31, 9), (37, 14.5), (43.5, 20.5), (33, 25.5), (20.5, 31.5), (25.5, 37.5), (30, 43.5), (21, 49.5), (11, 56),
    (5, 63), (0.5, 73.5),
)  # fmt: skip
#: Birds on ledges, upright, and which way they look.
_TERNS = (
    (15, 29.4, 1), (12, 44.6, 1), (16.5, 44.2, -1), (33, 34.2, -1), (47, 14.2, -1), (52, 13.6, 1), (-44, 22.6, 1),
    (-38, 22.2, -1), (-53, 15.8, 1), (-27, 28.6, -1), (24.5, 22.6, 1),
)  # fmt: skip
#: A tern standing, looking right: shapes with their inks.
_TERN = (
    (((-2.4, 0.5), (-0.6, 0.15), (0.7, 0.5), (1.1, 1.5), (0.5, 2.0), (-0.4, 1.5)), inks.CREAM),
    (((-2.9, 0.55), (-0.3, 0.45), (0.2, 1.1), (-0.6, 1.25)), inks.MIST),
    (((0.15, 1.75), (0.5, 2.12), (1.1, 1.85), (1.05, 1.6)), inks.NIGHT),
    (((1.05, 1.7), (1.95, 1.45), (1.05, 1.45)), inks.CORAL),
)


def draw_cliff(sheet: Sheet, spread: Spread, page: Sheet) -> None:
    """Print the cliff; its tabs continue the page that they are glued on."""
    upright = Upright(sheet, spread, "cliff")
    outline = {name: spread.panels[name].outline for name in spread.piece("cliff").panels}
    cave = union([outline["cave.left"], outline["cave.right"]])
    _beds(upright)
    _meadow(upright, union([outline["cliff.left"], outline["cliff.right"], cave]))
    _stair(upright)
    _foot(upright)
    _terns(upright)
    _ground(upright, spread, page)
    _steps(upright, outline["steps.left"], outline["steps.right"])
    _cave(sheet, cave)


def _beds(upright: Upright) -> None:
    """Beds of rock, broken at faults, cut along their length."""
    rng = np.random.default_rng(101)
    uneven = Wobble(102, 0.45, 4.0)
    x = np.arange(-80.0, 80.5, 0.5)
    slip = sum(np.where(x > at, throw, 0.0) for at, throw in _FAULTS)
    dip = 1.2 * np.sin(x / 15.0) + 0.6 * np.sin(x / 5.3 + 1.0) + slip
    low = np.array([[80.0, -30.0], [-80.0, -30.0]])
    floors = [level for level, *_ in _BEDS[1:]] + [-30.0]
    for (level, ink, cut, light), floor in zip(_BEDS, floors, strict=True):
        bed = uneven(polygon(np.vstack([np.column_stack([x, level + dip]), low])))
        above = polygon(np.vstack([np.column_stack([x, floor + dip])[::-1], [[-80.0, 120.0], [80.0, 120.0]]]))
        face = shapely.intersection(bed, above)
        upright.lay(bed, ink)
        marks = hatch(face, 1.0, rng, spacing=1.7, length=(2.0, 6.5), width=(0.22, 0.55), share=0.66, margin=0.25)
        upright.lay(marks, cut)
        marks = hatch(face, 1.0, rng, spacing=2.4, length=(1.2, 4.0), width=(0.2, 0.45), share=0.5, margin=0.35)
        upright.lay(marks, light)
        edge = shapely.LineString(np.column_stack([x, level + dip - 0.3]))
        lines = dashes(edge, rng, length=(5, 14), gap=(0.4, 2.4), width=(0.4, 0.75))
        upright.lay(uneven(lines), inks.SLATE)
    cracks = []
    for at in (*(fault for fault, _ in _FAULTS), -56, -35, -20, 9, 29, 51):
        heights = np.arange(rng.uniform(6, 26), rng.uniform(28, 58), 2.2)
        if len(heights) > 3:
            ways = np.cumsum(rng.uniform(-0.7, 0.7, len(heights)))
            cracks.append(stroke(np.column_stack([at + ways, heights]), 0.42, taper=0.5))
    upright.lay(union(cracks), inks.NIGHT)


def _meadow(upright: Upright, whole: BaseGeometry) -> None:
    """Turf along the free edge, and the meadow that the lighthouse stands on."""
    rng = np.random.default_rng(111)
    uneven = Wobble(112, 0.5, 3.0)
    standing = upright.from_net(whole)
    rim = shapely.difference(shapely.buffer(standing, 5.0), shapely.transform(standing, lambda p: p - [0.0, 4.6]))
    rim = shapely.intersection(rim, shapely.box(-90, 13, 90, 120))
    slope = polygon([*path(_MEADOW), [-72, 90]])
    turf = uneven(union([rim, shapely.buffer(slope, 0)]))
    edge = shapely.intersection(turf.boundary, shapely.buffer(standing, -1.0))
    hang = shapely.get_coordinates(shapely.segmentize(edge, 1.4))
    long = rng.uniform(1.2, 3.2, len(hang))
    ends = hang + np.column_stack([rng.uniform(-0.6, 0.6, len(hang)), -long])
    tufts = gouges(hang + [0.0, 0.9], ends, rng.uniform(0.9, 1.7, len(hang)))
    upright.lay(shapely.transform(union([turf, tufts]), lambda p: p + [0.5, -0.8]), inks.HEDGE)
    green = union([turf, tufts])
    upright.lay(green, inks.GRASS)
    lit = uneven(shapely.intersection(slope, shapely.transform(slope, lambda p: p + [-1.0, 3.0])))
    for number, level in enumerate((44.0, 52.0, 60.0, 68.0)):
        x = np.linspace(-70, 4, 40)
        wave = np.column_stack([x, level + 1.6 * np.sin(x / 9.0 + level) - 0.12 * (x + 30)])
        strip = uneven(polygon(np.vstack([wave, [[4, 100], [-70, 100]]])))
        upright.lay(shapely.intersection(strip, lit), (inks.MEADOW, inks.GRASS)[number % 2])
    blades = hatch(green, 78.0, rng, spacing=1.7, length=(0.9, 2.4), width=(0.22, 0.45), share=0.6)
    upright.lay(blades, inks.HEDGE)
    upright.lay(
        hatch(green, 70.0, rng, spacing=2.6, length=(0.8, 1.8), width=(0.2, 0.4), share=0.5),
        inks.MEADOW,
    )
    upright.lay(dots(lit, rng, spacing=3.4, radius=(0.25, 0.42), share=0.35), inks.CREAM)
    upright.lay(dots(lit, rng, spacing=4.6, radius=(0.25, 0.45), share=0.35), inks.CORAL)
    way = path([[-24, 38.6], [-18, 42], [-15, 48], [-18, 55], [-13, 62], [-6, 67], [1, 72.5]])
    upright.lay(uneven(stroke(way, np.linspace(2.6, 1.2, len(way)))), inks.SAND)
    ledge = path([[-42, 37.6], [-30, 38.9], [-17, 38.6]])
    upright.lay(uneven(stroke(ledge, 1.7, taper=0.2)), inks.SAND)


def _stair(upright: Upright) -> None:
    """A stair cut into the rock, from the steps to the top."""
    way = shapely.LineString(_STAIR)
    treads, risers = [], []
    for along in np.arange(0.0, way.length, 1.75):
        x, y = shapely.get_coordinates(shapely.line_interpolate_point(way, along))[0]
        half = float(np.interp(y, [0, 74], [2.0, 1.1]))
        risers.append(shapely.box(x - half, y - 1.5, x + half, y))
        treads.append(shapely.box(x - half, y - 0.15, x + half, y + 0.62))
    uneven = Wobble(121, 0.2, 2.0)
    bed = shapely.buffer(way, 2.1, cap_style="flat")
    upright.lay(uneven(shapely.transform(bed, lambda p: p - [0.0, 0.5])), inks.SLATE)
    upright.lay(uneven(union(risers)), inks.CLAY)
    upright.lay(uneven(union(treads)), inks.CREAM)


def _foot(upright: Upright) -> None:
    """The tide's line: weed and barnacles."""
    rng = np.random.default_rng(131)
    weed, barnacles, young = (shapely.box(-75, low, 75, high) for low, high in ((-2, 5.2), (3, 9), (0, 2.6)))
    upright.lay(hatch(weed, 88.0, rng, spacing=1.5, length=(1.5, 4.2), width=(0.5, 1.0), share=0.6), inks.HEDGE)
    upright.lay(dots(barnacles, rng, spacing=1.6, radius=(0.18, 0.36), share=0.5), inks.CREAM)
    upright.lay(hatch(young, 88.0, rng, spacing=2.2, length=(1.2, 2.6), width=(0.4, 0.7), share=0.5), inks.MEADOW)


def _terns(upright: Upright) -> None:
    """Small white birds with dark caps."""
    for x, y, look in _TERNS:
        at = upright.to_net(shapely.Point(x, y))
        for points, ink in _TERN:
            corners = np.array(points) * [1.12 * look, 1.12] + [at.x, at.y]
            upright.sheet.lay(rounded(corners, step_mm=0.3) if ink == inks.CREAM else polygon(corners), ink)


def _ground(upright: Upright, spread: Spread, page: Sheet) -> None:
    """The tabs are ground: each shows the page that it covers."""
    for side, outer in (("left", -80.0), ("right", 80.0)):
        x = np.array([0.0, outer])
        below = polygon([*np.column_stack([x, upright.foot(x)]), (outer, -40.0), (0.0, -40.0)])
        upright.sheet.paste(page, inverse(spread.panels[f"cliff.{side}.tab"].rest), below)


def _steps(upright: Upright, tread: BaseGeometry, riser: BaseGeometry) -> None:
    """Stone slabs on the step's top, courses of stone on its front."""
    rng = np.random.default_rng(141)
    uneven = Wobble(142, 0.15, 2.0)
    top, front = (upright.from_net(shapely.buffer(part, 0.7, join_style="mitre")) for part in (tread, riser))
    left, low, right, _ = front.bounds
    for level in np.arange(0.0, top.bounds[3] + 1.0, 2.6):
        for start, ink in ((level - 0.4, inks.SLATE), (level + 0.5, inks.MIST)):
            above = shapely.box(left - 9, start, right + 9, top.bounds[3] + 2)
            upright.lay(uneven(shapely.intersection(top, above)), ink)
    upright.lay(hatch(top, 0.0, rng, spacing=1.4, length=(0.8, 2.4), width=(0.15, 0.32), share=0.6), inks.STONE)
    upright.lay(front, inks.SLATE)
    stones = []
    for row, level in enumerate(np.arange(low, 0.0, 2.55)):
        for x in np.arange(left - 4, right + 4, 4.4) + (row % 2) * 2.2:
            stones.append(shapely.box(x + 0.45, level + 0.45, x + rng.uniform(3.4, 3.8), level + 2.1))
    upright.lay(shapely.intersection(uneven(shapely.buffer(union(stones), 0.25)), front), inks.STONE)
    upright.lay(hatch(front, 10.0, rng, spacing=1.5, length=(0.7, 1.8), width=(0.15, 0.3), share=0.55), inks.MIST)
    wet = shapely.intersection(front, shapely.box(left, low, right, low + 3))
    upright.lay(dots(wet, rng, spacing=1.3, radius=(0.25, 0.5), share=0.6), inks.HEDGE)


def _cave(sheet: Sheet, cave: BaseGeometry) -> None:
    """Dark inside, lit rings of rock towards the mouth, water on the floor; an arch of stones round it."""
    rng = np.random.default_rng(151)
    uneven = Wobble(152, 0.3, 2.5)
    left, low, right, _ = cave.bounds
    arch = shapely.difference(shapely.buffer(cave, 2.6), shapely.box(left - 9, low - 9, right + 9, low + 1.0))
    sheet.lay(uneven(arch), inks.SLATE)
    ring = shapely.get_coordinates(shapely.segmentize(shapely.buffer(cave, 1.45).exterior, 3.4))
    ring = ring[ring[:, 1] > low]
    turns = _vault(ring)
    stones = union([blob(at, (1.5, 0.95), rng, turn=turn, rough=0.25) for at, turn in zip(ring, turns, strict=True)])
    sheet.lay(uneven(stones), inks.MIST)
    sheet.lay(hatch(stones, _vault, rng, spacing=1.0, length=(0.6, 1.5), width=(0.15, 0.3), share=0.6), inks.STONE)
    mouth = shapely.buffer(cave, 0.4)
    sheet.lay(mouth, inks.NIGHT)
    for depth, ink in ((2.2, inks.SLATE), (5.0, inks.DEEP)):
        rings = dashes(uneven(shapely.buffer(cave, -depth)), rng, length=(2, 6), gap=(0.8, 2.4), width=(0.4, 0.8))
        sheet.lay(rings, ink, within=cave)
    sheet.lay(hatch(cave, _vault, rng, spacing=2.1, length=(1.2, 3.4), width=(0.2, 0.4), share=0.5), inks.SLATE)
    shore = np.array([[right + 2, 2.6], [4, 3.4], [0, 2.8], [-5, 3.6], [left - 2, 2.4]]) + [0.0, low]
    water = uneven(polygon([[left - 2, low - 3], [right + 2, low - 3], *shore]))
    water = shapely.intersection(water, mouth)
    sheet.lay(water, inks.DEEP)
    sheet.lay(hatch(water, 2.0, rng, spacing=1.5, length=(1.2, 3.0), width=(0.25, 0.45), share=0.7), inks.SHALLOW)
    strand = places(shapely.box(left, low + 2.6, right, low + 4.6), 1.9, rng)
    sheet.lay(union([blob(at, (0.7, 0.5), rng) for at in strand]), inks.STONE, within=cave)


def _vault(points: Array) -> Array:
    """Direction of the cuts in the cave's walls, degrees, (n,) float: round its vault."""
    return np.degrees(np.arctan2(points[:, 1] - 18.0, points[:, 0])) + 90.0


def draw_back(sheet: Sheet, spread: Spread, page: Sheet) -> None:
    """Print the cliff's back, seen from behind: dark rock, and the page on the tab that points inwards.

    That tab's back is the floor behind the cave.
    """
    rng = np.random.default_rng(161)
    sheet.lay(hatch(sheet.area, 75.0, rng, spacing=4.0, length=(2.5, 6.5), width=(0.35, 0.7), share=0.6), inks.SLATE)
    sheet.lay(hatch(sheet.area, 75.0, rng, spacing=6.5, length=(1.5, 4.0), width=(0.3, 0.5), share=0.5), inks.DEEP)
    mirror = np.diag([-1.0, 1.0, 1.0, 1.0])
    tab = spread.panels["cliff.left.tab"]
    floor = moved(shapely.buffer(tab.outline, 1.0), mirror)
    sheet.paste(page, mirror @ inverse(tab.rest), floor)
