"""Words and signs of a template: its title, the names of tabs, arrows upwards, and the legend."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from ..nets.lettering import place_text, text_box, text_width_mm
from ..nets.lines import NetText
from ..transforms import Array
from .guides import LOOKS, Guide, Layer, hatched
from .placing import room_for

__all__ = ["arrow", "legend", "legend_size", "names_of_tabs", "samples", "title"]

_TITLE_MM, _LEAST_TITLE_MM = 3.4, 1.1
_LINE = 1.45
_TAB_MM, _LEAST_TAB_MM = 2.2, 1.3
_ARROW_MM, _LEAST_ARROW_MM = 12.0, 3.5
_UP_MM = 2.4
_LEGEND_MM, _SMALLER = 2.1, (1.0, 0.8, 0.65)
_SAMPLE_MM = 9.0
#: Last rows of the legend.
_OPEN, _OUTSIDE = "no hatching: seen when open", "no hatching: seen from outside"


def _text(words: str, place: Array, size_mm: float, *, bold: bool = False) -> Guide:
    return Guide("words", "words", text=NetText("label", words, place, size_mm, anchor="start", bold=bold))


def title(
    name: str,
    size_mm: tuple[float, float],
    size_px: tuple[int, int],
    dpi: float,
    regions: Sequence[BaseGeometry],
) -> tuple[list[Guide], BaseGeometry]:
    """Name, side and size, in the first region that has room, else as large as the picture allows at its foot.

    Returns
    -------
    (guides, what they cover)
    """
    words = (name, f"{size_mm[0]:.1f} x {size_mm[1]:.1f} mm", f"{size_px[0]} x {size_px[1]} px at {dpi:g} dpi")
    sizes = np.geomspace(_TITLE_MM, _LEAST_TITLE_MM, 6)
    for size in sizes:
        for region in regions:
            width = max(text_width_mm(line, size, bold=not index) for index, line in enumerate(words))
            place = room_for(region, width + 1.0, _LINE * size * len(words))
            if place is not None:
                return _lined(words, place, size), _block(place, width + 1.0, _LINE * size * len(words))
    return _along_the_edge(", ".join(words), size_mm)


def _along_the_edge(words: str, size_mm: tuple[float, float]) -> tuple[list[Guide], BaseGeometry]:
    """Words along the longer of the lower and the right edge, where the bleed is."""
    upright = size_mm[1] > size_mm[0]
    length = max(size_mm) - 1.5
    size = min(_LEAST_TITLE_MM, length / text_width_mm(words, 1.0, bold=True))
    place = np.array([size_mm[0] - size, 0.75] if upright else [0.75, size])
    turn = np.pi / 2 if upright else 0.0
    text = NetText("label", words, place, size, turn_rad=turn, anchor="start", bold=True)
    return [Guide("words", "words", text=text)], text_box(text, clear_mm=0.5)


def _lined(words: Sequence[str], place: Array, size: float) -> list[Guide]:
    """Lines under each other from the lower left corner of their block."""
    rows = [place + [0.5, _LINE * size * (len(words) - index - 0.5)] for index in range(len(words))]
    return [_text(line, row, size, bold=not index) for index, (line, row) in enumerate(zip(words, rows, strict=True))]


def _block(place: Array, width: float, height: float) -> BaseGeometry:
    x, y = float(place[0]), float(place[1])
    return shapely.box(x - 1.0, y - 1.0, x + width + 1.0, y + height + 1.0)


def names_of_tabs(tabs: Mapping[str, BaseGeometry], free: BaseGeometry) -> list[Guide]:
    """The word on each tab that has room for it."""
    guides = []
    for outline in tabs.values():
        room = outline.intersection(free)
        text = place_text(room, "tab", size_mm=_TAB_MM, least_mm=_LEAST_TAB_MM, turns_rad=(0.0, np.pi / 2))
        if text is not None:
            guides.append(Guide("words", "words", text=text))
    return guides


def arrow(region: Polygon, way: Array) -> list[Guide]:
    """An arrow in the widest place of a region, with the word where there is room.

    Parameters
    ----------
    region : mm of the picture
    way : (2,) float, unit vector

    Returns
    -------
    list of Guide; none where the region is too narrow
    """
    circle = shapely.get_coordinates(shapely.maximum_inscribed_circle(region, tolerance=0.2))
    middle, radius = circle[0], float(np.hypot(*(circle[1] - circle[0])))
    length = min(_ARROW_MM, 1.6 * radius)
    if length < _LEAST_ARROW_MM:
        return []
    aside = np.array([-way[1], way[0]])
    tip, tail, neck = (middle + way * length * share for share in (0.5, -0.5, 0.1))
    half = 0.035 * length
    ring = [tail - aside * half, neck - aside * half, neck - aside * 0.2 * length, tip]
    ring += [neck + aside * 0.2 * length, neck + aside * half, tail + aside * half]
    guides = [Guide("up", "up", area=Polygon(ring))]
    if radius > length / 2 + 1.4 * _UP_MM:
        place = tail - way * _UP_MM
        text = NetText("label", "up", np.asarray(place), _UP_MM, bold=True)
        guides.append(Guide("up", "up", text=text))
    return guides


def legend_size(looks: Iterable[str], scale: float = 1.0) -> tuple[float, float]:
    """Width and height of the legend of some looks, mm."""
    rows = _rows(looks)
    width = max(text_width_mm(words, _LEGEND_MM) for _, words in rows) + _SAMPLE_MM + 3.5
    return scale * width, scale * (_LINE * _LEGEND_MM * 1.15 * len(rows) + 1.0)


def legend(looks: Iterable[str], regions: Sequence[BaseGeometry], *, outside: bool = False) -> list[Guide]:
    """What the signs mean, in the first region that has room; nothing where none has.

    Parameters
    ----------
    looks : that occur
    regions : the best first
    outside : whether it is the outside of the pages, which is seen while the book is shut
    """
    used = {*looks, _OUTSIDE if outside else _OPEN}
    for region in regions:
        for scale in _SMALLER:
            place = room_for(region, *legend_size(used, scale))
            if place is not None:
                return samples(used, place, scale)
    return []


def _rows(looks: Iterable[str]) -> list[tuple[str, str]]:
    used = set(looks)
    known = [(name, look.legend) for name, look in LOOKS.items() if name in used and look.legend]
    return [*known, *(("", words) for words in (_OPEN, _OUTSIDE) if words in used)]


def samples(looks: Iterable[str], place: Array, scale: float = 1.0) -> list[Guide]:
    """The legend of some looks, its lower left corner at a place, (2,) float, mm."""
    guides: list[Guide] = []
    rows = _rows(looks)
    step = scale * _LINE * _LEGEND_MM * 1.15
    for index, (look, words) in enumerate(rows):
        middle = place + [0.8, step * (len(rows) - index - 0.5) + 0.5 * scale]
        guides += _sample(look, middle, scale)
        guides.append(_text(words, middle + [scale * _SAMPLE_MM + 1.2, 0.0], scale * _LEGEND_MM))
    return guides


def _sample(look: str, middle: Array, scale: float) -> list[Guide]:
    """A swatch to the right of a place: a line, a filled field, or a hatched one."""
    width, half = scale * _SAMPLE_MM, scale * 0.42 * _LINE * _LEGEND_MM
    field = shapely.box(middle[0], middle[1] - half, middle[0] + width, middle[1] + half)
    layer: Layer = "words"
    if not look:
        return []
    if look in ("never seen", "shows while opening"):
        spacing, turn = (0.9, np.pi / 4) if look == "never seen" else (1.8, -np.pi / 4)
        return [Guide(layer, look, hatched(field, spacing, turn))]
    if look == "up":
        way = np.array([1.0, 0.0])
        tall = shapely.box(middle[0], middle[1] - width / 2, middle[0] + width, middle[1] + width / 2)
        found = arrow(tall, way)
        return [Guide(layer, look, area=guide.area) for guide in found[:1]]
    if LOOKS[look].fill:
        return [Guide(layer, look, area=field)]
    return [Guide(layer, look, (np.array([middle, middle + [width, 0.0]]),))]
