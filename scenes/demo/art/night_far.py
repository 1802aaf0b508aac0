"""The night's far things: the page with its sky and sea, the coast, the moon, the rocks, and the fish that shine."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from geometry import Spread

from . import inks
from .carving import Array, Wobble, blob, dashes, dots, gouges, hatch, polygon, turned, union
from .faces import shown
from .finds import fish, placed
from .sheet import Sheet
from .standing import Upright
from .water import moved_by

__all__ = ["draw_coast", "draw_moon", "draw_night_page", "draw_shoal", "draw_skerry"]

Rng = np.random.Generator

#: Height of the horizon on the page.
HORIZON_MM = 178.0
#: Where the moon's light and the windows' fall on the water: x at the horizon, x near by, width there, its ends, ink.
_PATHS = (
    (56.0, 92.0, 34.0, (176.0, 84.0), inks.MOONLIT),
    (-104.0, -108.0, 16.0, (98.0, 26.0), inks.LAMP),
    (-30.0, -34.0, 14.0, (20.0, 2.0), inks.LAMP),
    (20.0, 24.0, 14.0, (20.0, 2.0), inks.LAMP),
)
#: Villages along the coast: x and height over the foot.
_VILLAGES = ((-98, 9), (-74, 16), (-52, 8), (-26, 14), (18, 10), (44, 18), (72, 12), (98, 8))


def draw_night_page(sheet: Sheet, spread: Spread) -> None:
    """Print the inside of the spread: stars over a calm sea, lights on the water."""
    rng = np.random.default_rng(801)
    left, low, right, _ = sheet.box
    _sky(sheet, rng)
    sea = shapely.box(left, low, right, HORIZON_MM)
    sheet.lay(sea, inks.DUSK)
    along = np.linspace(left - 4, right + 4, 120)
    for level, ink in ((166.0, inks.INDIGO), (120.0, inks.NIGHT), (60.0, inks.INDIGO)):
        edge = level + 2.0 * np.sin(along / 19.0 + level) + 1.2 * np.sin(along / 7.0)
        band = polygon([*np.column_stack([along, edge]), [right + 4, low - 4], [left - 4, low - 4]])
        sheet.lay(Wobble(802, 0.8, 9.0)(band), ink)
    for ink, spacing, share in ((inks.DUSK, 3.2, 0.75), (inks.DEEP, 4.4, 0.6), (inks.MOONLIT, 11.0, 0.45)):
        sheet.lay(hatch(sea, _calm, rng, spacing=spacing, length=(3, 10), width=(0.3, 0.7), share=share), ink)
    for far, near, wide, (top, end), ink in _PATHS:
        _way(sheet, rng, far, near, wide, top, end, ink)
    _about_quay(sheet, spread, rng)
    for number, (x, y, turn) in enumerate(
        ((-128, 60, 10), (-118, 50, 4), (-132, 44, 14), (-120, 36, 8), (-62, 8, 170))
    ):
        for shape, ink in placed(fish(), (x, y), turn, 1.2 + 0.1 * (number % 3)):
            sheet.lay(shape, inks.INDIGO if ink == inks.DEEP else inks.MOONLIT)


def _calm(points: Array) -> Array:
    """Direction of ripples on calm water, degrees, (n,) float."""
    return np.asarray(3.0 * np.sin(points[:, 0] / 21.0) + 2.0 * np.cos(points[:, 1] / 11.0))


def _sky(sheet: Sheet, rng: Rng) -> None:
    """Night above, the last light along the horizon, stars of three sizes."""
    left, _, right, high = sheet.box
    wobble = Wobble(803, 0.5, 9.0)
    sheet.lay(shapely.box(left, HORIZON_MM - 2, right, high), inks.MOONLIT)
    for level, ink in ((181.5, inks.DUSK), (190.0, inks.INDIGO)):
        sheet.lay(wobble(shapely.box(left - 4, level, right + 4, high + 4)), ink)
    sky = shapely.box(left, 184, right, high)
    sheet.lay(hatch(sky, 0.0, rng, spacing=4.0, length=(4, 11), width=(0.2, 0.45), share=0.5), inks.DUSK)
    sheet.lay(dots(sky, rng, spacing=4.2, radius=(0.14, 0.3), share=0.5), inks.CREAM)
    for x in np.arange(left + 12, right, 23.0):
        at = [x + rng.uniform(-8, 8), rng.uniform(190, high - 6)]
        ray = np.array([[0, -0.28], [1.7, 0], [0, 0.28], [-1.7, 0]])
        sheet.lay(union([polygon(turned(ray, angle) + at) for angle in (0, 90)]), inks.CREAM)


def _way(sheet: Sheet, rng: Rng, far: float, near: float, wide: float, top: float, end: float, ink: str) -> None:
    """Light on the water, broken by ripples, wider towards the reader."""
    field = polygon([[far - wide * 0.3, top], [far + wide * 0.3, top], [near + wide, end], [near - wide, end]])
    core = polygon(
        [[far - wide * 0.14, top], [far + wide * 0.14, top], [near + wide * 0.5, end], [near - wide * 0.5, end]]
    )
    pale = inks.CREAM if ink == inks.MOONLIT else inks.PEACH
    sheet.lay(hatch(field, _calm, rng, spacing=2.8, length=(3, 9), width=(0.45, 1.0), share=0.7), ink)
    sheet.lay(hatch(core, _calm, rng, spacing=2.7, length=(3, 8), width=(0.45, 1.0), share=0.75), pale)


def _about_quay(sheet: Sheet, spread: Spread, rng: Rng) -> None:
    """Dark water under the quay, and a line of foam along its walls."""
    boxes = []
    for side in ("left", "right"):
        hinge = next(each for each in spread.hinges if each.id == f"quay.{side}.leg.glue")
        index = next(i for i, name in enumerate(hinge.panels) if name.startswith("page"))
        boxes.append(np.asarray(hinge.lines[index])[:, :2])
    ground = shapely.MultiPoint(np.vstack(boxes)).convex_hull
    sheet.lay(Wobble(811, 0.5, 4.0)(shapely.buffer(ground, 1.6)), inks.MOONLIT)
    sheet.lay(Wobble(812, 0.4, 4.0)(shapely.buffer(ground, 0.7)), inks.NIGHT)
    sheet.lay(hatch(ground, 0.0, rng, spacing=3.4, length=(3, 9), width=(0.3, 0.6), share=0.5), inks.DEEP)
    for reach in (4.0, 8.0):
        ring = Wobble(813, 0.5, 6.0)(shapely.buffer(ground, reach))
        sheet.lay(dashes(ring, rng, length=(4, 14), gap=(4, 14), width=(0.3, 0.7)), inks.MOONLIT)


def draw_coast(sheet: Sheet, spread: Spread) -> None:
    """Print the far coast: ridges one before the other, the moon's rim on them, villages with lit windows."""
    rng = np.random.default_rng(821)
    upright = Upright(sheet, spread, "coast")
    card = upright.from_net(shown(spread, "coast"))
    left, right = sheet.box[0] - 4, sheet.box[2] + 4
    upright.lay(shapely.box(left, -30, right, 120), inks.DUSK)
    rim = shapely.difference(card, moved_by(card, [0.0, -1.4]))
    x = np.arange(left, right, 1.0)
    ridges = (
        (38.0, inks.DUSK, inks.MOONLIT),
        (28.0, inks.INDIGO, inks.DUSK),
        (18.0, inks.NIGHT, inks.DEEP),
        (9.0, inks.HEDGE, inks.NIGHT),
    )
    for number, (level, ink, cut) in enumerate(ridges):
        edge = level + 0.16 * level * np.sin(x / 17.0 + number * 2.1) + 1.6 * np.sin(x / 6.3 + number)
        edge = edge - 0.0009 * level * np.abs(x) ** 1.35 / 3.0
        ridge = Wobble(823 + number, 0.5, 5.0)(polygon([*np.column_stack([x, edge]), [right, -30], [left, -30]]))
        upright.lay(ridge, ink)
        upright.lay(
            hatch(ridge, 12.0 - 8.0 * number, rng, spacing=3.0, length=(2, 7), width=(0.25, 0.6), share=0.5), cut
        )
        crest = shapely.LineString(np.column_stack([x, edge - 0.4]))
        upright.lay(dashes(crest, rng, length=(5, 16), gap=(2, 9), width=(0.4, 0.8)), inks.MOONLIT)
    upright.lay(Wobble(828, 0.2, 4.0)(rim), inks.MOONLIT)
    for at, height in _VILLAGES:
        _village(upright, rng, at, height)
    foot = shapely.box(left, -30, right, 1.6)
    upright.lay(foot, inks.NIGHT)
    upright.lay(
        dashes(shapely.LineString([[left, 1.6], [right, 1.6]]), rng, length=(4, 12), gap=(1, 5), width=(0.4, 0.8)),
        inks.MOONLIT,
    )


