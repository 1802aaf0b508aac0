"""Tent: two panels that meet at a ridge parallel to the fold, glued on either side of it."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from shapely import Polygon

from ..building import Building
from ..description.data import MechanismSpec
from ..description.fields import COMMON, PRINTED, Field
from ..errors import HingeleafError, MechanismError
from ..linkage import AWAY, OVER, PlanarCell, closing_partner
from ..model import Fold
from ..outline import polyline, single_polygon, without_repeats
from .astride import ASTRIDE_FIELDS, astride
from .feet import Foot
from .glued import Glued, stand, with_holes
from .tabs import TAB_FIELDS, tab_plan

__all__ = ["FIELDS", "HINTS", "build"]

FIELDS = (
    *ASTRIDE_FIELDS,
    Field("base", "length", "from the fold to the glue line", positive=True, sided=True),
    Field(
        "height",
        "length",
        "from the glue line to the ridge, on the card; one side given, the other follows so that it closes flat",
        positive=True,
        sided=True,
    ),
    Field(
        "lean",
        "choice",
        "the ridge leans away from the fold, or back over it",
        default="away",
        choices=("away", "over"),
    ),
    *TAB_FIELDS,
    Field("edge_start", "line", "free edge at the start, from the ridge to the foot", default="straight", sided=True),
    Field("edge_end", "line", "free edge at the end, from the ridge to the foot", default="straight", sided=True),
    Field("holes", "outlines", "windows", default="none", sided=True),
    PRINTED,
    *COMMON,
)

HINTS: Mapping[str, str] = {
    "width": "a tent has length (along the fold), base (to the glue line) and height (glue line to ridge)",
    "angle": "a tent has no angle: its lines are parallel to the fold; write base and height",
}


def build(spec: MechanismSpec, building: Building) -> None:
    """Add a tent; MechanismError where it cannot be built."""
    fold, length = astride(spec, building), spec.values["length"]
    branch = OVER if spec.values.get("lean") == "over" else AWAY
    bases = spec.sided("base")
    if None in bases:
        raise MechanismError("is given for one side only; give base, or both base_left and base_right", "base")
    heights = _heights(spec, building, fold, bases, branch)
    cell = PlanarCell(bases[0], bases[1], heights[0], heights[1], branch)
    outer = spec.values.get("printed", "outer") == "outer"
    mirror = fold.handed if outer else -fold.handed
    left = _foot(spec, fold, "left", (bases[0], heights[0]), -mirror)
    right = _foot(spec, fold, "right", (bases[1], heights[1]), mirror)
    stand(spec, building, Glued(fold, cell, (left, right), length, outer))


def _heights(
    spec: MechanismSpec, building: Building, fold: Fold, bases: tuple[float, float], branch: int
) -> tuple[float, float]:
    closed = building.closed_angle(fold)
    closed = 0.0 if closed is None else closed
    left, right = spec.sided("height")
    if right is None:
        right = closing_partner(closed, branch, bases, left)
    elif left is None:
        left = closing_partner(closed, branch, bases[::-1], right)
    for side, height in (("left", left), ("right", right)):
        if height <= 0:
            raise MechanismError(
                f"would have to be {height:.3f} mm on the {side} for it to close flat; make the other side higher "
                f"or bring the two bases nearer to each other",
                f"height_{side}",
            )
    return left, right


def _foot(spec: MechanismSpec, fold: Fold, side: str, lengths: tuple[float, float], sign: float) -> Foot:
    base, height = lengths
    index = 0 if side == "left" else 1
    host = fold.left if side == "left" else fold.right
    length = spec.values["length"]
    return Foot(
        side=side,
        host=host,
        host_start=host.point(0.0, base),
        host_line=host.along,
        host_out=host.across,
        net_start=np.array([sign * height, 0.0]),
        net_line=np.array([0.0, 1.0]),
        net_up=np.array([-sign, 0.0]),
        outline=_outline(spec, side, height, sign),
        tab=tab_plan(spec, index, length_mm=length, sector_rad=0.0, distance_mm=base),
    )


def _outline(spec: MechanismSpec, side: str, height: float, sign: float) -> Polygon:
    """Panel between ridge (x = 0) and foot (x = height), y along the fold from the tent's start."""
    length = spec.values["length"]
    parts = [np.array([[height, 0.0], [height, length]])]
    for name, y in (("edge_end", length), ("edge_start", 0.0)):
        edge = spec.sided(name)[0 if side == "left" else 1]
        try:
            middle = np.empty((0, 2)) if edge is None else polyline(edge) + np.array([0.0, y])
        except HingeleafError as error:
            raise MechanismError(str(error), name) from None
        if name == "edge_end":
            parts.extend([middle[::-1], np.array([[0.0, length], [0.0, 0.0]])])
        else:
            parts.append(middle)
    try:
        ring = without_repeats(np.concatenate(parts)) * [sign, 1.0]
        outline = single_polygon(ring, f"the outline of the {side} panel")
    except HingeleafError as error:
        key = next((key for key in spec.values if key.startswith("edge_")), "length")
        raise MechanismError(str(error), key) from None
    return with_holes(spec, outline, f"holes_{side}", sign)
