"""The night's harbour: the quay, the lighthouse with its rays, the keeper's house and its door."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geometry import Spread

from . import inks
from .carving import Wobble, blob, dots, hatch, path, places, polygon, stroke, union
from .sheet import Sheet

__all__ = ["draw_door", "draw_house", "draw_quay", "draw_ray", "draw_roof", "draw_tower"]

Rng = np.random.Generator

#: The lighthouse's bands from its foot up to the gallery, and where its lantern and its eaves begin, mm.
_BANDS = (0.0, 12.5, 25.0, 37.5, 50.0, 61.0)
_LANTERN_MM, _EAVES_MM = 63.5, 76.0
#: Crates and barrels on the quay: middle and size.
_CRATES = ((-58, 14, 7), (-50, 12, 5), (-61, 22, 5), (46, 70, 6), (52, 64, 5), (50, 12, 6))


def draw_quay(sheet: Sheet, spread: Spread) -> None:
    """Print the quay from above, and the masonry of its two legs."""
    rng = np.random.default_rng(901)
    outline = {name: spread.panels[f"quay.{name}"].outline for name in ("left", "right", "left.leg", "right.leg")}
    top = union([shapely.buffer(outline[side], 0.01) for side in ("left", "right")])
    _flags(sheet, rng, shapely.buffer(top, 3.0, join_style="mitre"))
    _grass(sheet, rng, top)
    _lamplight(sheet, rng)
    for x, y, size in _CRATES:
        _crate(sheet, x, y, size)
    for at in ((-66, 40), (-66, 60), (56, 26), (56, 48)):
        sheet.lay(blob([at[0] + 0.7, at[1] - 0.7], 1.7), inks.NIGHT)
        sheet.lay(blob(at, 1.5), inks.STONE)
        sheet.lay(blob([at[0] - 0.3, at[1] + 0.3], 0.8), inks.MIST)
    rope = path([[-66, 41], [-60, 44], [-63, 49], [-57, 50], [-61, 55], [-65, 59]], step_mm=0.6)
    sheet.lay(shapely.transform(stroke(rope, 1.0), lambda p: p + [0.4, -0.5]), inks.NIGHT)
    sheet.lay(stroke(rope, 0.8), inks.SAND)
    for side in ("left.leg", "right.leg"):
        _masonry(sheet, rng, outline[side])


def _flags(sheet: Sheet, rng: Rng, region: BaseGeometry) -> None:
    """Flagstones, each a little different, the moon on their edges."""
    sheet.lay(region, inks.LEAD)
    left, low, right, high = region.bounds
    stones: dict[str, list[BaseGeometry]] = {inks.SLATE: [], inks.GALE: [], inks.STONE: []}
    rows = np.arange(low, high, 6.4)
    for y in rows:
        x = left - rng.uniform(0, 8)
        while x < right:
            wide = rng.uniform(7.0, 12.5)
            ink = (inks.SLATE, inks.SLATE, inks.GALE, inks.GALE, inks.STONE)[int(rng.integers(5))]
            stones[ink].append(shapely.buffer(shapely.box(x + 0.7, y + 0.7, x + wide - 0.3, y + 5.9), 0.2))
            x += wide
    uneven = Wobble(902, 0.3, 3.5)
    for ink, shapes in stones.items():
        sheet.lay(uneven(union(shapes)), ink, within=region)
    sheet.lay(hatch(region, 3.0, rng, spacing=3.0, length=(1.0, 3.5), width=(0.15, 0.35), share=0.5), inks.LEAD)
    sheet.lay(hatch(region, 3.0, rng, spacing=5.0, length=(1.0, 3.0), width=(0.2, 0.4), share=0.4), inks.MIST)
    for edge in (low, high):
        kerb = (
            shapely.box(left, edge - 0.5, right, edge + 5.0)
            if edge == low
            else shapely.box(left, edge - 5, right, edge)
        )
        sheet.lay(Wobble(903, 0.15, 4.0)(kerb), inks.STONE, within=region)
        sheet.lay(
            union([shapely.box(x, kerb.bounds[1], x + 0.6, kerb.bounds[3]) for x in np.arange(left, right, 9.0)]),
            inks.LEAD,
            within=kerb,
        )
        sheet.lay(
            hatch(kerb, 0.0, rng, spacing=2.0, length=(1.5, 4.0), width=(0.2, 0.4), share=0.6), inks.MIST, within=kerb
        )


def _grass(sheet: Sheet, rng: Rng, top: BaseGeometry) -> None:
    """Turf about the lighthouse, with flowers closed for the night."""
    patch = union([blob([-34, 62], (24, 13)), blob([30, 66], (20, 11)), blob([0, 74], (34, 8))])
    turf = shapely.intersection(Wobble(911, 1.4, 8.0)(patch), shapely.buffer(top, -6.0))
    sheet.lay(shapely.transform(turf, lambda p: p + [0.7, -0.9]), inks.NIGHT)
    sheet.lay(turf, inks.HEDGE)
    sheet.lay(hatch(turf, 76.0, rng, spacing=1.7, length=(1.0, 2.8), width=(0.3, 0.6), share=0.7), inks.GRASS)
    sheet.lay(hatch(turf, 76.0, rng, spacing=2.6, length=(1.0, 2.5), width=(0.25, 0.5), share=0.5), inks.NIGHT)
    sheet.lay(dots(turf, rng, spacing=4.0, radius=(0.3, 0.55), share=0.5), inks.MOONLIT)
    way = polygon(path([[-4, 22], [6, 22], [7, 40], [8, 56], [-7, 56], [-5, 40]], step_mm=1.0))
    sheet.lay(Wobble(912, 0.5, 4.0)(way), inks.DUNE)
    sheet.lay(hatch(way, 0.0, rng, spacing=2.0, length=(1.0, 3.0), width=(0.2, 0.4), share=0.6), inks.CLAY)


def _lamplight(sheet: Sheet, rng: Rng) -> None:
    """Light that falls from the door and the windows on the stones before the house."""
    for points, ink in (
        ([[1, 24], [13, 24], [26, 3], [-4, 3]], inks.DUNE),
        ([[3, 24], [11, 24], [18, 6], [0, 6]], inks.LAMP),
        ([[-20, 24], [-8, 24], [-4, 9], [-28, 9]], inks.DUNE),
    ):
        pool = Wobble(921, 0.5, 4.0)(polygon(points))
        sheet.lay(hatch(pool, 4.0, rng, spacing=1.8, length=(2.5, 7.0), width=(0.5, 1.1), share=0.85), ink)


def _crate(sheet: Sheet, x: float, y: float, size: float) -> None:
    """A crate seen from above, with its shadow."""
    half = size / 2
    lid = shapely.box(x - half, y - half, x + half, y + half)
    sheet.lay(shapely.transform(lid, lambda p: p + [1.1, -1.2]), inks.NIGHT)
    sheet.lay(lid, inks.CLAY)
    boards = [
        shapely.box(x - half + 0.4, y - half + k, x + half - 0.4, y - half + k + 1.1)
        for k in np.arange(0.4, size - 1, 1.6)
    ]
    sheet.lay(Wobble(925, 0.12, 2.0)(union(boards)), inks.DUNE)
    sheet.lay(stroke([[x - half, y - half], [x + half, y + half]], 0.7), inks.SAND)


def _masonry(sheet: Sheet, rng: Rng, leg: BaseGeometry) -> None:
    """Courses of stone down a leg, weed at the waterline; the leg hangs from the quay's edge."""
    left, low, right, high = leg.bounds
    sign = 1.0 if left >= 0 else -1.0
    foot = right if sign > 0 else left
    face = shapely.box(min(left, foot + 12 * sign), low - 3.2, max(right, foot + 12 * sign), high + 3.2)
    face = shapely.intersection(
        face, shapely.box(left if sign > 0 else left - 12, low - 4, right + 12 if sign > 0 else right, high + 4)
    )
    sheet.lay(face, inks.NIGHT)
    stones = []
    for number, x in enumerate(np.arange(0.3, right - left, 3.9)):
        start = (left + x) if sign > 0 else (right - x - 3.4)
        for y in np.arange(low - 6 + 3.4 * (number % 2), high + 4, 6.8):
            stones.append(shapely.box(start, y, start + 3.4, y + 6.2))
    sheet.lay(Wobble(931, 0.2, 2.5)(union(stones)), inks.SLATE, within=face)
    sheet.lay(hatch(face, 90.0, rng, spacing=2.2, length=(1.5, 4.0), width=(0.25, 0.5), share=0.6), inks.GALE)
    wet = shapely.box(foot - 5.0 * sign, low - 4, foot + 12 * sign, high + 4)
    sheet.lay(dots(shapely.intersection(wet, face), rng, spacing=1.5, radius=(0.35, 0.7), share=0.75), inks.HEDGE)
    water = shapely.box(foot - 1.2 * sign, low - 4, foot + 12 * sign, high + 4)
    sheet.lay(Wobble(932, 0.3, 3.0)(shapely.intersection(water, face)), inks.NIGHT)


