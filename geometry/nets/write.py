"""Nets of a spread as files."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TypedDict, Unpack

from ..errors import HingeleafError
from ..files import is_there, make_folder, write_files
from ..spread import Spread
from .backs import has_backs, interleaved, turned_over
from .cutting import CuttingOptions, cutting_files
from .drawing import PieceDrawing, bleed_notes, draw_piece
from .glue import glue_notes
from .lettering import spelled
from .lines import ArtImage
from .listing import sheet_numbers
from .options import SheetOptions
from .pictures import read_picture
from .registration import is_registered, registered
from .sheets import Sheet, lay_out

__all__ = [
    "ALL_FORMATS",
    "FORMATS",
    "DrawnNets",
    "NetChoices",
    "NetFiles",
    "check_formats",
    "draw_nets",
    "draw_sheets",
    "slug",
    "write_drawn",
    "write_nets",
]

#: The nets themselves.
FORMATS = ("svg", "pdf", "dxf")
#: All that it takes to make the book: also files for a cutting machine, and the order of assembly.
ALL_FORMATS = (*FORMATS, "cutting", "booklet")


@dataclass(frozen=True)
class NetFiles:
    """What was written.

    Parameters
    ----------
    paths : every file, in the order of ALL_FORMATS
    sheets : the sheets, with their pieces
    notes : sentences a person should read
    """

    paths: tuple[Path, ...]
    sheets: tuple[Sheet, ...]
    notes: tuple[str, ...]

    @property
    def sheet_of(self) -> dict[str, int]:
        """Number of the first sheet, from 1, on which each piece lies."""
        return {name: numbers[0] for name, numbers in self.sheets_of.items()}

    @property
    def sheets_of(self) -> dict[str, tuple[int, ...]]:
        """Numbers of all sheets on which each piece lies, as copies or as tiles."""
        return sheet_numbers(self.sheets)


@dataclass(frozen=True)
class DrawnNets:
    """The nets of a spread before they are written.

    Parameters
    ----------
    files : name to bytes, in the order of ALL_FORMATS
    sheets : the sheets, with their pieces
    notes : sentences a person should read
    stems : what the names of files begin with that carry a sheet's number
    """

    files: Mapping[str, bytes]
    sheets: tuple[Sheet, ...]
    notes: tuple[str, ...]
    stems: tuple[str, ...]


class NetChoices(TypedDict, total=False):
    """What can be chosen wherever nets are written; what is left out is as draw_nets has it.

    Parameters
    ----------
    sheet : size of the sheets (see sheet_size); None for the smallest of A4, A3, A2 and A1 that takes every piece
    formats : of ALL_FORMATS
    options : margins, gaps, copies, tiles, grain of the sheets, bleed; None for the defaults of SheetOptions
    spot : whether cut lines and creases are separations in the PDF files, for a print shop
    duplex : whether fronts and backs also go into one PDF file in turn, for a duplex printer
    dimensions : whether the sizes of every piece are drawn on it
    cutting : how a machine cuts and creases; None for the defaults of CuttingOptions
    """

    sheet: str | None
    formats: Sequence[str]
    options: SheetOptions | None
    spot: bool
    duplex: bool
    dimensions: bool
    cutting: CuttingOptions | None


def write_nets(spread: Spread, out_dir: str | Path, **choices: Unpack[NetChoices]) -> NetFiles:
    """Write the nets of all pieces: an SVG and a DXF file a sheet, and one PDF file of all sheets.

    With "cutting", also an SVG and a DXF file a sheet with nothing but what a machine cuts and creases, in its order;
    with "booklet", also the order of assembly as PDF.

    Artwork of the backs, where there is any, goes into a second PDF file, a page a sheet, to be printed on the back;
    all sheets then have registration marks in their margins.

    Parameters
    ----------
    spread : Spread
    out_dir : folder, made where it is missing
    choices : sheet, formats, options, spot, duplex, dimensions, cutting, by their names; see NetChoices

    Returns
    -------
    NetFiles

    Raises
    ------
    HingeleafError
        A size or a format is not known, or it cannot be laid out so.
    FileError
        Artwork cannot be read, or the folder not written to; then no file is new or changed.
    """
    folder = Path(out_dir)
    return write_drawn({folder: draw_nets(spread, **choices)})[folder]


def draw_nets(
    spread: Spread,
    *,
    sheet: str | None = None,
    formats: Sequence[str] = FORMATS,
    options: SheetOptions | None = None,
    spot: bool = False,
    duplex: bool = False,
    dimensions: bool = False,
    cutting: CuttingOptions | None = None,
) -> DrawnNets:
    """Draw what write_nets writes; see there."""
    check_formats(formats, cutting)
    options = options or SheetOptions()
    drawings = [
        draw_piece(spread, piece.id, bleed_mm=options.bleed_mm, dimensions=dimensions) for piece in spread.pieces
    ]
    booklet = None
    if "booklet" in formats:
        from ..booklet.write import booklet_bytes

        booklet, _ = booklet_bytes(spread, sheet=sheet, options=options)
    return draw_sheets(
        spread.title,
        drawings,
        sheet=sheet,
        formats=formats,
        options=options,
        spot=spot,
        duplex=duplex,
        cutting=cutting,
        booklet=booklet,
        notes=glue_notes(spread),
    )


def draw_sheets(
    title: str,
    drawings: Sequence[PieceDrawing],
    *,
    sheet: str | None = None,
    formats: Sequence[str] = FORMATS,
    options: SheetOptions | None = None,
    spot: bool = False,
    duplex: bool = False,
    cutting: CuttingOptions | None = None,
    booklet: bytes | None = None,
    notes: Sequence[str] = (),
) -> DrawnNets:
    """Lay drawings of pieces on sheets, in all the formats that write_nets has; see there.

    Parameters
    ----------
    title : of the whole
    drawings : of all pieces, in net coordinates
    booklet : its order of assembly as PDF, or None
    notes : sentences about the pieces, which come after those about the sheets
    """
    check_formats(formats, cutting)
    options = options or SheetOptions()
    drawings, missing = _with_art(drawings)
    sheets, about_sheets = lay_out(title, drawings, sheet, options=options)
    if has_backs(sheets) and "pdf" in formats:
        sheets = tuple(registered(sheet) for sheet in sheets)
    stem = _stem(title, "nets")
    contents = dict(_contents(sheets, stem, formats, spot=spot, duplex=duplex))
    if "cutting" in formats:
        contents |= cutting_files(sheets, _stem(title, "cutting"), cutting)
    if booklet is not None:
        contents[f"{_stem(title, 'assembly')}.pdf"] = booklet
    about_files = (
        *notes,
        *bleed_notes(drawings, options),
        *_back_notes(sheets, stem, formats, duplex=duplex),
        *_lettering_notes(sheets, formats),
    )
    return DrawnNets(contents, sheets, (*about_sheets, *missing, *about_files), (stem, _stem(title, "cutting")))


def write_drawn(drawn: Mapping[Path, DrawnNets]) -> dict[Path, NetFiles]:
    """Write nets into their folders, which are made where they are missing: all files or none.

    Raises
    ------
    FileError
        A folder cannot be written to; then no file is new or changed.
    """
    for folder in drawn:
        make_folder(folder)
    write_files({folder / name: data for folder, nets in drawn.items() for name, data in nets.files.items()})
    written = {}
    for folder, nets in drawn.items():
        paths = tuple(folder / name for name in nets.files)
        stale = (note for stem in nets.stems for note in _stale(folder, stem, paths))
        written[folder] = NetFiles(paths, nets.sheets, (*nets.notes, *stale))
    return written


def check_formats(formats: Sequence[str], cutting: CuttingOptions | None) -> None:
    """HingeleafError where a format is not known, or cutting is told how and not asked for."""
    unknown = [name for name in formats if name not in ALL_FORMATS]
    if unknown or not formats:
        wrong = f'format "{unknown[0]}" is not known' if unknown else "no format is asked for"
        raise HingeleafError(f"{wrong}: write one or more of {', '.join(ALL_FORMATS)}")
    if cutting is not None and "cutting" not in formats:
        raise HingeleafError(
            "how a machine cuts is asked for, but no cutting files: write cutting among the formats, or all"
        )


def _stem(title: str, what: str) -> str:
    return f"{slug(title)}-{what}".removeprefix("-")


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
    return art if art is not None and (art.paint is not None or is_there(art.file)) else None


def slug(title: str) -> str:
    """A title as part of a file name.

    Examples
    --------
    >>> slug("Über den Hügeln, Teil 2")
    'uber-den-hugeln-teil-2'
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode("ascii").lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60].strip("-")


