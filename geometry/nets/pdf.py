"""All sheets as one PDF: true scale, one layer a line class, TrimBox and BleedBox, fonts embedded.

reportlab has no call for layers (optional content, ISO 32000-1, 8.11). They are written through its own document
objects: one dictionary a class in the catalog, named in the resources of each page, and the marked-content operators
BDC and EMC about what belongs to each class.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np
import shapely
from reportlab.lib.utils import ImageReader
from reportlab.pdfbase import pdfdoc
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject
from shapely.geometry.base import BaseGeometry

from .classes import LINE_CLASSES, STYLES, LineClass, Style, dashes_mm
from .drawing import BLEED_MM
from .halo import HALO_OPACITY, Halo, halos
from .lettering import CAP_HEIGHT, font_name, spelled
from .lines import ArtImage, NetLine, NetText
from .pictures import Picture
from .sheets import Sheet

__all__ = ["MM", "draw_line", "draw_text", "outline_path", "sheets_pdf"]

#: One millimetre in PDF's unit, 1/72 inch (ISO 32000-1, 8.3.2.3).
MM = 72.0 / 25.4


class _LayeredCanvas(Canvas):
    """A canvas whose pages have one optional content group a line class."""

    _doc: Any
    _code: list[str]

    def __init__(self, stream: io.BytesIO) -> None:
        # The initial font would otherwise be one that is not embedded; invariant fixes dates and identifiers.
        options: dict[str, Any] = {"initialFontName": font_name(False), "pageCompression": 1, "invariant": 1}
        super().__init__(stream, pdfVersion=(1, 6), **options)
        self._layers = {}
        for name in LINE_CLASSES:
            entries = {"Type": pdfdoc.PDFName("OCG"), "Name": pdfdoc.PDFString(name)}
            self._layers[name] = self._doc.Reference(pdfdoc.PDFDictionary(entries))
        every = pdfdoc.PDFArray(list(self._layers.values()))
        shown = pdfdoc.PDFDictionary({"Name": pdfdoc.PDFString("Layers"), "Order": every, "ON": every})
        catalog = self._doc.Catalog
        catalog.OCProperties = pdfdoc.PDFDictionary({"OCGs": every, "D": shown})
        catalog.__NoDefault__ = [*catalog.__NoDefault__, "OCProperties"]

    @contextmanager
    def layer(self, name: LineClass) -> Iterator[None]:
        """Everything drawn within belongs to the class."""
        self._code.append(f"/OC /{name} BDC")
        try:
            yield
        finally:
            self._code.append("EMC")

    def _setShadingUsed(self, page: object) -> None:  # noqa: N802, reportlab's name
        """The last of reportlab's steps before a page is added: its resources, the layers among them."""
        built: Any = page
        resources: Any = pdfdoc.PDFResourceDictionary(Properties=dict(self._layers))
        resources.basicFonts()
        resources.allProcs()
        if built.XObjects:
            resources.XObject = built.XObjects
        if built.ExtGState:
            resources.ExtGState = built.ExtGState
        built.Resources = resources


def sheets_pdf(sheets: Sequence[Sheet], pictures: Callable[[str], Picture]) -> bytes:
    """Write all sheets, one a page.

    Parameters
    ----------
    sheets : at least one
    pictures : gives the picture of an artwork file

    Returns
    -------
    bytes
    """
    stream = io.BytesIO()
    canvas = _LayeredCanvas(stream)
    canvas.setTitle(sheets[0].footer.title)
    canvas.setSubject("Nets at true scale, in millimetres")
    canvas.setAuthor("")
    canvas.setCreator("Hingeleaf")
    canvas.setViewerPreference("PrintScaling", "None")
    for sheet in sheets:
        _page(canvas, sheet, pictures)
    canvas.save()
    return stream.getvalue()


