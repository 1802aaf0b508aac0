"""Where dimensions are drawn: of all ways to draw each, those that are together the least in each other's way.

Every way has a cost, for what of the net it covers and how far it strays from how one would rather draw it. They are
chosen one after the other, and then again and again each anew between all the others, until nothing changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LinearRing, LineString, MultiLineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from ..transforms import Array
from .dimension_forms import Form, forms_of
from .lettering import text_box
from .lines import NetLine, NetText
from .measures import Dimension, Sector, Span

__all__ = ["placed"]

#: Kept free about a text.
_CLEAR_MM = 0.6
#: Two parallel lines nearer than this are hard to tell apart.
_APART_MM = 4.2
#: The first dimension line stays so far from the lines of the net that run beside it.
_FIRST_MM = 3.0
#: Half the width of what counts as covered by a line.
_ON_MM = 0.5
#: The best ways of each dimension, that are tried with each other.
_TRIED = 120
_SWEEPS = 8


@dataclass(frozen=True)
class _Net:
    """What is drawn already, and what is on or near it: cuts, cuts and creases, gluing marks, other lines, texts."""

    cuts: BaseGeometry
    solid: BaseGeometry
    glue: BaseGeometry
    fine: BaseGeometry
    letters: BaseGeometry
    card: MultiPolygon
    on_solid: BaseGeometry
    near_solid: BaseGeometry
    on_glue: BaseGeometry
    glued: BaseGeometry
    on_fine: BaseGeometry


class _Ways:
    """The best ways to draw one dimension, as arrays."""

    def __init__(self, size: Dimension, forms: Sequence[Form], net: _Net) -> None:
        self.size = size
        by_strain = sorted(forms, key=lambda form: form.strain)
        found: list[Form] = []
        costs = np.zeros(0)
        shapes = np.zeros((4, 0), dtype=object)
        for start in range(0, len(by_strain), _TRIED):
            # The strain is part of the cost: beyond the worst that is kept, nothing can be better.
            if start and by_strain[start].strain > np.sort(costs)[_TRIED - 1]:
                break
            more = by_strain[start : start + _TRIED]
            found += more
            cost, own = _static(more, net)
            costs, shapes = np.concatenate([costs, cost]), np.concatenate([shapes, own], axis=1)
        best = np.argsort(costs, kind="stable")[:_TRIED]
        self.forms = [found[index] for index in best]
        self.costs = costs[best]
        self.boxes, self.mains, self.cores, self.extensions = shapes[:, best]


def placed(
    sizes: Sequence[Dimension],
    lines: Sequence[NetLine],
    texts: Sequence[NetText],
    card: MultiPolygon,
    text_mm: float,
) -> list[Form]:
    """Choose how to draw dimensions.

    Parameters
    ----------
    sizes : what is measured on the net
    lines, texts : what is drawn on it already
    card : of the piece
    text_mm : float, font size

    Returns
    -------
    one Form a dimension
    """
    marks = [mark for size in sizes for mark in size.marks]
    net = _net(lines, texts, card, marks)
    straight = [line for line in lines if line.line_class in ("cut", "mountain", "valley")]
    segments = _segments([*(_closed(line) for line in straight), *marks])
    left, low, right, high = card.bounds
    ways = [_Ways(size, list(forms_of(size, segments, (left, low, right, high), text_mm)), net) for size in sizes]
    order = sorted(range(len(ways)), key=lambda index: (not isinstance(sizes[index], Sector), sizes[index].value))
    chosen: dict[int, int] = {}
    beside: dict[tuple[int, int, int], Array] = {}
    for _ in range(_SWEEPS):
        before = dict(chosen)
        for index in order:
            cost = ways[index].costs.copy()
            for other, row in chosen.items():
                if other != index:
                    key = (index, other, row)
                    if key not in beside:
                        beside[key] = _beside(ways[index], ways[other], row)
                    cost += beside[key]
            chosen[index] = int(np.argmin(cost))
        if chosen == before:
            break
    return [ways[index].forms[chosen[index]] for index in range(len(ways))]


def _closed(line: NetLine) -> Array:
    return np.concatenate([line.points, line.points[:1]]) if line.closed else line.points


def _segments(chains: Sequence[Array]) -> Array:
    bits = [np.stack([chain[:-1], chain[1:]], axis=1) for chain in chains]
    return np.concatenate([np.zeros((0, 2, 2)), *bits])


def _net(lines: Sequence[NetLine], texts: Sequence[NetText], card: MultiPolygon, marks: Sequence[Array]) -> _Net:
    def strokes(*classes: str) -> BaseGeometry:
        wanted = [line for line in lines if line.line_class in classes]
        return shapely.union_all(
            [LinearRing(line.points) if line.closed else LineString(line.points) for line in wanted]
        )

    solid, glue = strokes("cut", "mountain", "valley"), strokes("glue")
    fine = shapely.union_all([strokes("mark", "label"), *(LineString(mark) for mark in marks)])
    letters = shapely.union_all([text_box(text, clear_mm=_CLEAR_MM / 2) for text in texts])
    net = _Net(
        strokes("cut"),
        solid,
        glue,
        fine,
        letters,
        card,
        on_solid=solid.buffer(_ON_MM, 4),
        near_solid=solid.buffer(_FIRST_MM, 2),
        on_glue=glue.buffer(_ON_MM, 4),
        glued=shapely.union_all([Polygon(line.points) for line in lines if line.line_class == "glue"]),
        on_fine=fine.buffer(_ON_MM, 4),
    )
    shapely.prepare([*vars(net).values()])
    return net


def _covered(lines: Array, what: BaseGeometry) -> Array:
    """Length of lines inside a region, (n,) float, mm."""
    return np.asarray(shapely.length(shapely.intersection(lines, what)))


def _static(forms: Sequence[Form], net: _Net) -> tuple[Array, Array]:
    """Cost of each way by itself, (n,) float, and its text, line, line between its ends, extension lines, (4, n)."""
    text = np.array([text_box(form.text, clear_mm=_CLEAR_MM / 2) for form in forms], dtype=object)
    cost = np.array([form.strain for form in forms])
    for what, touched, along in ((net.solid, 30.0, 8.0), (net.glue, 6.0, 1.5), (net.fine, 15.0, 4.0)):
        on = np.flatnonzero(shapely.intersects(text, what))
        cost[on] += touched + along * shapely.length(shapely.intersection(text[on], what))
    cost += 300.0 * shapely.intersects(text, net.letters) + 2.5 * shapely.intersects(text, net.card)
    # Many ways differ in their text alone.
    mains, of_main = _distinct([form.main for form in forms])
    main = np.array([LineString(points) for points in mains], dtype=object)
    core = np.array([_shortened(line) for line in main], dtype=object)
    extensions, of_extension = _distinct([form.extensions for form in forms])
    extension = np.array([MultiLineString(list(points)) for points in extensions], dtype=object)
    cost += _line_cost(core, net)[of_main] + _extension_cost(extension, net)[of_extension]
    shapes = np.empty((4, len(forms)), dtype=object)
    shapes[:] = text, main[of_main], core[of_main], extension[of_extension]
    return cost, shapes


def _distinct(items: Sequence[Array]) -> tuple[list[Array], Array]:
    """The arrays that are not the same object as one before, and which of them each is, (n,) int."""
    numbers: dict[int, int] = {}
    which = np.array([numbers.setdefault(id(item), len(numbers)) for item in items], dtype=int)
    firsts = np.unique(which, return_index=True)[1]
    return [items[index] for index in firsts], which


def _line_cost(core: Array, net: _Net) -> Array:
    """What dimension lines cost for what they cross or run along, (n,) float."""
    cost = 60.0 * shapely.intersects(core, net.letters)
    cost += 2.0 * _covered(core, net.on_solid) + 0.45 * _covered(core, net.near_solid)
    cost += 1.0 * _covered(core, net.on_glue) + 0.4 * _covered(core, net.glued) + 1.0 * _covered(core, net.on_fine)
    cost += 8.0 * shapely.get_num_coordinates(shapely.intersection(core, net.cuts))
    return np.asarray(cost)


def _extension_cost(extension: Array, net: _Net) -> Array:
    """The same of extension lines, which may cross more."""
    cost = 20.0 * shapely.intersects(extension, net.letters)
    cost += 0.6 * _covered(extension, net.on_solid) + 0.2 * _covered(extension, net.on_glue)
    return np.asarray(cost + 1.5 * shapely.get_num_coordinates(shapely.intersection(extension, net.cuts)))


def _shortened(whole: LineString, by_mm: float = 0.8) -> LineString:
    """A line without its ends, which touch other lines on purpose."""
    if whole.length <= 2.5 * by_mm:
        return LineString([whole.interpolate(0.45, normalized=True), whole.interpolate(0.55, normalized=True)])
    cut = substring(whole, by_mm, whole.length - by_mm)
    return cut if isinstance(cut, LineString) else whole


def _beside(ways: _Ways, other: _Ways, row: int) -> Array:
    """What each way of a dimension costs beside one way of another, (n,) float."""
    box, main, core, extension = other.boxes[row], other.mains[row], other.cores[row], other.extensions[row]
    cost = 400.0 * shapely.intersects(ways.boxes, box)
    cost += 90.0 * shapely.intersects(ways.boxes, main) + 90.0 * shapely.intersects(ways.mains, box)
    cost += 45.0 * shapely.intersects(ways.boxes, extension) + 45.0 * shapely.intersects(ways.extensions, box)
    cost += 22.0 * shapely.intersects(ways.cores, core)
    cost += 8.0 * shapely.intersects(ways.cores, extension) + 8.0 * shapely.intersects(ways.extensions, core)
    cost += 2.0 * shapely.intersects(ways.extensions, extension)
    cost += 1.5 * _covered(ways.cores, core.buffer(_APART_MM, cap_style="flat"))
    return np.asarray(cost - _in_row(ways, other.forms[row]))


def _in_row(ways: _Ways, form: Form) -> Array:
    """What is gained where a length goes on in the same line as another, (n,) float."""
    gain = np.zeros(len(ways.forms))
    if not isinstance(ways.size, Span) or not isinstance(form.size, Span):
        return gain
    along, other = ways.size.along, form.size.along
    if abs(along @ other) < 1 - 1e-9:
        return gain
    square = np.array([-along[1], along[0]])
    ends = np.abs((ways.size.points @ along)[:, None] - (form.size.points @ along)[None])
    if ends.min() < 0.05:
        level = float(form.main[0] @ square)
        gain[[abs(float(each.main[0] @ square) - level) < 0.05 for each in ways.forms]] = 5.0
    return gain
