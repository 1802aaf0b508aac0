"""Slit cut-in: slits across a fold of the host's own card, and the strip between them folded the other way."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import Polygon

from ..building import Building, HingePlan
from ..contact import edge_spans
from ..description.data import MechanismSpec
from ..description.fields import Field
from ..errors import HingeleafError, MechanismError
from ..linkage import Cell, PlanarCell, SphericalCell
from ..model import Angle, Axis, Fold, HostSide, Panel
from ..outline import closed_outline, common_part, cut_window, parts_of, polyline, without
from ..tolerances import GRID_MM, SLIVER_MM2, TOUCH_MM
from ..transforms import Array, lift
from .glued import host_normal

__all__ = ["FIELDS", "HINTS", "Corners", "build", "corners_of"]

_WIDTHS = "from the fold to the hinge line"
FIELDS = (
    Field("fold", "name", "the fold it is cut across"),
    Field("at", "number", "place of its first slit along the fold, mm"),
    Field("length", "length", "from the first slit to the second, along the fold", positive=True),
    Field("width", "length", f"{_WIDTHS}, at both slits and on both sides", default="none", sided=True),
    Field("width_start", "length", f"{_WIDTHS} at the first slit", default="as width", sided=True),
    Field(
        "width_end",
        "length",
        f"{_WIDTHS} at the second slit",
        default="as width; one corner left out follows from the other three, so that it can move",
        sided=True,
    ),
    Field("slit_start", "line", 'shape of the first slit, left to right; "edge": the host\'s edge', default="straight"),
    Field("slit_end", "line", 'shape of the second slit, left to right; "edge": the host\'s edge', default="straight"),
    Field("holes", "outlines", "windows in the strip", default="none"),
)

HINTS: Mapping[str, str] = {
    "side": "a cut-in folds into the valley side by itself",
    "stock": "a cut-in is part of its host's card",
    "art_front": "a cut-in is part of its host's card: the artwork goes to the host",
    "art_back": "a cut-in is part of its host's card: the artwork goes to the host",
    "color_front": "a cut-in is part of its host's card: the colour goes to the host",
    "color_back": "a cut-in is part of its host's card: the colour goes to the host",
    "art_box": "a cut-in is part of its host's card: the artwork goes to the host",
    "tab": "a cut-in is not glued and has no tab",
    "height": "a cut-in has width, from the fold to its hinge line",
    "angle": "a cut-in has width_start and width_end instead of an angle",
}

#: An "edge" end is drawn out this far before it is clipped to the host.
_BEYOND_MM = 2000.0
#: Nobody cuts more exactly than this; nearer widths are set right without a word.
_CUT_MM = 0.005
#: Hinge lines that turn by less along the fold are parallel.
_PARALLEL = 1e-9


@dataclass(frozen=True)
class Corners:
    """Widths of the strip: left and right at the first slit, left and right at the second (mm)."""

    left_start: float
    right_start: float
    left_end: float
    right_end: float


@dataclass(frozen=True)
class _Lines:
    """The cell and its lines, in the frame of the fold the cell is measured on.

    Parameters
    ----------
    fold : the host fold from the apex (or from the first slit, where the lines are parallel)
    cell : Cell
    crease_point, crease_line : (2,) float; where the middle crease passes the first slit (mm), and its unit direction,
        in the coordinates across (right positive) and along of the fold from the first slit
    """

    fold: Fold
    cell: Cell
    crease_point: Array
    crease_line: Array


def build(spec: MechanismSpec, building: Building) -> None:
    """Cut the strip out of its hosts; MechanismError where that cannot be."""
    named = building.fold(spec, card=True)
    fold = named.moved(spec.values["at"])
    piece = building.panels[fold.left.panel].piece
    if building.panels[fold.right.panel].piece != piece:
        raise MechanismError(f'"{fold.id}" joins two pieces; a cut-in needs one card on both sides', "fold")
    corners = corners_of(spec)
    lines = _lines(spec, fold, corners)
    strip = _strip(spec, building, fold, corners)
    left, right = _halves(fold, lines, strip, _shaped(spec))
    strip_panels = (f"{spec.id}.left", f"{spec.id}.right")
    building.add_cell(spec, lines.cell, lines.fold)
    for host in (fold.left, fold.right):
        _cut_host(building, host, strip)
    for side, outline in (("left", left), ("right", right)):
        _add_strip(spec, building, fold, corners, lines, side, outline, piece)
    building.extend_piece(piece, strip_panels)
    _add_middle(spec, building, fold, lines)


def corners_of(spec: MechanismSpec) -> Corners:
    """The widths of a strip, those that were left out among them; MechanismError where it could not move."""
    values = spec.values
    found: list[float | None] = []
    for end in ("start", "end"):
        for side in ("left", "right"):
            keys = (f"width_{end}_{side}", f"width_{end}", f"width_{side}", "width")
            given = [float(values[key]) for key in keys if key in values]
            # Corners nearer than this to the fold are on it.
            found.append((given[0] if given[0] > TOUCH_MM else 0.0) if given else None)
    missing = [index for index, value in enumerate(found) if value is None]
    if len(missing) > 1:
        raise MechanismError("needs width, or width_start and width_end (0 for a single slit)", "width")
    if missing:
        # Same ratio at both ends, so that the two hinge lines meet the fold in one point.
        index = missing[0]
        beside, opposite, diagonal = found[index ^ 1], found[index ^ 2], found[index ^ 3]
        if not diagonal:
            raise MechanismError("cannot be computed from a width of 0; give all four widths", "width")
        found[index] = float(beside or 0.0) * float(opposite or 0.0) / float(diagonal)
    corners = Corners(*(float(value or 0.0) for value in found))
    return _settled(corners)


def _settled(corners: Corners) -> Corners:
    """The corners, exactly in one ratio; refused where they are not so to begin with.

    The hinge lines meet the fold in one point (or are both parallel to it) when left and right widths are in the
    same ratio at both slits.
    """
    if max(corners.left_start, corners.left_end) == 0 or max(corners.right_start, corners.right_end) == 0:
        raise MechanismError("is 0 at both slits; one of them must be wider", "width")
    first = corners.left_start >= corners.left_end
    if first:
        needed, given = corners.left_end * corners.right_start / corners.left_start, corners.right_end
    else:
        needed, given = corners.left_start * corners.right_end / corners.left_end, corners.right_start
    if abs(given - needed) > _CUT_MM or (corners.right_start if first else corners.right_end) == 0:
        slit = "second" if first else "first"
        raise MechanismError(
            f"the two hinge lines do not meet the fold in one point, so it cannot move: the right corner at the {slit} "
            f"slit must move by {abs(given - needed):.3f} mm, to a width of {needed:.3f} mm",
            "width_end" if first else "width_start",
        )
    return replace(corners, right_end=needed) if first else replace(corners, right_start=needed)


def _lines(spec: MechanismSpec, fold: Fold, corners: Corners) -> _Lines:
    length = spec.values["length"]
    a1, b1, a2, b2 = corners.left_start, corners.right_start, corners.left_end, corners.right_end
    if abs(a2 - a1) <= _PARALLEL * length:
        cell: Cell = PlanarCell(a1, b1, b1, a1)
        return _Lines(fold, cell, np.array([b1 - a1, 0.0]), np.array([0.0, 1.0]))
    from_apex = fold.moved(a1 * length / (a1 - a2))
    if a2 < a1:
        from_apex = from_apex.reversed()
    # The right slope from the left one by the ratio of the widths: differences of nearly equal widths are not exact.
    slope = (a2 - a1) / length
    other = slope * (b1 / a1 if a1 > a2 else b2 / a2)
    alpha, beta = math.atan(abs(slope)), math.atan(abs(other))
    turn = math.atan((other - slope) / (1 + slope * other))
    start = (b1 - a1) / (1 + slope * other)
    crease = np.array([math.sin(turn), math.cos(turn)])
    return _Lines(from_apex, SphericalCell(alpha, beta, beta, alpha), np.array([start, 0.0]), crease)


def _to_net(fold: Fold, points: Array) -> Array:
    """From the fold's coordinates (across, right positive; along) to the net's."""
    return np.asarray(fold.right.origin + points[:, :1] * fold.right.across + points[:, 1:] * fold.right.along)


def _strip(spec: MechanismSpec, building: Building, fold: Fold, corners: Corners) -> Polygon:
    length = spec.values["length"]
    left = np.array([[-corners.left_start, 0.0], [-corners.left_end, length]])
    right = np.array([[corners.right_start, 0.0], [corners.right_end, length]])
    hosts = [building.panels[side.panel].outline for side in (fold.left, fold.right)]
    card = shapely.set_precision(shapely.union_all(hosts, grid_size=GRID_MM), 0.0)
    slits = [spec.values.get("slit_start"), spec.values.get("slit_end")]
    first = _slit(spec, "slit_start", left[0], right[0], 0.0, left[0] - left[1], right[0] - right[1])
    second = _slit(spec, "slit_end", left[1], right[1], length, left[1] - left[0], right[1] - right[0])
    ring = Polygon(_to_net(fold, np.concatenate([first, second[::-1]])))
    if not ring.is_valid or ring.area < SLIVER_MM2:
        raise MechanismError("the slits cross each other or a hinge line; bring them apart", _shaped(spec))
    if "edge" in slits:
        inside = common_part(ring, card)
        middle = shapely.Point(_to_net(fold, np.array([[0.0, length / 2]]))[0])
        parts = [part for part in parts_of(inside) if part.distance(middle) < TOUCH_MM]
        if not parts:
            raise MechanismError(f"lies outside {fold.id}, which runs from {fold.start:g} to {fold.end:g} mm", "at")
        ring = parts[0]
    outside = without(ring, card)
    if outside.area > SLIVER_MM2:
        reach = max(shapely.Point(p).distance(card) for p in shapely.get_coordinates(outside))
        what = f"leaves the card of its host by {reach:.2f} mm" if reach >= 0.005 else "meets another cut"
        raise MechanismError(f"{what}; move it, or make it smaller", "at")
    for hole in spec.values.get("holes", ()):
        window = Polygon(_to_net(fold, np.asarray(closed_outline(hole).exterior.coords)))
        try:
            ring = cut_window(ring, window)
        except HingeleafError as error:
            raise MechanismError(str(error), "holes") from None
    return parts_of(shapely.set_precision(shapely.set_precision(ring, GRID_MM), 0.0))[0]


def _shaped(spec: MechanismSpec) -> str:
    """The slit that has a shape of its own: the one to name where shapes are in each other's way."""
    return "slit_end" if "slit_end" in spec.values and "slit_start" not in spec.values else "slit_start"


