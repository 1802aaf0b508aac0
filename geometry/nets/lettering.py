"""Lettering: how wide a text is, which letters the font has, and where in a region a text fits.

The font is Bitstream Vera Sans, which comes with reportlab and may be embedded freely.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from typing import Any

import numpy as np
import shapely
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from shapely import Polygon
from shapely.geometry.base import BaseGeometry

from ..transforms import Array
from .lines import NetText

__all__ = ["CAP_HEIGHT", "CLEAR_MM", "font_name", "one_line", "place_text", "spelled", "text_box", "text_width_mm"]

#: Height of the capitals as a share of the font size, measured from the font (1493 of 2048 units).
CAP_HEIGHT = 1493 / 2048

#: Kept free between a text and any line.
CLEAR_MM = 0.7

_FILES = {False: "Vera.ttf", True: "VeraBd.ttf"}
#: Fewest and most places tried along each side of a region.
_STEPS = (6, 40)


@cache
def font_name(bold: bool) -> str:
    """Name under which reportlab knows the font; the first call registers it."""
    name = "NetSansBold" if bold else "NetSans"
    pdfmetrics.registerFont(TTFont(name, _FILES[bold]))
    return name


def text_width_mm(text: str, size_mm: float, *, bold: bool = False) -> float:
    """Width of a text.

    Parameters
    ----------
    text : one line
    size_mm : float, font size
    bold : whether in the bold cut

    Returns
    -------
    float, mm
    """
    return float(pdfmetrics.stringWidth(spelled(text), font_name(bold), size_mm))


def one_line(text: str) -> str:
    """The text without characters that cannot be drawn, such as line breaks.

    Examples
    --------
    >>> one_line("Two\\n hills \\x00")
    'Two hills'
    """
    drawn = (letter if letter.isprintable() or unicodedata.category(letter) == "Cf" else " " for letter in text)
    return " ".join("".join(drawn).split())


def spelled(text: str) -> str:
    """The text in letters that the font has: others lose their accents, or become a question mark.

    Examples
    --------
    >>> spelled("Über Bäume, Dvořák, 折り")
    'Über Bäume, Dvorák, ??'
    """
    return "".join(_letter(letter) for letter in unicodedata.normalize("NFC", text))


@cache
def _letter(letter: str) -> str:
    font: Any = pdfmetrics.getFont(font_name(False))
    known = font.face.charToGlyph
    if ord(letter) in known:
        return letter
    plain = unicodedata.normalize("NFKD", letter)[0]
    return plain if ord(plain) in known else "?"


def text_box(text: NetText, *, clear_mm: float = 0.0) -> Polygon:
    """The rectangle that a text covers.

    Parameters
    ----------
    text : NetText
    clear_mm : float, kept free on every side

    Returns
    -------
    Polygon, mm
    """
    width = text_width_mm(text.text, text.size_mm, bold=text.bold)
    left = {"start": 0.0, "middle": -width / 2, "end": -width}[text.anchor]
    half = text.size_mm * 0.5 + clear_mm
    corners = [(left - clear_mm, -half), (left + width + clear_mm, -half)]
    corners += [(left + width + clear_mm, half), (left - clear_mm, half)]
    cosine, sine = np.cos(text.turn_rad), np.sin(text.turn_rad)
    return Polygon(np.array(corners) @ np.array([[cosine, sine], [-sine, cosine]]) + text.place)


def place_text(
    region: BaseGeometry,
    text: str,
    *,
    size_mm: float,
    least_mm: float,
    turns_rad: tuple[float, ...] = (0.0,),
    bold: bool = False,
    enough_mm: float | None = None,
) -> NetText | None:
    """Set a text where it lies wholly inside a region, as large as it can be and as clear of the borders.

    Parameters
    ----------
    region : Polygon or MultiPolygon, mm
    text : one line
    size_mm, least_mm : float, largest and smallest font size
    turns_rad : directions to try, the best first
    bold : whether in the bold cut
    enough_mm : float, distance from the borders that is clear enough: among such places the lowest, then the
        leftmost is taken; None for the clearest place, and the most central of several

    Returns
    -------
    NetText centred on its place, or None where it fits nowhere
    """
    if region.is_empty or not text:
        return None
    centres = _candidates(region)
    border = region.boundary
    shapely.prepare(region)
    size = size_mm
    while size >= least_mm * 0.999:
        for turn in turns_rad:
            boxes = _boxes(centres, text_width_mm(text, size, bold=bold), size, turn)
            fits = np.flatnonzero(shapely.contains_properly(region, boxes))
            if len(fits):
                clearance = shapely.distance(border, boxes[fits])
                best = centres[fits[_tidiest(centres[fits], clearance, enough_mm)]]
                return NetText("label", text, best, size, turn_rad=turn, bold=bold)
        size *= 0.88
    return None


def _tidiest(centres: Array, clearance: Array, enough_mm: float | None) -> int:
    """Index of the place to take; see place_text."""
    if enough_mm is None:
        from_middle = np.hypot(*(centres - centres.mean(axis=0)).T)
        return int(np.lexsort((np.round(from_middle, 3), -np.round(clearance, 1)))[0])
    x, y = np.round(centres, 6).T
    return int(np.lexsort((x, y, -np.round(np.minimum(clearance, enough_mm), 6)))[0])


def _candidates(region: BaseGeometry) -> Array:
    """Points to centre a text on, (n, 2) float: a grid over each part, and the middle of its widest place."""
    points: list[Array] = []
    for part in shapely.get_parts(region):
        if not isinstance(part, Polygon) or part.area < 1.0:
            continue
        points.append(shapely.get_coordinates(part.centroid))
        points.append(shapely.get_coordinates(shapely.maximum_inscribed_circle(part, tolerance=0.5))[:1])
        left, low, right, high = part.bounds
        columns = _steps(left, right)
        rows = _steps(low, high)
        grid = np.stack(np.meshgrid(columns, rows), axis=-1).reshape(-1, 2)
        points.append(grid[shapely.contains_xy(part, grid)])
    return np.concatenate(points) if points else np.zeros((0, 2))


def _steps(low: float, high: float) -> Array:
    """Places between two bounds, about 1 mm apart where that is not too many."""
    count = int(np.clip(high - low, *_STEPS))
    return np.linspace(low, high, count + 2)[1:-1]


def _boxes(centres: Array, width: float, height: float, turn: float) -> Array:
    """Rectangles about each centre, (n,) Polygon."""
    half = np.array([[-width, -height], [width, -height], [width, height], [-width, height]]) / 2
    cosine, sine = np.cos(turn), np.sin(turn)
    corners = half @ np.array([[cosine, sine], [-sine, cosine]])
    boxes: Array = shapely.polygons(centres[:, None, :] + corners[None])
    return boxes
