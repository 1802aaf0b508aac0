"""Copying mechanisms with all that stands on them: beside themselves, or through a text of their own into any book."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from ..assembly import assemble
from ..changes import spec_of
from ..description.data import Description, MechanismSpec
from ..description.reader import parse_description
from ..errors import HingeleafError
from ..model import Fold
from ..spread import Spread
from ..transforms import Array, lift
from ..trees import owner_of
from .arranging import dependents, driven_flaps, fold_under, hosts_of, renamed_hosts, undriven
from .editing import free_id, plain, with_tables
from .tables import Edits, changed_lines, new_table, places_of

__all__ = ["copied_tables", "cutting", "duplicate", "family", "free_ids", "moving_family", "paste"]

#: How far beside it a copy is put, mm; and how far that of a rider, which may overlap it, and that of a v-fold.
_BESIDE_MM, _OFFSET_MM, _V_FOLDS_MM = 2.0, 10.0, 15.0
_TRIED = (1.0, -1.0, 2.0, -2.0, 3.0, -3.0, 0.5, -0.5, 0.25, -0.25)
_OPENINGS = np.radians([90.0, 120.0, 60.0, 150.0, 30.0, 170.0, 10.0])


def family(description: Description, mechanism_id: str) -> tuple[str, ...]:
    """A mechanism with what stands on it, and with the flap that a pull-strip among them opens, in the file's order."""
    found = {mechanism_id, *dependents(description, mechanism_id)}
    for spec in description.mechanisms:
        if spec.id in found and "drives" in spec.values:
            flap = str(spec.values["drives"])
            found |= {flap, *dependents(description, flap)}
    return tuple(spec.id for spec in description.mechanisms if spec.id in found)


def moving_family(description: Description, mechanism_id: str) -> tuple[str, ...]:
    """The same with driven flaps that straps among them open, and what stands on those."""
    found = set(family(description, mechanism_id))
    while more := _strapped_flaps(description, found) - found:
        for name in more:
            found |= set(family(description, name))
    return tuple(spec.id for spec in description.mechanisms if spec.id in found)


def _strapped_flaps(description: Description, members: set[str]) -> set[str]:
    specs = {spec.id: spec for spec in description.mechanisms}
    straps = [specs[name] for name in members if specs[name].kind == "strap"]
    ends = {owner_of(name) for spec in straps for name in hosts_of(spec).values()}
    return {name for name in ends if name in specs and specs[name].kind == "flap" and specs[name].values.get("driven")}


def free_ids(description: Description, names: Iterable[str]) -> dict[str, str]:
    """A free id for a copy of each of these mechanisms."""
    taken = {spec.id for spec in description.mechanisms}
    found: dict[str, str] = {}
    for name in names:
        found[name] = free_id(description, name, taken | set(found.values()))
    return found


def copied_tables(description: Description, edits: Mapping[str, Edits]) -> list[list[str]]:
    """The tables of mechanisms for copies of them.

    Parameters
    ----------
    description : with its mechanisms in tables of their own
    edits : by id, what is to change in the copy's table, its id among it

    Returns
    -------
    list of the tables' lines, in the order of the ids
    """
    lines, places = description.text.split("\n"), places_of(description)
    return [changed_lines(lines[places[name].head : places[name].last + 1], edit) for name, edit in edits.items()]


def _renamed(
    description: Description, names: Mapping[str, str], values: Mapping[str, Mapping[str, Any]]
) -> dict[str, Edits]:
    """What changes in copies of mechanisms: their ids, those by which they name each other, and more values."""
    return {
        name: Edits({"id": new, **renamed_hosts(spec_of(description, name), names), **values.get(name, {})})
        for name, new in names.items()
    }


