"""The hills across the water: fields and hedges, woods, a lane, farms."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geometry import Spread
from geometry.transforms import inverse

from . import inks
from .carving import Array, Wobble, blob, dots, hatch, path, places, polygon, stroke, union
from .sheet import Sheet
from .standing import Upright

__all__ = ["draw_hills"]

Rng = np.random.Generator

#: Upper edges of the strips of fields, upright, mm, and the width of a field there.
_LEVELS = ((8.0, 30.0), (19.0, 24.0), (30.0, 19.0), (40.0, 15.0), (48.5, 12.0), (56.0, 10.0), (90.0, 9.0))
#: Fields: ink, ink of what grows there, kind of marks.
_CROPS = (
    (inks.MEADOW, inks.GRASS, "grass"),
    (inks.OCHRE, inks.CLAY, "furrows"),
    (inks.GRASS, inks.HEDGE, "grass"),
    (inks.SAND, inks.OCHRE, "stubble"),
    (inks.MEADOW, inks.CREAM, "furrows"),
    (inks.PEACH, inks.CLAY, "furrows"),
    (inks.GRASS, inks.MEADOW, "crop"),
    (inks.MEADOW, inks.CORAL, "crop"),
)
#: The same far away, where the air takes the colour out.
_FAR_CROPS = (
    (inks.SHALLOW, inks.MEADOW, "grass"),
    (inks.SAND, inks.DUNE, "furrows"),
    (inks.MEADOW, inks.GRASS, "grass"),
    (inks.STONE, inks.SHALLOW, "furrows"),
    (inks.GRASS, inks.MEADOW, "crop"),
    (inks.PEACH, inks.DUNE, "stubble"),
    (inks.SHALLOW, inks.GRASS, "crop"),
)
_FAR_MM = 37.0
#: Farms: x, height, size.
_FARMS = (
    (-58, 17.5, 1.15),
    (-30, 30.5, 0.9),
    (24, 20.5, 1.1),
    (55, 11.0, 1.2),
    (46, 36.5, 0.8),
    (-70, 31.5, 0.8),
    (-8, 43.5, 0.65),
)


def draw_hills(sheet: Sheet, spread: Spread, page: Sheet) -> None:
    """Print the hills; their tabs continue the page."""
    upright = Upright(sheet, spread, "hills")
    fields = _fields()
    _plough(upright, fields)
    _hedges(upright, fields)
    _lane(upright)
    _wood(upright)
    for x, y, size in _FARMS:
        _farm(upright, x, y, size)
    _sheep(upright)
    _skyline(sheet, union([spread.panels[f"hills.{side}"].outline for side in ("left", "right")]))
    for side, low, high in (("left", -100.0, 0.0), ("right", 0.0, 100.0)):
        x = np.array([low, high])
        foot = np.column_stack([x, upright.foot(x)])
        below = polygon([*foot, (high, -40.0), (low, -40.0)])
        sheet.paste(page, inverse(spread.panels[f"hills.{side}.tab"].rest), below)


def _roll(x: Array, level: float) -> Array:
    """A strip's edge: how far it rises over its level, (n,) float, mm."""
    return np.asarray(2.4 * np.sin(x / 21.0 + level / 7.0) + 1.2 * np.sin(x / 9.0 - level / 4.0))


def _fields() -> list[BaseGeometry]:
    """Strips between rolling lines, each split by slanting hedges, upright."""
    rng = np.random.default_rng(201)
    x = np.linspace(-100.0, 100.0, 161)
    fields = []
    floor = -12.0
    for level, wide in _LEVELS:
        low = np.column_stack([x, floor + _roll(x, floor)])
        top = np.column_stack([x, level + _roll(x, level)])
        strip = polygon(np.vstack([low, top[::-1]]))
        cuts = np.arange(-100.0 + rng.uniform(0, wide), 100.0, wide)
        cuts = [-130.0, *(cuts + rng.uniform(-0.25, 0.25, len(cuts)) * wide), 130.0]
        leans = rng.uniform(-0.35, 0.35, len(cuts))
        for (start, lean), (end, next_lean) in zip(
            zip(cuts, leans, strict=True), zip(cuts[1:], leans[1:], strict=True), strict=False
        ):
            tall = level - floor
            corners = [
                [start - lean * tall, floor - 9],
                [end - next_lean * tall, floor - 9],
                [end + next_lean * tall, level + 9],
                [start + lean * tall, level + 9],
            ]
            part = shapely.intersection(strip, polygon(corners))
            fields += [field for field in shapely.get_parts(part) if field.geom_type == "Polygon" and field.area > 1.0]
        floor = level
    return fields


