"""What a film is of: a spread that opens, or a bound book that is turned through; where its corners are meanwhile."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from .books import TURN, is_bound_root, spreads_of
from .bound_fit import binding_of
from .carrying import TEXT_KEY
from .channels import HANDS, OPENING, hand_key
from .convert import metres
from .cover import BOARD_MM, SQUARE_MM
from .designing import spread_of
from .geometry.binding import Binding
from .geometry.model import Hand, Panel
from .geometry.spread import Spread
from .geometry.transforms import Array, apply

__all__ = ["Subject", "bound_subject", "digest_of", "spread_subject", "subject_of"]

Values = Mapping[str, Array]


@dataclass(frozen=True)
class Subject:
    """What moves before the camera.

    Parameters
    ----------
    key : the property of the root that opens it
    rests : its values at which it is shown, from closed at the front to the last
    hands : by property, where what a hand moves rests, and its smallest and largest value
    corners : of all that is seen, from (n,) float by property to (n, m, 3) float, metres, in the root's space
    raised : (m,) bool, the corners of mechanisms, and not of pages or boards
    """

    key: str
    rests: tuple[float, ...]
    hands: Mapping[str, tuple[float, float, float]]
    corners: Callable[[Values], Array]
    raised: Array


def subject_of(root: bpy.types.Object) -> Subject:
    """What stands at a root, a spread or a bound book; HingeleafError where its description cannot be built."""
    if is_bound_root(root):
        return bound_subject(binding_of(root, spread_of))
    return spread_subject(spread_of(root), root)


def digest_of(root: bpy.types.Object) -> str:
    """What tells one state of what stands at a root from another: its descriptions."""
    return "\0".join(str(item[TEXT_KEY]) for item in (spreads_of(root) if is_bound_root(root) else [root]))


def spread_subject(spread: Spread, root: bpy.types.Object, depth_mm: float = 0.0) -> Subject:
    """A spread that stands by itself.

    Parameters
    ----------
    spread : the assembled spread
    root : the root of its objects, whose properties say how far it moves
    depth_mm : how far card reaches behind the pages
    """
    _, low, high = _limits(root, OPENING)
    hands = {hand_key(hand.id): hand for hand in spread.hands}
    outlines = {panel.id: _outline(panel) for panel in spread.panels.values()}
    boards = {name: _board(spread, name, depth_mm + BOARD_MM) for name in ("page.left", "page.right")}

    def corners(values: Values) -> Array:
        moved = {hand.id: _unsaid(hand, values[key]) for key, hand in hands.items() if key in values}
        matrices = spread.pose(np.radians(values[OPENING]), moved).matrices
        points = [apply(matrices[name], outline) for name, outline in outlines.items()]
        points += [apply(matrices[name], board) for name, board in boards.items()]
        return _settled(points)

    raised = [not panel.id.startswith("page.") for panel in spread.panels.values() for _ in outlines[panel.id]]
    raised += [False for board in boards.values() for _ in board]
    reach = {key: _limits(root, key) for key in root.get(HANDS, {}) if key in hands}
    return Subject(OPENING, (low, high), reach, corners, np.array(raised))


def bound_subject(binding: Binding) -> Subject:
    """A bound book, what hands move in it at rest."""
    outlines = {
        (number + 1, panel.id): _outline(panel)
        for number, spread in enumerate(binding.spreads)
        for panel in spread.panels.values()
    }

    def corners(values: Values) -> Array:
        turns, back = np.unique(values[TURN], return_inverse=True)
        angles = binding.leaf_angles(turns)
        poses = binding.pose(angles)
        points = [apply(poses[name], outline) for name, outline in outlines.items()]
        boards = binding.boards(angles)
        for board in boards:
            flat = _lifted(np.asarray(board.outline.exterior.coords)[:-1])
            points += [apply(board.matrices, flat + [0.0, 0.0, z]) for z in (0.0, board.thickness_mm)]
        # As on the table, a book whose front is the thicker side is lifted by what would dip into it.
        lift = np.maximum(0.0, -boards[0].matrices[:, 2, 3] - float(binding.leaves_mm[-1]))
        settled = _settled(points) + metres(lift)[:, None, None] * np.array([0.0, 0.0, 1.0])
        return np.asarray(settled[back.reshape(-1)])

    raised = [not panel.startswith("page.") for (_, panel), outline in outlines.items() for _ in outline]
    raised += [False] * 16
    rests = tuple(float(number) for number in range(len(binding.spreads) + 2))
    return Subject(TURN, rests, {}, corners, np.array(raised))


def _limits(root: bpy.types.Object, key: str) -> tuple[float, float, float]:
    """Where a property of the book begins, and its smallest and largest value."""
    ui: Any = root.id_properties_ui(key)
    said = ui.as_dict()
    return float(said["default"]), float(said["min"]), float(said["max"])


def _unsaid(hand: Hand, values: Array) -> Array:
    """What the root says in degrees or mm, in radians or mm."""
    return np.radians(values) if hand.unit == "deg" else values


def _outline(panel: Panel) -> Array:
    """Corners of the hull of a panel, (m, 3) float, mm: what is within it is in the picture wherever they are."""
    hull: Any = panel.outline.convex_hull
    return _lifted(np.asarray(hull.exterior.coords)[:-1])


def _lifted(points: Array) -> Array:
    return np.column_stack([points[:, 0], points[:, 1], np.zeros(len(points))])


def _board(spread: Spread, page: str, depth_mm: float) -> Array:
    """Outer corners of the board behind a page of a spread, (8, 3) float, mm, in the page's net coordinates."""
    width, height = spread.page_size_mm
    side = 1.0 if page == "page.right" else -1.0
    xs, ys, zs = (0.0, side * (width + SQUARE_MM)), (-SQUARE_MM, height + SQUARE_MM), (0.0, -depth_mm)
    return np.array([(x, y, z) for x in xs for y in ys for z in zs])


def _settled(points: Iterable[Array]) -> Array:
    """Corners of all panels together, metres; where one cannot be, it is where the first is."""
    found = metres(np.concatenate(list(points), axis=1))
    return np.where(np.isfinite(found), found, found[:, :1])
