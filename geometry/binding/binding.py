"""Several spreads bound back to back between two boards, and where everything is as the leaves turn.

Frames: the bound world is the world of the last spread while its right page lies on the table. The right page of spread
k lies in z = 0 of the frame S_k, which is the world of that spread alone. S_n turns about the spine with leaf n, and

    S_(k-1) = S_k · turn(opening_k) · shift(separation_k + leaf_(k-1)),

where turn raises +x towards -x and shift goes along +z: through what lies between the pages, then through the leaf. The
left page of a nearly closed spread, with all that hangs on it, stands off by the separation, so that a closed book is
as thick as it will be.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike
from shapely import Polygon, box

from ..description.data import Description
from ..errors import DescriptionError, Problem
from ..spread import Spread
from ..tolerances import TOUCH_MM
from ..transforms import Array, rotation_about, translation_along
from .data import BookDescription, Cover
from .stacking import ClosedStack, closed_stack, page_under

__all__ = ["Binding", "Board", "bind"]

_SPINE = np.array([0.0, -1.0, 0.0])
_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True)
class Board:
    """One board of the cover as the leaves turn.

    Parameters
    ----------
    id : "front" or "back"
    outline : Polygon, mm, seen from its outside, x to the right, y up; the spine is x = 0
    thickness_mm : float; behind the outside, which looks along +z
    matrices : (m, 4, 4) float; the outside to the bound world
    """

    id: str
    outline: Polygon
    thickness_mm: float
    matrices: Array


@dataclass(frozen=True, eq=False)
class Binding:
    """A bound book of n spreads.

    Parameters
    ----------
    title : of the book
    names : short name of each spread, no two the same
    cover : its boards
    spreads : from the front
    page_size_mm : width and height of one page, the same in all
    stacks : how each closed spread lies on itself
    """

    title: str
    names: tuple[str, ...]
    cover: Cover
    spreads: tuple[Spread, ...]
    page_size_mm: tuple[float, float]
    stacks: tuple[ClosedStack, ...]

    @cached_property
    def gaps_mm(self) -> Array:
        """(n,) float: between the pages of each closed spread, the card at its thickest place."""
        return np.array([stack.gap_mm for stack in self.stacks])

    @cached_property
    def leaves_mm(self) -> Array:
        """(n+1,) float: thickness of each leaf, from printed face to printed face, or to the outside of its board."""
        board = self.cover.board_mm
        right = [board, *(stack.behind_right_mm for stack in self.stacks)]
        left = [*(stack.behind_left_mm for stack in self.stacks), board]
        return np.add(right, left)

    @property
    def thickness_mm(self) -> float:
        """The closed book, from board to board, both included."""
        return float(self.gaps_mm.sum() + self.leaves_mm.sum())

    @property
    def rigid_mm(self) -> float:
        """The closed book if no card gave way: how thick it may be before it has been pressed."""
        return float(sum(stack.rigid_mm for stack in self.stacks) + self.leaves_mm.sum())

    def leaf_angles(self, turns: ArrayLike, own_deg: ArrayLike = 0.0) -> Array:
        """The angle of every leaf as the whole book is turned through.

        Parameters
        ----------
        turns : (m,) float; 0 closed on its back, k spread k lies open, n+1 closed face down
        own_deg : (n+1,) or (m, n+1) float, degrees; what each leaf is turned besides

        Returns
        -------
        (m, n+1) float, radians, each no less than the next: a leaf pushes those before it along
        """
        count = len(self.spreads) + 1
        turn = np.atleast_1d(np.asarray(turns, dtype=float))[:, None]
        wanted = np.clip(180.0 * (turn - np.arange(count)) + np.asarray(own_deg, dtype=float), 0.0, 180.0)
        return np.asarray(np.radians(np.maximum.accumulate(wanted[:, ::-1], axis=1)[:, ::-1]))

    def openings(self, leaf_angles: Array) -> Array:
        """The opening of every spread, (m, n+1) float to (m, n) float, radians."""
        return np.asarray(leaf_angles[:, :-1] - leaf_angles[:, 1:])

    def separations(self, openings: Array) -> Array:
        """How far the left page of every spread stands off along its normal, (m, n) float to (m, n) float, mm.

        Source: derived here. The middles of two pages are 2 X sin(opening/2) apart, X half a page's width; where
        that is less than what lies between the pages, card holds them apart.
        """
        return self._stood_off(openings, self.gaps_mm)

    def _stood_off(self, openings: Array, gaps_mm: Array | float) -> Array:
        return np.asarray(np.maximum(0.0, gaps_mm - self.page_size_mm[0] * np.sin(openings / 2)))

    def frames(self, leaf_angles: Array) -> tuple[Array, ...]:
        """The frame of every spread's own world in the bound world, n of (m, 4, 4) float, from the front."""
        openings = self.openings(leaf_angles)
        ways = self.separations(openings) + self.leaves_mm[:-1]
        frame = _turned(leaf_angles[:, -1])
        frames = [frame]
        for spread in range(len(self.spreads) - 1, 0, -1):
            frame = frame @ _turned(openings[:, spread]) @ translation_along(_UP, ways[:, spread])
            frames.append(frame)
        return tuple(frames[::-1])

    def pose(self, leaf_angles: Array, only: Collection[int] | None = None) -> dict[tuple[int, str], Array]:
        """Every panel in the bound world.

        Parameters
        ----------
        leaf_angles : (m, n+1) float, radians
        only : numbers of the spreads that are wanted; None for all

        Returns
        -------
        dict of (m, 4, 4) float by spread (1..n) and panel; NaN where its spread cannot be opened so far
        """
        openings = self.openings(leaf_angles)
        poses: dict[tuple[int, str], Array] = {}
        for index, frame in enumerate(self.frames(leaf_angles)):
            if only is None or index + 1 in only:
                own = self.spread_pose(index + 1, openings[:, index])
                poses |= {(index + 1, name): frame @ matrices for name, matrices in own.items()}
        return poses

    def spread_pose(self, number: int, openings: Array) -> dict[str, Array]:
        """Every panel of one spread in its own world, what hangs on the left page stood off, (m, 4, 4) float each.

        Parameters
        ----------
        number : of the spread, 1..n
        openings : (m,) float, radians
        """
        index = number - 1
        spread = self.spreads[index]
        # A book that is turned through holds most of its spreads closed most of the time.
        different, back = np.unique(openings, return_inverse=True)
        away = self._stood_off(different, float(self.gaps_mm[index]))
        outwards = np.stack([-np.sin(different), np.zeros(len(different)), np.cos(different)], axis=1)
        poses = {}
        for name, matrices in spread.pose(different).matrices.items():
            moved = matrices
            if name in self._hung_left[index]:
                moved = matrices.copy()
                moved[:, :3, 3] += away[:, None] * outwards
            poses[name] = moved[back.reshape(-1)]
        return poses

    @cached_property
    def _hung_left(self) -> tuple[frozenset[str], ...]:
        """Of each spread the left page and what hangs on it in the tree of panels."""
        return tuple(
            frozenset(name for name in spread.panels if page_under(spread, name) == "page.left")
            for spread in self.spreads
        )

    def boards(self, leaf_angles: Array) -> tuple[Board, Board]:
        """The front and the back board as the leaves turn; leaf_angles is (m, n+1) float, radians."""
        width, height = self.page_size_mm
        square, thick = self.cover.square_mm, self.cover.board_mm
        openings = self.openings(leaf_angles)
        frames = self.frames(leaf_angles)
        way = self.separations(openings)[:, 0] + self.leaves_mm[0]
        front = frames[0] @ _turned(openings[:, 0]) @ translation_along(_UP, way)
        turned_over = np.diag([-1.0, 1.0, -1.0, 1.0])
        back = frames[-1] @ translation_along(_UP, [-self.leaves_mm[-1]]) @ turned_over
        return (
            Board("front", box(0.0, -square, width + square, height + square), thick, front),
            Board("back", box(-width - square, -square, 0.0, height + square), thick, back),
        )

    def closed_heights(self, number: int) -> Mapping[str, float]:
        """How the panels of one closed spread lie on each other.

        Parameters
        ----------
        number : of the spread, 1..n

        Returns
        -------
        dict by panel, mm: the underside of its card above the right page's printed face. The right page's own is
        minus its caliper, the left page's is the gap; of two panels that lie over each other the upper is higher
        """
        return self.stacks[number - 1].undersides_mm


