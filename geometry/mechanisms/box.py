"""Box: two side walls on either side of a fold, and two end walls between them that fold in the middle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from ..building import Building
from ..closures import Closure
from ..description.data import MechanismSpec
from ..description.fields import COMMON, PRINTED, Field
from ..errors import HingeleafError, MechanismError
from ..model import Angle, Axis, Fold, HostSide, Panel
from ..outline import single_polygon, without_repeats
from ..transforms import Array, frame, lift
from .astride import ASTRIDE_FIELDS, astride
from .creases import add_crease
from .cross_wall import chevron, free_edge, halves, placed
from .feet import Foot, add_foot, close_foot
from .glued import host_normal, sides
from .tabs import TAB_FIELDS, TabPlan, tab_plan
from .windows import windows

__all__ = ["FIELDS", "HINTS", "BoxNet", "box_net", "build"]

#: Which way each end wall's middle crease moves as the book closes: +1 into the box, -1 out of it; start, end.
_ENDS: Mapping[str, tuple[float, float]] = {
    "in": (1.0, 1.0),
    "out": (-1.0, -1.0),
    "start": (-1.0, 1.0),
    "end": (1.0, -1.0),
}

FIELDS = (
    *ASTRIDE_FIELDS,
    Field("base", "length", "from the fold to the glue line of each side wall", positive=True),
    Field("height", "length", "of its walls", positive=True),
    Field(
        "ends",
        "choice",
        "which way the middle creases of the end walls move as the book closes: into the box, out of it, or both "
        "towards its start or its end",
        default="in",
        choices=tuple(_ENDS),
    ),
    Field(
        "end_width",
        "length",
        "from the middle crease of an end wall to each side wall",
        default="as base",
        positive=True,
        sided=True,
    ),
    *TAB_FIELDS,
    Field(
        "edge",
        "line",
        "upper edge of a side wall, x along the fold from the box's start, y up from the foot",
        default="straight",
        sided=True,
    ),
    Field("holes", "outlines", "windows in a side wall, in the same coordinates", default="none", sided=True),
    Field(
        "edge_start",
        "line",
        "upper edge of the end wall at the start, x from its middle crease, left negative, y up from the foot",
        default="straight",
    ),
    Field("edge_end", "line", "upper edge of the end wall at the end, in the same way", default="straight"),
    Field("holes_start", "outlines", "windows in the end wall at the start", default="none"),
    Field("holes_end", "outlines", "windows in the end wall at the end", default="none"),
    PRINTED,
    *COMMON,
)

HINTS: Mapping[str, str] = {
    "width": "a box has length (along the fold), base (from the fold to each side wall) and height",
    "walls": "cross walls inside a box are mechanisms of their own, of kind layer; each names the box",
    "lid": "a rigid lid would keep the side walls apart and the book from closing; a box is open at the top",
}


@dataclass(frozen=True)
class BoxNet:
    """The sizes of a box, and where its panels lie on its net, in a row along x, their feet on y = 0.

    Parameters
    ----------
    id : the box's name
    length, base, height : mm
    widths : of the end walls' panels, left and right, mm
    handed : of the fold; +1 where along x bisector runs to the right host
    outer : whether the outer face is printed
    """

    id: str
    length: float
    base: float
    height: float
    widths: tuple[float, float]
    handed: float
    outer: bool

    @property
    def mirror(self) -> float:
        """+1 where the row right wall, end, left wall, start runs along +x, -1 where along -x."""
        return self.handed if self.outer else -self.handed

    def place(self, side: str, along_mm: float) -> float:
        """The x at which a place along a side wall, from the box's start, lies on the net."""
        if side == "right":
            return self.mirror * along_mm
        return self.mirror * (2 * self.length + sum(self.widths) - along_mm)

    def towards_end(self, side: str) -> float:
        """+1 where the net's x grows along a side wall from the box's start to its end."""
        return self.mirror if side == "right" else -self.mirror

    def middle(self, end: str) -> float:
        """The x of an end wall's middle crease."""
        left, right = self.widths
        if end == "end":
            return self.mirror * (self.length + right)
        return self.mirror * (2 * self.length + left + right + left)

    def towards_right(self, end: str) -> float:
        """+1 where the net's x grows along an end wall from its left panel to its right."""
        return -self.mirror if end == "end" else self.mirror

    @property
    def inside_normal(self) -> float:
        """+1 where the inside of the box is its printed face."""
        return -1.0 if self.outer else 1.0

    def printed(self, variable: str) -> Angle:
        """A crease's dihedral angle through the printed face, from its turn into the box."""
        return Angle(variable, 1.0 if self.outer else -1.0, np.pi)


