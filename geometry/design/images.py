"""What a mechanism becomes in the mirror: the names of its image's folds and panels, and the values that it is given.

A reflection of space that carries one page to the other carries printed faces to printed faces, so every net is
reflected. Where it changes the left and the right host of a fold for each other, what stands on that fold changes its
sides; where it carries a fold to another one, host by host, the sides stay, and the net comes out reflected by itself.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from ..description.data import MechanismSpec
from ..description.fields import SIDES, expand
from ..errors import HingeleafError
from ..mechanisms import KINDS
from ..spread import Spread
from ..trees import owner_of
from .arranging import fold_under, hosts_of
from .reflecting import Reflection
from .tables import Edits

__all__ = ["Images"]

_OTHER = {"left": "right", "right": "left"}
#: Parts that are counted from the left, or from the start, by kind.
_NUMBERED = {"accordion": ("pleat", "valley", *SIDES), "strap": ("p", "c")}
#: Lines that run from left to right, and windows, in coordinates with x to the right, by kind.
_LINES = {"slit-cut-in": ("slit_start", "slit_end"), "box": ("edge_start", "edge_end"), "layer": ("edge",)}
_WINDOWS = {"slit-cut-in": ("holes",), "box": ("holes_start", "holes_end"), "layer": ("holes",)}


class Images:
    """The images of mechanisms of a spread.

    Parameters
    ----------
    specs : by id, all of the description
    spread : built from it
    names : ids of those that are mirrored to the ids of their images
    """

    def __init__(self, specs: Mapping[str, MechanismSpec], spread: Spread, names: Mapping[str, str]) -> None:
        self.specs, self.spread, self.names = specs, spread, names
        self._owners: dict[str, str] = dict(names)

    def owner(self, name: str) -> str:
        """The id of a mechanism's image: of the mirrored ones their copy, of one that is its own image its own.

        Raises
        ------
        HingeleafError
            It stands on one side, and there is none like it on the other.
        """
        if name not in self._owners:
            self._owners[name] = self._found(name)
        return self._owners[name]

    def _found(self, name: str) -> str:
        spec = self.specs[name]
        hosts = {key: self.name(host) for key, host in hosts_of(spec).items()}
        if hosts == hosts_of(spec) or self._runs_back(spec):
            return name
        self._owners[name] = name
        edits = self.edits(spec)
        del self._owners[name]
        for other in self.specs.values():
            if other.kind == spec.kind and other.id != name and _alike(_applied(spec, edits), other):
                return other.id
        raise HingeleafError(
            f"{name} stands on one side, and nothing like it stands on the other at {', '.join(hosts.values())}; "
            f"mirror {name} first"
        )

    def name(self, name: str) -> str:
        """The name of a fold's or panel's image."""
        owner = owner_of(name)
        if owner == "spine":
            return name
        if owner == "page":
            return ".".join(_OTHER.get(part, part) for part in name.split("."))
        return self.owner(owner) + self._path(name)[len(owner) :]

    def _path(self, name: str) -> str:
        """The name of the same part of the image, as if it bore the same id."""
        owner, *parts = name.split(".")
        if owner == "page" or (owner in self.specs and self.swaps(owner)):
            return ".".join([owner, *(self._other(owner, part) for part in parts)])
        return name

    def _other(self, owner: str, part: str) -> str:
        """The name of the same part on the other side: that of a side, or of a panel or crease in a row."""
        if part in _OTHER:
            return _OTHER[part]
        kind = "page" if owner == "page" else self.specs[owner].kind
        if kind == "strap" and part == "end":
            return "p1"
        word = part.rstrip("0123456789")
        if word == part or word not in _NUMBERED.get(kind, ()):
            return part
        count = len(self.specs[owner].values["widths" if kind == "strap" else "bases"])
        last = count + 1 if word in ("pleat", "p") else count
        return f"{_OTHER.get(word, word)}{last - int(part[len(word) :])}"

    def _runs_back(self, spec: MechanismSpec) -> bool:
        """Whether a mechanism is a strap whose ends the mirror changes for each other."""
        if spec.kind != "strap":
            return False
        start, end = str(spec.values["from"]), str(spec.values["to"])
        return (self.name(start), self.name(end)) == (end, start)

    def swaps(self, name: str) -> bool:
        """Whether a mechanism's image has left and right changed for each other."""
        spec = self.specs[name]
        if spec.kind == "layer":
            return self.swaps(str(spec.values["box"]))
        if spec.kind == "strap":
            return self._runs_back(spec)
        fold = fold_under(spec, self.spread)
        if fold is None:
            return False
        if fold.id == "spine":
            return True
        image = next(item for (id_, _), item in self.spread.folds.items() if id_ == self._path(fold.id))
        own = owner_of(fold.id)
        mine = fold.left.panel if owner_of(fold.left.panel) == own else fold.right.panel
        there = image.right.panel if mine == fold.left.panel else image.left.panel
        return self._path(mine) == there

    def net(self, panel: str) -> Reflection:
        """From a panel's net coordinates to those of its image."""
        owner = owner_of(panel)
        if owner == "page":
            return Reflection()
        spec, parts = self.specs[owner], panel.split(".")
        if spec.kind == "slit-cut-in":
            return self.net(str(self.spread.panels[panel].parent))
        if spec.kind == "pull-strip" and "link" not in parts:
            return Reflection(0.0, upright=False)
        if spec.kind == "wheel":
            return self.net(str(spec.values["panel"])).direction
        if spec.kind == "strap":
            row = [item.outline.bounds for id_, item in self.spread.panels.items() if id_.startswith(f"{owner}.p")]
            ends = min(bounds[0] for bounds in row) + max(bounds[2] for bounds in row)
            return Reflection(ends if self.swaps(owner) else 0.0)
        fold = fold_under(spec, self.spread)
        if spec.kind not in ("box", "accordion") or fold is None or not self.swaps(owner):
            return Reflection()
        mirror = fold.handed if spec.values.get("printed", "outer") == "outer" else -fold.handed
        values = spec.values
        if spec.kind == "accordion":
            return Reflection(mirror * 2 * sum(values["heights"]) if parts[1].startswith("pleat") else 0.0)
        widths = sum(float(values["base"] if width is None else width) for width in spec.sided("end_width"))
        start = parts[1] == "start"
        return Reflection(mirror * (4 * values["length"] + 3 * widths if start else 2 * values["length"] + widths))

    def edits(self, spec: MechanismSpec) -> Edits:
        """What is to change in a mechanism's table so that it describes its image; its id is not."""
        values: dict[str, Any] = {}
        back = self._runs_back(spec)
        for key, name in hosts_of(spec).items():
            image = self.name(name)
            if image != name and not back:
                values[key] = image
            if key in ("panel", "from", "to") and not back:
                values |= self._placed(spec, key, self.net(name))
        if back:
            values |= self._run_back(spec)
        self._refuse_corner(spec)
        renames: dict[str, str] = {}
        if self.swaps(spec.id):
            values |= _swapped(spec)
            renames = _renames(spec)
        if spec.kind == "flap" and "edge" in spec.values:
            values["edge"] = Reflection().line(spec.values["edge"], back=True)
        if spec.kind == "flap" and "holes" in spec.values:
            values["holes"] = Reflection().outlines(spec.values["holes"])
        if spec.kind in ("rider", "pull-strip"):
            own = Reflection(0.0, upright=spec.kind == "rider")
            if "outline" in spec.values:
                values["outline"] = own.line(spec.values["outline"])
            if "holes" in spec.values:
                values["holes"] = own.outlines(spec.values["holes"])
        if "art_box" in spec.values and (self.swaps(spec.id) or spec.kind == "rider"):
            left, low, right, high = spec.values["art_box"]
            # An accordion's net runs on to one side: its artwork has to be fitted again.
            values["art_box"] = None if spec.kind == "accordion" else [-right, low, -left, high]
        return Edits(values, renames)

    def _placed(self, spec: MechanismSpec, key: str, net: Reflection) -> dict[str, Any]:
        """Place and direction on the image of a panel."""
        at, turn = ("at", "turn") if key == "panel" else (f"{key}_at", f"{key}_turn")
        values: dict[str, Any] = {at: net.point(spec.values[at])}
        if turn in expand(KINDS[spec.kind].FIELDS):
            old = float(spec.values.get(turn, 0.0 if key == "panel" else 90.0))
            new = net.turn(old)
            if spec.kind == "rider":
                # Its own net is reflected too.
                new = net.turn(old - 180.0)
            if not _same_way(old, new):
                values[turn] = new
        if spec.kind == "wheel":
            values |= {
                name: net.direction.outlines(spec.values[name]) for name in ("window", "slot") if name in spec.values
            }
        return values

    def _run_back(self, spec: MechanismSpec) -> dict[str, Any]:
        """A strap between two panels that are each other's images, drawn from the same one as before."""
        given = spec.values
        values: dict[str, Any] = {"widths": list(given["widths"][::-1])}
        for key, other, end in (("from", "to", "end"), ("to", "from", "p1")):
            net = self.net(str(given[other]))
            values[f"{key}_at"] = net.point(given[f"{other}_at"])
            # As the strap really runs: its two lines are taken the same way round.
            x, y = self.spread.folds[(f"{spec.id}.{end}", "outer")].right.along
            old, new = float(given.get(f"{key}_turn", 90.0)), net.turn(math.degrees(math.atan2(y, x)))
            if not _same_way(old, new):
                values[f"{key}_turn"] = new
            if f"{key}_face" in given or f"{other}_face" in given:
                values[f"{key}_face"] = given.get(f"{other}_face", "front")
        return values

    def _refuse_corner(self, spec: MechanismSpec) -> None:
        """One corner of a box is glued, where the others are creases: it has other sides to stand on."""
        fold = fold_under(spec, self.spread)
        if fold is None:
            return
        sides = {side for id_, side in self.spread.folds if id_ == fold.id} - {"tab"}
        there = {side for id_, side in self.spread.folds if id_ == self._path(fold.id)} - {"tab"}
        if sides != there:
            raise HingeleafError(
                f"{spec.id} stands on {fold.id}, and that fold is {'glued' if 'outer' in there else 'a crease'} on the "
                f"other side; stand it on another fold first"
            )