def _slit(
    spec: MechanismSpec, key: str, left: Array, right: Array, along: float, out_left: Array, out_right: Array
) -> Array:
    """One end of the strip from its left to its right corner, in the fold's coordinates."""
    shape = spec.values.get(key)
    if shape == "edge":
        return np.array([left, *_drawn_out(left, right, out_left, out_right), right])
    if shape is None:
        return np.array([left, right])
    try:
        middle = polyline(shape) + np.array([0.0, along])
    except HingeleafError as error:
        raise MechanismError(str(error), key) from None
    points = np.concatenate([[left], middle, [right]])
    keep = np.concatenate([[True], np.hypot(*np.diff(points, axis=0).T) > TOUCH_MM])
    return np.asarray(points[keep])


def _drawn_out(left: Array, right: Array, out_left: Array, out_right: Array) -> list[Array]:
    """Where the two hinge lines lead beyond a corner: to far beyond the card, or to the point where they meet."""
    narrowing = out_left[0] - out_right[0]
    gap = right[0] - left[0]
    if narrowing > 1e-12 and gap / narrowing < _BEYOND_MM / max(abs(out_left[1]), 1e-9):
        return [left + out_left * (gap / narrowing)]
    scale = _BEYOND_MM / max(abs(float(out_left[1])), 1e-9)
    return [left + out_left * scale, right + out_right * scale]


