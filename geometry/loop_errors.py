"""What a hand sets on a loop, and what errors of it do to the loop's geometry.

Every hinge line of a loop lies on a panel, and there it may lie wrong: a glue line across itself, along itself or
turned about its middle; a crease, or the crease of a tab, across itself or turned. Each is a movement of the line in
that panel's plane, so it is written as one: between the panel and what turns on the line stands a *misplacement*, a
panel without card that slides or turns by the error. Nothing is approximated in that. The loop with misplacements is
solved, and differentiated, by what solves and differentiates loops anyway.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from shapely import Polygon

from .closures import Closure, LoopGeometry
from .loops import Loop
from .model import Angle, Axis, Hinge, Panel
from .motion import solve_units
from .spread import Spread
from .transforms import Array

__all__ = ["ErringLoop", "LoopError", "erring"]

_Way = Literal["across", "along", "turn"]
_GLUED: Mapping[_Way, str] = {
    "across": "glue across its line",
    "along": "glue along its line",
    "turn": "glue angle",
}
_CREASED: Mapping[_Way, str] = {"across": "width", "turn": "crease angle"}


@dataclass(frozen=True)
class LoopError:
    """One size of a loop that a hand sets.

    Parameters
    ----------
    name : which, in words
    variable : of its error in the loop's geometry, mm or radians
    turns : the error is an angle
    """

    name: str
    variable: str
    turns: bool


@dataclass(frozen=True)
class ErringLoop:
    """A loop, and all that may be off in it.

    Parameters
    ----------
    loop : as designed
    errors : d of them
    geometry : the loop's, with a misplacement for each error
    """

    loop: Loop
    errors: tuple[LoopError, ...]
    geometry: LoopGeometry

    @property
    def by_hand(self) -> bool:
        """A hand moves it, not the opening."""
        return self.loop.driver != "spine"

    @cached_property
    def units(self) -> Array:
        """(d,) float; an error of 1 mm or 1 degree in the geometry's mm or radians."""
        return np.array([float(np.radians(1.0)) if error.turns else 1.0 for error in self.errors])

    def designed(self, values: Array) -> dict[str, Array]:
        """Everything that the loop needs and gives, as designed, at driver values, (n,) float each."""
        known = {self.loop.driver: values}
        if self.by_hand:
            known["spine"] = np.full(len(values), np.pi)
        known = solve_units(self.loop.upstream, known)
        return {**known, **self.loop.solve(known)}

    def said(self, values: Array) -> Array:
        """Values of what moves it, in degrees or mm, (n,) float."""
        slides = any(
            panel.variable == self.loop.driver and panel.axis is not None and panel.axis.slides
            for panel in self.geometry.panels
        )
        return values if slides else np.degrees(values)

    def jacobians(self, designed: Mapping[str, Array], extra: tuple[str, ...] = ()) -> tuple[Array, Array]:
        """How the closures' misfit changes, as designed.

        Parameters
        ----------
        designed : what designed returned, at n driver values
        extra : variables that may move besides the unknowns

        Returns
        -------
        (n, 6 c, m) float, mm a radian (a mm): with the unknowns and what is extra
        (n, 6 c, d) float, mm: with errors of 1 mm or 1 degree
        """
        own = (*self.loop.geometry.unknowns, *extra)
        every = (*own, *(error.variable for error in self.errors))
        count = len(next(iter(designed.values())))
        known = {**designed, **{error.variable: np.zeros(count) for error in self.errors}}
        _, jacobian = replace(self.geometry, unknowns=every).misfit_and_jacobian(known)
        return jacobian[:, :, : len(own)], jacobian[:, :, len(own) :] * self.units


