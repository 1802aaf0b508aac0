"""Joints: what is glued to what, which pieces are put together first, and in which order mechanisms go in.

A mechanism's pieces bear its id, alone or before a dot, so they form an *assembly*: joints between its own pieces
are made on the table, joints on what stands already are made in the spread. Hosts come before guests; of two that do
not stand on each other, what lies inside the other in the closed spread comes first, while it can still be reached.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import shapely

from ..layers import pile_of
from ..model import GlueArea, Panel
from ..nets.glue import glue_name
from ..outline import carried
from ..spread import Spread
from ..transforms import Array, apply
from .states import reading, standing

__all__ = ["Assembly", "Joint", "assemblies", "assembly_of", "crosses"]


@dataclass(frozen=True)
class Joint:
    """One part glued on one face of one panel.

    Parameters
    ----------
    glued, host : panels
    face : of the host
    areas : where
    through : the tab goes through a slot in its host
    """

    glued: str
    host: str
    face: str
    areas: tuple[GlueArea, ...]
    through: bool = False

    @property
    def name(self) -> str:
        """What the part and its place are called on the nets."""
        return glue_name(self.glued)


@dataclass(frozen=True)
class Assembly:
    """One mechanism as a hand puts it together.

    Parameters
    ----------
    id : the mechanism's
    pieces : its pieces
    inner : joints between them, a tuple for each host piece, made on the table
    outer : joints on what stands already, a tuple for each host panel, in their order
    moved : panels that slide or turn about a pivot, and are not glued
    encloses : earlier assemblies that lie between its panels in the closed spread
    within : earlier assemblies, not its hosts, between whose panels it lies there
    """

    id: str
    pieces: tuple[str, ...]
    inner: tuple[tuple[Joint, ...], ...]
    outer: tuple[tuple[Joint, ...], ...]
    moved: tuple[str, ...]
    encloses: tuple[str, ...] = ()
    within: tuple[str, ...] = ()


def assembly_of(piece_id: str) -> str:
    """The mechanism that a piece belongs to."""
    return piece_id.split(".")[0]


def assemblies(spread: Spread) -> tuple[Assembly, ...]:
    """Every mechanism with pieces of its own, in the order in which they are put in.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    tuple of Assembly; the page card is none
    """
    joints = _joints(spread)
    names = dict.fromkeys(assembly_of(piece.id) for piece in spread.pieces[1:])
    found = {name: _assembly(spread, name, joints) for name in names}
    hosts = {name: _hosts(spread, each) for name, each in found.items()}
    inside = _inside(spread, found)
    placed: list[str] = []
    waiting = list(found)
    while waiting:
        ready = [name for name in waiting if hosts[name] <= {*placed, "page"}]
        # Where two lie in each other no order is better; the written one stands.
        free = [name for name in ready if not inside[name] & set(waiting)]
        placed.append((free or ready or waiting)[0])
        waiting.remove(placed[-1])
    return tuple(_nested(found[name], placed[:number], hosts, inside) for number, name in enumerate(placed))


def _nested(
    assembly: Assembly, earlier: Sequence[str], hosts: Mapping[str, frozenset[str]], inside: Mapping[str, set[str]]
) -> Assembly:
    """With the earlier assemblies that lie between its panels or around it; what stands on one goes with it."""
    name = assembly.id
    carries = _all_hosts(hosts, name)
    encloses = [other for other in earlier if other in inside[name] and other not in carries]
    within = [other for other in earlier if name in inside[other] and other not in carries]
    lowest = [
        tuple(other for other in found if not _all_hosts(hosts, other) & set(found)) for found in (encloses, within)
    ]
    return replace(assembly, encloses=lowest[0], within=lowest[1])


def _all_hosts(hosts: Mapping[str, frozenset[str]], name: str) -> set[str]:
    """The assemblies that one stands on, and those that they stand on."""
    every: set[str] = set()
    waiting = [name]
    while waiting:
        new = hosts.get(waiting.pop(), frozenset()) - every
        every |= new
        waiting += new
    return every


def _assembly(spread: Spread, name: str, every: Sequence[Joint]) -> Assembly:
    pieces = tuple(piece.id for piece in spread.pieces if assembly_of(piece.id) == name)
    own = {panel for piece in pieces for panel in spread.piece(piece).panels}
    joints = [joint for joint in every if joint.glued in own]
    moved = tuple(panel for panel in own if _is_moved(spread.panels[panel]))
    inner: dict[str, list[Joint]] = {}
    outer: dict[str, list[Joint]] = {}
    for joint in joints:
        if joint.host in own:
            inner.setdefault(spread.panels[joint.host].piece, []).append(joint)
        else:
            outer.setdefault(joint.host, []).append(joint)
    places = _places(spread, outer)
    # What holds a moved panel down comes first, then the left host before the right one.
    keys = {
        host: (not any(crosses(spread, joint.glued, panel) for joint in each for panel in moved), places[host])
        for host, each in outer.items()
    }
    ordered = sorted(outer, key=lambda host: keys[host])
    return Assembly(
        name,
        pieces,
        tuple(tuple(each) for each in inner.values()),
        tuple(tuple(outer[host]) for host in ordered),
        moved,
    )


def _is_moved(panel: Panel) -> bool:
    return panel.axis is not None and (panel.axis.slides or panel.axis.pivots)


def _joints(spread: Spread) -> list[Joint]:
    """Areas of one part on one face of one panel, together."""
    found: dict[tuple[str, str, str], list[GlueArea]] = {}
    for area in spread.glue_areas:
        found.setdefault((area.glued, area.host, area.face), []).append(area)
    poses = [standing(spread, float(opening), lifted=0.5) for opening in np.linspace(*reading(spread), 5)]
    return [
        Joint(glued, host, face, tuple(areas), _goes_through(spread, (glued, host, face), poses))
        for (glued, host, face), areas in found.items()
    ]


def _goes_through(spread: Spread, what: tuple[str, str, str], poses: Sequence[Mapping[str, Array]]) -> bool:
    """Whether a tab is glued on the face that its panel does not stand on."""
    glued, host, face = what
    hinge = next((item for item in spread.hinges if item.kind == "crease" and item.panels[1] == glued), None)
    if spread.panels[glued].role != "tab" or hinge is None:
        return False
    height = 0.0
    for matrices in poses:
        if host not in matrices or hinge.panels[0] not in matrices:
            continue
        corners = np.asarray(spread.panels[hinge.panels[0]].outline.exterior.coords)
        seen = apply(np.linalg.inv(matrices[host]) @ matrices[hinge.panels[0]], corners)[:, 2]
        furthest = float(seen[np.argmax(np.abs(seen))])
        height = furthest if abs(furthest) > abs(height) else height
    return abs(height) > 1e-3 and (height > 0.0) != (face == "front")


def _places(spread: Spread, outer: Mapping[str, Sequence[Joint]]) -> dict[str, float]:
    """How far to the right of the spine each host's joints lie in the open spread, whole mm."""
    matrices = standing(spread, reading(spread)[1])
    found = {}
    for host, joints in outer.items():
        points = [shapely.get_coordinates(area.outline.centroid)[0] for joint in joints for area in joint.areas]
        matrix = matrices.get(host, np.eye(4))
        found[host] = round(float(apply(matrix, np.array(points))[:, 0].mean()), 0)
    return found


def crosses(spread: Spread, glued: str, moved: str) -> bool:
    """Whether a part that is glued down lies over a panel that slides under it."""
    part, other = spread.panels[glued], spread.panels[moved]
    if part.parent != other.parent or part.role != "rider":
        return False
    return bool(carried(part.outline, part.rest).intersects(carried(other.outline, other.rest)))


def _hosts(spread: Spread, assembly: Assembly) -> frozenset[str]:
    panels = [joints[0].host for joints in assembly.outer]
    panels += [str(spread.panels[name].parent) for name in assembly.moved]
    return frozenset(assembly_of(spread.panels[name].piece) for name in panels) - {assembly.id}


def _inside(spread: Spread, found: Mapping[str, Assembly]) -> dict[str, set[str]]:
    """For each assembly those that lie between its panels in the closed spread."""
    pile = pile_of(spread)
    inside: dict[str, set[str]] = {name: set() for name in found}
    for name, assembly in found.items():
        own = [panel for piece in assembly.pieces for panel in spread.piece(piece).panels if panel in pile.panels]
        for one, two in combinations(own, 2):
            between = pile.names_between(one, two)
            inside[name] |= {assembly_of(spread.panels[panel].piece) for panel in between}
        inside[name] -= {name, "page"}
    return inside
