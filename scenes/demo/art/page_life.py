"""What the tide left on the page card's beach, who walked there, and what swims off it."""

from __future__ import annotations

import numpy as np
import shapely

from . import inks
from .carving import Wobble, dashes, path, polygon, stroke
from .finds import (
    Find,
    bird_tracks,
    boulder,
    clam,
    fish,
    footprints,
    placed,
    pool,
    rowing_boat,
    sand_castle,
    starfish,
    towel,
    weed,
    whelk,
)
from .sheet import Sheet
from .shore import Shore

__all__ = ["draw_life"]

#: Rock pools and rocks: place and radii.
_POOLS = (
    ((-84, 93), (12, 6.0)), ((-38, 91), (6.5, 3.4)), ((-112, 105), (8, 3.8)), ((92, 101), (13, 6.4)),
    ((118, 85), (7, 3.4)),
    ((68, 124), (6, 2.8)), ((-56, 122), (5, 2.4)), ((128, 128), (9, 4.4)), ((-134, 93), (5, 2.4)),
    ((84, 142), (7, 2.8)),
)  # fmt: skip
_BOULDERS = (
    ((-97, 90), (3.2, 2.0)), ((-71, 96), (2.6, 1.7)), ((-68, 93), (1.6, 1.1)), ((78, 105), (3.4, 2.2)),
    ((82, 108.5), (2.0, 1.3)),
    ((107, 98), (2.6, 1.6)), ((110, 82), (1.8, 1.2)), ((-46, 94), (2.0, 1.4)), ((58, 111), (3.4, 2.3)),
    ((63, 108.5), (2.0, 1.4)),
    ((-60, 108), (3.0, 2.0)), ((-56, 105), (1.8, 1.2)), ((139, 124), (2.8, 1.7)), ((-121, 109), (2.2, 1.4)),
    ((-15, 88), (2.6, 1.7)),
    ((-19.5, 85.5), (1.5, 1.0)), ((75, 129), (2.2, 1.4)), ((12, 84.5), (1.8, 1.2)),
)  # fmt: skip
_AWASH = (
    ((-118, 50), (5.5, 3.2)), ((-109, 46), (3.0, 1.9)), ((-124, 44.5), (2.4, 1.5)), ((118, 38), (5.0, 3.0)),
    ((126, 34.5), (2.8, 1.8)),
    ((-62, 42), (3.0, 1.9)), ((60, 25), (2.6, 1.6)),
)  # fmt: skip
_WEED = ((-93, 97), (-76, 90), (83, 96), (103, 105), (-60, 120), (124, 88), (-30, 94), (24, 90), (78, 142), (-106, 106))
#: Fish: x, y, heading in degrees, size.
_FISH = (
    (-92, 30, 8, 1.5), (-81, 25, 14, 1.3), (-99, 22, 2, 1.35), (-87, 16, 10, 1.2), (-73, 18, 6, 1.4),
    (84, 17, 186, 1.45),
    (97, 22, 176, 1.3), (100, 12, 190, 1.2), (76, 9, 180, 1.3), (112, 17, 184, 1.2),
)  # fmt: skip
_BUOYS = ((-46, 17), (44, 12), (-134, 24), (136, 15))


def draw_life(sheet: Sheet, shore: Shore) -> None:
    """Print everything that lies on the beach or swims."""
    rng = np.random.default_rng(71)
    for at, size in _POOLS:
        _put(sheet, placed(pool(rng, size), at, rng.uniform(-8, 8)))
    _walks(sheet, shore, rng)
    _put(sheet, placed(towel(), (96, 72), 14))
    _put(sheet, placed(rowing_boat(), (-84, 75), 152))
    _put(sheet, placed(sand_castle(rng), (56, 78)))
    for at, size in _BOULDERS:
        _put(sheet, placed(boulder(rng, size), at))
    for at, turn, find in _shells():
        _put(sheet, placed(find, at, turn))
    for at in _WEED:
        _put(sheet, placed(weed(rng), at, rng.uniform(-30, 30), 0.8))
    _afloat(sheet, rng)


