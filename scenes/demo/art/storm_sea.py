"""The storm's rows of waves: the box, the great wave, the swell beside it, and the boat."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geometry import Spread

from . import inks
from .carving import Array, Wobble, blob, dashes, dots, hatch, path, polygon, stroke, union
from .faces import shown
from .sheet import Sheet
from .water import draw_face

__all__ = ["draw_bow", "draw_bow_inside", "draw_breaker", "draw_inside", "draw_sail", "draw_sea", "draw_swell"]

#: Middle of the great wave's curl on its net, mm.
_CURL = np.array([-17.0, 48.0])


def draw_sea(sheet: Sheet, spread: Spread) -> None:
    """Print the box: a row of waves on every wall."""
    for number, wall in enumerate((("right",), ("end.right", "end.left"), ("left",), ("start.left", "start.right"))):
        face = shown(spread, "sea", *wall)
        left, _, right, _ = face.bounds
        draw_face(sheet, face, 410 + 10 * number, within=shapely.box(left, -9.0, right, 40.0))


def draw_inside(sheet: Sheet) -> None:
    """Print the box's inside: black water between the rows."""
    rng = np.random.default_rng(451)
    sheet.lay(hatch(sheet.area, 4.0, rng, spacing=2.6, length=(2, 7), width=(0.3, 0.6), share=0.6), inks.DEEP)
    sheet.lay(hatch(sheet.area, 4.0, rng, spacing=4.5, length=(2, 6), width=(0.25, 0.5), share=0.5), inks.TEAL)


def draw_breaker(sheet: Sheet, spread: Spread) -> None:
    """Print the great wave: its water climbs and curls over, its tongue breaks into foam."""
    face = shown(spread, "breaker")
    draw_face(sheet, face, 460, way=_climb)
    rng = np.random.default_rng(470)
    uneven = Wobble(471, 0.3, 3.0)
    wall = shapely.buffer(face, -1.6)
    for reach, ink in (
        (11.0, inks.SHALLOW),
        (16.0, inks.FOAM),
        (21.0, inks.SHALLOW),
        (27.0, inks.TEAL),
        (33.0, inks.FOAM),
    ):
        ring = np.linspace(np.radians(60), np.radians(262), 60)
        arc = _CURL + reach * np.column_stack([np.cos(ring), np.sin(ring) * 1.08]) + [-0.12 * reach, -0.2 * reach]
        arc = np.vstack([arc, arc[-1] + [[14.0, -5.0 - 0.1 * reach], [32.0, -6.0 - 0.12 * reach]]])
        marks = dashes(shapely.LineString(path(arc)), rng, length=(10, 26), gap=(1.0, 4.0), width=(0.8, 1.7))
        sheet.lay(uneven(marks), ink, within=wall)
    tongue = shapely.intersection(face, polygon([[-30, 44], [0, 44], [6, 70], [-20, 80], [-34, 74], [-26, 60]]))
    edge = shapely.difference(tongue, shapely.buffer(face, -2.6))
    sheet.lay(Wobble(472, 0.6, 2.4)(shapely.buffer(edge, 0.5)), inks.FOAM)
    claws = dots(
        shapely.intersection(shapely.buffer(edge, 4.0), face), rng, spacing=1.7, radius=(0.3, 0.85), share=0.75
    )
    sheet.lay(claws, inks.FOAM)
    sheet.lay(dots(shapely.buffer(edge, 1.0), rng, spacing=1.5, radius=(0.2, 0.45), share=0.6), inks.SHALLOW)
    boil = shapely.intersection(face, polygon([[-30, 4], [40, 4], [44, 16], [12, 23], [-8, 20], [-30, 12]]))
    sheet.lay(hatch(boil, 8.0, rng, spacing=2.4, length=(3, 8), width=(0.6, 1.3), share=0.55), inks.FOAM)
    sheet.lay(dots(boil, rng, spacing=1.9, radius=(0.25, 0.7), share=0.55), inks.CREAM)


