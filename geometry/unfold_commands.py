"""The command on a mesh: python -m geometry unfold MESH."""

from __future__ import annotations

import argparse
import json
import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .errors import HingeleafError
from .sheet_arguments import add_net_arguments, add_sheet_arguments, cutting_options, sheet_options

if TYPE_CHECKING:
    from .model import Stock
    from .nets.options import SheetOptions
    from .unfold.cut_options import CutOptions
    from .unfold.data import Facets, Unfolded
    from .unfold.mesh_options import MeshOptions
    from .unfold.tabs import TabOptions

__all__ = ["add_unfold_command", "unfold"]


def add_unfold_command(commands: Any) -> None:
    """Add the command to the others."""
    parser: argparse.ArgumentParser = commands.add_parser("unfold", help="write true-scale nets of any mesh")
    parser.add_argument("mesh", help="a mesh: .obj, .stl or .ply, in mm")
    parser.add_argument("--out", required=True, metavar="DIR")
    parser.add_argument("--json", metavar="FILE", help="write what was made as JSON; - for the screen")
    size = parser.add_mutually_exclusive_group()
    size.add_argument("--scale", metavar="TIMES", help="make it so many times as large (default 1)")
    size.add_argument("--height", metavar="MM", help="make it so high, along z")
    parser.add_argument(
        "--flat", metavar="DEG", help="make faces that bend by no more than this one flat face (default 0)"
    )
    parser.add_argument(
        "--smooth", metavar="DEG", help="keep faces that bend by less than this together in bands, with light scores"
    )
    parser.add_argument(
        "--preset", default="fewest", help="fewest nets (default), shortest cuts, or compact nets that fill the sheets"
    )
    parser.add_argument("--tab", metavar="MM", help="how wide tabs are (default 6)")
    parser.add_argument("--edge-to-edge", action="store_true", help="no tabs at all")
    parser.add_argument("--angles", action="store_true", help="write the angle between the faces at every crease")
    parser.add_argument("--dpi", metavar="N", help="dots an inch of artwork (default 300)")
    parser.add_argument("--grammage", metavar="GSM", help="of the card, g/m2 (default 200)")
    parser.add_argument("--caliper", metavar="MM", help="of the card, mm (default 0.26)")
    parser.add_argument(
        "--folding",
        metavar="FILE",
        help="also write how the nets fold up, as a poses file (JSON; with --format all it is in DIR)",
    )
    add_sheet_arguments(parser)
    add_net_arguments(parser)


def unfold(options: argparse.Namespace) -> tuple[int, dict[str, Any], str]:
    """Write the nets of a mesh; returns the exit status, what was made as data, and as text.

    The status is 1 where something needs a person: faces that pass through each other, or that were left out.
    """
    from .nets.listing import sheet_data, sheet_words
    from .unfold.artwork import DPI, check_dpi
    from .unfold.facets import facets_of
    from .unfold.mesh_files import read_mesh
    from .unfold.report import needs_person, unfolded_data, unfolded_words
    from .unfold.tabs import joins_of
    from .unfold.write import write_unfolded

    # All that was asked for is looked at before anything is done that takes long.
    chosen, cutting, formats = sheet_options(options), cutting_options(options), _formats(options.format)
    tabs, wishes, size, stock = _tabs(options), _wishes(options), _size(options), _stock(options)
    dpi = _number("--dpi", options.dpi, DPI)
    check_dpi(dpi)
    rooms = _rooms(options, chosen, tabs)
    sheet, unfolded = _cut(facets_of(read_mesh(options.mesh), size), wishes, rooms, options.sheet, tile=chosen.tile)
    joins = joins_of(unfolded, tabs)
    files = write_unfolded(
        unfolded,
        joins,
        options.out,
        stock=stock,
        sheet=sheet,
        formats=formats,
        options=chosen,
        angles=options.angles,
        dimensions=options.dimensions,
        smooth_deg=wishes.smooth_deg,
        dpi=dpi,
        spot=options.spot,
        duplex=options.duplex,
        cutting=cutting,
        more=_folding(unfolded, options),
    )
    written = [str(path) for path in files.paths]
    notes = [*unfolded.facets.notes, *unfolded.notes]
    data = {"format": 1, **unfolded_data(unfolded, joins, notes), "written": written}
    data |= {"sheets": [sheet_data(each) for each in files.sheets], "remarks": list(files.notes)}
    text = [*unfolded_words(unfolded, joins, notes), *map(sheet_words, files.sheets), *files.notes]
    return int(needs_person(notes)), data, "\n".join(text)