def box_net(spec: MechanismSpec, fold: Fold) -> BoxNet:
    """The sizes of a box on its fold."""
    values = spec.values
    base = values["base"]
    outer = values.get("printed", "outer") == "outer"
    widths = sides(spec, "end_width", base)
    return BoxNet(spec.id, values["length"], base, values["height"], widths, fold.handed, outer)


def build(spec: MechanismSpec, building: Building) -> None:
    """Add a box; MechanismError where it cannot be built, HingeleafError where its loop cannot close or move."""
    fold = astride(spec, building, "the end walls would have to go through the card under it")
    net = box_net(spec, fold)
    panels = [f"{net.id}.{name}" for name in ("right", "end.right", "end.left", "left", "start.left", "start.right")]
    tabs = [f"{net.id}.{name}.tab" for name in ("left", "right", "start.right")]
    building.add_piece(spec, [*panels, *tabs])
    for side in ("left", "right"):
        add_foot(building, net.id, _foot(spec, fold, net, side), host_normal(fold, side))
    for name, parent in (("end.right", "right"), ("end.left", "end.right"), ("start.left", "left")):
        _hang(spec, building, net, name, parent)
    _hang(spec, building, net, "start.right", "start.left")
    closures = [_end_closure(net), _start_closure(spec, building, net)]
    hung = [f"{net.id}:{name}" for name in ("end.right", "end.middle", "start.left", "start.middle")]
    unknowns = [f"{net.id}:left", f"{net.id}:right", *hung]
    hosts = fold.left, fold.right

    def guesses(poses: Mapping[str, Array], names: tuple[str, ...]) -> Array:
        across = [poses[host.panel][:3, :3] @ lift(host.across) for host in hosts]
        half = float(np.arccos(np.clip(across[0] @ across[1], -1.0, 1.0))) / 2
        known = _closed_form(spec, net, half)
        return np.array([[known[name] for name in names]])

    building.add_loop(spec, unknowns, closures, guesses)
    _creases(building, net)


def _closed_form(spec: MechanismSpec, net: BoxNet, half_rad: float) -> dict[str, float]:
    """Where the loop is looked for first: the walls along the fold's bisector, the end walls as triangles."""
    left, right = chevron(2 * net.base * float(np.sin(half_rad)), net.widths)
    start, end = _ENDS[spec.values.get("ends", "in")]
    return {
        f"{net.id}:left": half_rad,
        f"{net.id}:right": half_rad,
        f"{net.id}:end.right": np.pi / 2 + end * right,
        f"{net.id}:end.middle": -end * (left + right),
        f"{net.id}:start.left": np.pi / 2 + start * left,
        f"{net.id}:start.middle": -start * (left + right),
    }


def _foot(spec: MechanismSpec, fold: Fold, net: BoxNet, side: str) -> Foot:
    host = fold.left if side == "left" else fold.right
    index = 0 if side == "left" else 1
    tab = tab_plan(spec, index, length_mm=net.length, sector_rad=0.0, distance_mm=net.base)
    return Foot(
        side=side,
        host=host,
        host_start=host.point(0.0, net.base),
        host_line=host.along,
        host_out=host.across,
        net_start=np.array([net.place(side, 0.0), 0.0]),
        net_line=np.array([net.towards_end(side), 0.0]),
        net_up=np.array([0.0, 1.0]),
        outline=_side_wall(spec, net, side),
        tab=tab,
        tab_key="base" if tab.inner and net.length > 10 else "length",
    )


