"""The boards of the demo book: the lighthouse before the sun and the title in front, a tern over the waves behind."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geometry import Spread

from . import inks
from .carving import Array, Wobble, blob, dashes, dots, gouges, hatch, path, polygon, rounded, stroke, turned, union
from .faces import front_sheet, shown
from .lettering import letters
from .rock_art import draw_lighthouse
from .sheet import Box, Sheet

__all__ = ["draw_cover"]

Rng = np.random.Generator

#: How far the frame stands from the board's edges, mm.
_FRAME_MM = 8.0
#: A tern with its wings spread, seen from the side, flying to the right: wings, body, cap, bill; 40 mm wide.
_WINGS = (
    (-3, 1),
    (-9, 8),
    (-20, 13),
    (-12, 12),
    (-4, 9),
    (1, 3.5),
    (6, 10),
    (14, 16),
    (22, 17),
    (15, 11),
    (8, 4),
    (4, 1.5),
)
_BODY = (
    (-19, -3.4),
    (-11, -1.4),
    (-3, 1.6),
    (4, 2.4),
    (8.4, 2.2),
    (9.4, 0.6),
    (6, -1.4),
    (-2, -2.0),
    (-10, -2.2),
    (-20, -5.0),
    (-14, -2.6),
)
_CAP = ((6.0, 2.6), (8.2, 2.5), (9.5, 1.2), (7.6, 1.4))
_BILL = ((9.2, 1.3), (13.2, 0.1), (9.2, 0.3))


def draw_cover(low_tide: Spread, size_mm: tuple[float, float]) -> dict[str, Sheet]:
    """Draw both boards' outsides.

    Parameters
    ----------
    low_tide : the first spread, whose lighthouse stands on the front
    size_mm : width and height of a board
    """
    box: Box = (0.0, 0.0, *size_mm)
    front, back = Sheet(box, inks.DEEP), Sheet(box, inks.DEEP)
    _front(front, low_tide)
    _back(back)
    return {"cover-front": front, "cover-back": back}


def _front(sheet: Sheet, low_tide: Spread) -> None:
    """Sun, rock, lighthouse, waves, terns, title, frame."""
    rng = np.random.default_rng(1001)
    wide = sheet.box[2]
    middle = wide / 2
    sheet.lay(hatch(sheet.area, 0.0, rng, spacing=4.2, length=(3, 9), width=(0.3, 0.6), share=0.5), inks.TEAL)
    sun = np.array([middle, 98.0])
    angles = np.arange(0.0, 360.0, 6.0)
    for reach, half, ink in ((66.0, 1.5, inks.CORAL), (59.0, 1.1, inks.OCHRE)):
        rays = [
            polygon(turned([[47.0, -half], [47.0, half], [reach, 0.0]], a + (3.0 if ink == inks.OCHRE else 0.0)) + sun)
            for a in angles
        ]
        sheet.lay(Wobble(1002, 0.2, 4.0)(union(rays)), ink)
    sheet.lay(Wobble(1003, 0.3, 6.0)(blob(sun, 46.5)), inks.CREAM)
    disc = Wobble(1004, 0.3, 6.0)(blob(sun, 44.5))
    sheet.lay(disc, inks.OCHRE)
    sheet.lay(hatch(disc, 4.0, rng, spacing=2.4, length=(4, 14), width=(0.4, 0.9), share=0.7), inks.PEACH)
    sheet.lay(hatch(disc, 4.0, rng, spacing=3.6, length=(3, 9), width=(0.35, 0.8), share=0.5), inks.CORAL)
    _rock(sheet, rng, middle)
    _lighthouse(sheet, low_tide, np.array([middle + 4.0, 72.0]), 1.42)
    for number, (level, tall, ink, light) in enumerate(
        (
            (50.0, 7.0, inks.TEAL, inks.SHALLOW),
            (38.0, 8.5, inks.SHALLOW, inks.FOAM),
            (25.0, 9.5, inks.TEAL, inks.SHALLOW),
            (11.0, 10.5, inks.NIGHT, inks.TEAL),
        )
    ):
        _waves(sheet, 1020 + number, level, tall, ink, light, shift=11.0 * number)
    for at, size, turn in (((34, 140), 0.62, 12.0), ((121, 128), 0.5, -6.0), ((26, 112), 0.36, 4.0)):
        _tern(sheet, np.array(at), size, turn)
    for text, level, seed in (("TERN", 181.5, 1041), ("ROCK", 156.5, 1042)):
        title = shapely.transform(letters(text, 20.5, seed=seed), lambda points, y=level: points + [middle, y])
        sheet.lay(shapely.transform(title, lambda points: points + [0.9, -1.0]), inks.NIGHT)
        sheet.lay(title, inks.CREAM)
        sheet.lay(
            hatch(shapely.buffer(title, -0.6), 62.0, rng, spacing=2.2, length=(0.8, 2.2), width=(0.14, 0.3), share=0.4),
            inks.DUNE,
        )
    _frame(sheet)


def _rock(sheet: Sheet, rng: Rng, middle: float) -> None:
    """Tern Rock from the sea: beds of stone, a green cap."""
    points = [
        (-62, 40),
        (-52, 52),
        (-42, 55),
        (-34, 63),
        (-22, 66),
        (-14, 73),
        (0, 75),
        (14, 74),
        (24, 68),
        (33, 66),
        (41, 57),
        (52, 53),
        (62, 40),
    ]
    rock = Wobble(1011, 0.7, 5.0)(polygon(np.array(points) + [middle, 0.0]))
    sheet.lay(shapely.buffer(rock, 0.8), inks.NIGHT)
    sheet.lay(rock, inks.HEDGE)
    below = shapely.intersection(rock, shapely.transform(rock, lambda p: p + [0.0, -6.5]))
    sheet.lay(Wobble(1012, 0.9, 4.0)(below), inks.STONE)
    x = np.arange(0.0, sheet.box[2] + 1.0, 1.0)
    for level, ink, cut in (
        (61.0, inks.PEACH, inks.CLAY),
        (57.0, inks.CORAL, inks.BRICK),
        (52.5, inks.STONE, inks.SLATE),
        (47.0, inks.SLATE, inks.NIGHT),
    ):
        edge = np.column_stack([x, level + 1.4 * np.sin(x / 9.0) + 0.7 * np.sin(x / 3.7)])
        bed = shapely.intersection(Wobble(1013, 0.4, 4.0)(polygon([*edge, [160, 0], [-9, 0]])), below)
        sheet.lay(bed, ink)
        sheet.lay(hatch(bed, 3.0, rng, spacing=2.0, length=(2, 6), width=(0.25, 0.6), share=0.6), cut)
    turf = shapely.difference(rock, below)
    sheet.lay(hatch(turf, 74.0, rng, spacing=1.5, length=(1.2, 3.4), width=(0.35, 0.7), share=0.75), inks.MEADOW)


def _lighthouse(sheet: Sheet, low_tide: Spread, at: Array, size: float) -> None:
    """The first spread's lighthouse, larger."""
    model = front_sheet(low_tide, "lighthouse", inks.CREAM)
    draw_lighthouse(model, low_tide)
    matrix = np.diag([size, size, 1.0, 1.0])
    matrix[:2, 3] = at + [0.0, 19.0 * size]
    outline = shown(low_tide, "lighthouse")
    tower = shapely.transform(outline, lambda points: points * size + matrix[:2, 3])
    sheet.lay(shapely.buffer(tower, 0.9), inks.NIGHT)
    sheet.paste(model, matrix, tower)


