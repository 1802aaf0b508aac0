"""A loop's panels as arrays: where they are, what misses at the closures, and its exact derivative.

Panels that are fixed to each other move as one *body*. What does not depend on the motion is multiplied out once: a
turn about a fixed line is a sum of three constant matrices, weighted by one, the sine and the versine of its angle; a
way along a guide is one of two, weighted by one and the way.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from .model import Axis, Panel
from .transforms import Array

__all__ = ["Ends", "Posed", "Tree", "tree_of"]

Index = np.ndarray[tuple[int], np.dtype[np.int64]]


class Ends(Protocol):
    """What a closure asks for: the same line on two panels."""

    @property
    def panels(self) -> tuple[str, str]:
        """The two."""

    @property
    def frames(self) -> tuple[Array, Array]:
        """(4, 4) float each; origin and first axis are the line."""

    @property
    def length_mm(self) -> float:
        """Of the line."""


@dataclass(frozen=True)
class Posed:
    """Where everything is at n positions.

    Parameters
    ----------
    bodies : (b + 1, n, 4, 4) float; the first stands still
    ends : (2 c, n, 3, 2) float, mm; both ends of each closure's line on its first panel, then on its second
    """

    bodies: Array
    ends: Array

    def at(self, rows: Index) -> Posed:
        """Some of the positions."""
        return Posed(self.bodies[:, rows], self.ends[:, rows])


@dataclass(frozen=True)
class Tree:
    """Bodies and closures of one loop: b bodies that move, u of them by an unknown; c closures, m unknowns.

    Parameters
    ----------
    names : the variable that moves each body
    parents : (b,) which body each moves on, counted from 1; 0 is what stands still
    scale, offset : (b, 1) float; what a body turns by is offset + scale * variable
    slides : (b, 1) bool; those that slide
    guided : whether any does
    parts : (b, 3, 16) float; matrices, weighted by one, the sine and the versine
    rows, which : (u,) int; bodies that an unknown moves, and which unknown
    columns : (u, m) float; the same as a matrix; None where each unknown moves one body, in their order
    under, lines : (u,) int and (u, 4, 2) float; what they turn about: on which body it is, its direction, times scale,
        and a point of it
    on, ends : (2 c,) int and (2 c, 4, 2) float; the closures' lines: on which body, and both ends
    frames : (2 c, 1, 4, 4) float; the closures' frames on those bodies
    carried : (2 c u, 4 c) float; by which sign an end moves along with a body that an unknown moves
    net : (2 c, u) float; the sum over both panels
    """

    names: tuple[str, ...]
    parents: tuple[int, ...]
    scale: Array
    offset: Array
    slides: np.ndarray
    guided: bool
    parts: Array
    rows: Index
    which: Index
    columns: Array | None
    under: Index
    lines: Array
    on: Index
    ends: Array
    frames: Array
    carried: Array
    net: Array

    def values(self, variables: Mapping[str, Array], count: int) -> Array:
        """What moves each body, (b, n) float; not a number where the variable is not known."""
        result = np.full((len(self.names), count), np.nan)
        for row, name in enumerate(self.names):
            if name in variables:
                result[row] = variables[name]
        return result

    def with_unknowns(self, values: Array, angles: Array) -> Array:
        """Put (n, m) unknowns into (b, n) values."""
        result = values.copy()
        result[self.rows] = angles.T[self.which]
        return result

    def weights(self, values: Array) -> tuple[Array, Array]:
        """What the second and the third of a body's parts are weighted by, (b, n) float each."""
        angles = self.offset + self.scale * values
        half = np.sin(0.5 * angles)
        first, second = np.sin(angles), 2.0 * half * half
        if self.guided:
            first, second = np.where(self.slides, angles, first), np.where(self.slides, 0.0, second)
        return first, second

    def posed(self, values: Array) -> Posed:
        """Where everything is, from what moves each body, (b, n) float."""
        first, second = self.weights(values)
        weights = np.stack([np.ones_like(first), first, second], axis=2)
        local = (weights @ self.parts).reshape(*first.shape, 4, 4)
        bodies = np.empty((len(self.names) + 1, values.shape[1], 4, 4))
        bodies[0] = np.eye(4)
        for row, parent in enumerate(self.parents):
            if parent:
                np.matmul(bodies[parent], local[row], out=bodies[row + 1])
            else:
                bodies[row + 1] = local[row]
        return Posed(bodies, _carry(bodies[self.on], self.ends))

    def misfit(self, posed: Posed) -> Array:
        """How far the closures are from closing: (n, 6 c) float, mm, three a line's end."""
        off = posed.ends[0::2] - posed.ends[1::2]
        return np.ascontiguousarray(off.transpose(1, 0, 3, 2)).reshape(off.shape[1], -1)

    def jacobian(self, posed: Posed) -> Array:
        """Its derivative by each unknown, (n, 6 c, m) float, mm a radian (a mm, where it slides)."""
        # Positions last, so that each product runs over all of them.
        lines = np.ascontiguousarray(_carry(posed.bodies[self.under], self.lines).transpose(0, 3, 2, 1))
        return self.derivative(lines, posed.ends.transpose(0, 3, 2, 1))

    def derivative(self, lines: Array, ends: Array) -> Array:
        """The misfit's derivative by each unknown, (n, 6 c, m) float, mm a radian (a mm, where it slides).

        Parameters
        ----------
        lines : (u, 2, 3, n) float; direction, times scale, and a point, mm, of what each body turns about
        ends : (2 c, 2, 3, n) float, mm; of the closures' lines

        Notes
        -----
        A body that turns moves a point by the cross product of its line's direction with the way from line to point.
        """
        count, (many_ends, many) = ends.shape[3], self.net.shape
        directions, centres = lines[:, 0], lines[:, 1]
        ways = (self.carried @ ends.reshape(2 * many_ends, 3 * count)).reshape(many_ends, many, 3, count)
        ways -= self.net[:, :, None, None] * centres
        moved = np.empty(ways.shape)
        for axis, (one, two) in enumerate(((1, 2), (2, 0), (0, 1))):
            moved[:, :, axis] = directions[:, one] * ways[:, :, two] - directions[:, two] * ways[:, :, one]
        if self.guided:
            slides = self.slides[self.rows, 0]
            moved[:, slides] = self.net[:, slides, None, None] * directions[slides]
        result = moved.transpose(3, 0, 2, 1).reshape(count, 3 * many_ends, many)
        return result if self.columns is None else np.asarray(result @ self.columns)