def bind(book: BookDescription, descriptions: Sequence[Description], spreads: Sequence[Spread]) -> Binding:
    """Bind the spreads of a book.

    Parameters
    ----------
    book : BookDescription
    descriptions, spreads : n each, as the book names them

    Returns
    -------
    Binding

    Raises
    ------
    DescriptionError
        Their pages are not of one size.
    """
    width, height = (descriptions[0].page.width_mm, descriptions[0].page.height_mm)
    problems = []
    for index, description in enumerate(descriptions):
        page = description.page
        wider, higher = page.width_mm - width, page.height_mm - height
        if max(abs(wider), abs(higher)) > TOUCH_MM:
            message = (
                f"has pages of {page.width_mm:g} x {page.height_mm:g} mm, {_differing(wider, higher)} than those of "
                f"{book.files[0]}, which are {width:g} x {height:g} mm; "
                "give all spreads of a book the same page"
            )
            problems.append(Problem(book.place(index), message, book.line(index)))
    if problems:
        raise DescriptionError(problems, book.source)
    stacks = tuple(closed_stack(spread) for spread in spreads)
    return Binding(book.title, book.names, book.cover, tuple(spreads), (width, height), stacks)


def _differing(wider_mm: float, higher_mm: float) -> str:
    """How much larger pages are than others, in words."""
    pairs = ((wider_mm, "wider", "narrower"), (higher_mm, "higher", "lower"))
    return " and ".join(
        f"{abs(more):g} mm {larger if more > 0 else smaller}" for more, larger, smaller in pairs if abs(more) > TOUCH_MM
    )


def _turned(angles: Array) -> Array:
    """Rotations that raise +x towards -x, (m,) float, radians, to (m, 4, 4) float."""
    return rotation_about(np.zeros(3), _SPINE, angles)