def draw_tower(sheet: Sheet, spread: Spread) -> None:
    """Print the lighthouse's walls: red and white bands, the lit lantern under the eaves."""
    rng = np.random.default_rng(941)
    uneven = Wobble(942, 0.15, 3.0)
    left, low, right, _ = sheet.box
    for number, (start, end) in enumerate(pairwise(_BANDS)):
        ink, cut = ((inks.CORAL, inks.BRICK), (inks.CREAM, inks.MIST))[number % 2]
        band = shapely.box(left, start if number else low, right, end + 0.3)
        sheet.lay(uneven(band), ink, within=shapely.box(left, low, right, 61.5))
        sheet.lay(hatch(band, 0.0, rng, spacing=2.0, length=(1.0, 3.0), width=(0.2, 0.4), share=0.6), cut)
    for name in ("right", "left", "end.right", "end.left"):
        bounds = spread.panels[f"tower.{name}"].outline.bounds
        shade = shapely.box(bounds[0], low, bounds[2], 61.0)
        sheet.lay(hatch(shade, 90.0, rng, spacing=1.5, length=(2.0, 6.0), width=(0.3, 0.6), share=0.7), inks.DUSK)
    middle = spread.panels["tower.start.left"].outline.bounds[2]
    _openings(sheet, uneven, middle)
    sheet.lay(uneven(shapely.box(left, 0.0, right, 3.0)), inks.SLATE)
    sheet.lay(uneven(union([shapely.box(x + 0.2, 0.5, x + 3.0, 2.7) for x in np.arange(left, right, 3.4)])), inks.STONE)
    sheet.lay(shapely.box(left, low, right, 0.0), inks.SLATE)
    _lantern(sheet, uneven, rng)


