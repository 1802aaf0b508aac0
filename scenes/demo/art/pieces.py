"""Every piece of the demo book with its artwork: drawn on its art box, written as SVG and PNG beside this file."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from geometry import Spread, assemble, read_description
from geometry.binding import read_book

from .cover_art import draw_cover
from .low_tide_sheets import draw_low_tide
from .night_sheets import draw_night
from .sheet import Sheet, write_picture, write_svg
from .storm_sheets import draw_storm

__all__ = ["DRAWN", "Drawn", "main"]

_HERE = Path(__file__).resolve().parent
_BOOK = _HERE.parent
#: A little more than what a printer calls sharp for pictures without lettering, so that rounding never falls below it.
_DPI = 202


@dataclass(frozen=True)
class Drawn:
    """A spread, or the cover, and what draws it.

    Parameters
    ----------
    name : what it is called when it alone is drawn
    folder : where its sheets are written, in this folder; empty for this folder itself
    draw : its sheets, by the names of their files
    """

    name: str
    folder: str
    draw: Callable[[], dict[str, Sheet]]

    def sheets(self) -> dict[str, Sheet]:
        """Its sheets, by the paths of their files without ending."""
        return {f"{self.folder}/{name}".lstrip("/"): sheet for name, sheet in self.draw().items()}


def _spread(name: str, folder: str, draw: Callable[[Spread], dict[str, Sheet]]) -> Drawn:
    """A spread of the book, assembled when it is drawn."""
    return Drawn(name, folder, lambda: draw(assemble(read_description(_BOOK / f"{name}.toml"))))


def _boards() -> dict[str, Sheet]:
    """The cover's boards: as high and wide as the pages and what they reach beyond them."""
    spread = assemble(read_description(_BOOK / "low-tide.toml"))
    square = read_book(_BOOK / "book.toml").cover.square_mm
    width, height = spread.page_size_mm
    return draw_cover(spread, (width + square, height + 2 * square))


DRAWN = (
    _spread("low-tide", "", draw_low_tide),
    _spread("storm", "storm", draw_storm),
    _spread("night", "night", draw_night),
    Drawn("cover", "", _boards),
)


def main(wanted: list[str]) -> int:
    """Draw the named sheets and spreads, everything where none is named; returns the exit status."""
    names = [drawn.name for drawn in DRAWN]
    folders = {str(Path(word).parent) for word in wanted if word not in names}
    left = set(wanted)
    for drawn in DRAWN:
        if wanted and drawn.name not in wanted and (drawn.folder or ".") not in folders:
            continue
        left.discard(drawn.name)
        for name, sheet in drawn.sheets().items():
            if not wanted or drawn.name in wanted or name in wanted:
                left.discard(name)
                _write(name, sheet)
    if left:
        print(f"no sheet is named {', '.join(sorted(left))}; whole parts are {', '.join(names)}", file=sys.stderr)
        return 2
    return 0


def _write(name: str, sheet: Sheet) -> None:
    """Write one sheet's two files."""
    path = _HERE / name
    path.parent.mkdir(exist_ok=True)
    svg = write_svg(sheet, path.with_suffix(".svg"))
    write_picture(svg, path.with_suffix(".png"), sheet.box, dots_per_inch=_DPI)
    print(f"{name}: {len(sheet.layers)} layers")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
