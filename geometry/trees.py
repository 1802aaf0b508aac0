"""What stands on each other: the parts of a spread that move by themselves, so that each can be looked at alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from .motion import Unit
from .spread import Spread

__all__ = ["owner_of", "trees_of"]

_PAGES = ("page.right", "page.left")


def owner_of(name: str) -> str:
    """The mechanism that a panel, a fold or a variable belongs to; "page" or "spine" of what is the pages' own.

    Examples
    --------
    >>> owner_of("hill.left.tab"), owner_of("hill:middle"), owner_of("page.left")
    ('hill', 'hill', 'page')
    """
    return name.split(":")[0].split(".")[0]


def trees_of(spread: Spread) -> tuple[Spread, ...]:
    """The spread in parts whose motions do not depend on each other.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    tuple of Spread: the two pages by themselves, then the pages with all that stands on each other or is joined, part
    by part, in the order of its first panel. Each has the panels and units of its part; all else is the whole's
    """
    joined = _joined(spread)
    panels: dict[str, list[str]] = {}
    for name in spread.panels:
        if name not in _PAGES:
            panels.setdefault(joined[owner_of(name)], []).append(name)
    units: dict[str, list[Unit]] = {}
    for unit in spread.units:
        units.setdefault(joined[owner_of(unit.id)], []).append(unit)
    return (_part(spread, (), ()), *(_part(spread, names, units.get(root, ())) for root, names in panels.items()))


def _part(spread: Spread, names: Iterable[str], units: Iterable[Unit]) -> Spread:
    panels = {name: spread.panels[name] for name in (*_PAGES, *names)}
    return replace(spread, panels=panels, units=tuple(units))


def _joined(spread: Spread) -> dict[str, str]:
    """For each mechanism the first of those that it moves together with."""
    first: dict[str, str] = {}

    def root(name: str) -> str:
        while first.setdefault(name, name) != name:
            name = first[name]
        return name

    for name, other in _links(spread):
        one, two = root(name), root(other)
        first[two] = one
    return {name: root(name) for name in list(first)}


def _links(spread: Spread) -> Iterator[tuple[str, str]]:
    """Pairs of mechanisms of which one stands on the other, or is moved by it."""
    for panel in spread.panels.values():
        own = owner_of(panel.id)
        if own == "page":
            continue
        yield own, own
        for name in (panel.parent, panel.variable):
            if name is not None and owner_of(name) not in ("page", "spine"):
                yield owner_of(name), own
    for unit in spread.units:
        own = owner_of(unit.id)
        yield own, own
        for name in unit.needs:
            if owner_of(name) != "spine":
                yield owner_of(name), own
