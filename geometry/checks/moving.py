"""Motion: where a cell is near a dead point, where an angle snaps, and how much faster than the page tips move."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..loops import Loop
from ..model import CellOnFold
from ..motion import Motion, solve_cells
from ..spread import Spread
from ..transforms import Array, apply
from .findings import Finding

__all__ = ["Speed", "check_dead_points", "check_snaps", "flat_when_open", "speeds"]

#: Between two openings that are looked at, degrees.
_STEP_DEG = 0.25
#: Rates are differences over this much of opening to either side, degrees: far above rounding, far below any bend.
_RATE_DEG = 1e-3
#: They stop short of the ends by this, degrees: card that lies flat at an end has any angle there.
_SHORT_DEG = 1e-4
#: Locks are kept away from by this, degrees.
_HAIR_DEG = 1e-9
#: What rises from its hosts by less lies on them: 50 mm of card stand 3.5 mm off at their edge.
_RISE_DEG = 4.0
#: A middle crease lies flat when it is within this of 180 degrees.
_FLAT_DEG = 1e-6
#: The lines that a cell's three angles are at.
_LINES = {
    "left": "the line on which its left panel stands",
    "right": "the line on which its right panel stands",
    "middle": "its middle crease",
}

Flags = NDArray[np.bool_]
Unit = Literal["deg", "deg/deg"]


@dataclass(frozen=True)
class _Travel:
    """A spread's angles over the openings that it reaches.

    Parameters
    ----------
    spread : Spread
    low, high : float, degrees; reached both
    """

    spread: Spread
    low: float
    high: float

    @cached_property
    def openings(self) -> Array:
        """(n,) float, degrees, both ends among them."""
        inside = np.arange(np.ceil(self.low / _STEP_DEG) * _STEP_DEG, self.high, _STEP_DEG)
        return np.unique(np.concatenate([[self.low], inside, [self.high]]))

    @cached_property
    def motion(self) -> Motion:
        """The angles at the openings, without poses."""
        return _angles(self.spread, self.openings)

    @cached_property
    def beside(self) -> tuple[Array, Array]:
        """Openings a hair before and after, (n,) float each, degrees, both short of the ends."""
        low, high = self.low + _SHORT_DEG, self.high - _SHORT_DEG
        return np.clip(self.openings - _RATE_DEG, low, high), np.clip(self.openings + _RATE_DEG, low, high)

    @cached_property
    def rates(self) -> dict[str, Array]:
        """Every angle's gain, degrees a degree of opening, (n,) float, signs left out."""
        before, after = self.beside
        first, second = (_angles(self.spread, at).variables for at in (before, after))
        return {
            name: np.abs((np.degrees(second[name] - first[name]) + 180.0) % 360.0 - 180.0) / (after - before)
            for name in first
        }

    def middle(self, item: CellOnFold) -> Array:
        """A cell's middle dihedral angle, (n,) float, degrees."""
        return np.asarray(np.degrees(self.motion.variables[f"{item.id}:middle"]))

    def host(self, item: CellOnFold) -> Array:
        """The dihedral angle of its fold, (n,) float, degrees."""
        return np.asarray(np.degrees(self.motion.angle(item.host)))


def _travel(spread: Spread) -> _Travel | None:
    low, high = (float(end) for end in np.degrees(spread.reachable()))
    # At a lock itself rounding decides whether the cell still stands.
    low, high = (low + _HAIR_DEG if low > 0.0 else low), (high - _HAIR_DEG if high < 180.0 else high)
    return _Travel(spread, low, high) if high - low > 4 * _STEP_DEG else None


def _angles(spread: Spread, openings_deg: Array) -> Motion:
    variables = solve_cells(np.radians(openings_deg), spread.units)
    return Motion(variables["spine"], variables, {})


def _from_flat(angle_deg: Array) -> Array:
    """How far angles are from flat or folded shut, degrees."""
    return np.asarray(np.abs((angle_deg + 90.0) % 180.0 - 90.0))


