"""Where the outlines of a mechanism lie: for each of its keys the panel, the coordinates, and what holds now.

The keys of each kind have coordinates of their own, see scenes/README.md; here they are related to the nets of panels,
so that an outline can be shown where it is cut and taken from there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from ..changes import spec_of
from ..description.data import Description, MechanismSpec
from ..description.fields import SIDES
from ..description.writer import change_mechanism
from ..errors import HingeleafError
from ..linkage import PlanarCell, SphericalCell
from ..mechanisms.box import box_net
from ..mechanisms.slit_cut_in import corners_of
from ..model import Fold
from ..spread import Spread
from ..transforms import Array
from .strokes import Stroke, stroke_of, value_of

__all__ = ["OutlineKey", "outline_keys", "reaching", "with_outline"]


@dataclass(frozen=True)
class OutlineKey:
    """One key of a mechanism that holds outlines.

    Parameters
    ----------
    mechanism, key : names
    form : line (an open line between two points of a hinge or a fold), outline (a closed one) or outlines (closed ones)
    panel : on whose net it lies
    frame : (3, 3) float, affine, from the key's coordinates to that net's, mm
    strokes : the present ones in the key's coordinates, or those that hold by default
    ends : (2, 2) float, mm; where a line begins and ends; None for closed ones
    given : whether the description has the key
    replaces : keys that mean nothing beside it
    """

    mechanism: str
    key: str
    form: Literal["line", "outline", "outlines"]
    panel: str
    frame: Array
    strokes: tuple[Stroke, ...]
    ends: Array | None = None
    given: bool = False
    replaces: tuple[str, ...] = ()

    @property
    def base(self) -> str:
        """The key without its side."""
        return self.key.rsplit("_", 1)[0] if self.key.endswith(SIDES) else self.key


@dataclass(frozen=True)
class _Look:
    """A mechanism and the spread that it stands in."""

    description: Description
    spread: Spread
    spec: MechanismSpec

    def key(
        self,
        key: str,
        panel: str,
        frame: Array,
        default: Sequence[Sequence[float]] = (),
        *,
        ends: Sequence[Sequence[float]] | None = None,
        outlines: bool = False,
        replaces: tuple[str, ...] = (),
    ) -> OutlineKey:
        """A key of the mechanism; its default is that of the description's reference."""
        values, base = self.spec.values, key.rsplit("_", 1)[0] if key.endswith(SIDES) else key
        given = values.get(key, values.get(base))
        closed = ends is None
        line: Literal["line", "outline"] = "outline" if closed else "line"
        if outlines:
            strokes = tuple(stroke_of(item, closed=True) for item in given or ())
        elif given is None or given == "edge":
            strokes = (stroke_of([list(point) for point in default], closed=closed),)
        else:
            strokes = (stroke_of(given, closed=closed),)
        limits = None if ends is None else np.array(ends, dtype=float)
        if limits is not None:
            strokes = tuple(reaching(stroke, limits) for stroke in strokes)
        form: Literal["line", "outline", "outlines"] = "outlines" if outlines else line
        return OutlineKey(self.spec.id, key, form, panel, frame, strokes, limits, given is not None, replaces)

    def foot(self, name: str, panel: str) -> Array:
        """The end of a panel's hinge line that is furthest from the net's zero point, (2,) float, mm."""
        found = [
            hinge.lines[hinge.panels.index(panel)]
            for hinge in self.spread.hinges
            if hinge.id.split("#")[0] == name and panel in hinge.panels
        ]
        points = np.concatenate(found)
        furthest: Array = points[np.argmax(np.abs(points[:, 0]))]
        return furthest

    def both(self, name: str, default: float) -> tuple[float, float]:
        """A sided size."""
        left, right = self.spec.sided(name)
        return (default if left is None else float(left), default if right is None else float(right))

    def fold(self, *, card: bool = False) -> Fold:
        """The host fold, on the side on which the mechanism stands."""
        name = self.spec.values["fold"]
        wanted = ("tab", "valley") if card else (str(self.spec.values.get("side")), "valley", "outer")
        return next(self.spread.folds[(name, side)] for side in wanted if (name, side) in self.spread.folds)


def outline_keys(description: Description, spread: Spread, mechanism: str) -> tuple[OutlineKey, ...]:
    """The outlines of a mechanism.

    Parameters
    ----------
    description, spread : the same design, read and built
    mechanism : its id

    Returns
    -------
    tuple of OutlineKey

    Raises
    ------
    HingeleafError
        There is no such mechanism, or its kind has no outline of its own.
    """
    spec = spec_of(description, mechanism)
    if spec.kind == "solid":
        raise HingeleafError(f"{mechanism} is a solid, which has the shape of its model; change that")
    if spec.kind not in _KINDS:
        raise HingeleafError(f"{mechanism} is a {spec.kind}, which has no outline of its own; put a rider on it")
    return tuple(_KINDS[spec.kind](_Look(description, spread, spec)))


