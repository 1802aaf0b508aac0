"""Trying: a book with one mechanism more, and what is wrong in it that was not wrong before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import tomlkit

from ..assembly import assemble
from ..checks import CHECKS, Finding
from ..checks.collisions import check_collisions
from ..description.data import Description, MechanismSpec
from ..description.reader import parse_description
from ..errors import DescriptionError, HingeleafError
from ..spread import Spread
from ..trees import owner_of

__all__ = ["STAGES", "Attempt", "Trial", "why_not"]

#: The checks, those first that cost least and refuse most.
STAGES: tuple[tuple[str, ...], ...] = (
    ("closes-flat", "opens-fully", "stays-inside"),
    ("glue", "dead-point", "snaps", "free-motion", "wheel", "pull-strip", "hand-locks"),
    ("through-host", "collides", "order"),
    ("crease-crosses-cut", "crease-ends-loose", "cut-ends-loose", "strength", "bulk"),
    ("hand-collides", "hands-collide"),
)
#: These look at every piece by itself, and take most of the time: only pieces that are new or cut otherwise matter.
_BY_PIECE = ("crease-crosses-cut", "crease-ends-loose", "cut-ends-loose", "strength")
_SEVERE = {"error": 10.0, "warning": 1.0, "note": 1.0}
#: What cannot be mended by moving anything else: it does not work where it stands.
_BROKEN = ("closes-flat", "opens-fully", "free-motion", "hand-locks", "dead-point")


@dataclass(frozen=True)
class Attempt:
    """A mechanism with some sizes, tried.

    Parameters
    ----------
    values : the keys of its description
    findings : what is wrong that was not before, as far as it was looked
    stages : how many stages of checks it passed
    """

    values: Mapping[str, Any]
    findings: tuple[Finding, ...]
    stages: int

    @property
    def badness(self) -> float:
        """The larger the worse; 0 where nothing is wrong."""
        return sum(_SEVERE[finding.severity] for finding in self.findings)

    @property
    def moves_ill(self) -> bool:
        """Whether something of its own motion is wrong, which no other size in proportion and no other place mends."""
        return any(finding.code in (*_BROKEN, "snaps") for finding in self.findings)

    @property
    def broken(self) -> Finding | None:
        """What keeps it from working at all; None where only something is in its way."""
        for finding in self.findings:
            if finding.code in _BROKEN and (finding.severity == "error" or finding.severity == "note"):
                return finding
        return None


class Trial:
    """One mechanism more in a book, or in a part of it."""

    def __init__(self, description: Description, kind: str, name: str, before: Spread | None = None) -> None:
        self.description, self.kind, self.name = description, kind, name
        self._before = before
        self._known: dict[str, frozenset[tuple[str, str | None, str | None]]] = {}

    @property
    def before(self) -> Spread:
        """The book without it."""
        if self._before is None:
            self._before = assemble(self.description)
        return self._before

    def built(self, values: Mapping[str, Any]) -> Spread:
        """The book with it.

        Raises
        ------
        HingeleafError
            It cannot be built with these sizes.
        """
        spec = _spec(self.description, self.kind, self.name, values)
        return assemble(replace(self.description, mechanisms=(*self.description.mechanisms, spec)))

    def attempt(self, values: Mapping[str, Any], *, thorough: bool = False) -> Attempt:
        """Build it and check it; unless it is to be thorough, only up to the first stage that finds something.

        Raises
        ------
        HingeleafError
            It cannot be built with these sizes.
        """
        return self.judged(values, self.built(values), thorough=thorough)

    def judged(self, values: Mapping[str, Any], spread: Spread, *, thorough: bool) -> Attempt:
        """What the checks find in a book that is built."""
        found: list[Finding] = []
        for number, codes in enumerate(STAGES):
            for code in codes:
                found += self._new(code, spread)
                if found and not thorough:
                    return Attempt(values, tuple(found), number)
        return Attempt(values, tuple(found), len(STAGES))

    def _new(self, code: str, spread: Spread) -> list[Finding]:
        """Findings of one check that were not there before."""
        found = [finding for finding in self._check(code, spread) if self._counts(finding, spread)]
        if not found:
            return []
        if code not in self._known:
            before = self._check(code, self.before)
            self._known[code] = frozenset(item.key for item in before if item.severity != "note")
        return [finding for finding in found if finding.key not in self._known[code]]

    def _counts(self, finding: Finding, spread: Spread) -> bool:
        if finding.severity != "note":
            return True
        if finding.code != "dead-point" or finding.panel is None or owner_of(finding.panel) != self.name:
            return False
        # A note on a dead point: it never rises as the book opens. A hand may raise it all the same.
        return not any(f"{self.name}:middle" in spread.moved_by(hand.variable) for hand in spread.hands)

    def _check(self, code: str, spread: Spread) -> Iterable[Finding]:
        if code in _BY_PIECE:
            spread = replace(spread, pieces=tuple(item for item in spread.pieces if self._touched(item.id, spread)))
        if code == "collides":
            own = frozenset(name for name in spread.panels if owner_of(name) == self.name)
            return check_collisions(spread, among=own)
        return CHECKS[code](spread)

    def _touched(self, piece: str, spread: Spread) -> bool:
        before = self.before.panels
        own = (panel for panel in spread.panels.values() if panel.piece == piece)
        return any(panel.id not in before or panel.outline != before[panel.id].outline for panel in own)


def _spec(description: Description, kind: str, name: str, values: Mapping[str, Any]) -> MechanismSpec:
    """A mechanism as it is read from a description, by itself."""
    page = description.page
    document = tomlkit.document()
    document["format"] = 1
    document["page"] = {"size": [page.width_mm, page.height_mm]}
    document["stock"] = {stock: {} for stock in description.stocks}
    document["mechanism"] = [{"kind": kind, "id": name, **values}]
    return parse_description(tomlkit.dumps(document)).mechanisms[0]


def why_not(error: HingeleafError) -> str:
    """The first problem of an error, without its place."""
    if isinstance(error, DescriptionError) and error.problems:
        return error.problems[0].message
    return str(error)
