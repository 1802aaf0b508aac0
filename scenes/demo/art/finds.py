"""Small things that lie on a beach or swim off it: each returns its shapes with their inks, lowest first."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from . import inks
from .carving import Array, Wobble, blob, dots, gouges, hatch, path, polygon, rounded, stroke, turned, union

__all__ = [
    "Find",
    "bird_tracks",
    "boulder",
    "clam",
    "fish",
    "footprints",
    "placed",
    "pool",
    "rowing_boat",
    "sand_castle",
    "starfish",
    "towel",
    "weed",
    "whelk",
]

Find = list[tuple[BaseGeometry, str]]
Rng = np.random.Generator


def placed(find: Find, at: ArrayLike, turn: float = 0.0, size: float = 1.0) -> Find:
    """A find drawn about zero, put somewhere else; turn in degrees."""
    where = np.asarray(at, dtype=float)
    return [(shapely.transform(shape, lambda p: turned(p, turn) * size + where), ink) for shape, ink in find]


def clam(ink: str = inks.CREAM, line: str = inks.CORAL) -> Find:
    """A ribbed shell, 5 mm wide, hinge down."""
    angles = np.radians(np.linspace(10, 170, 25))
    ripple = 1.0 + 0.06 * np.cos(np.linspace(0, 14 * np.pi, 25))
    fan = np.column_stack([np.cos(angles), np.sin(angles) * 0.95]) * 2.6 * ripple[:, None]
    shell = polygon(np.vstack([fan, [[-0.7, -0.7], [0.7, -0.7]]]))
    ribs = [
        stroke([[0.0, -0.2], 2.3 * np.array([np.cos(a), np.sin(a)])], [0.1, 0.34])
        for a in np.radians([30, 52, 74, 96, 118, 142])
    ]
    shadow = shapely.transform(shell, lambda p: p + [0.35, -0.35])
    return [(shadow, inks.CLAY), (shell, ink), (shapely.intersection(union(ribs), shell), line)]


def whelk() -> Find:
    """A pointed shell, 7 mm long."""
    side = [(-3.6, 0), (-1.2, 1.1), (0.9, 1.7), (2.6, 1.1), (3.2, -0.2), (2.2, -1.2), (0.6, -1.3), (-1.4, -0.8)]
    shell = rounded(side)
    turns = [stroke(path([[x, 1.7], [x + 0.4, 0], [x - 0.1, -1.7]], step_mm=0.4), 0.32) for x in (-2.2, -1.1, 0.1)]
    mouth = blob([2.0, -0.2], (0.9, 0.6), turn=35)
    shadow = shapely.transform(shell, lambda p: p + [0.35, -0.35])
    return [
        (shadow, inks.CLAY),
        (shell, inks.PEACH),
        (shapely.intersection(union(turns), shell), inks.BRICK),
        (mouth, inks.BRICK),
    ]


def starfish(ink: str = inks.CORAL, dot: str = inks.PEACH) -> Find:
    """A starfish, 7 mm across, one arm a little bent."""
    angles = np.radians(90 + 36 * np.arange(10) + np.array([0, 0, 5, 0, -6, 0, 4, 0, 0, 0]))
    reach = np.where(np.arange(10) % 2 == 0, 3.7, 1.35)
    arms = polygon(np.column_stack([np.cos(angles), np.sin(angles)]) * reach[:, None])
    star = shapely.buffer(shapely.buffer(arms, 0.45), -0.15)
    beads = [blob(np.array([np.cos(a), np.sin(a)]) * r, 0.24 - 0.04 * r) for a in angles[::2] for r in (0.9, 1.7, 2.5)]
    return [
        (shapely.transform(star, lambda p: p + [0.4, -0.4]), inks.CLAY),
        (star, ink),
        (union([*beads, blob([0, 0], 0.35)]), dot),
    ]


def boulder(rng: Rng, size: tuple[float, float], *, wet: bool = False) -> Find:
    """A rock with a lit top, a dark foot and cuts across it."""
    wide, high = size
    angles = np.sort(rng.uniform(0, 2 * np.pi, 9) * 0.25 + np.linspace(0, 2 * np.pi, 9, endpoint=False))
    ring = np.column_stack([np.cos(angles) * wide, np.sin(angles) * high]) * rng.uniform(0.8, 1.12, 9)[:, None]
    rock = shapely.buffer(shapely.buffer(polygon(ring), -0.25), 0.25)
    lit = shapely.intersection(rock, shapely.transform(rock, lambda p: p * [0.86, 0.8] + [-0.12 * wide, 0.3 * high]))
    dark = shapely.difference(rock, lit)
    cuts = hatch(dark, 28.0, rng, spacing=0.9, length=(0.8, 2.2), width=(0.14, 0.3), share=0.75)
    flecks = hatch(lit, 20.0, rng, spacing=1.3, length=(0.5, 1.5), width=(0.12, 0.26), share=0.5, margin=0.2)
    shadow = shapely.transform(rock, lambda p: p + [0.16 * wide, -0.3 * high])
    low, high_ink = (inks.NIGHT, inks.SLATE) if wet else (inks.SLATE, inks.STONE)
    return [
        (shadow, inks.NIGHT if wet else inks.CLAY),
        (rock, low),
        (lit, high_ink),
        (cuts, inks.STONE),
        (flecks, inks.MIST),
    ]


def pool(rng: Rng, size: tuple[float, float]) -> Find:
    """A rock pool: a ring of wet rock, water, its light edge, weed and a stone or two."""
    wobble = Wobble(int(rng.integers(1 << 30)), 0.25 + 0.03 * size[0], 2.5 + 0.3 * size[0])
    water = wobble(blob([0, 0], size, rng, rough=0.3))
    rim = wobble(shapely.buffer(water, 0.9))
    inner = shapely.buffer(water, -0.22 * min(size))
    glint = shapely.difference(shapely.buffer(water, -0.35), shapely.buffer(water, -0.62))
    lit = shapely.intersection(glint, shapely.transform(glint, lambda p: p + [0.2, 0.1]))
    ripples = hatch(inner, 4.0, rng, spacing=1.7, length=(1.2, 3.2), width=(0.16, 0.3), share=0.5)
    stones = dots(water, rng, spacing=2.6, radius=(0.25, 0.6), share=0.35)
    shade = shapely.transform(rim, lambda p: p + [0.4, -0.5])
    return [
        (shade, inks.CLAY),
        (rim, inks.SLATE),
        (water, inks.SHALLOW),
        (inner, inks.TEAL),
        (lit, inks.FOAM),
        (stones, inks.DEEP),
        (ripples, inks.SHALLOW),
    ]


def weed(rng: Rng, blades: int = 7, length: float = 6.0) -> Find:
    """A tuft of weed, washed to one side."""
    strands, veins = [], []
    for blade in range(blades):
        way = np.radians(30 + 120 * (blade + rng.uniform(0, 0.6)) / blades)
        reach = length * rng.uniform(0.6, 1.0)
        bend = rng.uniform(-0.35, 0.35)
        along = np.linspace(0, 1, 10)
        angle = way + bend * along + 0.35 * np.sin(along * 7 + rng.uniform(0, 6))
        points = np.cumsum(np.column_stack([np.cos(angle), np.sin(angle)]) * reach / 10, axis=0)
        strands.append(stroke(points, np.interp(along, [0, 0.3, 0.85, 1], [0.35, 0.75, 0.95, 0.1])))
        veins.append(stroke(points[1:-1], 0.14))
    return [(union(strands), inks.HEDGE), (union(veins), inks.MEADOW)]


def _heading(way: shapely.LineString, along: float) -> tuple[Array, float]:
    """A point on a line, and the line's direction there, degrees."""
    points = shapely.line_interpolate_point(way, [along, along + 0.5])
    here, there = shapely.get_coordinates(points)
    return here, float(np.degrees(np.arctan2(*(there - here)[::-1])))


