"""Room: how much card there is about a fold or on a panel, and how much of the closed page, for sizes to start from."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon, box
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

from ..mechanisms.glued import host_normal
from ..model import Fold, HostSide
from ..outline import parts_of
from ..spread import Spread
from ..transforms import Array

__all__ = ["FoldRoom", "HostRoom", "PanelRoom", "fold_room", "panel_room", "ray"]

#: Rays begin this far from a line on an edge of the card, mm, or rounding would take them for outside.
_HAIR_MM = 0.01
_FAR_MM = 5000.0
#: Places along a stretch of a fold at which it is looked how far the card reaches.
_PLACES = 5
#: What is glued on a panel is kept away from by this, mm, and so is its edge.
_CLEAR_MM = 2.0
#: In a smaller gap between two that stand beside a fold, mm, nothing is made by hand.
_SMALLEST_GAP_MM = 12.0


@dataclass(frozen=True)
class HostRoom:
    """One host of a fold, in the fold's coordinates: x along it, y away from it into the host, mm.

    Parameters
    ----------
    card : what there is of the host
    page : the closed page less its margin, as the host lies on it; None where the host does not lie flat then
    taken : what is glued on it, on the face on which something on this side of the fold stands
    """

    card: Polygon
    page: Polygon | None
    taken: MultiPolygon

    def glue(self, at_mm: float, angle_rad: float = math.pi / 2) -> float:
        """How far a line from the fold runs on the card, mm."""
        return ray(self.card, at_mm, angle_rad)

    def closed(self, at_mm: float, angle_rad: float = math.pi / 2) -> float:
        """How far a line from the fold runs on the closed page, mm."""
        return _FAR_MM if self.page is None else ray(self.page, at_mm, angle_rad)


@dataclass(frozen=True)
class FoldRoom:
    """A fold as a place to build on.

    Parameters
    ----------
    fold : Fold
    hosts : left and right
    spans : where the fold is still there, from and to along it, mm
    shut_rad : its angle while the book is closed: 0 closed, pi flat, 2 pi a ridge, or whatever it is
    """

    fold: Fold
    hosts: tuple[HostRoom, HostRoom]
    spans: tuple[tuple[float, float], ...]
    shut_rad: float

    @property
    def flat_shut(self) -> bool:
        """Whether it lies flat while the book is closed."""
        return abs(self.shut_rad - math.pi) < math.pi / 4

    @property
    def ridge(self) -> bool:
        """Whether it is a ridge while the book is closed."""
        return self.shut_rad > 1.75 * math.pi

    @cached_property
    def gaps(self) -> tuple[tuple[float, float], ...]:
        """What of its spans lies clear of all that is glued beside it, mm."""
        near = [area.bounds for host in self.hosts for area in host.taken.geoms]
        free: list[tuple[float, float]] = []
        for start, end in self.spans:
            place = start
            for low, _, high, _ in sorted(near):
                if low - _CLEAR_MM > place:
                    free.append((place, min(low - _CLEAR_MM, end)))
                place = max(place, high + _CLEAR_MM)
            free.append((place, end))
        return tuple(gap for gap in free if gap[1] - gap[0] >= _SMALLEST_GAP_MM)

    def glue(self, at_mm: float, angle_rad: float = math.pi / 2) -> float:
        """How far a line from the fold runs on the card of both hosts, mm."""
        return min(host.glue(at_mm, angle_rad) for host in self.hosts)

    def closed(self, at_mm: float, angle_rad: float = math.pi / 2) -> float:
        """How far a line from the fold runs on the closed page, over either host, mm."""
        return min(host.closed(at_mm, angle_rad) for host in self.hosts)

    def depth(self, start_mm: float, end_mm: float) -> float:
        """How far the card of both hosts reaches from the fold everywhere between two places along it, mm."""
        places = np.linspace(start_mm + _HAIR_MM, end_mm - _HAIR_MM, _PLACES)
        return min(self.glue(float(place)) for place in places)

    def closed_depth(self, start_mm: float, end_mm: float, angle_rad: float = math.pi / 2) -> float:
        """The same on the closed page, which has no gaps."""
        return min(self.closed(place, angle_rad) for place in (start_mm + _HAIR_MM, end_mm - _HAIR_MM))


@dataclass(frozen=True)
class PanelRoom:
    """A panel as a place to build on, in its net coordinates, mm.

    Parameters
    ----------
    panel : its name
    card : its outline
    front, back : what of it is free on either face: clear of its edge, of what is glued on it and of what stands on it
    away : (2,) float, unit vector away from the line on which it turns; towards the head where it is fixed
    """

    panel: str
    card: Polygon
    front: MultiPolygon
    back: MultiPolygon
    away: Array

    def free(self, face: str) -> MultiPolygon:
        """What is free on a face, "front" or "back"."""
        return self.front if face == "front" else self.back

    @cached_property
    def size(self) -> tuple[float, float]:
        """Width and height of the box about it, mm."""
        low_x, low_y, high_x, high_y = self.card.bounds
        return high_x - low_x, high_y - low_y

    @cached_property
    def middle(self) -> tuple[float, float]:
        """The middle of the card, if there is about as much free about it as anywhere; or of the widest free place."""
        shape: Polygon | MultiPolygon = self.front if self.front.area > 0 else self.card
        widest = shapely.maximum_inscribed_circle(shape, tolerance=0.5)
        centre, centroid = shapely.get_point(widest, 0), self.card.centroid
        if shape.contains(centroid) and shape.boundary.distance(centroid) > 0.8 * widest.length:
            centre = centroid
        return float(centre.x), float(centre.y)


def ray(card: Polygon, at_mm: float, angle_rad: float) -> float:
    """How far a straight line runs inside a polygon.

    Parameters
    ----------
    card : in coordinates x along a fold, y away from it
    at_mm : where on the fold it begins
    angle_rad : from the fold's direction

    Returns
    -------
    float, mm; 0 where it begins outside
    """
    dx, dy = math.cos(angle_rad), math.sin(angle_rad)
    lift = _HAIR_MM if dy >= 0 else -_HAIR_MM
    line = LineString([(at_mm, lift), (at_mm + _FAR_MM * dx, lift + _FAR_MM * dy)])
    start = shapely.Point(at_mm, lift)
    for part in shapely.get_parts(line.intersection(card)):
        if part.geom_type == "LineString" and part.distance(start) < 2 * _HAIR_MM:
            return float(part.length)
    return 0.0


def fold_room(spread: Spread, fold: Fold) -> FoldRoom:
    """The room about a fold, on one of its sides."""
    shut = spread.pose(np.zeros(1))
    angle = float(shut.angle(fold.dihedral)[0])
    hosts = tuple(
        HostRoom(
            card=_seen(host, spread.panels[host.panel].outline),
            page=_page(spread, host, shut.matrices[host.panel][0]),
            taken=_taken(spread, host, "front" if host_normal(fold, side) > 0 else "back"),
        )
        for side, host in (("left", fold.left), ("right", fold.right))
    )
    return FoldRoom(fold, (hosts[0], hosts[1]), _spans(spread, fold), angle if np.isfinite(angle) else 0.0)


def _seen(host: HostSide, outline: Polygon) -> Polygon:
    """An outline in net coordinates, in the fold's."""
    a, b = host.along.tolist()
    d, e = host.across.tolist()
    x, y = -float(host.origin @ host.along), -float(host.origin @ host.across)
    seen: Polygon = affine_transform(outline, [a, b, d, e, x, y])
    return seen


