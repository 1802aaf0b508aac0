"""Picking a fold or a panel in the viewport: what can carry a mechanism is drawn, what the pointer is on is named.

Nothing of Blender's is kept from one event to the next but names: an undo would leave references to nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Vector
from shapely import Point, Polygon

from .books import find_object, panels_of, text_of
from .geometry.design.offering import Offer
from .geometry.spread import Spread
from .geometry.transforms import Array
from .marking import DIM, FREE, HOVERED, REFUSED, begin_drawing, draw_label, draw_lines, end_drawing
from .projecting import Viewport, ray_on_panel, world_points

__all__ = ["Hover", "Picker", "is_picking"]

#: A fold is under the pointer within so many pixels.
_NEAR_PX = 22.0


#: The pickers that draw now.
_OPEN: list[Picker] = []


def is_picking() -> bool:
    """Whether a fold or a panel is being asked for."""
    return bool(_OPEN)


@dataclass(frozen=True)
class Hover:
    """What the pointer is on.

    Parameters
    ----------
    offer : the fold side or panel
    at_mm : of a fold, where along it; of a panel 0
    point_mm : of a panel, where on its net
    """

    offer: Offer
    at_mm: float = 0.0
    point_mm: tuple[float, float] = (0.0, 0.0)


class Picker:
    """Draws what can be picked on one book, and says what the pointer is on.

    Parameters
    ----------
    root : the book
    spread : what it builds
    offers : what can be picked, and what cannot with the reason
    try_out : says of what the pointer rests on why it cannot be after all; "" where it can
    """

    def __init__(
        self, root: bpy.types.Object, spread: Spread, offers: Sequence[Offer], try_out: Callable[[Hover], str]
    ) -> None:
        self._root_name = root.name
        self.text = text_of(root)
        self._spread = spread
        self._offers = tuple(offers)
        self._try_out = try_out
        self._tried: dict[tuple[Any, ...], str] = {}
        self._side = 0
        self.hover: Hover | None = None
        self._pointer: tuple[float, float] = (0.0, 0.0)
        self._region = 0
        _OPEN.append(self)
        self._handlers = begin_drawing(self._draw_view, self._draw_pixels)

    def close(self) -> None:
        """Draw nothing any more."""
        end_drawing(self._handlers)
        if self in _OPEN:
            _OPEN.remove(self)

    @property
    def root(self) -> bpy.types.Object | None:
        """The book; None where it is no more."""
        return find_object(self._root_name)

    def move(self, viewport: Viewport | None) -> None:
        """Find out what the pointer is on."""
        self.hover = None
        root = self.root
        if viewport is None or root is None:
            self._region = 0
            return
        self._pointer, self._region = viewport.pointer, viewport.region.as_pointer()
        objects = panels_of(root)
        found = self._nearest_fold(viewport, objects)
        self.hover = found or self._panel_under(viewport, objects)

    def other_side(self) -> None:
        """Turn to the next side of the fold under the pointer."""
        self._side += 1

    def refusal(self, *, thorough: bool) -> str:
        """Why what the pointer is on cannot be; "" where it can, as far as is known unless it is tried out."""
        hover = self.hover
        if hover is None:
            return ""
        if hover.offer.reason:
            return hover.offer.reason
        key = (hover.offer.target, round(hover.at_mm / 10), *(round(value / 10) for value in hover.point_mm))
        if thorough and key not in self._tried:
            self._tried[key] = self._try_out(hover)
        return self._tried.get(key, "")

    def said(self) -> str:
        """What the pointer is on, in words."""
        if self.hover is None:
            return ""
        target = self.hover.offer.target
        if target.fold is None:
            return str(target.panel)
        return f"{target.fold}, {target.side} side, at {self.hover.at_mm:.0f} mm"

    def _nearest_fold(self, viewport: Viewport, objects: dict[str, bpy.types.Object]) -> Hover | None:
        lines: list[tuple[float, float, Offer, tuple[Vector, Vector]]] = []
        for offer in self._offers:
            ends = self._ends(offer, objects)
            if ends is not None:
                away = viewport.distance(*ends)
                if away < _NEAR_PX:
                    lines.append((away, (ends[0] - viewport.ray()[0]).length, offer, ends))
        if not lines:
            return None
        nearest = min(lines, key=lambda line: (round(line[0]), line[1]))
        same = [line for line in lines if line[2].target.fold == nearest[2].target.fold]
        same.sort(key=lambda line: bool(line[2].reason))
        _, _, offer, ends = same[self._side % len(same)]
        fold = self._spread.folds[(str(offer.target.fold), str(offer.target.side))]
        part = min(1.0, max(0.0, viewport.part_along(*ends)))
        return Hover(offer, fold.start + part * (fold.end - fold.start))

    def _ends(self, offer: Offer, objects: dict[str, bpy.types.Object]) -> tuple[Vector, Vector] | None:
        """The ends of a fold in the world; None of a panel."""
        if offer.target.fold is None or offer.panels[0] not in objects:
            return None
        name = offer.panels[0]
        one, two = world_points(objects[name], self._spread.panels[name], np.array(offer.points[0]))
        return one, two

    def _panel_under(self, viewport: Viewport, objects: dict[str, bpy.types.Object]) -> Hover | None:
        found: list[tuple[float, Hover]] = []
        for offer in self._offers:
            name = offer.target.panel
            if name is None or name not in objects:
                continue
            hit = ray_on_panel(viewport, objects[name].matrix_world, self._spread.panels[name])
            if hit is not None and Polygon(offer.points[0]).covers(Point(hit[1])):
                found.append((hit[0], Hover(offer, 0.0, hit[1])))
        return min(found, key=lambda item: item[0])[1] if found else None

    def _draw_view(self) -> None:
        root = self.root
        if root is None:
            return
        objects = panels_of(root)
        self._draw_offers(objects, [offer for offer in self._offers if offer.reason], DIM, 1.0)
        self._draw_offers(objects, [offer for offer in self._offers if not offer.reason], FREE, 3.0)
        if self.hover is not None:
            color = REFUSED if self.refusal(thorough=False) else HOVERED
            self._draw_offers(objects, [self.hover.offer], color, 6.0)

    def _draw_offers(
        self, objects: dict[str, bpy.types.Object], offers: Sequence[Offer], color: tuple[float, ...], width: float
    ) -> None:
        lines: list[Vector] = []
        for offer in offers:
            name = offer.panels[0]
            if name not in objects:
                continue
            points: Array = np.array(offer.points[0])
            places = world_points(objects[name], self._spread.panels[name], points)
            if offer.target.fold is None:
                places = [place for pair in zip(places, [*places[1:], places[0]], strict=True) for place in pair]
            lines += places
        draw_lines(lines, color, width)

    def _draw_pixels(self) -> None:
        region: Any = bpy.context.region
        if self.hover is None or region is None or region.as_pointer() != self._region:
            return
        reason = self.refusal(thorough=False)
        target = self.hover.offer.target
        name = target.fold or target.panel or ""
        text = f"{name}: {reason}" if reason else self.said()
        draw_label(self._pointer, text, REFUSED if reason else HOVERED, "×" if reason else "+")