def _halves(fold: Fold, lines: _Lines, strip: Polygon, key: str) -> tuple[Polygon, Polygon]:
    """The strip on either side of its middle crease."""
    along, across = lines.crease_line, np.array([lines.crease_line[1], -lines.crease_line[0]])
    far = 2 * _BEYOND_MM
    start = lines.crease_point - far * along
    halves = []
    for sign in (-1.0, 1.0):
        half = np.array(
            [start, start + 2 * far * along, start + 2 * far * along + sign * far * across, start + sign * far * across]
        )
        part = common_part(strip, Polygon(_to_net(fold, half)))
        pieces = parts_of(part)
        if len(pieces) != 1:
            raise MechanismError("the shape of a slit crosses the middle crease more than once; keep it simpler", key)
        halves.append(pieces[0])
    return halves[0], halves[1]


def _cut_host(building: Building, host: HostSide, strip: Polygon) -> None:
    panel = building.panels[host.panel]
    whole = Polygon(strip.exterior)
    left_over = without(panel.outline, whole)
    parts = parts_of(left_over)
    if len(parts) != 1:
        what = "leaves nothing of" if not parts else "cuts apart"
        raise MechanismError(f"{what} {host.panel}; make it shorter or narrower", "length")
    building.add_panel(panel.with_outline(parts[0]))


