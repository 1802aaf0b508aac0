"""Rider: a flat piece glued on one panel, or creased and glued across a fold."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from ..building import Building, HingePlan
from ..description.data import MechanismSpec
from ..description.fields import COMMON, Field
from ..errors import MechanismError
from ..model import Fold, GlueArea, HostSide, Panel
from ..outline import carried, closed_outline, common_part, parts_of
from ..transforms import Array, frame, map_between
from .glued import host_normal
from .windows import windows

__all__ = ["FIELDS", "HINTS", "build"]

FIELDS = (
    Field("panel", "name", "the panel it is glued on; or else fold", default="none"),
    Field("fold", "name", "the fold it is creased along and glued across; or else panel", default="none"),
    Field("side", "choice", "side of that fold", "valley", choices=("valley", "mountain")),
    Field("at", "point", "its zero point on the panel's net, [x, y] in mm; across a fold [0, place along the fold]"),
    Field("turn", "number", "turned counter-clockwise on its panel, degrees", default="0", low=-360, high=360),
    Field("face", "choice", "glued on the panel's printed face or on its back", "front", choices=("front", "back")),
    Field("outline", "outline", "its shape, x to the right, y up from its zero point; or else size", default="none"),
    Field("size", "point", "[width, height] of a rectangle about its zero point; or else outline", default="none"),
    Field("holes", "outlines", "windows, in the coordinates of the outline", default="none"),
    *COMMON,
)

HINTS: Mapping[str, str] = {
    "width": "a rider has outline, or size = [width, height]",
    "height": "a rider has outline, or size = [width, height]",
    "tab": "a rider is glued flat and has no tab",
}


@dataclass(frozen=True)
class _Half:
    """One half of a rider across a fold: "left" or "right", its host, and +1 or -1 for its side of the net."""

    side: str
    host: HostSide
    sign: float


def build(spec: MechanismSpec, building: Building) -> None:
    """Add a rider; MechanismError where it cannot be built."""
    values = spec.values
    if ("panel" in values) == ("fold" in values):
        raise MechanismError("needs either panel or fold", "panel")
    outline = _outline(spec)
    if "panel" in values:
        _on_panel(spec, building, outline)
    else:
        _across_fold(spec, building, outline)


def _outline(spec: MechanismSpec) -> Polygon:
    values = spec.values
    if ("outline" in values) == ("size" in values):
        raise MechanismError("needs either outline or size", "outline")
    if "size" in values:
        width, height = values["size"]
        if width <= 0 or height <= 0:
            raise MechanismError(f"is {width:g} x {height:g} mm; both must be above 0", "size")
        outline: Polygon = shapely.box(-width / 2, -height / 2, width / 2, height / 2)
    else:
        outline = closed_outline(values["outline"])
    return windows(outline, values.get("holes", ()), "holes")


def _on_panel(spec: MechanismSpec, building: Building, outline: Polygon) -> None:
    if "side" in spec.values:
        raise MechanismError("belongs to a rider across a fold; on a panel write face", "side")
    host = building.panel(spec)
    x, y = spec.values["at"]
    angle = math.radians(spec.values.get("turn", 0.0))
    back = spec.values.get("face", "front") == "back"
    sign = -1.0 if back else 1.0
    right = np.array([sign * math.cos(angle), sign * math.sin(angle), 0.0])
    up = np.array([-math.sin(angle), math.cos(angle), 0.0])
    rest = frame([x, y, 0.0], right, up)
    building.add_piece(spec, [spec.id])
    building.add_panel(Panel(spec.id, spec.id, outline, host.id, rest, None, "rider"))
    _glue(spec, building, host.id, spec.id, rest, back)


def _across_fold(spec: MechanismSpec, building: Building, outline: Polygon) -> None:
    for key in ("turn", "face"):
        if key in spec.values:
            raise MechanismError("belongs to a rider on a panel; across a fold write side", key)
    fold = building.fold(spec)
    if fold.side not in ("valley", "mountain"):
        raise MechanismError(
            "is a glue line; a rider across it would be in the way of the tab: choose a crease", "fold"
        )
    x, y = spec.values["at"]
    if x != 0.0:
        raise MechanismError(f"is [{x:g}, {y:g}]; across a fold it is [0, place along the fold]", "at")
    fold = fold.moved(y)
    # Seen from its printed face, which looks away from the host, the net's y runs along the fold.
    mirror = 1.0 if fold.handed > 0 else -1.0
    halves = (_Half("left", fold.left, -mirror), _Half("right", fold.right, mirror))
    building.add_piece(spec, [f"{spec.id}.{half.side}" for half in halves])
    for half in halves:
        _add_half(spec, building, fold, outline, half)
    _add_middle(spec, building, fold, halves)


def _add_half(spec: MechanismSpec, building: Building, fold: Fold, outline: Polygon, half: _Half) -> None:
    low, bottom, high, top = outline.bounds
    box = shapely.box(*((0.0, bottom - 1, high + 1, top + 1) if half.sign > 0 else (low - 1, bottom - 1, 0.0, top + 1)))
    part = common_part(outline, box)
    parts = parts_of(part)
    if len(parts) != 1:
        raise MechanismError("must lie on both sides of the fold (x below and above 0), in one part each", "outline")
    name = f"{spec.id}.{half.side}"
    host = half.host
    net = frame(np.zeros(3), [0.0, 1.0, 0.0], [half.sign, 0.0, 0.0])
    rest = map_between(net, frame(_in_space(host.origin), _in_space(host.along), _in_space(host.across)))
    building.add_panel(Panel(name, spec.id, parts[0], host.panel, rest, None, "rider"))
    _glue(spec, building, host.panel, name, rest, host_normal(fold, half.side) < 0)


def _in_space(vector: Array) -> Array:
    return np.array([vector[0], vector[1], 0.0])


def _glue(spec: MechanismSpec, building: Building, host: str, name: str, rest: Array, back: bool) -> None:
    outline = building.panels[name].outline
    area = common_part(carried(outline, rest), building.panels[host].outline)
    parts = parts_of(area)
    if not parts:
        raise MechanismError(f"lies wholly beside {host} and cannot be glued on it; move it", "at")
    for part in parts:
        building.glue_areas.append(GlueArea(host, name, part, "back" if back else "front"))


def _add_middle(spec: MechanismSpec, building: Building, fold: Fold, halves: tuple[_Half, _Half]) -> None:
    name = f"{spec.id}.middle"
    origin, along = np.zeros(2), np.array([0.0, 1.0])
    panels = (f"{spec.id}.left", f"{spec.id}.right")
    building.hinges.append(HingePlan(name, "crease", panels, (origin, origin), (along, along), fold.dihedral, panels))
    left, right = (HostSide(f"{spec.id}.{half.side}", origin, along, np.array([half.sign, 0.0])) for half in halves)
    outline = _outline(spec)
    start, end = outline.bounds[1], outline.bounds[3]
    other = "mountain" if fold.side == "valley" else "valley"
    building.add_fold(Fold(name, fold.side, left, right, fold.dihedral, fold.handed, start, end))
    building.add_fold(Fold(name, other, left, right, fold.dihedral.other_side(), -fold.handed, start, end))
