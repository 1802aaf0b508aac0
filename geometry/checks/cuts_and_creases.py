"""Cuts and creases of each net: no crease crosses a cut, cuts end where creases end, creases end on cuts or edges.

A crease is judged by what lies on either side of its line: its two panels, all along it. A cut is any border of a panel
that is no crease. Where creases end in mid card, at least four must meet there, as at the apex of a single slit.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiLineString, Point, Polygon
from shapely.geometry.base import BaseGeometry

from ..contact import common_spans, edge_spans
from ..nets.cuts import find_lines
from ..spread import Spread
from ..tolerances import ANGLE_RAD, SLIT_MM, TOUCH_MM
from ..transforms import Array
from .findings import Finding

__all__ = ["check_crease_ends", "check_creases_cross_cuts", "check_cut_ends"]

_CROSSES, _CREASE_ENDS, _CUT_ENDS = "crease-crosses-cut", "crease-ends-loose", "cut-ends-loose"
#: What lies beside a line is looked up so far from it: further than two lines that are meant to be one are apart.
_BESIDE_MM = 2 * TOUCH_MM
#: A cut that meets a crease no further than this from its end meets it at its end.
_AT_END_MM = 10 * TOUCH_MM
#: Fewer creases than this cannot meet in mid card and still fold.
_VERTEX = 4
#: A cut that is drawn out and back is a slit from this length on; shorter ones are the bottom of a cleft.
_SLIT_LENGTH_MM = 1.0
#: Cosine of the least turn with which a line is drawn back along itself.
_BACK = -0.9


@dataclass(frozen=True)
class _Net:
    """A piece as it lies flat.

    Parameters
    ----------
    names : n panels
    outlines : theirs
    creases : by name, line (2, 2) float, mm, and its two panels; one whose two panels have it in different places
        comes once more under the same name
    cuts : (m, 2, 2) float, mm; every straight bit of a cut
    """

    names: tuple[str, ...]
    outlines: tuple[Polygon, ...]
    creases: tuple[tuple[str, Array, tuple[str, str]], ...]
    cuts: Array

    def cut_lines(self) -> MultiLineString:
        """All cuts."""
        return MultiLineString(list(self.cuts))


@dataclass(frozen=True)
class _Fault:
    """A fault of one piece, before it is a finding."""

    code: str
    panel: str
    other: str | None
    place: tuple[float, float]
    measure: float
    message: str


def check_creases_cross_cuts(spread: Spread) -> list[Finding]:
    """Findings on creases that cross or touch a cut other than at their ends.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, one a crease; measure is the length, mm, on which the crease does not lie between its two panels; 0
    where a cut only touches it

    Notes
    -----
    Source: DESIGN.md, sections 3 and 5.
    """
    return _findings(spread.folding, _CROSSES)


def check_crease_ends(spread: Spread) -> list[Finding]:
    """Findings on creases that end in mid card.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, one a crease; measure, mm: how far the end is from the nearest cut or edge, or on which length the
    crease runs through a panel

    Notes
    -----
    Source: DESIGN.md, section 5. An end in mid card is sound where at least four creases meet.
    """
    return _findings(spread.folding, _CREASE_ENDS)


def check_cut_ends(spread: Spread) -> list[Finding]:
    """Findings on slits that end in mid card without a crease.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, one a slit's end; measure is its distance from the nearest other cut or end of a crease, mm

    Notes
    -----
    Source: DESIGN.md, section 5. A cut with card of one panel within SLIT_MM on both sides is a slit; wider ones are
    outlines and windows, which end nowhere.
    """
    return _findings(spread.folding, _CUT_ENDS)


def _findings(spread: Spread, code: str) -> list[Finding]:
    found = []
    for piece in spread.pieces:
        panels = tuple((name, spread.panels[name].outline.wkb) for name in piece.panels)
        creases = tuple(
            (hinge.id, np.asarray(hinge.lines, dtype=float).tobytes(), hinge.panels)
            for hinge in spread.creases(piece.id)
        )
        for fault in _faults(panels, creases):
            if fault.code == code:
                found.append(
                    Finding(
                        code,
                        "error",
                        piece.id,
                        fault.panel,
                        fault.place,
                        None,
                        fault.measure,
                        "mm",
                        fault.message,
                        other=fault.other,
                    )
                )
    return found


@lru_cache(maxsize=256)
def _faults(
    panels: tuple[tuple[str, bytes], ...], creases: tuple[tuple[str, bytes, tuple[str, str]], ...]
) -> tuple[_Fault, ...]:
    """All faults of one piece; kept, for three checks ask, and a changed spread changes few of its pieces."""
    lines = [(name, np.frombuffer(raw).reshape(2, 2, 2), both) for name, raw, both in creases]
    shapes = ((name, shapely.from_wkb(outline)) for name, outline in panels)
    net = _net({name: shape for name, shape in shapes if isinstance(shape, Polygon)}, lines)
    faults: dict[tuple[str, str], _Fault] = {}
    for name, line, both in net.creases:
        for fault in (*_along(net, name, line, both), *_ends(net, name, line, both)):
            known = faults.get((fault.code, name))
            if known is None or known.measure < fault.measure:
                faults[fault.code, name] = fault
    return (*faults.values(), *_hairlines(net))


def _net(outlines: Mapping[str, Polygon], lines: list[tuple[str, Array, tuple[str, str]]]) -> _Net:
    creases = []
    for name, both_lines, both in lines:
        apart = np.abs(both_lines[0] - both_lines[1]).max() > TOUCH_MM
        creases += [(name, line, both) for line in (both_lines if apart else both_lines[:1])]
    creases = [item for item in creases if np.hypot(*(item[1][1] - item[1][0])) > TOUCH_MM]
    found = find_lines(outlines, {name: (line, both) for name, line, both in creases}).cuts
    rings = [np.concatenate([cut.points, cut.points[:1]]) if cut.closed else cut.points for cut in found]
    return _Net(tuple(outlines), tuple(outlines.values()), tuple(creases), _bits(rings))


def _bits(chains: Sequence[Array]) -> Array:
    """The straight bits of lines, (m, 2, 2) float, mm."""
    return np.concatenate([np.stack([chain[:-1], chain[1:]], axis=1) for chain in chains])


def _meetings(line: Array, bits: Array) -> Array:
    """Where straight bits cross a line or have an end on it, (k,) float, mm from its start, sorted."""
    length = np.hypot(*(line[1] - line[0]))
    along = (line[1] - line[0]) / length
    offset = bits - line[0]
    place, off = offset @ along, offset @ np.array([-along[1], along[0]])
    touching = place[np.abs(off) <= TOUCH_MM]
    crossing = off[:, 0] * off[:, 1] < 0
    (x, y), (a, b) = place[crossing].T, off[crossing].T
    met = np.concatenate([touching, x + (y - x) * a / (a - b)])
    return np.sort(met[(met > 0) & (met < length)])


def _along(net: _Net, name: str, line: Array, both: tuple[str, str]) -> Iterator[_Fault]:
    """What is wrong along a crease: stretches where it does not lie between its panels, and cuts that meet it."""
    length = float(np.hypot(*(line[1] - line[0])))
    direction = (line[1] - line[0]) / length
    met = _meetings(line, net.cuts)
    met = met[(met > _AT_END_MM) & (met < length - _AT_END_MM)]
    # Both bits of a cut that meet in a corner on the crease have their end there.
    met = met[np.diff(met, prepend=-1.0) > _AT_END_MM]
    stretches, bare = _astray(net, line, direction, both)
    astray = float(sum(end - start for start, end in stretches))
    if not astray and not len(met):
        return
    longest = max(stretches, key=lambda item: item[1] - item[0], default=None)
    if longest is None:
        at = float(met[0])
    elif longest[0] < _AT_END_MM or longest[1] > length - _AT_END_MM:
        at = 0.0 if longest[0] < _AT_END_MM else length
    else:
        at = float(sum(longest)) / 2
    x, y = line[0] + at * direction
    where = f"near {x:.1f}, {y:.1f} mm"
    if not astray:
        more = f" and in {len(met) - 1} more places" if len(met) > 1 else ""
        message = (
            f"a cut touches the crease {name} {where}{more}, between its ends, where it would tear; keep it off the "
            f"crease, or cut right across, so that the crease ends there"
        )
        yield _Fault(_CROSSES, *both, (float(x), float(y)), 0.0, message)
    elif bare or len(met):
        message = (
            f"the crease {name} crosses a cut {where}: {astray:.2f} mm of it do not lie between {both[0]} and "
            f"{both[1]}; end it at the cut, or move the cut"
        )
        yield _Fault(_CROSSES, *both, (float(x), float(y)), astray, message)
    else:
        message = (
            f"the crease {name} runs for {astray:.2f} mm where {both[0]} and {both[1]} do not meet, {where}; "
            f"creases start and end on cuts or edges"
        )
        yield _Fault(_CREASE_ENDS, *both, (float(x), float(y)), astray, message)


def _astray(net: _Net, line: Array, direction: Array, both: tuple[str, str]) -> tuple[list[tuple[float, float]], bool]:
    """Stretches of a line that are not on the edges of both its panels, (start, end), mm; and whether card is missing.

    Where two panels of one net have an edge in common, they lie on either side of it.
    """
    length = float(np.hypot(*(line[1] - line[0])))
    one, two = (net.outlines[net.names.index(name)] for name in both)
    shared = common_spans(edge_spans(one, line[0], direction), edge_spans(two, line[0], direction))
    marks = np.clip([0.0, *(mark for span in shared for mark in span), length], 0.0, length)
    stretches = [(float(a), float(b)) for a, b in marks.reshape(-1, 2) if b - a > _BESIDE_MM]
    aside = _BESIDE_MM * np.array([-direction[1], direction[0]])
    bare = False
    rings = [ring for outline in net.outlines for ring in (outline.exterior, *outline.interiors)]
    met = _meetings(line, _bits([shapely.get_coordinates(ring) for ring in rings]))
    for start, end in stretches:
        between = np.concatenate([[start], met[(met > start) & (met < end)], [end]])
        middles = line[0] + np.outer((between[:-1] + between[1:]) / 2, direction)[np.diff(between) > _BESIDE_MM]
        for points in (middles + aside, middles - aside):
            bare |= not np.any([_covers(item, points) for item in net.outlines], axis=0).all()
    return stretches, bare


def _covers(outline: Polygon, points: Array) -> NDArray[np.bool_]:
    return np.asarray(shapely.contains_xy(outline, points[:, 0], points[:, 1]), dtype=bool)


def _ends(net: _Net, name: str, line: Array, both: tuple[str, str]) -> Iterator[_Fault]:
    """Ends of a crease in mid card where too few creases meet."""
    cuts = net.cut_lines()
    for end in line:
        distance = float(cuts.distance(Point(end)))
        if distance <= _AT_END_MM or _folds(arms := _arms(net, end)):
            continue
        x, y = end
        message = (
            f"the crease {name} ends in mid card at {x:.1f}, {y:.1f} mm, {distance:.2f} mm from the nearest cut or "
            f"edge, where {len(arms)} of the {_VERTEX} creases meet that could fold there; let it end on a cut or edge"
        )
        yield _Fault(_CREASE_ENDS, *both, (float(x), float(y)), distance, message)


def _arms(net: _Net, point: Array) -> Array:
    """Directions in which creases leave a point, (k, 2) float; one that passes through leaves it twice."""
    arms = []
    for line in {name: line for name, line, _ in net.creases}.values():
        away = line - point
        far = away[np.hypot(*away.T) > _AT_END_MM]
        if len(far) < 2 or LineString(line).distance(Point(point)) <= TOUCH_MM:
            arms += [way / np.hypot(*way) for way in far]
    return np.array(arms).reshape(-1, 2)


def _folds(arms: Array) -> bool:
    """Whether creases that meet in mid card can fold: four or more, or two that are one straight line."""
    return len(arms) >= _VERTEX or (len(arms) == 2 and float(arms[0] @ arms[1]) < -1 + ANGLE_RAD)


def _hairlines(net: _Net) -> Iterator[_Fault]:
    """Ends of slits within one panel: where an outline or a window is drawn to a point and back along itself."""
    cuts = net.cut_lines()
    for outline in net.outlines:
        turned = shapely.orient_polygons(outline)
        for ring in (turned.exterior, *turned.interiors):
            for slit in _drawn_back(outline, shapely.get_coordinates(ring)[:-1]):
                yield from _loose(net, slit[0], cuts.difference(LineString(slit).buffer(2 * SLIT_MM)))


def _drawn_back(outline: Polygon, ring: Array) -> Iterator[Array]:
    """Slits of a ring that has its card on the left, (n, 2) float, mm, each from its end in the card."""
    ring = ring[np.hypot(*(ring - np.roll(ring, 1, axis=0)).T) > SLIT_MM]
    step = np.roll(ring, -1, axis=0) - ring
    length = np.hypot(*step.T)
    along = step / length[:, None]
    beyond = ring + step / 2 + SLIT_MM * np.stack([along[:, 1], -along[:, 0]], axis=1)
    thin = _covers(outline, beyond)
    back = np.einsum("ij,ij->i", along, np.roll(along, 1, axis=0)) < _BACK
    for tip in np.flatnonzero(thin & np.roll(thin, 1) & back):
        run = [int(tip)]
        while thin[run[-1]] and len(run) <= len(ring) and (len(run) == 1 or not back[run[-1]]):
            run.append((run[-1] + 1) % len(ring))
        if length[run[:-1]].sum() >= _SLIT_LENGTH_MM:
            yield ring[run]


def _loose(net: _Net, end: Array, others: BaseGeometry) -> Iterator[_Fault]:
    """The end of a slit, unless it is on another cut or at the end of a crease."""
    ends = [np.hypot(*(line - end).T).min() for _, line, _ in net.creases]
    distance = float(min([others.distance(Point(end)), *ends]))
    if distance <= _AT_END_MM:
        return
    near = [name for name, item in zip(net.names, net.outlines, strict=True) if item.distance(Point(end)) <= SLIT_MM]
    x, y = end
    message = (
        f"a slit ends in mid card at {x:.1f}, {y:.1f} mm, {distance:.2f} mm from the nearest end of a crease, cut or "
        f"edge, and tears on; let it end where a crease ends, or make it a notch or window of some width"
    )
    yield _Fault(_CUT_ENDS, near[0], near[1] if len(near) > 1 else None, (float(x), float(y)), distance, message)
