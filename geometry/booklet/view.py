"""Drawings of panels in space: faces, glue, creases, edges and names, in millimetres of the picture, y upwards."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely import LineString, MultiLineString, MultiPolygon
from shapely.geometry.base import BaseGeometry

from ..outline import carried, common_part, parts_of
from ..spread import Spread
from ..transforms import Array, apply, inverse
from .hidden import Camera, Seen, lifts, projected, see
from .states import flat, lying, standing
from .steps import Mark, SpreadPicture

__all__ = [
    "Drawing",
    "Label",
    "Stroke",
    "Tone",
    "View",
    "Weight",
    "best_view",
    "contact_face",
    "draw_view",
    "seen_from",
]

Tone = Literal["printed", "back", "new", "new back"]
Weight = Literal["crease", "edge", "contour", "new", "arrow", "mountain", "valley", "cut"]

_DEG = float(np.pi / 180)
#: From where a picture may be seen, the best liked first: azimuth, elevation.
_VIEWS = (
    Camera(-20 * _DEG, 42 * _DEG),
    Camera(20 * _DEG, 42 * _DEG),
    Camera(-25 * _DEG, 65 * _DEG),
    Camera(60 * _DEG, 35 * _DEG),
    Camera(-60 * _DEG, 35 * _DEG),
    Camera(160 * _DEG, 42 * _DEG),
    Camera(-160 * _DEG, 42 * _DEG),
    Camera(-120 * _DEG, 35 * _DEG),
    Camera(120 * _DEG, 35 * _DEG),
    Camera(-20 * _DEG, 15 * _DEG),
    Camera(20 * _DEG, 15 * _DEG),
    Camera(40 * _DEG, 25 * _DEG),
    Camera(-40 * _DEG, 25 * _DEG),
)
#: What lies flat is seen from higher up.
_LYING = (Camera(-12 * _DEG, 58 * _DEG), *_VIEWS)
_FLAT = (Camera(0.0, 90 * _DEG),)
#: A view that shows this much of what could be shown at best is good enough.
_ENOUGH = 0.7
#: The visible part of a line ends this near to what hides it.
_NEAR_MM = 2e-3
#: A contour is freed of cracks between panels of one piece up to this wide.
_CRACK_MM = 0.02
#: About what matters a picture shows as much again of what is beside it: this share, and so many mm, of the whole.
_AROUND, _LEAST_AROUND_MM, _LEAST_SHARE = 0.3, 10.0, 0.3
_ARROW_RAD = np.radians(np.linspace(8.0, 150.0, 25))


@dataclass(frozen=True)
class Stroke:
    """A line: (n, 2) float, mm, and how heavy it is."""

    points: Array
    weight: Weight


@dataclass(frozen=True, eq=False)
class Label:
    """A name, the place in the picture it belongs to, (2,) float, mm, and how wide it may be to stand there, mm."""

    text: str
    place: Array
    room: float = 0.0


@dataclass(frozen=True)
class Drawing:
    """A drawing, what comes first lies lowest.

    Parameters
    ----------
    bounds : left, low, right, high, mm; what is shown of it
    faces : visible parts of panels, mm, and how they are tinted
    glue : visible places with glue
    strokes : lines
    labels : names
    seen_from : from where it is seen, in words; empty where it is the reader's own place
    """

    bounds: tuple[float, float, float, float]
    faces: tuple[tuple[BaseGeometry, Tone], ...]
    glue: tuple[BaseGeometry, ...]
    strokes: tuple[Stroke, ...]
    labels: tuple[Label, ...]
    seen_from: str = ""


@dataclass(frozen=True)
class View:
    """Panels as they are seen, with the places of glue on them.

    Parameters
    ----------
    camera : from where
    seen : panels
    marks : of each mark the visible part, and how much of it that is, 0 to 1
    """

    camera: Camera
    seen: tuple[Seen, ...]
    marks: tuple[tuple[Mark, BaseGeometry, float], ...]

    def shown(self, highlighted: Sequence[str]) -> float:
        """How well what matters is seen, 0 to 1: the marks, or else the highlighted panels."""
        if self.marks:
            return min(share for _, _, share in self.marks)
        wanted = [each for each in self.seen if each.panel in highlighted]
        sizes = sum(each.outline.area / max(abs(float(each.matrix[2, 2])), 1e-6) for each in wanted)
        return sum(each.visible.area for each in wanted) / sizes if sizes else 1.0


def draw_view(spread: Spread, picture: SpreadPicture) -> Drawing:
    """Draw a picture from where it can be seen best.

    Parameters
    ----------
    spread : Spread
    picture : SpreadPicture

    Returns
    -------
    Drawing
    """
    view = best_view(spread, picture)
    highlighted = set(picture.highlighted)
    faces = [(each.visible, _tone(each, highlighted)) for each in view.seen if not each.visible.is_empty]
    strokes = [*_creases(spread, view), *_edges(spread, view), *_contours(spread, view, highlighted)]
    labels = [Label(mark.text, _middle(part, view, mark)) for mark, part, _ in view.marks]
    if picture.closing:
        strokes.append(_closing_arrow(spread, view, picture))
    return Drawing(
        _frame(view, picture),
        tuple(faces),
        tuple(part for _, part, _ in view.marks if not part.is_empty),
        tuple(strokes),
        tuple({label.text: label for label in reversed(labels)}.values()),
        seen_from(view.camera),
    )


def seen_from(camera: Camera) -> str:
    """From where a picture is seen, in words; empty where it is the reader's own place."""
    turn = float(np.degrees(camera.azimuth_rad))
    if abs(turn) < 30.0:
        return "" if camera.elevation_rad > 20 * _DEG else "seen from low down"
    side = "right" if turn > 0 else "left"
    if abs(turn) < 90.0:
        return f"seen from the {side}"
    return "seen from the head" if abs(turn) > 150.0 else f"seen from the head and the {side}"


