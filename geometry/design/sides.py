"""Keys that set both sides at once, and one side: keeping them from contradicting each other when one is set.

``angle`` sets both sides, ``angle_left`` and ``angle_right`` one. Of a cut-in's widths the more exact key wins: that of
a corner, of a slit, of a side, of all.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..description.data import MechanismSpec
from ..description.fields import SIDES
from ..mechanisms import KINDS
from .tables import Edits

__all__ = ["sided_edits"]

#: Every key that sets widths of a cut-in, by the corner, the most exact one first.
_CORNERS = {
    f"width_{end}_{side}": (f"width_{end}_{side}", f"width_{end}", f"width_{side}", "width")
    for end in ("start", "end")
    for side in SIDES
}
_WIDTHS = tuple(dict.fromkeys(key for keys in _CORNERS.values() for key in keys))


def sided_edits(spec: MechanismSpec, values: Mapping[str, Any]) -> Edits:
    """What must change in a mechanism's table so that keys have these values and the other side keeps its own.

    Parameters
    ----------
    spec : as it was read
    values : key to new value; None takes the key out

    Returns
    -------
    Edits: where one side is set and the key of both sides was given, that becomes the other side's; where both sides
    are set at once, the single ones go out
    """
    changes = dict(values)
    renames: dict[str, str] = {}
    beside: dict[str, list[str]] = {}
    for item in KINDS[spec.kind].FIELDS:
        if item.sided:
            keys = [item.name, *(f"{item.name}_{side}" for side in SIDES)]
            beside |= dict.fromkeys(keys, keys)
            _settle(spec.values, item.name, changes, renames)
    if spec.kind == "slit-cut-in":
        _settle_widths(spec.values, values, changes, renames)
    return Edits(changes, renames, beside)


def _settle(given: Mapping[str, Any], base: str, changes: dict[str, Any], renames: dict[str, str]) -> None:
    """Let a key of both sides and those of one side say the same as what is asked for."""
    sides = {side: f"{base}_{side}" for side in SIDES}
    if changes.get(base) is not None:
        for key in sides.values():
            if key not in changes and key in given:
                changes[key] = None
    asked = [key for key in sides.values() if changes.get(key) is not None]
    both = changes[base] if base in changes else given.get(base)
    if not asked or both is None:
        return
    others = [key for key in sides.values() if key not in asked and (key in changes or key not in given)]
    if others and base not in changes:
        renames[base] = others[0]
        changes.pop(others[0], None)
        return
    changes |= dict.fromkeys(others, both)
    if base in given:
        changes[base] = None
    else:
        del changes[base]


def _settle_widths(
    given: Mapping[str, Any], asked: Mapping[str, Any], changes: dict[str, Any], renames: dict[str, str]
) -> None:
    """Let each corner of a cut-in be as wide as was asked for, and the others as wide as they were."""
    for key in ("width", *(f"width_{side}" for side in SIDES)):
        if asked.get(key) is not None:
            finer = [name for keys in _CORNERS.values() if key in keys for name in keys[: keys.index(key)]]
            covered = [name for name in finer if all(key in keys for keys in _CORNERS.values() if name in keys)]
            changes |= {name: None for name in covered if name in given and name not in asked and name not in renames}
    if any(asked[key] is None for key in _WIDTHS if key in asked) or not any(key in asked for key in _WIDTHS):
        return
    wanted = {corner: _first(keys, asked, _first(keys, given, None)) for corner, keys in _CORNERS.items()}
    after = {renames.get(key, key): value for key, value in given.items()}
    after = {key: value for key, value in (after | changes).items() if value is not None}
    if {corner: _first(keys, after, None) for corner, keys in _CORNERS.items()} == wanted:
        return
    for old in [old for old in renames if old in _WIDTHS]:
        del renames[old]
    for key in _WIDTHS:
        changes.pop(key, None)
        if key in given:
            changes[key] = None
    changes |= {corner: value for corner, value in wanted.items() if value is not None}


def _first(keys: tuple[str, ...], values: Mapping[str, Any], otherwise: Any) -> Any:
    return next((values[key] for key in keys if key in values), otherwise)
