"""The foot of every sheet: title, stock, legend, and a bar of exactly 100 mm."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ..model import Stock
from .classes import STYLES, LineClass
from .lettering import one_line, text_width_mm
from .lines import NetLine, NetText

__all__ = ["LEAST_WIDTH_MM", "SCALE_BAR_MM", "Footer", "fitted_title", "footer_height_mm", "make_footer", "scale_bar"]

SCALE_BAR_MM = 100.0

#: A footer cannot be narrower than the bar and its lettering.
LEAST_WIDTH_MM = 104.0

_HINT = "Print at 100 %, not fitted to the page: this bar must measure 100 mm"
_TITLE_MM, _TEXT_MM, _SMALL_MM = 4.6, 2.8, 2.3
_SAMPLE_MM, _SPACE_MM = 15.0, 7.0
#: The foot is never so wide that it held more names of pieces.
_MOST_NAMES = 200
#: The classes that the legend explains, in its order.
_LEGEND: tuple[LineClass, ...] = ("cut", "mountain", "valley", "glue")

_RULE_ROW, _TITLE_ROW, _STOCK_ROW, _LEGEND_ROW, _BAR_ROW = 2.5, 6.0, 5.0, 5.5, 12.0


@dataclass(frozen=True)
class Footer:
    """What stands at the foot of a sheet.

    Parameters
    ----------
    title : of the spread
    number, count : of this sheet, from 1, and of all sheets
    size_name : of the sheet
    stock : the card that all pieces of the sheet are cut from
    back : whether this is the back of the sheet
    grain : the way the card's grain has to run on the sheet, or None where that does not matter
    pieces : what lies on it, in words
    remark : what has to be known about its lines beside the legend, or ""
    """

    title: str
    number: int
    count: int
    size_name: str
    stock: Stock
    back: bool = False
    grain: Literal["up", "across"] | None = None
    pieces: tuple[str, ...] = ()
    remark: str = ""


def _entry_mm(name: LineClass) -> float:
    return _SAMPLE_MM + 2.0 + text_width_mm(STYLES[name].legend, _TEXT_MM) + _SPACE_MM


def _legend_rows(width_mm: float) -> list[list[LineClass]]:
    """Entries of the legend by row."""
    rows: list[list[LineClass]] = [[]]
    used = 0.0
    for name in _LEGEND:
        if rows[-1] and used + _entry_mm(name) - _SPACE_MM > width_mm:
            rows.append([])
            used = 0.0
        rows[-1].append(name)
        used += _entry_mm(name)
    return rows


def _is_wide(width_mm: float) -> bool:
    """Whether legend and bar stand side by side."""
    return width_mm >= sum(_entry_mm(name) for name in _LEGEND) + SCALE_BAR_MM + 12.0


def footer_height_mm(width_mm: float) -> float:
    """Height of the foot on a sheet of that width between its margins."""
    if _is_wide(width_mm):
        return _RULE_ROW + max(_TITLE_ROW + _STOCK_ROW + _LEGEND_ROW, _TITLE_ROW + _BAR_ROW)
    return _RULE_ROW + _TITLE_ROW + _STOCK_ROW + _LEGEND_ROW * len(_legend_rows(width_mm)) + _BAR_ROW


def make_footer(footer: Footer, left_mm: float, low_mm: float, width_mm: float) -> tuple[list[NetLine], list[NetText]]:
    """Lines and texts of a sheet's foot.

    Parameters
    ----------
    footer : what it says
    left_mm, low_mm : float, its lower left corner
    width_mm : float, between the margins

    Returns
    -------
    lines, texts : on layers mark and label only, so that nobody cuts the legend out
    """
    right, top = left_mm + width_mm, low_mm + footer_height_mm(width_mm)
    lines = [_rule(left_mm, right, top)]
    y = top - _RULE_ROW - _TITLE_ROW / 2
    number = f"sheet {footer.number} of {footer.count} · {footer.size_name}"
    if footer.back:
        number = f"back of {number} · turn over along the long edge"
    texts = [fitted_title(footer.title, left_mm, y, width_mm - text_width_mm(number, _TEXT_MM) - 6.0)]
    texts.append(NetText("label", number, np.array([right, y]), _TEXT_MM, anchor="end"))
    y -= (_TITLE_ROW + _STOCK_ROW) / 2
    stock_lines, stock_texts = _stock(footer, left_mm, y)
    end = right - SCALE_BAR_MM - _SPACE_MM if _is_wide(width_mm) else right
    stock_texts += _contents(footer, max(_reach(stock_lines, stock_texts)) + _SPACE_MM, y, end)
    y -= _STOCK_ROW / 2
    for row in _legend_rows(width_mm):
        x = left_mm
        for name in row:
            sample, text = _entry(name, x, y - _LEGEND_ROW / 2)
            lines.append(sample)
            texts.append(text)
            x += _entry_mm(name)
        y -= _LEGEND_ROW
    bar_lines, bar_texts = scale_bar(right - SCALE_BAR_MM if _is_wide(width_mm) else left_mm, low_mm + 2.2)
    return [*lines, *stock_lines, *bar_lines], [*texts, *stock_texts, *bar_texts]


def _rule(left: float, right: float, y: float) -> NetLine:
    return NetLine("label", np.array([[left, y], [right, y]]), name="rule")


def fitted_title(title: str, left: float, y: float, room: float) -> NetText:
    """The title, smaller or shortened where it would run into the number of the sheet."""
    text, size = title, _TITLE_MM
    size *= min(1.0, max(0.6, room / max(text_width_mm(text, size, bold=True), 1.0)))
    while len(text) > 1 and text_width_mm(text, size, bold=True) > room:
        text = text.removesuffix("…")[:-1].rstrip() + "…"
    return NetText("label", text, np.array([left, y]), size, anchor="start", bold=True)


def _reach(lines: list[NetLine], texts: list[NetText]) -> list[float]:
    """How far to the right lines and texts that begin at the left go."""
    return [float(line.points[:, 0].max()) for line in lines] + [
        float(text.place[0]) + text_width_mm(text.text, text.size_mm) for text in texts
    ]


def _contents(footer: Footer, left: float, y: float, right: float) -> list[NetText]:
    """What lies on the sheet, as far as there is room for its names."""
    for shown in range(min(len(footer.pieces), _MOST_NAMES), 0, -1):
        left_out = len(footer.pieces) - shown
        words = ", ".join(footer.pieces[:shown]) + (f" and {left_out} more" if left_out else "")
        if text_width_mm(words, _SMALL_MM) <= right - left:
            return [NetText("label", words, np.array([right, y]), _SMALL_MM, anchor="end")]
    return []


def _stock(footer: Footer, left: float, y: float) -> tuple[list[NetLine], list[NetText]]:
    """The card, with an arrow along its grain."""
    stock = footer.stock
    words = f"{one_line(stock.id)}: {stock.grammage_gsm:g} g/m², {stock.caliper_mm:g} mm thick"
    words += f"; {footer.remark}" if footer.remark else ""
    if footer.grain is None:
        return [], [NetText("label", words, np.array([left, y]), _TEXT_MM, anchor="start")]
    words += ", grain along the arrow"
    middle = np.array([left + text_width_mm(words, _TEXT_MM) + 6.0, y])
    along = np.array([0.0, 2.3]) if footer.grain == "up" else np.array([4.0, 0.0])
    aside = np.array([along[1], along[0]]) / np.hypot(*along)
    lines = [NetLine("mark", np.array([middle - along, middle + along]), name="grain")]
    for way in (-1.0, 1.0):
        tip = middle + way * along
        back = tip - way * along / np.hypot(*along) * 1.1
        lines.append(NetLine("mark", np.array([back + 0.8 * aside, tip, back - 0.8 * aside]), name="grain"))
    return lines, [NetText("label", words, np.array([left, y]), _TEXT_MM, anchor="start")]


def _entry(name: LineClass, x: float, y: float) -> tuple[NetLine, NetText]:
    text = NetText("label", STYLES[name].legend, np.array([x + _SAMPLE_MM + 2.0, y]), _TEXT_MM, anchor="start")
    if STYLES[name].tint:
        box = np.array([[x, y - 1.4], [x + _SAMPLE_MM, y - 1.4], [x + _SAMPLE_MM, y + 1.4], [x, y + 1.4]])
        return NetLine("label", box, True, look=name, name="legend"), text
    return NetLine("label", np.array([[x, y], [x + _SAMPLE_MM, y]]), look=name, name="legend"), text


def scale_bar(left: float, y: float) -> tuple[list[NetLine], list[NetText]]:
    """A bar of exactly 100 mm with a tick every 10 mm."""
    lines = [NetLine("mark", np.array([[left, y], [left + SCALE_BAR_MM, y]]), name="scale-bar")]
    texts = []
    for millimetres in range(0, 101, 10):
        height = 2.6 if millimetres % 50 == 0 else 1.4
        x = left + millimetres
        lines.append(NetLine("mark", np.array([[x, y], [x, y + height]]), name="scale-tick"))
        if millimetres % 50 == 0:
            word = f"{millimetres} mm" if millimetres else "0"
            end = millimetres == 100
            texts.append(NetText("label", word, np.array([x, y + 4.2]), _SMALL_MM, anchor="end" if end else "start"))
    texts.append(NetText("label", _HINT, np.array([left, y + 7.4]), _SMALL_MM, anchor="start"))
    return lines, texts
