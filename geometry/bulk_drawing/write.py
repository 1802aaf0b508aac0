"""The bulk map as a file."""

from __future__ import annotations

from pathlib import Path

from ..checks.bulk import bulk_map
from ..errors import HingeleafError
from ..files import write_file
from ..spread import Spread
from .drawing import draw_bulk
from .pdf import bulk_pdf
from .svg import bulk_svg

__all__ = ["map_format", "write_bulk"]


def map_format(path: str | Path) -> str:
    """The format that a file's name asks for, "svg" or "pdf".

    Raises
    ------
    HingeleafError
        It asks for another.

    Examples
    --------
    >>> map_format("out/bulk.PDF")
    'pdf'
    """
    ending = Path(path).suffix.lower()
    if ending not in (".svg", ".pdf"):
        raise HingeleafError(f"{path}: a bulk map is an SVG or a PDF file; let the name end in .svg or .pdf")
    return ending[1:]


def write_bulk(spread: Spread, path: str | Path) -> None:
    """Draw the bulk map of a spread and write it.

    Parameters
    ----------
    spread : Spread
    path : the file; its ending says which format

    Raises
    ------
    HingeleafError
        The name ends otherwise.
    FileError
        The file cannot be written.
    """
    written = bulk_svg if map_format(path) == "svg" else bulk_pdf
    write_file(path, written(draw_bulk(bulk_map(spread), spread.title)))
