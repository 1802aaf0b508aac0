"""The cover as a net: two boards, the strip of the spine, and the cloth or paper that holds them together.

Seen from outside, laid flat, the back board lies at the left, the front board at the right, and between them the spine.
Between a board and the spine's strip the cloth is as wide as a board is thick, which it goes round when the book is
shut; beyond the boards it is turned in.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from shapely import Polygon, box

from ..artwork import BLEED_MM
from ..files import is_there
from ..model import GlueArea, Panel, Piece, Stock
from ..nets.pictures import read_picture
from ..spread import Spread
from ..transforms import translation_along
from .binding import Binding

__all__ = ["TURN_IN_MM", "CoverSizes", "cover_artwork", "cover_sizes", "cover_spread", "missing_artwork"]

#: How far the cloth is turned in about the boards (common practice).
TURN_IN_MM = 15.0
#: At its corners the cloth is cut off this many thicknesses of board away from the board (common practice).
_CORNER_BOARDS = 1.5
#: Grey board weighs this for each mm of its thickness, g/m2; the wrap is a book cloth or a paper (common practice).
_BOARD_GSM_PER_MM, _WRAP_GSM, _WRAP_MM = 625.0, 150.0, 0.2
#: The most that a printed cover is drawn with: 300 dots an inch.
_DOTS_PER_MM = 300 / 25.4


@dataclass(frozen=True)
class CoverSizes:
    """Sizes of the cover, mm.

    Parameters
    ----------
    board : width and height of one board
    spine : width of the strip between them: what lies between the boards of the closed book
    joint : cloth between the strip and either board
    wrap : width and height of the cloth, turned in on all sides
    """

    board: tuple[float, float]
    spine: float
    joint: float
    wrap: tuple[float, float]

    @property
    def area_mm2(self) -> float:
        """Of board: both, and the spine's strip."""
        return (2 * self.board[0] + self.spine) * self.board[1]

    def board_left(self, side: str) -> float:
        """Where a board begins at the left, the middle of the spine being 0."""
        near = self.spine / 2 + self.joint
        return near if side == "front" else -near - self.board[0]


def cover_sizes(binding: Binding) -> CoverSizes:
    """The sizes of a book's cover."""
    width, height = binding.page_size_mm
    square, thick = binding.cover.square_mm, binding.cover.board_mm
    board = width + square, height + 2 * square
    spine = binding.thickness_mm - 2 * thick
    wrap = 2 * (board[0] + thick + TURN_IN_MM) + spine, board[1] + 2 * TURN_IN_MM
    return CoverSizes(board, spine, thick, wrap)


def cover_spread(binding: Binding, art: str | None = None) -> Spread:
    """The pieces of the cover, to be drawn as nets; it has no motion.

    Parameters
    ----------
    binding : Binding
    art : file with the artwork of the whole wrap, from cover_artwork

    Returns
    -------
    Spread with the pieces "wrap", "front", "back" and "spine"; y from the foot of the pages. A plain wrap shows where
    the boards are glued
    """
    sizes = cover_sizes(binding)
    thick, low = binding.cover.board_mm, -binding.cover.square_mm
    board = Stock("board", _BOARD_GSM_PER_MM * thick, thick, "height", (0.62, 0.6, 0.56))
    cloth = Stock("cover", _WRAP_GSM, _WRAP_MM, "any", (1.0, 1.0, 1.0))
    wrap = _wrap(sizes, low, _CORNER_BOARDS * thick)
    panels = {"wrap": Panel("wrap", "wrap", wrap, None, np.eye(4))}
    pieces = [Piece("wrap", "cover wrap", cloth, ("wrap",), art, None, binding.cover.color, None, _art_box(wrap))]
    glued = []
    for name, width in (("front", sizes.board[0]), ("back", sizes.board[0]), ("spine", sizes.spine)):
        left = -sizes.spine / 2 if name == "spine" else sizes.board_left(name)
        outline = box(0.0, 0.0, width, sizes.board[1])
        place = translation_along([1.0, 0.0, 0.0], [left])[0] @ translation_along([0.0, 1.0, 0.0], [low])[0]
        panel = f"{name}.board"
        panels[panel] = Panel(panel, name, outline, "wrap", place)
        title = "spine strip" if name == "spine" else f"{name} board"
        pieces.append(Piece(name, title, board, (panel,)))
        glued.append(GlueArea("wrap", panel, box(left, low, left + width, low + sizes.board[1]), "back"))
    return Spread(
        title=f"{binding.title} cover",
        page_size_mm=binding.page_size_mm,
        margin_mm=0.0,
        pieces=tuple(pieces),
        panels=panels,
        hinges=(),
        folds={},
        units=(),
        # Nothing is drawn over a printed cover: where the boards go, the order of binding says in mm.
        glue_areas=() if art is not None else tuple(glued),
    )