def with_outline(
    description: Description, place: OutlineKey, strokes: Sequence[Stroke], *, both: bool = False
) -> Description:
    """The description with other outlines in one key.

    Parameters
    ----------
    description : as read
    place : the key, as outline_keys tells it
    strokes : in the key's coordinates; one, but for a key that holds several
    both : of a key with a side: the other side gets the same

    Raises
    ------
    HingeleafError
        They are open where they must be closed, or the other way, or not one.
    DescriptionError
        They cannot be cut.
    """
    value: Any = None
    if place.form == "outlines":
        if any(not stroke.closed for stroke in strokes):
            raise HingeleafError("A window must be closed: join its ends")
        value = [value_of(stroke) for stroke in strokes] or None
    else:
        value = _one(place, strokes)
    changes: dict[str, Any] = dict.fromkeys(place.replaces)
    if place.key == place.base:
        changes[place.key] = value
    elif both:
        changes |= {place.base: value, **{f"{place.base}_{side}": None for side in SIDES}}
    else:
        changes |= _one_side(description, place, value)
    return change_mechanism(description, place.mechanism, changes)


def _one(place: OutlineKey, strokes: Sequence[Stroke]) -> Any:
    """What a key that holds one line says."""
    if len(strokes) != 1:
        raise HingeleafError(f"There are {len(strokes)} lines; {place.key} is one")
    if place.ends is not None:
        return value_of(strokes[0].between(*place.ends), ends=False)
    if not strokes[0].closed:
        raise HingeleafError("The outline is open: join its ends")
    return value_of(strokes[0])


def _one_side(description: Description, place: OutlineKey, value: Any) -> dict[str, Any]:
    """One side's key alone; what both sides had stays with the other."""
    values = spec_of(description, place.mechanism).values
    side = place.key.rsplit("_", 1)[1]
    other = f"{place.base}_{'right' if side == 'left' else 'left'}"
    kept = values.get(other, values.get(place.base))
    return {place.base: None, place.key: value, other: kept}


def reaching(stroke: Stroke, ends: Array) -> Stroke:
    """A line as written, with the ends of its hinge added where it does not reach them itself."""
    for end, first in ((ends[0], True), (ends[1], False)):
        if np.hypot(*(stroke.points[0 if first else -1] - end)) > 1e-3:
            points, before, after = (
                np.concatenate([[end], places] if first else [places, [end]])
                for places in (stroke.points, stroke.before, stroke.after)
            )
            stroke = Stroke(points, before, after, False)
    return stroke


def _frame(sign: float = 1.0, x: float = 0.0, y: float = 0.0) -> Array:
    """Along the net's axes: x the same way or the other, then moved."""
    return np.array([[sign, 0.0, x], [0.0, 1.0, y], [0.0, 0.0, 1.0]])


def _v_fold(look: _Look) -> Iterator[OutlineKey]:
    spec = look.spec
    height = spec.values["height"]
    cell = next(item.cell for item in look.spread.cells if item.id == spec.id)
    if not isinstance(cell, SphericalCell):
        return
    betas, widths = (cell.beta_left, cell.beta_right), look.both("width", height)
    for side, beta, width in zip(SIDES, betas, widths, strict=True):
        panel = f"{spec.id}.{side}"
        frame = _frame(float(np.sign(look.foot(panel, panel)[0])))
        tip, end = (0.0, height), (width * np.sin(beta), width * np.cos(beta))
        corner = (end[0] + tip[0], end[1] + tip[1])
        yield look.key(f"edge_{side}", panel, frame, (tip, corner, end), ends=(tip, end))
        yield look.key(f"holes_{side}", panel, frame, outlines=True)


def _tent(look: _Look) -> Iterator[OutlineKey]:
    spec = look.spec
    length = spec.values["length"]
    cell = next(item.cell for item in look.spread.cells if item.id == spec.id)
    if not isinstance(cell, PlanarCell):
        return
    for side, height in zip(SIDES, (cell.width_left, cell.width_right), strict=True):
        panel = f"{spec.id}.{side}"
        sign = float(np.sign(look.foot(panel, panel)[0]))
        ends = (0.0, 0.0), (height, 0.0)
        yield look.key(f"edge_end_{side}", panel, _frame(sign, 0.0, length), ends, ends=ends)
        yield look.key(f"edge_start_{side}", panel, _frame(sign), ends, ends=ends)
        yield look.key(f"holes_{side}", panel, _frame(sign), outlines=True)


def _platform(look: _Look) -> Iterator[OutlineKey]:
    for side in SIDES:
        panel = f"{look.spec.id}.{side}"
        low, _, high, _ = look.spread.panels[panel].outline.bounds
        yield look.key(f"holes_{side}", panel, _frame(1.0 if high > -low else -1.0), outlines=True)


