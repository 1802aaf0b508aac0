"""What is glued on the hills: the setting sun and two gulls."""

from __future__ import annotations

import numpy as np
import shapely

from geometry import Spread
from geometry.transforms import inverse

from . import inks
from .carving import Array, Wobble, blob, gouges, hatch, polygon, rounded, turned, union
from .sheet import Sheet, moved

__all__ = ["draw_gulls", "draw_sun"]

#: The right gull's body, from its tail.
_BODY = (
    (7.6, 9.2), (9.6, 10.0), (12.0, 11.6), (13.1, 13.0), (12.9, 14.6), (11.6, 15.2), (10.3, 14.4), (9.4, 12.6),
)  # fmt: skip


def draw_sun(sheet: Sheet, spread: Spread, hills: Sheet) -> None:
    """Print the sun, setting: its lower part shows the hill that it is glued on."""
    rng = np.random.default_rng(271)
    uneven = Wobble(272, 0.15, 3.0)
    rays = []
    for number, angle in enumerate(np.arange(0.0, 360.0, 15.0)):
        tip, half = (13.3, 1.15) if number % 2 else (11.8, 0.8)
        rays.append(polygon(turned([[9.0, -half], [9.0, half], [tip, 0.0]], angle)))
    sheet.lay(uneven(union(rays)), inks.CORAL)
    sheet.lay(uneven(blob([0, 0], 8.3)), inks.CREAM)
    sheet.lay(uneven(blob([0, 0], 7.5)), inks.OCHRE)
    disc = blob([0, 0], 6.8)
    sheet.lay(hatch(disc, 4.0, rng, spacing=1.7, length=(2.0, 6.0), width=(0.25, 0.5), share=0.7), inks.PEACH)
    sheet.lay(hatch(disc, 4.0, rng, spacing=2.4, length=(1.5, 4.0), width=(0.25, 0.45), share=0.45), inks.CORAL)
    matrix: Array = inverse(spread.panels["sun"].rest)
    sheet.paste(hills, matrix, moved(spread.panels["hills.left"].outline, matrix))


def draw_gulls(sheet: Sheet, spread: Spread) -> None:
    """Print two gulls, wing tip to wing tip, one a side of the crease."""
    rng = np.random.default_rng(281)
    halves = [spread.panels[f"gulls.{side}"].outline for side in ("left", "right")]
    wings = shapely.buffer(union(halves), 0.6, join_style="mitre")
    uneven = Wobble(282, 0.1, 2.0)
    sheet.lay(wings, inks.STONE)
    sheet.lay(hatch(wings, _quills, rng, spacing=1.0, length=(1.2, 2.8), width=(0.2, 0.36), share=0.8), inks.SLATE)
    sheet.lay(hatch(wings, _quills, rng, spacing=1.5, length=(0.8, 2.0), width=(0.2, 0.36), share=0.6), inks.MIST)
    trail = shapely.difference(wings, shapely.transform(wings, lambda p: p + [0.0, 2.3]))
    sheet.lay(uneven(trail), inks.CREAM)
    sheet.lay(hatch(trail, _quills, rng, spacing=1.1, length=(0.6, 1.4), width=(0.15, 0.3), share=0.6), inks.MIST)
    tips = union([shapely.box(-30, -5, -17.6, 25), shapely.box(-3.4, -5, 3.4, 25), shapely.box(17.6, -5, 30, 25)])
    sheet.lay(uneven(tips), inks.NIGHT)
    sheet.lay(hatch(tips, _quills, rng, spacing=1.2, length=(0.8, 1.8), width=(0.15, 0.3), share=0.6), inks.SLATE)
    spots = [[x, y] for side in (-1, 1) for x, y in ((side * 20.4, 5.2), (side * 19.2, 6.6), (side * 1.4, 6.6))]
    sheet.lay(union([blob(at, (0.55, 0.4), rng) for at in spots]), inks.CREAM)
    for side in (-1.0, 1.0):
        _gull_body(sheet, uneven, side)


def _quills(points: Array) -> Array:
    """Direction of the feathers, degrees, (n,) float: across each wing, away from its bird's body."""
    out = np.abs(points[:, 0]) > 11.0
    return np.where(out == (points[:, 0] > 0), -58.0, 58.0) + 180.0


def _gull_body(sheet: Sheet, uneven: Wobble, side: float) -> None:
    """Body and head over the wings' shoulders, in profile, looking outwards."""
    mirror = np.array([side, 1.0])
    body = rounded(np.array(_BODY) * mirror)
    sheet.lay(shapely.buffer(body, 0.45), inks.SLATE)
    sheet.lay(uneven(body), inks.CREAM)
    sheet.lay(uneven(polygon(np.array([[12.9, 13.8], [14.9, 12.7], [12.9, 12.9]]) * mirror)), inks.OCHRE)
    sheet.lay(blob([12.1 * side, 14.0], 0.3), inks.NIGHT)
    starts = np.array([[9.4, 11.0], [10.3, 11.6], [10.2, 12.6]]) * mirror
    sheet.lay(gouges(starts, starts + np.array([1.2 * side, 0.6]), 0.35), inks.MIST)
