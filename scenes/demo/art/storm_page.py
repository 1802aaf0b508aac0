"""The storm's page card: rows of waves under a torn sky, and dark water about the box."""

from __future__ import annotations

import numpy as np
import shapely

from geometry import Spread

from . import inks
from .carving import Wobble, dashes, dots, hatch, polygon
from .sheet import Sheet
from .water import lay_rows

__all__ = ["draw_storm_back", "draw_storm_page"]

#: Height of the horizon on the page.
HORIZON_MM = 176.0


def draw_storm_page(sheet: Sheet, spread: Spread) -> None:
    """Print the inside of the spread."""
    rng = np.random.default_rng(601)
    left, low, right, _ = sheet.box
    _sky(sheet, rng)
    sea = shapely.box(left, low, right, HORIZON_MM)
    sheet.lay(sea, inks.DEEP)
    lay_rows(
        sheet,
        sea,
        HORIZON_MM,
        rng,
        height=15.0,
        faces=(inks.TEAL, inks.DEEP),
        foam=inks.FOAM,
        cuts=(inks.SHALLOW, inks.LEAD),
    )
    _light(sheet, rng)
    _about_the_box(sheet, spread, rng)


def _sky(sheet: Sheet, rng: np.random.Generator) -> None:
    """Slate cloud over a band of ochre light, and rain."""
    left, _, right, high = sheet.box
    wobble = Wobble(602, 0.6, 8.0)
    sheet.lay(shapely.box(left, HORIZON_MM - 2, right, high), inks.OCHRE)
    sheet.lay(wobble(shapely.box(left, HORIZON_MM - 2, right, HORIZON_MM + 5)), inks.PEACH)
    x = np.linspace(left - 4, right + 4, 120)
    for level, ink, amount in ((184.0, inks.GALE, 2.2), (191.0, inks.SLATE, 3.0), (201.0, inks.LEAD, 3.4)):
        edge = level + amount * np.abs(np.sin(x / 15.0 + level)) - amount * np.abs(np.sin(x / 27.0 - level))
        sheet.lay(wobble(polygon([*np.column_stack([x, edge]), [right + 4, high + 4], [left - 4, high + 4]])), ink)
    sky = shapely.box(left, 184, right, high)
    sheet.lay(hatch(sky, 2.0, rng, spacing=3.6, length=(4, 12), width=(0.3, 0.7), share=0.5), inks.GALE)
    sheet.lay(hatch(sky, 2.0, rng, spacing=5.0, length=(4, 12), width=(0.3, 0.7), share=0.4), inks.STONE)
    glow = shapely.box(left, HORIZON_MM, right, HORIZON_MM + 9)
    sheet.lay(hatch(glow, 0.0, rng, spacing=3.0, length=(5, 14), width=(0.3, 0.6), share=0.5), inks.CREAM)
    for at in np.arange(left, right, 21.0):
        veil = polygon([[at + 6, 200], [at + 20, 200], [at + 8, HORIZON_MM], [at - 6, HORIZON_MM]])
        sheet.lay(hatch(veil, 63.0, rng, spacing=3.0, length=(4, 11), width=(0.2, 0.45), share=0.6), inks.MIST)


def _light(sheet: Sheet, rng: np.random.Generator) -> None:
    """The light over the horizon lies on the sea beyond the waves."""
    for start, end, share in ((-140, -70, 0.7), (40, 132, 0.55)):
        way = polygon([[start, HORIZON_MM - 1], [end, HORIZON_MM - 1], [end - 14, 146], [start + 14, 150]])
        sheet.lay(hatch(way, 0.0, rng, spacing=2.8, length=(2, 7), width=(0.35, 0.8), share=share), inks.OCHRE)
        sheet.lay(hatch(way, 0.0, rng, spacing=4.4, length=(2, 6), width=(0.3, 0.7), share=share), inks.PEACH)


def _about_the_box(sheet: Sheet, spread: Spread, rng: np.random.Generator) -> None:
    """Black water under the box, and foam that its walls throw up."""
    feet = [
        point
        for hinge in spread.hinges
        if hinge.id in ("sea.left.glue", "sea.right.glue")
        for name, line in zip(hinge.panels, hinge.lines, strict=True)
        if name.startswith("page")
        for point in line
    ]
    ground = shapely.MultiPoint(np.asarray(feet)[:, :2]).convex_hull
    sheet.lay(Wobble(611, 1.2, 6.0)(shapely.buffer(ground, 3.0)), inks.FOAM)
    sheet.lay(Wobble(612, 0.8, 4.0)(shapely.buffer(ground, 1.2)), inks.SHALLOW)
    sheet.lay(ground, inks.NIGHT)
    sheet.lay(hatch(ground, 3.0, rng, spacing=3.0, length=(3, 9), width=(0.35, 0.8), share=0.6), inks.DEEP)
    sheet.lay(hatch(ground, 3.0, rng, spacing=5.5, length=(3, 8), width=(0.3, 0.6), share=0.5), inks.TEAL)
    for reach in (6.0, 11.0, 17.0):
        ring = Wobble(613, 1.0, 6.0)(shapely.buffer(ground, reach))
        marks = dashes(ring, rng, length=(5, 16), gap=(2 + reach / 4, 6 + reach / 2), width=(0.6, 1.5))
        sheet.lay(marks, inks.FOAM if reach < 12 else inks.SHALLOW)
    sheet.lay(
        dots(shapely.buffer(ground, 9.0).difference(ground), rng, spacing=2.4, radius=(0.2, 0.6), share=0.5), inks.FOAM
    )


def draw_storm_back(sheet: Sheet) -> None:
    """Print the spread's outside, which is glued to its neighbours: slanting rain."""
    rng = np.random.default_rng(621)
    sheet.lay(hatch(sheet.area, 63.0, rng, spacing=6.0, length=(6, 16), width=(0.4, 0.9), share=0.7), inks.GALE)
