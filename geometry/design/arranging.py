"""Arranging mechanisms: what stands on what, taking away, renaming, standing elsewhere, order in the file.

Each function takes a description and returns another one, read and checked; the old one stays. What it says can be
built wherever it could before, unless the place that was asked for forbids it; assemble tells.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from difflib import get_close_matches
from typing import Any

from ..changes import spec_of
from ..description.data import Description, MechanismSpec
from ..description.fields import HOSTS
from ..errors import HingeleafError
from ..model import Fold
from ..spread import Spread
from ..trees import owner_of
from .editing import edited, plain, refuse_id, reread, set_values
from .tables import Edits, places_of

__all__ = [
    "delete",
    "dependents",
    "driven_flaps",
    "drivers_of",
    "fold_under",
    "hosts_of",
    "move_in_order",
    "rehost",
    "rename",
    "renamed_hosts",
    "undriven",
]

#: Kinds that are placed by a point on one panel.
_ON_PANELS = ("flap", "pull-strip", "wheel", "solid")


def hosts_of(spec: MechanismSpec) -> dict[str, str]:
    """What a mechanism is built on: key, such as fold or panel, to the name of the fold, panel or mechanism."""
    return {key: str(spec.values[key]) for key in HOSTS if key in spec.values}


def dependents(description: Description, mechanism_id: str) -> tuple[str, ...]:
    """The ids of everything that stands on a mechanism, directly or not, in the file's order.

    Raises
    ------
    HingeleafError
        There is no such mechanism.
    """
    spec_of(description, mechanism_id)
    return _standing_on(description, {mechanism_id})


def _standing_on(description: Description, roots: Iterable[str]) -> tuple[str, ...]:
    """What stands on any of these, without them."""
    hosts = {spec.id: {owner_of(name) for name in hosts_of(spec).values()} for spec in description.mechanisms}
    first = set(roots)
    found: set[str] = set()
    while more := {name for name, on in hosts.items() if on & (first | found)} - first - found:
        found |= more
    return tuple(name for name in hosts if name in found)


def drivers_of(description: Description, flap: str) -> tuple[str, ...]:
    """The pull-strips and straps that may move a driven flap: those that name it, or what stands on it."""
    moved = {flap, *dependents(description, flap)}
    return tuple(
        spec.id
        for spec in description.mechanisms
        if (spec.kind == "pull-strip" and spec.values.get("drives") == flap)
        or (spec.kind == "strap" and {owner_of(name) for name in hosts_of(spec).values()} & moved)
    )


def undriven(description: Description, before: Iterable[str]) -> Description:
    """The description, its driven flaps opened by hand where what drove them has been taken away.

    Parameters
    ----------
    description : as it is now
    before : the flaps that something drove before
    """
    left = [spec.id for spec in description.mechanisms if spec.id in set(before) and spec.values.get("driven")]
    loose = [name for name in left if not drivers_of(description, name)]
    return edited(description, {name: Edits({"driven": None}) for name in loose})


def driven_flaps(description: Description) -> tuple[str, ...]:
    """The driven flaps that something drives."""
    flaps = [spec.id for spec in description.mechanisms if spec.kind == "flap" and spec.values.get("driven")]
    return tuple(name for name in flaps if drivers_of(description, name))


def delete(description: Description, mechanism_id: str) -> Description:
    """The description without a mechanism and all that stands on it.

    A flap that only they drove is opened by hand from then on. Comments directly over a table go with it.

    Raises
    ------
    HingeleafError
        There is no such mechanism.
    """
    gone = {mechanism_id, *dependents(description, mechanism_id)}
    flaps = driven_flaps(description)
    return undriven(_without(description, gone), flaps)


def _without(description: Description, gone: Iterable[str]) -> Description:
    """The description without some mechanisms; nothing that stays may stand on them."""
    description = plain(description)
    lines, places = description.text.split("\n"), places_of(description)
    for name in sorted(set(gone), key=lambda name: -places[name].first):
        first, stop = places[name].first, places[name].last + 1
        if first > 0 and not lines[first - 1].strip():
            while stop < len(lines) - 1 and not lines[stop].strip():
                stop += 1
        del lines[first:stop]
    while len(lines) > 1 and not lines[-1].strip() and not lines[-2].strip():
        del lines[-2]
    return reread(description, "\n".join(lines))


def rename(description: Description, old: str, new: str) -> Description:
    """The description with a mechanism called otherwise, wherever it is named.

    Raises
    ------
    HingeleafError
        There is no such mechanism, or the new name is ill-formed or taken.
    """
    spec_of(description, old)
    if new == old:
        return description
    refuse_id(description, new)
    description = plain(description)
    edits = {spec.id: renamed_hosts(spec, {old: new}) for spec in description.mechanisms}
    edits[old]["id"] = new
    return edited(description, {name: Edits(values) for name, values in edits.items() if values})


def renamed_hosts(spec: MechanismSpec, names: Mapping[str, str]) -> dict[str, Any]:
    """The keys that name a fold, panel or mechanism of another id, with its new id."""
    found: dict[str, Any] = {}
    for key, name in hosts_of(spec).items():
        owner = owner_of(name)
        if owner in names:
            found[key] = names[owner] + name[len(owner) :]
    return found


def move_in_order(description: Description, mechanism_id: str, by: int) -> Description:
    """The description with a mechanism further up (negative) or down in the file, at most to its end.

    The order changes names in lists and which of two tabs gives way; hosts need not come before what stands on them.
    """
    spec_of(description, mechanism_id)
    description = plain(description)
    ids = [spec.id for spec in description.mechanisms]
    start = ids.index(mechanism_id)
    to = min(max(start + by, 0), len(ids) - 1)
    order = ids[:start] + ids[start + 1 :]
    order.insert(to, mechanism_id)
    lines, places = description.text.split("\n"), places_of(description)
    end = "\r" if lines[0].endswith("\r") else ""
    tables = {name: lines[place.first : place.last + 1] for name, place in places.items()}
    for table in tables.values():
        table[-1] = table[-1].removesuffix("\r") + end
    for old, new in reversed(list(zip(ids, order, strict=True))):
        lines[places[old].first : places[old].last + 1] = tables[new]
    return reread(description, "\n".join(lines))


def rehost(
    description: Description,
    spread: Spread,
    mechanism_id: str,
    *,
    fold: str | None = None,
    side: str | None = None,
    panel: str | None = None,
    at: float | tuple[float, float] | None = None,
) -> Description:
    """The description with a mechanism standing on another fold or panel, and all that stands on it with it.

    Parameters
    ----------
    description, spread : the same scene, read and built
    mechanism_id : what is to stand elsewhere
    fold, side : the fold and its side; by default the side it has, if the fold has such a one
    panel : the panel instead; for a layer the box
    at : place along the fold, or on the panel's net, mm; by default where it is, as far as that is on the fold

    Raises
    ------
    HingeleafError
        There is no such mechanism, fold, side or panel; it would stand on itself; or it is not of a kind to stand
        there.
    """
    spec = spec_of(description, mechanism_id)
    own = {mechanism_id, *dependents(description, mechanism_id)}
    name = fold if panel is None else panel
    if name is None or (fold is not None and panel is not None):
        raise HingeleafError(f"{spec.place()} stands on one fold or one panel; say which")
    if owner_of(name) in own:
        raise HingeleafError(f"{mechanism_id} cannot stand on {name}, which stands on it; choose another place")
    if spec.kind == "strap":
        raise HingeleafError(f"{spec.place()} goes from panel to panel; change its keys from and to")
    if fold is not None:
        values = _on_fold(spec, spread, fold, side, at)
    else:
        values = _on_panel(description, spec, spread, name, at)
    _refuse_lost_names(description, spec, values)
    changed = set_values(description, mechanism_id, values)
    for other in _partners(description, spec):
        changed = set_values(changed, other.id, _moved_along(spec, values, other))
    return changed


def _partners(description: Description, spec: MechanismSpec) -> list[MechanismSpec]:
    """What must be on the same panel as a mechanism: a pull-strip and the flap that it opens."""
    names = [str(spec.values["drives"])] if "drives" in spec.values else []
    strips = [item for item in description.mechanisms if spec.kind == "flap" and item.values.get("drives") == spec.id]
    return [*strips, *(item for item in description.mechanisms if item.id in names)]


def _on_fold(
    spec: MechanismSpec, spread: Spread, name: str, side: str | None, at: float | tuple[float, float] | None
) -> dict[str, Any]:
    if spec.kind in _ON_PANELS or spec.kind == "layer":
        where = "in a box" if spec.kind == "layer" else "on one panel"
        raise HingeleafError(f"a {spec.kind} stands {where}, not on a fold; choose such a place")
    fold, side = _side_of(spec, spread, name, side)
    values: dict[str, Any] = {"fold": name, "panel": None, "turn": None, "face": None, "side": side}
    if spec.kind == "slit-cut-in":
        values["side"] = None
    if spec.kind == "rider":
        place = at if at is not None else (_fitting(spec.values["at"][1], fold, 0.0) if "fold" in spec.values else None)
        place = (fold.start + fold.end) / 2 if place is None else place
        values["at"] = [0, place[1] if isinstance(place, tuple) else place]
        return values
    values = {key: value for key, value in values.items() if key in ("fold", "side")}
    place = spec.values["at"] if at is None else at
    if not isinstance(place, (int, float)):
        raise HingeleafError(f"the place of a {spec.kind} along a fold is one number, mm")
    values["at"] = _fitting(place, fold, spec.values.get("length", 0.0)) if at is None else place
    return values


def fold_under(spec: MechanismSpec, spread: Spread) -> Fold | None:
    """The side of the fold that a mechanism stands on, in the spread that holds it; None where it stands on none."""
    if "fold" not in spec.values:
        return None
    name = spec.values["fold"]
    sides = [side for fold, side in spread.folds if fold == name]
    side = spec.values.get("side")
    if side not in sides:
        side = next((one for one in ("valley", "outer") if one in sides), sides[0] if sides else "")
    return spread.folds.get((name, side))


def _side_of(spec: MechanismSpec, spread: Spread, name: str, side: str | None) -> tuple[Fold, str | None]:
    """The fold of that name, and the side to write down."""
    sides = [one for fold, one in spread.folds if fold == name and one != "tab"]
    if not sides:
        known = sorted({fold for fold, _ in spread.folds})
        near = get_close_matches(name, known, 1)
        hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(known)}"
        raise HingeleafError(f'"{name}" is no fold; {hint}')
    if side is not None and side not in sides:
        raise HingeleafError(f'"{name}" has no {side} side; choose {" or ".join(sides)}')
    kept = spec.values.get("side") if side is None else side
    kept = kept if kept in sides else None
    moved = replace(spec, values={**spec.values, "fold": name, "side": kept})
    fold = fold_under(moved, spread)
    return fold or spread.folds[(name, sides[0])], kept


def _fitting(at: float, fold: Fold, length: float) -> float:
    """The place on a fold next to one that may lie beyond its ends."""
    return max(fold.start, min(float(at), fold.end - length))


def _on_panel(
    description: Description, spec: MechanismSpec, spread: Spread, name: str, at: float | tuple[float, float] | None
) -> dict[str, Any]:
    if spec.kind == "layer":
        if not any(item.id == name and item.kind == "box" for item in description.mechanisms):
            raise HingeleafError(f'"{name}" is no box, and a layer stands in one')
        return {"box": name, "at": spec.values["at"] if at is None else at}
    if spec.kind not in (*_ON_PANELS, "rider"):
        raise HingeleafError(f"a {spec.kind} stands on a fold, not on one panel; choose a fold")
    if name not in spread.panels:
        near = get_close_matches(name, spread.panels, 1)
        hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(spread.panels)}"
        raise HingeleafError(f'"{name}" is no panel; {hint}')
    middle = spread.panels[name].outline.representative_point()
    # The place on another net says nothing about the same place on this one.
    place = (middle.x, middle.y) if at is None else at
    values = {"panel": name, "at": list(place) if isinstance(place, tuple) else place}
    return values | ({"fold": None, "side": None} if spec.kind == "rider" else {})


def _refuse_lost_names(description: Description, spec: MechanismSpec, values: Mapping[str, Any]) -> None:
    """Refuse a rider that goes from a fold to a panel, or back, while something stands on it: its panels change."""
    if spec.kind != "rider" or ("panel" in spec.values) == (values.get("panel") is not None):
        return
    on_it = dependents(description, spec.id)
    if on_it:
        what = "one panel" if values.get("panel") is not None else "two halves"
        raise HingeleafError(
            f"{spec.id} would become {what}, and {', '.join(on_it)} could not stand on it any longer; delete or move "
            f"that first"
        )


def _moved_along(one: MechanismSpec, values: Mapping[str, Any], other: MechanismSpec) -> dict[str, Any]:
    """Another mechanism on the same panel as one that is moved, and as far from it as before."""
    way = [new - old for new, old in zip(values["at"], one.values["at"], strict=True)]
    return {"panel": values["panel"], "at": [old + step for old, step in zip(other.values["at"], way, strict=True)]}
