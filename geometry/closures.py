"""What closes a loop: hinges between panels that the tree of panels leaves apart, and by how much they miss.

A spread's panels form a tree: each turns or slides on its parent. A closure asks that two panels of the tree meet
along one more line. The residual is how far apart the two ends of that line are on the two panels, in mm; its
derivative by an angle is the screw motion of all that the angle carries, so Jacobians are exact.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .model import Panel
from .transforms import Array
from .tree import Posed, Tree, tree_of

__all__ = ["Closure", "LoopGeometry", "loop_geometry"]

#: Damped steps to where ends that do not meet come nearest to each other, and the shortest, radians.
_DAMPED_STEPS, _SMALLEST_STEP = 100, 1e-12


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

    @cached_property
    def tree(self) -> Tree:
        """The same as arrays, made once."""
        return tree_of(self.panels, self.unknowns, self.closures)

    def misfit(self, variables: Mapping[str, Array]) -> Array:
        """How far the closures are from closing: (n, 6 c) float, mm, three a line's end."""
        return self.tree.misfit(self._posed(variables))

    def misfit_and_jacobian(self, variables: Mapping[str, Array]) -> tuple[Array, Array]:
        """The misfit, and its derivative by each unknown, (n, 6 c, m) float, mm a radian (a mm, where it slides)."""
        posed = self._posed(variables)
        return self.tree.misfit(posed), self.tree.jacobian(posed)

    def _posed(self, variables: Mapping[str, Array]) -> Posed:
        return self.tree.posed(self.tree.values(variables, len(next(iter(variables.values())))))

    def apart(self, variables: Mapping[str, Array]) -> Array:
        """The largest distance of a line's end on one panel from that on the other, (n,) float, mm."""
        return _largest(self.misfit(variables))

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
        tree, apart = self.tree, np.full(len(angles), np.nan)
        known = tree.values({name: inputs[name] for name in self.inputs()}, len(angles))
        good = np.isfinite(tree.with_unknowns(known, angles)).all(axis=0)
        if not good.any():
            return apart
        here, known, own = angles[good].copy(), known[:, good], np.eye(len(self.unknowns))
        posed = tree.posed(tree.with_unknowns(known, here))
        off, damping = tree.misfit(posed), np.full(len(here), 1e-3)
        for _ in range(_DAMPED_STEPS):
            jacobian = tree.jacobian(posed)
            turned = np.swapaxes(jacobian, 1, 2)
            normal = turned @ jacobian
            scale = damping * np.maximum(np.trace(normal, axis1=1, axis2=2), 1e-12)
            step = np.linalg.solve(normal + scale[:, None, None] * own, turned @ off[:, :, None])[:, :, 0]
            if np.abs(step).max() < _SMALLEST_STEP:
                break
            there = tree.posed(tree.with_unknowns(known, here - step))
            tried = tree.misfit(there)
            better = (tried**2).sum(axis=1) < (off**2).sum(axis=1)
            here[better] -= step[better]
            off[better] = tried[better]
            posed.bodies[:, better], posed.ends[:, better] = there.bodies[:, better], there.ends[:, better]
            damping = np.clip(np.where(better, damping / 5, damping * 5), 1e-12, 1e12)
        apart[good] = _largest(off)
        return apart

    def closing_angles(self, variables: Mapping[str, Array]) -> dict[str, Array]:
        """The angle at each closing hinge, (n,) float, radians, in the turn about what the closure expects."""
        matrices = self._posed(variables).bodies[self.tree.on] @ self.tree.frames
        found = {}
        for row, closure in enumerate(self.closures):
            first, second = matrices[2 * row], matrices[2 * row + 1]
            axis = second[:, :3, 1]
            angle = np.arctan2((axis * first[:, :3, 2]).sum(axis=1), (axis * first[:, :3, 1]).sum(axis=1))
            found[closure.variable] = angle + 2 * np.pi * np.round((closure.about - angle) / (2 * np.pi))
        return found


def _largest(off: Array) -> Array:
    """The largest distance that a misfit, (n, 6 c), has between ends, (n,) float, mm."""
    return np.asarray(np.sqrt((off.reshape(len(off), -1, 3) ** 2).sum(axis=2)).max(axis=1))


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