def _village(upright: Upright, rng: Rng, x: float, y: float) -> None:
    """A few dark houses among trees, a light in nearly every one."""
    for step in range(int(rng.integers(3, 6))):
        at = np.array([x + 5.2 * step - 9.0 + rng.uniform(-0.8, 0.8), y + rng.uniform(-1.2, 1.2)])
        wide, tall = rng.uniform(1.9, 2.6), rng.uniform(2.4, 3.4)
        wall = shapely.box(at[0] - wide, at[1], at[0] + wide, at[1] + tall)
        roof = polygon([at + [-wide - 0.6, tall], at + [wide + 0.6, tall], at + [0, tall + 2.6]])
        upright.lay(shapely.buffer(union([wall, roof]), 0.3), inks.NIGHT)
        upright.lay(wall, inks.MOONLIT)
        upright.lay(roof, inks.BRICK)
        panes = [shapely.box(at[0] + dx - 0.55, at[1] + 0.8, at[0] + dx + 0.55, at[1] + 2.0) for dx in (-1.0, 1.0)]
        upright.lay(union(panes[: int(rng.integers(1, 3))]), inks.LAMP)
        upright.lay(
            union([blob(at + [wide + 1.5, 1.2], (1.2, 1.6), rng), blob(at + [-wide - 1.2, 0.8], (1.0, 1.2), rng)]),
            inks.HEDGE,
        )


