"""What closes a loop: hinges between panels that the tree of panels leaves apart, and by how much they miss.

A spread's panels form a tree: each turns or slides on its parent. A closure asks that two panels of the tree meet
along one more line. The residual is how far apart the two ends of that line are on the two panels, in mm; its
derivative by an angle is the screw motion of all that the angle carries, so Jacobians are exact.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .model import Panel
from .motion import pose_panels
from .transforms import Array

__all__ = ["Closure", "LoopGeometry", "loop_geometry"]

#: Damped steps to where ends that do not meet come nearest to each other.
_DAMPED_STEPS = 100


@dataclass(frozen=True)
class Closure:
    """Two panels that meet along a hinge line although neither is the other's parent.

    Parameters
    ----------
    variable : name of the hinge's angle, measured when the loop is closed
    panels : the two
    frames : (4, 4) float each, in the panels' net coordinates; origin and first axis are the hinge line. The angle
        turns the second axis of the first frame into that of the second
    length_mm : of the line
    about : float, radians; of all angles that differ by whole turns the one nearest to this is meant
    """

    variable: str
    panels: tuple[str, str]
    frames: tuple[Array, Array]
    length_mm: float
    about: float = float(np.pi / 2)


@dataclass(frozen=True)
class LoopGeometry:
    """The panels between the closures of one loop, and what may turn.

    Parameters
    ----------
    unknowns : the variables to be found
    panels : parents first; the first is the nearest one that all others stand on, held still
    closures : what has to meet
    """

    unknowns: tuple[str, ...]
    panels: tuple[Panel, ...]
    closures: tuple[Closure, ...]

    @property
    def size_mm(self) -> float:
        """A length typical of the loop: what an angle's error is multiplied by."""
        return max(closure.length_mm for closure in self.closures)

    def inputs(self) -> frozenset[str]:
        """Variables that must be known before the loop can be solved."""
        named = {panel.variable for panel in self.panels}
        return frozenset(name for name in named if name is not None and name not in self.unknowns)

    def misfit(self, variables: Mapping[str, Array]) -> Array:
        """How far the closures are from closing: (n, 6 c) float, mm, three a line's end."""
        count = len(next(iter(variables.values())))
        return self._residual(pose_panels(self.panels, variables, count), count)

    def misfit_and_jacobian(self, variables: Mapping[str, Array]) -> tuple[Array, Array]:
        """The misfit, and its derivative by each unknown, (n, 6 c, m) float, mm a radian (a mm, where it slides)."""
        count = len(next(iter(variables.values())))
        matrices = pose_panels(self.panels, variables, count)
        jacobian = np.zeros((count, 6 * len(self.closures), len(self.unknowns)))
        above = self._ancestors()
        for panel in self.panels:
            if panel.axis is None or panel.parent is None or panel.variable not in self.unknowns:
                continue
            column = self.unknowns.index(panel.variable)
            frame = matrices[panel.parent]
            direction = frame[:, :3, :3] @ panel.axis.direction * panel.axis.turn.scale
            centre = frame[:, :3, :3] @ panel.axis.point + frame[:, :3, 3]
            for row, closure in enumerate(self.closures):
                for index, sign in ((0, 1.0), (1, -1.0)):
                    if panel.id not in above[closure.panels[index]]:
                        continue
                    for part, points in enumerate(_ends(matrices, closure, index)):
                        moved = direction if panel.axis.slides else _cross(direction, points - centre)
                        start = 6 * row + 3 * part
                        jacobian[:, start : start + 3, column] += sign * moved
        return self._residual(matrices, count), jacobian

    def apart(self, variables: Mapping[str, Array]) -> Array:
        """The largest distance of a line's end on one panel from that on the other, (n,) float, mm."""
        off = self.misfit(variables)
        return np.asarray(np.linalg.norm(off.reshape(len(off), -1, 3), axis=2).max(axis=1))

    def nearest(self, inputs: Mapping[str, Array], angles: Array) -> Array:
        """How far apart the ends are where they come nearest to each other, (n,) float, mm; NaN where not known.

        Parameters
        ----------
        inputs : the variables that the loop needs, (n,) float each
        angles : (n, m) float; values of the unknowns to start from

        Notes
        -----
        Least squares by Levenberg's and Marquardt's damped steps: where nothing closes, undamped ones need not settle.
        """
        good = np.all([np.isfinite(inputs[name]) for name in self.inputs()] or [np.full(len(angles), True)], axis=0)
        known = {name: np.asarray(inputs[name])[good] for name in self.inputs()}
        here, own = angles[good].copy(), np.eye(len(self.unknowns))

        def at(values: Array) -> dict[str, Array]:
            return known | {name: values[:, index] for index, name in enumerate(self.unknowns)}

        damping, apart = np.full(len(here), 1e-3), np.full(len(angles), np.nan)
        for _ in range(_DAMPED_STEPS if len(here) else 0):
            off, jacobian = self.misfit_and_jacobian(at(here))
            normal = np.einsum("nij,nik->njk", jacobian, jacobian)
            scale = damping * np.maximum(np.trace(normal, axis1=1, axis2=2), 1e-12)
            slope = np.einsum("nij,ni->nj", jacobian, off)
            tried = here - np.linalg.solve(normal + scale[:, None, None] * own, slope[:, :, None])[:, :, 0]
            better = (self.misfit(at(tried)) ** 2).sum(axis=1) < (off**2).sum(axis=1)
            here[better] = tried[better]
            damping = np.clip(np.where(better, damping / 5, damping * 5), 1e-12, 1e12)
        if len(here):
            apart[good] = self.apart(at(here))
        return apart

    def closing_angles(self, variables: Mapping[str, Array]) -> dict[str, Array]:
        """The angle at each closing hinge, (n,) float, radians, in the turn about what the closure expects."""
        count = len(next(iter(variables.values())))
        matrices = pose_panels(self.panels, variables, count)
        found = {}
        for closure in self.closures:
            first, second = (matrices[name] @ frame for name, frame in zip(closure.panels, closure.frames, strict=True))
            axis = second[:, :3, 1]
            angle = np.arctan2((axis * first[:, :3, 2]).sum(axis=1), (axis * first[:, :3, 1]).sum(axis=1))
            found[closure.variable] = angle + 2 * np.pi * np.round((closure.about - angle) / (2 * np.pi))
        return found

    def _residual(self, matrices: Mapping[str, Array], count: int) -> Array:
        parts = []
        for closure in self.closures:
            first, second = _ends(matrices, closure, 0), _ends(matrices, closure, 1)
            parts += [a - b for a, b in zip(first, second, strict=True)]
        return np.concatenate(parts, axis=1).reshape(count, -1)

    def _ancestors(self) -> dict[str, frozenset[str]]:
        found: dict[str, frozenset[str]] = {}
        for panel in self.panels:
            found[panel.id] = found.get(panel.parent or "", frozenset()) | {panel.id}
        return found


