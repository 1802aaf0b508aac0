"""The boat on the jetty and the boathouse behind it."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geometry import Spread

from . import inks
from .carving import Wobble, blob, dots, gouges, hatch, path, polygon, stroke, union
from .sheet import Sheet
from .standing import Upright

__all__ = ["draw_boat", "draw_boathouse", "draw_inside"]

Rng = np.random.Generator

#: Height of the boat's gunwale, and of its mast, net, mm.
_GUNWALE_MM, _MAST_MM = 5.0, 20.6
#: How far the boathouse's roof reaches down its two slopes from the ridge, and the size of a tile, mm.
_ROOF_LEFT_MM, _ROOF_RIGHT_MM = 9.4, 6.4
_TILE_MM = (2.25, 1.75)
#: A tile's corners, away from the ridge and along it, mm; and its inks, the rarer ones faded or new.
_TILE = np.array(
    [(-0.3, 0.12), (0.79, 0.12), (1.66, 0.5), (1.96, 1.125), (1.66, 1.75), (0.79, 2.13), (-0.3, 2.13)]
)  # fmt: skip
_FADED = (inks.CORAL, inks.CORAL, inks.BRICK, inks.CORAL, inks.PEACH)


def draw_boat(sheet: Sheet, spread: Spread) -> None:
    """Print the boat: two sails on a mast, a dark hull with a light strake."""
    rng = np.random.default_rng(301)
    uneven = Wobble(302, 0.12, 2.5)
    upright = Upright(sheet, spread, "boat")
    left, _, right, high = sheet.box
    main = shapely.box(left, _GUNWALE_MM + 0.6, -0.45, high)
    jib = shapely.box(0.45, _GUNWALE_MM + 0.6, right, high)
    sheet.lay(shapely.box(left, _GUNWALE_MM, right, high), inks.DEEP)
    sheet.lay(uneven(main), inks.CORAL)
    sheet.lay(uneven(jib), inks.CREAM)
    bands = [stroke(path([[left, y - 1.2], [left / 2, y - 0.2], [0, y + 1.0]]), 1.5) for y in (9.6, 14.4)]
    sheet.lay(uneven(union(bands)), inks.CREAM, within=main)
    bands = [stroke(path([[0, y + 1.0], [right / 2, y - 0.2], [right, y - 1.2]]), 1.0) for y in (8.2, 10.4)]
    sheet.lay(uneven(union(bands)), inks.OCHRE, within=jib)
    sheet.lay(hatch(main, 80.0, rng, spacing=1.5, length=(1.2, 3.4), width=(0.16, 0.32), share=0.6), inks.BRICK)
    sheet.lay(hatch(jib, 100.0, rng, spacing=1.7, length=(1.2, 3.0), width=(0.14, 0.28), share=0.5), inks.DUNE)
    sheet.lay(blob([4.1, 13.6], 1.45), inks.CORAL)
    sheet.lay(uneven(shapely.box(-0.5, 2, 0.5, _MAST_MM)), inks.CLAY)
    sheet.lay(stroke([[-0.12, 2], [-0.12, _MAST_MM]], 0.25), inks.DUNE)
    _hull(upright, uneven, rng)


def _hull(upright: Upright, uneven: Wobble, rng: Rng) -> None:
    """Strakes of the hull, its bottom, and planks of the jetty on the tabs below."""
    sheet = upright.sheet
    left, low, right, _ = sheet.box
    hull = shapely.box(left, low, right, _GUNWALE_MM + 0.1)
    sheet.lay(hull, inks.DEEP)
    sheet.lay(hatch(hull, 0.0, rng, spacing=1.1, length=(1.5, 4.0), width=(0.14, 0.28), share=0.7), inks.TEAL)
    sheet.lay(uneven(shapely.box(left, _GUNWALE_MM - 0.85, right, _GUNWALE_MM + 0.25)), inks.CREAM)
    sheet.lay(union([blob([x, _GUNWALE_MM - 1.75], 0.36) for x in (-9.6, -7.2, 7.2, 9.6)]), inks.OCHRE)
    upright.lay(uneven(shapely.box(left, -9, right, 1.0)), inks.BRICK)
    ground = upright.to_net(shapely.box(left, -12, right, -0.05))
    sheet.lay(ground, inks.DUNE)
    sheet.lay(hatch(ground, 0.0, rng, spacing=1.2, length=(2, 5), width=(0.14, 0.3), share=0.6), inks.CLAY)


def draw_boathouse(sheet: Sheet, spread: Spread) -> None:
    """Print the boathouse: a coral roof over board walls, doors on the left, the window on the right."""
    rng = np.random.default_rng(311)
    uneven = Wobble(312, 0.12, 2.5)
    walls = [spread.panels[f"boathouse.{side}"].outline for side in ("left", "right")]
    foot_left, foot_right = walls[0].bounds[0], walls[1].bounds[2]
    _, low, _, high = sheet.box
    _walls(sheet, uneven, rng, foot_left, foot_right)
    _doors(sheet, uneven, rng, foot_left)
    window = shapely.Polygon(walls[1].interiors[0])
    _window(sheet, uneven, rng, window, foot_right)
    for sign, reach in ((-1.0, _ROOF_LEFT_MM), (1.0, _ROOF_RIGHT_MM)):
        near, far = sorted((sign * (reach + 0.2), sign * (reach + 1.3)))
        eaves = shapely.box(near, low, far, high)
        sheet.lay(uneven(eaves), inks.NIGHT)
        _tiles(sheet, uneven, rng, sign, reach)
    sheet.lay(uneven(shapely.box(-0.95, low, 0.95, high)), inks.BRICK)
    caps = [shapely.box(-0.7, y + 0.15, 0.7, y + 2.3) for y in np.arange(low, high, 2.6)]
    sheet.lay(uneven(union(caps)), inks.PEACH)


def _walls(sheet: Sheet, uneven: Wobble, rng: Rng, foot_left: float, foot_right: float) -> None:
    """Boards up the slopes, a course of stone at the foot, sand beyond it."""
    left, low, right, high = sheet.box
    sheet.lay(shapely.box(foot_left, low, foot_right, high), inks.DUNE)
    seams = np.arange(low, high, 1.75)
    pale = [shapely.box(foot_left, y, foot_right, y + 1.75) for y in seams[::2]]
    sheet.lay(uneven(union(pale)), inks.SAND)
    wall = shapely.box(foot_left, low, foot_right, high)
    sheet.lay(hatch(wall, 0.0, rng, spacing=1.3, length=(1.5, 4.5), width=(0.12, 0.26), share=0.6), inks.CLAY)
    sheet.lay(uneven(union([stroke([[foot_left, y], [0, y], [foot_right, y]], 0.26) for y in seams])), inks.NIGHT)
    for start, end in ((foot_left, foot_left + 2.2), (foot_right - 2.2, foot_right)):
        sheet.lay(shapely.box(start - 0.2, low, end, high), inks.SLATE)
        stones = [
            shapely.box(start + 0.25, y + 0.2, end - 0.25, y + rng.uniform(2.2, 2.9)) for y in np.arange(low, high, 3.0)
        ]
        sheet.lay(uneven(union(stones)), inks.STONE)
    for start, end in ((left, foot_left), (foot_right, right)):
        ground = shapely.box(start, low, end, high)
        sheet.lay(ground, inks.SAND)
        sheet.lay(dots(ground, rng, spacing=1.6, radius=(0.12, 0.25), share=0.5), inks.DUNE)


def _doors(sheet: Sheet, uneven: Wobble, rng: Rng, foot: float) -> None:
    """Two teal doors with cross braces on the left slope, a lantern beside them."""
    top, bottom = -_ROOF_LEFT_MM - 1.9, foot + 0.9
    sheet.lay(uneven(shapely.box(bottom, 3.4, top + 0.6, 14.6)), inks.NIGHT)
    for low, high in ((4.0, 8.8), (9.2, 14.0)):
        leaf = shapely.box(bottom, low, top, high)
        sheet.lay(uneven(leaf), inks.TEAL)
        sheet.lay(hatch(leaf, 0.0, rng, spacing=1.0, length=(1.0, 3.0), width=(0.12, 0.24), share=0.6), inks.DEEP)
        frame = shapely.difference(leaf, shapely.buffer(leaf, -0.55, join_style="mitre"))
        brace = stroke([[bottom, low], [top, high]] if low < 9 else [[bottom, high], [top, low]], 0.7)
        sheet.lay(uneven(union([frame, shapely.intersection(brace, leaf)])), inks.SHALLOW)
    sheet.lay(union([blob([(top + bottom) / 2, y], 0.36) for y in (8.1, 9.9)]), inks.OCHRE)
    lamp = (top - 1.4, 16.2)
    sheet.lay(blob(lamp, 0.95), inks.NIGHT)
    sheet.lay(blob(lamp, 0.6), inks.OCHRE)


def _window(sheet: Sheet, uneven: Wobble, rng: Rng, window: BaseGeometry, foot: float) -> None:
    """Frame, shutters and a box of flowers round the window; a lifebelt and oars on the boards below."""
    top, low, bottom, high = window.bounds
    for start, end in ((low - 4.0, low - 1.0), (high + 1.0, high + 4.0)):
        shutter = shapely.box(top - 0.3, start, bottom + 0.3, end)
        sheet.lay(uneven(shapely.buffer(shutter, 0.3)), inks.NIGHT)
        sheet.lay(uneven(shutter), inks.TEAL)
        slats = np.arange(top + 0.4, bottom, 0.95)
        tops, ends = (np.column_stack([slats, np.full(len(slats), y)]) for y in (start + 0.3, end - 0.3))
        sheet.lay(gouges(tops, ends, 0.32), inks.SHALLOW)
    sheet.lay(uneven(shapely.buffer(window, 0.95, join_style="mitre")), inks.CREAM)
    sheet.lay(window, inks.NIGHT)
    sill = shapely.box(bottom + 0.5, low - 1.2, bottom + 2.1, high + 1.2)
    sheet.lay(uneven(sill), inks.BRICK)
    leaves = shapely.box(bottom - 0.1, low - 1.0, bottom + 1.1, high + 1.0)
    sheet.lay(dots(leaves, rng, spacing=0.75, radius=(0.3, 0.5)), inks.HEDGE)
    sheet.lay(dots(leaves, rng, spacing=1.3, radius=(0.26, 0.4), share=0.8), inks.CORAL)
    at = np.array([bottom + 5.4, low - 3.2])
    belt = shapely.difference(blob(at, 1.9), blob(at, 0.95))
    sheet.lay(shapely.buffer(belt, 0.22), inks.NIGHT)
    sheet.lay(belt, inks.CREAM)
    quarters = union([polygon([at, at + [3, 1], at + [1, 3]]), polygon([at, at - [3, 1], at - [1, 3]])])
    sheet.lay(quarters, inks.CORAL, within=belt)
    blades = np.array([[bottom + 3.0, high + 0.8], [bottom + 3.2, high - 1.0]])
    for grip, blade in zip(np.array([[foot - 2.0, high - 2.5], [foot - 2.0, high + 2.0]]), blades, strict=True):
        oar = union([stroke([grip, blade], 0.5), stroke([blade, blade + (blade - grip) * 0.12], 1.2)])
        sheet.lay(shapely.buffer(oar, 0.15), inks.NIGHT)
        sheet.lay(oar, inks.OCHRE)


def _tiles(sheet: Sheet, uneven: Wobble, rng: Rng, sign: float, reach: float) -> None:
    """Rows of round tiles from the eaves up to the ridge, each row over the one below."""
    _, low, _, high = sheet.box
    wide, deep = _TILE_MM
    for number, start in enumerate(np.arange(reach - deep, -deep, -deep)):
        tiles: dict[str, list[BaseGeometry]] = {inks.CORAL: [], inks.BRICK: [], inks.PEACH: []}
        marks = []
        for y in np.arange(low - wide, high + wide, wide) + (number % 2) * wide / 2:
            ink = _FADED[int(rng.integers(5))] if rng.random() < 0.5 else inks.CORAL
            tiles[ink].append(polygon((_TILE + [start, y]) * [sign, 1]))
            middle = np.array([[start + deep * 0.2, y + wide * rng.uniform(0.3, 0.7)]])
            marks.append(gouges(middle * [sign, 1], (middle + [deep * 0.6, 0.0]) * [sign, 1], 0.22))
        near, far = sorted((sign * max(start - 0.3, 0.0), sign * (start + deep * 0.5)))
        sheet.lay(shapely.box(near, low, far, high), inks.NIGHT)
        for ink, shapes in tiles.items():
            sheet.lay(uneven(union(shapes)), ink)
        sheet.lay(union(marks), inks.BRICK)


def draw_inside(sheet: Sheet) -> None:
    """Print the boathouse's back: dark boards and rafters under the roof."""
    rng = np.random.default_rng(361)
    left, low, right, high = sheet.box
    uneven = Wobble(362, 0.12, 2.5)
    sheet.lay(hatch(sheet.area, 0.0, rng, spacing=1.4, length=(2.0, 5.5), width=(0.14, 0.3), share=0.6), inks.BRICK)
    seams = np.arange(low, high, 1.75)
    sheet.lay(uneven(union([stroke([[left, y], [0, y], [right, y]], 0.3) for y in seams])), inks.NIGHT)
    beams = [shapely.box(left, y, right, y + 1.1) for y in np.arange(2.0, high, 6.4)]
    beams += [shapely.box(x, low, x + 1.1, high) for x in (-9.0, 8.0)]
    sheet.lay(uneven(shapely.transform(union(beams), lambda p: p + [0.3, -0.3])), inks.NIGHT)
    sheet.lay(uneven(union(beams)), inks.DUNE)