def _openings(sheet: Sheet, uneven: Wobble, middle: float) -> None:
    """A door at the front and windows up the stair, one or two of them lit."""
    for x, y, lit in (
        (-5.5, 28, True),
        (5.0, 40.5, False),
        (-5.0, 53, True),
        (-31, 30, True),
        (-57, 44, False),
        (26, 30, False),
    ):
        at = middle + x
        pane = union([shapely.box(at - 1.4, y, at + 1.4, y + 3.6), blob([at, y + 3.6], 1.4)])
        sheet.lay(uneven(shapely.buffer(pane, 0.6)), inks.SLATE)
        sheet.lay(pane, inks.LAMP if lit else inks.NIGHT)
        sheet.lay(
            union([stroke([[at, y], [at, y + 5]], 0.35), stroke([[at - 1.4, y + 2], [at + 1.4, y + 2]], 0.35)]),
            inks.NIGHT,
        )


def _lantern(sheet: Sheet, uneven: Wobble, rng: Rng) -> None:
    """The gallery's rail, the glass with the light behind it, the wall under the roof."""
    left, _, right, high = sheet.box
    sheet.lay(shapely.box(left, 61.0, right, high), inks.NIGHT)
    sheet.lay(uneven(shapely.box(left, 60.6, right, _LANTERN_MM - 1.2)), inks.STONE)
    glass = shapely.box(left, _LANTERN_MM, right, _EAVES_MM - 1.2)
    sheet.lay(glass, inks.LAMP)
    sheet.lay(hatch(glass, 90.0, rng, spacing=1.5, length=(2.0, 6.0), width=(0.4, 0.9), share=0.7), inks.CREAM)
    sheet.lay(hatch(glass, 90.0, rng, spacing=2.6, length=(2.0, 5.0), width=(0.3, 0.6), share=0.5), inks.OCHRE)
    bars = [shapely.box(x - 0.35, 61.0, x + 0.35, _EAVES_MM) for x in np.arange(0.0, right, 3.25)]
    sheet.lay(union(bars), inks.NIGHT)
    sheet.lay(uneven(shapely.box(left, 66.2, right, 66.9)), inks.NIGHT)
    sheet.lay(uneven(shapely.box(left, _EAVES_MM - 1.4, right, high)), inks.BRICK)
    gable = shapely.box(left, _EAVES_MM, right, high)
    sheet.lay(hatch(gable, 90.0, rng, spacing=1.8, length=(1.5, 4.0), width=(0.25, 0.5), share=0.6), inks.CORAL)


