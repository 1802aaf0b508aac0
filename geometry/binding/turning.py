"""Whether anything passes through anything as the leaves turn.

Between its two pages every spread has a *sector* to itself: what lies above its right page, below its left page and
before the spine. The sectors of a book never overlap, whatever the angles of its leaves, for between any two of them
lies a leaf. So a spread all of whose panels stay in its sector, at every opening, meets no panel of another spread and
no leaf at any position of all leaves together. Only panels that leave their sector are tried against the others, at
every combination of openings.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from ..crossing import find_crossings, panel_edges
from ..tolerances import SHALLOW_MM
from ..transforms import Array, apply
from .binding import Binding

__all__ = ["STEP_DEG", "Meeting", "Straying", "find_meetings", "find_straying", "out_of_sector"]

#: Leaves are tried at every angle that is so many degrees after the last.
STEP_DEG = 2.0
_BOARDS = ("front", "back")


@dataclass(frozen=True)
class Straying:
    """A panel that leaves its spread's sector.

    Parameters
    ----------
    spread : its number, 1..n
    panel : its name
    by_mm : the furthest that it gets out
    opening_deg : where that is
    """

    spread: int
    panel: str
    by_mm: float
    opening_deg: float


@dataclass(frozen=True)
class Meeting:
    """Two panels of different spreads, or a panel and a board, that pass through each other.

    Parameters
    ----------
    first, second : (spread, panel); the panel of a board is "front" or "back"
    depth_mm : how deep at the most
    leaves_deg : the angles of all leaves, where that is
    place_mm : there, in the first panel's net coordinates; None where it is known for the second alone
    """

    first: tuple[int, str]
    second: tuple[int, str]
    depth_mm: float
    leaves_deg: tuple[float, ...]
    place_mm: tuple[float, float] | None

    def turned(self) -> Meeting:
        """The same, told the other way round."""
        return Meeting(self.second, self.first, self.depth_mm, self.leaves_deg, None)


def find_straying(binding: Binding) -> list[Straying]:
    """Panels that leave the sector between their spread's pages by more than card takes up.

    Parameters
    ----------
    binding : Binding

    Returns
    -------
    list of Straying; an empty one proves that nothing passes through anything at any position of all leaves that are
    at multiples of STEP_DEG (and, the openings in between being like them, sampled for all others)

    Notes
    -----
    Source: derived here. Hands rest. What their hulls' corners do, panels do: a sector is convex. Solids are left out:
    they are taken off before their spread shuts, or keep it from shutting, which the check of the spread says.
    """
    openings = np.radians(np.arange(0.0, 180.0 + STEP_DEG / 4, STEP_DEG / 2))
    found = []
    for number, spread in enumerate(binding.spreads, start=1):
        apart = binding.separations(np.repeat(openings[:, None], len(binding.spreads), axis=1))[:, number - 1]
        folding = spread.folding.panels
        for name, matrices in binding.spread_pose(number, openings).items():
            if name not in folding:
                continue
            corners = shapely.get_coordinates(spread.panels[name].outline.convex_hull)[:-1]
            out = out_of_sector(apply(matrices, corners), openings, apart).max(axis=1)
            worst = int(np.argmax(np.where(np.isfinite(out), out, -np.inf)))
            if out[worst] > SHALLOW_MM:
                found.append(Straying(number, name, float(out[worst]), float(np.degrees(openings[worst]))))
    return found


def out_of_sector(points: Array, openings: Array, apart_mm: Array) -> Array:
    """How far points are out of the sector, (m, k, 3) float to (m, k) float, mm; negative inside."""
    x, z = points[..., 0], points[..., 2]
    sine, cosine = np.sin(openings)[:, None], np.cos(openings)[:, None]
    below = -z
    above = -x * sine + z * cosine - apart_mm[:, None]
    behind = -(x * np.cos(openings / 2)[:, None] + z * np.sin(openings / 2)[:, None])
    return np.asarray(np.maximum(np.maximum(below, above), behind))


def find_meetings(binding: Binding, straying: Sequence[Straying]) -> list[Meeting]:
    """What panels that leave their sector pass through.

    Parameters
    ----------
    binding : Binding
    straying : the panels to try

    Returns
    -------
    list of Meeting, one a pair of panels, the deepest of each

    Notes
    -----
    Sampled at every STEP_DEG of every leaf: spreads side by side, and those with one spread between them, at all
    combinations; those further apart with the spreads between them closed.
    """
    strays: dict[int, set[str]] = {}
    for item in straying:
        strays.setdefault(item.spread, set()).add(item.panel)
    deepest: dict[tuple[tuple[int, str], tuple[int, str]], Meeting] = {}
    count = len(binding.spreads)
    for low in range(1, count + 1):
        for high in range(low, count + 1):
            own = (low in strays) or (high in strays)
            if own and (low != high or low in (1, count)):
                for meeting in _between(binding, (low, high), strays):
                    key = (meeting.first, meeting.second)
                    if key not in deepest or meeting.depth_mm > deepest[key].depth_mm:
                        deepest[key] = meeting
    return list(deepest.values())


def _between(binding: Binding, ends: tuple[int, int], strays: Mapping[int, set[str]]) -> Iterator[Meeting]:
    """Meetings of two spreads, or of the first or the last with its board."""
    outlines = _outlines(binding, ends)
    edges = panel_edges({f"{number}/{name}": outline for (number, name), outline in outlines.items()})
    keys = {f"{number}/{name}": (number, name) for number, name in outlines}
    members = [keys[name] for name in edges.names]
    astray = [number in strays and name in strays[number] for number, name in members]
    # Not tried against each other are the panels of one spread, and the boards.
    group = ["boards" if name in _BOARDS else str(number) for number, name in members]
    pairs = [
        (one, two)
        for one in range(len(members))
        for two in range(one + 1, len(members))
        if group[one] != group[two] and (astray[one] or astray[two])
    ]
    if not pairs:
        return
    for leaves in _leaf_angles(len(binding.spreads), ends):
        poses = binding.pose(leaves, ends)
        for board, spread in zip(binding.boards(leaves), (1, len(binding.spreads)), strict=True):
            poses[(spread, board.id)] = board.matrices
        matrices = np.stack([poses[key] for key in members], axis=1)
        met = find_crossings(edges, matrices, np.array(pairs))
        for pair in {(int(one), int(two)) for one, two in zip(met.first, met.second, strict=True)}:
            rows = np.flatnonzero((met.first == pair[0]) & (met.second == pair[1]))
            row = rows[np.argmax(met.depth[rows])]
            if met.depth[row] > SHALLOW_MM:
                angles = tuple(float(angle) for angle in np.degrees(leaves[met.opening[row]]).round(6))
                place = (float(met.place[row, 0]), float(met.place[row, 1]))
                yield Meeting(members[pair[0]], members[pair[1]], float(met.depth[row]), angles, place)


def _outlines(binding: Binding, ends: tuple[int, int]) -> dict[tuple[int, str], Polygon]:
    low, high = ends
    found = {
        (number, name): panel.outline
        for number in sorted({low, high})
        for name, panel in binding.spreads[number - 1].folding.panels.items()
    }
    closed = np.zeros((1, len(binding.spreads) + 1))
    for board, spread in zip(binding.boards(closed), (1, len(binding.spreads)), strict=True):
        if spread in ends:
            found[(spread, board.id)] = board.outline
    return found


def _leaf_angles(spreads: int, ends: tuple[int, int]) -> Iterator[Array]:
    """Angles of all leaves at which two spreads are tried, in portions of (m, spreads + 1) float, radians.

    The openings of both ends and of one spread between them are combined; what is before the first lies closed at the
    left of it, what is behind the last closed on the table. Turning them all together changes nothing.
    """
    low, high = ends
    steps = np.arange(0.0, 180.0 + STEP_DEG / 2, STEP_DEG)
    for middle in steps if high - low == 2 else steps[:1]:
        first, last = (axis.ravel() for axis in np.meshgrid(steps, steps if high > low else steps[:1], indexing="ij"))
        fits = first + middle + last <= 180.0 + 1e-9
        openings = np.zeros((int(fits.sum()), spreads))
        openings[:, high - 1] = last[fits]
        openings[:, low - 1] = first[fits]
        if high - low == 2:
            openings[:, low] = middle
        behind = np.cumsum(openings[:, ::-1], axis=1)[:, ::-1]
        yield np.radians(np.concatenate([behind, np.zeros((len(behind), 1))], axis=1))
