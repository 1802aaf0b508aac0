"""What a spread is made of: panels, hinges, folds, pieces, and the numbers that turn them.

Conventions, fixed here for the whole core:

- Lengths in millimetres, angles in radians. A piece's *net coordinates* are the plane of its net seen from the
  printed face, x to the right, y up; the printed face looks along +z.
- World: spine on the Y axis, foot of the page at y = 0, the right page in z = 0, x >= 0. The right page's net
  coordinates are the world's.
- A panel's matrix carries its net coordinates (z = 0) to the world.
- Every angle of a spread is ``offset + scale * value`` of one named *variable*: ``spine`` (the opening), an angle of a
  cell, ``ID:left``, ``ID:right``, ``ID:middle``, an angle of a loop, or ``ID:hand``, what a hand moves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from shapely import Polygon

from .errors import HingeleafError
from .linkage import Cell
from .transforms import Array, rotation_about, translation_along

__all__ = [
    "Angle",
    "Axis",
    "CellOnFold",
    "Color",
    "Fold",
    "GlueArea",
    "Hand",
    "Hinge",
    "HingeKind",
    "HostSide",
    "Panel",
    "Piece",
    "Role",
    "Stock",
    "Trim",
]

Role = Literal["page", "panel", "strip", "tab", "rider"]
HingeKind = Literal["spine", "crease", "glue"]
#: sRGB, 0..1.
Color = tuple[float, float, float]


@dataclass(frozen=True)
class Angle:
    """An angle of the motion: ``offset + scale * variable``, in radians."""

    variable: str | None
    scale: float = 1.0
    offset: float = 0.0

    def of(self, variables: Mapping[str, Array], count: int | None = None) -> Array:
        """The angle at every position, (n,) float, radians; a constant one at so many, or at every opening."""
        if self.variable is None:
            return np.full(len(variables["spine"]) if count is None else count, self.offset)
        return self.offset + self.scale * variables[self.variable]

    def other_side(self) -> Angle:
        """The same dihedral angle measured through the other side of the card."""
        return Angle(self.variable, -self.scale, 2 * np.pi - self.offset)


@dataclass(frozen=True)
class Axis:
    """A hinge line in the coordinates of the panel it turns on, and the angle that turns it; or a straight guide.

    Parameters
    ----------
    point : (3,) float, mm
    direction : (3,) float, unit vector
    turn : Angle; in a guide the way along it, mm
    slides : the panel slides along the line instead of turning about it
    """

    point: Array
    direction: Array
    turn: Angle
    slides: bool = False

    @property
    def pivots(self) -> bool:
        """Whether the panel turns in the plane of its host, as a wheel does."""
        return not self.slides and abs(float(self.direction[2])) >= 1 - 1e-9

    def motion(self, values: Array) -> Array:
        """The turns, or the ways along the guide, as matrices: (n,) float to (n, 4, 4) float."""
        if self.slides:
            return translation_along(self.direction, values)
        return rotation_about(self.point, self.direction, values)


@dataclass(frozen=True)
class Panel:
    """A flat rigid region of a piece.

    Parameters
    ----------
    id, piece : names
    outline : Polygon in net coordinates, mm, with its holes
    parent : the panel it turns on or is fixed to; None for the right page, which stands still
    rest : (4, 4) float; net coordinates of this panel to those of its parent while the hinge is at angle zero
    axis : hinge line and its angle; None where the panel is fixed to its parent (tabs, riders)
    role : what it is
    """

    id: str
    piece: str
    outline: Polygon
    parent: str | None
    rest: Array
    axis: Axis | None = None
    role: Role = "panel"

    @property
    def variable(self) -> str | None:
        """What moves it against its parent; None where it is fixed, or turned by a constant angle."""
        return None if self.axis is None else self.axis.turn.variable

    def with_outline(self, outline: Polygon) -> Panel:
        """The same panel with another outline."""
        return replace(self, outline=outline)


@dataclass(frozen=True)
class Hinge:
    """A line about which two panels turn.

    Parameters
    ----------
    id : name
    kind : spine, crease, or glue (the line where a panel stands on its host)
    panels : the two panels
    lines : (2, 2, 2) float, mm; start and end in each panel's own net coordinates
    dihedral : Angle; crease and spine: through the printed face, above pi for a mountain; glue: through the side
        away from the host fold
    """

    id: str
    kind: HingeKind
    panels: tuple[str, str]
    lines: Array
    dihedral: Angle


@dataclass(frozen=True)
class HostSide:
    """One of the two panels of a fold, in that panel's net coordinates.

    Parameters
    ----------
    panel : its name
    origin : (2,) float, mm; the fold's zero point
    along : (2,) float; unit vector along the fold
    across : (2,) float; unit vector square to it, into the panel
    """

    panel: str
    origin: Array
    along: Array
    across: Array

    def point(self, along_mm: float, across_mm: float = 0.0) -> Array:
        """A point given by its distances along the fold and away from it."""
        return np.asarray(self.origin + along_mm * self.along + across_mm * self.across)

    @property
    def turns_left(self) -> float:
        """+1 where across lies to the left of along, -1 where to the right."""
        return float(np.sign(self.along[0] * self.across[1] - self.along[1] * self.across[0]))


@dataclass(frozen=True)
class Fold:
    """One side of a hinge, as a place to build on.

    Parameters
    ----------
    id, side : its name, and the side: valley or mountain of a crease; outer, inner or tab of a foot
    left, right : its two host panels
    dihedral : Angle between the hosts, through this side
    handed : +1 where along x (bisector of this side) runs to the right host, -1 where to the left
    start, end : float, mm; where the fold begins and ends along itself
    """

    id: str
    side: str
    left: HostSide
    right: HostSide
    dihedral: Angle
    handed: float
    start: float
    end: float

    def reversed(self) -> Fold:
        """The same fold measured from the same zero point in the other direction."""
        left = replace(self.left, along=-self.left.along)
        right = replace(self.right, along=-self.right.along)
        return replace(self, left=left, right=right, handed=-self.handed, start=-self.end, end=-self.start)

    def moved(self, along_mm: float) -> Fold:
        """The same fold with its zero point moved along it."""
        left = replace(self.left, origin=self.left.point(along_mm))
        right = replace(self.right, origin=self.right.point(along_mm))
        return replace(self, left=left, right=right, start=self.start - along_mm, end=self.end - along_mm)


@dataclass(frozen=True)
class CellOnFold:
    """A cell of the spread: it turns the host fold's angle into the variables ID:left, ID:right, ID:middle."""

    id: str
    cell: Cell
    host: Angle
    fold: str

    @property
    def needs(self) -> frozenset[str]:
        """Variables that it is solved from."""
        return frozenset() if self.host.variable is None else frozenset({self.host.variable})

    @property
    def gives(self) -> tuple[str, str, str]:
        """Variables that it solves for."""
        return f"{self.id}:left", f"{self.id}:right", f"{self.id}:middle"

    def solve(self, variables: Mapping[str, Array]) -> dict[str, Array]:
        """Its three angles at each position, (n,) float, radians; NaN where it cannot stand."""
        motion = self.cell.solve(self.host.of(variables))
        return dict(zip(self.gives, (motion.left, motion.right, motion.middle), strict=True))


