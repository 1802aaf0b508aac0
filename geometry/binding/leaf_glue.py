"""What must not be glued between the two pages of a leaf, and what fouls there.

A leaf is two pages back to back, and glued all over. Not where a cut-in is cut out of one of them, for its strips must
come loose; nor where something moves behind one: a wheel, a pull-strip. Leaf coordinates: x from the spine, y from the
foot.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon, box
from shapely.affinity import scale
from shapely.geometry.base import BaseGeometry

from ..checks.bulk import outside_panels
from ..outline import carried
from ..sampling import hand_range
from ..spread import Spread
from ..transforms import inverse
from .binding import Binding
from .stacking import page_under

__all__ = ["Fouling", "LeafFace", "foulings", "leaf_face", "leaf_faces", "middle_of"]

#: Positions of a hand at which what it moves behind a page is looked at.
_POSITIONS = 37
#: Overlaps below this are rounding or a knife's width, mm2.
_LEAST_MM2 = 1.0


@dataclass(frozen=True)
class LeafFace:
    """One page of a leaf, in leaf coordinates.

    Parameters
    ----------
    spread : number of its spread, 1..n
    page : "page.right" or "page.left"
    strips : by panel, what a cut-in cuts loose from the page
    moving : by panel, where something moves behind the page
    held : by panel, what is glued on its back
    open : where the page is cut through
    """

    spread: int
    page: str
    strips: Mapping[str, BaseGeometry]
    moving: Mapping[str, BaseGeometry]
    held: Mapping[str, BaseGeometry]
    open: BaseGeometry

    @property
    def unglued(self) -> BaseGeometry:
        """What of the page's back must stay free of glue."""
        return shapely.union_all([*self.strips.values(), *self.moving.values()])


@dataclass(frozen=True)
class Fouling:
    """Something of one page of a leaf in the way of what moves behind the other.

    Parameters
    ----------
    mover, other : (spread, panel); the other is "" where the page is cut through
    what : "strip", "opening", "moving" or "held": what the other is
    area : where, in leaf coordinates
    """

    mover: tuple[int, str]
    other: tuple[int, str]
    what: str
    area: BaseGeometry


def leaf_faces(binding: Binding, leaf: int) -> tuple[LeafFace, ...]:
    """The pages of a leaf, 0..n: the right page of the spread before, then the left page of the one behind."""
    count = len(binding.spreads)
    before = [leaf_face(binding.spreads[leaf - 1], leaf, "page.right")] if leaf > 0 else []
    behind = [leaf_face(binding.spreads[leaf], leaf + 1, "page.left")] if leaf < count else []
    return (*before, *behind)


def leaf_face(spread: Spread, number: int, page: str) -> LeafFace:
    """One page of a leaf; number is that of its spread."""
    width, height = spread.page_size_mm
    whole = box(0.0, 0.0, width, height)
    own = {name: _on_leaf(spread.panels[name].outline, page) for name in spread.pieces[0].panels}
    strips = {
        name: shape.intersection(whole)
        for name, shape in own.items()
        if spread.panels[name].role != "page" and shape.intersection(whole).area > _LEAST_MM2
    }
    outside = outside_panels(spread)
    behind = [name for name in spread.panels if name in outside and page_under(spread, name) == page and name != page]
    swept = {name: _swept(spread, name, page).intersection(whole) for name in behind}
    # Glue in the hole of a pivot would hold it as well.
    moving = {name: _without_holes(swept[name]) for name in behind if _movers(spread, name)}
    held = {name: swept[name] for name in behind if name not in moving}
    cut_through = whole.difference(shapely.union_all(list(own.values())))
    return LeafFace(number, page, strips, moving, held, cut_through)


def foulings(faces: tuple[LeafFace, ...]) -> list[Fouling]:
    """What fouls inside one leaf.

    Parameters
    ----------
    faces : its pages; none foul where there is but one, on a board

    Returns
    -------
    list of Fouling
    """
    found = []
    for own, other in zip(faces, faces[::-1], strict=True):
        if own is other:
            continue
        obstacles = [("strip", other.strips), ("opening", {"": other.open}), ("held", other.held)]
        if own.page == "page.right":
            # Two movers meet once, not once from either side.
            obstacles.append(("moving", other.moving))
        for mover, area in own.moving.items():
            for what, shapes in obstacles:
                for name, shape in shapes.items():
                    common = area.intersection(shape)
                    if common.area > _LEAST_MM2:
                        found.append(Fouling((own.spread, mover), (other.spread, name), what, common))
    return found


def _on_leaf(outline: BaseGeometry, page: str) -> BaseGeometry:
    """Something in the page card's net coordinates on the leaf: the left page is seen from behind there."""
    return scale(outline, -1.0, 1.0, origin=(0.0, 0.0)) if page == "page.left" else outline


def _movers(spread: Spread, name: str) -> list[str]:
    """The hands that move a panel."""
    chain = {name}
    panel = spread.panels[name]
    variables = {panel.variable}
    while panel.parent is not None and panel.parent not in chain:
        panel = spread.panels[panel.parent]
        chain.add(panel.id)
        variables.add(panel.variable)
    return [hand.id for hand in spread.hands if variables & spread.moved_by(hand.variable)]


def _swept(spread: Spread, name: str, page: str) -> BaseGeometry:
    """Where a panel gets as hands move it in the open book, in leaf coordinates."""
    hands = _movers(spread, name)
    outline = spread.panels[name].outline
    shapes: list[BaseGeometry] = []
    for hand in (hand for hand in spread.hands if hand.id in hands):
        values = np.linspace(*hand_range(spread, hand), _POSITIONS)
        motion = spread.pose(np.full(len(values), np.pi), {hand.id: values})
        onto = inverse(motion.matrices[page]) @ motion.matrices[name]
        shapes += [carried(outline, matrix) for matrix in onto if np.isfinite(matrix).all()]
    if not shapes:
        motion = spread.pose(np.array([np.pi]))
        shapes = [carried(outline, (inverse(motion.matrices[page]) @ motion.matrices[name])[0])]
    return shapely.union_all([_on_leaf(shape, page) for shape in shapes])


def _without_holes(area: BaseGeometry) -> BaseGeometry:
    parts = shapely.get_parts(area)
    return shapely.union_all([Polygon(part.exterior) for part in parts if isinstance(part, Polygon)])


def middle_of(area: BaseGeometry) -> tuple[float, float]:
    """A place inside the largest part of an area."""
    parts = list(area.geoms) if isinstance(area, MultiPolygon) else [area]
    point = max(parts, key=lambda part: part.area).representative_point()
    return float(point.x), float(point.y)
