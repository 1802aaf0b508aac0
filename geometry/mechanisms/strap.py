"""Strap: a row of panels between two panels that need not share a fold, glued at both ends."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from itertools import accumulate, pairwise

import numpy as np
from shapely import Polygon

from ..building import Building
from ..description.data import MechanismSpec
from ..description.fields import COMMON, Field
from ..errors import MechanismError
from ..model import Angle, Axis, HostSide, Panel
from ..outline import strip
from ..transforms import Array, apply, inverse, lift
from .creases import add_crease
from .feet import Foot, add_foot, close_foot
from .tabs import TAB_FIELDS, tab_plan

__all__ = ["FIELDS", "HINTS", "build"]

#: Positions that a loop of two unknowns is started from, each way; more unknowns share about as many in all.
_GRID = 12
_MOST_GUESSES = 400
_MOST_PANELS = 8

#: Ends that are level to this on two parallel walls have no side away from each other: the side that the strap does not
#: bend to is taken, as under a roof.
_LEVEL_MM = 1e-6
#: Places and directions at the second end that are off by no more are made to fit: they were written rounded.
_WRITTEN_MM, _WRITTEN_DEG = 0.05, 0.05

#: Which way the middle of the strap lies at the start: out of the book halfway between its pages, into it, or along
#: the spine.
_BENDS: Mapping[str, tuple[float, float, float]] = {
    "out": (math.sqrt(0.5), 0.0, math.sqrt(0.5)),
    "in": (-math.sqrt(0.5), 0.0, -math.sqrt(0.5)),
    "head": (0.0, 1.0, 0.0),
    "foot": (0.0, -1.0, 0.0),
}

FIELDS = (
    Field("from", "name", "the panel on which it begins"),
    Field("from_at", "point", "middle of its glue line on that panel, in net coordinates"),
    Field("from_turn", "angle", "direction of that line, degrees from the net's x axis", "90", low=-360, high=360),
    Field("from_face", "choice", "stands on the panel's printed face or its back", "front", choices=("front", "back")),
    Field("to", "name", "the panel on which it ends"),
    Field("to_at", "point", "middle of its glue line there; up to 0.05 mm along the line are made to fit"),
    Field("to_turn", "angle", "direction of that line; up to 0.05 degrees are made to fit", "90", low=-360, high=360),
    Field("to_face", "choice", "face of that panel", "front", choices=("front", "back")),
    Field("length", "length", "how broad it is, along its glue lines", positive=True),
    Field(
        "widths",
        "lengths",
        "its panels one after the other, from glue line to crease to glue line; a single one is made to fit by up to "
        "0.05 mm",
        positive=True,
    ),
    Field(
        "bend",
        "choice",
        "which way its middle lies when the book is half open: out of the book, into it, towards the head or the foot",
        default="out",
        choices=tuple(_BENDS),
    ),
    *TAB_FIELDS,
    *COMMON,
)

HINTS: Mapping[str, str] = {
    "fold": "a strap goes from one panel to another; write from and to",
    "width": "a strap has length (along its glue lines) and widths (its panels)",
    "height": "a strap has length (along its glue lines) and widths (its panels)",
}


@dataclass(frozen=True)
class _End:
    """Where one end is glued: panel, middle and direction of the line in its net coordinates, side, and its pose."""

    panel: str
    at: Array
    line: Array
    normal: float
    pose: Array

    @property
    def place(self) -> Array:
        """Its middle in space while the book is half open, (3,) float, mm."""
        return np.asarray(apply(self.pose, self.at[None])[0])

    def along(self, other: _End) -> _End:
        """The same end, its line running the same way as the other's."""
        own, others = self.pose[:3, :3] @ lift(self.line), other.pose[:3, :3] @ lift(other.line)
        return replace(self, line=-self.line) if own @ others < 0 else self

    def fitted(self, other: _End) -> _End:
        """The same end, made square to the other where only the rounding of what was written keeps it from that."""
        back = self.pose[:3, :3].T
        line = (back @ other.pose[:3, :3] @ lift(other.line))[:2]
        line = line / np.linalg.norm(line)
        turned = self if np.linalg.norm(line - self.line) > math.radians(_WRITTEN_DEG) else replace(self, line=line)
        slid = float((back @ (other.place - self.place))[:2] @ turned.line)
        return turned if abs(slid) > _WRITTEN_MM else replace(turned, at=turned.at + slid * turned.line)

    def out(self, other: _End, bend: str) -> Array:
        """The unit vector square to the line, on the panel, away from the other end, or from where the strap bends."""
        square = np.array([-self.line[1], self.line[0]])
        there = float(square @ (apply(inverse(self.pose), other.place[None])[0][:2] - self.at))
        if abs(there) <= _LEVEL_MM:
            there = float(square @ (self.pose[:3, :3].T @ np.array(_BENDS[bend]))[:2])
        return -square if there > 0 else square