def draw_moon(sheet: Sheet) -> None:
    """Print the moon: seas on its face, gouged rays of light at its rim; its foot is behind the coast's last ridge."""
    rng = np.random.default_rng(831)
    radius = 23.0
    sheet.lay(blob([0, 0], radius - 1.2), inks.CREAM)
    face = blob([0, 0], radius - 2.0)
    for at, size in (
        ((-7, 7), (6.5, 4.6)),
        ((6, 10), (4.2, 3.0)),
        ((3, -2), (7.0, 4.4)),
        ((-10, -5), (4.6, 3.4)),
        ((10, -10), (4.0, 2.6)),
    ):
        sea = Wobble(832, 0.7, 4.0)(blob(at, size, rng, rough=0.25))
        sheet.lay(sea, inks.FOAM, within=face)
        sheet.lay(
            hatch(sea, 12.0, rng, spacing=1.7, length=(1.5, 4.5), width=(0.25, 0.55), share=0.7), inks.MIST, within=face
        )
    shade = shapely.difference(face, moved_by(face, [-3.2, 3.0]))
    sheet.lay(hatch(shade, 40.0, rng, spacing=1.6, length=(1.5, 4.0), width=(0.25, 0.5), share=0.7), inks.PEACH)
    sheet.lay(dots(face, rng, spacing=4.0, radius=(0.25, 0.6), share=0.4), inks.MIST)
    angles = np.radians(np.arange(0, 360, 5.0))
    ring = np.column_stack([np.cos(angles), np.sin(angles)])
    sheet.lay(gouges(ring * 20.6, ring * 22.6, 0.5), inks.MOONLIT)