def _taken(spread: Spread, host: HostSide, face: str) -> MultiPolygon:
    areas = [area for area in spread.glue_areas if area.host == host.panel and area.face == face]
    return MultiPolygon([_seen(host, area.outline) for area in areas])


def _page(spread: Spread, host: HostSide, matrix: Array) -> Polygon | None:
    if not np.isfinite(matrix).all() or abs(abs(matrix[2, 2]) - 1.0) > 1e-3:
        return None
    (width, height), margin = spread.page_size_mm, spread.margin_mm
    turn, place = matrix[:2, :2], matrix[:2, 3]
    a, b, d, e = turn.T.ravel().tolist()
    x, y = (-turn.T @ place).tolist()
    page = box(0.0, margin, width - margin, height - margin)
    return _seen(host, affine_transform(page, [a, b, d, e, x, y]))


def _spans(spread: Spread, fold: Fold) -> tuple[tuple[float, float], ...]:
    """Where the hinge is still there, and nothing has been cut out across it."""
    spans = []
    for hinge in spread.hinges:
        if hinge.id.split("#")[0] != fold.id or fold.left.panel not in hinge.panels:
            continue
        line = hinge.lines[hinge.panels.index(fold.left.panel)]
        ends = sorted(float((point - fold.left.origin) @ fold.left.along) for point in line)
        spans.append((max(ends[0], fold.start), min(ends[1], fold.end)))
    spans = [span for span in spans if span[1] > span[0]]
    return tuple(sorted(spans)) or ((fold.start, fold.end),)


def panel_room(spread: Spread, panel_id: str) -> PanelRoom:
    """The room on a panel."""
    panel = spread.panels[panel_id]
    inside = panel.outline.buffer(-_CLEAR_MM, join_style="mitre")
    standing = [LineString(line) for line in _lines_on(spread, panel_id)]
    taken: dict[str, list[BaseGeometry]] = {"front": list(standing), "back": list(standing)}
    for area in spread.glue_areas:
        if area.host == panel_id:
            taken[area.face].append(area.outline)
    free = {face: MultiPolygon(parts_of(inside.difference(_about(own)))) for face, own in taken.items()}
    return PanelRoom(panel_id, panel.outline, free["front"], free["back"], _away(spread, panel_id))


def _about(shapes: Iterable[BaseGeometry]) -> BaseGeometry:
    return shapely.union_all([shape.buffer(_CLEAR_MM, join_style="mitre") for shape in shapes])


def _lines_on(spread: Spread, panel_id: str) -> list[Array]:
    """Lines on which other panels stand on this one."""
    return [
        hinge.lines[hinge.panels.index(panel_id)]
        for hinge in spread.hinges
        if hinge.kind == "glue" and panel_id in hinge.panels
    ]


def _away(spread: Spread, panel_id: str) -> Array:
    panel = spread.panels[panel_id]
    centre = np.array(panel.outline.centroid.coords[0])
    for hinge in spread.hinges:
        # The page's spine, and the line on which a panel turns.
        if panel_id in hinge.panels and (hinge.kind == "spine" or panel.parent in hinge.panels):
            line = hinge.lines[hinge.panels.index(panel_id)]
            along = (line[1] - line[0]) / np.hypot(*(line[1] - line[0]))
            offset = centre - line[0]
            across = offset - along * (offset @ along)
            if np.hypot(*across) > _CLEAR_MM:
                return np.asarray(across / np.hypot(*across))
    return np.array([0.0, 1.0])
