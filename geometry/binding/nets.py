"""Nets of a bound book: a folder for each spread, and one for its cover."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Collection, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Unpack

from ..files import write_file
from ..nets import FORMATS
from ..nets.write import DrawnNets, NetChoices, NetFiles, check_formats, draw_nets, write_drawn
from .binding import Binding
from .cover_net import cover_artwork, cover_spread, missing_artwork

__all__ = ["COVER_FOLDER", "folders_of", "write_book_nets"]

COVER_FOLDER = "cover"
#: How folders of spreads are called, and what lies in them.
_OF_SPREAD = re.compile(r"\d+-.+")
_NETS = re.compile(r"(^|-)(nets|cutting|assembly)(-\w+)*\.(svg|pdf|dxf)$")


def folders_of(binding: Binding) -> tuple[str, ...]:
    """A folder for each spread: its number and its name, e.g. "1-sea"."""
    return tuple(f"{number}-{name}" for number, name in enumerate(binding.names, start=1))


def write_book_nets(binding: Binding, out_dir: str | Path, **choices: Unpack[NetChoices]) -> dict[str, NetFiles]:
    """Write the nets of all spreads and of the cover; see geometry.nets.write_nets.

    Parameters
    ----------
    binding : Binding
    out_dir : gets a folder for each spread, and one for the cover
    choices : as in write_nets; the cover has no order of assembly of its own, and no dimensions

    Returns
    -------
    dict of NetFiles by folder

    Raises
    ------
    HingeleafError
        A size or a format is not known, or it cannot be laid out so.
    FileError
        Artwork cannot be read, or a folder not written to; then no file is new or changed.
    """
    formats = choices.get("formats", FORMATS)
    check_formats(formats, choices.get("cutting"))
    out = Path(out_dir)
    drawn: dict[Path, DrawnNets] = {}
    with tempfile.TemporaryDirectory() as temporary:
        # Read first, so that a cover that cannot be printed is told before all the rest is drawn.
        art = cover_artwork(binding)
        file = Path(temporary) / "cover-art.png"
        if art is not None:
            write_file(file, art)
        cover = cover_spread(binding, str(file) if art is not None else None)
        plain = tuple(name for name in formats if name != "booklet")
        for folder, spread in zip(folders_of(binding), binding.spreads, strict=True):
            drawn[out / folder] = draw_nets(spread, **choices)
        if plain:
            for_cover: NetChoices = {**choices, "formats": plain, "dimensions": False}
            drawn[out / COVER_FOLDER] = draw_nets(cover, **for_cover)
    written = {folder.name: files for folder, files in write_drawn(drawn).items()}
    if COVER_FOLDER in written:
        written[COVER_FOLDER] = _noted(written[COVER_FOLDER], missing_artwork(binding))
    last = next(reversed(written))
    written[last] = _noted(written[last], _left_over(out, written))
    return written


def _noted(files: NetFiles, notes: Sequence[str]) -> NetFiles:
    return replace(files, notes=(*files.notes, *notes))


def _left_over(out: Path, written: Collection[str]) -> list[str]:
    """Folders of spreads of an earlier run that still lie beside those of this one."""
    old = sorted(
        folder.name
        for folder in out.iterdir()
        if folder.name not in written
        and _OF_SPREAD.fullmatch(folder.name)
        and folder.is_dir()
        and any(_NETS.search(file.name) for file in folder.iterdir())
    )
    return [f"the folder {name} is left from an earlier run and not part of these nets" for name in old]
