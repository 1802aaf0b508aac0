"""The sheet of a bulk map: coloured shapes, rulers, numbers, words and legend, in millimetres, y upwards."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from shapely import Point, box
from shapely.affinity import translate

from ..checks.bulk import BulkMap
from ..nets.footer import LEAST_WIDTH_MM, fitted_title, scale_bar
from ..nets.lettering import one_line, place_text, text_width_mm
from ..nets.lines import NetLine, NetText
from ..nets.sheets import MARGIN_MM
from ..transforms import Array
from .patches import BORDER, BORDER_MM, REGION, RING_MM, Patch, layers_text, page_patches, region_tint
from .tints import DARK, Color, ink_on

__all__ = ["BulkSheet", "draw_bulk"]

#: Space around the page for its rulers and the names of its edges.
_RULER_MM = 10.0
_TEXT_MM, _SMALL_MM, _LINE_MM, _TITLE_ROW = 2.8, 2.3, 4.4, 7.0
#: Largest and smallest size of the numbers in the regions.
_NUMBER_MM, _LEAST_NUMBER_MM = 4.5, 1.5
#: A sample of the legend, the distance from one entry to the next, and the height of the scale bar.
_SAMPLE_MM, _ENTRY_MM, _BAR_ROW = 8.0, 40.0, 12.0
#: Kept free between the numbers and the middle of the ring's line.
_CLEAR_MM = 0.9


@dataclass(frozen=True)
class BulkSheet:
    """The whole drawing.

    Parameters
    ----------
    title : of the spread
    width_mm, height_mm : float, of the sheet
    patches : filled shapes, what lies on top last
    lines : rulers and scale bar, over them
    texts : texts and their colours, over all
    """

    title: str
    width_mm: float
    height_mm: float
    patches: tuple[Patch, ...]
    lines: tuple[NetLine, ...]
    texts: tuple[tuple[NetText, Color], ...]


def draw_bulk(bulk: BulkMap, title: str) -> BulkSheet:
    """Draw a bulk map.

    Parameters
    ----------
    bulk : BulkMap
    title : of the spread

    Returns
    -------
    BulkSheet; the page stands above, the words, the legend and a bar of exactly 100 mm below it
    """
    page_width, page_height = bulk.page_size_mm
    room = max(page_width + 2 * _RULER_MM, LEAST_WIDTH_MM)
    words = _words(bulk, room)
    columns = int(room // _ENTRY_MM)
    samples, entries = _legend(bulk, columns)
    legend_top = MARGIN_MM + _BAR_ROW + _LINE_MM * -(-len(entries) // columns)
    foot = legend_top + _LINE_MM * (len(words) + 0.5) + _TITLE_ROW
    shift = np.array([MARGIN_MM + (room - page_width) / 2, foot + _RULER_MM])
    below = np.array([MARGIN_MM, legend_top])
    ticks = [item for axis in (0, 1) for item in _ruler(bulk.page_size_mm[axis], axis)]
    bar_lines, bar_texts = scale_bar(MARGIN_MM, MARGIN_MM)
    on_page = [*((text, DARK) for _, text in ticks if text is not None), *_edge_names(bulk), *_numbers(bulk)]
    heading = fitted_title(f"{one_line(title)}: bulk", MARGIN_MM, foot - _TITLE_ROW / 2, room)
    first = legend_top + _LINE_MM * len(words)
    rows = [_row(text, MARGIN_MM, first - _LINE_MM * index) for index, text in enumerate(words)]
    return BulkSheet(
        one_line(title),
        room + 2 * MARGIN_MM,
        shift[1] + page_height + _RULER_MM + MARGIN_MM,
        (
            *(replace(patch, outline=translate(patch.outline, *shift)) for patch in page_patches(bulk)),
            *(replace(patch, outline=translate(patch.outline, *below)) for patch in samples),
        ),
        (*(NetLine("mark", tick + shift, name="tick") for tick, _ in ticks), *bar_lines),
        (
            *((replace(text, place=text.place + shift), color) for text, color in on_page),
            *((replace(text, place=text.place + below), DARK) for text in entries),
            *((text, DARK) for text in (heading, *rows, *bar_texts)),
        ),
    )


def _row(text: str, x: float, y: float) -> NetText:
    return NetText("label", text, np.array([x, y]), _TEXT_MM, anchor="start")


def _words(bulk: BulkMap, room: float) -> list[str]:
    """What the drawing says, in lines."""
    width, height = bulk.page_size_mm
    x, y = bulk.worst.place_mm
    sentences = [
        f"The closed page, {width:g} x {height:g} mm, seen from above: the left page lies on top, face down. A number "
        "is how many layers of card lie there, pages included.",
        f"Thickest: {layers_text(bulk.worst.layers)}, {bulk.worst.thickness_mm:.2f} mm, in the ring, {x:.1f} mm from "
        f"the spine and {y:.1f} mm above the foot.",
    ]
    if bulk.gusset_mm > 0.0:
        sentences.append(
            f"Spine gusset: {bulk.gusset_mm:.2f} mm. As much card lies between the pages, and a spine as wide lets "
            "them lie parallel."
        )
    else:
        sentences.append("Spine gusset: none is needed, for no card lies between the pages.")
    if bulk.left_out:
        names = ", ".join(bulk.left_out)
        sentences.append(f"Not counted, because they do not come to lie in the closed book: {names}.")
    return [line for sentence in sentences for line in _wrapped(one_line(sentence), room)]


def _wrapped(text: str, room: float) -> list[str]:
    """A text in lines that are no wider than the room, but for single words."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_mm(longer, _TEXT_MM) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _legend(bulk: BulkMap, columns: int) -> tuple[list[Patch], list[NetText]]:
    """Colours and what they stand for, thinnest first, row by row from y = 0 downwards."""
    patches, texts = [], []
    stacks = sorted({(region.thickness_mm, region.layers) for region in bulk.regions})
    for index, (thickness, layers) in enumerate(stacks):
        x, y = _ENTRY_MM * (index % columns), -_LINE_MM * (index // columns + 0.5)
        sample = box(x, y - 1.5, x + _SAMPLE_MM, y + 1.5)
        patches.append(Patch(sample, region_tint(bulk, thickness), REGION))
        patches.append(Patch(sample.boundary.buffer(BORDER_MM / 2, join_style="mitre"), DARK, BORDER))
        texts.append(_row(f"{layers_text(layers)}, {thickness:.2f} mm", x + _SAMPLE_MM + 1.5, y))
    return patches, texts


def _ruler(length_mm: float, axis: int) -> Iterator[tuple[Array, NetText | None]]:
    """Ticks every millimetre along the foot (axis 0) or the spine (axis 1), longer every 5 and 10, named every 20."""
    for millimetres in range(int(length_mm + 1e-6) + 1):
        size = 2.6 if millimetres % 10 == 0 else 1.8 if millimetres % 5 == 0 else 1.1
        tick = np.array([[millimetres, -0.8], [millimetres, -0.8 - size]])
        text = None
        if millimetres % 20 == 0:
            place = np.array([millimetres, -4.8])
            turn = axis * np.pi / 2
            text = NetText("label", str(millimetres), place[::-1] if axis else place, _SMALL_MM, turn_rad=turn)
        yield (tick[:, ::-1] if axis else tick), text


def _edge_names(bulk: BulkMap) -> Iterator[tuple[NetText, Color]]:
    """What each edge of the page is."""
    width, height = bulk.page_size_mm
    for name, x, y, turn in (
        ("foot", width / 2, -8.2, 0.0),
        ("spine", -8.2, height / 2, np.pi / 2),
        ("head", width / 2, height + 3.0, 0.0),
        ("fore edge", width + 3.0, height / 2, np.pi / 2),
    ):
        yield NetText("label", name, np.array([x, y]), _TEXT_MM, turn_rad=turn), DARK


def _numbers(bulk: BulkMap) -> Iterator[tuple[NetText, Color]]:
    """The number of layers in each region that has room for it beside the ring; the worst region's within the ring."""
    middle = Point(bulk.worst.place_mm)
    ring = middle.buffer(RING_MM + _CLEAR_MM).difference(middle.buffer(RING_MM - _CLEAR_MM))
    for region in bulk.regions:
        room = region.outline.difference(ring)
        if region is bulk.worst:
            room = room.intersection(middle.buffer(RING_MM))
        text = place_text(room, str(region.layers), size_mm=_NUMBER_MM, least_mm=_LEAST_NUMBER_MM)
        if text is not None:
            yield text, ink_on(region_tint(bulk, region.thickness_mm))
