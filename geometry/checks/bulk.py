"""Bulk: how many layers of card lie over each other in the closed spread, and how thick that makes it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon, STRtree, box

from ..outline import parts_of
from ..spread import Spread
from ..tolerances import SLIVER_MM2, TOUCH_MM
from ..transforms import Array
from .findings import Finding
from .stays_inside import closed_outline_of

__all__ = ["BulkMap", "BulkRegion", "bulk_map", "check_bulk", "outside_panels"]

_CODE = "bulk"
#: Sums of calipers that differ by less are the same thickness, mm.
_SAME_THICKNESS_DIGITS = 6


@dataclass(frozen=True)
class BulkRegion:
    """A part of the closed page over which everywhere the same card lies, in one piece.

    Parameters
    ----------
    layers : number of panels over each of its points, pages included; 0 where all pages are cut through
    thickness_mm : the sum of their calipers
    outline : mm; x from the spine, y from the foot
    """

    layers: int
    thickness_mm: float
    outline: Polygon

    @property
    def place_mm(self) -> tuple[float, float]:
        """The middle of its widest place."""
        middle = shapely.get_point(shapely.maximum_inscribed_circle(self.outline), 0)
        if not self.outline.contains(middle):
            middle = self.outline.representative_point()
        return float(middle.x), float(middle.y)


@dataclass(frozen=True)
class BulkMap:
    """Layers and thickness over the closed page.

    Parameters
    ----------
    page_size_mm : width and height of the page
    regions : they cover the page without overlap; the thickest first, of equal ones the largest
    gusset_mm : width of spine that lets the pages lie parallel: the thickest that lies between them anywhere
    left_out : panels that do not come to lie in the closed spread, because the book jams before
    """

    page_size_mm: tuple[float, float]
    regions: tuple[BulkRegion, ...]
    gusset_mm: float
    left_out: tuple[str, ...]

    @property
    def worst(self) -> BulkRegion:
        """The thickest region."""
        return self.regions[0]


@dataclass(frozen=True)
class _Card:
    """What lies in the closed spread: outlines, their calipers, and whether each lies between the pages."""

    outlines: NDArray[np.object_]
    calipers: Array
    between: NDArray[np.bool_]
    left_out: tuple[str, ...]


def bulk_map(spread: Spread) -> BulkMap:
    """Lay the closed outlines of all panels over each other.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    BulkMap; what sticks out of the page is left to the check of staying inside

    Examples
    --------
    >>> from geometry import assemble, parse_description
    >>> sheet = assemble(parse_description('format = 1\\n[page]\\nsize = "A6"\\n[stock.card]\\ncaliper = 0.3\\n'))
    >>> [(region.layers, region.thickness_mm) for region in bulk_map(sheet).regions]
    [(2, 0.6)]
    """
    spread = spread.folding
    card = _lying_card(spread)
    page = box(0.0, 0.0, *spread.page_size_mm)
    faces = _faces(card.outlines, page)
    face, panel = STRtree(card.outlines).query(shapely.point_on_surface(faces), predicate="within")
    layers = np.bincount(face, minlength=len(faces))
    thickness = np.bincount(face, card.calipers[panel], len(faces)).round(_SAME_THICKNESS_DIGITS)
    between = np.bincount(face, np.where(card.between[panel], card.calipers[panel], 0.0), len(faces))
    alike: dict[tuple[int, float], list[Polygon]] = {}
    for key, part in zip(zip(layers.tolist(), thickness.tolist(), strict=True), faces, strict=True):
        alike.setdefault(key, []).append(part)
    gusset = round(float(between.max(initial=0.0)), _SAME_THICKNESS_DIGITS)
    return BulkMap(spread.page_size_mm, _regions(alike), gusset, card.left_out)


def _lying_card(spread: Spread) -> _Card:
    """The panels that come to lie at opening 0."""
    matrices = spread.pose(np.zeros(1)).matrices
    lying = [panel for panel in spread.panels.values() if np.isfinite(matrices[panel.id][0]).all()]
    outlines = np.array([closed_outline_of(panel, matrices[panel.id][0]) for panel in lying], dtype=object)
    # A panel that stands upright on the page covers nothing of it.
    covering = shapely.area(outlines) > SLIVER_MM2
    calipers = np.array([spread.piece(panel.piece).stock.caliper_mm for panel in lying])
    outside = outside_panels(spread)
    between = np.array([panel.id not in outside for panel in lying])
    left_out = tuple(name for name in spread.panels if name not in {panel.id for panel in lying})
    return _Card(outlines[covering], calipers[covering], between[covering], left_out)


def outside_panels(spread: Spread) -> set[str]:
    """The panels that do not lie between the closed pages: the pages themselves, and what is on their backs."""
    spread = spread.folding
    outside = _pages(spread)
    outside |= {area.glued for area in spread.glue_areas if area.face == "back" and area.host in outside}
    behind = {hand.variable for hand in spread.hands if hand.behind}
    for panel in spread.panels.values():
        # What a hand moves on the back of a page lies outside too, with all that is fixed to it.
        moved = panel.variable in behind
        if panel.parent in outside and (moved or (panel.axis is None and panel.parent not in _pages(spread))):
            outside.add(panel.id)
    return outside


def _pages(spread: Spread) -> set[str]:
    return {name for name, panel in spread.panels.items() if panel.role == "page"}


def _faces(outlines: NDArray[np.object_], page: Polygon) -> NDArray[np.object_]:
    """The parts into which all outlines together cut the page, (n,) Polygon."""
    lines = shapely.union_all([*shapely.boundary(outlines), page.boundary], grid_size=TOUCH_MM)
    faces = shapely.get_parts(shapely.polygonize([lines]))
    # Two outlines that are to meet and miss by rounding leave slivers narrower than any knife's work.
    wide = 2.0 * shapely.area(faces) > TOUCH_MM * shapely.length(faces)
    inside = shapely.contains(page, shapely.point_on_surface(faces))
    chosen: NDArray[np.object_] = faces[wide & inside]
    return chosen


def _regions(alike: Mapping[tuple[int, float], Sequence[Polygon]]) -> tuple[BulkRegion, ...]:
    """Faces with the same card over them, joined where they share an edge."""
    regions = [
        BulkRegion(layers, thickness, outline)
        for (layers, thickness), parts in alike.items()
        for outline in parts_of(shapely.set_precision(shapely.union_all(parts, grid_size=TOUCH_MM), 0.0))
    ]
    return tuple(sorted(regions, key=lambda region: (-region.thickness_mm, -region.layers, -region.outline.area)))


def check_bulk(spread: Spread) -> list[Finding]:
    """A warning where the closed spread is thicker than its limit.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding; measure is the thickness in mm

    Notes
    -----
    Source: DESIGN.md, section 5.
    """
    bulk = bulk_map(spread)
    worst = bulk.worst
    if worst.thickness_mm <= spread.limits.bulk:
        return []
    x, y = worst.place_mm
    message = (
        f"{worst.layers} layers, {worst.thickness_mm:.1f} mm thick, at {x:.0f}, {y:.0f} mm of the closed page; "
        f"a spine {bulk.gusset_mm:.1f} mm wide lets it close flat"
    )
    return [Finding(_CODE, "warning", "page", "page.right", (x, y), 0.0, worst.thickness_mm, "mm", message)]
