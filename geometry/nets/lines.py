"""What a net is drawn with: lines, texts and artwork, in millimetres, y upwards.

The same three serve in a piece's net coordinates and on the sheet; `Placement` carries them from one to the other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from shapely import MultiPolygon
from shapely.affinity import affine_transform

from ..transforms import Array
from .classes import LineClass

__all__ = ["ArtImage", "NetLine", "NetText", "Placement", "readable"]


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

    @property
    def length_mm(self) -> float:
        """Its length."""
        points = np.concatenate([self.points, self.points[:1]]) if self.closed else self.points
        return float(np.hypot(*np.diff(points, axis=0).T).sum())

    def moved(self, placement: Placement) -> NetLine:
        """The same line on the sheet."""
        return replace(self, points=placement.apply(self.points))


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
class ArtImage:
    """Artwork in its box, shown inside the card grown by the bleed.

    Parameters
    ----------
    file : path of the picture
    corner, along, up : (2,) float, mm; lower left corner of the box, its lower and its left side
    shown : the region in which it is printed
    """

    file: str
    corner: Array
    along: Array
    up: Array
    shown: MultiPolygon

    def moved(self, placement: Placement) -> ArtImage:
        """The same artwork on the sheet."""
        linear = placement.linear
        shown = affine_transform(self.shown, [*linear.ravel(), *placement.shift])
        corner = placement.apply(self.corner)
        return replace(self, corner=corner, along=linear @ self.along, up=linear @ self.up, shown=shown)

    def from_behind(self) -> ArtImage:
        """The same box for artwork of the back, which reads right from behind: its lower left is seen lower right."""
        return replace(self, corner=self.corner + self.along, along=-self.along)

    def turned_over(self, width_mm: float) -> ArtImage:
        """The same artwork on a sheet of that width turned over left to right."""
        flip = np.array([-1.0, 1.0])
        shown = affine_transform(self.shown, [-1.0, 0.0, 0.0, 1.0, width_mm, 0.0])
        corner = self.corner * flip + [width_mm, 0.0]
        return replace(self, corner=corner, along=self.along * flip, up=self.up * flip, shown=shown)