def _side_wall(spec: MechanismSpec, net: BoxNet, side: str) -> Polygon:
    index = 0 if side == "left" else 1
    edge = free_edge(spec.sided("edge")[index], "edge")
    lower = np.array([[0.0, 0.0], [net.length, 0.0], [net.length, net.height]])
    ring = without_repeats(np.concatenate([lower, edge[::-1], [[0.0, net.height]]]))
    try:
        outline = single_polygon(ring, f"the outline of the {side} wall")
    except HingeleafError as error:
        raise MechanismError(str(error), "edge" if len(edge) else "length") from None
    outline = windows(outline, spec.sided("holes")[index] or (), "holes")
    return placed(outline, net.towards_end(side), net.place(side, 0.0))


def _hang(spec: MechanismSpec, building: Building, net: BoxNet, name: str, parent: str) -> None:
    """Add a panel of an end wall; it turns into the box by its variable."""
    end, side = name.split(".")
    values = spec.values
    edge = values.get(f"edge_{end}"), f"edge_{end}"
    outline = halves(net.widths, net.height, edge, (values.get(f"holes_{end}", ()), f"holes_{end}"))
    sign = net.towards_right(end)
    panel = placed(outline[0 if side == "left" else 1], sign, net.middle(end))
    if parent in ("left", "right"):
        x, variable = net.place(parent, net.length if end == "end" else 0.0), f"{net.id}:{name}"
    else:
        x, variable = net.middle(end), f"{net.id}:{end}.middle"
    axis = Axis(np.array([x, 0.0, 0.0]), np.array([0.0, net.handed, 0.0]), Angle(variable))
    building.add_panel(Panel(f"{net.id}.{name}", net.id, panel, f"{net.id}.{parent}", np.eye(4), axis))


def _end_closure(net: BoxNet) -> Closure:
    """The end wall meets the left side wall in a crease of the same piece."""
    line = frame([net.place("left", net.length), 0.0, 0.0], [0.0, net.handed, 0.0], [1.0, 0.0, 0.0])
    return Closure(f"{net.id}:end.left", (f"{net.id}.end.left", f"{net.id}.left"), (line, line), net.height)


def _start_closure(spec: MechanismSpec, building: Building, net: BoxNet) -> Closure:
    """The end wall at the start is glued inside the right side wall: there the ring is closed."""
    up, into = np.array([0.0, 1.0]), np.array([net.towards_end("right"), 0.0])
    start = np.array([net.place("right", 0.0), 0.0])
    last = net.middle("start") + net.mirror * net.widths[1]
    width = sides(spec, "tab_width", 10.0)[1]
    foot = Foot(
        side="start.right",
        host=HostSide(f"{net.id}.right", start, up, into),
        host_start=start,
        host_line=up,
        host_out=into,
        net_start=np.array([last, 0.0]),
        net_line=up,
        net_up=np.array([-net.mirror, 0.0]),
        outline=Polygon(),
        tab=TabPlan(False, width, net.height, 0.0, np.inf),
        tab_key="height",
    )
    return close_foot(building, net.id, foot, net.inside_normal, f"{net.id}.start.right")


def _creases(building: Building, net: BoxNet) -> None:
    for end, edges in (("end", ("right", "left")), ("start", ("left",))):
        across = net.towards_right(end)
        for side in edges:
            name = f"{net.id}.{end}.{side}"
            x = net.place(side, net.length if end == "end" else 0.0)
            wall = across if side == "right" else -across
            pair = (name, f"{net.id}.{side}")
            add_crease(
                building, name, pair, np.array([x, 0.0]), wall, net.height, net.printed(f"{net.id}:{end}.{side}")
            )
        pair = (f"{net.id}.{end}.left", f"{net.id}.{end}.right")
        middle = np.array([net.middle(end), 0.0])
        name = f"{net.id}.{end}.middle"
        add_crease(building, name, pair, middle, across, net.height, net.printed(f"{net.id}:{end}.middle"))
