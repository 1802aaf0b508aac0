"""What the pictures of checks are made of: a spread that stands, a net that lies, the closed page, a painting.

A view gives forms in millimetres, y upwards; draw_checks.py lays them beside each other. What is found is coloured, or
has a ring about its place; everything is taken from the exact poses and nets.
"""

from __future__ import annotations

import base64
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

import numpy as np
import shapely
from shapely import Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from geometry import Spread
from geometry.artwork import art_box
from geometry.booklet.hidden import Camera, Seen, lifts, see
from geometry.booklet.states import standing
from geometry.bulk_drawing.patches import REGION, page_patches
from geometry.checks import Finding
from geometry.checks.bulk import bulk_map
from geometry.loops import Loop
from geometry.nets import draw_piece
from geometry.nets.classes import STYLES
from geometry.tolerances import SLIVER_MM2
from geometry.transforms import Array, rotation_about

__all__ = [
    "FOUND",
    "HIDDEN",
    "LINE",
    "OTHER",
    "Closed",
    "Form",
    "Lying",
    "Painted",
    "Standing",
    "View",
    "found_in",
    "panel_forms",
]

#: Front and back of what is found, and of the rest.
FOUND, OTHER = ("#f2a08a", "#d9795f"), ("#f9f7f2", "#d4d4d4")
LINE = {"stroke": "#202020", "stroke-width": "0.5", "stroke-linejoin": "round"}
#: What other card hides of what is found.
HIDDEN = {"fill": "none", "stroke": FOUND[1], "stroke-width": "0.6", "stroke-dasharray": "2.4 1.6"}
#: About a place that is found.
_RING = {"fill": FOUND[0], "fill-opacity": "0.45", "stroke": FOUND[1], "stroke-width": "1"}
_RING_MM = 5.0
#: What is hidden is met to this.
_NEAR_MM = 1e-3
#: A crease that is found.
_CREASE = {"fill": "none", "stroke": FOUND[1], "stroke-width": "0.9", "stroke-dasharray": "5 1.1 0.5 1.1"}
#: Lines of a net are drawn so much wider than on the sheet, where they are seen from near.
_WIDER = 1.6


@dataclass(frozen=True)
class Form:
    """A shape of a picture.

    Parameters
    ----------
    shape : mm, y upwards; a polygon is closed, a line is not
    style : attributes in SVG
    picture : a file that fills the bounds of the shape, in place of a drawn line
    """

    shape: BaseGeometry
    style: Mapping[str, str]
    picture: str | None = None


class View(Protocol):
    """One part of a picture."""

    def forms(self, spread: Spread, findings: Sequence[Finding]) -> list[Form]:
        """What it draws, what lies on top last."""


def found_in(spread: Spread, findings: Sequence[Finding]) -> set[str]:
    """The panels of all pieces that findings name, but for the pages, which are always there."""
    named = {name for finding in findings for name in (finding.panel, finding.other) if name}
    pieces = {spread.panels[name].piece for name in named}
    for solid in spread.solids:
        if named & solid.panels:
            pieces |= set(solid.pieces)
    return {name for piece in pieces for name in spread.piece(piece).panels} - {"page.left", "page.right"}


@dataclass(frozen=True)
class Standing:
    """The spread as it stands, seen by parallel rays.

    Parameters
    ----------
    opening, azimuth, elevation : degrees; from where it is seen, to the right of the reader and above the table
    hands : how far hands have moved what they move, degrees or mm; those that are not named have hardly lifted it
    without : panels that are left out
    colored : pieces or panels to colour; where there are none, the pieces that are found
    through : whether what other card hides of what is found is seen through it, dashed
    guess : of the guesses that a loop starts from the one it is drawn by; a loop that can flop stands where that leads
    """

    opening: float
    azimuth: float
    elevation: float
    hands: Mapping[str, float] = field(default_factory=dict)
    without: tuple[str, ...] = ()
    colored: tuple[str, ...] = ()
    through: bool = False
    guess: tuple[float, ...] = ()

    def forms(self, spread: Spread, findings: Sequence[Finding]) -> list[Form]:
        """What is seen of each panel."""
        found = found_in(spread, findings)
        if self.colored:
            found = {panel.id for panel in spread.panels.values() if {panel.id, panel.piece} & set(self.colored)}
        seen = self._seen(spread)
        drawn = [form for each in seen for form in panel_forms(each, FOUND if each.panel in found else OTHER)]
        if self.through:
            edges = [each.outline.boundary & each.hidden.buffer(_NEAR_MM) for each in seen if each.panel in found]
            drawn += [Form(line, HIDDEN) for edge in edges for line in shapely.get_parts(shapely.line_merge(edge))]
        return drawn

    def _seen(self, spread: Spread) -> list[Seen]:
        matrices = self._poses(_started(spread, self.guess) if self.guess else spread)
        # Tabs inside solids lie behind their facets, and would only cost time.
        out = {*self.without, *(name for solid in spread.solids for name in solid.tabs)}
        kept = [name for name in matrices if name not in out]
        camera = Camera(float(np.radians(self.azimuth)), float(np.radians(self.elevation)))
        return see(
            {name: spread.panels[name].outline for name in kept},
            {name: matrices[name] for name in kept},
            camera,
            lifts(spread, matrices),
        )

    def _poses(self, spread: Spread) -> dict[str, Array]:
        opening = float(np.radians(self.opening))
        if not self.hands:
            return standing(spread, opening)
        values = {hand.id: hand.inside(self.hands[hand.id]) for hand in spread.hands if hand.id in self.hands}
        motion = spread.pose(np.array([opening]), values)
        level = rotation_about(np.zeros(3), [0.0, 1.0, 0.0], -(np.pi - opening) / 2)[0]
        return {name: level @ matrix[0] for name, matrix in motion.matrices.items()}


