"""The page card: sky, sea at low tide, the beach round Tern Rock, the jetty; and the waves on the book's outside."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely

from geometry import Spread

from . import inks
from .carving import Array, Wobble, blob, dashes, dots, gouges, hatch, path, places, polygon, stroke, union
from .page_life import draw_life
from .sheet import Sheet
from .shore import HORIZON_MM, Shore, lay_shore

__all__ = ["draw_back", "draw_page"]

Rng = np.random.Generator

#: Headlands on either hand, near ones over far ones: ink, ink of the cuts, outline.
_HEADLANDS = (
    (inks.STONE, inks.MIST, (
        (-160, 178), (-160, 198), (-146, 200), (-134, 195), (-120, 194), (-108, 188), (-94, 186),
        (-80, 181), (-66, 177),
    )),
    (inks.SLATE, inks.STONE, (
        (-160, 178), (-160, 190), (-148, 189), (-138, 185), (-126, 184), (-116, 180), (-110, 177),
    )),
    (inks.STONE, inks.MIST, (
        (66, 177), (80, 182), (98, 186), (112, 193), (128, 192), (142, 197), (160, 198), (160, 177),
    )),
    (inks.SLATE, inks.STONE, (
        (104, 177), (118, 183), (132, 183), (144, 189), (160, 189), (160, 177),
    )),
)  # fmt: skip
#: Clouds: x, y, length.
_CLOUDS = ((-108, 204, 52), (-40, 209.5, 40), (34, 207, 44), (116, 205, 50), (80, 197.5, 26), (-84, 195.5, 20))
#: Foam along the beach: distance from it, then width, length and gap of the marks, mm.
_FOAM = (
    (0.5, (0.9, 1.5), (9, 26), (0.4, 2.0)),
    (3.2, (0.5, 0.9), (6, 16), (1.5, 5.0)),
    (8.2, (0.4, 0.8), (5, 13), (3.0, 9.0)),
    (14.5, (0.35, 0.65), (4, 10), (6.0, 16.0)),
)


def draw_page(sheet: Sheet, spread: Spread) -> None:
    """Print the inside of the book."""
    shore = lay_shore(spread, sheet.box)
    _sky(sheet)
    _sea(sheet, shore)
    _glitter(sheet, shore)
    _far_land(sheet, shore)
    _sand(sheet, shore)
    _foam(sheet, shore)
    _reef(sheet, shore)
    draw_life(sheet, shore)
    _slip(sheet, shore)
    _deck(sheet, shore)
    _piles(sheet, shore)


def draw_back(sheet: Sheet) -> None:
    """Print the outside of the book: rows of small waves on deep water, no two alike."""
    rng = np.random.default_rng(90)
    left, low, right, high = sheet.box
    curl = path([[-8.6, -0.9], [-5.0, 0.1], [-1.7, 2.3], [1.7, 3.2], [4.2, 2.1], [4.3, 0.3], [2.6, 0.2]], step_mm=0.6)
    crests, falls = [], []
    for row, y in enumerate(np.arange(low - 2.0, high + 8.0, 9.0)):
        for x in np.arange(left - 10.0, right + 16.0, 16.0) + (row % 2) * 8.0:
            at = np.array([x, y]) + rng.uniform(-0.4, 0.4, 2)
            crests.append(stroke(curl * rng.uniform(0.95, 1.05, 2) + at, 1.3, taper=0.45))
            start = at + np.array([[-4.2, -2.2], [-0.9, -0.9], [2.0, -1.9]])
            falls.append(gouges(start, start + [3.2, 0.7] * rng.uniform(0.8, 1.1, (3, 1)), 0.75))
    sheet.lay(union(crests), inks.SHALLOW)
    sheet.lay(union(falls), inks.TEAL)


def _sky(sheet: Sheet) -> None:
    """Evening bands over the horizon, long clouds, headlands."""
    left, _, right, high = sheet.box
    rng = np.random.default_rng(21)
    wobble = Wobble(22, 0.4, 9.0)
    sheet.lay(shapely.box(left, HORIZON_MM - 3, right, high), inks.PEACH)
    x = np.linspace(left - 3, right + 3, 90)
    for level, ink in ((190.0, inks.CREAM), (200.0, inks.FOAM), (207.0, inks.SHALLOW)):
        wave = np.column_stack([x, level + 1.6 * np.sin(x / 37.0 + level)])
        sheet.lay(wobble(polygon(np.vstack([wave, [[right + 3, high + 3], [left - 3, high + 3]]]))), ink)
    sky = shapely.box(left, HORIZON_MM + 1, right, high)
    sheet.lay(hatch(sky, 0.0, rng, spacing=5.0, length=(3, 9), width=(0.2, 0.4), share=0.3), inks.CREAM)
    sheet.lay(hatch(sky, 0.0, rng, spacing=7.0, length=(3, 9), width=(0.2, 0.4), share=0.3), inks.SHALLOW)
    for x0, y, long in _CLOUDS:
        layers = ((-0.5, 0.5, 0.0), (-0.32, 0.42, 1.9), (-0.44, 0.16, -1.8), (-0.12, 0.3, 3.6))
        bars = [
            stroke(path([[x0 + a * long, y + up], [x0 + b * long, y + up]]), 2.3, taper=0.12) for a, b, up in layers
        ]
        sheet.lay(wobble(union(bars)), inks.CREAM if y > 200 else inks.PEACH)
    for ink, cuts, points in _HEADLANDS:
        land = Wobble(23, 0.5, 5.0)(polygon(path(points, step_mm=2.0)))
        sheet.lay(land, ink)
        sheet.lay(hatch(land, -12.0, rng, spacing=2.4, length=(2, 6), width=(0.25, 0.5), share=0.5, margin=0.6), cuts)


def _sea(sheet: Sheet, shore: Shore) -> None:
    """Flat water in bands, lighter towards the sand, cut all over with small waves."""
    rng = np.random.default_rng(31)
    sheet.lay(Wobble(33, 0.25, 6.0)(shore.sea), inks.DEEP)
    near = Wobble(32, 1.6, 16.0)
    water = shapely.buffer(shore.sea, -0.6, join_style="mitre")
    for reach, ink in ((19.0, inks.TEAL), (7.5, inks.SHALLOW)):
        both = union([shapely.buffer(shore.sand, reach), shapely.buffer(shore.far_land, reach * 0.55)])
        sheet.lay(near(both), ink, within=water)
    land = union([shore.sand, shore.far_land])
    deep = shapely.difference(shore.sea, shapely.buffer(land, 18.5))
    middle = shapely.difference(shapely.difference(shore.sea, shapely.buffer(land, 7.5)), deep)
    cuts = (
        (deep, inks.TEAL, 3.4, (3.0, 8.0), (0.35, 0.75), 0.72),
        (deep, inks.SHALLOW, 9.0, (3.0, 7.0), (0.3, 0.6), 0.5),
        (deep, inks.NIGHT, 6.0, (2.0, 5.0), (0.35, 0.7), 0.5),
        (middle, inks.SHALLOW, 3.8, (2.5, 6.5), (0.3, 0.65), 0.6),
        (middle, inks.DEEP, 5.0, (2.0, 5.0), (0.3, 0.6), 0.5),
    )
    for region, ink, spacing, length, width, share in cuts:
        sheet.lay(hatch(region, _swell, rng, spacing=spacing, length=length, width=width, share=share, margin=0.4), ink)


def _swell(points: Array) -> Array:
    """Direction of the waves, degrees, (n,) float."""
    return np.asarray(7.0 * np.sin(points[:, 0] / 19.0) + 5.0 * np.cos(points[:, 1] / 13.0))


def _glitter(sheet: Sheet, shore: Shore) -> None:
    """The sun's way over the water, and light along the horizon."""
    rng = np.random.default_rng(34)
    way = polygon([[-74, HORIZON_MM - 1], [-92, HORIZON_MM - 1], [-118, 158], [-140, 134], [-98, 138]])
    open_water = shapely.difference(shore.sea, shapely.buffer(union([shore.sand, shore.far_land]), 4.0))
    way = shapely.intersection(way, open_water)
    sheet.lay(hatch(way, 0.0, rng, spacing=2.5, length=(2, 6), width=(0.4, 0.85), share=0.75), inks.OCHRE)
    sheet.lay(hatch(way, 0.0, rng, spacing=4.5, length=(2, 5), width=(0.4, 0.8), share=0.6), inks.PEACH)
    left, _, right, _ = sheet.box
    line = shapely.LineString([[left, HORIZON_MM - 1.3], [right, HORIZON_MM - 1.3]])
    sheet.lay(dashes(line, rng, length=(8, 26), gap=(1, 5), width=(0.4, 0.8)), inks.SHALLOW, within=open_water)


