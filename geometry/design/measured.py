"""The sizes of one mechanism as they are drawn on its standing panels: lines on a panel's net, and what is written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import shapely

from ..nets.kind_sizes import sizes_on
from ..nets.measures import Dimension, Round, Sector, Span
from ..spread import Spread
from ..tolerances import TOUCH_MM
from ..transforms import Array
from ..trees import owner_of

__all__ = ["DrawnSize", "drawn_sizes", "panel_under"]

#: Half the length of the tick at each end of a line; radius of an angle's arc; how far its legs go on beyond it, mm.
_TICK_MM, _ARC_MM, _LEG_MM = 1.6, 12.0, 3.0
#: An arc is drawn as straight lines over so many radians each.
_CHORD_RAD = float(np.radians(5.0))


@dataclass(frozen=True)
class DrawnSize:
    """One size where it is measured.

    Parameters
    ----------
    panel : on which it is drawn
    lines : (n, 2, 2) float, mm; straight lines in net coordinates
    place : (2,) float, mm; where its text stands, in net coordinates
    text : key and value, as on the net
    """

    panel: str
    lines: Array
    place: Array
    text: str


def drawn_sizes(spread: Spread, mechanism: str) -> tuple[DrawnSize, ...]:
    """The sizes of a mechanism, on its own panels and on those it stands on.

    Parameters
    ----------
    spread : Spread
    mechanism : its id

    Returns
    -------
    tuple of DrawnSize; sizes that no key of the description names are left out, and of a mechanism that does not exist
    there are none
    """
    specs = tuple(spec for spec in spread.mechanisms if spec.id == mechanism)
    own = [panel for panel in spread.panels.values() if owner_of(panel.id) == mechanism]
    hosts = [spread.panels[panel.parent] for panel in own if panel.parent is not None]
    alone = replace(spread, mechanisms=specs)
    found = []
    for piece in dict.fromkeys(panel.piece for panel in (*own, *hosts)):
        for size in sizes_on(alone, piece):
            if size.name.key is not None:
                found.append(_drawn(spread, size))
    return tuple(found)


def _drawn(spread: Spread, size: Dimension) -> DrawnSize:
    """A size with its lines, on the panel that it lies on."""
    if isinstance(size, Span):
        lines, place = _span(size)
    elif isinstance(size, Sector):
        lines, place = _sector(size)
    else:
        lines, place = _round(size)
    marks = [np.array([line[:-1], line[1:]]).swapaxes(0, 1) for line in size.marks]
    panel = panel_under(spread, size.name.mechanism, size.piece, lines[:1])
    return DrawnSize(panel, np.concatenate([lines, *marks]), place, size.text)


def panel_under(spread: Spread, mechanism: str, piece: str, lines: Array) -> str:
    """The panel of a piece that lines lie on, or else are nearest to; along an edge of two the mechanism's own."""
    places = shapely.points(np.concatenate([lines.reshape(-1, 2), lines.mean(axis=1)]))
    panels = sorted(spread.piece(piece).panels, key=lambda name: owner_of(name) != mechanism)
    away = [round(float(shapely.distance(spread.panels[name].outline, places).sum()), 6) for name in panels]
    return panels[int(np.argmin(away))]


def _tick(place: Array, along: Array) -> Array:
    across = _TICK_MM * np.array([-along[1], along[0]])
    return np.array([place - across, place + across])


def _span(size: Span) -> tuple[Array, Array]:
    """A line along which the length counts, with a tick at each end, and from its start to where it is measured."""
    start, end = size.points
    foot = end - size.along * float((end - start) @ size.along)
    lines = [np.array([foot, end]), _tick(foot, size.along), _tick(end, size.along)]
    if np.hypot(*(foot - start)) > TOUCH_MM:
        lines.append(np.array([start, foot]))
    return np.array(lines), np.asarray((foot + end) / 2)


def _sector(size: Sector) -> tuple[Array, Array]:
    """An arc, and both legs to a little beyond it."""
    steps = max(2, int(np.ceil(abs(size.turn_rad) / _CHORD_RAD)) + 1)
    arc = np.array([size.apex + _ARC_MM * size.leg(part) for part in np.linspace(0.0, 1.0, steps)])
    legs = [np.array([size.apex, size.apex + (_ARC_MM + _LEG_MM) * size.leg(part)]) for part in (0.0, 1.0)]
    return np.array([*legs, *_joined(arc)]), np.asarray(size.apex + _ARC_MM * size.leg(0.5))


def _round(size: Round) -> tuple[Array, Array]:
    """A circle, and the line across it that is meant."""
    turns = np.linspace(0.0, 2 * np.pi, 49)
    circle = size.centre + size.radius * np.column_stack([np.cos(turns), np.sin(turns)])
    start = circle[24] if size.whole else size.centre
    return np.array([np.array([start, circle[0]]), *_joined(circle)]), np.asarray((start + circle[0]) / 2)


def _joined(points: Array) -> Sequence[Array]:
    return [np.array(pair) for pair in pairwise(points)]
