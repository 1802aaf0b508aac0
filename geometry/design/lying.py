"""How the panels lie in the closed spread: the number of each one's layer, and how thick the closed spread is there."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from itertools import pairwise

import numpy as np
import shapely

from ..checks.bulk import bulk_map
from ..checks.stays_inside import closed_outline_of
from ..layers import Pile, pile_of
from ..spread import Spread
from ..tolerances import SLIVER_MM2

__all__ = ["layer_numbers", "thicknesses_mm"]

#: Heights that differ by less differ by rounding, mm; card glued on card is told by more.
_SAME_HEIGHT_DIGITS = 9


def layer_numbers(spread: Spread) -> dict[str, int]:
    """In which layer of the closed spread each panel lies.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    dict by panel: 1 at the bottom, and wherever two panels lie over each other the upper one has the higher number.
    Panels that cover nothing, because they stand on edge there, are left out

    Examples
    --------
    >>> from geometry import assemble, parse_description
    >>> text = 'format = 1\\n[page]\\nsize = "A6"\\n[stock.card]\\ngrammage = 250\\n'
    >>> layer_numbers(assemble(parse_description(text)))
    {'page.right': 1, 'page.left': 2}
    """
    pile = pile_of(spread)
    below = _directly_below(pile)
    lowest = {name: float(pile.heights[row][pile.covers[row]].min(initial=np.inf)) for row, name in _rows(pile)}
    numbers: dict[str, int] = {}
    waiting = [name for _, name in _rows(pile)]
    while waiting:
        ready = [name for name in waiting if below[name] <= numbers.keys()]
        # In a ring, which the check of order reports, the one that reaches furthest down is taken first.
        placed = ready or [min(waiting, key=lambda name: lowest[name])]
        for name in placed:
            numbers[name] = 1 + max((numbers[under] for under in below[name] & numbers.keys()), default=0)
        waiting = [name for name in waiting if name not in numbers]
    return numbers


def _rows(pile: Pile) -> list[tuple[int, str]]:
    return list(enumerate(pile.panels))


def _directly_below(pile: Pile) -> Mapping[str, set[str]]:
    """For each panel those on which it lies on any face."""
    below: dict[str, set[str]] = defaultdict(set)
    for face in range(len(pile.faces)):
        rows = np.flatnonzero(pile.covers[:, face])
        # Card that lies in its host's plane, as a flap that is shut, counts as above it: hosts come first.
        heights = pile.heights[rows, face].round(_SAME_HEIGHT_DIGITS)
        for lower, upper in pairwise(rows[np.argsort(heights, kind="stable")]):
            below[pile.panels[upper]].add(pile.panels[lower])
    return below


def thicknesses_mm(spread: Spread) -> dict[str, float]:
    """How thick the closed spread is where each panel lies.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    dict by panel, mm: the mean over what of it lies on the page. Panels that cover nothing of it are left out

    Examples
    --------
    >>> from geometry import assemble, parse_description
    >>> text = 'format = 1\\n[page]\\nsize = "A6"\\n[stock.card]\\ncaliper = 0.3\\n'
    >>> thicknesses_mm(assemble(parse_description(text)))
    {'page.right': 0.6, 'page.left': 0.6}
    """
    regions = bulk_map(spread).regions
    outlines = np.array([region.outline for region in regions], dtype=object)
    thick = np.array([region.thickness_mm for region in regions])
    matrices = spread.pose(np.zeros(1)).matrices
    found = {}
    for panel in spread.panels.values():
        if np.isfinite(matrices[panel.id][0]).all():
            areas = shapely.area(shapely.intersection(outlines, closed_outline_of(panel, matrices[panel.id][0])))
            if areas.sum() > SLIVER_MM2:
                found[panel.id] = round(float(areas @ thick / areas.sum()), 6)
    return found
