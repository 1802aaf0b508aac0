"""Remedies: the smallest change of one or two sizes that makes a finding go away, tried before it is told."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from .assembly import assemble
from .changes import Change, Sizing, apply_changes, sizes_of, spec_of, unit_of
from .checks import CHECKS, run_checks
from .checks.closes_flat import closing_error
from .checks.collisions import check_collisions
from .checks.findings import Finding
from .description.data import Description
from .errors import HingeleafError
from .spread import Spread

__all__ = ["Remedy", "Trials", "each_with_remedy", "remedied", "remedies_for", "with_remedies"]

#: Sizes that a person would change for a finding, the likeliest first.
_KEYS = {
    "closes-flat": ("crease_angle", "height", "base", "angle"),
    "opens-fully": ("height", "crease_angle", "base", "angle"),
    "stays-inside": ("height", "width", "at", "at.x", "at.y", "crease_angle", "length", "base", "size.x", "size.y"),
    "collides": (
        "at",
        "at.x",
        "at.y",
        "height",
        "width",
        "crease_angle",
        "angle",
        "base",
        "length",
        "size.x",
        "size.y",
    ),
    "through-host": ("crease_angle", "height", "base", "angle", "at.x", "at.y", "size.x", "size.y"),
    "crease-crosses-cut": ("width", "at", "length", "size.x", "size.y"),
    "order": ("at", "height", "width", "crease_angle", "angle", "base", "length"),
    "glue": ("tab_width", "at", "at.x", "at.y", "width", "base", "length"),
    "strength": ("width", "length", "at", "tab_width", "size.x", "size.y"),
    "dead-point": ("crease_angle", "height", "angle", "base"),
    "snaps": ("angle", "crease_angle", "height", "base"),
    "bulk": (),
}
#: Findings that keep a spread from moving and so hide others.
_HIDING = ("closes-flat", "opens-fully")
_FIRST_STEP = 0.1
_LARGEST = 120.0
_MOST_OFFERED = 2
_MOST_FINDINGS = 12

#: Sizes, by (mechanism, key).
_Sizes = frozenset[tuple[tuple[str, str], float]]


@dataclass(frozen=True)
class Remedy:
    """Changes that together make one finding go away."""

    changes: tuple[Change, ...]

    @property
    def cost(self) -> float:
        """How much is changed: the largest step, a degree counted like a millimetre, a second size a little more."""
        return max(abs(change.after - change.before) for change in self.changes) * (1 + 0.1 * (len(self.changes) - 1))

    @property
    def sizes(self) -> dict[tuple[str, str], float]:
        """What the sizes are changed to, by (mechanism, key)."""
        return {(change.mechanism, change.key): change.after for change in self.changes}

    def __str__(self) -> str:
        return "change " + " and ".join(str(change) for change in self.changes)


@dataclass(frozen=True)
class Trials:
    """A description with other sizes, built and checked; the same sizes once only, however many findings ask for them.

    Parameters
    ----------
    description : as it is
    """

    description: Description
    _spreads: dict[_Sizes, Spread | None] = field(default_factory=dict)
    _findings: dict[tuple[_Sizes, str], list[Finding]] = field(default_factory=dict)

    @cached_property
    def _sizing(self) -> Sizing:
        return Sizing(self.description)

    def spread(self, changes: Mapping[tuple[str, str], float]) -> Spread | None:
        """What it builds with other sizes, by (mechanism, key); None where it cannot be built."""
        sizes = frozenset(changes.items())
        if sizes not in self._spreads:
            try:
                self._spreads[sizes] = assemble(self._sizing.sized(changes))
            except HingeleafError:
                self._spreads[sizes] = None
        return self._spreads[sizes]

    def findings(self, changes: Mapping[tuple[str, str], float], code: str) -> list[Finding]:
        """What one check says of it; nothing where it cannot be built."""
        key = frozenset(changes.items()), code
        if key not in self._findings:
            spread = self.spread(changes)
            self._findings[key] = [] if spread is None else CHECKS[code](spread)
        return self._findings[key]

    def hurts_nothing(self, changes: Mapping[tuple[str, str], float]) -> bool:
        """Whether no check says of it what it does not say of the description as it is."""
        return all(
            {item.key for item in self.findings(changes, code)} <= {item.key for item in self.findings({}, code)}
            for code in CHECKS
        )

    def is_gone(self, changes: Mapping[tuple[str, str], float], finding: Finding) -> bool:
        """Whether it can be built and a finding's own check no longer reports it."""
        spread = self.spread(changes)
        if spread is None:
            return False
        if finding.code == "collides" and finding.panel is not None and finding.other is not None:
            pair = (finding.panel, finding.other)
            if set(pair) <= set(spread.panels):
                return not check_collisions(spread, pair)
            return not self.findings(changes, "collides")
        if finding.code == "crease-crosses-cut":
            # A crease is no better off a hair beside the cut.
            weak = self.findings(changes, "strength")
            if any(item.panel in (finding.panel, finding.other) for item in weak):
                return False
        if finding.code == "dead-point":
            # Just beside its dead point a mechanism snaps.
            snaps = self.findings(changes, "snaps")
            if any(item.panel == finding.panel for item in snaps):
                return False
        return all(item.key != finding.key for item in self.findings(changes, finding.code))


