"""The booklet as PDF: set by reportlab's platypus, fonts embedded, pages numbered."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape

import numpy as np
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase.pdfmetrics import registerFontFamily
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    KeepTogether,
    ListFlowable,
    ListItem,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
    TableStyle,
)
from reportlab.platypus.doctemplate import LayoutError

from ..errors import HingeleafError
from ..nets.lettering import font_name, one_line, spelled
from ..nets.pdf import MM
from ..nets.pdf_streams import binary_streams
from ..nets.sizes import SheetSize
from .figure import Figure
from .front import PieceRow
from .legend import legend_rows
from .steps import Picture, Step
from .view import Drawing

__all__ = ["Booklet", "booklet_pdf", "document_pdf", "listing", "paragraph", "width_of"]

_MARGIN_MM, _FOOT_MM, _GAP_MM = 16.0, 8.0, 5.0
_TALLEST_MM = 72.0
_BODY, _SMALL, _HEAD, _TITLE = 9.2, 7.8, 11.5, 22.0
_LEAD = 1.38
#: A picture with names beside it is so many times as wide as one without.
_NAMED = 1.4


@dataclass(frozen=True)
class Booklet:
    """All that a booklet holds.

    Parameters
    ----------
    title : of the spread
    page : the paper
    facts : what stands under the title, a sentence each
    cover : the picture on the first page
    tools, materials, cautions : as texts
    rows : the table of pieces
    steps : the order of assembly
    draw : makes the drawing of a picture
    """

    title: str
    page: SheetSize
    facts: tuple[str, ...]
    cover: Picture
    tools: tuple[str, ...]
    materials: tuple[str, ...]
    cautions: tuple[str, ...]
    rows: tuple[PieceRow, ...]
    steps: tuple[Step, ...]
    draw: Callable[[Picture], Drawing]

    @property
    def width_mm(self) -> float:
        """Between the margins."""
        return width_of(self.page)


def booklet_pdf(booklet: Booklet) -> bytes:
    """Set a booklet.

    Parameters
    ----------
    booklet : Booklet

    Returns
    -------
    bytes
    """
    return document_pdf(booklet.title, booklet.page, _story(booklet))


def width_of(page: SheetSize) -> float:
    """Between the margins of a page, mm."""
    return page.width_mm - 2 * _MARGIN_MM


@binary_streams()
def document_pdf(title: str, page: SheetSize, story: list[Flowable]) -> bytes:
    """Set what an order of assembly says, with its title and the pages' numbers at their feet.

    Parameters
    ----------
    title : of the spread or the book
    page : the paper
    story : in order

    Returns
    -------
    bytes
    """
    registerFontFamily(font_name(False), normal=font_name(False), bold=font_name(True), italic=font_name(False))
    stream = io.BytesIO()
    size = (page.width_mm * MM, page.height_mm * MM)
    document = BaseDocTemplate(
        stream,
        pagesize=size,
        title=f"{one_line(title)}: order of assembly",
        subject="Order of assembly",
        author="",
        creator="Hingeleaf",
        invariant=1,
        pageCompression=1,
        initialFontName=font_name(False),
        lang="en",
    )
    frame = Frame(
        _MARGIN_MM * MM,
        (_MARGIN_MM + _FOOT_MM) * MM,
        width_of(page) * MM,
        (page.height_mm - 2 * _MARGIN_MM - _FOOT_MM) * MM,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )
    document.addPageTemplates([PageTemplate(frames=[frame])])
    try:
        document.build(story, canvasmaker=_numbered(title, page))
    except LayoutError:
        raise HingeleafError(
            "the booklet: a text is longer than a page of it; shorten the titles of pieces, or ask for fewer copies"
        ) from None
    return stream.getvalue()


def _numbered(title: str, page: SheetSize) -> type[Canvas]:
    """A canvas that writes title and page number of how many at the foot of each page."""

    class Numbered(Canvas):
        def __init__(self, *arguments: Any, **options: Any) -> None:
            super().__init__(*arguments, **options)
            self._pages: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802, reportlab's name
            """Keep the page until their number is known."""
            self._pages.append(dict(self.__dict__))
            self._startPage()  # type: ignore[attr-defined]

        def save(self) -> None:
            """Write all pages with their feet."""
            for number, state in enumerate(self._pages, 1):
                self.__dict__.update(state)
                _foot(self, title, page, (number, len(self._pages)))
                super().showPage()
            super().save()

    return Numbered


def _foot(canvas: Canvas, title: str, page: SheetSize, numbers: tuple[int, int]) -> None:
    y, left, right = _MARGIN_MM * MM, _MARGIN_MM * MM, (page.width_mm - _MARGIN_MM) * MM
    canvas.setStrokeColorRGB(0.4, 0.4, 0.4)
    canvas.setLineWidth(0.4)
    canvas.line(left, y + 3.2 * MM, right, y + 3.2 * MM)
    canvas.setFillColorRGB(0.2, 0.2, 0.2)
    canvas.setFont(font_name(False), _SMALL)
    text = one_line(title)
    canvas.drawString(left, y, spelled(f"{text[:70]}{'…' * (len(text) > 70)} · order of assembly"))
    canvas.drawRightString(right, y, "page {} of {}".format(*numbers))


def _style(size: float, *, bold: bool = False, before: float = 0.0, after: float = 2.5) -> ParagraphStyle:
    name = font_name(bold)
    return ParagraphStyle(
        f"{name}{size}{before}{after}",
        fontName=name,
        fontSize=size,
        leading=size * _LEAD,
        spaceBefore=before,
        spaceAfter=after,
        bulletFontName=font_name(False),
        splitLongWords=1,
    )


def paragraph(
    text: str, size: float = _BODY, *, bold: bool = False, before: float = 0.0, after: float = 2.5
) -> Paragraph:
    """A paragraph; size in points, the room before and behind it too."""
    return Paragraph(escape(spelled(text)), _style(size, bold=bold, before=before, after=after))


def _caution(text: str) -> Table:
    """A boxed caution, told by its frame and its word."""
    body = Paragraph(
        f'<font name="{font_name(True)}">Take care.</font> {escape(spelled(text))}', _style(_SMALL, after=0)
    )
    table = Table([[body]], hAlign="LEFT")
    frame: list[Any] = [("BOX", (0, 0), (-1, -1), 0.8, "#222222"), ("FONT", (0, 0), (-1, -1), font_name(False))]
    table.setStyle(TableStyle([*frame, ("TOPPADDING", (0, 0), (-1, -1), 2)]))
    return table


def listing(texts: Sequence[str], *, numbered: bool) -> ListFlowable:
    """A list, numbered or not."""
    items: list[Any] = [ListItem(paragraph(text, after=1.5), leftIndent=14) for text in texts]
    options: dict[str, Any] = {"bulletType": "1", "bulletFormat": "%s."} if numbered else {"start": "•"}
    kind = options.pop("bulletType", "bullet")
    return ListFlowable(
        items, bulletType=kind, leftIndent=14, bulletFontName=font_name(False), bulletFontSize=_BODY, **options
    )


def _story(booklet: Booklet) -> list[Flowable]:
    story: list[Flowable] = [
        paragraph("Order of assembly", _HEAD, after=1),
        paragraph(one_line(booklet.title), _TITLE, bold=True, after=6),
        *(paragraph(fact) for fact in booklet.facts),
        Spacer(1, 3 * MM),
        Figure(booklet.draw(booklet.cover), booklet.width_mm * MM, 95 * MM),
        paragraph("How to read the pictures", _HEAD, bold=True, before=8),
        _legend(booklet),
        PageBreak(),
        paragraph("Lay ready", _HEAD, bold=True),
        listing([*booklet.materials, *booklet.tools], numbered=False),
        paragraph("Take care", _HEAD, bold=True, before=6),
        listing(booklet.cautions, numbered=False),
        paragraph("Words", _HEAD, bold=True, before=6),
        listing(_WORDS, numbered=False),
        paragraph("Pieces", _HEAD, bold=True, before=6),
        _pieces(booklet),
        PageBreak(),
        paragraph("Steps", _TITLE * 0.8, bold=True, after=4),
    ]
    for step in booklet.steps:
        story += _step(booklet, step)
    return story


_WORDS = (
    "Printed face: the side with the picture and the lettering of the net. Back: the other side.",
    "Spine: the fold between the two pages. Left page, right page: as you see the open spread with its foot towards "
    "you. Fore edge: the edge opposite the spine. Head and foot: the upper and the lower edge.",
    "Panel: a flat part of a piece between creases and edges. Tab: the strip that is glued; it bears a name, and the "
    "place where it is glued bears the same name. “(on the back)” in such a place means: mirrored, on the other side "
    "of the card.",
    "Valley: fold so that the printed faces come together. Mountain: fold so that the backs come together. Both are "
    "meant as seen with the printed face up.",
    "Left and right in the name of a part of a piece: as on the picture of the piece laid flat, its printed face up.",
    "Open all the way: until the two pages lie in one plane, where the first page names no other limit. Most pictures "
    "show the spread less far open, so that one sees more.",
    "Cut-in: a strip between two slits that is pushed through its own card. Slot: a narrow opening through which a "
    "tab goes.",
)


def _legend(booklet: Booklet) -> Table:
    rows = [[sample, paragraph(text, _SMALL, after=0)] for sample, text in legend_rows()]
    half = (len(rows) + 1) // 2
    cells = [[*rows[index], *(rows[half + index] if half + index < len(rows) else ["", ""])] for index in range(half)]
    wide = booklet.width_mm * MM / 2 - 24 * MM
    table = Table(cells, colWidths=[22 * MM, wide, 24 * MM, wide], hAlign="LEFT")
    table.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "MIDDLE"), *_tight()]))
    return table


def _tight() -> list[Any]:
    """Cells without air about them. A table names the font of its cells even where they are paragraphs."""
    return [
        ("FONT", (0, 0), (-1, -1), font_name(False)),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
    ]


def _pieces(booklet: Booklet) -> Table:
    heads = ("", "piece", "stock", "width × height, mm", "sheet", "creases", "glued places")
    rows: list[list[Any]] = [[paragraph(head, _SMALL, bold=True, after=0) for head in heads]]
    for number, row in enumerate(booklet.rows, 1):
        cells = (str(number), row.title, row.stock, row.size, row.sheet, row.creases, row.glued)
        rows.append([paragraph(cell, _SMALL, after=0) for cell in cells])
    shares = np.array([0.05, 0.28, 0.27, 0.14, 0.08, 0.08, 0.10])
    table = Table(rows, colWidths=list(shares * booklet.width_mm * MM), repeatRows=1, hAlign="LEFT")
    lines: list[Any] = [("LINEBELOW", (0, 0), (-1, -1), 0.3, "#777777"), ("VALIGN", (0, 0), (-1, -1), "TOP")]
    table.setStyle(TableStyle([*lines, *_tight()]))
    return table


def _step(booklet: Booklet, step: Step) -> list[Flowable]:
    block: list[Flowable] = [paragraph(f"Step {step.number}: {step.title}", _HEAD, bold=True, before=7, after=3)]
    if step.pictures:
        block.append(_row(booklet, step.pictures))
    block.append(listing(step.sentences, numbered=True))
    block += [_caution(text) for text in step.cautions]
    return [CondPageBreak(40 * MM), KeepTogether(block), Spacer(1, 3 * MM)]


def _row(booklet: Booklet, pictures: Sequence[Picture]) -> Table:
    """Pictures side by side, those with names beside them wider."""
    drawings = [booklet.draw(picture) for picture in pictures]
    shares = np.array([_NAMED if drawing.labels else 1.0 for drawing in drawings])
    widths = booklet.width_mm * shares / shares.sum()
    cells = []
    for picture, drawing, width in zip(pictures, drawings, widths, strict=True):
        caption = picture.caption + (f" ({drawing.seen_from})" if drawing.seen_from else "")
        figure = Figure(drawing, float(width - _GAP_MM) * MM, _TALLEST_MM * MM)
        cells.append([figure, paragraph(caption, _SMALL, before=2, after=0)])
    table = Table([cells], colWidths=list(widths * MM), hAlign="LEFT")
    table.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "BOTTOM"), *_tight()]))
    return table