def check_dead_points(spread: Spread) -> list[Finding]:
    """Warnings where a cell comes near a dead point, and notes where it never leaves one.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, code "dead-point", one a cell; opening_deg is where it is nearest, measure how near, in degrees

    Notes
    -----
    Source: DESIGN.md, section 5; the transmission angle of a four-bar. With δ the dihedral angle of the fold and μ that
    of the middle crease, dμ/dδ = (sin α_L sin α_R / sin β_L sin β_R) sin δ / sin μ (planar: lengths for sines). So a
    cell is at a dead point where its middle crease is flat or folded shut and its fold is not: a hair further it
    locks, and there the crease may go either way. Where the fold is flat or shut too, the card lies in the closed
    book, or flat open by design: that is no finding, see flat_when_open. Nor is a lock that stops the spread, which
    other checks tell. A cell whose panels lie on their hosts all the way never leaves its dead point. Looked at every
    quarter of a degree.
    """
    travel = _travel(spread)
    if travel is None:
        return []
    found = (_dead_point(travel, item) or _never_rises(travel, item) for item in _cells(spread))
    return [finding for finding in found if finding is not None]


def _cells(spread: Spread) -> list[CellOnFold]:
    return [item for item in spread.cells if isinstance(item, CellOnFold)]


def _near_dead_point(travel: _Travel, item: CellOnFold) -> Flags:
    """Where the middle crease is near flat or shut: without the closed book, and card that lies flat open."""
    limit = travel.spread.limits.dead_point
    near = _from_flat(travel.middle(item)) < limit
    near = _without_start(near)
    if travel.high < 180.0 or _from_flat(travel.host(item))[-1] < limit:
        near = _without_start(near[::-1])[::-1]
    return near


def _without_start(flags: Flags) -> Flags:
    """The flags without the stretch that begins at the first opening."""
    kept = flags.copy()
    kept[: len(flags) if flags.all() else int(np.argmin(flags))] = False
    return kept


def _dead_point(travel: _Travel, item: CellOnFold) -> Finding | None:
    near = _near_dead_point(travel, item)
    if not near.any():
        return None
    middle, openings = travel.middle(item), travel.openings
    flat = _from_flat(middle)
    index = int(np.flatnonzero(near)[np.argmin(flat[near])])
    if _is_taken_along(travel, item, index):
        return None
    limit, measure = travel.spread.limits.dead_point, float(flat[index])
    state = "flat" if middle[index] > 90.0 else "folded shut"
    message = (
        f"{item.id} is near a dead point from {openings[near][0]:.1f} to {openings[near][-1]:.1f} degrees of opening: "
        f"its middle crease comes within {measure:.1f} degrees of {state} while its fold {item.fold} stands at "
        f"{travel.host(item)[index]:.1f} degrees, so it may lock or go either way; {limit:g} degrees or more are sure"
    )
    return _finding(travel, item, "dead-point", float(openings[index]), (measure, "deg"), message)


def _is_taken_along(travel: _Travel, item: CellOnFold, index: int) -> bool:
    """Whether a cell lies flat only because its fold does, which is at a dead point itself: that one is told."""
    if _from_flat(travel.host(item))[index] >= travel.spread.limits.dead_point:
        return False
    below = str(item.host.variable).split(":")[0]
    return any(_near_dead_point(travel, other)[index] for other in _cells(travel.spread) if other.id == below)


def _never_rises(travel: _Travel, item: CellOnFold) -> Finding | None:
    angles = [np.degrees(travel.motion.variables[f"{item.id}:{side}"]) for side in ("left", "right")]
    # Where the spread lies flat open the card may stand up, but nothing has raised it.
    rise = np.max([_from_flat(angle) for angle in angles], axis=0)[:-1]
    index = int(np.argmax(rise))
    if travel.high < 180.0 or rise[index] >= _RISE_DEG:
        return None
    message = (
        f"{item.id} never leaves its dead point: short of flat open both its panels lie within "
        f"{rise[index]:.1f} degrees of their hosts, and nothing makes it rise; change its sizes until it rises by "
        f"{_RISE_DEG:g} degrees or more"
    )
    opening, measure = float(travel.openings[index]), float(rise[index])
    return replace(_finding(travel, item, "dead-point", opening, (measure, "deg"), message), severity="note")


def check_snaps(spread: Spread) -> list[Finding]:
    """Warnings where a panel turns much faster than the book is opened.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, code "snaps", one a cell; opening_deg is where its fastest angle is fastest, measure that gain in
    degrees a degree of opening

    Notes
    -----
    Source: DESIGN.md, section 5. Looked at every quarter of a degree. A cell on a fold that snaps itself has the
    finding only where it makes that worse by as much; a dead point or a lock is told as such.
    """
    travel = _travel(spread)
    if travel is None:
        return []
    snapping: set[str] = set()
    findings = []
    for item in _cells(spread):
        own = _snap(travel, item, on_a_snapping_fold=str(item.host.variable).split(":")[0] in snapping)
        if own is not None:
            snapping.add(item.id)
            findings.append(own)
    return findings


