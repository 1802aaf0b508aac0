"""Nets of a spread as files."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

from ..errors import HingeleafError
from ..files import make_folder, write_file
from ..spread import Spread
from .drawing import PieceDrawing, draw_piece
from .lettering import spelled
from .lines import ArtImage
from .pictures import read_picture
from .sheets import Sheet, lay_out, turned_over

__all__ = ["FORMATS", "NetFiles", "slug", "write_nets"]

FORMATS = ("svg", "pdf", "dxf")


@dataclass(frozen=True)
class NetFiles:
    """What was written.

    Parameters
    ----------
    paths : every file, in the order of FORMATS
    sheets : the sheets, with their pieces
    notes : sentences a person should read
    """

    paths: tuple[Path, ...]
    sheets: tuple[Sheet, ...]
    notes: tuple[str, ...]

    @property
    def sheet_of(self) -> dict[str, int]:
        """Number of the sheet, from 1, on which each piece lies."""
        return {drawing.piece.id: sheet.footer.number for sheet in self.sheets for drawing in sheet.pieces}


def write_nets(
    spread: Spread, out_dir: str | Path, *, sheet: str | None = None, formats: Sequence[str] = FORMATS
) -> NetFiles:
    """Write the nets of all pieces: an SVG and a DXF file a sheet, and one PDF file of all sheets.

    Artwork of the backs, where there is any, goes into a second PDF file, a page a sheet, to be printed on the back.

    Parameters
    ----------
    spread : Spread
    out_dir : folder, made where it is missing
    sheet : size of the sheets (see sheet_size); None for the smallest of A4, A3, A2 and A1 that takes every piece
    formats : of "svg", "pdf", "dxf"

    Returns
    -------
    NetFiles

    Raises
    ------
    HingeleafError
        A size or a format is not known.
    FileError
        Artwork cannot be read, or the folder not written to.
    """
    unknown = [name for name in formats if name not in FORMATS]
    if unknown or not formats:
        wrong = f'format "{unknown[0]}" is not known' if unknown else "no format is asked for"
        raise HingeleafError(f"{wrong}: write one or more of {', '.join(FORMATS)}")
    drawings, missing = _with_art([draw_piece(spread, piece.id) for piece in spread.pieces])
    sheets, notes = lay_out(spread.title, drawings, sheet)
    stem = f"{slug(spread.title)}-nets".removeprefix("-")
    contents = dict(_contents(sheets, stem, formats))
    folder = make_folder(out_dir)
    paths = tuple(folder / name for name in contents)
    for path, data in zip(paths, contents.values(), strict=True):
        write_file(path, data)
    about_files = (
        *_back_notes(sheets, stem, formats),
        *_lettering_notes(sheets, formats),
        *_stale(folder, stem, paths),
    )
    return NetFiles(paths, sheets, (*notes, *missing, *about_files))


def _with_art(drawings: Sequence[PieceDrawing]) -> tuple[list[PieceDrawing], list[str]]:
    """The drawings without artwork whose file is not there, and a note on each file: the card stays plain."""
    notes = [
        f'the artwork of the {face} of "{drawing.piece.title}", {Path(art.file).name}, is not there: it stays plain'
        for drawing in drawings
        for face, art in (("printed face", drawing.art), ("back", drawing.back))
        if art is not None and _if_there(art) is None
    ]
    return [replace(each, art=_if_there(each.art), back=_if_there(each.back)) for each in drawings], notes


def _if_there(art: ArtImage | None) -> ArtImage | None:
    return art if art is not None and Path(art.file).is_file() else None


def slug(title: str) -> str:
    """A title as part of a file name.

    Examples
    --------
    >>> slug("Über den Hügeln, Teil 2")
    'uber-den-hugeln-teil-2'
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode("ascii").lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60].strip("-")


def _contents(sheets: Sequence[Sheet], stem: str, formats: Sequence[str]) -> Iterator[tuple[str, bytes]]:
    """Names and bytes of all files. The writers load large libraries, and only when they are wanted."""
    pictures = cache(read_picture)
    if "svg" in formats:
        from .svg import sheet_svg

        for sheet in sheets:
            yield f"{stem}-{sheet.footer.number}.svg", sheet_svg(sheet, pictures)
    if "pdf" in formats:
        from .pdf import sheets_pdf

        yield f"{stem}.pdf", sheets_pdf(sheets, pictures)
        if _has_backs(sheets):
            yield f"{stem}-backs.pdf", sheets_pdf([turned_over(sheet) for sheet in sheets], pictures)
    if "dxf" in formats:
        from .dxf import sheet_dxf

        for sheet in sheets:
            yield f"{stem}-{sheet.footer.number}.dxf", sheet_dxf(sheet)


def _has_backs(sheets: Sequence[Sheet]) -> bool:
    return any(drawing.back is not None for sheet in sheets for drawing in sheet.pieces)


def _back_notes(sheets: Sequence[Sheet], stem: str, formats: Sequence[str]) -> list[str]:
    """Where the artwork of the backs is."""
    if not _has_backs(sheets):
        return []
    if "pdf" not in formats:
        return ["the artwork of the backs is only in the PDF files, which were not asked for"]
    return [f"{stem}-backs.pdf is for the back of each sheet, turned over left to right"]


def _lettering_notes(sheets: Sequence[Sheet], formats: Sequence[str]) -> list[str]:
    """What the PDF had to spell otherwise."""
    texts = [text.text for sheet in sheets for text in sheet.texts]
    texts += [text.text for sheet in sheets for drawing in sheet.pieces for text in drawing.texts]
    if "pdf" not in formats:
        return []
    changed = sorted({text for text in texts if spelled(text) != unicodedata.normalize("NFC", text)})
    return [f'PDF: "{text}" has letters that the font lacks and reads "{spelled(text)}"' for text in changed]


def _stale(folder: Path, stem: str, paths: Sequence[Path]) -> list[str]:
    """Sheets of an earlier, longer run that still lie in the folder."""
    pattern = re.compile(re.escape(stem) + r"-\d+\.(svg|dxf)")
    old = sorted(path.name for path in folder.iterdir() if pattern.fullmatch(path.name) and path not in paths)
    return [f"{name} is left from an earlier run and not part of these nets" for name in old]