def draw_skerry(sheet: Sheet, spread: Spread, piece_id: str, seed: int, *, turned_over: bool = False) -> None:
    """Print a rock in the water: wet stone with the moon on its edge, weed and water at its foot."""
    rng = np.random.default_rng(seed)
    mirror = np.array([-1.0 if turned_over else 1.0, 1.0])
    for side in ("left", "right"):
        name = f"{piece_id}.{side}"
        foot = next(hinge for hinge in spread.hinges if hinge.id == f"{name}.glue" and name in hinge.panels)
        start, end = np.asarray(foot.lines[foot.panels.index(name)])[:, :2] * mirror
        along = (end - start) / np.hypot(*(end - start))
        up = np.array([-along[1], along[0]])
        up = -up if up[1] < 0 else up
        face = shapely.transform(shown(spread, piece_id, side), lambda points: points * mirror)
        half = shapely.box(0.0, -60.0, 90.0 * np.sign(face.centroid.x), 90.0)
        _stone(sheet, rng, face, half, along, up, seed)


def _stone(sheet: Sheet, rng: Rng, face: BaseGeometry, half: BaseGeometry, along: Array, up: Array, seed: int) -> None:
    """One panel of a rock."""
    way = float(np.degrees(np.arctan2(along[1], along[0])))
    card = shapely.intersection(shapely.buffer(face, 3.5, join_style="mitre"), half)
    sheet.lay(card, inks.MOONLIT)
    body = union([face, moved_by(face, -6.0 * up)])
    sheet.lay(Wobble(seed + 1, 0.4, 3.0)(moved_by(body, -1.6 * up)), inks.SLATE, within=card)
    sheet.lay(Wobble(seed + 2, 0.8, 4.0)(moved_by(body, -5.5 * up)), inks.LEAD, within=card)
    inner = shapely.intersection(face, moved_by(body, -2.0 * up))
    sheet.lay(hatch(inner, way + 14.0, rng, spacing=1.9, length=(1.5, 4.5), width=(0.25, 0.6), share=0.6), inks.GALE)
    sheet.lay(hatch(inner, way + 14.0, rng, spacing=3.0, length=(1.2, 3.5), width=(0.25, 0.5), share=0.5), inks.NIGHT)
    line = np.array([along * -10.0, along * 90.0])
    water = shapely.buffer(shapely.LineString(line), 2.2, cap_style="flat")
    sheet.lay(Wobble(seed + 3, 0.4, 3.0)(water), inks.NIGHT, within=card)
    low = shapely.buffer(shapely.LineString(line + 3.4 * up), 1.2, cap_style="flat")
    sheet.lay(dots(shapely.intersection(low, card), rng, spacing=1.3, radius=(0.3, 0.6), share=0.7), inks.HEDGE)
    edge = shapely.LineString(line + 2.2 * up)
    sheet.lay(dashes(edge, rng, length=(2, 6), gap=(1, 3), width=(0.35, 0.7)), inks.MOONLIT, within=card)


def draw_shoal(sheet: Sheet, spread: Spread) -> None:
    """Print the wheel: rings of fish that shine, one after the other as the wheel is turned."""
    rng = np.random.default_rng(841)
    disc = shown(spread, "shoal")
    sheet.lay(hatch(sheet.area, 0.0, rng, spacing=3.0, length=(2, 7), width=(0.3, 0.6), share=0.6), inks.TEAL)
    swirl = [
        blob(turned([r, 0], a), (0.25, 0.25)) for r in np.arange(10, 33, 2.2) for a in np.arange(0, 360, 11.0) + 5 * r
    ]
    sheet.lay(union(swirl), inks.SHALLOW)
    schools = ((inks.LAMP, 1.5), (inks.FOAM, 1.2), (inks.CORAL, 1.7), (inks.MOONLIT, 1.3))
    for number, angle in enumerate(np.arange(0.0, 360.0, 15.0)):
        ink, size = schools[int(number // 6)]
        for reach in (14.5, 20.5, 26.0):
            bend = angle + 3.5 * reach / 2 + rng.uniform(-3, 3)
            at = turned([0.0, reach + rng.uniform(-1, 1)], bend)
            for shape, which in placed(fish(ink), at, bend, size * 0.62):
                sheet.lay(shape, ink if which == ink else inks.NIGHT, within=disc)
