"""What a command line says about sheets and about cutting them."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from .errors import HingeleafError

if TYPE_CHECKING:
    from .nets.cutting import CuttingOptions
    from .nets.options import SheetOptions
    from .nets.write import NetChoices

__all__ = ["add_net_arguments", "add_sheet_arguments", "cutting_options", "net_choices", "sheet_options"]

#: No printer or knife is as exact; lengths further below leave nothing of areas but rounding.
_LEAST_MM = 0.001


def add_sheet_arguments(parser: argparse.ArgumentParser) -> None:
    """Give a command the options about sheets.

    Numbers are read by sheet_options, which says in one sentence what is wrong with them.
    """
    parser.add_argument(
        "--sheet",
        help="A4, SRA3, letter, arch-d ..., WIDTHxHEIGHT in mm (or 13x19in), roll:WIDTH or roll:WIDTHxLONGEST "
        "(default: the smallest of A4, A3, A2 and A1 that takes all)",
    )
    parser.add_argument("--margin", metavar="MM", help="kept free along the edges of a sheet (default 8)")
    parser.add_argument("--gap", metavar="MM", help="kept free between pieces (default: 6, or twice the bleed)")
    parser.add_argument("--bleed", metavar="MM", help="how far artwork is printed beyond each piece (default 3)")
    parser.add_argument("--copies", metavar="N", help="how often the whole spread is laid out (default 1)")
    parser.add_argument("--tile", action="store_true", help="split a piece larger than the sheet over several")
    parser.add_argument("--overlap", metavar="MM", help="with --tile: how far tiles overlap (default 10)")
    parser.add_argument(
        "--grain", metavar="SIDE", help="long or short: the side of the sheet along which its grain runs"
    )


def sheet_options(arguments: argparse.Namespace) -> SheetOptions:
    """The options about sheets that a command was given.

    Raises
    ------
    HingeleafError
        A number is none, or outside its limits; or an option has no meaning without another.
    """
    from .artwork import BLEED_MM
    from .nets.options import GAP_MM, MARGIN_MM, OVERLAP_MM, SheetOptions

    if arguments.overlap is not None and not arguments.tile:
        raise HingeleafError("--overlap is how far tiles overlap: write --tile with it, or leave it out")
    bleed = _number("--bleed", arguments.bleed, BLEED_MM)
    return SheetOptions(
        margin_mm=_number("--margin", arguments.margin, MARGIN_MM),
        gap_mm=_number("--gap", arguments.gap, max(GAP_MM, 2 * bleed)),
        copies=_whole("--copies", arguments.copies, 1),
        tile=arguments.tile,
        overlap_mm=_number("--overlap", arguments.overlap, OVERLAP_MM),
        grain=arguments.grain,
        bleed_mm=bleed,
    )


def add_net_arguments(parser: argparse.ArgumentParser) -> None:
    """Give a command the options about the files of nets and what is drawn in them."""
    parser.add_argument("--dimensions", action="store_true", help="draw the sizes of every piece, with their keys")
    parser.add_argument(
        "--format",
        default="svg,pdf,dxf",
        help="any of svg,pdf,dxf,cutting,booklet, or all: cutting is for a machine, booklet the order of assembly "
        "(default svg,pdf,dxf)",
    )
    _add_cutting_arguments(parser)
    parser.add_argument(
        "--spot", action="store_true", help="PDF: cut lines and creases as separations of their own, for a print shop"
    )
    parser.add_argument(
        "--duplex", action="store_true", help="PDF: also one file of fronts and backs in turn, for a duplex printer"
    )


def _add_cutting_arguments(parser: argparse.ArgumentParser) -> None:
    """Give a command the options about cutting files; read by cutting_options."""
    parser.add_argument(
        "--crease",
        metavar="STYLE",
        help="cutting: score (whole lines, default), dashes (cut through in dashes), or half-cut (half through the "
        "card, valleys from the back)",
    )
    parser.add_argument("--dash", metavar="MM", help="with --crease dashes: how long each is (default 3)")
    parser.add_argument("--bridge", metavar="MM", help="with --crease dashes: card between two of them (default 1.5)")
    parser.add_argument("--nicks", metavar="MM", help="cutting: card left at nicks that hold a piece (default none)")
    parser.add_argument("--nick-every", metavar="MM", help="with --nicks: one on so much of an outline (default 80)")


def cutting_options(arguments: argparse.Namespace) -> CuttingOptions | None:
    """The options about cutting files that a command was given; None where it was given none.

    Raises
    ------
    HingeleafError
        A number is none, or outside its limits; or an option has no meaning without another.
    """
    from .nets.cutting import CuttingOptions

    given = arguments
    if (given.dash is not None or given.bridge is not None) and given.crease != "dashes":
        raise HingeleafError("--dash and --bridge are sizes of dashes: write --crease dashes with them")
    if given.nick_every is not None and given.nicks is None:
        raise HingeleafError("--nick-every is how far apart nicks are: write --nicks MM with it")
    if given.crease is None and given.nicks is None:
        return None
    usual = CuttingOptions()
    return CuttingOptions(
        crease=given.crease or usual.crease,
        dash_mm=_number("--dash", given.dash, usual.dash_mm),
        bridge_mm=_number("--bridge", given.bridge, usual.bridge_mm),
        nick_mm=_number("--nicks", given.nicks, usual.nick_mm),
        nick_every_mm=_number("--nick-every", given.nick_every, usual.nick_every_mm),
    )


def net_choices(arguments: argparse.Namespace) -> NetChoices:
    """All that a command that writes nets of spreads was given about them.

    Raises
    ------
    HingeleafError
        See sheet_options and cutting_options; what formats there are is looked at where they are written.
    """
    from .nets.write import ALL_FORMATS

    formats = tuple(part.strip() for part in arguments.format.split(",") if part.strip())
    return {
        "sheet": arguments.sheet,
        "formats": ALL_FORMATS if formats == ("all",) else formats,
        "options": sheet_options(arguments),
        "spot": arguments.spot,
        "duplex": arguments.duplex,
        "dimensions": arguments.dimensions,
        "cutting": cutting_options(arguments),
    }


def _number(option: str, text: str | None, default: float) -> float:
    if text is None:
        return default
    try:
        number = float(text)
    except ValueError:
        raise HingeleafError(f'{option} "{text}": write a number of millimetres, e.g. {default:g}') from None
    if 0.0 < abs(number) < _LEAST_MM:
        raise HingeleafError(f'{option} "{text}": is next to nothing; write 0, or at least {_LEAST_MM:g} mm')
    return number


def _whole(option: str, text: str | None, default: int) -> int:
    if text is None:
        return default
    try:
        value = float(text)
        if not value.is_integer():
            raise ValueError
        return int(value)
    except (ValueError, OverflowError):
        raise HingeleafError(f'{option} "{text}": write a whole number, e.g. 3') from None