def _plough(upright: Upright, fields: list[BaseGeometry]) -> None:
    """Give every field its ink and its marks."""
    rng = np.random.default_rng(211)
    last = -1
    for field in fields:
        crops = _FAR_CROPS if field.centroid.y > _FAR_MM else _CROPS
        choice = int(rng.integers(len(crops)))
        last = choice = (choice + 1) % len(crops) if choice == last else choice % len(crops)
        ink, mark, kind = crops[choice]
        fine = float(np.interp(field.centroid.y, [0, 55], [1.0, 0.6]))
        upright.lay(shapely.buffer(field, 0.15), ink)
        way = rng.uniform(-25, 25)
        if kind == "furrows":
            marks = hatch(
                field,
                way,
                rng,
                spacing=1.7 * fine,
                length=(5 * fine, 10 * fine),
                width=(0.35 * fine, 0.6 * fine),
                share=0.85,
                margin=0.5,
            )
        elif kind == "crop":
            marks = dots(
                shapely.buffer(field, -0.7), rng, spacing=1.7 * fine, radius=(0.3 * fine, 0.5 * fine), share=0.9
            )
        elif kind == "stubble":
            marks = hatch(
                field, 80.0, rng, spacing=1.4 * fine, length=(0.8, 1.5), width=(0.2, 0.4), share=0.75, margin=0.5
            )
        else:
            marks = hatch(
                field, 70.0, rng, spacing=2.0 * fine, length=(0.9, 1.9), width=(0.25, 0.45), share=0.6, margin=0.4
            )
        upright.lay(marks, mark)


def _hedges(upright: Upright, fields: list[BaseGeometry]) -> None:
    """Bushes along the edges of the fields, smaller the further away; here and there a tree."""
    rng = np.random.default_rng(221)
    bushes, lights, trees, crowns = [], [], [], []
    for field in fields:
        along, size = -1.0, 1.0
        while along < field.exterior.length:
            x, y = shapely.get_coordinates(shapely.line_interpolate_point(field.exterior, max(along, 0.0)))[0]
            size = float(np.interp(y, [0, 56], [1.0, 0.5]))
            if rng.random() < 0.93:
                radius = size * rng.uniform(0.5, 0.85)
                bushes.append(blob([x, y + 0.2], (radius * 1.15, radius), rng, rough=0.2))
                lights.append(blob([x - 0.15 * size, y + 0.45 * size], radius * 0.36, rng))
            if rng.random() < 0.045:
                trees.append(shapely.box(x - 0.2 * size, y, x + 0.2 * size, y + 2 * size))
                crowns.append(blob([x, y + 2.9 * size], (1.5 * size, 1.8 * size), rng, rough=0.2))
            along += size * rng.uniform(0.8, 1.5)
    upright.lay(union(bushes), inks.HEDGE)
    upright.lay(union(lights), inks.GRASS)
    _trees(upright, trees, crowns, rng)


def _trees(upright: Upright, trunks: list[BaseGeometry], crowns: list[BaseGeometry], rng: Rng) -> None:
    """Round trees: trunk, crown, cuts of light."""
    upright.lay(union(trunks), inks.NIGHT)
    upright.lay(union(crowns), inks.HEDGE)
    cuts = [
        hatch(crown, 60.0, rng, spacing=0.9, length=(0.5, 1.2), width=(0.2, 0.36), share=0.6, margin=0.2)
        for crown in crowns
    ]
    upright.lay(union(cuts), inks.MEADOW)


def _lane(upright: Upright) -> None:
    """A white lane over the hills."""
    way = path(
        [[12, -6], [16, 4], [8, 12], [-6, 17], [-14, 24], [-4, 31], [10, 36], [12, 43], [2, 49], [6, 56], [14, 64]]
    )
    width = np.interp(way[:, 1], [0, 60], [2.6, 0.9])
    uneven = Wobble(231, 0.25, 3.0)
    upright.lay(uneven(stroke(way, width + 0.9)), inks.HEDGE)
    upright.lay(uneven(stroke(way, width)), inks.CREAM)