def _climb(points: Array) -> Array:
    """Direction of the great wave's water, degrees: round its curl, level far from it."""
    away = points - _CURL
    round_it = np.degrees(np.arctan2(away[:, 1], away[:, 0])) + 90.0
    return np.where(points[:, 0] < 2.0, round_it, 6.0 * np.sin(points[:, 0] / 11.0))


def draw_swell(sheet: Sheet, spread: Spread, piece_id: str, seed: int, *, turned_over: bool = False) -> None:
    """Print a wave in a corner, one panel on the page and one on the box's wall: it leans, so both faces show."""
    mirror = np.array([-1.0 if turned_over else 1.0, 1.0])
    for number, side in enumerate(("left", "right")):
        name = f"{piece_id}.{side}"
        foot = next(hinge for hinge in spread.hinges if hinge.id == f"{name}.glue" and name in hinge.panels)
        start, end = np.asarray(foot.lines[foot.panels.index(name)])[:, :2] * mirror
        along = (end - start) / np.hypot(*(end - start))
        down = np.array([-along[1], along[0]])
        down = -down if down[1] > 0 else down
        face = shapely.transform(shown(spread, piece_id, side), lambda points: points * mirror)
        outside = shapely.box(0.0, -60.0, 90.0 * np.sign(face.centroid.x), 90.0)
        way = float(np.degrees(np.arctan2(along[1], along[0])))
        draw_face(sheet, face, seed + 10 * number, down=down, way=way, within=outside)


def draw_bow(sheet: Sheet, spread: Spread) -> None:
    """Print the boat's bow: strakes that meet at the stem, a light gunwale, spray about its foot."""
    rng = np.random.default_rng(501)
    uneven = Wobble(502, 0.12, 2.5)
    left, low, right, _ = sheet.box
    sheet.lay(hatch(sheet.area, 10.0, rng, spacing=1.8, length=(1.5, 4.0), width=(0.3, 0.7), share=0.6), inks.FOAM)
    for level, ink in (
        (27.0, inks.CORAL),
        (18.6, inks.BRICK),
        (17.6, inks.CORAL),
        (13.6, inks.BRICK),
        (12.6, inks.CORAL),
    ):
        sheet.lay(uneven(_below(left, right, low, level)), ink)
    sheet.lay(_below(left, right, low, 8.0), inks.DEEP)
    rim = stroke(_gunwale(left, right), 4.6)
    sheet.lay(uneven(rim), inks.CREAM)
    sheet.lay(uneven(stroke(_gunwale(left, right) - [0.0, 2.7], 0.6)), inks.NIGHT)
    sheet.lay(uneven(shapely.box(-0.75, low, 0.75, 30.0)), inks.CREAM)
    for side in (-1.0, 1.0):
        sheet.lay(blob([3.6 * side, 15.6], 1.15), inks.NIGHT)
        sheet.lay(blob([3.6 * side, 15.6], 0.65), inks.OCHRE)
    spray = Wobble(503, 0.8, 2.2)(_below(left, right, low, 4.5))
    sheet.lay(spray, inks.FOAM)
    sheet.lay(dots(shapely.buffer(spray, 2.0), rng, spacing=1.3, radius=(0.2, 0.5), share=0.6), inks.FOAM)


