"""V-fold: two panels that meet at a middle crease, glued across a fold along two lines from one apex."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from shapely import Polygon

from ..building import Building
from ..description.data import MechanismSpec
from ..description.fields import COMMON, PRINTED, SIDE, Field
from ..errors import HingeleafError, MechanismError
from ..linkage import AWAY, OVER, SphericalCell, closing_partner
from ..model import Fold
from ..outline import polyline, single_polygon, without_repeats
from ..tolerances import ANGLE_RAD, TOUCH_MM
from ..transforms import Array
from .feet import Foot
from .glued import Glued, sides, stand, with_holes
from .tabs import TAB_FIELDS, tab_plan

__all__ = ["FIELDS", "HINTS", "build"]

FIELDS = (
    Field("fold", "name", "the fold it is glued across"),
    SIDE,
    Field("at", "number", "place of the apex along the fold, mm"),
    Field(
        "angle",
        "angle",
        "from the fold to the glue line, degrees; above 90 it opens towards the fold's start",
        sided=True,
    ),
    Field("height", "length", "length of the middle crease, measured on the card", positive=True),
    Field(
        "crease_angle",
        "angle",
        "on the panel, from the glue line to the middle crease, degrees",
        default="90 on both sides, turned so that it closes flat (leaning over: half way to the fold); "
        "one given, the other follows so that it closes flat",
        sided=True,
    ),
    Field("width", "length", "length of the glue line", default="as height", positive=True, sided=True),
    Field(
        "apex_cut",
        "length",
        "cut away from the apex along the glue line; the middle crease begins as far off, or half way between the two",
        default="0",
        sided=True,
    ),
    Field(
        "lean",
        "choice",
        "the middle crease leans away from the fold, or back over it",
        default="away",
        choices=("away", "over"),
    ),
    *TAB_FIELDS,
    Field(
        "edge",
        "line",
        "free edge from the crease's tip to the foot's end",
        default="straight, parallel to the crease",
        sided=True,
    ),
    Field("holes", "outlines", "windows", default="none", sided=True),
    replace(PRINTED, default="outer; inner where it opens towards the fold's start"),
    *COMMON,
)

HINTS: Mapping[str, str] = {
    "length": "a v-fold has height (its crease) and width (its glue line)",
    "base": "a v-fold has angle and width",
}


def build(spec: MechanismSpec, building: Building) -> None:
    """Add a v-fold; MechanismError where it cannot be built."""
    named = building.fold(spec)
    at = spec.values["at"]
    if not named.start - TOUCH_MM <= at <= named.end + TOUCH_MM:
        raise MechanismError(f"is {at:g}; {named.id} runs from {named.start:g} to {named.end:g} mm", "at")
    alphas = _radians(spec, "angle")
    fold = named.moved(at)
    backwards = alphas[0] + alphas[1] > math.pi + ANGLE_RAD
    if backwards:
        fold = fold.reversed()
        alphas = (math.pi - alphas[0], math.pi - alphas[1])
    branch = OVER if spec.values.get("lean") == "over" else AWAY
    betas = _crease_angles(spec, building, fold, alphas, branch)
    cell = SphericalCell(alphas[0], alphas[1], betas[0], betas[1], branch)
    outer = spec.values.get("printed", "inner" if backwards else "outer") == "outer"
    mirror = fold.handed if outer else -fold.handed
    height = spec.values["height"]
    cuts = _apex_cuts(spec)
    feet = tuple(
        _foot(spec, fold, side, (alphas[index], betas[index]), cuts, mirror)
        for index, side in enumerate(("left", "right"))
    )
    stand(spec, building, Glued(fold, cell, (feet[0], feet[1]), height, outer, sum(cuts) / 2))


def _apex_cuts(spec: MechanismSpec) -> tuple[float, float]:
    """How much of each glue line is cut away from the apex on, mm."""
    cuts, height = sides(spec, "apex_cut", 0.0), spec.values["height"]
    for side, cut, width in zip(("left", "right"), cuts, sides(spec, "width", height), strict=True):
        key = f"apex_cut_{side}" if f"apex_cut_{side}" in spec.values else "apex_cut"
        if cut > width - TOUCH_MM:
            raise MechanismError(f"is {cut:g} mm on a glue line {width:g} mm long; leave some of the panel", key)
        if sum(cuts) / 2 > height - TOUCH_MM:
            raise MechanismError(
                f"leaves nothing of the middle crease: it is {height:g} mm long and would begin {sum(cuts) / 2:g} mm "
                f"from the apex",
                key,
            )
    return cuts


def _radians(spec: MechanismSpec, name: str) -> tuple[float, float]:
    left, right = spec.sided(name)
    if left is None or right is None:
        raise MechanismError(f"is given for one side only; give {name}, or both {name}_left and {name}_right", name)
    return math.radians(left), math.radians(right)


def _crease_angles(
    spec: MechanismSpec, building: Building, fold: Fold, alphas: tuple[float, float], branch: int
) -> tuple[float, float]:
    closed = building.closed_angle(fold)
    closed = 0.0 if closed is None else closed
    left, right = spec.sided("crease_angle")
    if left is not None and right is not None:
        betas = (math.radians(left), math.radians(right))
    elif left is not None:
        beta = math.radians(left)
        betas = (beta, closing_partner(closed, branch, alphas, beta))
    elif right is not None:
        beta = math.radians(right)
        betas = (closing_partner(closed, branch, alphas[::-1], beta), beta)
    elif abs(closed - math.pi) < math.pi / 2:
        betas = alphas
    elif branch == OVER:
        # Half way between the fold and the nearer glue line: further over it would pass through the hosts.
        middle = min(alphas) / 2
        betas = (alphas[0] - middle, alphas[1] - middle)
    else:
        shift = (closing_partner(closed, branch, alphas, math.pi / 2) - math.pi / 2) / 2
        betas = (math.pi / 2 - shift, closing_partner(closed, branch, alphas, math.pi / 2 - shift))
    for side, beta in zip(("left", "right"), betas, strict=True):
        if not 0.0 < beta < math.pi:
            raise MechanismError(
                f"would have to be {math.degrees(beta):.3f} degrees on the {side} for it to close flat; "
                f"it must lie between 0 and 180: bring the two angles nearer to each other",
                f"crease_angle_{side}",
            )
    return betas


def _foot(
    spec: MechanismSpec,
    fold: Fold,
    side: str,
    sectors: tuple[float, float],
    cuts: tuple[float, float],
    mirror: float,
) -> Foot:
    index = 0 if side == "left" else 1
    width = sides(spec, "width", spec.values["height"])[index]
    alpha, beta = sectors
    host = fold.left if side == "left" else fold.right
    sign = -mirror if side == "left" else mirror
    cos_a, sin_a = math.cos(alpha), math.sin(alpha)
    cos_b, sin_b = math.cos(beta), math.sin(beta)
    net_line = np.array([sign * sin_b, cos_b])
    begins, crease = cuts[index] * net_line, np.array([0.0, sum(cuts) / 2])
    outline = _outline(spec, side, (begins, width * net_line, crease), sign)
    return Foot(
        side=side,
        host=host,
        host_start=host.origin,
        host_line=cos_a * host.along + sin_a * host.across,
        host_out=-sin_a * host.along + cos_a * host.across,
        net_start=np.zeros(2),
        net_line=net_line,
        net_up=np.array([-sign * cos_b, sin_b]),
        outline=outline,
        tab=tab_plan(spec, index, length_mm=width, sector_rad=alpha, distance_mm=0.0, begins_mm=cuts[index]),
    )


def _outline(spec: MechanismSpec, side: str, corners: tuple[Array, Array, Array], sign: float) -> Polygon:
    """A panel between its glue line's beginning and end and its crease's beginning."""
    begins, end, crease = corners
    height = spec.values["height"]
    edge = spec.sided("edge")[0 if side == "left" else 1]
    tip = np.array([0.0, height])
    key = f"edge_{side}" if f"edge_{side}" in spec.values else "edge"
    try:
        middle = np.array([end + tip]) if edge is None else polyline(edge) * [sign, 1.0]
        ring = without_repeats(np.concatenate([[begins], [end], middle[::-1], [tip], [crease]]))
        outline = single_polygon(ring, f"the outline of the {side} panel")
    except HingeleafError as error:
        raise MechanismError(str(error), key) from None
    return with_holes(spec, outline, f"holes_{side}", sign)
