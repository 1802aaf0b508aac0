"""Placing: a mechanism put on a fold or a panel with sizes that close flat and fit.

Sizes in good proportion are tried from the largest and nearest down, on a part of the book, until one brings nothing
wrong that was not there before; the last check is on the whole book.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from shapely import Point, Polygon

from ..assembly import assemble
from ..checks import Finding
from ..description.data import Description
from ..errors import HingeleafError
from ..model import Fold
from ..spread import Spread
from ..trees import owner_of
from .editing import add_mechanism, free_id
from .offering import ADDED, Target, refusal
from .panel_sizes import layer_candidates, panel_candidates
from .part import part_of
from .room import fold_room, panel_room
from .starting_sizes import Candidate, fold_candidates
from .strap_sizes import strap_candidates
from .trying import Attempt, Trial, why_not

__all__ = ["Placed", "can_carry", "place"]

#: So many sizes are built and checked; loops are solved by numbers, which takes longer.
_MOST, _MOST_LOOPS = 24, 14
_LOOPS = ("box", "layer", "strap")
#: So many of those that would stand on what others are glued on.
_MOST_CROWDED = 6
#: Of those that are not without fault, so many are looked at thoroughly.
_MOST_FAULTY = 2
#: How often what is in the way in the whole book is taken into the part.
_ROUNDS = 2
#: Sides that a description means where it names none.
_USUAL_SIDES = ("valley", "outer")
#: A book of no more mechanisms is taken as a whole; in a larger one so many neighbours.
_SMALL_BOOK, _NEIGHBOURS = 6, 6


@dataclass(frozen=True)
class Placed:
    """A mechanism that stands.

    Parameters
    ----------
    description : with it
    mechanism_id : its name
    values : the keys of its description
    notes : what is wrong with it where nothing better was found, sentences; empty where all is well
    """

    description: Description
    mechanism_id: str
    values: Mapping[str, Any]
    notes: tuple[str, ...]


def place(
    description: Description,
    spread: Spread,
    kind: str,
    target: Target,
    at_mm: float | None = None,
    point_mm: tuple[float, float] | None = None,
    *,
    second: Target | None = None,
) -> Placed:
    """Put a mechanism on a fold or a panel.

    Parameters
    ----------
    description, spread : the book, read and built
    kind : a kind of mechanism
    target : the fold and its side, or the panel; of a layer any wall of its box
    at_mm : where along the fold it is pointed at: a v-fold's apex, the middle of any other; of a layer its place from
        the box's start; None for the best place
    point_mm : where on the panel it is pointed at, in net coordinates: its middle, a pull-strip's inner end, a wheel's
        pivot, the middle of a strap's first glue line
    second : of a strap the panel on which it ends

    Returns
    -------
    Placed

    Raises
    ------
    HingeleafError
        It cannot be built here, or cannot work whatever its sizes.
    """
    reason = refusal(spread, description, kind, target)
    if reason:
        raise HingeleafError(_sentence(target, reason))
    name = free_id(description, kind)
    places = _pointed_at(spread, target, at_mm, point_mm, second)

    def candidates() -> Iterator[Candidate]:
        return _candidates(description, spread, kind, target, at_mm, point_mm, second)

    return _Search(description, spread, kind, name, target, places, candidates).result()


def can_carry(description: Description, spread: Spread, kind: str, target: Target) -> str:
    """Why a mechanism cannot stand at a place, by trying it; "" where it can. What can stand with faults can stand."""
    try:
        place(description, spread, kind, target)
    except HingeleafError as error:
        return str(error)
    return ""


def _sentence(target: Target, reason: str) -> str:
    """A reason with the name of what it is about."""
    name = target.fold if target.fold is not None else target.panel
    return f"{name} {reason}" if reason.startswith(("is ", "has ", "does ", "lies ", "joins ")) else f"{name}: {reason}"


def _candidates(
    description: Description,
    spread: Spread,
    kind: str,
    target: Target,
    at_mm: float | None,
    point_mm: tuple[float, float] | None,
    second: Target | None,
) -> Iterator[Candidate]:
    if target.fold is not None:
        fold = _fold(spread, target)
        usual = kind == "slit-cut-in" or fold.side in _USUAL_SIDES
        host = {"fold": fold.id} if usual else {"fold": fold.id, "side": fold.side}
        return _with(host, fold_candidates(fold_room(spread, fold), kind, at_mm))
    panel = str(target.panel)
    if kind not in ADDED:
        raise HingeleafError(f"a {kind} is made from a model; choose its file, or the mesh, first")
    if kind == "strap":
        if second is None or second.panel is None:
            raise HingeleafError("a strap goes from one panel to another; point at a second panel")
        return strap_candidates(spread, panel, second.panel, point_mm)
    if kind == "layer":
        box = next(spec for spec in description.mechanisms if spec.id == owner_of(panel))
        return layer_candidates(box, at_mm)
    return _with({"panel": panel}, panel_candidates(panel_room(spread, panel), kind, point_mm))


def _with(host: Mapping[str, Any], candidates: Iterable[Candidate]) -> Iterator[Candidate]:
    for candidate in candidates:
        yield replace(candidate, values={**host, **candidate.values})


def _fold(spread: Spread, target: Target) -> Fold:
    """The side of a fold that is meant; without one the side that a description would take."""
    fold = str(target.fold)
    wanted = (target.side,) if target.side is not None else (*_USUAL_SIDES, "tab")
    for side in wanted:
        if (fold, side) in spread.folds:
            return spread.folds[(fold, side)]
    raise HingeleafError(f"{fold} has no {target.side} side")


def _pointed_at(
    spread: Spread,
    target: Target,
    at_mm: float | None,
    point_mm: tuple[float, float] | None,
    second: Target | None,
) -> dict[str, Point]:
    """The hosts, and what place on each is meant, in its net coordinates."""
    if target.fold is not None:
        fold = _fold(spread, target)
        at = (fold.start + fold.end) / 2 if at_mm is None else at_mm
        return {host.panel: Point(host.point(at)) for host in (fold.left, fold.right)}
    panels = [item.panel for item in (target, second) if item is not None and item.panel is not None]
    places = {panel: spread.panels[panel].outline.centroid for panel in panels}
    return places if point_mm is None or target.panel is None else {**places, target.panel: Point(point_mm)}


@dataclass(frozen=True)
class _Search:
    """For sizes with which a mechanism of some name stands at a place."""

    description: Description
    spread: Spread
    kind: str
    name: str
    target: Target
    places: Mapping[str, Point]
    candidates: Callable[[], Iterator[Candidate]]

    def result(self) -> Placed:
        """The first of the candidates without a fault, or the least bad."""
        near, every = self._near(), {spec.id for spec in self.description.mechanisms}
        best: tuple[Description, Attempt] | None = None
        for _ in range(_ROUNDS):
            in_part = attempt = self._in_part(near, whole=near == every)
            changed = add_mechanism(self.description, self.kind, self.name, attempt.values)
            if near != every:
                whole = Trial(self.description, self.kind, self.name, self.spread)
                attempt = whole.judged(attempt.values, assemble(changed), thorough=True)
            if best is None or attempt.badness < best[1].badness:
                best = changed, attempt
            others = {owner for finding in attempt.findings for owner in _owners(finding)} & every - near
            if not others or in_part.findings:
                break
            near |= others
        if best is None:
            raise HingeleafError(f"no {self.kind} was tried")
        notes = tuple(finding.message for finding in best[1].findings)
        return Placed(best[0], self.name, best[1].values, notes)

    def _near(self) -> set[str]:
        """What it stands on, and the nearest of what stands there too; all, in a small book."""
        names = {spec.id for spec in self.description.mechanisms}
        if len(names) <= _SMALL_BOOK:
            return names
        apart: dict[str, float] = {}
        for panel, place in self.places.items():
            for owner, outline in _standing_on(self.spread, panel):
                apart[owner] = min(apart.get(owner, math.inf), float(outline.distance(place)))
        nearest = sorted(apart, key=lambda name: apart[name])[:_NEIGHBOURS]
        return ({owner_of(panel) for panel in self.places} | set(nearest)) & names

    def _in_part(self, near: set[str], *, whole: bool) -> Attempt:
        """The first candidate without a fault in the part of the book that is near, or the least bad."""
        part = self.description if whole else part_of(self.description, near, standing=False)
        trial = Trial(part, self.kind, self.name, self.spread if whole else None)
        faulty: list[Attempt] = []
        refused: HingeleafError | None = None
        hopeless: set[str] = set()
        most = _MOST_LOOPS if self.kind in _LOOPS else _MOST
        tried = crowded = 0
        for candidate in self.candidates():
            if candidate.shape in hopeless:
                continue
            tried += 1
            crowded += candidate.crowded
            if tried > most or crowded > _MOST_CROWDED:
                break
            try:
                attempt = trial.attempt(candidate.values)
            except HingeleafError as error:
                refused = refused or error
                continue
            if not attempt.findings:
                return attempt
            faulty.append(attempt)
            if attempt.moves_ill:
                hopeless.add(candidate.shape)
        if not faulty:
            raise HingeleafError(_sentence(self.target, self._unbuilt(refused)))
        return self._least_bad(trial, faulty)

    def _unbuilt(self, refused: HingeleafError | None) -> str:
        if refused is None:
            return f"has no room for a {self.kind} that a hand could make"
        return f"a {self.kind} cannot be built here: {why_not(refused)}"

    def _least_bad(self, trial: Trial, faulty: list[Attempt]) -> Attempt:
        """Of those with faults, the one that has the fewest and works."""
        working = [attempt for attempt in faulty if attempt.broken is None]
        working.sort(key=lambda attempt: (attempt.badness, -attempt.stages))
        looked_at = [trial.attempt(attempt.values, thorough=True) for attempt in working[:_MOST_FAULTY]]
        standing = [attempt for attempt in looked_at if attempt.broken is None]
        if standing:
            return min(standing, key=lambda attempt: attempt.badness)
        broken = next(attempt.broken for attempt in (*faulty, *looked_at) if attempt.broken is not None)
        raise HingeleafError(_sentence(self.target, f"a {self.kind} cannot work here: {broken.message}"))


def _standing_on(spread: Spread, panel: str) -> Iterator[tuple[str, Polygon]]:
    """What stands on a panel or is cut from it: the mechanism, and where, in the panel's net coordinates."""
    for area in spread.glue_areas:
        if area.host == panel:
            yield owner_of(area.glued), area.outline
    for item in spread.panels.values():
        if item.parent == panel and item.role == "strip":
            yield owner_of(item.id), item.outline


def _owners(finding: Finding) -> set[str]:
    return {owner_of(name) for name in (finding.panel, finding.other) if name is not None}
