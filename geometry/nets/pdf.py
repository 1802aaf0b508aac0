"""All sheets as one PDF: true scale, one layer a line class, TrimBox and BleedBox, fonts embedded.

reportlab has no call for layers (optional content, ISO 32000-1, 8.11). They are written through its own document
objects: one dictionary a class in the catalog, named in the resources of each page, and the marked-content operators
BDC and EMC about what belongs to each class. All colours but the spot colours are sRGB, and the file says so by its
profile (DefaultRGB, 8.6.5.6): artwork keeps its numbers.
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
from .halo import HALO_OPACITY, Halo, halos
from .inks import SPOT_NAMES, legend_ink, spot_ink, srgb_profile
from .lettering import CAP_HEIGHT, font_name, spelled
from .lines import ArtImage, Fill, NetLine, NetText
from .pdf_streams import binary_streams
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
            group = {"Type": pdfdoc.PDFName("OCG"), "Name": pdfdoc.PDFString(name)}
            self._layers[name] = self._doc.Reference(pdfdoc.PDFDictionary(group))
        every = pdfdoc.PDFArray(list(self._layers.values()))
        shown = pdfdoc.PDFDictionary({"Name": pdfdoc.PDFString("Layers"), "Order": every, "ON": every})
        catalog = self._doc.Catalog
        catalog.OCProperties = pdfdoc.PDFDictionary({"OCGs": every, "D": shown})
        catalog.__NoDefault__ = [*catalog.__NoDefault__, "OCProperties"]
        entries = pdfdoc.PDFDictionary({"N": 3, "Alternate": pdfdoc.PDFName("DeviceRGB")})
        profile = pdfdoc.PDFStream(entries, srgb_profile(), filters=[pdfdoc.PDFZCompress])
        self._srgb = pdfdoc.PDFArray([pdfdoc.PDFName("ICCBased"), self._doc.Reference(profile)])

    @contextmanager
    def layer(self, name: LineClass) -> Iterator[None]:
        """Everything drawn within belongs to the class."""
        self._code.append(f"/OC /{name} BDC")
        try:
            yield
        finally:
            self._code.append("EMC")

    def _setShadingUsed(self, page: object) -> None:  # noqa: N802, reportlab's name
        """The last of reportlab's steps before a page is added: its resources, layers and colours among them."""
        built: Any = page
        resources: Any = pdfdoc.PDFResourceDictionary(Properties=dict(self._layers))
        resources.basicFonts()
        resources.allProcs()
        resources.setColorSpace(built._colorsUsed)
        resources.ColorSpace["DefaultRGB"] = self._srgb
        if built.XObjects:
            resources.XObject = built.XObjects
        if built.ExtGState:
            resources.ExtGState = built.ExtGState
        built.Resources = resources