def _far_land(sheet: Sheet, shore: Shore) -> None:
    """The land that the hills stand on, in strips of field up to its skyline."""
    rng = np.random.default_rng(35)
    surf = dashes(shapely.buffer(shore.far_land, 1.6), rng, length=(5, 14), gap=(1.5, 4), width=(0.5, 1.0))
    sheet.lay(surf, inks.FOAM, within=shore.sea)
    sheet.lay(shore.far_land, inks.SAND)
    below = shapely.transform(shore.far_land, lambda p: p + [0.0, 3.4])
    green = Wobble(36, 0.8, 6.0)(shapely.intersection(shapely.buffer(shore.far_land, -0.8), below))
    sheet.lay(green, inks.GRASS)
    for number, level in enumerate((168.0, 177.0, 185.0, 192.0, 198.0)):
        x = np.linspace(-90, 90, 60)
        wave = np.column_stack([x, level + 2.5 * np.sin(x / 12.0 + level) + 0.05 * np.abs(x)])
        field = Wobble(37, 0.5, 5.0)(polygon(np.vstack([wave, [[90, 216], [-90, 216]]])))
        sheet.lay(field, (inks.MEADOW, inks.GRASS)[number % 2], within=green)
    sheet.lay(hatch(green, 70.0, rng, spacing=1.8, length=(0.8, 2.2), width=(0.25, 0.5), share=0.6), inks.HEDGE)
    sheet.lay(dots(green, rng, spacing=4.2, radius=(0.5, 1.1), share=0.5), inks.HEDGE)