def draw_ray(sheet: Sheet, *, way: float, rise: float) -> None:
    """Print a ray of light from the lantern: bright at its root, paler and broken towards its end."""
    rng = np.random.default_rng(951)
    for share, ink in ((1.0, inks.LAMP), (0.62, inks.PEACH), (0.28, inks.CREAM)):
        half = 13.0 * share
        ray = polygon(
            np.array(
                [
                    [-14, -8 * share],
                    [0, -4 * share],
                    [60, rise - half],
                    [60, rise + half],
                    [0, 4 * share],
                    [-14, 8 * share],
                ]
            )
            * [way, 1.0]
        )
        sheet.lay(Wobble(952, 0.2, 5.0)(ray), ink)
    far = polygon(np.array([[22, -3], [60, rise - 10], [60, rise + 10], [22, 7]]) * [way, 1.0])
    tilt = float(np.degrees(np.arctan2(rise, 60.0))) * way
    sheet.lay(hatch(far, tilt, rng, spacing=2.0, length=(3, 8), width=(0.25, 0.6), share=0.6), inks.OCHRE)
    sheet.lay(hatch(far, tilt, rng, spacing=2.6, length=(3, 8), width=(0.25, 0.6), share=0.5), inks.CREAM)
    root = shapely.box(-14, -12, 0, 12) if way > 0 else shapely.box(0, -12, 14, 12)
    sheet.lay(hatch(root, 90.0, rng, spacing=1.6, length=(2.0, 5.0), width=(0.3, 0.7), share=0.7), inks.CREAM)