def duplicate(
    description: Description, mechanism_id: str, *, along_mm: float | None = None
) -> tuple[Description, dict[str, str]]:
    """The description with a copy of a mechanism and of all that stands on it.

    A strap from it to something else, which would not fit from the copy, is left out with what stands on it.

    Parameters
    ----------
    description : as read
    mechanism_id : what is copied
    along_mm : how far along its fold (on a panel: up its net) the copy stands from it; by default beyond itself, or
        over it where there is no room for that, at the first place where the book can be built

    Returns
    -------
    Description, and the copies' ids by those that they are copies of

    Raises
    ------
    HingeleafError
        There is no such mechanism, or no room for a copy of it.
    """
    spec = spec_of(description, mechanism_id)
    description = plain(description)
    try:
        spread = assemble(description)
    except HingeleafError:
        spread = None
    whole, kept = moving_family(description, mechanism_id), family(description, mechanism_id)
    kept = tuple(name for name in kept if name not in _tied(description, kept, mechanism_id))
    steps = _steps(spec, spread) if along_mm is None else [np.array([0.0, along_mm])]
    for members in dict.fromkeys((whole, kept)):
        for step in steps:
            copy, names = _copy(description, spec, spread, members, step)
            if spread is None or (along_mm is not None and members == kept) or _builds(copy):
                return copy, names
    raise HingeleafError(
        f"there is no room for a copy of {mechanism_id} beside it; make it smaller, or move what stands there"
    )


def _builds(description: Description) -> bool:
    try:
        assemble(description)
    except HingeleafError:
        return False
    return True


def _tied(description: Description, members: Sequence[str], root: str) -> set[str]:
    """Straps among these that end on something else, and what stands on them."""
    tied: set[str] = set()
    for spec in description.mechanisms:
        owners = {owner_of(name) for name in hosts_of(spec).values()}
        if spec.kind == "strap" and spec.id in members and spec.id != root and owners - set(members):
            tied |= {spec.id, *dependents(description, spec.id)}
    # A flap that such a strap drives is a mechanism of its own.
    return tied - {root}


def _copy(
    description: Description, spec: MechanismSpec, spread: Spread | None, members: Sequence[str], step: Array
) -> tuple[Description, dict[str, str]]:
    names = free_ids(description, members)
    flaps = [names[name] for name in driven_flaps(description) if name in names]
    way = _way(spec, spread, step)
    values = {name: _moved(spec_of(description, name), spec, spread, set(members), (step, way)) for name in members}
    copy = with_tables(description, copied_tables(description, _renamed(description, names, values)), after=members[-1])
    return undriven(copy, flaps), names


def _moved(
    spec: MechanismSpec, root: MechanismSpec, spread: Spread | None, members: set[str], by: tuple[Array, Array]
) -> dict[str, Any]:
    """The places of one copy that are not on another copy, moved by a step on the root's host, a way in space."""
    step, way = by
    values: dict[str, Any] = {}
    for key, name in hosts_of(spec).items():
        if owner_of(name) in members:
            continue
        if key in ("fold", "box"):
            at = spec.values["at"]
            values["at"] = [at[0], at[1] + step[1]] if isinstance(at, tuple) else at + step[1]
        elif key in ("panel", "from", "to"):
            place = "at" if key == "panel" else f"{key}_at"
            shift = step if spec.id == root.id and key == "panel" else _on_panel(spread, name, way, step)
            values[place] = [float(old + new) for old, new in zip(spec.values[place], shift, strict=True)]
    return values


def _pose(spread: Spread, panel: str) -> Array | None:
    """Pose of a panel when the book is half open, or as near to that as it can stand, (4, 4) float."""
    poses = spread.pose(_OPENINGS).matrices[panel]
    good = np.flatnonzero(np.isfinite(poses).all(axis=(1, 2)))
    return np.asarray(poses[good[0]]) if len(good) else None


def _way(spec: MechanismSpec, spread: Spread | None, step: Array) -> Array:
    """A step along the root's fold, or on its panel's net, in space, (3,) float, mm."""
    if spread is None:
        return lift(step)
    fold = fold_under(spec, spread)
    if fold is not None:
        panel, local = fold.right.panel, fold.right.along * step[1]
    elif "from" in spec.values:
        turn = np.radians(spec.values.get("from_turn", 90.0))
        panel, local = spec.values["from"], np.array([np.cos(turn), np.sin(turn)]) * step[1]
    else:
        panel, local = str(spec.values.get("panel", "page.right")), step
    pose = _pose(spread, panel)
    return lift(local) if pose is None else np.asarray(pose[:3, :3] @ lift(local))


def _on_panel(spread: Spread | None, panel: str, way: Array, step: Array) -> Array:
    pose = None if spread is None or panel not in spread.panels else _pose(spread, panel)
    return step if pose is None else np.asarray((pose[:3, :3].T @ way)[:2])


