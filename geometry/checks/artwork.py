"""Artwork: files that are not there, are no pictures, do not fit their box, or will not print as they look."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from pathlib import Path
from typing import Literal

from ..artwork import PictureHead, art_box, check_whole, picture_head
from ..errors import FileError
from ..files import is_there
from ..model import Piece
from ..spread import Spread
from .findings import Finding, Severity

__all__ = ["check_artwork", "gone_artwork", "picture_findings"]

#: Artwork that ends up longer or shorter than it was drawn by less than this stays within the bleed and unnoticed.
_STRETCH_MM = 0.5
#: What a printer asks for (common practice).
_DOTS_PER_INCH = 300
#: Below the first pixels are seen, below the second fine lines are soft (common practice).
_COARSE, _SOFT = 150, 200
_MM_PER_INCH = 25.4


def check_artwork(spread: Spread) -> list[Finding]:
    """Findings on artwork files.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding; measure: 1 for a file that is missing or no picture, where the piece stays plain or cannot be
    printed, that has more than one picture, or inks for colours; mm for a picture of another proportion than its box,
    which it is stretched to: by how much; for one of few pixels how large one is
    """
    findings: list[Finding] = []
    for piece in spread.pieces:
        for face, path in (("printed face", piece.art_front), ("back", piece.art_back)):
            if path is not None:
                findings.extend(_faults(spread, piece, face, Path(path)))
    return findings


def gone_artwork(spread: Spread, gone: Collection[str]) -> list[Finding]:
    """Findings on files that are gone, while their pictures are kept elsewhere, as in a .blend.

    Parameters
    ----------
    spread : whose artwork is that which was kept
    gone : paths of kept artwork whose own files are gone
    """
    return [
        Finding(
            "artwork", "note", piece.id, None, None, None, 1.0, "files",
            f"{piece.id}: the file of the artwork of its {face}, {Path(path).name}, is gone; the picture that is kept "
            f"here is shown and printed: save the description to have it back",
        )
        for piece in spread.pieces
        for face, path in (("printed face", piece.art_front), ("back", piece.art_back))
        if path is not None and path in gone
    ]  # fmt: skip


def _faults(spread: Spread, piece: Piece, face: str, path: Path) -> Iterator[Finding]:
    left, low, right, high = art_box(spread, piece.id)
    what = f"{piece.id}: the artwork of its {face}, {path.name},"
    return picture_findings(path, (right - left, high - low), what, piece.id)


def picture_findings(
    path: Path, size_mm: tuple[float, float], what: str, piece_id: str, *, panel: str | None = None, base: str = "card"
) -> Iterator[Finding]:
    """Findings on one artwork file.

    Parameters
    ----------
    path : of the file
    size_mm : width and height of the box that it fills, mm
    what : how the messages begin
    piece_id, panel : where it is
    base : what it is printed on
    """

    def found(severity: Severity, measure: float, unit: Literal["mm", "files"], message: str) -> Finding:
        return Finding("artwork", severity, piece_id, panel, None, None, measure, unit, f"{what} {message}")

    if not is_there(path):
        yield found("warning", 1.0, "files", f"is not there; the {base} stays plain")
        return
    try:
        head = picture_head(path)
        check_whole(path)
    except FileError as error:
        yield found("warning", 1.0, "files", f"cannot be printed: {error}")
        return
    for measure, message in _misfit(head, *size_mm):
        yield found("warning", measure, "mm", message)
    for severity, measure, message in _coarse(head, *size_mm, base):
        yield found(severity, measure, "mm", message)
    if head.pictures > 1:
        yield found("note", 1.0, "files", f"holds {head.pictures} pictures; the first is used: save it as one picture")
    if head.is_inks:
        message = "has inks for colours (CMYK), which look otherwise in sRGB: save it as sRGB and look again"
        yield found("note", 1.0, "files", message)


def _dots(width_mm: float, height_mm: float) -> str:
    """The size in pixels that fits a box."""
    across, down = (f"{side / _MM_PER_INCH * _DOTS_PER_INCH:.0f}" for side in (width_mm, height_mm))
    return f"{across} x {down} pixels at {_DOTS_PER_INCH} dpi"


def _misfit(head: PictureHead, width: float, height: float) -> Iterator[tuple[float, str]]:
    """A picture of another proportion than its box: by how much, mm, and a message."""
    across, down = head.width, head.height
    # By its width the picture would be so high; where that is too high, it is by its height too narrow.
    stretch = height - width * down / across
    way, measure = ("height", stretch) if stretch > 0 else ("width", -stretch * across / down)
    # A pixel more or less is rounding.
    if measure > _STRETCH_MM + max(width / across, height / down):
        yield (
            measure,
            f"is {across} x {down} pixels, but its box is {width:.1f} x {height:.1f} mm: it is stretched by "
            f"{measure:.1f} mm in {way}; draw it on the box, e.g. {_dots(width, height)}",
        )


def _coarse(head: PictureHead, width: float, height: float, base: str) -> Iterator[tuple[Severity, float, str]]:
    """A picture of too few pixels to be printed: how bad that is, how large one is, mm, and a message."""
    pixel = max(width / head.width, height / head.height)
    dots = round(_MM_PER_INCH / pixel)
    if dots >= _SOFT:
        return
    severity: Severity = "warning" if dots < _COARSE else "note"
    seen = "its pixels are seen" if severity == "warning" else "fine lines are soft"
    message = f"has {dots} dpi on the {base}, and {seen} in print; paint it with {_dots(width, height)}"
    yield severity, pixel, message