def draw_house(sheet: Sheet, spread: Spread) -> None:
    """Print the keeper's house: lit windows all round, climbing roses, and who stands behind the door."""
    rng = np.random.default_rng(961)
    uneven = Wobble(962, 0.15, 2.5)
    left, low, right, high = sheet.box
    sheet.lay(sheet.area, inks.PEACH)
    courses = [shapely.box(left, y, right, y + 0.3) for y in np.arange(3.5, high, 2.3)]
    sheet.lay(uneven(union(courses)), inks.DUNE)
    sheet.lay(hatch(sheet.area, 0.0, rng, spacing=2.2, length=(1.0, 3.5), width=(0.18, 0.4), share=0.55), inks.CREAM)
    for name in ("right", "left", "end.right", "end.left"):
        bounds = spread.panels[f"house.{name}"].outline.bounds
        wall = shapely.box(bounds[0], low, bounds[2], high)
        sheet.lay(hatch(wall, 90.0, rng, spacing=1.6, length=(2.0, 5.0), width=(0.3, 0.6), share=0.7), inks.MOONLIT)
        middle = (bounds[0] + bounds[2]) / 2
        _window(sheet, uneven, middle, 8.0, 3.2)
    sheet.lay(uneven(shapely.box(left, low, right, 2.0)), inks.SLATE)
    fore = spread.panels["house.start.left"].outline.bounds
    crease = fore[2]
    _window(sheet, uneven, crease - 12.0, 8.0, 3.6)
    sheet.lay(blob([crease, 27.5], 3.4), inks.SLATE)
    sheet.lay(blob([crease, 27.5], 2.7), inks.LAMP)
    sheet.lay(
        union([stroke([[crease - 3, 27.5], [crease + 3, 27.5]], 0.5), stroke([[crease, 24.5], [crease, 30.5]], 0.5)]),
        inks.NIGHT,
    )
    roses = polygon(
        [
            [crease + 17.5, 2],
            [crease + 22, 2],
            [crease + 23, 22],
            [crease + 12, 27],
            [crease + 3, 24],
            [crease + 10, 22.5],
            [crease + 17.5, 18],
        ]
    )
    leaves = places(roses, 1.5, rng)
    sheet.lay(union([blob(at, (0.95, 0.6), rng, turn=float(rng.uniform(0, 180))) for at in leaves]), inks.HEDGE)
    sheet.lay(dots(roses, rng, spacing=2.6, radius=(0.45, 0.75), share=0.75), inks.CORAL)
    _doorway(sheet, uneven, crease)


def _window(sheet: Sheet, uneven: Wobble, x: float, y: float, half: float) -> None:
    """A lit window with a cross, shutters and a sill."""
    pane = shapely.box(x - half, y, x + half, y + 1.9 * half)
    shutters = [
        shapely.box(x + s * (half + 2.0) - 1.3, y - 0.3, x + s * (half + 2.0) + 1.3, y + 1.9 * half + 0.3)
        for s in (-1, 1)
    ]
    sheet.lay(uneven(union(shutters)), inks.TEAL)
    sheet.lay(uneven(shapely.buffer(pane, 0.6, join_style="mitre")), inks.NIGHT)
    sheet.lay(pane, inks.LAMP)
    sheet.lay(shapely.box(x - half, y + half * 1.2, x + half, y + 1.9 * half), inks.CREAM)
    bars = [stroke([[x, y], [x, y + 2 * half]], 0.5), stroke([[x - half, y + half], [x + half, y + half]], 0.5)]
    sheet.lay(union(bars), inks.NIGHT, within=pane)
    sheet.lay(uneven(shapely.box(x - half - 1, y - 1.5, x + half + 1, y - 0.5)), inks.SLATE)