def _sand(sheet: Sheet, shore: Shore) -> None:
    """The beach: wet edge, dry sand, ripples and grains."""
    rng = np.random.default_rng(41)
    sheet.lay(shore.sand, inks.DUNE)
    dry = Wobble(42, 0.9, 9.0)(shapely.buffer(shore.sand, -5.5))
    sheet.lay(dry, inks.SAND)
    dry = shapely.intersection(dry, sheet.area)
    wet = shapely.difference(shapely.intersection(shore.sand, sheet.area), dry)
    bars = [(-151, 96, -66, 136), (66, 92, 151, 160), (-60, 66, -26, 112), (58, 58, 151, 82), (20, 40, 60, 62)]
    rippled = shapely.intersection(dry, Wobble(43, 5.0, 18.0)(union([shapely.box(*bar) for bar in bars])))
    plain = shapely.difference(dry, rippled)
    cuts = (
        (wet, inks.SAND, 2.6, (2.0, 5.0), (0.25, 0.55), 0.65),
        (wet, inks.CLAY, 4.6, (2.0, 4.5), (0.2, 0.45), 0.5),
        (rippled, inks.DUNE, 3.0, (5.0, 10.0), (0.45, 0.9), 0.88),
        (rippled, inks.CLAY, 7.0, (2.0, 5.0), (0.2, 0.4), 0.45),
        (plain, inks.DUNE, 5.2, (2.0, 5.0), (0.25, 0.5), 0.4),
        (dry, inks.CREAM, 6.5, (2.0, 5.0), (0.3, 0.6), 0.5),
    )
    for region, ink, spacing, length, width, share in cuts:
        sheet.lay(
            hatch(region, _ripple, rng, spacing=spacing, length=length, width=width, share=share, margin=0.5), ink
        )
    sheet.lay(dots(dry, rng, spacing=2.6, radius=(0.1, 0.24), share=0.45), inks.DUNE)
    sheet.lay(dots(dry, rng, spacing=6.5, radius=(0.14, 0.28), share=0.4), inks.CLAY)


def _ripple(points: Array) -> Array:
    """Direction of ripples in the sand, degrees, (n,) float."""
    return np.asarray(14.0 * np.sin(points[:, 0] / 23.0 + 0.6) - 6.0 * np.cos(points[:, 1] / 17.0))


def _foam(sheet: Sheet, shore: Shore) -> None:
    """Lines of foam that follow the water's edge, further apart further out."""
    rng = np.random.default_rng(51)
    edge = Wobble(52, 0.5, 5.0)
    for reach, width, length, gap in _FOAM:
        marks = dashes(edge(shapely.buffer(shore.sand, reach)), rng, length=length, gap=gap, width=width)
        open_water = shapely.difference(shore.sea, shore.far_land)
        sheet.lay(marks, inks.FOAM if reach < 10 else inks.SHALLOW, within=open_water)


def _reef(sheet: Sheet, shore: Shore) -> None:
    """Bare rock and weed round the foot of the cliff."""
    rng = np.random.default_rng(61)
    sheet.lay(shapely.transform(shore.reef, lambda p: p + [0.8, -1.2]), inks.CLAY)
    sheet.lay(shore.reef, inks.SLATE)
    flags = Wobble(62, 0.7, 4.0)(shapely.buffer(shore.reef, -1.6))
    sheet.lay(flags, inks.STONE)
    sheet.lay(hatch(flags, _bedding, rng, spacing=1.9, length=(2.0, 5.5), width=(0.3, 0.65), share=0.75), inks.SLATE)
    sheet.lay(hatch(flags, _bedding, rng, spacing=2.8, length=(1.2, 3.2), width=(0.25, 0.5), share=0.55), inks.MIST)
    sheet.lay(dots(shore.reef, rng, spacing=3.0, radius=(0.25, 0.6), share=0.4), inks.HEDGE)
    sheet.lay(dots(shore.reef, rng, spacing=3.4, radius=(0.18, 0.36), share=0.4), inks.CREAM)