def best_view(spread: Spread, picture: SpreadPicture) -> View:
    """The view that shows what matters, the best liked of those that show it well enough."""
    matrices = _matrices(spread, picture)
    outlines = {name: spread.panels[name].outline for name in matrices}
    above = lifts(spread, matrices)
    best: tuple[float, View] | None = None
    for camera in _FLAT if picture.state.startswith("flat") else _LYING if picture.state == "lying" else _VIEWS:
        seen = tuple(see(outlines, matrices, camera, above))
        view = View(camera, seen, tuple(_marked(spread, mark, seen) for mark in picture.marks))
        shown = view.shown(picture.highlighted)
        if best is None or shown > best[0] + 0.05:
            best = shown, view
        if shown >= _ENOUGH or (not picture.marks and shown >= _ENOUGH / 3):
            return view
    if best is None:
        raise ValueError("there is no direction of view to choose from")
    return best[1]


def _matrices(spread: Spread, picture: SpreadPicture) -> dict[str, Array]:
    """Where the panels of a picture are, parents first."""
    if picture.state in ("flat", "flat back"):
        found = dict(flat(spread, picture.panels, back=picture.state == "flat back"))
    elif picture.state == "lying":
        found = lying(spread, picture.opening_rad, picture.folded)
    else:
        found = standing(spread, picture.opening_rad, lifted=picture.moved)
    turned = np.diag([-1.0, 1.0, -1.0, 1.0]) if picture.over else np.eye(4)
    wanted = set(picture.panels)
    return {name: turned @ found[name] for name in spread.panels if name in found and name in wanted}


def _tone(seen: Seen, highlighted: set[str]) -> Tone:
    if seen.panel in highlighted:
        return "new" if seen.front else "new back"
    return "printed" if seen.front else "back"


def _marked(spread: Spread, mark: Mark, seen: Sequence[Seen]) -> tuple[Mark, BaseGeometry, float]:
    """The visible part of a mark."""
    area, glued = mark.area, spread.panels[mark.area.glued]
    if mark.on_host:
        panel, front = area.host, area.face == "front"
        region: BaseGeometry = area.outline
    else:
        panel = area.glued
        region = common_part(carried(area.outline, inverse(glued.rest)), glued.outline)
        front = contact_face(spread, mark.area.glued, area.face)
    here = next((each for each in seen if each.panel == panel), None)
    if here is None or here.front != front:
        return mark, shapely.Polygon(), 0.0
    # What a glued part shares with its outline can hold lines, where they only touch.
    whole = MultiPolygon(parts_of(projected(region, here.matrix)))
    part = MultiPolygon(parts_of(shapely.intersection(whole, here.visible, grid_size=1e-5)))
    size = region.area
    return mark, part, min(1.0, part.area / size / 0.45) if size else 0.0


def contact_face(spread: Spread, glued: str, face: str) -> bool:
    """Whether it is the printed face of a part that touches its host."""
    return bool(spread.panels[glued].rest[2, 2] > 0.0) == (face == "back")


def _middle(part: BaseGeometry, view: View, mark: Mark) -> Array:
    """Where the name of a mark points: into its visible part, else to where it lies."""
    if not part.is_empty:
        widest = max(shapely.get_parts(part), key=lambda each: each.area)
        return np.asarray(shapely.get_coordinates(shapely.point_on_surface(widest))[0])
    panel = mark.area.host if mark.on_host else mark.area.glued
    here = next((each for each in view.seen if each.panel == panel), view.seen[0])
    return np.asarray(shapely.get_coordinates(here.outline.centroid)[0])


