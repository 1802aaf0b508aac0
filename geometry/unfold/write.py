"""Nets of a model as files, in the same sheets, layers and formats as those of a spread."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Unpack

from ..errors import HingeleafError
from ..model import Stock
from ..nets.cutting import CuttingOptions
from ..nets.forms import forms_of
from ..nets.lettering import one_line
from ..nets.options import SheetOptions
from ..nets.sizes import DEFAULT_SIZES, sheet_size
from ..nets.write import FORMATS, DrawnNets, NetChoices, NetFiles, draw_sheets, write_drawn
from .artwork import DPI, check_dpi
from .data import Unfolded
from .drawing import DrawingOptions, drawn_nets
from .placing import net_bounds
from .tabs import Join

__all__ = [
    "CARD",
    "MODEL_FORMATS",
    "ModelChoices",
    "draw_unfolded",
    "fits_on",
    "model_title",
    "rooms",
    "write_unfolded",
]

#: What a model is made of unless told otherwise: card of 200 g/m2 (common practice).
CARD = Stock("card", 200.0, 0.26, "any", (1.0, 1.0, 1.0))
#: All formats that nets of a model have: there is no order of assembly.
MODEL_FORMATS = (*FORMATS, "cutting")
#: What tabs, the title under a net and its numbers take beside the facets.
_BESIDE_MM = 8.0


def rooms(sheet: str | None, options: SheetOptions, tab_mm: float) -> list[tuple[str, tuple[float, float]]]:
    """The sheets to try and the room that each leaves for the facets of a net, mm.

    Parameters
    ----------
    sheet : size asked for; None for each of the default sizes, the smallest first
    options : margins
    tab_mm : how wide tabs are

    Raises
    ------
    HingeleafError
        The size is not known, or none leaves room.
    """
    names = (sheet,) if sheet is not None else DEFAULT_SIZES
    found = []
    for name in names:
        try:
            form = forms_of(sheet_size(name), options)[0]
        except HingeleafError:
            # Wide margins leave it no room; the largest size says so.
            if name == names[-1]:
                raise
            continue
        width, height = (max(1.0, side - 2 * tab_mm - _BESIDE_MM) for side in form.room)
        found.append((name, (width, height)))
    return found


def fits_on(unfolded: Unfolded, room_mm: tuple[float, float]) -> bool:
    """Whether every net has room, as it lies or turned by a quarter."""
    long, short = max(room_mm), min(room_mm)
    for number in range(len(unfolded.nets)):
        left, low, right, high = net_bounds(unfolded, number)
        if max(right - left, high - low) > long or min(right - left, high - low) > short:
            return False
    return True


def model_title(unfolded: Unfolded, title: str | None = None) -> str:
    """What the nets of a model are called: as asked, or as its mesh."""
    return one_line(unfolded.facets.mesh.name if title is None else title) or "model"


class ModelChoices(NetChoices, total=False):
    """What can be chosen where nets of a model are written; what is left out is as draw_unfolded has it.

    Parameters
    ----------
    title : None for the mesh's name
    stock : the card
    angles, dimensions : whether the angle between the faces, and the length, are written at each crease
    smooth_deg : creases that bend less are light scores
    dpi : dots an inch of artwork
    others : as in NetChoices; there is no order of assembly
    """

    title: str | None
    stock: Stock
    angles: bool
    smooth_deg: float
    dpi: float


def write_unfolded(
    unfolded: Unfolded,
    joins: Sequence[Join],
    out_dir: str | Path,
    *,
    more: Mapping[str, bytes] | None = None,
    **choices: Unpack[ModelChoices],
) -> NetFiles:
    """Write the nets of a model.

    Parameters
    ----------
    unfolded : Unfolded
    joins : its cuts, with their numbers and tabs
    out_dir : folder, made where it is missing
    more : other files that are written with them, all or none; by name, or by whole path where they lie elsewhere
    choices : title, stock, sheet, formats and all else that is in ModelChoices, by their names

    Returns
    -------
    NetFiles

    Raises
    ------
    HingeleafError
        A size or a format is not known, or it cannot be laid out so.
    FileError
        A texture cannot be read, or the folder not written to; then no file is new or changed.
    """
    drawn = draw_unfolded(unfolded, joins, **choices)
    folder = Path(out_dir)
    return write_drawn({folder: replace(drawn, files={**drawn.files, **(more or {})})})[folder]


def draw_unfolded(
    unfolded: Unfolded,
    joins: Sequence[Join],
    *,
    title: str | None = None,
    stock: Stock = CARD,
    sheet: str | None = None,
    formats: Sequence[str] = FORMATS,
    options: SheetOptions | None = None,
    angles: bool = False,
    dimensions: bool = False,
    smooth_deg: float = 0.0,
    dpi: float = DPI,
    spot: bool = False,
    duplex: bool = False,
    cutting: CuttingOptions | None = None,
) -> DrawnNets:
    """Draw what write_unfolded writes; see there."""
    check_dpi(dpi)
    options = options or SheetOptions()
    name = model_title(unfolded, title)
    wanted = DrawingOptions(angles, dimensions, smooth_deg, options.bleed_mm, dpi)
    drawings, notes = drawn_nets(unfolded, joins, stock=stock, title=name, options=wanted)
    return draw_sheets(
        name,
        drawings,
        sheet=sheet,
        formats=formats,
        options=options,
        spot=spot,
        duplex=duplex,
        cutting=cutting,
        notes=[*_tab_notes(joins), *notes, *_assembly_notes(formats)],
    )


def _tab_notes(joins: Sequence[Join]) -> list[str]:
    """Cuts without a tab."""
    bare = sum(join.tab is None for join in joins)
    if not bare:
        return []
    which = (
        "all cuts" if bare == len(joins) else f"{bare} of {len(joins)} cuts, where a tab is not wanted or has no room,"
    )
    return [f"{which} are joined edge to edge, with tape or a strip of card behind them"]


def _assembly_notes(formats: Sequence[str]) -> list[str]:
    if "booklet" not in formats:
        return []
    return ["nets of a model have no order of assembly of their own: glue them in the order of their numbers"]
