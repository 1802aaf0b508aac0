"""The storm's sky: banked clouds with the light behind them, lightning, the rock and the lighthouse's beam."""

from __future__ import annotations

import numpy as np
import shapely

from geometry import Spread

from . import inks
from .carving import Array, Wobble, blob, dashes, dots, gouges, hatch, polygon, stroke, union
from .faces import shown
from .sheet import Sheet
from .standing import Upright
from .water import moved_by

__all__ = ["draw_beam", "draw_clouds", "draw_lightning", "draw_rock"]

Rng = np.random.Generator

#: Banks of cloud, upright: ink, ink of the cuts, and heads as x, y, radius; far ones first.
_BANKS = (
    (inks.STONE, inks.MIST, (
        (-112, 30, 18), (-92, 44, 20), (-66, 52, 18), (-42, 58, 20), (-16, 54, 16), (10, 56, 17), (36, 58, 18),
        (62, 54, 19), (90, 46, 20), (112, 32, 17),
    )),
    (inks.GALE, inks.STONE, (
        (-116, 18, 15), (-94, 31, 17), (-70, 36, 17), (-48, 44, 17), (-22, 39, 15), (2, 41, 16), (26, 40, 15),
        (50, 43, 17), (74, 36, 17), (98, 30, 16), (116, 17, 13),
    )),
    (inks.SLATE, inks.GALE, (
        (-112, 8, 13), (-90, 17, 14), (-64, 21, 15), (-38, 28, 14), (-14, 22, 13), (12, 26, 14), (38, 24, 14),
        (62, 24, 14), (86, 17, 14), (110, 8, 12),
    )),
)  # fmt: skip


def draw_clouds(sheet: Sheet, spread: Spread) -> None:
    """Print the clouds; the light stands in a band over the sea behind them."""
    rng = np.random.default_rng(401)
    upright = Upright(sheet, spread, "clouds")
    card = upright.from_net(shown(spread, "clouds"))
    left, right = sheet.box[0] - 4, sheet.box[2] + 4
    upright.lay(shapely.box(left, -30, right, 120), inks.PEACH)
    upright.lay(Wobble(402, 0.8, 9.0)(shapely.box(left, 9.0, right, 120)), inks.OCHRE)
    low = shapely.box(left, 1.0, right, 14.0)
    upright.lay(hatch(low, 0.0, rng, spacing=2.6, length=(4, 12), width=(0.3, 0.7), share=0.6), inks.CREAM)
    upright.lay(hatch(low, 0.0, rng, spacing=4.0, length=(4, 12), width=(0.3, 0.7), share=0.5), inks.DUNE)
    for number, (ink, cut, heads) in enumerate(_BANKS):
        _bank(upright, heads, ink, cut, 410 + 10 * number)
    _rain(upright, rng)
    _far_sea(upright, rng, left, right)
    rim = shapely.difference(card, moved_by(card, [0.0, -1.5]))
    upright.lay(Wobble(405, 0.3, 3.5)(rim), inks.CREAM)
    for start, end in ((-140.0, 0.0), (0.0, 140.0)):
        x = np.array([start, end])
        foot = np.column_stack([x, upright.foot(x)])
        sheet.lay(polygon([*foot, (end, -40.0), (start, -40.0)]), inks.DEEP)


def _bank(upright: Upright, heads: tuple[tuple[float, float, float], ...], ink: str, cut: str, seed: int) -> None:
    """One bank: round heads with a lit rim, all dark below, cut along their curves."""
    rng = np.random.default_rng(seed)
    uneven = Wobble(seed + 1, 0.7, 6.0)
    rounds = [blob([x, y], (radius * 1.12, radius * 0.86), rng, rough=0.1) for x, y, radius in heads]
    below = polygon([*((x, y) for x, y, _ in heads), (150, -1), (150, 8), (-150, 8), (-150, -1)])
    body = uneven(union([*rounds, shapely.buffer(below, 0)]))
    upright.lay(body, ink)
    for number, shape in enumerate(rounds):
        light = uneven(shapely.difference(shape, moved_by(shape, [1.2, -2.0])))
        hidden = union(rounds[number + 1 :]) if number + 1 < len(rounds) else shapely.Polygon()
        upright.lay(shapely.difference(light, shapely.buffer(hidden, -1.6)), cut)
        x, y, radius = heads[number]
        lines = []
        for reach in (0.78, 0.56, 0.34):
            ring = np.radians(np.linspace(35, 165, 24))
            lines.append(np.column_stack([np.cos(ring) * 1.12, np.sin(ring) * 0.86]) * radius * reach + [x, y - 1.0])
        marks = [
            dashes(shapely.LineString(line), rng, length=(4, 11), gap=(1.5, 5), width=(0.4, 0.9)) for line in lines
        ]
        upright.lay(uneven(union(marks)), cut)
    upright.lay(hatch(body, 3.0, rng, spacing=3.4, length=(3, 9), width=(0.25, 0.6), share=0.45, margin=1.0), cut)