def _formats(text: str) -> list[str]:
    from .unfold.write import MODEL_FORMATS

    named = [part.strip() for part in text.split(",") if part.strip()]
    named = list(MODEL_FORMATS) if named == ["all"] else named
    unknown = [name for name in named if name not in MODEL_FORMATS]
    if unknown or not named:
        wrong = f'format "{unknown[0]}" is not one that nets of a mesh have' if unknown else "no format is asked for"
        raise HingeleafError(f"{wrong}: write one or more of {', '.join(MODEL_FORMATS)}, or all")
    return named


def _tabs(options: argparse.Namespace) -> TabOptions:
    from .unfold.tabs import TabOptions

    if options.tab is not None and options.edge_to_edge:
        raise HingeleafError("--tab is how wide tabs are, and --edge-to-edge is without any: leave one of them out")
    usual = TabOptions()
    return TabOptions(width_mm=_number("--tab", options.tab, usual.width_mm), edge_to_edge=options.edge_to_edge)


def _wishes(options: argparse.Namespace) -> CutOptions:
    from .unfold.cut_options import CutOptions

    return CutOptions(preset=options.preset, smooth_deg=_number("--smooth", options.smooth, 0.0))


def _size(options: argparse.Namespace) -> MeshOptions:
    from .unfold.mesh_options import MeshOptions

    height = None if options.height is None else _number("--height", options.height, 100.0)
    scale, flat = _number("--scale", options.scale, 1.0), _number("--flat", options.flat, 0.0)
    return MeshOptions(scale=scale, height_mm=height, flat_deg=flat)


def _stock(options: argparse.Namespace) -> Stock:
    from .unfold.write import CARD

    return replace(
        CARD,
        grammage_gsm=_positive("--grammage", options.grammage, CARD.grammage_gsm),
        caliper_mm=_positive("--caliper", options.caliper, CARD.caliper_mm),
    )


def _rooms(
    options: argparse.Namespace, chosen: SheetOptions, tabs: TabOptions
) -> list[tuple[str, tuple[float, float]]]:
    from .unfold.write import rooms

    return rooms(options.sheet, chosen, 0.0 if options.edge_to_edge else tabs.width_mm)


def _cut(
    facets: Facets, wishes: CutOptions, rooms: list[tuple[str, tuple[float, float]]], asked: str | None, *, tile: bool
) -> tuple[str | None, Unfolded]:
    """The sheet, and the nets on it: unless one is asked for, the smallest default sheet on which none is split."""
    from .unfold.unfolding import unfold_facets
    from .unfold.write import fits_on

    whole = unfold_facets(facets, wishes)
    if tile:
        return asked, whole
    for name, room in rooms:
        if fits_on(whole, room):
            return name, whole
    name, room = rooms[-1]
    return name, unfold_facets(facets, replace(wishes, room_mm=room))


def _folding(unfolded: Unfolded, options: argparse.Namespace) -> dict[str, bytes]:
    """Where the poses file of the nets is wanted, and the file: every 10 degrees from the solid to the flat nets."""
    from .nets.write import slug
    from .unfold.folding_file import folding_data
    from .unfold.write import model_title

    stem = f"{slug(model_title(unfolded))}-folding".removeprefix("-")
    places = [f"{stem}.json"] if options.format.strip() == "all" else []
    # In full, as it need not lie in the folder of the nets.
    places += [] if options.folding is None else [str(Path(options.folding).absolute())]
    if not places:
        return {}
    data = (json.dumps(folding_data(unfolded, range(0, 181, 10))) + "\n").encode()
    return dict.fromkeys(places, data)


def _number(option: str, text: str | None, default: float) -> float:
    if text is None:
        return default
    try:
        value = float(text)
    except ValueError:
        raise HingeleafError(f'{option} "{text}": write a number, e.g. {default:g}') from None
    if not math.isfinite(value):
        raise HingeleafError(f'{option} "{text}": write a number, e.g. {default:g}')
    return value


def _positive(option: str, text: str | None, default: float) -> float:
    value = _number(option, text, default)
    if not value > 0.0:
        raise HingeleafError(f"{option} {value:g}: write a number above 0, e.g. {default:g}")
    return value