def tree_of(panels: Sequence[Panel], unknowns: Sequence[str], closures: Sequence[Ends]) -> Tree:
    """The panels of a loop as arrays.

    Parameters
    ----------
    panels : parents first
    unknowns : the variables to be found
    closures : what has to meet

    Returns
    -------
    Tree
    """
    places: dict[str, tuple[int, Array]] = {}
    moving: list[tuple[Panel, Axis, int, Array]] = []
    above: list[frozenset[int]] = [frozenset()]
    for panel in panels:
        body, place = (0, np.eye(4)) if panel.parent is None else places[panel.parent]
        if panel.axis is not None and panel.variable is not None:
            moving.append((panel, panel.axis, body, place))
            above.append(above[body] | {len(moving)})
            places[panel.id] = len(moving), np.eye(4)
        else:
            turn = np.eye(4) if panel.axis is None else panel.axis.motion(np.array([panel.axis.turn.offset]))[0]
            places[panel.id] = body, place @ turn @ panel.rest
    rows = np.array([row for row, item in enumerate(moving) if item[0].variable in unknowns], dtype=np.int64)
    own = [moving[row] for row in rows]
    on, frames = zip(
        *(
            (places[name][0], places[name][1] @ frame)
            for closure in closures
            for name, frame in zip(closure.panels, closure.frames, strict=True)
        ),
        strict=True,
    )
    lengths = np.repeat([closure.length_mm for closure in closures], 2)
    which = [unknowns.index(str(item[0].variable)) for item in own]
    carries = np.array([[row + 1 in above[body] for row in rows] for body in on], dtype=np.float64)
    return Tree(
        names=tuple(str(panel.variable) for panel, *_ in moving),
        parents=tuple(body for _, _, body, _ in moving),
        scale=np.array([[axis.turn.scale] for _, axis, _, _ in moving]),
        offset=np.array([[axis.turn.offset] for _, axis, _, _ in moving]),
        slides=np.array([[axis.slides] for _, axis, _, _ in moving]),
        guided=any(axis.slides for _, axis, _, _ in moving),
        parts=np.stack([_parts(*item) for item in moving]),
        rows=rows,
        which=np.array(which, dtype=np.int64),
        columns=None if which == list(range(len(unknowns))) else np.eye(len(unknowns))[which],
        under=np.array([body for _, _, body, _ in own], dtype=np.int64),
        lines=np.stack([place @ _line(axis) for _, axis, _, place in own]),
        on=np.array(on, dtype=np.int64),
        ends=np.stack([_both_ends(frame, length) for frame, length in zip(frames, lengths, strict=True)]),
        frames=np.stack(frames)[:, None],
        carried=_carried(carries),
        net=np.repeat(carries[0::2] - carries[1::2], 2, axis=0),
    )


def _carry(bodies: Array, points: Array) -> Array:
    """Points or directions, (k, 4, 2), carried by as many bodies, (k, n, 4, 4), to (k, n, 3, 2) float."""
    many, count = bodies.shape[:2]
    return np.asarray((bodies.reshape(many, 4 * count, 4) @ points).reshape(many, count, 4, 2)[:, :, :3])


def _parts(panel: Panel, axis: Axis, _body: int, place: Array) -> Array:
    """(3, 16) float: what is weighted by one, the sine and the versine.

    Notes
    -----
    Source: Rodrigues' rotation formula, as in transforms.rotation_about.
    """
    by_sine, by_versine = np.zeros((4, 4)), np.zeros((4, 4))
    if axis.slides:
        by_sine[:3, 3] = axis.direction
    else:
        x, y, z = axis.direction
        by_sine[:3, :3] = [[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]]
        by_versine[:3, :3] = by_sine[:3, :3] @ by_sine[:3, :3]
        for part in (by_sine, by_versine):
            part[:3, 3] = -part[:3, :3] @ axis.point
    return np.stack([(place @ part @ panel.rest).ravel() for part in (np.eye(4), by_sine, by_versine)])


def _line(axis: Axis) -> Array:
    """(4, 2) float: the direction, times what the variable is scaled by, and a point."""
    return np.array([[*(axis.direction * axis.turn.scale), 0.0], [*axis.point, 1.0]]).T


def _both_ends(frame: Array, length_mm: float) -> Array:
    """(4, 2) float: both ends of a closure's line."""
    return np.stack([frame[:, 3], frame[:, 3] + length_mm * frame[:, 0]], axis=1)


def _carried(carries: Array) -> Array:
    """(2 c u, 4 c) float, from which panel of which closure, (2 c, u), each unknown carries."""
    many = len(carries)
    result = np.zeros((many // 2, 2, carries.shape[1], many, 2))
    for row, own in enumerate(carries):
        for part in (0, 1):
            result[row // 2, part, :, row, part] = own if row % 2 == 0 else -own
    return result.reshape(-1, 2 * many)