def _contents(
    sheets: Sequence[Sheet], stem: str, formats: Sequence[str], *, spot: bool, duplex: bool
) -> Iterator[tuple[str, bytes]]:
    """Names and bytes of all files. The writers load large libraries, and only when they are wanted."""
    pictures = cache(read_picture)
    if "svg" in formats:
        from .svg import sheet_svg

        for sheet in sheets:
            yield f"{stem}-{sheet.footer.number}.svg", sheet_svg(sheet, pictures)
    if "pdf" in formats:
        from .pdf import sheets_pdf

        yield f"{stem}.pdf", sheets_pdf(sheets, pictures, spot=spot)
        if has_backs(sheets):
            yield f"{stem}-backs.pdf", sheets_pdf([turned_over(sheet) for sheet in sheets], pictures, spot=spot)
        if has_backs(sheets) and duplex:
            yield f"{stem}-duplex.pdf", sheets_pdf(interleaved(sheets), pictures, spot=spot, duplex=True)
    if "dxf" in formats:
        from .dxf import sheet_dxf

        for sheet in sheets:
            yield f"{stem}-{sheet.footer.number}.dxf", sheet_dxf(sheet)


def _back_notes(sheets: Sequence[Sheet], stem: str, formats: Sequence[str], *, duplex: bool) -> list[str]:
    """Where the artwork of the backs is."""
    if not has_backs(sheets):
        return [f"no piece has artwork on its back, so there is no {stem}-duplex.pdf"] if duplex else []
    if "pdf" not in formats:
        return ["the artwork of the backs is only in the PDF files, which were not asked for"]
    notes = [f"{stem}-backs.pdf is for the back of each sheet, turned over along its long edge"]
    if duplex:
        notes.append(f'{stem}-duplex.pdf has front and back in turn: print it on both sides, "flip on long edge"')
    bare = [str(sheet.footer.number) for sheet in sheets if not is_registered(sheet)]
    if bare:
        notes.append(
            f"the margins of sheet {', '.join(bare)} leave no room for registration marks: widen them (--margin)"
        )
    return notes


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
    pattern = re.compile(re.escape(stem) + r"-\d+(-back)?\.(svg|dxf)")
    old = sorted(path.name for path in folder.iterdir() if pattern.fullmatch(path.name) and path not in paths)
    return [f"{name} is left from an earlier run and not part of these nets" for name in old]
