"""The sizes of each kind of mechanism, as the keys of its description name them, on the nets on which they lie.

One small function a kind, beside each other so that the same thing is called the same everywhere. What lies where is
not known here: folds and outlines of the built spread say it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely

from ..description.fields import SIDES
from ..spread import Spread
from ..tolerances import TOUCH_MM
from ..transforms import Array, apply
from .measures import PRINTED_TO, Dimension, Line, Measuring, Round, Span, printed

__all__ = ["SIZES_OF", "sizes_on"]


def _v_fold(its: Measuring) -> Iterator[Dimension]:
    own = its.spec.id
    middle = its.line(f"{own}.middle")
    yield its.along_fold("at", its.spec.values["at"])
    yield its.length("height", middle)
    for side in SIDES:
        foot = its.line(f"{own}.{side}")
        yield its.length("width", foot, side)
        if foot.begins > TOUCH_MM:
            yield its.length("apex_cut", foot, side, to=foot.begins)
        yield its.angle("crease_angle", foot, middle, side)
        yield its.tab("tab_width", f"{own}.{side}", side)
        yield its.at_fold("angle", its.line(f"{own}.{side}", host=True), side)
        yield from its.slot(f"{own}.{side}", side)


def _tent(its: Measuring) -> Iterator[Dimension]:
    own = its.spec.id
    middle = its.line(f"{own}.middle")
    yield its.along_fold("at", its.spec.values["at"])
    yield its.length("length", middle)
    for side in SIDES:
        yield its.between("height", middle, its.line(f"{own}.{side}"), side)
        yield its.tab("tab_width", f"{own}.{side}", side)
        yield its.from_fold("base", its.line(f"{own}.{side}", host=True), side)
        yield from its.slot(f"{own}.{side}", side)


def _platform(its: Measuring) -> Iterator[Dimension]:
    own = its.spec.id
    middle = its.line(f"{own}.middle")
    yield its.along_fold("at", its.spec.values["at"])
    yield its.length("length", middle)
    for side in SIDES:
        shoulder, leg, wall = f"{own}.{side}.middle", f"{own}.{side}.leg", f"{own}.{side}.support.wall"
        yield its.between("width", middle, its.line(shoulder), side)
        yield its.between("height", its.line(shoulder), its.line(leg))
        yield its.tab("tab_width", leg, side)
        yield its.length("length", its.line(wall))
        yield its.between("height", its.line(wall), its.line(f"{own}.{side}.support.top"))
        yield its.tab("tab_width", wall, side)
        yield its.tab("tab_width", f"{own}.{side}.support.top", side)
        foot = its.line(wall, host=True)
        yield its.from_fold("base", foot, side)
        yield its.between("width", foot, its.line(leg, host=True), side)
        yield from its.slot(leg, side)


def _box(its: Measuring) -> Iterator[Dimension]:
    own = its.spec.id
    yield its.along_fold("at", its.spec.values["at"])
    yield its.length("length", its.line(f"{own}.right"))
    yield its.length("height", its.line(f"{own}.end.right"))
    for side in SIDES:
        yield its.between("end_width", its.line(f"{own}.end.middle"), its.line(f"{own}.end.{side}"), side)
        yield its.between("end_width", its.line(f"{own}.start.middle"), its.line(f"{own}.start.{side}"), side)
        yield its.tab("tab_width", f"{own}.{side}", side)
        yield its.from_fold("base", its.line(f"{own}.{side}", host=True), side)
        yield from its.slot(f"{own}.{side}", side)
    yield its.tab("tab_width", f"{own}.start.right", "right")


def _layer(its: Measuring) -> Iterator[Dimension]:
    own, box = its.spec.id, its.spec.values["box"]
    middle = its.line(f"{own}.middle")
    yield its.length("height", its.line(f"{own}.left"))
    for side in SIDES:
        yield its.between("width", middle, its.line(f"{own}.{side}"), side)
        yield its.tab("tab_width", f"{own}.{side}", side)
        yield from its.slot(f"{own}.{side}", side)
    edge = replace(its.line(f"{box}.start.right", host=True), bare=False)
    yield its.between("at", edge, its.line(f"{own}.right", host=True))


def _accordion(its: Measuring) -> Iterator[Dimension]:
    own, count = its.spec.id, len(its.spec.values["bases"])
    yield its.along_fold("at", its.spec.values["at"])
    first, last = f"{own}.pleat1.left", f"{own}.pleat{count}.right"
    yield its.length("length", its.line(first))
    lines = [first, *(f"{own}.valley{number}" for number in range(1, count)), last]
    for number, name in enumerate(lines[:-1], start=1):
        yield its.between("heights", its.line(name), its.line(f"{own}.pleat{number}.middle"))
    for name, side in ((first, "left"), (last, "right")):
        yield its.tab("tab_width", name, side)
    # On the left host the pleats count from the glue line inwards, on the right one from the fold outwards.
    yield from _bases(its, [f"{own}.left{number}.prop" for number in range(count - 1, 0, -1)], first)
    yield from _bases(its, [f"{own}.right{number}.prop" for number in range(1, count)], last)
    for number in range(1, count):
        for prop in (f"{own}.left{number}", f"{own}.right{number}"):
            yield its.between(None, its.line(f"{prop}.prop"), its.line(f"{prop}.top"))
            yield its.length(None, its.line(f"{prop}.prop"))
            yield its.tab(None, f"{prop}.prop")
            yield its.tab(None, f"{prop}.top")


def _bases(its: Measuring, props: Iterable[str], foot: str) -> Iterator[Span]:
    lines = [its.line(name, host=True) for name in (*props, foot)]
    yield its.from_fold("bases", lines[0], "")
    for one, two in pairwise(lines):
        yield its.between("bases", one, two)


def _strap(its: Measuring) -> Iterator[Dimension]:
    own, count = its.spec.id, len(its.spec.values["widths"])
    names = [f"{own}.p1", *(f"{own}.c{number}" for number in range(1, count)), f"{own}.end"]
    lines = [its.line(name) for name in names]
    yield its.length("length", lines[0])
    for one, two in pairwise(lines):
        yield its.between("widths", one, two)
    for name, side, key in ((names[0], "left", "from"), (names[-1], "right", "to")):
        yield its.tab("tab_width", name, side)
        host = its.line(name, host=True)
        point = host.at(host.ends / 2)
        yield from its.place(f"{key}_at", host.panel, point, host.marks)
        yield from its.turn(f"{key}_turn", host.panel, point, host.along, 180.0)
        yield from its.slot(name, side)


def _flap(its: Measuring) -> Iterator[Dimension]:
    own = its.spec.id
    foot, host = its.line(f"{own}.flap"), its.line(f"{own}.flap", host=True)
    yield its.length("length", foot)
    yield from _reach(its, None if "edge" in its.spec.values else "width", foot)
    yield its.tab("tab_width", f"{own}.flap")
    point = host.at(host.ends / 2)
    yield from its.place("at", host.panel, point, host.marks)
    yield from its.turn("turn", host.panel, point, its.spread.folds[(f"{own}.flap", "outer")].right.across)
    yield from its.slot(f"{own}.flap")


def _reach(its: Measuring, key: str | None, foot: Line) -> Iterator[Span]:
    """From a hinge line to the furthest place of its panel."""
    corners = shapely.get_coordinates(its.outline(foot.panel).exterior)[:-1]
    away = (corners - foot.start) @ foot.across
    far = float(away[np.argmax(np.abs(away))])
    place = corners[np.abs(away - far) < TOUCH_MM].mean(axis=0)
    yield its.span(key, foot.panel, (np.asarray(place - far * foot.across), place), np.sign(far) * foot.across)


def _rider(its: Measuring) -> Iterator[Dimension]:
    own, values = its.spec.id, its.spec.values
    if "fold" in values:
        yield its.along_fold("at", values["at"][1])
        yield from _about(its, f"{own}.left", f"{own}.right")
        return
    panel = its.spread.panels[own]
    place = apply(panel.rest, np.zeros((1, 2)))[0, :2]
    yield from its.place("at", str(panel.parent), place)
    # Its own y axis, which a rider on the back keeps.
    up = panel.rest[:2, 1]
    yield from its.turn("turn", str(panel.parent), place, np.array([up[1], -up[0]]))
    yield from _about(its, own)


def _about(its: Measuring, *panels: str) -> Iterator[Span]:
    """Width and height over all of panels, by the parts of the key that gives them, or without one."""
    corners = np.concatenate([shapely.get_coordinates(its.outline(panel).exterior) for panel in panels])
    for index, part in enumerate("xy"):
        ends = corners[[np.argmin(corners[:, index]), np.argmax(corners[:, index])]]
        name = its.name("size" if "size" in its.spec.values else None, part=part)
        yield Span(its.piece(panels[0]), name, ends, np.eye(2)[index])


def _pull_strip(its: Measuring) -> Iterator[Dimension]:
    own, values = its.spec.id, its.spec.values
    strip = its.spread.panels[f"{own}.strip"]
    corners = shapely.get_coordinates(strip.outline.exterior)
    inner = corners[np.abs(corners[:, 0]) < TOUCH_MM]
    low, high = inner[np.argmin(inner[:, 1])], inner[np.argmax(inner[:, 1])]
    across, along = np.array([0.0, 1.0]), np.array([1.0, 0.0])
    yield its.span("width", strip.id, (low, high), across)
    end = corners[np.argmax(corners[:, 0])]
    yield its.span("length", strip.id, (high, end), along)
    for number, place in enumerate(values["guides"], start=1):
        bridge = f"{own}.guide{number}.bridge"
        left, bottom, right, top = its.outline(bridge).bounds
        yield its.span("guide_width", bridge, (np.array([left, bottom]), np.array([right, bottom])), along)
        yield its.span(None, bridge, (np.array([right, bottom]), np.array([right, top])), across)
        yield _on_host(its, "guides", place, low, high)
    yield _on_host(its, "travel", values["travel"] * (-1 if values.get("way") == "in" else 1), low, high)
    at = apply(strip.rest, np.zeros((1, 2)))[0, :2]
    yield from its.place("at", str(strip.parent), at)
    yield from its.turn("turn", str(strip.parent), at, strip.rest[:2, 0])
    if "drives" in values:
        yield from _link(its)


def _on_host(its: Measuring, key: str, place: float, low: Array, high: Array) -> Span:
    """From the strip's inner end at rest to a place along its lane on the host, where nothing is drawn."""
    strip = its.spread.panels[f"{its.spec.id}.strip"]
    shift = np.array([place, 0.0])
    points = apply(strip.rest, np.array([low, high, low + shift, high + shift, [0.0, 0.0], shift]))[:, :2]
    along = np.asarray(np.sign(place) * strip.rest[:2, 0])
    return Span(its.piece(str(strip.parent)), its.name(key), points[4:], along, marks=(points[:2], points[2:4]))