def _doorway(sheet: Sheet, uneven: Wobble, crease: float) -> None:
    """Behind the door: the lit hall, the keeper with a lamp, and a cat."""
    left, right, low, high = crease + 4.5, crease + 16.5, 2.0, 19.0
    frame = shapely.box(left - 0.9, low, right + 0.9, high + 1.0)
    sheet.lay(uneven(frame), inks.SLATE)
    hall = shapely.box(left, low, right, high)
    sheet.lay(hall, inks.LAMP)
    sheet.lay(blob([left + 8.6, 11.6], 4.4), inks.CREAM, within=hall)
    keeper = union(
        [
            polygon([[left + 2.2, 2.0], [left + 7.0, 2.0], [left + 6.4, 11.5], [left + 2.9, 11.5]]),
            stroke([[left + 5.6, 10.2], [left + 8.4, 10.0]], 1.3),
        ]
    )
    sheet.lay(keeper, inks.DEEP, within=hall)
    sheet.lay(blob([left + 4.6, 13.2], 1.8), inks.PEACH)
    sheet.lay(
        union([blob([left + 4.6, 14.5], (1.9, 1.0)), stroke([[left + 3, 14.0], [left + 7.4, 14.0]], 0.6)]), inks.NIGHT
    )
    sheet.lay(blob([left + 4.9, 11.9], (1.3, 1.0)), inks.CREAM)
    lamp = shapely.box(left + 7.8, 7.6, left + 9.4, 10.0)
    sheet.lay(shapely.buffer(lamp, 0.3), inks.NIGHT)
    sheet.lay(lamp, inks.CREAM)
    cat = union(
        [
            blob([left + 9.2, 3.2], (1.6, 1.2)),
            blob([left + 10.4, 4.8], 0.95),
            stroke(path([[left + 8, 2.6], [left + 7.2, 4], [left + 7.6, 5.6]], step_mm=0.3), 0.5),
        ]
    )
    ears = union([polygon([[left + 9.6 + k, 5.2], [left + 10.3 + k, 5.2], [left + 9.95 + k, 6.4]]) for k in (0, 0.9)])
    sheet.lay(union([cat, ears]), inks.NIGHT, within=hall)


def draw_roof(sheet: Sheet, seed: int) -> None:
    """Print a roof, ridge in the middle of its row: slates with the moon on their edges."""
    rng = np.random.default_rng(seed)
    left, low, right, high = sheet.box
    ridge = (left + right) / 2
    sheet.lay(sheet.area, inks.NIGHT)
    for number, reach in enumerate(np.arange((right - left) / 2, -3.2, -3.2)):
        tiles: dict[str, list[BaseGeometry]] = {inks.BRICK: [], inks.CORAL: [], inks.DUSK: []}
        for y in np.arange(low - 4, high + 4, 3.4) + 1.7 * (number % 2):
            ink = (inks.BRICK, inks.BRICK, inks.CORAL, inks.BRICK, inks.DUSK)[int(rng.integers(5))]
            for sign in (-1.0, 1.0):
                start, end = sorted((ridge + sign * max(reach - 3.0, 0.0), ridge + sign * reach))
                tiles[ink].append(shapely.buffer(shapely.box(start, y + 0.5, end, y + 2.9), 0.2))
        for ink, shapes in tiles.items():
            sheet.lay(Wobble(seed + 1, 0.15, 2.5)(union(shapes)), ink)
    sheet.lay(hatch(sheet.area, 90.0, rng, spacing=2.4, length=(0.8, 2.0), width=(0.2, 0.4), share=0.5), inks.PEACH)
    sheet.lay(Wobble(seed + 2, 0.12, 2.5)(shapely.box(ridge - 0.9, low, ridge + 0.9, high)), inks.MOONLIT)


def draw_door(sheet: Sheet, *, inside: bool) -> None:
    """Print the door: boards, a latch, three panes; brown boards inside."""
    rng = np.random.default_rng(981)
    uneven = Wobble(982, 0.1, 2.0)
    left, low, right, high = sheet.box
    sheet.lay(sheet.area, inks.DUNE if inside else inks.TEAL)
    seams = [shapely.box(x - 0.15, low, x + 0.15, high) for x in np.arange(left, right, 2.4)]
    cross = [shapely.box(left, y - 0.15, right, y + 0.15) for y in np.arange(low, high, 2.4)]
    sheet.lay(uneven(union(seams if inside else cross)), inks.CLAY if inside else inks.DEEP)
    way = 90.0 if inside else 0.0
    sheet.lay(
        hatch(sheet.area, way, rng, spacing=1.3, length=(1.0, 3.0), width=(0.15, 0.3), share=0.6),
        inks.SAND if inside else inks.SHALLOW,
    )
