"""A loop's panels as arrays, in many copies that each have errors of their own.

What stays as it is in a copy while it moves is multiplied out once for each copy: only the bodies are left that truly
move. Copies run along the last axis, so that each product runs over all of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from .transforms import Array
from .tree import Index, Tree

__all__ = ["CopiedTree", "copied_tree"]

#: By how much each of two points is shifted with its body: a direction is not.
_LINE, _ENDS = np.array([[[0.0]], [[1.0]]]), np.ones((2, 1, 1))


@dataclass(frozen=True)
class CopiedTree:
    """Copies of a loop: b bodies that move, u of them by an unknown; c closures; n copies.

    Parameters
    ----------
    tree : what is the same in all of them; its own parts, lines and ends are not used
    parts : (b, 3, 3, 4, n) float; matrices without their last row, weighted by one, the sine and the versine
    lines : (u, 2, 3, n) float; what the unknowns' bodies turn about: its direction, and a point of it, mm
    ends : (2 c, 2, 3, n) float, mm; both ends of the closures' lines
    """

    tree: Tree
    parts: Array
    lines: Array
    ends: Array

    def at(self, rows: Index) -> CopiedTree:
        """Some of the copies."""
        # Unlike an index, take leaves the copies last in memory too.
        parts, lines, ends = (array.take(rows, axis=-1) for array in (self.parts, self.lines, self.ends))
        return CopiedTree(self.tree, parts, lines, ends)

    def misfit_and_jacobian(self, values: Array) -> tuple[Array, Array]:
        """How far the closures are from closing, and its derivative by each unknown.

        Parameters
        ----------
        values : (b, n) float; what moves each body

        Returns
        -------
        (n, 6 c) float, mm
        (n, 6 c, m) float, mm a radian (a mm, where it slides)
        """
        lines, ends = self.posed(values)
        off = ends[0::2] - ends[1::2]
        misfit = np.ascontiguousarray(off.transpose(3, 0, 1, 2)).reshape(off.shape[3], -1)
        return misfit, self.tree.derivative(lines, ends)

    def posed(self, values: Array) -> tuple[Array, Array]:
        """Where the lines and the closures' ends are, shaped as they are here; from what moves each body, (b, n)."""
        first, second = self.tree.weights(values)
        weights = np.stack([np.ones_like(first), first, second], axis=1)
        local = np.einsum("bkijn,bkn->bijn", self.parts, weights)
        bodies: list[Array | None] = [None]
        for own, parent in zip(local, self.tree.parents, strict=True):
            bodies.append(_product(bodies[parent], own))
        lines = [_carried(bodies[body], own, _LINE) for body, own in zip(self.tree.under, self.lines, strict=True)]
        ends = [_carried(bodies[body], own, _ENDS) for body, own in zip(self.tree.on, self.ends, strict=True)]
        return np.stack(lines), np.stack(ends)


def copied_tree(tree: Tree, fixed: Mapping[str, Array], count: int) -> CopiedTree:
    """Copies of a loop in which some variables do not change.

    Parameters
    ----------
    tree : of the loop
    fixed : what each is in each copy, (n,) float, radians or mm; bodies that these move are no longer in the tree
    count : n

    Returns
    -------
    CopiedTree
    """
    first, second = tree.weights(tree.values(fixed, count))
    parts = tree.parts.reshape(-1, 3, 4, 4)[:, :, :3, :, None]
    moving = [row for row, name in enumerate(tree.names) if name not in fixed]
    numbers = {row + 1: number for number, row in enumerate(moving, start=1)}
    # For each body: which body that is left moves it, and where it is on that.
    places: list[tuple[int, Array | None]] = [(0, None)]
    kept = []
    for row, parent in enumerate(tree.parents):
        body, place = places[parent]
        if row + 1 in numbers:
            kept.append((body, _on(place, parts[row])))
            places.append((numbers[row + 1], None))
        else:
            own = parts[row, 0] + first[row] * parts[row, 1] + second[row] * parts[row, 2]
            places.append((body, _product(place, own)))
    under, on = ([places[body] for body in bodies] for bodies in (tree.under, tree.on))
    shared = replace(
        tree,
        names=tuple(tree.names[row] for row in moving),
        parents=tuple(body for body, _ in kept),
        scale=tree.scale[moving],
        offset=tree.offset[moving],
        slides=tree.slides[moving],
        rows=np.array([numbers[row + 1] - 1 for row in tree.rows.tolist()], dtype=np.int64),
        under=np.array([body for body, _ in under], dtype=np.int64),
        on=np.array([body for body, _ in on], dtype=np.int64),
    )
    return CopiedTree(
        shared,
        np.stack([_each(part, count) for _, part in kept]),
        np.stack(
            [_each(_carried(at, line, _LINE), count) for (_, at), line in zip(under, _points(tree.lines), strict=True)]
        ),
        np.stack(
            [_each(_carried(at, ends, _ENDS), count) for (_, at), ends in zip(on, _points(tree.ends), strict=True)]
        ),
    )


def _points(columns: Array) -> Array:
    """Two points or directions a row, (k, 4, 2), as (k, 2, 3, 1) float."""
    return np.swapaxes(columns, 1, 2)[:, :, :3, None]


def _each(array: Array, count: int) -> Array:
    """The same for each copy, where it is not for each already, (..., n)."""
    return np.broadcast_to(array, (*array.shape[:-1], count))


def _on(place: Array | None, parts: Array) -> Array:
    """A body's three parts on what carries it: the last two are changes, which are not shifted with it."""
    if place is None:
        return parts
    turned = place.copy()
    turned[:, 3] = 0.0
    return np.stack([_product(place, parts[0]), _product(turned, parts[1]), _product(turned, parts[2])])


def _product(one: Array | None, two: Array) -> Array:
    """Product of matrices without their last row, (3, 4, n) float; None is the identity."""
    if one is None:
        return two
    result = np.einsum("ijn,jkn->ikn", one[:, :3], two)
    result[:, 3] += one[:, 3]
    return np.asarray(result)


def _carried(body: Array | None, points: Array, shifted: Array) -> Array:
    """Two points or directions, (2, 3, n), carried by a body, (3, 4, n) float."""
    if body is None:
        return points
    return np.asarray(np.einsum("ijn,pjn->pin", body[:, :3], points) + shifted * body[:, 3])