def _link(its: Measuring) -> Iterator[Dimension]:
    own, values = its.spec.id, its.spec.values
    arm, end = its.line(f"{own}.link.arm"), its.line(f"{own}.link.end")
    yield its.between("link_length", arm, end)
    yield its.length("link_width", arm)
    for name in ("arm", "end"):
        yield its.tab("link_tab", f"{own}.link.{name}")
    on_strip = its.line(f"{own}.link.arm", host=True)
    middle = on_strip.at(on_strip.ends / 2)
    along = np.array([1.0, 0.0])
    inner = np.asarray(middle - along * (middle @ along))
    yield its.span("link_at", on_strip.panel, (inner, middle), along, marks=on_strip.marks)
    yield its.between("link_reach", its.line(f"{values['drives']}.flap"), its.line(f"{own}.link.end", host=True))


def _wheel(its: Measuring) -> Iterator[Dimension]:
    own = its.spec.id
    disc = its.spread.panels[f"{own}.disc"]
    rim = shapely.get_coordinates(disc.outline.exterior)
    piece = its.piece(disc.id)
    yield Round(piece, its.name("radius"), np.zeros(2), float(np.hypot(*rim.T).max()))
    for hole in disc.outline.interiors:
        bore = float(np.hypot(*shapely.get_coordinates(hole).T).max())
        yield Round(piece, its.name("pivot"), np.zeros(2), bore, True)
    pivot = apply(disc.rest, np.zeros((1, 2)))[0, :2]
    yield from its.place("at", str(disc.parent), pivot)


