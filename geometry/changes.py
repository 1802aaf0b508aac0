"""Changing a description by numbers: the sizes a mechanism has, what they are now, and the description with others.

A point such as a rider's place counts as two sizes, ``at.x`` and ``at.y``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from .description.data import Description, MechanismSpec
from .description.fields import SIDES, Field, expand
from .description.reader import parsed, reread_mechanism
from .description.writer import change_mechanism
from .errors import HingeleafError
from .linkage import PlanarCell, SphericalCell
from .mechanisms import KINDS
from .spread import Spread

__all__ = ["Change", "Sizing", "apply_changes", "size_of", "sizes_of", "spec_of", "unit_of"]

_NUMBERS = ("number", "length", "angle")
_AXES = (".x", ".y")


@dataclass(frozen=True)
class Change:
    """One size of one mechanism, before and after (mm or degrees)."""

    mechanism: str
    key: str
    before: float
    after: float
    unit: str

    def __str__(self) -> str:
        return f"{self.key} of {self.mechanism} from {self.before:.6g} to {self.after:.6g} {self.unit}"


def spec_of(description: Description, mechanism: str) -> MechanismSpec:
    """The mechanism of that id; HingeleafError where there is none."""
    for spec in description.mechanisms:
        if spec.id == mechanism:
            return spec
    known = ", ".join(spec.id for spec in description.mechanisms) or "none"
    raise HingeleafError(f'there is no mechanism "{mechanism}"; there are {known}')


def sizes_of(description: Description, spread: Spread, mechanism: str) -> dict[str, float]:
    """Every size of a mechanism that can be changed, with its present value.

    Parameters
    ----------
    description, spread : the same scene, read and built
    mechanism : its id

    Returns
    -------
    dict from key to value, mm or degrees; what was given, and what was left out but has a number
    """
    spec = spec_of(description, mechanism)
    sizes = {key: float(value) for key, value in spec.values.items() if _is_number(spec, key)}
    fields = expand(KINDS[spec.kind].FIELDS)
    for key, value in spec.values.items():
        if key in fields and fields[key].type == "point":
            sizes |= {f"{key}{axis}": float(number) for axis, number in zip(_AXES, value, strict=True)}
    for key, value in _computed(spread, spec).items():
        base = key.rsplit("_", 1)[0] if key.endswith(SIDES) else key
        if key not in sizes and base not in sizes:
            sizes[key] = value
    return sizes


def size_of(description: Description, spread: Spread, mechanism: str, key: str) -> float:
    """The present value of one size; HingeleafError where the mechanism has no such size."""
    sizes = sizes_of(description, spread, mechanism)
    if key in sizes:
        return sizes[key]
    sides = [sizes[f"{key}_{side}"] for side in SIDES if f"{key}_{side}" in sizes]
    if sides and max(sides) - min(sides) < 1e-9:
        return sides[0]
    raise HingeleafError(f'{mechanism} has no size "{key}" to change; it has {", ".join(sizes)}')


def unit_of(spec: MechanismSpec, key: str) -> str:
    """Unit of a size."""
    field = expand(KINDS[spec.kind].FIELDS)[key.split(".")[0]]
    return "degrees" if field.type == "angle" or key == "turn" else "mm"


def apply_changes(description: Description, changes: Mapping[tuple[str, str], float]) -> Description:
    """The description with other sizes, by (mechanism, key); read and checked anew."""
    for mechanism, values in _by_mechanism(changes).items():
        spec = spec_of(description, mechanism)
        description = change_mechanism(description, mechanism, _with_points(spec, values))
    return description


@dataclass(frozen=True)
class Sizing:
    """A description, to be tried with many other sizes.

    Parameters
    ----------
    description : as read
    """

    description: Description

    @cached_property
    def _tables(self) -> list[dict[str, Any]]:
        return list(parsed(self.description.text, self.description.source).get("mechanism", []))

    def sized(self, changes: Mapping[tuple[str, str], float]) -> Description:
        """The description with other sizes, by (mechanism, key), to be built: its text is still that of the old ones.

        Raises
        ------
        DescriptionError
            A mechanism is not sound with them.
        """
        specs = list(self.description.mechanisms)
        for mechanism, values in _by_mechanism(changes).items():
            index = specs.index(spec_of(self.description, mechanism))
            table = self._tables[index] | _with_points(specs[index], values)
            specs[index] = reread_mechanism(self.description, index, table, specs[index].lines)
        return replace(self.description, mechanisms=tuple(specs))


def _by_mechanism(changes: Mapping[tuple[str, str], float]) -> dict[str, dict[str, float]]:
    """Sizes by (mechanism, key), for each mechanism by key."""
    found: dict[str, dict[str, float]] = {}
    for (mechanism, key), value in changes.items():
        found.setdefault(mechanism, {})[key] = value
    return found


def _with_points(spec: MechanismSpec, values: Mapping[str, float]) -> dict[str, Any]:
    """The values with at.x and at.y put together to at."""
    found: dict[str, Any] = {key: value for key, value in values.items() if not key.endswith(_AXES)}
    for key in dict.fromkeys(key[:-2] for key in values if key.endswith(_AXES)):
        before = spec.values[key]
        found[key] = [values.get(f"{key}{axis}", float(old)) for axis, old in zip(_AXES, before, strict=True)]
    return found


def _is_number(spec: MechanismSpec, key: str) -> bool:
    field: Field | None = expand(KINDS[spec.kind].FIELDS).get(key)
    return field is not None and field.type in _NUMBERS


def _computed(spread: Spread, spec: MechanismSpec) -> dict[str, float]:
    """Sizes that were left out: crease angles, heights, glue lines and tabs as they came out."""
    found: dict[str, float] = {}
    cell = next((item.cell for item in spread.cells if item.id == spec.id), None)
    if spec.kind == "v-fold" and isinstance(cell, SphericalCell):
        found["crease_angle_left"] = float(np.degrees(cell.beta_left))
        found["crease_angle_right"] = float(np.degrees(cell.beta_right))
        found["width"] = float(spec.values["height"])
    if spec.kind == "tent" and isinstance(cell, PlanarCell):
        found["height_left"], found["height_right"] = cell.width_left, cell.width_right
    if spec.kind in ("v-fold", "tent"):
        found["tab_width"] = 10.0
    return found