def _cross(first: Array, second: Array) -> Array:
    """Cross products of rows, (n, 3); numpy's own spends more time on finding out the axes than on the products."""
    ahead, behind = [1, 2, 0], [2, 0, 1]
    return np.asarray(first[:, ahead] * second[:, behind] - first[:, behind] * second[:, ahead])


def _ends(matrices: Mapping[str, Array], closure: Closure, index: int) -> tuple[Array, Array]:
    """Both ends of the hinge line on one of the panels, (n, 3) float each."""
    frame = matrices[closure.panels[index]] @ closure.frames[index]
    start = frame[:, :3, 3]
    return start, start + closure.length_mm * frame[:, :3, 0]


def loop_geometry(panels: Mapping[str, Panel], unknowns: Sequence[str], closures: Sequence[Closure]) -> LoopGeometry:
    """The part of a spread that a loop runs through.

    Parameters
    ----------
    panels : every panel that stands so far, by name
    unknowns : the variables to be found
    closures : what has to meet

    Returns
    -------
    LoopGeometry
    """
    chains = [_chain(panels, name) for closure in closures for name in closure.panels]
    shared = 0
    while all(len(chain) > shared and chain[shared] == chains[0][shared] for chain in chains):
        shared += 1
    top = shared - 1
    names = dict.fromkeys(name for chain in chains for name in chain[top:])
    still = replace(panels[chains[0][top]], parent=None, axis=None, rest=np.eye(4))
    return LoopGeometry(tuple(unknowns), (still, *(panels[name] for name in list(names)[1:])), tuple(closures))


def _chain(panels: Mapping[str, Panel], name: str) -> list[str]:
    """A panel and all it stands on, the page first."""
    chain = [name]
    while (parent := panels[chain[-1]].parent) is not None:
        chain.append(parent)
    return chain[::-1]
