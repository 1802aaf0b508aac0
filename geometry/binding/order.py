"""The order in which a book is bound, as PDF: what to lay ready, and what to glue to what."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from reportlab.lib.colors import Color
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Spacer

from ..booklet.pdf import document_pdf, listing, paragraph, width_of
from ..booklet.words import counted
from ..booklet.write import PAPERS
from ..errors import HingeleafError
from ..nets.lettering import font_name, spelled
from ..nets.pdf import MM
from ..nets.sizes import sheet_size
from .binding import Binding
from .cover_net import TURN_IN_MM, cover_sizes
from .leaf_glue import foulings, leaf_faces

__all__ = ["order_bytes", "order_steps"]

_HEAD, _TITLE, _SMALL = 11.5, 22.0, 7.5
_SECTION_MM = 62.0


def order_bytes(binding: Binding, *, paper: str = "A4") -> tuple[bytes, int]:
    """The order of binding as a PDF file's contents, and the number of its steps.

    Parameters
    ----------
    binding : Binding
    paper : "A4" or "letter"

    Raises
    ------
    HingeleafError
        The paper is not known.
    """
    sizes = {name.lower(): name for name in PAPERS}
    if paper.lower() not in sizes:
        raise HingeleafError(f'paper "{paper}" is not known: write {" or ".join(PAPERS)}')
    page = sheet_size(sizes[paper.lower()])
    steps = order_steps(binding)
    story: list[Flowable] = [
        paragraph("Order of binding", _HEAD, after=1),
        paragraph(binding.title, _TITLE, bold=True, after=6),
        paragraph(
            f"{counted(len(binding.spreads), 'spread')}, back to back between two boards: closed the book is "
            f"{binding.thickness_mm:.1f} mm thick."
        ),
        Spacer(1, 2 * MM),
        _Section(binding, width_of(page) * MM),
        paragraph("The closed book seen from its foot, the spine at the left; heights drawn larger.", _SMALL, after=4),
        paragraph("Lay ready", _HEAD, bold=True, before=4),
        listing(_ready(binding), numbered=False),
        paragraph("Steps", _HEAD, bold=True, before=6),
        listing(steps, numbered=True),
    ]
    return document_pdf(binding.title, page, story), len(steps)


def _ready(binding: Binding) -> list[str]:
    sizes = cover_sizes(binding)
    sprung = binding.rigid_mm - 2 * binding.cover.board_mm
    each = ", ".join(f"{number} {name}" for number, name in enumerate(binding.names, start=1))
    return [
        f"the spreads, each put together as its own booklet says, closed and pressed: {each}",
        f"two boards of {sizes.board[0]:g} × {sizes.board[1]:g} mm and a strip of {sizes.spine:.1f} × "
        f"{sizes.board[1]:g} mm, {binding.cover.board_mm:g} mm thick, the grain along the spine; measure the pressed "
        f"spreads before you cut the strip: new card may still spring up to {sprung:.1f} mm",
        f"book cloth or printed paper, {sizes.wrap[0]:.1f} × {sizes.wrap[1]:g} mm",
        "white glue (PVA), a broad flat brush, scrap paper to glue on, waxed paper to lay between the pages",
        "bone folder, set square, two boards larger than the book, and a weight",
    ]


def order_steps(binding: Binding) -> list[str]:
    """What to do, in order.

    Parameters
    ----------
    binding : Binding

    Returns
    -------
    list of str, one a step
    """
    sizes, count = cover_sizes(binding), len(binding.spreads)
    square = binding.cover.square_mm
    last = binding.names[-1]
    steps = [
        "Close every spread and lay them on each other in their order, the first on top, spines together. Nothing but "
        "handles and rims may stand out at the edges.",
    ]
    for leaf in range(1, count):
        before, behind = binding.names[leaf - 1], binding.names[leaf]
        steps.append(
            f"Leaf {leaf}: brush glue thinly on the back of the right page of {before}, to its very edges, and lay it "
            f"on the back of the left page of {behind}: spines, heads and feet flush, both spreads closed."
            f"{_free(binding, leaf)} Waxed paper between the pages, under a board and a weight until it is dry."
        )
    steps += [
        f"Lay the wrap with its inside up and glue the boards on it: the strip in the middle, {sizes.joint:g} mm of "
        "the wrap free on either side of it, then the front board at the left and the back board at the right. Turn "
        f"in {TURN_IN_MM:g} mm, head and foot first, then the sides.",
        f"Lay the closed book on the back board, spine to spine, {square:g} mm of board free at head, foot and fore "
        f"edge. Glue the back of the right page of {last} on it.{_free(binding, count)}",
        f"Glue the back of the left page of {binding.names[0]}, shut the front board over it and press it on."
        f"{_free(binding, 0)} The spine of the book is not glued to that of the cover.",
        "Leave the closed book under a board and a weight over night. Then turn it through leaf by leaf, slowly, and "
        "look that nothing sticks.",
    ]
    return steps


def _free(binding: Binding, leaf: int) -> str:
    """What of a leaf stays free of glue, and what has to lie between its pages."""
    faces = leaf_faces(binding, leaf)
    words = []
    for face in faces:
        names = [*face.strips, *face.moving]
        if names:
            page = face.page.removeprefix("page.")
            words.append(
                f" Leave {face.unglued.area / 100:.1f} cm2 of the {page} page of {binding.names[face.spread - 1]} free "
                f"of glue, about {', '.join(names)}: mask it with scrap paper while you brush."
            )
    if foulings(faces):
        words.append(" Lay a sheet of card between the two pages, cut out where nothing moves.")
    return "".join(words)


class _Section(Flowable):
    """The closed book as a pile of leaves and gaps, its boards at bottom and top, with names and thicknesses."""

    def __init__(self, binding: Binding, width: float) -> None:
        super().__init__()
        self._binding, self.width, self.height = binding, width, _SECTION_MM * MM

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """Its size, in points."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw it on the page."""
        canvas: Canvas = self.canv
        layers = list(_layers(self._binding))
        scale = self.height / sum(thick for _, _, thick in layers)
        wide, y = self.width * 0.5, 0.0
        canvas.setFont(font_name(False), _SMALL)
        canvas.setLineWidth(0.4)
        middles = []
        for _, kind, thick in layers:
            high, grey = thick * scale, {"board": 0.55, "leaf": 0.8, "gap": 1.0}[kind]
            canvas.setFillColor(Color(grey, grey, grey))
            canvas.rect(0.0, y, wide if kind == "board" else wide * 0.96, high, fill=1)
            middles.append(y + high / 2)
            y += high
        canvas.setFillColor(Color(0, 0, 0))
        for (name, _, thick), middle, place in zip(layers, middles, _apart(middles, self.height), strict=True):
            canvas.line(wide + 1 * MM, middle, wide + 6 * MM, place)
            canvas.drawString(wide + 7 * MM, place - _SMALL / 3, spelled(f"{name}: {thick:.1f} mm"))


def _apart(middles: Sequence[float], height: float) -> list[float]:
    """Where names stand so that none lies on another: beside their layers, or as near as there is room."""
    line = min(1.25 * _SMALL, height / len(middles))
    places: list[float] = []
    for number, middle in enumerate(middles):
        lowest = places[-1] + line if places else 0.0
        places.append(min(max(middle, lowest), height - line * (len(middles) - 1 - number)))
    return places


def _layers(binding: Binding) -> Iterator[tuple[str, str, float]]:
    """From the table upwards: name, what it is, thickness in mm."""
    count, board = len(binding.spreads), binding.cover.board_mm
    yield "back board", "board", board
    for number in range(count, 0, -1):
        thick = float(binding.leaves_mm[number]) - (board if number == count else 0.0)
        yield f"leaf {number}", "leaf", thick
        yield f"{number} {binding.names[number - 1]}", "gap", float(binding.gaps_mm[number - 1])
    yield "leaf 0", "leaf", float(binding.leaves_mm[0]) - board
    yield "front board", "board", board
