"""A template as a picture: guides on transparent ground, drawn finer than its pixels and brought down to them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from pathlib import Path

import numpy as np
import reportlab
import shapely
from PIL import Image, ImageDraw, ImageFont

from ..nets.lettering import CAP_HEIGHT, spelled, text_box
from ..nets.lines import NetText
from ..outline import parts_of
from ..transforms import Array
from .drawing import Template
from .guides import LOOKS, Guide, dash_runs, dashes_of

__all__ = ["font", "guide_bands", "on_white"]

#: Each pixel is drawn as so many by so many.
_FINER = 3
#: From this resolution on by one less.
_FINE_DPI = 200.0
#: Fine pixels that are held at once.
_AT_ONCE = 12_000_000
#: How light lies under dark lines.
_HALO_OPACITY = 0.7


@cache
def font(size_px: int, bold: bool) -> ImageFont.FreeTypeFont:
    """The font of the nets in a size."""
    file = Path(reportlab.__file__).parent / "fonts" / ("VeraBd.ttf" if bold else "Vera.ttf")
    return ImageFont.truetype(str(file), size_px)


def guide_bands(template: Template) -> Iterator[tuple[int, Image.Image]]:
    """The guides of a template, on transparent ground, in bands from the top.

    Parameters
    ----------
    template : Template

    Yields
    ------
    (number of the band's first row, its picture), RGBA, as wide as template.size_px; all bands together are as high,
    and their outer edges are those of the art box
    """
    width, height = template.size_px
    finer = _FINER if template.dpi < _FINE_DPI else _FINER - 1
    strokes = [_Stroke.of(guide) for guide in template.guides]
    rows = max(1, _AT_ONCE // (width * finer**2))
    for top in range(0, height, rows):
        band = _Band(template, finer, top, min(rows, height - top))
        band.draw(strokes)
        yield top, band.picture


@dataclass(frozen=True)
class _Stroke:
    """A guide made ready: its dashes as lines of their own, and the box about it, mm."""

    guide: Guide
    runs: tuple[Array, ...]
    bounds: Array

    @classmethod
    def of(cls, guide: Guide) -> _Stroke:
        runs = [run for points in guide.lines for run in dash_runs(points, dashes_of(guide.look, points))]
        points = [*guide.lines, *([shapely.get_coordinates(guide.area)] if guide.area is not None else [])]
        if guide.text is not None:
            points.append(shapely.get_coordinates(text_box(guide.text, clear_mm=1.0)))
        every = np.concatenate(points) if points else np.zeros((1, 2))
        return cls(guide, tuple(runs), np.concatenate([every.min(axis=0) - 1.0, every.max(axis=0) + 1.0]))


class _Band:
    """Some rows of the picture."""

    def __init__(self, template: Template, finer: int, top: int, rows: int) -> None:
        self.finer, self.top, self.rows = finer, top, rows
        self.width, self.height = template.size_px
        self.picture = Image.new("RGBA", (self.width, rows), (255, 255, 255, 0))
        self.size_mm = np.array(template.frame.size_mm)
        #: Pixels a millimetre, across and down.
        self.scale = np.array(template.size_px) / self.size_mm

    def draw(self, strokes: Sequence[_Stroke]) -> None:
        """Draw all guides, those of one look at a time."""
        for look, group in groupby(strokes, lambda stroke: stroke.guide.look):
            here = [(stroke, self._box(stroke.bounds)) for stroke in group]
            met = [(stroke, box) for stroke, box in here if box[0] < box[2] and box[1] < box[3]]
            if not met:
                continue
            boxes = np.array([box for _, box in met])
            box = (*boxes[:, :2].min(axis=0).tolist(), *boxes[:, 2:].max(axis=0).tolist())
            found, style = [stroke for stroke, _ in met], LOOKS[look]
            if style.halo_mm:
                self._lay(box, (255, 255, 255), _HALO_OPACITY, found, style.halo_mm)
            if style.fill:
                self._lay(box, style.color, style.fill, found, None)
            self._lay(box, style.color, 1.0, found, 0.0)

    def _box(self, bounds: Array) -> tuple[int, int, int, int]:
        """The pixels of the band that a box in millimetres covers: left, top, right, bottom in the whole picture."""
        low, high = bounds[:2] * self.scale, bounds[2:] * self.scale
        left, right = max(0, int(low[0])), min(self.width, int(np.ceil(high[0])))
        top = max(self.top, int(self.height - high[1]))
        bottom = min(self.top + self.rows, int(np.ceil(self.height - low[1])))
        return left, top, right, bottom

    def _lay(
        self,
        box: tuple[int, int, int, int],
        color: tuple[int, int, int],
        opacity: float,
        strokes: Sequence[_Stroke],
        light_mm: float | None,
    ) -> None:
        """Lay one colour over a box, where lines and texts are, so much wider; or where areas are."""
        size = ((box[2] - box[0]) * self.finer, (box[3] - box[1]) * self.finer)
        pen = _Pen(Image.new("L", size, 0), self.finer * self.scale, self.size_mm[1], self.finer * np.array(box[:2]))
        for stroke in strokes:
            if light_mm is None:
                pen.area(stroke.guide)
                continue
            pen.lines(stroke.runs, LOOKS[stroke.guide.look].width_mm + 2 * light_mm)
            if stroke.guide.text is not None:
                pen.text(stroke.guide.text, light_mm)
        coarse = pen.mask.reduce(self.finer)
        if coarse.getbbox():
            layer = Image.new("RGBA", coarse.size, (*color, 0))
            shades = [round(value * opacity) for value in range(256)]
            layer.putalpha(coarse if opacity == 1.0 else coarse.point(shades))
            self.picture.alpha_composite(layer, (box[0], box[1] - self.top))


class _Pen:
    """Draws on a mask, from millimetres of the picture."""

    def __init__(self, mask: Image.Image, scale: Array, height_mm: float, corner: Array) -> None:
        self.mask, self.scale, self.height_mm, self.corner = mask, scale, height_mm, corner
        self.draw = ImageDraw.Draw(mask)

    def place(self, points: Array) -> list[tuple[float, float]]:
        down = (np.array([0.0, self.height_mm]) + points * [1.0, -1.0]) * self.scale - self.corner
        # A pixel of a drawing lies about its number, not after it; what lies above a band is not to be cut towards it.
        return [(x, y) for x, y in np.floor(down - 0.5).tolist()]

    def area(self, guide: Guide) -> None:
        if guide.area is None:
            return
        for part in sorted(parts_of(guide.area), key=lambda each: -each.envelope.area):
            self.draw.polygon(self.place(shapely.get_coordinates(part.exterior)), fill=255)
            for hole in part.interiors:
                self.draw.polygon(self.place(shapely.get_coordinates(hole)), fill=0)

    def lines(self, runs: Sequence[Array], width_mm: float) -> None:
        width = max(1, round(width_mm * float(self.scale.mean())))
        for run in runs:
            self.draw.line(self.place(run), fill=255, width=width, joint="curve")

    def text(self, text: NetText, halo_mm: float) -> None:
        size = max(4, round(text.size_mm * float(self.scale[1])))
        face, halo = font(size, text.bold), round(halo_mm * float(self.scale[1]))
        (x, y), words = self.place(text.place[None])[0], spelled(text.text)
        anchor = "ls" if text.anchor == "start" else "ms"
        below = CAP_HEIGHT * size / 2
        if abs(text.turn_rad) < 1e-9:
            self.draw.text((x, y + below), words, 255, face, anchor, stroke_width=halo, stroke_fill=255)
            return
        reach = int(face.getlength(words)) + 2 * size
        own = Image.new("L", (2 * reach, 2 * reach), 0)
        ImageDraw.Draw(own).text((reach, reach + below), words, 255, face, anchor, stroke_width=halo, stroke_fill=255)
        turned = own.rotate(float(np.degrees(text.turn_rad)), Image.Resampling.BICUBIC)
        self.mask.paste(255, (round(x) - reach, round(y) - reach), turned)


def on_white(guides: Image.Image) -> Image.Image:
    """Guides on white ground, RGB."""
    ground = Image.new("RGB", guides.size, (255, 255, 255))
    ground.paste(guides, (0, 0), guides)
    return ground