def _put(sheet: Sheet, find: Find) -> None:
    """Print a find."""
    for shape, ink in find:
        sheet.lay(shape, ink)


def _walks(sheet: Sheet, shore: Shore, rng: np.random.Generator) -> None:
    """Footprints from the steps to the boathouse and on; a gull's tracks round two pools."""
    house, step = shore.boathouse.bounds, np.array([shore.steps.x, shore.steps.y])
    door = [house[2] - 4, house[3] + 2]
    _put(sheet, footprints(path([step + [3, -8], [34, 90], [28, 76], [18, 64], door]), rng))
    _put(sheet, footprints(path([[31, 70], [46, 67], [66, 66], [82, 67]]), rng))
    _put(sheet, footprints(path([[-8, 56], [-22, 64], [-44, 70], [-66, 75]]), rng))
    _put(sheet, bird_tracks(path([[-128, 82], [-106, 86], [-100, 98], [-104, 114], [-92, 122]]), rng))
    _put(sheet, bird_tracks(path([[108, 110], [100, 120], [104, 134], [122, 142], [140, 142]]), rng))


def _shells() -> list[tuple[tuple[float, float], float, Find]]:
    """Place, turn and kind of everything the tide left."""
    pink, gold = clam(inks.PEACH, inks.BRICK), starfish(inks.OCHRE, inks.CREAM)
    return [
        ((-62, 84), 20, clam()), ((-31, 78), -30, pink), ((44, 84), 10, clam()), ((74, 86), -24, whelk()),
        ((-106, 80), 40, whelk()),
        ((114, 64), 160, whelk()), ((62, 95), 12, starfish()), ((-48, 81), -14, gold), ((-124, 116), 22, starfish()),
        ((112, 120), 30, gold), ((132, 72), 10, pink), ((140, 102), -20, clam()), ((-140, 108), 12, clam()),
        ((-10, 72), 24, clam()),
        ((12, 75), -20, whelk()), ((44, 54), 30, starfish()), ((-90, 110), -12, pink), ((104, 146), 8, clam()),
        ((-72, 128), 8, whelk()),
        ((-28, 53), 16, gold), ((26, 46), -12, clam()),
    ]  # fmt: skip


def _afloat(sheet: Sheet, rng: np.random.Generator) -> None:
    """Rocks awash in their rings of foam, fish, buoys."""
    for at, size in _AWASH:
        rock = placed(boulder(rng, size, wet=True), at)
        ring = Wobble(82, 0.4, 3.0)(shapely.buffer(rock[1][0], 1.2))
        foam = dashes(ring, rng, length=(3, 7), gap=(0.6, 1.8), width=(0.6, 1.0))
        _put(sheet, [(foam, inks.FOAM), *rock])
    for x, y, turn, size in _FISH:
        _put(sheet, placed(fish(), (x, y), turn, size))
    for at in _BUOYS:
        _put(sheet, placed(_buoy(), at))


def _buoy() -> Find:
    """A striped buoy with its ring of ripples."""
    ring = stroke(path([[-3.4, -1.2], [0, -2.4], [3.4, -1.2]], step_mm=0.6), 0.55, taper=0.4)
    side = [[-1.9, -1.4], [-1.5, 1.2], [0, 2.6], [1.5, 1.2], [1.9, -1.4], [0, -1.9], [-1.9, -1.4]]
    body = polygon(path(side, step_mm=0.4))
    belt = shapely.intersection(body, shapely.box(-3, -0.4, 3, 0.8))
    staff = stroke([[0, 2.3], [0, 3.9]], 0.5)
    return [(ring, inks.FOAM), (body, inks.CORAL), (belt, inks.CREAM), (staff, inks.NIGHT)]