def _add_strip(
    spec: MechanismSpec,
    building: Building,
    fold: Fold,
    corners: Corners,
    lines: _Lines,
    side: str,
    outline: Polygon,
    piece: str,
) -> None:
    name = f"{spec.id}.{side}"
    host = fold.left if side == "left" else fold.right
    first, last = (corners.left_start, corners.left_end) if side == "left" else (corners.right_start, corners.right_end)
    length = spec.values["length"]
    normal = host_normal(fold, side)
    line = host.along * length + host.across * (last - first)
    line /= np.hypot(*line)
    out = host.across * length - host.along * (last - first)
    out /= np.hypot(*out)
    start = host.point(0.0, first)
    turn = Angle(f"{spec.id}:{side}", 1.0, -np.pi)
    axis = Axis(lift(start), np.array([out[1], -out[0], 0.0]) * normal, turn)
    building.add_panel(Panel(name, piece, outline, host.panel, np.eye(4), axis, "strip"))
    foot = Angle(f"{spec.id}:{side}")
    dihedral = foot if normal > 0 else foot.other_side()
    panels = (name, host.panel)
    building.hinges.append(HingePlan(name, "crease", panels, (start, start), (line, line), dihedral, panels))
    strip_side = HostSide(name, start, line, -out)
    host_side = HostSide(host.panel, start, line, out)
    # Measured from the apex outwards the fold is handed like the foot of a glued panel; along the host fold it
    # turns with the direction of measuring.
    handed = fold.handed if side == "right" else -fold.handed
    low, high = _extent(outline, start, line)
    building.add_fold(Fold(name, "valley", strip_side, host_side, foot, handed, low, high))
    building.add_fold(Fold(name, "mountain", strip_side, host_side, foot.other_side(), -handed, low, high))


def _add_middle(spec: MechanismSpec, building: Building, fold: Fold, lines: _Lines) -> None:
    name = f"{spec.id}.middle"
    start = _to_net(fold, lines.crease_point[None])[0]
    line = lines.crease_line[0] * fold.right.across + lines.crease_line[1] * fold.right.along
    across = fold.right.across - line * (fold.right.across @ line)
    across /= np.hypot(*across)
    panels = (f"{spec.id}.left", f"{spec.id}.right")
    inside = Angle(f"{spec.id}:middle")
    normal = host_normal(fold, "right")
    # The strip's inside looks away from the side into which it is folded.
    dihedral = inside.other_side() if normal > 0 else inside
    building.hinges.append(HingePlan(name, "crease", panels, (start, start), (line, line), dihedral, panels))
    left = HostSide(panels[0], start, line, -across)
    right = HostSide(panels[1], start, line, across)
    low, high = _extent(building.panels[panels[0]].outline, start, line)
    building.add_fold(Fold(name, "valley", left, right, inside, -fold.handed, low, high))
    building.add_fold(Fold(name, "mountain", left, right, inside.other_side(), fold.handed, low, high))


def _extent(outline: Polygon, start: Array, line: Array) -> tuple[float, float]:
    """Where the edge of a strip on one of its creases begins and ends, measured along it from a point."""
    spans = edge_spans(outline, start, line)
    return (spans[0][0], spans[-1][1]) if spans else (0.0, 0.0)
