"""A part of a description: what one mechanism needs to stand, and what stands on it, without the rest of the book.

While a size is dragged, only this part is built at every step, so that a step takes as long as what depends on it and
not as long as the book. What others on the same host add, such as tabs that keep off each other, comes with the whole.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from shapely import Polygon

from ..assembly import assemble
from ..description.data import Description, MechanismSpec
from ..description.fields import HOSTS
from ..errors import HingeleafError
from ..outline import common_part, parts_of
from ..spread import Spread
from ..trees import owner_of

__all__ = ["Drag", "begin_drag", "part_of"]


def part_of(description: Description, ids: Iterable[str], *, standing: bool = True) -> Description:
    """A description with only some of its mechanisms.

    Parameters
    ----------
    description : the whole
    ids : of the mechanisms that are wanted
    standing : with all that stands on them, directly or not

    Returns
    -------
    Description: the wanted ones, what they stand on, directly or not, and what moves that; in the order of the whole.
    Its text is still that of the whole
    """
    specs = {spec.id: spec for spec in description.mechanisms}
    hosts = {name: _hosts(spec) & specs.keys() for name, spec in specs.items()}
    kept = _grown(set(ids) & specs.keys(), hosts, specs, standing=standing)
    return replace(description, mechanisms=tuple(spec for spec in description.mechanisms if spec.id in kept))


def _hosts(spec: MechanismSpec) -> set[str]:
    return {owner_of(str(spec.values[key])) for key in HOSTS if key in spec.values}


def _grown(
    wanted: set[str], hosts: Mapping[str, set[str]], specs: Mapping[str, MechanismSpec], *, standing: bool
) -> set[str]:
    kept = set(wanted)
    while standing:
        more = {name for name, below in hosts.items() if below & kept} - kept
        if not more:
            break
        kept |= more
    while True:
        more = {name for own in kept for name in hosts[own]}
        # What is driven by something else cannot be built without that.
        driven = {name for name in kept if specs[name].values.get("driven")}
        more |= {name for name, below in hosts.items() if below & driven}
        if more <= kept:
            return kept
        kept |= more


@dataclass(frozen=True)
class Drag:
    """A mechanism whose sizes are being changed, step by step.

    Parameters
    ----------
    mechanism : its id
    moved : the mechanisms that a step may change: itself and what stands on it
    rest : the part without them
    others : the part with the others that cut the same hosts; None where none do
    """

    mechanism: str
    moved: frozenset[str]
    rest: Spread
    others: Spread | None

    def step(self, description: Description) -> tuple[Spread, Mapping[str, Polygon]]:
        """Build the part with changed sizes.

        Parameters
        ----------
        description : the whole, with other sizes of the mechanism

        Returns
        -------
        spread : of the part
        outlines : of panels of hosts that are cut otherwise than before the mechanism was there, (panel to Polygon)

        Raises
        ------
        HingeleafError
            It cannot be built with these sizes.
        """
        spread = assemble(part_of(description, [self.mechanism]))
        cut: dict[str, Polygon] = {}
        for name, panel in self.rest.panels.items():
            now = spread.panels[name].outline
            if now.equals(panel.outline):
                continue
            others = self.rest if self.others is None else self.others
            left = parts_of(common_part(now, others.panels[name].outline))
            if left:
                cut[name] = max(left, key=lambda item: item.area)
        return spread, cut


def begin_drag(description: Description, mechanism: str) -> Drag:
    """Get ready to change the sizes of one mechanism step by step.

    Raises
    ------
    HingeleafError
        The book cannot be built as it is.
    """
    part = part_of(description, [mechanism])
    alone = part_of(description, [mechanism], standing=False)
    below = {spec.id for spec in alone.mechanisms} - {mechanism}
    moved = {spec.id for spec in part.mechanisms} - below
    rest = replace(part, mechanisms=tuple(spec for spec in part.mechanisms if spec.id in below))
    try:
        return Drag(mechanism, frozenset(moved), assemble(rest), _others(description, moved, below))
    except HingeleafError:
        # What it stands on does not stand without it, as a flap that it drives: all of the part moves then.
        everything = frozenset(spec.id for spec in part.mechanisms)
        bare = replace(part, mechanisms=())
        return Drag(mechanism, everything, assemble(bare), _others(description, set(everything), set()))


def _others(description: Description, moved: set[str], below: set[str]) -> Spread | None:
    """The book without what is moved, if anything in it may cut the same hosts."""
    kept = tuple(spec for spec in description.mechanisms if spec.id not in moved)
    hosts = below | {"page", "spine"}
    cutters = [spec for spec in kept if spec.id not in below and _hosts(spec) & hosts and _cuts(spec)]
    if not cutters:
        return None
    cutting = {name for spec in cutters for name in (spec.id, *below)}
    return assemble(part_of(replace(description, mechanisms=kept), cutting, standing=False))


def _cuts(spec: MechanismSpec) -> bool:
    """Whether a mechanism cuts what it stands on: its own strip, a slot for a tab, a window."""
    slots = any(value == "through" for key, value in spec.values.items() if key.startswith("tab"))
    return slots or spec.kind in ("slit-cut-in", "wheel", "pull-strip")
