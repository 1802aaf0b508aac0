"""What a person sees of a mechanism's sizes: what was given, and what holds where nothing was."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ..changes import sizes_of
from ..description.data import Description, MechanismSpec
from ..description.fields import SIDES, Field, expand
from ..mechanisms import KINDS
from ..spread import Spread

__all__ = ["Shown", "fields_of", "shown_of"]

_EMPTY: Mapping[str, Any] = {"text": "", "name": "", "file": "", "lengths": (), "numbers": (), "point": (0.0, 0.0)}


@dataclass(frozen=True)
class Shown:
    """One key of a mechanism as it is shown.

    Parameters
    ----------
    key, field : its key, and what may stand there
    value : what was given, or what holds where nothing was; None where that cannot be said
    given : whether the description says it
    """

    key: str
    field: Field
    value: Any
    given: bool


def fields_of(kind: str) -> dict[str, Field]:
    """Every key of a kind of mechanism, sided ones as they are and with both sides."""
    return expand(KINDS[kind].FIELDS)


def shown_of(description: Description, spread: Spread | None, spec: MechanismSpec) -> dict[str, Shown]:
    """Every key of a mechanism, with what holds.

    Parameters
    ----------
    description : what the mechanism is part of
    spread : built from it, or a part of it with this mechanism; None where it cannot be built
    spec : the mechanism

    Returns
    -------
    dict of Shown by key
    """
    computed = {} if spread is None else sizes_of(description, spread, spec.id)
    return {
        key: Shown(key, field, _value(spec, key, field, computed), key in spec.values)
        for key, field in fields_of(spec.kind).items()
    }


def _value(spec: MechanismSpec, key: str, field: Field, computed: Mapping[str, float]) -> Any:
    for name in (key, *_wider(key, field), *_sides(key, field)):
        if name in spec.values:
            return spec.values[name]
        if name in computed:
            return computed[name]
    return _default(spec, field)


def _wider(key: str, field: Field) -> tuple[str, ...]:
    """Keys that set this one too: both sides, or, of a width at one end, all widths."""
    if not field.sided:
        return ()
    side = key[len(field.name) :]
    stem = field.name.removesuffix("_start").removesuffix("_end")
    return tuple(dict.fromkeys((field.name, f"{stem}{side}", stem)))


def _sides(key: str, field: Field) -> tuple[str, ...]:
    return tuple(f"{key}_{side}" for side in SIDES) if field.sided and key == field.name else ()


def _default(spec: MechanismSpec, field: Field) -> Any:
    """What holds by default, where it is a plain number, word or switch."""
    said = (field.default or "").split(";")[0].split(",")[0].strip()
    if said.startswith("as ") and said[3:] in spec.values:
        return spec.values[said[3:]]
    if field.type in ("number", "length", "angle"):
        try:
            return float(said)
        except ValueError:
            return 0.0
    if field.type == "choice":
        return said if said in field.choices else field.choices[0]
    if field.type == "switch":
        return said == "true"
    return _EMPTY.get(field.type)