def _waves(sheet: Sheet, seed: int, level: float, tall: float, ink: str, light: str, *, shift: float) -> None:
    """A row of curling crests, each over the foot of the next."""
    rng = np.random.default_rng(seed)
    wide = sheet.box[2]
    step = 26.0
    curls, foam = [], []
    curl = np.array(
        [
            [-15, -3],
            [-9, 0.3],
            [-3, 0.75 * tall],
            [3, tall],
            [8, 0.82 * tall],
            [9.4, 0.45 * tall],
            [7, 0.3 * tall],
            [6.4, 0.5 * tall],
            [4.6, 0.42 * tall],
            [5.0, 0.1 * tall],
            [9, -0.2 * tall],
            [15, -3],
        ]
    )
    for x in np.arange(-step + shift % step, wide + step, step):
        crest = curl * [1.0, rng.uniform(0.92, 1.08)] + [x, level]
        curls.append(
            shapely.buffer(rounded(np.vstack([crest, [[x + 15, level - 14], [x - 15, level - 14]]]), step_mm=0.8), 0.0)
        )
        line = path(crest[1:7], step_mm=0.6)
        foam.append(stroke(line, 1.7, taper=0.35))
    body = union([*curls, shapely.box(-5, -5, wide + 5, level - 1.0)])
    sheet.lay(shapely.transform(body, lambda p: p + [0.0, 1.0]), inks.NIGHT)
    sheet.lay(body, ink)
    strip = shapely.intersection(body, shapely.box(0, level - 14, wide, level + tall))
    sheet.lay(
        hatch(
            strip,
            lambda p: 22.0 * np.cos((p[:, 0] - shift) / step * 2 * np.pi),
            rng,
            spacing=2.4,
            length=(3, 8),
            width=(0.35, 0.8),
            share=0.6,
        ),
        light,
    )
    sheet.lay(Wobble(seed + 1, 0.2, 3.0)(union(foam)), inks.CREAM)
    sheet.lay(dots(shapely.buffer(union(foam), 2.2), rng, spacing=2.6, radius=(0.25, 0.6), share=0.4), inks.FOAM)