def with_remedies(description: Description, spread: Spread, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The findings, each with its remedy where one was found; the first few only, for each is tried out.

    Parameters
    ----------
    description, spread : the same scene, read and built
    findings : what run_checks said of it
    """
    return tuple(each_with_remedy(description, spread, findings))


def each_with_remedy(description: Description, spread: Spread, findings: Sequence[Finding]) -> Iterator[Finding]:
    """The same one by one, as each may take a while."""
    trials = Trials(description)
    known: dict[tuple[str, frozenset[str]], tuple[Remedy, ...]] = {}
    for finding in findings:
        # Left and right of the same mechanisms mostly have the same remedy: it is tried before one is looked for.
        group = finding.code, frozenset(_owners(description, finding))
        if group in known:
            remedies = tuple(item for item in known[group] if trials.is_gone(item.sizes, finding))
        elif len(known) < _MOST_FINDINGS:
            remedies = known[group] = remedies_for(description, spread, finding, trials)
        else:
            remedies = ()
        text = "; or ".join(str(remedy) for remedy in remedies)
        if not text:
            yield finding
            continue
        sizes = tuple((name, key, value) for (name, key), value in remedies[0].sizes.items())
        yield replace(finding, remedy=text, mending=sizes)


def remedied(description: Description, code: str) -> tuple[Description, tuple[Remedy, ...]]:
    """The description with the best remedy of each finding of one code applied, one after the other.

    Parameters
    ----------
    description : Description
    code : of the findings

    Returns
    -------
    description : changed
    remedies : what was applied

    Raises
    ------
    HingeleafError
        There is no such finding, or none that has a remedy.
    """
    applied: list[Remedy] = []
    for _ in range(_MOST_FINDINGS):
        spread = assemble(description)
        left = [finding for finding in run_checks(spread) if finding.code == code]
        if not left:
            break
        trials = Trials(description)
        every = (remedies_for(description, spread, item, trials) for item in left)
        best = next((found[0] for found in every if found), None)
        if best is None:
            break
        description = apply_changes(description, best.sizes)
        applied.append(best)
    if not applied:
        what = "no remedy was found for" if left else "there is no finding with"
        raise HingeleafError(f"{description.source}: {what} the code {code}; nothing was changed")
    return description, tuple(applied)


def remedies_for(
    description: Description, spread: Spread, finding: Finding, trials: Trials | None = None
) -> tuple[Remedy, ...]:
    """Remedies for a finding, the smallest change first.

    Parameters
    ----------
    description, spread : the same scene, read and built
    finding : one of its findings
    trials : what has been tried of the same description

    Returns
    -------
    tuple of Remedy, at most two. Each was tried: with it the finding is gone and no finding has come up that was not
    there before.
    """
    if finding.code not in _KEYS or any(finding.panel in solid.panels for solid in spread.solids):
        # What a solid's facets and tabs are like is up to its model.
        return ()
    trials = Trials(description) if trials is None else trials
    found: list[Remedy] = []
    for mechanism in _owners(description, finding):
        for keys in _candidates(description, spread, mechanism, finding.code):
            costs = sorted(remedy.cost for remedy in found)
            # No more than so many are offered, and none that asks for much more than the best.
            limit = min(4 * (costs or [_LARGEST])[0], *costs[_MOST_OFFERED - 1 : _MOST_OFFERED], _LARGEST)
            remedy = _search(trials, spread, mechanism, keys, finding, limit)
            if remedy is not None:
                found.append(remedy)
    return tuple(sorted(found, key=lambda remedy: round(remedy.cost, 6))[:_MOST_OFFERED])


def _owners(description: Description, finding: Finding) -> list[str]:
    """The mechanisms whose sizes may be changed: those of the panels, or of the piece."""
    known = {spec.id for spec in description.mechanisms}
    names = [finding.panel, finding.other, finding.piece]
    owners = [name.split(".")[0] for name in names if name is not None]
    return [name for name in dict.fromkeys(owners) if name in known]


def _candidates(description: Description, spread: Spread, mechanism: str, code: str) -> Iterator[tuple[str, ...]]:
    sizes = sizes_of(description, spread, mechanism)
    for key in _KEYS[code]:
        left, right = f"{key}_left", f"{key}_right"
        if key in sizes:
            yield (key,)
        elif left in sizes and right in sizes:
            yield (right,)
            yield (left,)
            yield (left, right)
        elif left in sizes or right in sizes:
            yield (left if left in sizes else right,)


def _search(
    trials: Trials, spread: Spread, mechanism: str, keys: tuple[str, ...], finding: Finding, limit: float
) -> Remedy | None:
    """The smallest step of these sizes, all by the same amount, with which the finding is gone."""
    before = sizes_of(trials.description, spread, mechanism)
    spec = spec_of(trials.description, mechanism)

    def changed(step: float) -> dict[tuple[str, str], float]:
        return {(mechanism, key): before[key] + step for key in keys}

    def gone(step: float) -> bool:
        return trials.is_gone(changed(step), finding)

    def passes(step: float) -> bool:
        # A spread that did not move so far could not be judged; what comes to light once it moves is no new fault.
        return gone(step) and (finding.code in _HIDING or trials.hurts_nothing(changed(step)))

    if finding.code == "closes-flat":
        # Closing is a condition of no width, so its exact step is computed; its sign depends on what the size is.
        error = closing_error(spread, mechanism)
        steps = [step for step in (error, -error) if passes(step)] if error is not None and len(keys) == 1 else []
    else:
        tried = (_smallest(gone, passes, sign, limit) for sign in (1.0, -1.0))
        steps = [step for step in tried if step is not None]
    if not steps:
        return None
    step = min(steps, key=abs)
    after = changed(step)
    return Remedy(
        tuple(Change(mechanism, key, before[key], after[(mechanism, key)], unit_of(spec, key)) for key in keys)
    )


def _smallest(
    gone: Callable[[float], bool], passes: Callable[[float], bool], sign: float, limit: float
) -> float | None:
    """The smallest step, in tenths, with which the finding is gone, made larger until nothing else is hurt by it."""
    low, high, most = 0, 1, math.floor(limit / _FIRST_STEP)
    while not gone(sign * high * _FIRST_STEP):
        if high >= most:
            return None
        low, high = high, min(2 * high, most)
    while high - low > 1:
        middle = (low + high) // 2
        if gone(sign * middle * _FIRST_STEP):
            high = middle
        else:
            low = middle
    for larger in (1.0, 1.25, 1.6):
        found = round(sign * math.ceil(high * larger) * _FIRST_STEP, 6)
        if abs(found) <= limit and passes(found):
            return found
    return None
