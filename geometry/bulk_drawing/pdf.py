"""The sheet of a bulk map as PDF: one page of its own size, true to scale, fonts embedded."""

from __future__ import annotations

import io
from typing import Any

from reportlab.pdfgen.canvas import Canvas

from ..nets.lettering import font_name
from ..nets.pdf import MM, draw_line, draw_text, outline_path
from ..nets.pdf_streams import binary_streams
from .drawing import BulkSheet

__all__ = ["bulk_pdf"]

#: reportlab's number for filling by the even-odd rule, so that holes stay open.
_EVEN_ODD = 0


@binary_streams()
def bulk_pdf(sheet: BulkSheet) -> bytes:
    """Write the sheet.

    Parameters
    ----------
    sheet : BulkSheet

    Returns
    -------
    bytes
    """
    stream = io.BytesIO()
    # The initial font would otherwise be one that is not embedded; invariant fixes dates and identifiers.
    options: dict[str, Any] = {"initialFontName": font_name(False), "pageCompression": 1, "invariant": 1}
    canvas = Canvas(stream, pagesize=(sheet.width_mm * MM, sheet.height_mm * MM), **options)
    canvas.setTitle(f"{sheet.title}, bulk map")
    canvas.setSubject("The closed page at true scale, in millimetres")
    canvas.setAuthor("")
    canvas.setCreator("Hingeleaf")
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.scale(MM, MM)
    for patch in sheet.patches:
        canvas.setFillColorRGB(*(channel / 255.0 for channel in patch.color))
        canvas.drawPath(outline_path(canvas, patch.outline), stroke=0, fill=1, fillMode=_EVEN_ODD)
    for line in sheet.lines:
        draw_line(canvas, line)
    for text, color in sheet.texts:
        draw_text(canvas, text, color)
    canvas.save()
    return stream.getvalue()