@binary_streams()
def sheets_pdf(
    sheets: Sequence[Sheet], pictures: Callable[[str], Picture], *, spot: bool = False, duplex: bool = False
) -> bytes:
    """Write all sheets, one a page.

    Parameters
    ----------
    sheets : at least one
    pictures : gives the picture of an artwork file
    spot : whether cut lines and creases are separations, "Cut" and "Crease", that overprint the artwork
    duplex : whether pages are fronts and backs in turn, which printers are then told

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
    if duplex:
        canvas.setViewerPreference("Duplex", "DuplexFlipLongEdge")
    for sheet in sheets:
        _page(canvas, sheet, pictures, spot)
    canvas.save()
    return stream.getvalue()


def _page(canvas: _LayeredCanvas, sheet: Sheet, pictures: Callable[[str], Picture], spot: bool) -> None:
    canvas.setPageSize((sheet.width_mm * MM, sheet.height_mm * MM))
    trim, bleed = _boxes(sheet)
    canvas.setTrimBox(trim)
    canvas.setBleedBox(bleed)
    canvas.scale(MM, MM)
    canvas.setLineJoin(1)
    for name in LINE_CLASSES:
        if name == "label":
            without = tuple(SPOT_NAMES) if spot else ()
            _halos(canvas, [halo for drawing in sheet.pieces for halo in halos(drawing, without=without)])
        with canvas.layer(name):
            for drawing in sheet.pieces:
                if name == "art":
                    for fill in drawing.fills:
                        _fill(canvas, fill)
                if name == "art" and drawing.art is not None:
                    _image(canvas, drawing.art, pictures)
                _content(canvas, name, drawing.lines, drawing.texts, spot)
            _content(canvas, name, sheet.lines, sheet.texts, spot)
    canvas.showPage()


def _boxes(sheet: Sheet) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """TrimBox and BleedBox, points: about all card, and about that with its bleed, as far as the sheet goes."""
    paper = np.array([0.0, 0.0, sheet.width_mm, sheet.height_mm])
    boxes = []
    for grown in (0.0, 1.0):
        cards = [shapely.box(*drawing.card.bounds).buffer(grown * drawing.bleed_mm) for drawing in sheet.pieces]
        bounds = shapely.total_bounds(cards)
        inside = np.concatenate([np.maximum(bounds[:2], paper[:2]), np.minimum(bounds[2:], paper[2:])])
        boxes.append(tuple(round(float(value) * MM, 4) for value in inside))
    return boxes[0], boxes[1]


def _content(
    canvas: _LayeredCanvas, name: LineClass, lines: Sequence[NetLine], texts: Sequence[NetText], spot: bool
) -> None:
    for line in lines:
        if line.line_class == name:
            draw_line(canvas, line, spot=spot)
    for text in texts:
        if text.line_class == name:
            draw_text(canvas, text, STYLES[name].color)


def _halos(canvas: _LayeredCanvas, shapes: Sequence[Halo]) -> None:
    """Light shapes, filled and not stroked, so that they are not taken for lines of the net.

    Each is seen only where both the lettering and its line are: neither leaves light behind when it is switched off.
    """
    canvas.setFillColorRGB(1.0, 1.0, 1.0)
    canvas.setFillAlpha(HALO_OPACITY)
    for name in dict.fromkeys(shape.line_class for shape in shapes):
        with canvas.layer(name), canvas.layer("label"):
            _light(canvas, [shape for shape in shapes if shape.line_class == name])
    canvas.setFillAlpha(1.0)


def _light(canvas: _LayeredCanvas, shapes: Sequence[Halo]) -> None:
    for shape in shapes:
        region: BaseGeometry = shapely.LinearRing(shape.points) if shape.closed else shapely.LineString(shape.points)
        if shape.width_mm:
            region = region.buffer(shape.width_mm / 2, cap_style="flat")
        else:
            region = shapely.Polygon(shape.points)
        canvas.drawPath(outline_path(canvas, region), stroke=0, fill=1)


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


def draw_line(canvas: Canvas, line: NetLine, *, spot: bool = False) -> None:
    """Draw a line in the style of its class; with spot in its spot colour, where it has one, over the artwork."""
    style = STYLES[line.look or line.line_class]
    _set_style(canvas, style, line.length_mm)
    if line.light:
        canvas.setLineWidth(style.width_mm / 2)
    ink = (spot_ink(line) or legend_ink(line)) if spot else None
    if ink is not None:
        canvas.setStrokeColor(ink)
        _overprint(canvas, on=True)
    path = canvas.beginPath()
    path.moveTo(*line.stretches[0].start)
    for part in line.stretches:
        if part.controls is None:
            path.lineTo(*part.end)
        else:
            path.curveTo(*part.controls[0], *part.controls[1], *part.end)
    filled = bool(style.tint and line.closed and line.tinted)
    if line.closed:
        path.close()
    if filled:
        canvas.setFillAlpha(style.tint)
    canvas.drawPath(path, stroke=1, fill=int(filled))
    if filled:
        canvas.setFillAlpha(1.0)
    if ink is not None:
        _overprint(canvas, on=False)


def _overprint(canvas: Canvas, *, on: bool) -> None:
    """Whether strokes leave what lies under them on the other plates (ISO 32000-1, 8.6.7)."""
    state: Any = canvas
    state.setStrokeOverprint(on)
    state.setOverprintMask(on)


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


def _fill(canvas: _LayeredCanvas, fill: Fill) -> None:
    """A flat colour, filled and not stroked; sRGB by the file's default colour space."""
    canvas.setFillColorRGB(*fill.color)
    canvas.drawPath(outline_path(canvas, fill.shown), stroke=0, fill=1)


def _image(canvas: _LayeredCanvas, art: ArtImage, pictures: Callable[[str], Picture]) -> None:
    canvas.saveState()
    canvas.clipPath(outline_path(canvas, art.shown), stroke=0, fill=0)
    picture = ImageReader(io.BytesIO(art.picture(pictures).data))
    for corner, along, up in art.laid():
        canvas.saveState()
        canvas.transform(*along, *up, *corner)
        canvas.drawImage(picture, 0, 0, 1, 1, mask="auto")
        canvas.restoreState()
    canvas.restoreState()
