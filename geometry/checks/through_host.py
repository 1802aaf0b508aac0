"""Through its host: panels that pass each other about the very line that joins them.

There neither pokes through the inside of the other, so the check of collisions, which draws panels in at their
hinges, does not see them. Two ways: a panel turns beyond its host's card, and a rider reaches over a crease whose
other panel folds towards it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from ..model import Angle, Hinge, Panel
from ..outline import carried, common_part
from ..spread import Spread
from ..tolerances import SHALLOW_MM, SLIVER_MM2, TOUCH_MM
from ..transforms import Array, apply, frame, inverse, lift, map_between, rotation_about
from .collisions import sampled_openings_deg
from .findings import Finding, Severity

__all__ = ["check_through_host"]

_CODE = "through-host"
#: Panels that lie flat on each other are turned beyond it by no more than this, from rounding.
_FLAT_RAD = 1e-6
#: Where it begins and ends is found to this.
_EXACT_DEG = 0.01


@dataclass(frozen=True)
class _Card:
    """The part of a panel that meets card: its corner furthest from the line, in net coordinates, and how far, mm."""

    corner: tuple[float, float]
    reach: float


_NOTHING = _Card((0.0, 0.0), 0.0)


@dataclass(frozen=True)
class _Turn:
    """An angle between two panels, and between which values the one is free.

    Parameters
    ----------
    panel, other : the one that turns, and what it may meet
    angle : Angle
    rest_rad : an angle at which it is surely free, or the nearest to it
    low_rad, high_rad : free between these
    low, high : what of the panel meets card beyond each
    what : the fault, for the message
    right : what would be right, for the message
    """

    panel: Panel
    other: Panel
    angle: Angle
    rest_rad: float
    low_rad: float
    high_rad: float
    low: _Card
    high: _Card
    what: str
    right: str

    def settled(self, wound: Array) -> Array:
        """The angles, (n,) float, less whole turns, so that where it is free they lie about its rest."""
        nearest = wound[np.argmin(np.abs(_circular(wound - self.rest_rad)))]
        return np.asarray(wound - 2 * np.pi * np.round((nearest - self.rest_rad) / (2 * np.pi)))

    def excess(self, angle: Array) -> Array:
        """By how much an angle is beyond what is free, (n,) float, radians; below zero on the low side."""
        return np.asarray(np.minimum(angle - self.low_rad, 0.0) + np.maximum(angle - self.high_rad, 0.0))


def check_through_host(spread: Spread) -> list[Finding]:
    """Findings on panels that turn through the card they stand on, and on riders that are in a crease's way.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding; opening_deg is where it first happens, to 0.1 degrees, measure the greatest depth in mm

    Notes
    -----
    Source: DESIGN.md, section 5, does not collide. A panel is on the wrong side of its host where the angle at its glue
    line leaves 0 to 180 degrees, if the host has card there; a strip may pass its own slot.
    """
    spread = spread.folding
    low, high = np.degrees(spread.reachable())
    turns = [*_standing(spread), *_riders(spread)]
    if not np.isfinite(low) or not turns:
        return []
    openings = np.concatenate([[low], sampled_openings_deg(low, high), [high]])
    angles = _angles(spread, turns, openings)
    # At a lock itself rounding may leave a cell without a position.
    reached = np.isfinite(angles).all(axis=0)
    openings, wound = openings[reached], np.unwrap(angles[:, reached], axis=1)
    if not len(openings):
        return []
    found = (_finding(spread, turn, openings, turn.settled(own)) for turn, own in zip(turns, wound, strict=True))
    return [finding for finding in found if finding is not None]


def _circular(angle: Array) -> Array:
    """The same angles between -pi and pi."""
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi)


def _angles(spread: Spread, turns: list[_Turn], openings_deg: Array) -> Array:
    motion = spread.pose(np.radians(openings_deg))
    return np.stack([motion.angle(turn.angle) for turn in turns])


def _standing(spread: Spread) -> Iterator[_Turn]:
    """Panels that turn on their host about a glue line, and strips about their creases."""
    for hinge in spread.hinges:
        panel, host = (spread.panels[name] for name in hinge.panels)
        glued = hinge.kind == "glue" and panel.axis is not None and panel.axis.turn == hinge.dihedral
        strip = hinge.kind == "crease" and panel.role == "strip"
        closes = None if panel.parent == host.id else _closing(spread, hinge)
        glued = glued or closes is not None
        if hinge.dihedral.variable is None or not (glued or strip) or (closes is None and panel.parent != host.id):
            continue
        # At rest a glued panel lies on the outer part of its host, a strip in its slot.
        rest = panel.rest if closes is None else closes
        over = _half_turn(hinge.lines[1]) @ rest
        places = (rest, over) if glued else (over, rest)
        beyond = [_card(panel, place, host.outline, hinge.lines[1], beyond=False) for place in places]
        # Free in front of the host; round an edge where the host has no card, also behind it.
        low, high = beyond[0] or beyond[1], beyond[1] or beyond[0]
        if low is None or high is None:
            continue
        yield _Turn(
            panel,
            host,
            hinge.dihedral,
            np.pi / 2 if glued else np.pi,
            0.0 if beyond[0] else -np.pi,
            np.pi if beyond[1] else 2 * np.pi,
            low,
            high,
            f"{panel.id} turns through {host.id}, on which it stands,",
            "the angle between them must stay between 0 and 180 degrees",
        )


def _closing(spread: Spread, hinge: Hinge) -> Array | None:
    """Where a panel that closes a loop at its glue line lies on the outer part of its host, as a matrix like rest."""
    fold = spread.folds.get((hinge.id.split("#")[0].removesuffix(".glue"), "outer"))
    if hinge.kind != "glue" or fold is None or (fold.left.panel, fold.right.panel) != hinge.panels:
        return None
    own, host = (frame(lift(side.origin), lift(side.along), lift(side.across)) for side in (fold.left, fold.right))
    return map_between(own, host)


def _riders(spread: Spread) -> Iterator[_Turn]:
    """Riders that reach over a crease of their host, onto the panel beyond it."""
    for rider in spread.panels.values():
        host, matrix, sign = _under(spread, rider)
        if rider.role != "rider" or host is None:
            continue
        over: dict[str, tuple[_Card, Hinge]] = {}
        for hinge in spread.creases(host.piece):
            if host.id not in hinge.panels:
                continue
            index = hinge.panels.index(host.id)
            beyond = spread.panels[hinge.panels[1 - index]]
            # Both panels of a crease lie on the same net, so the rider lies over the other where it is flat.
            card = _card(rider, matrix, beyond.outline, hinge.lines[index], beyond=True)
            if card is not None and beyond.role != "tab" and card.reach > over.get(beyond.id, (_NOTHING,))[0].reach:
                over[beyond.id] = card, hinge
        for name, (card, hinge) in over.items():
            angle = hinge.dihedral if sign > 0 else hinge.dihedral.other_side()
            what = f"{rider.id}, glued on {host.id}, reaches over the crease {hinge.id} and through {name}"
            right = f"end it at the crease, or glue it on the {'back' if sign > 0 else 'printed face'}"
            yield _Turn(rider, spread.panels[name], angle, np.pi, np.pi, 2 * np.pi, card, card, what, right)


def _under(spread: Spread, rider: Panel) -> tuple[Panel | None, Array, float]:
    """The panel under a rider and under the riders below it, the way to its net coordinates, and the face: +1 front."""
    matrix, panel, sign = np.eye(4), rider, 1.0
    while panel.role == "rider" and panel.parent is not None and panel.axis is None:
        matrix = panel.rest @ matrix
        sign = float(np.sign(panel.rest[2, 2]))
        panel = spread.panels[panel.parent]
    return (panel if panel is not rider else None), matrix, sign


def _half_turn(line: Array) -> Array:
    """A half turn about a line of a net, (4, 4) float."""
    direction = np.append((line[1] - line[0]) / np.hypot(*(line[1] - line[0])), 0.0)
    return rotation_about(np.append(line[0], 0.0), direction, np.pi).reshape(4, 4)


def _card(panel: Panel, place: Array, other: Polygon, line: Array, *, beyond: bool) -> _Card | None:
    """What of a panel lies on another, on its own side of their common line, or on the other's side beyond it."""
    laid = carried(panel.outline, place)
    common = common_part(laid, other)
    if common.area <= SLIVER_MM2:
        return None
    along = (line[1] - line[0]) / np.hypot(*(line[1] - line[0]))
    normal = np.array([-along[1], along[0]])
    middle = (other if beyond else laid).centroid
    corners = shapely.get_coordinates(common)
    reach = (corners - line[0]) @ normal * np.sign((np.array([middle.x, middle.y]) - line[0]) @ normal)
    furthest = int(np.argmax(reach))
    if reach[furthest] <= TOUCH_MM:
        return None
    x, y, _ = apply(inverse(place), np.append(corners[furthest], 0.0)[None])[0]
    return _Card((float(x), float(y)), float(reach[furthest]))