def footprints(line: Array, rng: Rng, *, pace: float = 4.6) -> Find:
    """Bare feet walking along a line."""
    way = shapely.LineString(line)
    soles, toes = [], []
    for number, along in enumerate(np.arange(1.0, way.length - 1.0, pace)):
        here, heading = _heading(way, along)
        heading += rng.uniform(-6, 6) - 90
        side = -1.0 if number % 2 else 1.0
        at = here + turned([side * 1.05, 0.0], heading)
        heel, ball = blob([0, -0.75], (0.5, 0.62)), blob([0.08 * side, 0.45], (0.62, 0.72))
        sole = union([heel, ball, stroke([[0, -0.8], [0.05 * side, 0.5]], 0.75)])
        soles.append(shapely.transform(sole, lambda p, a=at, h=heading: turned(p, h) + a))
        spots = np.array([[-0.42, 1.28], [-0.12, 1.45], [0.18, 1.45], [0.45, 1.3]]) * [side, 1.0]
        toes += [blob(turned(spot, heading) + at, 0.17) for spot in spots]
    return [(union(soles + toes), inks.CLAY)]


def bird_tracks(line: Array, rng: Rng, *, pace: float = 2.6) -> Find:
    """A gull that walked along a line."""
    way = shapely.LineString(line)
    marks = []
    for number, along in enumerate(np.arange(0.5, way.length - 0.8, pace)):
        here, heading = _heading(way, along)
        heading += rng.uniform(-8, 8)
        at = here + turned([0.0, 0.55 if number % 2 else -0.55], heading)
        for spread, reach in ((-38, 1.1), (0, 1.35), (38, 1.1), (180, 0.5)):
            marks.append(stroke([at, at + turned([reach, 0.0], heading + spread)], [0.32, 0.18]))
    return [(union(marks), inks.CLAY)]