def _same_way(one: float, two: float) -> bool:
    """Whether two directions in degrees are the same, to what is written."""
    return abs((two - one + 180.0) % 360.0 - 180.0) < 1e-6


def _swapped(spec: MechanismSpec) -> dict[str, Any]:
    """Values that run from left to right, run the other way."""
    given = spec.values
    values: dict[str, Any] = {}
    for key in _LINES.get(spec.kind, ()):
        if key in given:
            values[key] = Reflection().line(given[key], back=True)
    for key in _WINDOWS.get(spec.kind, ()):
        if key in given:
            values[key] = Reflection().outlines(given[key])
    if spec.kind == "accordion":
        values |= {key: list(given[key][::-1]) for key in ("bases", "heights")}
        row = Reflection(2 * sum(given["heights"]))
        values |= {key: row.line(given[key], back=True) for key in ("edge_start", "edge_end") if key in given}
        if "holes" in given:
            values["holes"] = row.outlines(given["holes"])
    return values


def _renames(spec: MechanismSpec) -> dict[str, str]:
    """Left keys to right ones and right ones to left, one after the other."""
    renames: dict[str, str] = {}
    for field in KINDS[spec.kind].FIELDS:
        left, right = (f"{field.name}_{side}" for side in SIDES)
        if not field.sided:
            continue
        if left in spec.values and right in spec.values:
            renames |= {left: f"{field.name}_swapped", right: left, f"{field.name}_swapped": right}
        elif left in spec.values or right in spec.values:
            renames |= {left: right} if left in spec.values else {right: left}
    return renames


def _applied(spec: MechanismSpec, edits: Edits) -> dict[str, Any]:
    """A mechanism's values with changes."""
    values = dict(spec.values)
    for old, new in edits.renames.items():
        values[new] = values.pop(old)
    return {key: value for key, value in (values | dict(edits.values)).items() if value is not None}


def _alike(values: Mapping[str, Any], other: MechanismSpec) -> bool:
    """Whether a mechanism is as these values say, but for what it is called and printed with."""
    free = {"title", "stock", "art_front", "art_back", "color_front", "color_back", "art_box"}
    one = {key: value for key, value in values.items() if key not in free}
    two = {key: value for key, value in other.values.items() if key not in free}
    return one.keys() == two.keys() and all(_near(one[key], two[key]) for key in one)


def _near(one: Any, two: Any) -> bool:
    if isinstance(one, (list, tuple)) and isinstance(two, (list, tuple)):
        return len(one) == len(two) and all(_near(a, b) for a, b in zip(one, two, strict=True))
    if isinstance(one, (int, float)) and isinstance(two, (int, float)):
        return abs(one - two) <= 1e-4
    return bool(one == two)
