"""Nets of a bound book: a folder for each spread, and one for its cover."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from ..errors import HingeleafError
from ..files import make_folder, write_file
from ..nets import FORMATS, SheetOptions, write_nets
from ..nets.cutting import CuttingOptions
from ..nets.write import ALL_FORMATS, NetFiles
from .binding import Binding
from .cover_net import cover_artwork, cover_spread, missing_artwork

__all__ = ["COVER_FOLDER", "folders_of", "write_book_nets"]

COVER_FOLDER = "cover"


def folders_of(binding: Binding) -> tuple[str, ...]:
    """A folder for each spread: its number and its name, e.g. "1-sea"."""
    return tuple(f"{number}-{name}" for number, name in enumerate(binding.names, start=1))


def write_book_nets(
    binding: Binding,
    out_dir: str | Path,
    *,
    sheet: str | None = None,
    formats: Sequence[str] = FORMATS,
    options: SheetOptions | None = None,
    spot: bool = False,
    duplex: bool = False,
    dimensions: bool = False,
    cutting: CuttingOptions | None = None,
) -> dict[str, NetFiles]:
    """Write the nets of all spreads and of the cover; see geometry.nets.write_nets.

    Parameters
    ----------
    binding : Binding
    out_dir : gets a folder for each spread, and one for the cover
    others : as in write_nets; the cover has no order of assembly of its own, and no dimensions

    Returns
    -------
    dict of NetFiles by folder

    Raises
    ------
    HingeleafError
        A size or a format is not known, or it cannot be laid out so.
    FileError
        Artwork cannot be read, or a folder not written to; the folders before it are then complete, the others as they
        were.
    """
    unknown = [name for name in formats if name not in ALL_FORMATS]
    if unknown or not formats:
        raise HingeleafError(f"formats {', '.join(formats)}: write one or more of {', '.join(ALL_FORMATS)}")
    out = Path(out_dir)
    written: dict[str, NetFiles] = {}
    with tempfile.TemporaryDirectory() as temporary:
        # Read first, so that a cover that cannot be printed is told before anything is written.
        art = cover_artwork(binding)
        file = Path(temporary) / "cover-art.png"
        if art is not None:
            write_file(file, art)
        cover = cover_spread(binding, str(file) if art is not None else None)
        plain = tuple(name for name in formats if name != "booklet")
        parts = [(*part, tuple(formats)) for part in zip(folders_of(binding), binding.spreads, strict=True)]
        parts += [(COVER_FOLDER, cover, plain)] if plain else []
        make_folder(out)
        for folder, spread, wanted in parts:
            written[folder] = write_nets(
                spread,
                out / folder,
                sheet=sheet,
                formats=wanted,
                options=options,
                spot=spot,
                duplex=duplex,
                dimensions=dimensions and folder != COVER_FOLDER,
                cutting=cutting if "cutting" in wanted else None,
            )
    if COVER_FOLDER in written:
        cover_files = written[COVER_FOLDER]
        written[COVER_FOLDER] = replace(cover_files, notes=(*cover_files.notes, *missing_artwork(binding)))
    return written