def _wood(upright: Upright) -> None:
    """Woods along the shore and on a hill's shoulder."""
    rng = np.random.default_rng(241)
    areas = (
        (-86, -1, -50, 5),
        (-44, -1, -2, 3.5),
        (20, -1, 82, 4),
        (56, 24, 74, 32),
        (-50, 37, -36, 43),
        (26, 44, 36, 49),
    )
    for left, low, right, high in areas:
        size = float(np.interp(low, [0, 50], [1.0, 0.6]))
        points = places(shapely.box(left, low, right, high), 2.3 * size, rng)
        points = points[np.argsort(-points[:, 1])]
        trunks = [shapely.box(x - 0.2, y - 1.5, x + 0.2, y) for x, y in points]
        crowns = [blob([x, y + 0.6], (1.5 * size, 1.75 * size), rng, rough=0.25) for x, y in points]
        upright.lay(union(trunks), inks.NIGHT)
        shade = union([shapely.transform(crown, lambda p: p + [0.35, -0.35]) for crown in crowns])
        upright.lay(shade, inks.NIGHT)
        upright.lay(union(crowns), inks.HEDGE)
        cuts = [
            hatch(crown, 60.0, rng, spacing=0.9, length=(0.5, 1.3), width=(0.2, 0.4), share=0.6, margin=0.2)
            for crown in crowns
        ]
        upright.lay(union(cuts), inks.GRASS)


def _farm(upright: Upright, x: float, y: float, size: float) -> None:
    """A white house and a barn under coral roofs."""
    at = upright.to_net(shapely.Point(x, y))

    def put(points: list[list[float]], ink: str) -> None:
        upright.sheet.lay(polygon(np.asarray(points) * size + [at.x, at.y]), ink)

    put([[-3.4, -0.5], [7.4, -0.5], [6.4, 0.5], [-3.0, 0.5]], inks.HEDGE)
    put([[-2.6, 0], [2.4, 0], [2.4, 2.6], [-2.6, 2.6]], inks.CREAM)
    put([[-3.0, 2.4], [2.8, 2.4], [2.0, 4.6], [-2.2, 4.6]], inks.CORAL)
    put([[1.2, 4.2], [2.0, 4.2], [2.0, 5.6], [1.2, 5.6]], inks.BRICK)
    for left in (-1.9, 0.9):
        put([[left, 1.0], [left + 0.9, 1.0], [left + 0.9, 2.0], [left, 2.0]], inks.DEEP)
    put([[-0.6, 0], [0.4, 0], [0.4, 1.7], [-0.6, 1.7]], inks.BRICK)
    put([[2.8, 0], [6.4, 0], [6.4, 1.8], [4.6, 3.5], [2.8, 1.8]], inks.PEACH)
    put([[2.5, 1.5], [4.6, 3.9], [6.7, 1.5], [6.1, 1.4], [4.6, 3.0], [3.1, 1.4]], inks.BRICK)
    put([[3.9, 0], [5.3, 0], [5.3, 1.5], [3.9, 1.5]], inks.SLATE)


def _sheep(upright: Upright) -> None:
    """A few sheep on the nearest slopes."""
    rng = np.random.default_rng(251)
    backs, heads = [], []
    for middle in ((-24, 13.5), (-40, 24.5), (40, 14.5), (64, 20.5), (30, 29.5)):
        for at in np.asarray(middle) + rng.uniform([-4, -1.2], [4, 1.2], (4, 2)):
            backs.append(blob(at, (0.85, 0.6), rng, rough=0.25))
            heads += [
                blob(at + [0.85, 0.15], 0.28),
                shapely.box(at[0] - 0.5, at[1] - 0.95, at[0] - 0.3, at[1]),
                shapely.box(at[0] + 0.3, at[1] - 0.95, at[0] + 0.5, at[1]),
            ]
    upright.lay(union(heads), inks.NIGHT)
    upright.lay(union(backs), inks.CREAM)


def _skyline(sheet: Sheet, whole: BaseGeometry) -> None:
    """Light along the top of the hills."""
    rng = np.random.default_rng(261)
    top = shapely.difference(whole, shapely.transform(whole, lambda p: p - [0.0, 2.0]))
    sheet.lay(hatch(top, 60.0, rng, spacing=1.1, length=(0.8, 2.0), width=(0.25, 0.45), share=0.8), inks.HEDGE)