def _rain(upright: Upright, rng: Rng) -> None:
    """Curtains of rain that slant from the clouds."""
    for x, wide in ((-84, 34), (-30, 26), (30, 24), (92, 36)):
        curtain = polygon(
            [[x - wide / 2 + 9, 30], [x + wide / 2 + 9, 34], [x + wide / 2 - 8, 2], [x - wide / 2 - 8, 2]]
        )
        fall = hatch(curtain, 63.0, rng, spacing=2.6, length=(5, 14), width=(0.25, 0.5), share=0.75)
        upright.lay(fall, inks.STONE)
        upright.lay(hatch(curtain, 63.0, rng, spacing=4.2, length=(4, 11), width=(0.2, 0.4), share=0.6), inks.MIST)


def _far_sea(upright: Upright, rng: Rng, left: float, right: float) -> None:
    """A strip of sea at the foot, so that the page runs on into the sky."""
    x = np.arange(left, right, 1.0)
    crest = np.column_stack([x, 3.2 + 0.9 * np.sin(x / 5.0) + 0.7 * np.sin(x / 2.3)])
    upright.lay(polygon(np.vstack([crest, [[right, -30], [left, -30]]])), inks.DEEP)
    upright.lay(dashes(shapely.LineString(crest), rng, length=(3, 9), gap=(1, 4), width=(0.4, 0.9)), inks.FOAM)
    strip = shapely.box(left, 0, right, 3)
    upright.lay(hatch(strip, 0.0, rng, spacing=1.7, length=(2, 6), width=(0.2, 0.45), share=0.6), inks.TEAL)


def draw_lightning(sheet: Sheet, spread: Spread) -> None:
    """Print the bolt: white hot in the middle, amber at its edges."""
    bolt = shown(spread, "lightning")
    sheet.lay(Wobble(431, 0.2, 3.0)(shapely.buffer(bolt, -0.7)), inks.PEACH)
    sheet.lay(Wobble(432, 0.2, 3.0)(shapely.buffer(bolt, -1.6)), inks.CREAM)


def draw_rock(sheet: Sheet, spread: Spread) -> None:
    """Print the rock in the surf: wet beds of stone, a cap of turf, spray about its foot."""
    rng = np.random.default_rng(521)
    uneven = Wobble(522, 0.4, 3.5)
    card = shown(spread, "rock")
    bleed = shapely.buffer(card, 3.5, join_style="mitre")
    sheet.lay(bleed, inks.HEDGE)
    sheet.lay(uneven(moved_by(bleed, [0.0, -5.2])), inks.GALE)
    x = np.arange(-66.0, 66.5, 1.0)
    for level, ink, cut in (
        (43.0, inks.GALE, inks.STONE),
        (33.0, inks.SLATE, inks.STONE),
        (26.0, inks.LEAD, inks.GALE),
        (19.0, inks.SLATE, inks.MIST),
        (12.0, inks.LEAD, inks.GALE),
    ):
        dip = 1.6 * np.sin(x / 9.0 + level) + 0.8 * np.sin(x / 3.1) + 0.05 * x
        bed = polygon(np.vstack([np.column_stack([x, level + dip]), [[66, -9], [-66, -9]]]))
        bed = shapely.intersection(uneven(bed), moved_by(bleed, [0.0, -6.0]))
        sheet.lay(bed, ink)
        strip = shapely.intersection(bed, shapely.box(-66, level - 8.5, 66, level + 4))
        sheet.lay(hatch(strip, 3.0, rng, spacing=1.9, length=(2.0, 6.0), width=(0.25, 0.6), share=0.62), cut)
    turf = shapely.difference(card, moved_by(card, [0.0, -4.5]))
    sheet.lay(hatch(turf, 78.0, rng, spacing=1.4, length=(1.2, 3.2), width=(0.35, 0.7), share=0.75), inks.GRASS)
    for at in (-43.0, -18.0, 6.5, 43.0):
        heights = np.arange(13.0, 36.0, 2.0)
        line = np.column_stack([at + np.cumsum(rng.uniform(-0.8, 0.8, len(heights))), heights])
        sheet.lay(stroke(line, 0.5, taper=0.5), inks.NIGHT, within=card)
    _surf(sheet, rng)


