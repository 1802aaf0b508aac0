"""Where a dropped mechanism can stand: the folds and panels of a book by their distance from it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import bpy
import numpy as np
from mathutils import Vector
from shapely import Point, Polygon

from .assets import cutting_of
from .books import panels_of
from .convert import from_blender, millimetres, object_frame
from .designing import design_of
from .geometry import HingeleafError, Spread, parse_description
from .geometry.description.data import MechanismSpec
from .geometry.design.offering import Offer, offers
from .geometry.transforms import apply
from .geometry.trees import owner_of
from .projecting import world_points

__all__ = ["Spot", "spots_near"]

#: Sides that a description means where it names none come first; they are as near as the others.
_USUAL = ("valley", "outer")
_ASIDE_MM = 1e-3


@dataclass(frozen=True)
class Spot:
    """A place for a mechanism.

    Parameters
    ----------
    root : the book
    fold, side : of the fold; None where it is a panel. A side of None is the usual one
    panel : the panel, or the box; None where it is a fold
    at : along the fold, mm, or on the panel's net
    distance_mm : from the dropped object
    reason : why it cannot stand there; "" where it can be tried
    """

    root: bpy.types.Object
    fold: str | None
    side: str | None
    panel: str | None
    at: float | tuple[float, float] | None
    distance_mm: float
    reason: str

    def __str__(self) -> str:
        side = f", {self.side} side" if self.side else ""
        return f"{self.fold or self.panel}{side}"


def spots_near(root: bpy.types.Object, item: bpy.types.Object) -> Iterator[Spot]:
    """Every place of a book for the mechanism that an object carries.

    Raises
    ------
    HingeleafError
        The object's text, or the book's, cannot be read.
    """
    cut = parse_description(cutting_of(item), source=item.name)
    if not cut.mechanisms:
        raise HingeleafError(f"{item.name} carries no mechanism")
    spec = cut.mechanisms[0]
    description, spread = design_of(root)
    on = "fold" if spec.kind == "rider" and "fold" in spec.values else None
    for offer in offers(spread, description, spec.kind, on=on):
        spot = _spot(root, item, spread, spec, offer)
        if spot is not None:
            yield spot


def _spot(
    root: bpy.types.Object, item: bpy.types.Object, spread: Spread, spec: MechanismSpec, offer: Offer
) -> Spot | None:
    name = offer.panels[0]
    panel = panels_of(root).get(name)
    if panel is None:
        return None
    place = item.matrix_world.translation
    if offer.target.fold is None:
        into_net = object_frame(spread.panels[name]) @ from_blender(panel.matrix_world.inverted())
        x, y, z = apply(into_net, millimetres(np.array(place))[None])[0]
        away = float(np.hypot(z, Polygon(offer.points[0]).distance(Point(x, y))))
        host = owner_of(name) if spec.kind == "layer" else name
        at = None if spec.kind == "layer" else (round(float(x), 1), round(float(y), 1))
        return Spot(root, None, None, host, at, away, offer.reason)
    ends = world_points(panel, spread.panels[name], np.array(offer.points[0]))
    fold = spread.folds[(offer.target.fold, str(offer.target.side))]
    part, away = _nearest(place, ends[0], ends[1])
    usual = spec.kind == "slit-cut-in" or fold.side in _USUAL
    along = min(fold.start + part * (fold.end - fold.start), fold.end - float(spec.values.get("length", 0.0)))
    place_mm = round(max(along, fold.start), 1)
    return Spot(
        root, fold.id, None if usual else fold.side, None, place_mm, away + (0.0 if usual else _ASIDE_MM), offer.reason
    )


def _nearest(place: Vector, start: Vector, end: Vector) -> tuple[float, float]:
    """Where on a line a point is nearest, 0 to 1, and how far away, mm."""
    along = end - start
    part = min(1.0, max(0.0, (place - start).dot(along) / max(along.length_squared, 1e-12)))
    return part, float(millimetres((start + part * along - place).length))
