"""What the pictures of a bound book's checks are made of: the book as its leaves stand, and one leaf, seen through."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from geometry.binding import Binding
from geometry.binding.leaf_glue import foulings, leaf_faces
from geometry.booklet.hidden import Camera, lifts, see
from geometry.checks import Finding
from geometry.transforms import Array
from scenes.check_views import FOUND, HIDDEN, LINE, OTHER, Form, panel_forms

__all__ = ["Leaf", "Turned"]


@dataclass(frozen=True)
class Turned:
    """A book as its leaves stand, without its boards; the pieces that leave their own pages' space are coloured.

    Parameters
    ----------
    leaves : the angle of every leaf, degrees
    azimuth, elevation : degrees; from where it is seen, to the right of the reader and above the table
    """

    leaves: tuple[float, ...]
    azimuth: float
    elevation: float

    def forms(self, book: Binding, findings: Sequence[Finding]) -> list[Form]:
        """What is seen of each panel."""
        outlines: dict[str, Polygon] = {}
        poses: dict[str, Array] = {}
        above: dict[str, Array] = {}
        bound = book.pose(np.radians([self.leaves]))
        for number, (title, spread) in enumerate(zip(book.names, book.spreads, strict=True), start=1):
            own = {name: bound[number, name][0] for name in spread.panels}
            outlines |= {f"{title}/{name}": spread.panels[name].outline for name in own}
            poses |= {f"{title}/{name}": matrix for name, matrix in own.items()}
            above |= {f"{title}/{name}": lift for name, lift in lifts(spread, own).items()}
        camera = Camera(float(np.radians(self.azimuth)), float(np.radians(self.elevation)))
        found = {finding.panel for finding in findings}
        of = _pieces(book)
        pieces = {of[name] for name in found & of.keys()}
        seen = see(outlines, poses, camera, above)
        return [form for each in seen for form in panel_forms(each, FOUND if of[each.panel] in pieces else OTHER)]


def _pieces(book: Binding) -> dict[str, str]:
    """The piece of every panel, both named after their spread."""
    return {
        f"{name}/{panel.id}": f"{name}/{panel.piece}"
        for name, spread in zip(book.names, book.spreads, strict=True)
        for panel in spread.panels.values()
    }


@dataclass(frozen=True)
class Leaf:
    """One leaf, seen from before: what is behind its front page dashed, and where something fouls coloured.

    Parameters
    ----------
    number : of the leaf
    """

    number: int

    def forms(self, book: Binding, findings: Sequence[Finding]) -> list[Form]:
        """The front page, what moves behind it, what is cut loose of the page on the other side."""
        before, behind = leaf_faces(book, self.number)
        width, height = book.page_size_mm
        page = shapely.box(0.0, 0.0, width, height).difference(before.open)
        drawn = _areas(page, {"fill": OTHER[0], "fill-rule": "evenodd", **LINE})
        drawn += [form for item in foulings((before, behind)) for form in _areas(item.area, {"fill": FOUND[0]})]
        inside: Mapping[str, BaseGeometry] = {**before.moving, **behind.strips, **behind.moving}
        return drawn + [form for shape in inside.values() for form in _areas(shape, HIDDEN)]


def _areas(shape: BaseGeometry, style: Mapping[str, str]) -> list[Form]:
    parts = shape.geoms if isinstance(shape, MultiPolygon) else [shape]
    return [Form(part, style) for part in parts if isinstance(part, Polygon)]