def _bedding(points: Array) -> Array:
    """Direction of the rock's beds, degrees, (n,) float: along the cliff's two feet."""
    return np.where(points[:, 0] < 0, -38.0, 38.0)


def _slip(sheet: Sheet, shore: Shore) -> None:
    """A slip of stones from the jetty up to the boathouse."""
    rng = np.random.default_rng(92)
    left, _, right, head = shore.jetty_left.bounds
    house = shore.boathouse.bounds
    slip = Wobble(93, 0.5, 4.0)(
        polygon([[left, head], [right, head], [house[2] + 1, house[1] + 3], [house[0] - 1, house[1] + 3]])
    )
    sheet.lay(shapely.transform(slip, lambda p: p + [-0.7, -0.4]), inks.CLAY)
    sheet.lay(slip, inks.SLATE)
    laid = places(slip, 3.1, rng, loose=0.35)
    stones = union([blob(at, (1.5, 1.15), rng, rough=0.22) for at in laid])
    sheet.lay(stones, inks.MIST, within=shapely.buffer(slip, -0.3))
    sheet.lay(
        shapely.transform(stones, lambda p: p + [0.2, -0.35]), inks.STONE, within=shapely.intersection(stones, slip)
    )
    sheet.lay(dots(slip, rng, spacing=3.0, radius=(0.15, 0.3), share=0.5), inks.CREAM)


def _deck(sheet: Sheet, shore: Shore) -> None:
    """Planks on the upper panel of the jetty's strip: seams, grain, nails."""
    rng = np.random.default_rng(95)
    left, low, right, high = shore.jetty_left.bounds
    deck = Wobble(96, 0.12, 3.0)(shapely.box(left, low - 0.6, right, high + 0.6))
    seams = np.linspace(low, high, 9)
    sheet.lay(shapely.transform(deck, lambda p: p + [-0.9, -0.3]), inks.NIGHT)
    sheet.lay(deck, inks.DUNE)
    pale = [shapely.box(left, start, right, end) for start, end in zip(seams[1::3], seams[2::3], strict=False)]
    sheet.lay(union(pale), inks.SAND, within=deck)
    sheet.lay(
        hatch(deck, 0.0, rng, spacing=1.4, length=(3.0, 8.0), width=(0.12, 0.3), share=0.6, margin=0.4), inks.CLAY
    )
    cracks = [stroke(path([[left - 1, y], [0, y + rng.uniform(-0.2, 0.2)], [right + 1, y]]), 0.4) for y in seams]
    sheet.lay(union(cracks), inks.NIGHT, within=deck)
    nails = [[x, y + 1.4] for y in seams[:-1] for x in (left + 1.3, left + 2.5, right - 1.5)]
    sheet.lay(union(shapely.buffer(shapely.points(nails), 0.26)), inks.NIGHT, within=deck)


def _piles(sheet: Sheet, shore: Shore) -> None:
    """Piles and braces in the water on the strip's other panel, the jetty's side; its top is the fold."""
    rng = np.random.default_rng(97)
    fine = Wobble(98, 0.14, 3.0)
    top, low, bottom, high = shore.jetty_right.bounds
    side = shapely.box(top, low - 0.6, bottom, high + 0.6)
    sheet.lay(side, inks.DEEP)
    sheet.lay(hatch(side, 90.0, rng, spacing=2.2, length=(2.0, 5.0), width=(0.3, 0.6), share=0.6), inks.TEAL)
    piles = np.linspace(low + 1.6, high - 1.6, 4)
    for start, end in pairwise(piles):
        sheet.lay(stroke([[top + 2.5, start], [bottom - 3.0, end]], 0.9), inks.CLAY, within=side)
    for y in piles:
        sheet.lay(fine(shapely.box(top, y - 1.1, bottom, y + 1.1)), inks.SLATE)
        sheet.lay(fine(shapely.box(top, y + 0.1, bottom, y + 0.9)), inks.STONE)
        wet = shapely.box(bottom - 7.0, y - 1.1, bottom, y + 1.1)
        sheet.lay(dots(wet, rng, spacing=1.0, radius=(0.2, 0.45)), inks.HEDGE)
    beam = fine(shapely.box(top, low - 0.6, top + 2.2, high + 0.6))
    sheet.lay(beam, inks.OCHRE)
    sheet.lay(hatch(beam, 90.0, rng, spacing=1.0, length=(2, 5), width=(0.15, 0.3), share=0.6), inks.BRICK)
    surf = shapely.LineString([[bottom - 0.8, low - 1], [bottom - 0.8, high + 1]])
    sheet.lay(dashes(surf, rng, length=(3, 6), gap=(0.5, 1.5), width=(0.9, 1.3)), inks.FOAM, within=side)