def _started(spread: Spread, guess: Sequence[float]) -> Spread:
    """The spread with its loops started from another guess, degrees: of a loop that can flop another position."""
    guesses = np.radians([guess])
    units = tuple(
        replace(unit, start=replace(unit.start, guesses=guesses, prefer=None)) if isinstance(unit, Loop) else unit
        for unit in spread.units
    )
    return replace(spread, units=units)


def panel_forms(seen: Seen, colors: tuple[str, str]) -> Iterator[Form]:
    """What is seen of a panel, its front and its back in a colour each."""
    style = {"fill": colors[0 if seen.front else 1], "fill-rule": "evenodd", **LINE}
    for part in _polygons(seen.visible):
        yield Form(part, style)


def _polygons(shape: BaseGeometry) -> list[Polygon]:
    parts = shapely.get_parts(shape)
    return [part for part in parts if isinstance(part, Polygon) and part.area > SLIVER_MM2]


@dataclass(frozen=True)
class Lying:
    """The net of a piece: creases that are found coloured, and a ring about every place on it that is found.

    Parameters
    ----------
    piece : its name
    window : what is shown of it, (left, low, right, high) in mm; all where it is None
    """

    piece: str
    window: tuple[float, float, float, float] | None = None

    def forms(self, spread: Spread, findings: Sequence[Finding]) -> list[Form]:
        """Card, creases, cuts and rings."""
        drawing = draw_piece(spread, self.piece)
        window = box(*(self.window or drawing.card.buffer(1.0).bounds))
        drawn = [Form(part, {"fill": OTHER[0], "fill-rule": "evenodd"}) for part in _polygons(drawing.card & window)]
        for line in drawing.lines:
            style = STYLES[line.line_class]
            if line.line_class not in ("cut", "mountain", "valley"):
                continue
            look = {"fill": "none", "stroke": style.hex, "stroke-width": f"{_WIDER * style.width_mm:g}"}
            if style.dashes:
                look["stroke-dasharray"] = " ".join(f"{dash:g}" for dash in style.dashes)
            points = [*line.points, line.points[0]] if line.closed else line.points
            shown = shapely.get_parts(shapely.LineString(points) & window)
            drawn += [Form(part, look) for part in shown if not part.is_empty]
        own = [item for item in findings if item.piece == self.piece and item.place_mm is not None]
        between = [{item.panel, item.other} for item in own]
        drawn += [
            Form(shapely.LineString(hinge.lines[0]), _CREASE)
            for hinge in spread.creases(self.piece)
            if set(hinge.panels) in between
        ]
        return drawn + _rings(own)


@dataclass(frozen=True)
class Closed:
    """The closed page, tinted by how much card lies there, with a ring about the thickest place."""

    def forms(self, spread: Spread, findings: Sequence[Finding]) -> list[Form]:
        """The regions of the bulk map, and the ring."""
        drawn = [
            Form(part, {"fill": "#{:02x}{:02x}{:02x}".format(*patch.color), **LINE})
            for patch in page_patches(bulk_map(spread))
            if patch.level == REGION
            for part in patch.parts
        ]
        return drawn + _rings(findings)


def _rings(findings: Sequence[Finding]) -> list[Form]:
    """One about every place that is found."""
    places = dict.fromkeys(item.place_mm for item in findings if item.place_mm is not None)
    return [Form(Point(place).buffer(_RING_MM), _RING) for place in places]


@dataclass(frozen=True)
class Painted:
    """The artwork of a piece: as it is printed on the card, or as it was painted.

    Parameters
    ----------
    piece : its name
    pixels : width and height of the picture where it is shown as it was painted, as wide as it is printed; else None
    """

    piece: str
    pixels: tuple[int, int] | None = None

    def forms(self, spread: Spread, findings: Sequence[Finding]) -> list[Form]:
        """The picture, and the edge of the card on it."""
        left, low, right, high = art_box(spread, self.piece)
        art = str(spread.piece(self.piece).art_front)
        if self.pixels:
            across, down = self.pixels
            high = low + (right - left) * down / across
        frame = box(left, low, right, high)
        drawn = [Form(frame, {}, "data:image/png;base64," + base64.b64encode(Path(art).read_bytes()).decode())]
        card = [] if self.pixels else _polygons(draw_piece(spread, self.piece).card)
        return drawn + [Form(part, {"fill": "none", "stroke": FOUND[1], "stroke-width": "1"}) for part in card]