def _lines(shape: BaseGeometry) -> Iterator[Array]:
    for part in shapely.get_parts(shape):
        if isinstance(part, LineString) and part.length > 1e-3:
            yield shapely.get_coordinates(part)


def _creases(spread: Spread, view: View) -> Iterator[Stroke]:
    """Visible creases; heavier where the card turns back there and one sees it as an outline."""
    seen = {each.panel: each for each in view.seen}
    for hinge in spread.hinges:
        pair = [seen.get(name) for name in hinge.panels]
        if hinge.kind == "glue" or pair[0] is None or pair[1] is None:
            continue
        parts = []
        for each, line in zip(pair, hinge.lines, strict=True):
            if each is not None:
                here = projected(LineString(line), each.matrix)
                parts.append(here.difference(each.hidden.buffer(_NEAR_MM)))
        turned = _same_side(pair[0], pair[1], hinge.lines[0])
        for points in _lines(shapely.line_merge(shapely.union_all(parts, grid_size=1e-4))):
            yield Stroke(points, "edge" if turned else "crease")


def _same_side(one: Seen, two: Seen, line: Array) -> bool:
    """Whether both panels lie on the same side of their crease in the picture."""
    start, end = apply(one.matrix, line)[:, :2]
    along = end - start
    sides = []
    for each in (one, two):
        aside = shapely.get_coordinates(each.outline) - start
        cross = along[0] * aside[:, 1] - along[1] * aside[:, 0]
        sides.append(np.sign(cross[np.argmax(np.abs(cross))]))
    return bool(sides[0] == sides[1])


def _edges(spread: Spread, view: View) -> Iterator[Stroke]:
    """Visible cut edges."""
    creases: dict[str, list[LineString]] = defaultdict(list)
    for hinge in spread.hinges:
        if hinge.kind != "glue":
            for name, line in zip(hinge.panels, hinge.lines, strict=True):
                creases[name].append(LineString(line))
    for each in view.seen:
        border: BaseGeometry = spread.panels[each.panel].outline.boundary
        if creases[each.panel]:
            border = border.difference(MultiLineString(creases[each.panel]).buffer(0.01))
        here = projected(border, each.matrix).difference(each.hidden.buffer(_NEAR_MM))
        for points in _lines(shapely.line_merge(here) if here.geom_type == "MultiLineString" else here):
            yield Stroke(points, "edge")


def _contours(spread: Spread, view: View, highlighted: set[str]) -> Iterator[Stroke]:
    """Outlines of what is seen of each piece; heaviest about what is new."""
    groups: dict[tuple[str, bool], list[BaseGeometry]] = defaultdict(list)
    for each in view.seen:
        groups[spread.panels[each.panel].piece, each.panel in highlighted].append(each.visible)
    for (_, new), parts in sorted(groups.items(), key=lambda item: item[0][1]):
        whole = shapely.union_all(parts).buffer(_CRACK_MM).buffer(-_CRACK_MM)
        for part in shapely.get_parts(whole):
            for ring in (part.exterior, *part.interiors) if isinstance(part, shapely.Polygon) else ():
                if ring.length > 0.5:
                    yield Stroke(shapely.get_coordinates(ring), "new" if new else "contour")


def _closing_arrow(spread: Spread, view: View, picture: SpreadPicture) -> Stroke:
    """The way of a point of the right page as it is turned over on the left one."""
    width, height = spread.page_size_mm
    half = (np.pi - picture.opening_rad) / 2
    angles = half + _ARROW_RAD * (np.pi - 2 * half) / np.pi
    radius, y = 0.72 * width, 0.12 * height
    way = np.stack([radius * np.cos(angles), np.full(len(angles), y), radius * np.sin(angles)], axis=1)
    return Stroke(np.asarray((way @ view.camera.axes.T)[:, :2]), "arrow")


def _frame(view: View, picture: SpreadPicture) -> tuple[float, float, float, float]:
    """What matters, with enough about it to see where in the book it is."""
    every = np.array([each.outline.bounds for each in view.seen])
    low, high = every[:, :2].min(axis=0), every[:, 2:].max(axis=0)
    focus: list[BaseGeometry] = [each.outline for each in view.seen if each.panel in picture.highlighted]
    focus += [part for _, part, _ in view.marks if not part.is_empty]
    if not focus or picture.closing or picture.state.startswith("flat"):
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])
    box = shapely.total_bounds(np.array(focus, dtype=object))
    size = high - low
    near = np.maximum(_AROUND * (box[2:] - box[:2]), _LEAST_AROUND_MM)
    first, last = box[:2] - near, box[2:] + near
    short = np.maximum(_LEAST_SHARE * size - (last - first), 0.0) / 2
    first, last = np.maximum(first - short, low), np.minimum(last + short, high)
    return float(first[0]), float(first[1]), float(last[0]), float(last[1])
