"""Gluing marks: where each tab and rider is glued on its host, and the same name on the tab itself."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely import LinearRing, Polygon
from shapely.affinity import affine_transform
from shapely.geometry.base import BaseGeometry

from ..model import Piece
from ..spread import Spread
from ..tolerances import GRID_MM
from ..transforms import Array, inverse
from .lettering import CLEAR_MM, place_text, text_box
from .lines import NetLine, NetText, readable

__all__ = ["GLUE_INSET_MM", "glue_marks", "glue_name", "glue_notes", "glue_texts"]

#: Gluing marks are drawn this far inside what is glued there, so that it covers them.
GLUE_INSET_MM = 0.5

_SIZE_MM, _BESIDE_MM, _LEAST_MM = 2.6, 2.1, 1.4
_REACHES_MM = (5.0, 9.0, 15.0)

#: A name further than this from its mark is joined to it by a line.
_APART_MM = 1.5


def glue_name(panel_id: str) -> str:
    """What a glued part is called, on the part and where it is glued.

    Examples
    --------
    >>> glue_name("hill.left.tab")
    'hill left'
    """
    return panel_id.removesuffix(".tab").replace(".", " ")


def glue_notes(spread: Spread) -> list[str]:
    """What a person who glues should know: which tabs were trimmed, and which point outward.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of str, one sentence each
    """
    over: dict[str, list[str]] = {}
    for trim in spread.trims:
        over.setdefault(glue_name(trim.tab), []).append(trim.over)
    notes = [
        f'the tab "{name}" is trimmed, because it would have lain over {" and ".join(found)}; '
        "with a tab_width of your own it keeps its shape"
        for name, found in over.items()
    ]
    outward = [
        f"{spec.id} {side}"
        for spec in spread.mechanisms
        for side, way in zip(("left", "right"), spec.sided("tab"), strict=True)
        if way == "outer"
    ]
    if outward:
        notes.append(
            f"tabs that point outward can be seen, and closed they are thicker and push the book open; inward they are "
            f'hidden (tab = "inner"): {", ".join(outward)}'
        )
    return notes


def glue_marks(spread: Spread, piece: Piece) -> list[NetLine]:
    """Where glue goes: outlines of all that is glued on a piece, and the same on its own tabs.

    Parameters
    ----------
    spread : Spread
    piece : Piece

    Returns
    -------
    lines : class glue, one a ring, GLUE_INSET_MM inside the outline where it is wide enough; tinted where the glue
        goes on the printed face, plain where it goes on the back
    """
    marks = []
    for area in spread.glue_areas:
        glued = spread.panels[area.glued]
        # On a grid: two outlines that are the same but for rounding can have next to no intersection without one.
        on_glued = shapely.intersection(_carried(area.outline, inverse(glued.rest)), glued.outline, grid_size=GRID_MM)
        if area.host in piece.panels:
            on_host = _carried(on_glued, glued.rest)
            marks.extend(_rings(on_host, GLUE_INSET_MM, area.host, area.glued, area.face == "front"))
        if area.glued in piece.panels:
            # What looks the same way as its host has its back on the host's face, or its face on the host's back.
            on_face = bool(glued.rest[2, 2] > 0.0) == (area.face == "back")
            marks.extend(_rings(on_glued, 2 * GLUE_INSET_MM, area.glued, area.glued, on_face))
    return marks


def _carried(region: BaseGeometry, matrix: Array) -> BaseGeometry:
    """A region of one plane in the coordinates of the plane it lies on."""
    turn, shift = matrix[:2, :2], matrix[:2, 3]
    return affine_transform(region, [*turn.ravel(), *shift])


def _rings(region: BaseGeometry, inset_mm: float, panel: str, glued: str, tinted: bool) -> list[NetLine]:
    """A region's outlines, moved inwards as far as it is wide enough for."""
    inner = region.buffer(-inset_mm, join_style="mitre")
    if inner.is_empty:
        inner = region.buffer(-inset_mm / 4, join_style="mitre")
    parts = [part for part in shapely.get_parts(inner) if isinstance(part, Polygon) and not part.is_empty]
    rings = [shapely.get_coordinates(part.exterior)[:-1] for part in parts]
    return [NetLine("glue", ring, True, panel=panel, glued=glued, tinted=tinted) for ring in rings]


def glue_texts(
    spread: Spread, piece: Piece, marks: Sequence[NetLine], free: BaseGeometry
) -> tuple[list[NetText], list[NetLine]]:
    """Names in the gluing marks of a piece and on its own tabs.

    Parameters
    ----------
    spread : Spread
    piece : Piece
    marks : what glue_marks returned
    free : the card without its lines, mm

    Returns
    -------
    texts : class label; a name stands beside its mark where it does not fit inside
    leaders : class label; from a mark to its name where that stands apart
    """
    regions: list[tuple[str, Polygon]] = []
    for line in marks:
        if line.glued is None or (line.panel == line.glued and spread.panels[line.glued].role != "tab"):
            continue
        back = " (on the back)" if line.panel != line.glued and not line.tinted else ""
        regions.append((glue_name(line.glued) + back, Polygon(line.points)))
    taken = shapely.union_all([region for _, region in regions])
    free = free.difference(shapely.union_all([LinearRing(line.points) for line in marks]).buffer(CLEAR_MM / 2))
    texts: list[NetText] = []
    leaders: list[NetLine] = []
    for name, region in regions:
        text = _lettered(name, region, free, taken)
        letters = text_box(text, clear_mm=CLEAR_MM)
        texts.append(text)
        taken = taken.union(letters)
        free = free.difference(letters)
        if letters.distance(region) > _APART_MM:
            leaders.append(NetLine("label", shapely.get_coordinates(shapely.shortest_line(region, letters))))
    return texts, leaders


def _lettered(name: str, region: Polygon, free: BaseGeometry, taken: BaseGeometry) -> NetText:
    """The name along the longer side of its region: inside it, else beside it, else over it as small as may be."""
    turn = _long_direction(region)
    text = place_text(region.intersection(free), name, size_mm=_SIZE_MM, least_mm=_LEAST_MM, turns_rad=(turn,))
    for reach in _REACHES_MM:
        if text is not None:
            return text
        beside = region.buffer(reach).intersection(free).difference(taken.buffer(CLEAR_MM))
        text = place_text(beside, name, size_mm=_BESIDE_MM, least_mm=_LEAST_MM, turns_rad=(turn, 0.0, np.pi / 2))
    if text is not None:
        return text
    return NetText("label", name, shapely.get_coordinates(region.centroid)[0], _LEAST_MM, turn_rad=turn)


def _long_direction(region: Polygon) -> float:
    """Direction of the longer side of the smallest box about a region, radians; 0 where it is about as wide as long."""
    corners = shapely.get_coordinates(region.minimum_rotated_rectangle)
    sides = np.diff(corners, axis=0)
    lengths = np.round(np.hypot(sides[:2, 0], sides[:2, 1]), 6)
    if lengths.max() < 1.2 * lengths.min():
        return 0.0
    longest = sides[int(np.argmax(lengths))]
    return readable(float(np.arctan2(longest[1], longest[0])))
