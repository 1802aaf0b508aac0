"""Handles: where on a standing mechanism a hand takes hold of a size, and the size that a pointer asks for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..description.data import MechanismSpec
from ..description.fields import expand
from ..mechanisms import KINDS
from ..nets.kind_sizes import sizes_on
from ..nets.measures import Dimension, Sector, Span
from ..spread import Spread
from ..transforms import Array, apply
from ..trees import owner_of
from .measured import panel_under

__all__ = ["Handle", "along_line", "handles_of", "moving_end", "place_of", "value_in", "values_for"]

#: How far from its apex an angle is taken hold of, as a share of the height of the mechanism's piece, and at least, mm.
_ARM, _SHORTEST_ARM_MM = 0.55, 12.0
#: An end that moves by less than this share of the other one stands still.
_STILL = 0.05


@dataclass(frozen=True)
class Handle:
    """Where one size is taken hold of.

    Parameters
    ----------
    key : as it is written in the description
    part : "x" or "y" of a point, else ""
    panel : on which it lies
    ends : (2, 2) float, mm; on that panel's net: from where it is measured, and to where
    way : (2,) float, unit vector; from the first end to the second
    value : float, mm or degrees
    unit : "mm" or "deg"
    """

    key: str
    part: str
    panel: str
    ends: Array
    way: Array
    value: float
    unit: str

    @property
    def name(self) -> str:
        """What tells it from others of the same mechanism."""
        return f"{self.key}.{self.part}" if self.part else self.key


def handles_of(spread: Spread, mechanism: str) -> dict[str, Handle]:
    """The handles of a mechanism, by name.

    Parameters
    ----------
    spread : Spread, or a part of one with this mechanism
    mechanism : its id

    Returns
    -------
    dict of Handle: one for every number of the description that is measured on its nets; of what is equal on both sides
    one that changes both
    """
    spec = next((item for item in spread.mechanisms if item.id == mechanism), None)
    if spec is None:
        return {}
    own = [panel for panel in spread.panels.values() if owner_of(panel.id) == mechanism]
    hosts = [spread.panels[panel.parent] for panel in own if panel.parent is not None]
    alone = replace(spread, mechanisms=(spec,))
    arm = max(_SHORTEST_ARM_MM, _ARM * max((panel.outline.bounds[3] for panel in own), default=0.0))
    found: dict[str, Handle] = {}
    for piece in dict.fromkeys(panel.piece for panel in (*own, *hosts)):
        for size in sizes_on(alone, piece):
            handle = _handle(spread, spec, size, arm)
            if handle is not None:
                found.setdefault(handle.name, handle)
    return found


def _handle(spread: Spread, spec: MechanismSpec, size: Dimension, arm: float) -> Handle | None:
    key = size.name.written
    field = expand(KINDS[spec.kind].FIELDS).get(key)
    if field is None or field.type not in ("number", "length", "angle", "point"):
        return None
    if field.type == "point" and not size.name.part:
        return None
    ends, way, value, unit = _taken(size, arm)
    panel = panel_under(spread, spec.id, size.piece, np.array([[ends[1], ends[1]]]))
    return Handle(key, size.name.part, panel, ends, way, value, unit)


def _taken(size: Dimension, arm: float) -> tuple[Array, Array, float, str]:
    if isinstance(size, Span):
        ahead = float((size.points[1] - size.points[0]) @ size.along) >= 0 or size.signed
        way = size.along if ahead else -size.along
        foot = size.points[1] - way * float((size.points[1] - size.points[0]) @ way)
        return np.array([foot, size.points[1]]), way, size.value, "mm"
    if isinstance(size, Sector):
        legs, sign = [size.leg(part) for part in (0.0, 1.0)], float(np.sign(size.turn_rad) or 1.0)
        ends = np.array([size.apex + arm * leg for leg in legs])
        return ends, sign * np.array([-legs[1][1], legs[1][0]]), abs(float(np.degrees(size.turn_rad))), "deg"
    edge = size.centre + np.array([size.radius, 0.0])
    return np.array([size.centre, edge]), np.array([1.0, 0.0]), size.value, "mm"


def moving_end(before: Handle, after: Handle, poses: tuple[Mapping[str, Array], Mapping[str, Array]]) -> int:
    """Which end of a size moves when it changes: 1, the one that it is measured to, unless only the other one does.

    Parameters
    ----------
    before, after : the same handle with two sizes
    poses : (4, 4) float by panel, with each
    """
    moved = [float(np.linalg.norm(place_of(after, end, poses[1]) - place_of(before, end, poses[0]))) for end in (0, 1)]
    return 0 if moved[1] < _STILL * moved[0] else 1


def place_of(handle: Handle, end: int, poses: Mapping[str, Array]) -> Array:
    """Where one end of a size is in the world, (3,) float, mm, by poses of panels, (4, 4) float."""
    return np.asarray(apply(poses[handle.panel], np.append(handle.ends[end], 0.0)[None])[0])


def value_in(spec: MechanismSpec, handle: Handle) -> float:
    """What the description says for a handle's size, or what it measures where the description says nothing."""
    value: Any = spec.values.get(handle.key)
    if value is None:
        return handle.value
    if handle.part:
        return float(value["xy".index(handle.part)])
    return float(value)


def values_for(spec: MechanismSpec, handle: Handle, value: float) -> Mapping[str, Any]:
    """What has to be written for a handle's size to have a value."""
    if not handle.part:
        return {handle.key: value}
    point = [float(number) for number in spec.values[handle.key]]
    point["xy".index(handle.part)] = value
    return {handle.key: point}


def along_line(origin: Array, sight: Array, place: Array, way: Array) -> float:
    """How far along a line the point lies that is nearest to a line of sight.

    Parameters
    ----------
    origin, sight : (3,) float; where the viewer is, and the direction through the pointer
    place, way : (3,) float; a point of the line, and how far it goes for one unit of the size

    Returns
    -------
    float, in units of the size; 0 where the line runs along the line of sight

    Notes
    -----
    The shortest distance between two lines; derived.
    """
    across = np.cross(sight, way)
    square = float(across @ across)
    if square < 1e-8 * float(way @ way) * float(sight @ sight):
        return 0.0
    # The point on the line where the common perpendicular meets it.
    return float(np.cross(origin - place, sight) @ np.cross(way, sight)) / square