def _wrap(sizes: CoverSizes, low: float, corner: float) -> Polygon:
    """The cloth with its corners cut off."""
    x, foot, head = sizes.wrap[0] / 2, low - TURN_IN_MM, low + sizes.board[1] + TURN_IN_MM
    # A line at 45 degrees that passes the board's corner at this distance: the turn-ins meet there and do not overlap.
    cut = max(0.0, 2 * TURN_IN_MM - float(np.sqrt(2.0)) * corner)
    points = [(x - cut, foot), (x, foot + cut), (x, head - cut), (x - cut, head)]
    return Polygon([*points, *((-across, up) for across, up in points[::-1])])


def _art_box(wrap: Polygon) -> tuple[float, float, float, float]:
    left, low, right, high = wrap.bounds
    return left - BLEED_MM, low - BLEED_MM, right + BLEED_MM, high + BLEED_MM


def missing_artwork(binding: Binding) -> list[str]:
    """A sentence about each file of the cover's artwork that is not there."""
    files = {"front": binding.cover.art_front, "back": binding.cover.art_back}
    return [
        f"the artwork of the {side} board, {Path(file).name}, is not there: it stays plain"
        for side, file in files.items()
        if file is not None and not is_there(file)
    ]


def cover_artwork(binding: Binding) -> bytes | None:
    """One picture of the whole wrap: the colour of the cover, and on it the artwork of both boards.

    Artwork fills the outside of its board; about it follows its mirror image as bleed, for boards that are glued a
    little off; towards the spine at most half the way to the other board.

    Returns
    -------
    bytes of a PNG file in sRGB; None where the cover has no artwork, or its files are not there

    Raises
    ------
    FileError
        The artwork cannot be read.
    """
    from PIL import Image

    files = {"front": binding.cover.art_front, "back": binding.cover.art_back}
    pictures = {side: read_picture(file) for side, file in files.items() if file is not None and is_there(file)}
    if not pictures:
        return None
    sizes = cover_sizes(binding)
    left, low, right, high = _art_box(_wrap(sizes, -binding.cover.square_mm, _CORNER_BOARDS * binding.cover.board_mm))
    dots = min(_DOTS_PER_MM, max(picture.width for picture in pictures.values()) / sizes.board[0])
    color = tuple(round(255 * part) for part in binding.cover.color)
    canvas = Image.new("RGB", _pixels((right - left, high - low), dots), color)
    for side, picture in pictures.items():
        across, down = _pixels(sizes.board, dots)
        with Image.open(io.BytesIO(picture.data)) as image:
            drawn = image.convert("RGBA").resize((across, down), Image.Resampling.LANCZOS)
        bleed = min(round(BLEED_MM * dots), across, down)
        # The boards of a thin book are so near each other that the bleed of one would lie on the other.
        inner = min(bleed, int((sizes.spine / 2 + sizes.joint) * dots))
        before, after = (inner, bleed) if side == "front" else (bleed, inner)
        pixels = np.pad(np.asarray(drawn), ((bleed, bleed), (before, after), (0, 0)), mode="symmetric")
        top = high - (sizes.board[1] - binding.cover.square_mm)
        corner = round((sizes.board_left(side) - left) * dots) - before, round(top * dots) - bleed
        whole = Image.fromarray(pixels)
        canvas.paste(whole, corner, whole)
    stream = io.BytesIO()
    canvas.save(stream, "PNG", compress_level=3)
    return stream.getvalue()


def _pixels(size_mm: tuple[float, float], dots_per_mm: float) -> tuple[int, int]:
    """Width and height of a picture; of a coarse one of a slender cover still one pixel each."""
    width, height = (max(1, round(side * dots_per_mm)) for side in size_mm)
    return width, height