def _surf(sheet: Sheet, rng: Rng) -> None:
    """Plumes of spray against the rock, and the sea at its foot."""
    heads = [
        (-50, 14, 7),
        (-38, 12, 6),
        (-26, 15, 8),
        (-13, 12, 6),
        (0, 17, 9),
        (13, 13, 7),
        (25, 11, 6),
        (38, 15, 8),
        (51, 12, 7),
    ]
    plume = union([blob([x, y], (size, size * 0.9), rng, rough=0.3) for x, y, size in heads])
    plume = Wobble(531, 0.9, 2.6)(union([plume, shapely.box(-70, -5, 70, 12)]))
    sheet.lay(moved_by(plume, [0.0, 1.4]), inks.SHALLOW)
    sheet.lay(plume, inks.FOAM)
    starts = np.column_stack([rng.uniform(-54, 54, 90), rng.uniform(11, 21, 90)])
    way = np.column_stack([rng.normal(0, 1.6, 90), rng.uniform(2, 5, 90)])
    sheet.lay(gouges(starts, starts + way, 0.7), inks.FOAM)
    sheet.lay(dots(shapely.box(-56, 14, 56, 27), rng, spacing=3.0, radius=(0.25, 0.6), share=0.5), inks.FOAM)
    sheet.lay(
        hatch(shapely.buffer(plume, -1.5), 35.0, rng, spacing=2.4, length=(1.5, 4), width=(0.3, 0.6), share=0.5),
        inks.SHALLOW,
    )
    sea = Wobble(532, 0.6, 4.0)(shapely.box(-70, -9, 70, 6.5))
    sheet.lay(sea, inks.TEAL)
    sheet.lay(hatch(sea, 3.0, rng, spacing=2.2, length=(3, 8), width=(0.3, 0.7), share=0.6), inks.FOAM)
    sheet.lay(hatch(sea, 3.0, rng, spacing=2.6, length=(2, 6), width=(0.3, 0.6), share=0.6), inks.DEEP)


def draw_beam(sheet: Sheet, *, turned_over: bool) -> None:
    """Print the beam: rays that fade from the lantern outwards."""
    rng = np.random.default_rng(541)
    way = -1.0 if turned_over else 1.0
    tips = ((-17.0, 17.0, inks.OCHRE), (-13.0, 13.0, inks.LAMP), (-8.0, 8.0, inks.PEACH), (-3.2, 3.2, inks.CREAM))
    for low, high, ink in tips:
        ray = polygon(
            np.array([[0.0, -2.6 * high / 13], [86.0, low], [86.0, high], [0.0, 2.6 * high / 13]]) * [way, 1.0]
        )
        sheet.lay(Wobble(542, 0.25, 6.0)(ray), ink)
    field = polygon(np.array([[16, -5], [80, -14], [80, 14], [16, 5]]) * [way, 1.0])

    def along(points: Array) -> Array:
        return np.degrees(np.arctan2(points[:, 1], points[:, 0] * way)) * way

    sheet.lay(hatch(field, along, rng, spacing=2.6, length=(3, 9), width=(0.25, 0.6), share=0.6), inks.CREAM)
    far = polygon(np.array([[48, -12], [80, -14], [80, 14], [48, 12]]) * [way, 1.0])
    sheet.lay(hatch(far, along, rng, spacing=2.2, length=(3, 8), width=(0.3, 0.7), share=0.55), inks.DUNE)
