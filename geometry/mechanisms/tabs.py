"""Tabs: the strip beyond a hinge line that is glued to the host."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..description.data import MechanismSpec
from ..description.fields import Field
from ..errors import MechanismError
from ..transforms import Array

__all__ = ["FOLD_CLEARANCE_MM", "NARROWEST_MM", "TAB_FIELDS", "TabPlan", "tab_plan", "tab_ring"]

#: Sides of a tab are chamfered to this angle, so that they slide under neighbours (common practice).
_CHAMFER_RAD = math.radians(60.0)
#: A tab stops this far short of each end of its hinge line.
_END_GAP_MM = 2.0
#: No corner of a tab comes nearer to the host fold than this.
FOLD_CLEARANCE_MM = 1.5
#: A tab narrower than this cannot be glued by hand (common practice).
NARROWEST_MM = 3.0

TAB_FIELDS = (
    Field(
        "tab",
        "choice",
        "which way the tab points from the glue line: inner, towards the host fold and hidden, or outer; or through a "
        "slot in the host, to be glued on its back, away from the host fold",
        default="inner",
        choices=("inner", "outer", "through"),
        sided=True,
    ),
    Field(
        "tab_width", "length", "how far the tab reaches beyond the glue line", default="10", positive=True, sided=True
    ),
)


@dataclass(frozen=True)
class TabPlan:
    """A tab as asked for.

    Parameters
    ----------
    inner : towards the host fold
    width_mm : reach beyond the hinge line
    length_mm : of the hinge line
    sector_rad : angle between host fold and hinge line; 0 where they are parallel
    distance_mm : of the hinge line's start from the host fold
    begins_mm : how far from the hinge line's start the panel begins
    through : it goes through a slot in the host and is glued on the host's back
    default : nobody asked for its width, so that it may be trimmed
    """

    inner: bool
    width_mm: float
    length_mm: float
    sector_rad: float
    distance_mm: float
    begins_mm: float = 0.0
    through: bool = False
    default: bool = False


def tab_plan(
    spec: MechanismSpec, index: int, *, length_mm: float, sector_rad: float, distance_mm: float, begins_mm: float = 0.0
) -> TabPlan:
    """The tab that a mechanism asks for on one side, 0 left or 1 right; the lengths and the angle as in TabPlan."""
    way = spec.sided("tab")[index] or "inner"
    width = spec.sided("tab_width")[index]
    width_mm = 10.0 if width is None else float(width)
    through = way == "through"
    trimmed = width is None and not through
    return TabPlan(way == "inner", width_mm, length_mm, sector_rad, distance_mm, begins_mm, through, trimmed)


def tab_ring(plan: TabPlan, key: str, clear_mm: float = FOLD_CLEARANCE_MM) -> Array:
    """Outline of a tab in the frame of its hinge line.

    Parameters
    ----------
    plan : TabPlan
    key : key to name if there is no room
    clear_mm : how near to the host fold it may come

    Returns
    -------
    (4, 2) float, mm; along the hinge line from its start, and beyond it

    Raises
    ------
    MechanismError
        There is no room for a tab of at least 3 mm.
    """
    width = plan.width_mm
    while width >= NARROWEST_MM:
        ring = _ring(plan, width, clear_mm)
        if ring is not None:
            return ring
        width *= 0.9
    raise MechanismError(
        f"there is no room for a tab on a glue line {plan.length_mm - plan.begins_mm:.1f} mm long; make it longer, "
        f"or ask for a tab that points the other way",
        key,
    )


def _ring(plan: TabPlan, width: float, clear: float) -> Array | None:
    toward = -1.0 if plan.inner else 1.0
    sine, cosine = math.sin(plan.sector_rad), math.cos(plan.sector_rad)
    start = plan.begins_mm + _END_GAP_MM
    slope = width / math.tan(_CHAMFER_RAD)
    first = slope
    # The distance of a point (s, t) of the tab from the host fold is distance + s sin + toward t cos.
    needed = clear - plan.distance_mm - toward * width * cosine
    if sine > 1e-9:
        start = max(start, (clear - plan.distance_mm) / sine)
        first = max(first, needed / sine - start)
    elif needed > 1e-9:
        return None
    end = plan.length_mm - _END_GAP_MM
    if end - slope < start + first + 1.0:
        return None
    return np.array([[start, 0.0], [end, 0.0], [end - slope, width], [start + first, width]])