def _page(canvas: _LayeredCanvas, sheet: Sheet, pictures: Callable[[str], Picture]) -> None:
    canvas.setPageSize((sheet.width_mm * MM, sheet.height_mm * MM))
    left, low, right, high = shapely.total_bounds([drawing.card for drawing in sheet.pieces])
    canvas.setTrimBox(_box(left, low, right, high))
    canvas.setBleedBox(_box(left - BLEED_MM, low - BLEED_MM, right + BLEED_MM, high + BLEED_MM))
    canvas.scale(MM, MM)
    canvas.setLineJoin(1)
    for name in LINE_CLASSES:
        with canvas.layer(name):
            for drawing in sheet.pieces:
                if name == "art" and drawing.art is not None:
                    _image(canvas, drawing.art, pictures)
                if name == "label":
                    _halos(canvas, halos(drawing))
                _content(canvas, name, drawing.lines, drawing.texts)
            _content(canvas, name, sheet.lines, sheet.texts)
    canvas.showPage()


def _box(left: float, low: float, right: float, high: float) -> tuple[float, ...]:
    return tuple(round(float(value) * MM, 4) for value in (left, low, right, high))


def _content(canvas: _LayeredCanvas, name: LineClass, lines: Sequence[NetLine], texts: Sequence[NetText]) -> None:
    for line in lines:
        if line.line_class == name:
            draw_line(canvas, line)
    for text in texts:
        if text.line_class == name:
            draw_text(canvas, text, STYLES[name].color)


def _halos(canvas: _LayeredCanvas, shapes: Sequence[Halo]) -> None:
    """Light shapes, filled and not stroked, so that they are not taken for lines of the net."""
    canvas.setFillColorRGB(1.0, 1.0, 1.0)
    canvas.setFillAlpha(HALO_OPACITY)
    for shape in shapes:
        region: BaseGeometry = shapely.LinearRing(shape.points) if shape.closed else shapely.LineString(shape.points)
        if shape.width_mm:
            region = region.buffer(shape.width_mm / 2, cap_style="flat")
        else:
            region = shapely.Polygon(shape.points)
        canvas.drawPath(outline_path(canvas, region), stroke=0, fill=1)
    canvas.setFillAlpha(1.0)


def outline_path(canvas: Canvas, region: BaseGeometry) -> PDFPathObject:
    """All rings of a region as one path."""
    path = canvas.beginPath()
    for part in shapely.get_parts(region):
        for ring in (part.exterior, *part.interiors):
            points = shapely.get_coordinates(ring)[:-1]
            path.moveTo(*points[0])
            for x, y in points[1:]:
                path.lineTo(x, y)
            path.close()
    return path


def _set_style(canvas: Canvas, style: Style, length_mm: float) -> None:
    color = [value / 255.0 for value in style.color]
    canvas.setStrokeColorRGB(*color)
    canvas.setFillColorRGB(*color)
    canvas.setLineWidth(style.width_mm)
    canvas.setDash(list(dashes_mm(style, length_mm)))


def draw_line(canvas: Canvas, line: NetLine) -> None:
    """Draw a line in the style of its class."""
    style = STYLES[line.look or line.line_class]
    _set_style(canvas, style, line.length_mm)
    path = canvas.beginPath()
    path.moveTo(*line.points[0])
    for x, y in line.points[1:]:
        path.lineTo(x, y)
    filled = bool(style.tint and line.closed and line.tinted)
    if line.closed:
        path.close()
    if filled:
        canvas.setFillAlpha(style.tint)
    canvas.drawPath(path, stroke=1, fill=int(filled))
    if filled:
        canvas.setFillAlpha(1.0)


def draw_text(canvas: Canvas, text: NetText, color: tuple[int, int, int]) -> None:
    """Draw a text in an sRGB colour, 0..255."""
    canvas.setFillColorRGB(*(value / 255.0 for value in color))
    canvas.saveState()
    canvas.translate(*text.place)
    if abs(text.turn_rad) > 1e-9:
        canvas.rotate(float(np.degrees(text.turn_rad)))
    canvas.setFont(font_name(text.bold), text.size_mm)
    draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
    draw[text.anchor](0.0, -text.size_mm * CAP_HEIGHT / 2, spelled(text.text))
    canvas.restoreState()


def _image(canvas: _LayeredCanvas, art: ArtImage, pictures: Callable[[str], Picture]) -> None:
    canvas.saveState()
    canvas.clipPath(outline_path(canvas, art.shown), stroke=0, fill=0)
    canvas.transform(*art.along, *art.up, *art.corner)
    canvas.drawImage(ImageReader(io.BytesIO(pictures(art.file).data)), 0, 0, 1, 1, mask="auto")
    canvas.restoreState()
