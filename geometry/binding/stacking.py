"""How the card of a closed spread lies on itself: the height of every panel, and how thick its leaves become.

A drawn panel is rigid and flat, so it has one height everywhere: that of the highest card under it. Real card bends
down beside what lies under it, and a closed book is as thick as what lies at its thickest place. Where rigid panels
would pile up higher than that, all of them are drawn closer together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ..checks.bulk import bulk_map, outside_panels
from ..layers import Pile, pile_of
from ..spread import Spread
from ..transforms import Array

__all__ = ["ClosedStack", "closed_stack", "page_under"]

#: Heights in the pile that differ by less differ by rounding, mm; card glued on card is told by more.
_SAME_MM = 1e-9
#: How far card that lies in its host's plane, and is not glued there, is told from it, mm: what slides or turns within
#: the plane lies under the guides that hold it (layers.py lifts those by more), a flap over its own tab.
_SLID_MM, _SHUT_MM = 0.5e-6, 4e-6


@dataclass(frozen=True)
class ClosedStack:
    """The closed spread, panel on panel.

    Parameters
    ----------
    undersides_mm : by panel, the lower face of its card above the right page's printed face
    gap_mm : between the printed faces of the two pages: as much card as lies at the thickest place
    rigid_mm : the same if no card gave way
    shrunk : the heights between the pages are this share of those that they would have then
    behind_right_mm, behind_left_mm : from a page's printed face to the furthest card behind it, its own included
    left_out : panels that gap_mm leaves out, because the spread jams before they come to lie
    """

    undersides_mm: Mapping[str, float]
    gap_mm: float
    rigid_mm: float
    shrunk: float
    behind_right_mm: float
    behind_left_mm: float
    left_out: tuple[str, ...]


def closed_stack(spread: Spread) -> ClosedStack:
    """Lay the rigid panels of a closed spread on each other.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    ClosedStack; where the spread jams, as it lies there. A panel that covers nothing, because it stands on edge, has
    the height of what it stands on

    Notes
    -----
    Source: derived here. The order is that of layers.py, face by face. gap_mm is the bulk map's gusset. Where the upper
    face of the highest panel is above it, the heights between the pages are shrunk in proportion until it is not.
    """
    pile = pile_of(spread)
    calipers = {name: spread.piece(panel.piece).stock.caliper_mm for name, panel in spread.panels.items()}
    outside = outside_panels(spread)
    levels = _levels(spread, pile)
    between = [name for name in pile.panels if name not in outside]
    under = {"page.right": -calipers["page.right"]}
    under |= _stacked(pile, levels, between, calipers, 0.0)
    bulk = bulk_map(spread)
    gap = bulk.gusset_mm
    rigid = max([gap, *(under[name] + calipers[name] for name in between)])
    # Something lies under a panel that lies high, so the gap is more than its own card.
    share = min([1.0, *((gap - calipers[name]) / under[name] for name in between if under[name] > 0)])
    # But where the spread jams, the bulk map leaves panels out, and there is no gap to draw them together to.
    shrunk = share if share > 0 and not bulk.left_out else 1.0
    under |= {name: shrunk * under[name] for name in between}
    under["page.left"] = gap
    depths = {}
    for page in ("page.right", "page.left"):
        own = [name for name in pile.panels if name in outside and name != page and page_under(spread, name) == page]
        # Outwards from the page: down behind the right one, up behind the left one.
        away = 1.0 if page == "page.left" else -1.0
        found = _stacked(pile, {name: away * level for name, level in levels.items()}, own, calipers, calipers[page])
        depths[page] = max([calipers[page], *(found[name] + calipers[name] for name in own)])
        for name in own:
            under[name] = gap + found[name] if away > 0 else -found[name] - calipers[name]
    for name, panel in spread.panels.items():
        under.setdefault(name, under.get(str(panel.parent), 0.0))
    return ClosedStack(under, gap, rigid, shrunk, depths["page.right"], depths["page.left"], bulk.left_out)


def page_under(spread: Spread, name: str) -> str:
    """The page that a panel hangs on in the tree: the first one among its parents, or itself."""
    panel = spread.panels[name]
    while panel.role != "page" and panel.parent is not None:
        panel = spread.panels[panel.parent]
    return panel.id


def _levels(spread: Spread, pile: Pile) -> dict[str, Array]:
    """Height of every panel of the pile over each face, (f,) float, mm; what lies in its host's plane lifted by a hair.

    layers.py lifts what is glued; here follow the flaps that lie shut, strips and wheels, on their host's own side.
    """
    rows = {name: row for row, name in enumerate(pile.panels)}
    lifted: dict[str, float] = {}
    behind = {hand.variable for hand in spread.hands if hand.behind}
    levels = {}
    for name, panel in spread.panels.items():
        if name not in rows:
            continue
        host, own = str(panel.parent), pile.heights[rows[name]]
        lift = lifted.get(host, 0.0)
        if panel.axis is not None and panel.role != "page" and host in rows and _in_plane(pile, name, host):
            up = float(np.sign(pile.matrices[host][2, 2])) * (-1.0 if panel.variable in behind else 1.0)
            lift += up * (_SLID_MM if panel.axis.slides or panel.axis.pivots else _SHUT_MM)
        lifted[name] = lift
        levels[name] = own + lift
    return levels


def _in_plane(pile: Pile, name: str, host: str) -> bool:
    own, other = pile.matrices[name], pile.matrices[host]
    parallel = abs(abs(float(own[:3, 2] @ other[:3, 2])) - 1.0) < _SAME_MM
    return parallel and abs(float(other[:3, 2] @ (own[:3, 3] - other[:3, 3]))) < _SAME_MM


def _stacked(
    pile: Pile, levels: Mapping[str, Array], names: Sequence[str], calipers: Mapping[str, float], floor_mm: float
) -> dict[str, float]:
    """The lower face of each of some panels, stacked upwards from a floor: by panel, mm."""
    rows = {name: pile.panels.index(name) for name in names}
    below = _directly_below(pile.covers, rows, levels)
    lowest = {name: float(levels[name][pile.covers[row]].min(initial=np.inf)) for name, row in rows.items()}
    placed: dict[str, float] = {}
    for name in _bottom_up(names, below, lambda each: lowest[each]):
        # All that is there already and shares a face: in a ring more than what it lies on.
        own = pile.covers[rows[name]]
        under = [other for other in placed if np.any(pile.covers[rows[other]] & own)]
        placed[name] = max([floor_mm, *(placed[other] + calipers[other] for other in under)])
    return placed


def _directly_below(
    covers: NDArray[np.bool_], rows: Mapping[str, int], levels: Mapping[str, Array]
) -> dict[str, set[str]]:
    """For each panel those on which it lies on any face."""
    below: dict[str, set[str]] = {name: set() for name in rows}
    for face in range(covers.shape[1]):
        here = [name for name, row in rows.items() if covers[row, face]]
        here.sort(key=lambda name: round(float(levels[name][face]), 9))
        for lower, upper in pairwise(here):
            below[upper].add(lower)
    return below


def _bottom_up(names: Sequence[str], below: Mapping[str, set[str]], lowest: Callable[[str], float]) -> list[str]:
    """Panels, each after those on which it lies; in a ring the one that reaches furthest down first."""
    ordered: list[str] = []
    waiting = list(names)
    while waiting:
        done = set(ordered)
        ready = [name for name in waiting if below[name] <= done]
        taken = ready or [min(waiting, key=lowest)]
        ordered.extend(taken)
        waiting = [name for name in waiting if name not in taken]
    return ordered
