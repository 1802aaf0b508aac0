"""What a net is drawn with: lines, texts and artwork, in millimetres, y upwards.

The same three serve in a piece's net coordinates and on the sheet; `Placement` carries them from one to the other.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

from ..model import Color
from ..transforms import Array
from .classes import LineClass
from .curves import Stretch, length_mm, stretches

if TYPE_CHECKING:
    from .pictures import Picture

__all__ = ["ArtImage", "Fill", "NetLine", "NetText", "Placement", "readable"]

#: As a share of the picture's width: what is printed beyond it by less is rounding.
_BESIDE_BOX = 1e-6


def readable(turn_rad: float) -> float:
    """The direction of writing along a line that reads from below or from the right, above -90 to 90 degrees.

    Examples
    --------
    >>> readable(np.pi), readable(-np.pi / 2) == np.pi / 2
    (0.0, True)
    """
    turn = float(turn_rad) % np.pi
    return turn - np.pi if turn > np.pi / 2 + 1e-9 else turn


@dataclass(frozen=True)
class Placement:
    """Where a piece lies on its sheet: turned about the origin of its net coordinates, then moved.

    Parameters
    ----------
    quarter_turns : 0 or 1, a quarter turn to the left
    shift : (2,) float, mm
    """

    quarter_turns: int
    shift: Array

    @property
    def linear(self) -> Array:
        """(2, 2) float, the turn."""
        return np.array([[1.0, 0.0], [0.0, 1.0]] if self.quarter_turns == 0 else [[0.0, -1.0], [1.0, 0.0]])

    def apply(self, points: Array) -> Array:
        """Net coordinates to sheet coordinates, (n, 2) or (2,) float, mm."""
        return np.asarray(points @ self.linear.T + self.shift)


@dataclass(frozen=True)
class NetLine:
    """One line of a net.

    Parameters
    ----------
    line_class : its layer
    points : (n, 2) float, mm; a closed line does not repeat its first point
    closed : whether it returns to its first point
    panel, hinge : the one it belongs to, or None
    glued : on class glue, the tab or rider that is glued there
    look : class whose style it is drawn in, where that is not its own (samples in the legend)
    tinted : whether it is filled, where its style has a tint; not what lies on the back
    name : what the line is, for lines that belong to the sheet
    nodes : (k, 2) float, mm; those of its points at which other lines end, or None
    light : whether it is only scored lightly, as creases of a smooth band are
    """

    line_class: LineClass
    points: Array
    closed: bool = False
    panel: str | None = None
    hinge: str | None = None
    glued: str | None = None
    look: LineClass | None = None
    tinted: bool = True
    name: str | None = None
    nodes: Array | None = None
    light: bool = False

    @cached_property
    def stretches(self) -> tuple[Stretch, ...]:
        """The line as straight and curved stretches."""
        return stretches(self.points, self.closed, self.nodes)

    @cached_property
    def length_mm(self) -> float:
        """Its length, along its curves."""
        return length_mm(self.stretches)

    def moved(self, placement: Placement) -> NetLine:
        """The same line on the sheet."""
        nodes = placement.apply(self.nodes) if self.nodes is not None else None
        return replace(self, points=placement.apply(self.points), nodes=nodes)


@dataclass(frozen=True)
class NetText:
    """One line of text.

    Parameters
    ----------
    line_class : its layer
    text : what it says
    place : (2,) float, mm; half-way up the capitals, at the anchor
    size_mm : float, font size
    turn_rad : float, direction of writing
    anchor : which part of the text stands at the place
    bold : whether in the bold cut
    """

    line_class: LineClass
    text: str
    place: Array
    size_mm: float
    turn_rad: float = 0.0
    anchor: Literal["start", "middle", "end"] = "middle"
    bold: bool = False

    def moved(self, placement: Placement) -> NetText:
        """The same centred text on the sheet, still readable from below or from the right."""
        turn = self.turn_rad + placement.quarter_turns * np.pi / 2
        return replace(self, place=placement.apply(self.place), turn_rad=readable(turn))


@dataclass(frozen=True)
class Fill:
    """A flat colour that is printed inside a region: the card grown by the bleed.

    Parameters
    ----------
    color : sRGB 0..1
    shown : the region in which it is printed
    """

    color: Color
    shown: MultiPolygon

    def moved(self, placement: Placement) -> Fill:
        """The same colour on the sheet."""
        return self.carried(placement.linear, placement.shift)

    def carried(self, linear: Array, shift: Array) -> Fill:
        """The same colour after a turn or a mirroring, (2, 2) float, and a shift, (2,) float, mm."""
        return replace(self, shown=affine_transform(self.shown, [*linear.ravel(), *shift]))

    def inside(self, region: BaseGeometry) -> Fill:
        """The same colour, printed only inside a region."""
        return replace(self, shown=_inside(self.shown, region))


def _inside(shown: MultiPolygon, region: BaseGeometry) -> MultiPolygon:
    parts = shapely.get_parts(shown.intersection(region))
    return MultiPolygon([part for part in parts if isinstance(part, Polygon) and not part.is_empty])


@dataclass(frozen=True)
class ArtImage:
    """Artwork in its box, shown inside the card grown by the bleed.

    Parameters
    ----------
    file : path of the picture; or its name only, where it is painted
    corner, along, up : (2,) float, mm; lower left corner of the box, its lower and its left side
    shown : the region in which it is printed
    paint : gives the picture where there is no file of it, the same one each time; or None
    """

    file: str
    corner: Array
    along: Array
    up: Array
    shown: MultiPolygon
    paint: Callable[[], Picture] | None = None

    def picture(self, pictures: Callable[[str], Picture]) -> Picture:
        """The picture itself, painted or from its file as `pictures` gives it."""
        return self.paint() if self.paint is not None else pictures(self.file)

    def moved(self, placement: Placement) -> ArtImage:
        """The same artwork on the sheet."""
        return self.carried(placement.linear, placement.shift)

    def carried(self, linear: Array, shift: Array) -> ArtImage:
        """The same artwork after a turn or a mirroring, (2, 2) float, and a shift, (2,) float, mm."""
        shown = affine_transform(self.shown, [*linear.ravel(), *shift])
        corner = np.asarray(linear @ self.corner + shift)
        return replace(self, corner=corner, along=linear @ self.along, up=linear @ self.up, shown=shown)

    def inside(self, region: BaseGeometry) -> ArtImage:
        """The same artwork, printed only inside a region."""
        return replace(self, shown=_inside(self.shown, region))

    def from_behind(self) -> ArtImage:
        """The same box for artwork of the back, which reads right from behind: its lower left is seen lower right."""
        return replace(self, corner=self.corner + self.along, along=-self.along)

    def laid(self) -> list[tuple[Array, Array, Array]]:
        """Where the picture is drawn: its box first, then its mirror images wherever it is printed beyond the box.

        Artwork has a border of its own for the bleed; a wider bleed continues it as its mirror image (common practice).

        Returns
        -------
        list of (corner, along, up), each (2,) float, mm
        """
        frame = np.linalg.inv(np.column_stack([self.along, self.up]))
        inside = (shapely.get_coordinates(self.shown) - self.corner) @ frame.T
        sides = []
        for places in inside.T.reshape(2, -1):
            low, high = (float(places.min()), float(places.max())) if places.size else (0.0, 1.0)
            # In each direction: as it is; mirrored about its start; mirrored about its end.
            before, after = low < -_BESIDE_BOX, high > 1.0 + _BESIDE_BOX
            sides.append([(0.0, 1.0), *([(0.0, -1.0)] if before else []), *([(2.0, -1.0)] if after else [])])
        return [
            (self.corner + start * self.along + foot * self.up, across * self.along, way * self.up)
            for foot, way in sides[1]
            for start, across in sides[0]
        ]