def _steps(spec: MechanismSpec, spread: Spread | None) -> list[Array]:
    """Where a copy may stand, the best place first: steps on the host, x across and y along, (2,) float, mm."""
    fold = None if spread is None else fold_under(spec, spread)
    size = _extent(spec, spread)
    if fold is not None:
        at = spec.values["at"]
        at = float(at[1] if isinstance(at, tuple) else at)
        return [np.array([0.0, step]) for step in _along(at, size, fold, spec)]
    along = [np.array([0.0, scale * size]) for scale in _TRIED]
    if "from" in spec.values or "box" in spec.values or "fold" in spec.values:
        return along
    return _inside(spec, spread, [one for step in along for one in (step, step[::-1])], size)


def _inside(spec: MechanismSpec, spread: Spread | None, steps: list[Array], size: float) -> list[Array]:
    """Those steps on a panel that bring the copy no nearer to its edges than its like, or than half its size."""
    host = None if spread is None else spread.panels.get(str(spec.values.get("panel")))
    if host is None:
        return steps
    low, high = np.array(host.outline.bounds[:2]), np.array(host.outline.bounds[2:])

    def inset(step: Array) -> float:
        place = np.array(spec.values["at"]) + step
        return float(min((place - low).min(), (high - place).min()))

    limit = min(inset(np.zeros(2)), size / 2) - 1e-9
    return [step for step in steps if inset(step) >= limit] or steps


def _extent(spec: MechanismSpec, spread: Spread | None) -> float:
    """How far along its host a copy stands from what it is a copy of."""
    values = spec.values
    if spec.kind == "v-fold":
        return _V_FOLDS_MM
    if spec.kind == "layer" or (spec.kind == "rider" and "panel" in values):
        return _OFFSET_MM
    if spec.kind == "wheel":
        return float(2 * values["radius"] + _BESIDE_MM)
    if spec.kind == "pull-strip":
        return float(values["width"] + 2 * _OFFSET_MM)
    if spec.kind == "solid":
        own = [] if spread is None else [each.across_mm for each in spread.solids if each.id == spec.id]
        return own[0] + _BESIDE_MM if own else _OFFSET_MM
    if spec.kind == "rider":
        half = None if spread is None else spread.panels.get(f"{spec.id}.left")
        return _OFFSET_MM if half is None else float(half.outline.bounds[3] - half.outline.bounds[1]) + _BESIDE_MM
    return float(values["length"] + _BESIDE_MM)


def _along(at: float, size: float, fold: Fold, spec: MechanismSpec) -> list[float]:
    """Steps along a fold that leave the copy on it, the best first."""
    length = float(spec.values.get("length", 0.0))
    ends = [fold.end - length - at, fold.start - at]
    steps = [*(scale * size for scale in _TRIED), *sorted(ends, key=abs, reverse=True)]
    on_it = [step for step in steps if fold.start <= at + step + 1e-9 and at + step + length <= fold.end + 1e-9]
    return [step for step in on_it if abs(step) > 1e-6] or steps


def cutting(description: Description, mechanism_id: str) -> str:
    """A mechanism with all that stands on it as a description of its own, on the spine or the right page.

    A strap from it to something else is left out with what stands on it.

    Raises
    ------
    HingeleafError
        There is no such mechanism; or it is a strap, which joins two others.
    """
    spec = spec_of(description, mechanism_id)
    if spec.kind == "strap":
        raise HingeleafError(
            f"{spec.place()} joins two panels and cannot be taken without them; take what it stands on"
        )
    description = plain(description)
    members = family(description, mechanism_id)
    tied = _tied(description, members, mechanism_id)
    names = {name: name for name in (mechanism_id, *members) if name not in tied}
    values = {name: _hosted(spec_of(description, name), set(names), {}) for name in names}
    tables = copied_tables(description, _renamed(description, names, values))
    page, used = description.page, {spec_of(description, name).values.get("stock") for name in names}
    lines = ["format = 1", *new_table({"title": spec.values.get("title", mechanism_id)}, "")[1:], ""]
    lines += [*new_table({"size": [page.width_mm, page.height_mm], "margin": page.margin_mm or None}, "[page]"), ""]
    for stock in description.stocks.values():
        if stock.id in used:
            color = "#" + "".join(f"{round(part * 255):02x}" for part in stock.color)
            sizes = {"grammage": stock.grammage_gsm, "caliper": stock.caliper_mm, "grain": stock.grain, "color": color}
            lines += [*new_table(sizes, f"[stock.{stock.id}]"), ""]
    for table in tables:
        lines += [*(line.removesuffix("\r") for line in table), ""]
    cut = parse_description("\n".join(lines), source=mechanism_id, folder=description.folder)
    return undriven(cut, [item.id for item in cut.mechanisms]).text