def fish(ink: str = inks.SHALLOW) -> Find:
    """A small fish, 6 mm long, swimming to the right."""
    body = rounded([[-2.0, 0], [-0.6, 0.95], [1.4, 0.85], [2.9, 0], [1.4, -0.85], [-0.6, -0.95]])
    tail = polygon([[-1.7, 0], [-3.3, 1.1], [-2.8, 0], [-3.3, -1.1]])
    low = np.array([[-0.9, -0.5], [-0.1, -0.65], [0.7, -0.65]])
    ribs = gouges(low, low * [1.0, -1.0] + [0.2, 0.0], 0.3)
    return [(union([body, tail]), ink), (union([ribs, blob([1.95, 0.15], 0.22)]), inks.DEEP)]


def towel() -> Find:
    """A striped towel with a bucket on its corner, 17 mm long."""
    wobble = Wobble(41, 0.22, 3.0)
    cloth = wobble(shapely.box(-8.5, -4.6, 8.5, 4.6))
    stripes = [wobble(shapely.box(x, -4.6, x + 2.0, 4.6)) for x in np.arange(-7.4, 8.0, 3.9)]
    roots = np.array([[x, y] for x in (-8.4, 8.4) for y in np.arange(-4.2, 4.4, 0.75)])
    fringe = gouges(roots, roots * [1.09, 1.0], 0.4)
    bucket = [
        (blob([7.0, 5.3], 2.0), inks.DUNE),
        (blob([6.6, 5.6], 2.0), inks.OCHRE),
        (blob([6.6, 5.6], 1.45), inks.BRICK),
        (blob([6.45, 5.4], 0.95), inks.SAND),
    ]
    shadow = shapely.transform(cloth, lambda p: p + [0.5, -0.6])
    return [
        (shadow, inks.CLAY),
        (fringe, inks.CREAM),
        (cloth, inks.CREAM),
        (shapely.intersection(union(stripes), cloth), inks.CORAL),
        *bucket,
    ]


def rowing_boat() -> Find:
    """A rowing boat pulled up on the sand, seen from above, 20 mm long, bow to the right."""
    wobble = Wobble(43, 0.16, 3.0)
    side = [(-9, 3.2), (-2, 4.1), (5, 3.0), (10.5, 0), (5, -3.0), (-2, -4.1), (-9, -3.2), (-9.3, 0)]
    hull = wobble(rounded(side, step_mm=0.8))
    inside = shapely.buffer(hull, -0.95)
    boards = [stroke([[-9, y], [10, y * 0.3]], 0.22) for y in (-2.1, -1.05, 0.0, 1.05, 2.1)]
    seats = union([wobble(shapely.box(x, -4.5, x + 1.9, 4.5)) for x in (-7.2, -1.6, 4.0)])
    oars = union([stroke([[-6.5, -1.5], [4.5, 1.3]], 0.5), stroke([[3.6, 1.1], [6.6, 1.85]], 1.1, taper=0.2)])
    shadow = shapely.transform(hull, lambda p: p + [0.7, -1.0])
    return [
        (shadow, inks.CLAY),
        (hull, inks.CORAL),
        (shapely.buffer(hull, -0.55), inks.CREAM),
        (inside, inks.BRICK),
        (shapely.intersection(union(boards), inside), inks.NIGHT),
        (shapely.intersection(seats, shapely.buffer(inside, 0.3)), inks.SAND),
        (oars, inks.OCHRE),
    ]


def sand_castle(rng: Rng) -> Find:
    """A castle with four towers, its moat and its flag, seen from above, 15 mm across."""
    wobble = Wobble(47, 0.35, 2.5)
    moat = wobble(blob([0, 0], (8.2, 6.6)))
    ditch = wobble(shapely.difference(blob([0, 0], (7.6, 6.0)), blob([0, 0], (6.2, 4.8))))
    wall = wobble(shapely.box(-3.6, -2.8, 3.6, 2.8))
    towers = [blob([x, y], 1.7, rng) for x in (-3.6, 3.6) for y in (-2.6, 2.6)]
    tops = [blob([x - 0.15, y + 0.25], 1.05, rng) for x in (-3.6, 3.6) for y in (-2.6, 2.6)]
    whole = union([wall, *towers])
    shade = shapely.transform(whole, lambda p: p + [0.6, -0.9])
    court = wobble(shapely.box(-2.2, -1.5, 2.2, 1.5))
    marks = hatch(whole, 20.0, rng, spacing=1.0, length=(0.5, 1.4), width=(0.15, 0.3), share=0.6)
    flag = polygon([[-3.6, 2.9], [-3.6, 6.0], [-0.6, 5.2], [-3.3, 4.4], [-3.3, 2.9]])
    return [
        (moat, inks.DUNE),
        (ditch, inks.TEAL),
        (shade, inks.CLAY),
        (whole, inks.SAND),
        (marks, inks.DUNE),
        (court, inks.DUNE),
        (union(tops), inks.CREAM),
        (flag, inks.CORAL),
    ]