@dataclass(frozen=True)
class Hand:
    """What a hand moves: a flap, a pull-strip, a wheel.

    Parameters
    ----------
    id : the mechanism's name
    unit : "deg" where it turns, "mm" where it slides
    low, high : float, radians or mm; how far it goes
    rest : where it is left alone
    beyond_mm : how far what it moves may stand out of the page: a handle, a rim
    behind : it lies on the back of the panel that it moves on
    windows, slots : of a wheel, mm, in the net coordinates of the panel that it turns on; through the windows it is
        seen, in the slots a finger turns it
    """

    id: str
    unit: Literal["deg", "mm"]
    low: float
    high: float
    rest: float
    beyond_mm: float = 0.0
    behind: bool = False
    windows: tuple[Polygon, ...] = ()
    slots: tuple[Polygon, ...] = ()

    @property
    def variable(self) -> str:
        """The variable that it sets."""
        return f"{self.id}:hand"

    @property
    def needs(self) -> frozenset[str]:
        """Nothing: a hand moves it."""
        return frozenset()

    @property
    def gives(self) -> tuple[str]:
        """The one variable."""
        return (self.variable,)

    def inside(self, value: float) -> float:
        """How far it is moved, given in degrees or mm, in radians or mm; HingeleafError outside its range."""
        own = float(np.radians(value)) if self.unit == "deg" else float(value)
        if not self.low - 1e-9 <= own <= self.high + 1e-9:
            low, high = self.said(self.low), self.said(self.high)
            raise HingeleafError(f"{self.id} moves from {low:g} to {high:g} {self.unit}, not to {value:g}")
        return min(max(own, self.low), self.high)

    def said(self, value: float) -> float:
        """A value of the variable in degrees or mm."""
        return float(np.degrees(value)) if self.unit == "deg" else value

    def as_dict(self, value: float) -> dict[str, object]:
        """Name, unit, range and where it is, for the poses file."""
        numbers = {"low": self.low, "high": self.high, "rest": self.rest, "value": value}
        return {"id": self.id, "unit": self.unit, **{name: self.said(number) for name, number in numbers.items()}}

    def solve(self, variables: Mapping[str, Array]) -> dict[str, Array]:
        """At rest, unless a hand has moved it already."""
        count = len(variables["spine"])
        return {self.variable: variables.get(self.variable, np.full(count, self.rest))}


@dataclass(frozen=True)
class Stock:
    """The card.

    Parameters
    ----------
    id : name
    grammage_gsm : float, g/m^2
    caliper_mm : float, thickness
    grain : direction of the fibres on the net: "height", "width" or "any"
    color : sRGB 0..1, the colour of unprinted card
    """

    id: str
    grammage_gsm: float
    caliper_mm: float
    grain: str
    color: tuple[float, float, float]


@dataclass(frozen=True)
class GlueArea:
    """Where a tab or a rider is glued: its outline on the host, in the host's net coordinates."""

    host: str
    glued: str
    outline: Polygon
    face: Literal["front", "back"]


@dataclass(frozen=True)
class Trim:
    """What a tab lost, because it would have lain on something.

    Parameters
    ----------
    tab, host : panels
    over : what it would have lain on, in words
    lost_mm2 : float, the area that was cut off
    """

    tab: str
    host: str
    over: str
    lost_mm2: float


@dataclass(frozen=True)
class Piece:
    """One cut sheet of stock.

    Parameters
    ----------
    id, title : its name, and what a person calls it
    stock : the card
    panels : names of its panels, tabs included
    art_front, art_back : artwork files (absolute paths), None where plain
    color_front, color_back : sRGB 0..1, printed flat under the artwork; None where the card is not printed on
    art_box : (left, low, right, high), mm, on its net, where its artwork does not fill the box about it and its bleed
    """

    id: str
    title: str
    stock: Stock
    panels: tuple[str, ...]
    art_front: str | None = None
    art_back: str | None = None
    color_front: Color | None = None
    color_back: Color | None = None
    art_box: tuple[float, float, float, float] | None = None