def _slit_cut_in(look: _Look) -> Iterator[OutlineKey]:
    spec = look.spec
    fold, length, corners = look.fold(card=True), spec.values["length"], corners_of(spec)
    host = fold.moved(spec.values["at"]).right
    panel = f"{spec.id}.right"

    def frame(along: float) -> Array:
        return np.vstack([np.column_stack([host.across, host.along, host.point(along)]), [0.0, 0.0, 1.0]])

    for key, along, left, right in (
        ("slit_end", length, corners.left_end, corners.right_end),
        ("slit_start", 0.0, corners.left_start, corners.right_start),
    ):
        ends = (-left, 0.0), (right, 0.0)
        yield look.key(key, panel, frame(along), ends, ends=ends)
    yield look.key("holes", panel, frame(0.0), outlines=True)


def _rider(look: _Look) -> Iterator[OutlineKey]:
    spec = look.spec
    panel = spec.id if spec.id in look.spread.panels else f"{spec.id}.right"
    x, y = (number / 2 for number in spec.values.get("size", (0.0, 0.0)))
    yield look.key("outline", panel, _frame(), ((-x, -y), (x, -y), (x, y), (-x, y)), replaces=("size",))
    yield look.key("holes", panel, _frame(), outlines=True)


def _flap(look: _Look) -> Iterator[OutlineKey]:
    spec = look.spec
    panel, length = f"{spec.id}.flap", spec.values["length"]
    half, width = length / 2, spec.values.get("width", length)
    ends = (-half, 0.0), (half, 0.0)
    line = (ends[0], (-half, width), (half, width), ends[1])
    yield look.key("edge", panel, _frame(), line, ends=ends, replaces=("width",))
    yield look.key("holes", panel, _frame(), outlines=True)


def _wheel(look: _Look) -> Iterator[OutlineKey]:
    spec = look.spec
    for key in ("window", "slot"):
        yield look.key(key, spec.values["panel"], _frame(1.0, *spec.values["at"]), outlines=True)


def _pull_strip(look: _Look) -> Iterator[OutlineKey]:
    spec = look.spec
    panel, length, half = f"{spec.id}.strip", spec.values["length"], spec.values["width"] / 2
    ring = ((0.0, -half), (length, -half), (length, half), (0.0, half))
    yield look.key("outline", panel, _frame(), ring)
    yield look.key("holes", panel, _frame(), outlines=True)


def _box(look: _Look) -> Iterator[OutlineKey]:
    spec = look.spec
    net = box_net(spec, look.fold())
    for side in SIDES:
        frame = _frame(net.towards_end(side), net.place(side, 0.0))
        ends = (0.0, net.height), (net.length, net.height)
        yield look.key(f"edge_{side}", f"{spec.id}.{side}", frame, ends, ends=ends)
        yield look.key(f"holes_{side}", f"{spec.id}.{side}", frame, outlines=True)
    for end in ("start", "end"):
        panel, frame = f"{spec.id}.{end}.left", _frame(net.towards_right(end), net.middle(end))
        ends = (-net.widths[0], net.height), (net.widths[1], net.height)
        yield look.key(f"edge_{end}", panel, frame, ends, ends=ends)
        yield look.key(f"holes_{end}", panel, frame, outlines=True)


def _layer(look: _Look) -> Iterator[OutlineKey]:
    spec = look.spec
    box = spec_of(look.description, spec.values["box"]).values
    height, (left, right) = spec.values.get("height", box["height"]), look.both("width", box["base"])
    panel = f"{spec.id}.left"
    frame = _frame(-float(np.sign(look.foot(panel, panel)[0])))
    ends = (-left, height), (right, height)
    yield look.key("edge", panel, frame, ends, ends=ends)
    yield look.key("holes", panel, frame, outlines=True)


def _accordion(look: _Look) -> Iterator[OutlineKey]:
    spec = look.spec
    width, length = 2 * sum(spec.values["heights"]), spec.values["length"]
    last = f"{spec.id}.pleat{len(spec.values['heights'])}.right"
    first, sign = f"{spec.id}.pleat1.left", float(np.sign(look.foot(last, last)[0]))
    ends = (0.0, 0.0), (width, 0.0)
    yield look.key("edge_end", first, _frame(sign, 0.0, length), ends, ends=ends)
    yield look.key("edge_start", first, _frame(sign), ends, ends=ends)
    yield look.key("holes", first, _frame(sign), outlines=True)


_KINDS: dict[str, Callable[[_Look], Iterator[OutlineKey]]] = {
    "v-fold": _v_fold,
    "tent": _tent,
    "platform": _platform,
    "slit-cut-in": _slit_cut_in,
    "rider": _rider,
    "flap": _flap,
    "wheel": _wheel,
    "pull-strip": _pull_strip,
    "box": _box,
    "layer": _layer,
    "accordion": _accordion,
}