def draw_bow_inside(sheet: Sheet) -> None:
    """Print the inside of the bow: boards, ribs, a thwart, and a sailor in oilskins who holds on."""
    rng = np.random.default_rng(505)
    uneven = Wobble(506, 0.12, 2.5)
    left, low, right, _ = sheet.box
    sheet.lay(hatch(sheet.area, 30.0, rng, spacing=1.5, length=(1.0, 3.0), width=(0.14, 0.3), share=0.5), inks.BRICK)
    for level in (24.0, 19.5, 15.0, 10.5):
        line = path(
            [[left, level - 15.5], [-8, level - 6.2], [0, level - 1.0], [8, level - 6.2], [right, level - 15.5]]
        )
        sheet.lay(uneven(stroke(line, 0.4)), inks.NIGHT)
    for x in (-15.0, -8.5, 8.5, 15.0):
        sheet.lay(uneven(shapely.box(x - 0.5, low, x + 0.5, 30.0)), inks.DUNE)
    thwart = stroke([[left, 1.0], [0, 9.0], [right, 1.0]], 2.6)
    sheet.lay(uneven(shapely.buffer(thwart, 0.3)), inks.NIGHT)
    sheet.lay(uneven(thwart), inks.SAND)
    for side in (-1.0, 1.0):
        body = union([blob([4.2 * side, 7.4], (2.7, 3.4)), stroke([[4.2 * side, 9.0], [9.0 * side, 11.0]], 1.5)])
        sheet.lay(shapely.buffer(body, 0.35), inks.NIGHT)
        sheet.lay(body, inks.LAMP if side > 0 else inks.CORAL)
        sheet.lay(blob([4.4 * side, 11.2], 1.9), inks.PEACH)
        hat = union([blob([4.4 * side, 12.3], (1.9, 1.3)), stroke([[2.0 * side, 11.7], [7.0 * side, 11.9]], 0.8)])
        sheet.lay(hat, inks.LAMP if side > 0 else inks.CORAL)
    sheet.lay(uneven(stroke(_gunwale(left, right), 3.4)), inks.CREAM)
    sheet.lay(uneven(stroke(_gunwale(left, right) - [0.0, 2.1], 0.6)), inks.NIGHT)


def _gunwale(left: float, right: float) -> Array:
    """The bow's free edge and on into the bleed."""
    side = [[21, 10.6], [12, 16.9], [6, 20.4], [0, 24.0]]
    return np.array([[left, 6.0], *([-x, y] for x, y in side), *(side[2::-1]), [right, 6.0]])


def _below(left: float, right: float, low: float, level: float) -> BaseGeometry:
    """Everything under a strake that is so high at the stem."""
    line = path([[left, level - 15.5], [-8, level - 6.2], [0, level - 1.0], [8, level - 6.2], [right, level - 15.5]])
    return polygon(np.vstack([line, [[right, low - 20], [left, low - 20]]]))


def draw_sail(sheet: Sheet, spread: Spread) -> None:
    """Print the boat's sails, close reefed, and its mast with a pennant."""
    rng = np.random.default_rng(511)
    uneven = Wobble(512, 0.12, 2.5)
    left, low, right, high = sheet.box
    main = shapely.box(0.9, 3.0, right, high)
    sheet.lay(main, inks.CORAL)
    sheet.lay(shapely.box(left, 3.0, 0.0, high), inks.CREAM)
    for level in (12.0, 20.0, 28.0, 35.0):
        band = stroke(path([[0, level + 1.0], [6, level + 0.2], [right, level - 2.0]]), 1.5)
        sheet.lay(uneven(band), inks.CREAM, within=main)
    sheet.lay(hatch(main, 80.0, rng, spacing=1.4, length=(1.5, 4.0), width=(0.16, 0.34), share=0.65), inks.BRICK)
    jib = shapely.box(left, 3.0, -0.2, high)
    sheet.lay(hatch(jib, 98.0, rng, spacing=1.5, length=(1.5, 4.0), width=(0.16, 0.32), share=0.6), inks.MIST)
    sheet.lay(uneven(shapely.box(left, low, right, 4.6)), inks.FOAM)
    sheet.lay(dots(shapely.box(left, low, right, 8.5), rng, spacing=1.3, radius=(0.25, 0.6), share=0.7), inks.FOAM)
    sheet.lay(
        hatch(shapely.box(left, low, right, 4.0), 6.0, rng, spacing=1.7, length=(2, 5), width=(0.3, 0.7), share=0.6),
        inks.SHALLOW,
    )
    sheet.lay(uneven(shapely.box(-0.35, low, 1.1, high)), inks.NIGHT)
    sheet.lay(stroke([[0.2, 3], [0.2, 42]], 0.35), inks.CLAY)