def _hosted(spec: MechanismSpec, members: set[str], place: Mapping[str, Any]) -> dict[str, Any]:
    """Keys that put a mechanism of a cutting on what is not one: by default the spine, the right page, a box."""
    standing = {"fold": "spine", "panel": "page.right", "box": "box"}
    values: dict[str, Any] = {}
    for key, name in hosts_of(spec).items():
        if owner_of(name) not in members and key in standing:
            values[key] = place.get(key, standing[key])
            if key == "fold" and spec.values.get("side") not in ("valley", "mountain"):
                values["side"] = None
    return values


def paste(
    description: Description,
    text: str,
    *,
    fold: str | None = None,
    side: str | None = None,
    panel: str | None = None,
    at: float | tuple[float, float] | None = None,
    art: bool = True,
) -> tuple[Description, tuple[str, ...]]:
    """The description with a cutting put onto a fold or a panel.

    Parameters
    ----------
    description : as read
    text : from cutting
    fold, side : where it stands; the side that it had by default, where that is valley or mountain
    panel : where it stands, if it is of a kind that stands on one panel; for a layer the box
    at : place along the fold, or on the panel's net, mm; by default what it was
    art : whether it keeps its artwork; the files must be there

    Returns
    -------
    Description, and the new ids, that of the mechanism itself first

    Raises
    ------
    HingeleafError
        It is not of a kind to stand there.
    DescriptionError
        The text is no sound cutting.
    """
    cut = parse_description(text, source="cutting", folder=description.folder)
    if not cut.mechanisms:
        raise HingeleafError("there is no mechanism in this text to put into the book")
    root = cut.mechanisms[0]
    members = {spec.id for spec in cut.mechanisms}
    key, name = _host(root, members, fold, panel)
    description = plain(description)
    values: dict[str, dict[str, Any]] = {}
    for spec in cut.mechanisms:
        values[spec.id] = _hosted(spec, members, {key: name}) | _at(spec, root, members, at)
        values[spec.id] |= _printed(spec, description, art=art)
    if side is not None and key == "fold":
        values[root.id]["side"] = side
    names = free_ids(description, [spec.id for spec in cut.mechanisms])
    pasted = with_tables(description, copied_tables(cut, _renamed(cut, names, values)))
    return pasted, tuple(names.values())


def _host(root: MechanismSpec, members: set[str], fold: str | None, panel: str | None) -> tuple[str, str]:
    """The key by which a cutting's root says what it stands on, and what that is to be."""
    key = next((key for key, name in hosts_of(root).items() if owner_of(name) not in members), "fold")
    name = fold if key == "fold" else panel
    if name is None:
        where = {"fold": "a fold", "panel": "a panel", "box": "a box"}.get(key, "panels")
        raise HingeleafError(f"a {root.kind} as this one stands on {where}; choose one")
    return key, name


def _printed(spec: MechanismSpec, description: Description, *, art: bool) -> dict[str, Any]:
    """Card and artwork to take out of a cutting's table: what the book has not, and what is not wanted."""
    values: dict[str, Any] = {}
    if spec.values.get("stock") not in description.stocks:
        values["stock"] = None
    return values if art else values | {"art_front": None, "art_back": None}


def _at(
    spec: MechanismSpec, root: MechanismSpec, members: set[str], at: float | tuple[float, float] | None
) -> dict[str, Any]:
    """Where a mechanism of a cutting stands that is on none of the others, its root at a place."""
    if at is None or all(owner_of(name) in members for name in hosts_of(spec).values()):
        return {}
    if not isinstance(at, (int, float)):
        own, first = spec.values["at"], root.values["at"]
        if not isinstance(own, tuple):
            raise HingeleafError(f"the place of a {spec.kind} along a fold is one number, mm")
        return {"at": [float(old + new - was) for old, new, was in zip(own, at, first, strict=True)]}
    return {"at": [0, at] if isinstance(root.values["at"], tuple) else at}
