"""Artwork: files that a description names but that are not there, are no pictures, or do not fit their box."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from ..artwork import art_box, picture_size
from ..errors import FileError
from ..model import Piece
from ..spread import Spread
from .findings import Finding

__all__ = ["check_artwork"]

#: Artwork that ends up longer or shorter than it was drawn by less than this stays within the bleed and unnoticed.
_STRETCH_MM = 0.5
#: What a printer asks for (common practice).
_DOTS_PER_INCH = 300


def check_artwork(spread: Spread) -> list[Finding]:
    """Findings on artwork files.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding; measure: 1 for a file that is missing or no picture, where the piece stays plain or cannot be
    printed; mm for a picture of another proportion than its box, which it is stretched to: by how much
    """
    findings: list[Finding] = []
    for piece in spread.pieces:
        for face, path in (("printed face", piece.art_front), ("back", piece.art_back)):
            if path is not None:
                findings.extend(_faults(spread, piece, face, Path(path)))
    return findings


def _faults(spread: Spread, piece: Piece, face: str, path: Path) -> Iterator[Finding]:
    what = f"{piece.id}: the artwork of its {face}, {path.name},"
    if not path.is_file():
        message = f"{what} is not there; the card stays plain"
        yield Finding("artwork", "warning", piece.id, None, None, None, 1.0, "files", message)
        return
    try:
        across, down = picture_size(path)
    except FileError as error:
        message = f"{what} cannot be printed: {error}"
        yield Finding("artwork", "warning", piece.id, None, None, None, 1.0, "files", message)
        return
    left, low, right, high = art_box(spread, piece.id)
    width, height = right - left, high - low
    # By its width the picture would be so high; where that is too high, it is by its height too narrow.
    stretch = height - width * down / across
    way, measure = ("height", stretch) if stretch > 0 else ("width", -stretch * across / down)
    # A pixel more or less is rounding.
    if measure > _STRETCH_MM + max(width / across, height / down):
        dots = f"{width / 25.4 * _DOTS_PER_INCH:.0f} x {height / 25.4 * _DOTS_PER_INCH:.0f}"
        message = (
            f"{what} is {across} x {down} pixels, but its box is {width:.1f} x {height:.1f} mm: it is stretched by "
            f"{measure:.1f} mm in {way}; draw it on the box, e.g. {dots} pixels at {_DOTS_PER_INCH} dpi"
        )
        yield Finding("artwork", "warning", piece.id, None, None, None, measure, "mm", message)