def erring(spread: Spread, loop: Loop) -> ErringLoop:
    """A loop with all that may be off in it.

    Parameters
    ----------
    spread : Spread
    loop : one of its loops

    Returns
    -------
    ErringLoop
    """
    making = _Making(spread, loop)
    panels = []
    for panel in loop.geometry.panels:
        if panel.axis is not None and panel.parent is not None and panel.variable in loop.geometry.unknowns:
            hinge = making.hinge(panel.parent, panel.id)
            middle = making.ends(hinge, panel.parent).mean(axis=0)
            top, added = making.misplaced(panel.parent, (middle, panel.axis.direction), hinge)
            # The same axis, from where the hinge lies in truth.
            panels += [*added, replace(panel, parent=top, axis=replace(panel.axis, point=middle))]
        else:
            panels.append(panel)
    closures = []
    for closure in loop.geometry.closures:
        closed, added = _closed(making, closure)
        closures.append(closed)
        panels += added
    return ErringLoop(loop, tuple(making.errors), LoopGeometry(loop.geometry.unknowns, tuple(panels), tuple(closures)))


def _closed(making: _Making, closure: Closure) -> tuple[Closure, list[Panel]]:
    """A closure along its hinge's real line, which may lie wrong: a glue line on both panels, a crease on the first."""
    hinge, index = making.hinge(*closure.panels), 0
    frame = closure.frames[index]
    along = (making.ends(hinge, closure.panels[index]) - frame[:3, 3]) @ frame[:3, 0]
    length = float(np.ptp(along))
    frames = [frame.copy() for frame in closure.frames]
    for frame in frames:
        frame[:3, 3] += along.min() * frame[:3, 0]
    tops, added = list(closure.panels), []
    for index in (0, 1) if hinge.kind == "glue" else (0,):
        direction = frames[index][:3, 0]
        line = frames[index][:3, 3] + direction * length / 2, direction
        tops[index], new = making.misplaced(closure.panels[index], line, hinge)
        added += new
    return replace(closure, panels=(tops[0], tops[1]), frames=(frames[0], frames[1]), length_mm=length), added


class _Making:
    """Misplacements, as they are put in one after the other."""

    def __init__(self, spread: Spread, loop: Loop) -> None:
        self.spread, self.loop = spread, loop
        self.errors: list[LoopError] = []

    def hinge(self, one: str, two: str) -> Hinge:
        """The hinge between two panels; the crease of a tab is not asked for, its glue line is."""
        return next(hinge for hinge in self.spread.hinges if set(hinge.panels) == {one, two})

    def ends(self, hinge: Hinge, panel: str) -> Array:
        """Both ends of a hinge's line on a panel, its parts taken together, (2, 3) float, mm."""
        name = hinge.id.split("#")[0]
        parts = [item for item in self.spread.hinges if item.id.split("#")[0] == name]
        points = np.concatenate([item.lines[item.panels.index(panel)] for item in parts])
        along = (points - points[0]) @ (points[1] - points[0])
        chosen = points[[int(np.argmin(along)), int(np.argmax(along))]]
        return np.column_stack([chosen, np.zeros(2)])

    def misplaced(self, panel: str, line: tuple[Array, Array], hinge: Hinge) -> tuple[str, list[Panel]]:
        """What may be off about a hinge's line on a panel.

        Parameters
        ----------
        panel : its name
        line : (3,) float each; the line's middle, mm, and its direction
        hinge : what lies there

        Returns
        -------
        The last of the misplacements, and all of them
        """
        middle, direction = line
        # The own side of a glue line is the crease of its tab.
        glued = hinge.kind == "glue" and panel == self._host(hinge)
        names = _GLUED if glued else _CREASED
        where = self._short(hinge.id.removesuffix(".glue") if glued else panel)
        upright = np.array([0.0, 0.0, 1.0])
        ways = {"across": np.cross(upright, direction), "along": direction, "turn": upright}
        added: list[Panel] = []
        for way, words in names.items():
            name = f"{self.loop.id}~{len(self.errors)}"
            axis = Axis(middle, ways[way], Angle(name), slides=way != "turn")
            above = added[-1].id if added else panel
            added.append(Panel(name, "", Polygon(), above, np.eye(4), axis))
            self.errors.append(LoopError(f"{words}, {where}", name, way == "turn"))
        return added[-1].id, added

    def _host(self, hinge: Hinge) -> str:
        """The panel on which a glue line lies: hinges name what stands there first."""
        return hinge.panels[1]

    def _short(self, name: str) -> str:
        """A name without its mechanism's, where that is the loop's."""
        return name.removeprefix(f"{self.loop.id}.")