def _snap(travel: _Travel, item: CellOnFold, *, on_a_snapping_fold: bool) -> Finding | None:
    limit = travel.spread.limits.snap
    gains = np.stack([travel.rates[f"{item.id}:{part}"] for part in _LINES])
    share = np.maximum(travel.rates[str(item.host.variable)], 1.0) if on_a_snapping_fold else 1.0
    fast = (gains.max(axis=0) > limit * share) & ~_near_dead_point(travel, item)
    if travel.low > 0.0:
        fast = _without_start(fast)
    if travel.high < 180.0:
        fast = _without_start(fast[::-1])[::-1]
    if not fast.any() or _never_rises(travel, item) is not None:
        return None
    part, index = np.unravel_index(int(np.argmax(np.where(fast, gains, 0.0))), gains.shape)
    gain, opening = float(gains[part, index]), float(travel.openings[index])
    lines, stretch = list(_LINES.values()), travel.openings[fast]
    message = (
        f"{item.id} snaps from {stretch[0]:.1f} to {stretch[-1]:.1f} degrees of opening: about {lines[part]} it turns "
        f"by up to {gain:.1f} degrees for each degree that the book is opened; at most {limit:g} are smooth"
    )
    return _finding(travel, item, "snaps", opening, (gain, "deg/deg"), message)


def _finding(
    travel: _Travel, item: CellOnFold, code: str, opening: float, measure: tuple[float, Unit], message: str
) -> Finding:
    crease = travel.spread.middle_of(item.id)
    panel = travel.spread.panels[crease.panels[0]]
    x, y = crease.lines[0].mean(axis=0)
    place = (float(x), float(y))
    return Finding(code, "warning", panel.piece, panel.id, place, opening, *measure, message)


def flat_when_open(spread: Spread) -> tuple[str, ...]:
    """Mechanisms that lie flat when the spread lies open, which a hand presses the right way before it closes.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    tuple of str
    """
    motion = _angles(spread, np.array([180.0]))
    flat = {item.id: np.degrees(motion.variables[f"{item.id}:middle"][0]) for item in _cells(spread)}
    return tuple(name for name, middle in flat.items() if middle > 180.0 - _FLAT_DEG)


@dataclass(frozen=True)
class Speed:
    """The fastest tip of a mechanism.

    Parameters
    ----------
    mechanism, panel : names
    place_mm : where it is on the panel's net
    opening_deg : where it is fastest
    mm_per_deg : how fast there, mm for each degree of opening
    speed_up : how many times as fast as the fore edge of the page that is turned
    """

    mechanism: str
    panel: str
    place_mm: tuple[float, float]
    opening_deg: float
    mm_per_deg: float
    speed_up: float


def speeds(spread: Spread) -> tuple[Speed, ...]:
    """How fast each mechanism's fastest tip moves, seen from the right page.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    tuple of Speed, one a cell, and one a loop that the opening moves
    """
    travel = _travel(spread)
    if travel is None:
        return ()
    before, after = travel.beside
    first, second = (spread.pose(np.radians(at)) for at in (before, after))
    found = []
    for unit in spread.units:
        if isinstance(unit, CellOnFold):
            found.append(_speed(travel, unit.id, spread.middle_of(unit.id).panels, first, second))
        elif isinstance(unit, Loop) and unit.driver == "spine":
            turned = [panel.id for panel in unit.geometry.panels if panel.variable in unit.geometry.unknowns]
            found.append(_speed(travel, unit.id, turned, first, second))
    return tuple(found)


def _speed(travel: _Travel, name: str, added: Sequence[str], first: Motion, second: Motion) -> Speed:
    page_mm_per_deg = travel.spread.page_size_mm[0] * np.pi / 180.0
    between = np.degrees(second.openings_rad - first.openings_rad)[:, None]
    best = Speed(name, added[0], (0.0, 0.0), 0.0, -1.0, 0.0)
    for panel in (travel.spread.panels[name] for name in added):
        corners = np.asarray(panel.outline.exterior.coords)
        ways = apply(second.matrices[panel.id], corners) - apply(first.matrices[panel.id], corners)
        rate = np.sqrt((ways**2).sum(axis=2)) / between
        row, column = np.unravel_index(int(np.nanargmax(rate)), rate.shape)
        found = float(rate[row, column])
        if found > best.mm_per_deg:
            place = (float(corners[column, 0]), float(corners[column, 1]))
            best = Speed(name, panel.id, place, float(travel.openings[row]), found, found / page_mm_per_deg)
    return best