def _finding(spread: Spread, turn: _Turn, openings: Array, angles: Array) -> Finding | None:
    excess = turn.excess(angles)
    depth = np.where(excess < 0, turn.low.reach, turn.high.reach) * np.sin(np.minimum(np.abs(excess), np.pi / 2))
    through = _deep_enough(np.abs(excess) > _FLAT_RAD, depth)
    if not through.any():
        return None
    edges = np.flatnonzero(np.diff(np.concatenate([[False], through, [False]])))
    first, last = int(edges[0]), int(edges[-1]) - 1
    start, end = (float(openings[index]) for index in (first, last))
    if first > 0:
        start = _border(spread, turn, openings[[first - 1, first]], angles[first - 1])
    if last + 1 < len(openings):
        end = _border(spread, turn, openings[[last + 1, last]], angles[last + 1])
    deepest = int(np.argmax(depth))
    measure, card = float(depth[deepest]), turn.low if excess[deepest] < 0 else turn.high
    message = f"{turn.what} from {start:.1f} to {end:.1f} degrees of opening, by up to {measure:.1f} mm; {turn.right}"
    # As in closing flat: what is less than the card is thick is pressed together, and seen.
    severity: Severity = "error" if measure > spread.piece(turn.panel.piece).stock.caliper_mm else "warning"
    one, two = turn.panel, turn.other.id
    return Finding(_CODE, severity, one.piece, one.id, card.corner, round(start, 2), measure, "mm", message, other=two)


def _deep_enough(through: NDArray[np.bool_], depth: Array) -> NDArray[np.bool_]:
    """The stretches of openings in which it goes deeper than the card gives."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], through, [False]])))
    kept = np.zeros_like(through)
    for start, end in edges.reshape(-1, 2):
        kept[start:end] = depth[start:end].max() > SHALLOW_MM
    return kept


def _border(spread: Spread, turn: _Turn, openings: Array, angle: float) -> float:
    """Where it goes through, degrees, between two openings: at the first it is free, at that angle."""
    free, met = (float(opening) for opening in openings)
    while abs(met - free) > _EXACT_DEG:
        middle = (free + met) / 2
        there = angle + _circular(_angles(spread, [turn], np.array([middle]))[0] - angle)
        if abs(turn.excess(there)[0]) > _FLAT_RAD:
            met = middle
        else:
            free = middle
    return met