def _tern(sheet: Sheet, at: Array, size: float, turn: float) -> None:
    """A tern on the wing."""

    def put(points: tuple[tuple[float, float], ...], grow: float = 0.0) -> BaseGeometry:
        shape = rounded(np.array(points, dtype=float), step_mm=0.8)
        return shapely.transform(shapely.buffer(shape, grow), lambda p: turned(p, turn) * size + at)

    sheet.lay(union([put(_WINGS, 0.9), put(_BODY, 0.9)]), inks.NIGHT)
    sheet.lay(put(_WINGS), inks.MIST)
    starts = np.array([[-14, 11.2], [-9, 9.2], [10, 12.2], [15, 14.6]])
    quills = gouges(
        turned(starts, turn) * size + at,
        turned(starts + [[-3, 0.4], [-2.6, 0.2], [3.2, 2.2], [3.4, 1.4]], turn) * size + at,
        0.9 * size,
    )
    sheet.lay(quills, inks.SLATE)
    sheet.lay(put(_BODY), inks.CREAM)
    sheet.lay(put(_CAP), inks.NIGHT)
    sheet.lay(put(_BILL), inks.CORAL)


def _frame(sheet: Sheet) -> None:
    """Two lines about the board with a wave's curl of dots between them."""
    edge = shapely.buffer(sheet.area, -_FRAME_MM + 3.4, join_style="mitre")
    inner = shapely.buffer(sheet.area, -_FRAME_MM, join_style="mitre")
    rim = shapely.difference(sheet.area, inner)
    sheet.lay(rim, inks.NIGHT)
    sheet.lay(Wobble(1051, 0.15, 4.0)(shapely.buffer(edge.boundary, 0.5)), inks.OCHRE)
    sheet.lay(Wobble(1052, 0.15, 4.0)(shapely.buffer(inner.boundary, 0.8)), inks.CREAM)
    line = shapely.buffer(sheet.area, -_FRAME_MM + 1.75, join_style="mitre").exterior
    beads = shapely.line_interpolate_point(line, np.arange(0.0, line.length, 3.2))
    sheet.lay(union(list(shapely.buffer(beads, 0.5))), inks.SHALLOW)


def _back(sheet: Sheet) -> None:
    """Rows of waves, a round with a tern over them, the frame."""
    rng = np.random.default_rng(1061)
    _, _, wide, high = sheet.box
    curl = path([[-8.6, -0.9], [-5.0, 0.1], [-1.7, 2.3], [1.7, 3.2], [4.2, 2.1], [4.3, 0.3], [2.6, 0.2]], step_mm=0.6)
    crests, falls = [], []
    for row, y in enumerate(np.arange(-2.0, high + 8.0, 9.0)):
        for x in np.arange(-10.0, wide + 16.0, 16.0) + (row % 2) * 8.0:
            at = np.array([x, y]) + rng.uniform(-0.4, 0.4, 2)
            crests.append(stroke(curl * rng.uniform(0.95, 1.05, 2) + at, 1.3, taper=0.45))
            start = at + np.array([[-4.2, -2.2], [-0.9, -0.9], [2.0, -1.9]])
            falls.append(gouges(start, start + [3.2, 0.7] * rng.uniform(0.8, 1.1, (3, 1)), 0.75))
    sheet.lay(union(crests), inks.SHALLOW)
    sheet.lay(union(falls), inks.TEAL)
    middle = np.array([wide / 2, high / 2])
    for radius, ink in ((31.0, inks.NIGHT), (29.5, inks.CREAM), (28.3, inks.OCHRE)):
        sheet.lay(Wobble(1062, 0.25, 6.0)(blob(middle, radius)), ink)
    disc = blob(middle, 27.6)
    sheet.lay(hatch(disc, 4.0, rng, spacing=2.3, length=(3, 9), width=(0.3, 0.7), share=0.65), inks.PEACH)
    sea = shapely.intersection(disc, shapely.box(0, 0, wide, high / 2 - 12))
    sheet.lay(Wobble(1063, 0.5, 4.0)(sea), inks.TEAL, within=disc)
    sheet.lay(
        dashes(
            shapely.LineString([[40, high / 2 - 12], [wide - 40, high / 2 - 12]]),
            rng,
            length=(4, 9),
            gap=(1, 3),
            width=(0.6, 1.2),
        ),
        inks.CREAM,
        within=disc,
    )
    sheet.lay(hatch(sea, 0.0, rng, spacing=2.3, length=(2, 6), width=(0.3, 0.6), share=0.6), inks.SHALLOW, within=disc)
    _tern(sheet, middle + [-1.0, -1.0], 1.05, 8.0)
    _frame(sheet)