def build(spec: MechanismSpec, building: Building) -> None:
    """Add a strap; MechanismError where it cannot be built, HingeleafError where its loop cannot move."""
    widths, length = spec.values["widths"], spec.values["length"]
    if len(widths) > _MOST_PANELS:
        raise MechanismError(f"has {len(widths)} panels; a row of more than 2 flops, and at most 8 are tried", "widths")
    first = _end(spec, building, "from")
    last = _end(spec, building, "to").along(first).fitted(first)
    if first.panel == last.panel:
        raise MechanismError("begins and ends on the same panel and would be slack or stretched; choose another", "to")
    if len(widths) == 1:
        # A single panel is as wide as its ends are apart, or it could not move.
        apart = float(np.linalg.norm(last.place - first.place))
        widths = (apart,) if abs(apart - widths[0]) <= _WRITTEN_MM else widths
    panels = [f"{spec.id}.p{index}" for index in range(1, len(widths) + 1)]
    building.add_piece(spec, [*panels, f"{panels[0]}.tab", f"{spec.id}.end.tab"])
    bend = spec.values.get("bend", "out")
    out = first.out(last, bend)
    # The printed face looks away from the strap's inside.
    sign = float(np.sign(first.line[0] * out[1] - first.line[1] * out[0])) * first.normal
    places = [0.0, *accumulate(widths)]
    outlines = [strip(sign * start, sign * end, length) for start, end in pairwise(places)]
    add_foot(building, spec.id, _foot(spec, first, out, "p1", outlines[0], (0.0, sign)), first.normal)
    for index, (previous, name) in enumerate(pairwise(panels), start=1):
        turn = Angle(name.replace(".", ":"))
        axis = Axis(np.array([sign * places[index], 0.0, 0.0]), np.array([0.0, 1.0, 0.0]), turn)
        building.add_panel(Panel(name, spec.id, outlines[index], previous, np.eye(4), axis))
    end = _foot(spec, last, last.out(first, bend), "end", outlines[-1], (sign * places[-1], -sign))
    closure = close_foot(building, spec.id, end, last.normal, panels[-1])
    unknowns = [name.replace(".", ":") for name in panels]
    prefer = _preference(spec, first, last, [(panels[index], sign * places[index]) for index in range(1, len(panels))])
    building.add_loop(spec, unknowns, [closure], _guesses, prefer)
    for index, pair in enumerate(pairwise(panels), start=1):
        place = np.array([sign * places[index], 0.0])
        printed = Angle(pair[1].replace(".", ":"), sign, np.pi)
        add_crease(building, f"{spec.id}.c{index}", pair, place, sign, length, printed)


def _end(spec: MechanismSpec, building: Building, key: str) -> _End:
    panel = building.panel(spec, key)
    turn = math.radians(spec.values.get(f"{key}_turn", 90.0))
    normal = 1.0 if spec.values.get(f"{key}_face", "front") == "front" else -1.0
    line = np.array([math.cos(turn), math.sin(turn)])
    return _End(panel.id, np.array(spec.values[f"{key}_at"]), line, normal, building.standing(panel.id))


def _foot(spec: MechanismSpec, end: _End, out: Array, side: str, outline: Polygon, place: tuple[float, float]) -> Foot:
    """One end: its glue line on the net is at x, its panel lies to the side of it that the sign says."""
    x, sign = place
    length = spec.values["length"]
    index = 0 if side == "p1" else 1
    start = end.at - end.line * length / 2
    return Foot(
        side=side,
        host=HostSide(end.panel, start, end.line, out),
        host_start=start,
        host_line=end.line,
        host_out=out,
        net_start=np.array([x, 0.0]),
        net_line=np.array([0.0, 1.0]),
        net_up=np.array([sign, 0.0]),
        outline=outline,
        tab=tab_plan(spec, index, length_mm=length, sector_rad=0.0, distance_mm=math.inf),
    )


def _guesses(_poses: Mapping[str, Array], unknowns: tuple[str, ...]) -> Array:
    """Angles all round, as many as can be tried."""
    count = max(2, min(_GRID, int(_MOST_GUESSES ** (1 / len(unknowns)))))
    first = (np.arange(count) + 0.5) * np.pi / count
    other = (np.arange(count) + 0.5) * 2 * np.pi / count - np.pi
    grid = np.meshgrid(first, *[other] * (len(unknowns) - 1), indexing="ij")
    return np.stack([axis.ravel() for axis in grid], axis=1)


def _preference(
    spec: MechanismSpec, first: _End, last: _End, creases: list[tuple[str, float]]
) -> Callable[[Mapping[str, Array]], Array]:
    """How far the middle of the strap lies out on the side that bend asks for."""
    length = spec.values["length"]
    world = np.array(_BENDS[spec.values.get("bend", "out")])
    local = first.pose[:3, :3].T @ world

    def liking(poses: Mapping[str, Array]) -> Array:
        start = apply(poses[first.panel], first.at[None])[:, 0]
        end = apply(poses[last.panel], last.at[None])[:, 0]
        middles = [apply(poses[name], np.array([[place, length / 2]]))[:, 0] for name, place in creases] or [end]
        wanted = poses[first.panel][:, :3, :3] @ local
        return np.asarray(((np.mean(middles, axis=0) - (start + end) / 2) * wanted).sum(axis=1))

    return liking