def _solid(its: Measuring) -> Iterator[Dimension]:
    values = its.spec.values
    place, turn = np.array(values["at"]), np.radians(values.get("turn", 0.0))
    yield from its.place("at", values["panel"], place)
    yield from its.turn("turn", values["panel"], place, np.array([np.cos(turn), np.sin(turn)]))


def _slit_cut_in(its: Measuring) -> Iterator[Dimension]:
    values, fold = its.spec.values, its.fold
    at, length = values["at"], values["length"]
    yield its.along_fold("at", at)
    yield its.along_fold("length", at + length, at)
    for side, host in zip(SIDES, (fold.left, fold.right), strict=True):
        line = its.line(f"{its.spec.id}.{side}")
        ends = [(host.point(place), _passing(line, host.point(place), host.along)) for place in (at, at + length)]
        widths = [float((corner - foot) @ host.across) for foot, corner in ends]
        exact = any(key.startswith(("width_start", "width_end")) for key in values)
        if not exact and abs(widths[0] - widths[1]) < PRINTED_TO:
            yield its.span("width", line.panel, ends[1], host.across, side)
        else:
            for key, points in zip(("width_start", "width_end"), ends, strict=True):
                yield its.span(key, line.panel, points, host.across, side)
    yield from _crease_aside(its, at, length)


