"""An outline suggested from the alpha of artwork: free edges follow what is opaque, hinge lines stay where they are."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon
from shapely.affinity import affine_transform

from ..artwork import art_box
from ..changes import spec_of
from ..description.data import Description
from ..description.writer import change_mechanism
from ..errors import HingeleafError
from ..spread import Spread
from ..tracing.fitting import fitted, flattened
from ..tracing.trace import Edge, TraceOptions, alpha_edge, fitted_shape
from .alpha_regions import FreeRegion, free_region
from .decorating import Face
from .outline_keys import OutlineKey, outline_keys, with_outline
from .strokes import Stroke

__all__ = ["AlphaOutline", "outline_from_alpha"]

#: Kinds whose lines are no edges of the card that is painted, or that a hand has to grip.
_NOT_SHAPED = ("slit-cut-in", "wheel", "pull-strip", "strap")
#: Shares of the tolerance that lines and curves are fitted within, one after the other until none cross.
_SHARES = (0.6, 0.2)


@dataclass(frozen=True)
class AlphaOutline:
    """A suggested outline.

    Parameters
    ----------
    description : with the outline, and with the artwork held where it is
    off_mm : float; how far the outline is off the edge of the alpha at most, where it is free
    points : how many points its lines have
    keys : what was set
    notes : sentences on what was left out, or is to be known
    """

    description: Description
    off_mm: float
    points: int
    keys: tuple[str, ...]
    notes: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.points} points, at most {self.off_mm:.2f} mm off the edge of the alpha"


def outline_from_alpha(
    description: Description,
    spread: Spread,
    mechanism: str,
    alpha: NDArray[np.uint8],
    *,
    face: Face = "front",
    options: TraceOptions | None = None,
    windows: bool = True,
) -> AlphaOutline:
    """Shape a mechanism's free edges as the artwork on it is shaped.

    Parameters
    ----------
    description, spread : the same design, read and built
    mechanism : its id
    alpha : (h, w) uint8, of the artwork of that face; it fills the art box
    face : on which it lies; what lies on the back is seen from behind
    options : None for the defaults of TraceOptions
    windows : whether holes in it become windows

    Returns
    -------
    AlphaOutline; its description is not built yet, and may be refused when it is

    Raises
    ------
    HingeleafError
        The mechanism has no free edge or no artwork of its own, or there is nothing to trace.
    """
    spec = spec_of(description, mechanism)
    if spec.kind in _NOT_SHAPED or mechanism not in {piece.id for piece in spread.pieces}:
        raise HingeleafError(f"{mechanism} is a {spec.kind}, which has no free edge to be shaped by its artwork")
    keys = outline_keys(description, spread, mechanism)
    box = art_box(spread, mechanism)
    edge = alpha_edge(alpha, box[2] - box[0], options or TraceOptions(), height_mm=box[3] - box[1])
    opaque = _on_net(edge.cleaned.region, box, face)
    drawn = list(_drawn(spread, keys, opaque, edge, windows, (options or TraceOptions()).feature_mm))
    if not drawn:
        raise HingeleafError(f"{mechanism} is a {spec.kind}, which has no free edge, and its artwork has no window")
    changed = change_mechanism(description, mechanism, {"art_box": [round(float(value), 4) for value in box]})
    for found in drawn:
        changed = with_outline(changed, found.key, found.strokes)
    # Said once of a crease, not for the panels on both of its sides.
    notes = {re.sub(r"[0-9.]+ mm", "", note): note for found in drawn for note in found.notes}
    points = sum(len(stroke.points) for found in drawn for stroke in found.strokes)
    worst = max(found.off_mm for found in drawn)
    set_keys = tuple(found.key.key for found in drawn)
    return AlphaOutline(changed, worst, points, set_keys, (*_left_out(edge), *notes.values()))


@dataclass(frozen=True)
class _Drawn:
    """What one key gets, in its own coordinates."""

    key: OutlineKey
    strokes: tuple[Stroke, ...]
    off_mm: float
    notes: tuple[str, ...] = ()


def _on_net(region: MultiPolygon, box: tuple[float, float, float, float], face: Face) -> MultiPolygon:
    """The region of a picture, mm, y up from its lower left corner, where it lies on the net."""
    left, low, right, _ = box
    matrix = [1.0, 0.0, 0.0, 1.0, left, low] if face == "front" else [-1.0, 0.0, 0.0, 1.0, right, low]
    return affine_transform(region, matrix)


def _left_out(edge: Edge) -> Iterator[str]:
    found = edge.cleaned
    for count, one, many in (
        (found.specks, "speck is too small to cut", "specks are too small to cut"),
        (found.holes, "hole is too small to cut", "holes are too small to cut"),
        (found.thin, "part is too thin to hold, and left out", "parts are too thin to hold, and left out"),
        (found.narrow, "gap is too narrow to cut, and closed", "gaps are too narrow to cut, and closed"),
    ):
        if count:
            yield f"{count} {one if count == 1 else many}"


def _drawn(
    spread: Spread, keys: Sequence[OutlineKey], opaque: MultiPolygon, edge: Edge, windows: bool, feature_mm: float
) -> Iterator[_Drawn]:
    """What each key gets."""
    holes: dict[str, list[Polygon]] = {}
    for key in keys:
        if key.form == "outline":
            part, *others = opaque.geoms
            shape = fitted_shape(part, edge.tolerance_mm)
            notes = _others(len(others))
            yield _Drawn(key, (_into(key, shape.outline),), _apart(shape.outline, part.exterior), notes)
            holes[key.panel] = [Polygon(ring) for ring in part.interiors]
        elif key.form == "line":
            region = free_region(spread, key, opaque, feature_mm)
            stroke, off = _line(key, region, edge.tolerance_mm)
            yield _Drawn(key, (_into(key, stroke),), off, (*_others(region.others), *region.notes))
            holes[key.panel] = [Polygon(ring) for ring in region.polygon.interiors]
    for key in keys:
        own = holes.get(key.panel, _inside(spread, key, opaque)) if windows and key.form == "outlines" else []
        shapes = [fitted_shape(Polygon(hole.exterior), edge.tolerance_mm) for hole in own]
        if shapes:
            off = max(_apart(shape.outline, hole.exterior) for shape, hole in zip(shapes, own, strict=True))
            yield _Drawn(key, tuple(_into(key, shape.outline) for shape in shapes), off)


def _others(count: int) -> tuple[str, ...]:
    many = "other part hangs" if count == 1 else "other parts hang"
    return (f"{count} {many} on nothing, and {'is' if count == 1 else 'are'} left out",) if count else ()


def _inside(spread: Spread, key: OutlineKey, opaque: MultiPolygon) -> list[Polygon]:
    """Holes in what is opaque that lie wholly in a panel."""
    outline = spread.panels[key.panel].outline
    rings = [Polygon(ring) for part in opaque.geoms for ring in part.interiors]
    return [hole for hole in rings if Polygon(outline.exterior).contains_properly(hole)]


def _line(key: OutlineKey, region: FreeRegion, tolerance_mm: float) -> tuple[Stroke, float]:
    """The free edge of a region from end to end of a key's hinge, on the net, and how far it is off."""
    way = region.way(key)
    rest = region.rest(key)
    for share in _SHARES:
        stroke = fitted(way, share * tolerance_mm, closed=False)
        points = flattened(stroke)
        if Polygon(np.vstack([points, rest[1:-1]])).is_valid:
            return stroke, _apart(stroke, LineString(way))
    plain = shapely.get_coordinates(shapely.simplify(LineString(way), _SHARES[-1] * tolerance_mm))
    stroke = Stroke(plain, plain, plain, False)
    return stroke, _apart(stroke, LineString(way))


def _apart(stroke: Stroke, line: shapely.Geometry) -> float:
    """How far a stroke and a line are apart at most, mm."""
    drawn = flattened(stroke)
    own = LineString(np.vstack([drawn, drawn[:1]]) if stroke.closed else drawn)
    return float(shapely.hausdorff_distance(own, line, densify=0.01))


def _into(key: OutlineKey, stroke: Stroke) -> Stroke:
    """A stroke on the net in a key's own coordinates."""
    return stroke.moved(np.asarray(np.linalg.inv(key.frame), dtype=float))
