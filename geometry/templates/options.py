"""What a person chooses about templates: resolution, kinds of file, test card."""

from __future__ import annotations

from dataclasses import dataclass

from ..errors import HingeleafError

__all__ = ["DPI", "FORMATS", "SAFE_MM", "TemplateOptions", "pixels"]

#: What a printer asks for (common practice).
DPI = 300.0
#: png: guides on transparent ground; white: guides on white; svg: guides in layers.
FORMATS = ("png", "svg", "white")
#: What matters keeps so far away from cut edges (common practice).
SAFE_MM = 3.0
_DPI = (30.0, 2400.0)
_MOST_SIDE = 20_000
#: Above it Pillow takes a picture for an attack and reads it no more, so it could not be printed either.
_MOST_PIXELS = 178_000_000


@dataclass(frozen=True)
class TemplateOptions:
    """How templates are written.

    Parameters
    ----------
    dpi : pixels an inch
    formats : of FORMATS
    test_card : also a numbered chequerboard for each template
    pieces : names of pieces, of the pages "page", of the boards of a book "cover"; None for all

    Raises
    ------
    HingeleafError
        A resolution or a format is none.
    """

    dpi: float = DPI
    formats: tuple[str, ...] = ("png", "svg")
    test_card: bool = False
    pieces: tuple[str, ...] | None = None

    def __post_init__(self) -> None:
        """Refuse what makes no picture."""
        low, high = _DPI
        if not low <= self.dpi <= high:
            raise HingeleafError(f"{self.dpi:g} dpi: write {low:g} to {high:g} dots per inch; printers ask for {DPI:g}")
        unknown = [name for name in self.formats if name not in FORMATS]
        if unknown or not self.formats:
            wrong = f'format "{unknown[0]}" is not known' if unknown else "no format is asked for"
            raise HingeleafError(f"{wrong}: write one or more of {', '.join(FORMATS)}")
        if self.pieces is not None and not self.pieces:
            raise HingeleafError("no piece is asked for: name one or more, or leave them out for all")


def pixels(size_mm: tuple[float, float], dpi: float, what: str) -> tuple[int, int]:
    """Size of a picture in whole pixels.

    Parameters
    ----------
    size_mm : width and height
    dpi : pixels an inch
    what : name for the message

    Returns
    -------
    (width, height), pixels, at least one each

    Raises
    ------
    HingeleafError
        It is larger than programs can open.

    Examples
    --------
    >>> pixels((302.0, 216.0), 300, "pages")
    (3567, 2551)
    """
    width, height = (max(1, round(side / 25.4 * dpi)) for side in size_mm)
    if max(width, height) > _MOST_SIDE or width * height > _MOST_PIXELS:
        fits = min(_MOST_SIDE / max(size_mm), (_MOST_PIXELS / (size_mm[0] * size_mm[1])) ** 0.5) * 25.4
        raise HingeleafError(
            f"{what}: {size_mm[0]:.0f} x {size_mm[1]:.0f} mm at {dpi:g} dpi are {width} x {height} pixels, more than "
            f"programs open; at most {fits // 1:.0f} dpi"
        )
    return width, height