def _passing(line: Line, point: Array, along: Array) -> Array:
    """Where a line passes a point, square to a direction."""
    return line.at(float((point - line.start) @ along) / float(line.along @ along))


def _crease_aside(its: Measuring, at: float, length: float) -> Iterator[Span]:
    """How far the middle crease of an unequal cut-in lies beside its fold, at both slits."""
    host = its.fold.right
    middle = its.line(f"{its.spec.id}.middle")
    places = (at,) if abs(middle.along @ host.across) < TOUCH_MM / length else (at, at + length)
    for place in places:
        foot = host.point(place)
        yield its.span(None, middle.panel, (foot, _passing(middle, foot, host.along)), host.across)


SIZES_OF: Mapping[str, Callable[[Measuring], Iterator[Dimension]]] = {
    "v-fold": _v_fold,
    "tent": _tent,
    "slit-cut-in": _slit_cut_in,
    "rider": _rider,
    "strap": _strap,
    "flap": _flap,
    "pull-strip": _pull_strip,
    "wheel": _wheel,
    "platform": _platform,
    "box": _box,
    "layer": _layer,
    "accordion": _accordion,
    "solid": _solid,
}


def sizes_on(spread: Spread, piece_id: str) -> tuple[Dimension, ...]:
    """What is measured on the net of one piece.

    Parameters
    ----------
    spread : Spread
    piece_id : name of the piece

    Returns
    -------
    dimensions, mechanism by mechanism; none of nothing, and what is equal left and right once. Where two mechanisms
        of one kind, or with the same key, are on the net, they are named
    """
    found: list[Dimension] = []
    for spec in spread.mechanisms:
        its = Measuring(spread, spec)
        sizes = [size for size in SIZES_OF[spec.kind](its) if abs(size.value) > TOUCH_MM]
        found += [size for size in _once(_without_equal_sides(sizes), its) if size.piece == piece_id]
    kinds = {spec.id: spec.kind for spec in spread.mechanisms}
    return tuple(replace(size, name=replace(size.name, whose=_shared(size, found, kinds))) for size in found)


def _shared(size: Dimension, others: Sequence[Dimension], kinds: Mapping[str, str]) -> bool:
    """Whether another mechanism has the same key, or is of the same kind, on the same net."""
    own = size.name
    return any(
        other.mechanism != own.mechanism and (other.key == own.key or kinds[other.mechanism] == kinds[own.mechanism])
        for other in (each.name for each in others)
    )


def _without_equal_sides(sizes: Sequence[Dimension]) -> list[Dimension]:
    """The same without sides in the names of what is equal on both."""
    equal = []
    for size in sizes:
        same = [other.value for other in sizes if (other.name.key, other.name.part) == (size.name.key, size.name.part)]
        equal.append(bool(size.name.side) and max(same) - min(same) <= PRINTED_TO)
    return [
        replace(size, name=replace(size.name, side="", paired=True)) if same else size
        for size, same in zip(sizes, equal, strict=True)
    ]


def _once(sizes: Iterable[Dimension], its: Measuring) -> Iterator[Dimension]:
    """Each size of a name once a net, the last one given; all numbers of a list, and all that has no name."""
    kept: dict[object, Dimension] = {}
    for number, size in enumerate(sizes):
        several = size.name.key is None or isinstance(its.given(size.name), (list, tuple))
        key = number if several and not size.name.paired else (size.piece, size.name, printed(size.value))
        kept[key] = size
    yield from kept.values()
