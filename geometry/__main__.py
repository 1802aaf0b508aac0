"""The commands: python -m geometry COMMAND; each says with --help what it takes."""

from __future__ import annotations

import argparse
import io
import json
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from .arguments import parse_angles, parse_hands, write_json
from .artwork_commands import add_artwork_commands, assign, trace
from .assembly import assemble
from .binding.reader import names_book
from .checks import run_checks
from .description.data import Description
from .description.reader import read_description
from .description.writer import write_description
from .errors import HingeleafError
from .figures import figures_of
from .files import write_file
from .fit import fit, parse_wish
from .poses import poses_data
from .remedies import remedied, with_remedies
from .report import error_data, report_data, report_text
from .sheet_arguments import add_net_arguments, add_sheet_arguments, net_choices, sheet_options
from .spread import Spread
from .template_commands import add_template_command, templates
from .unfold_commands import add_unfold_command, unfold

__all__ = ["command_parser", "main", "parse_angles", "parse_hands"]

#: What takes a bound book too.
_OF_BOOKS = ("check", "poses", "nets", "cost", "booklet")
_WISHES = "largest, tip=X,Y,Z@OPENING, height=MM@OPENING, lean=DEG@OPENING, square@OPENING or stand=DEG"


def command_parser() -> argparse.ArgumentParser:
    """What reads all commands and their options."""
    parser = argparse.ArgumentParser(prog="python -m geometry", description="Check, pose and print a pop-up spread.")
    commands = parser.add_subparsers(dest="command", required=True)
    check = commands.add_parser("check", help="run every check; exit 0 all well, 1 an error is found, 2 unreadable")
    poses = commands.add_parser("poses", help="write the place of every panel at every opening")
    nets = commands.add_parser("nets", help="write true-scale nets")
    cost = commands.add_parser("cost", help="what a publisher asks for: pieces, glue points, lengths, sheets, weight")
    fits = commands.add_parser("fit", help="find sizes with which a mechanism stands as wished")
    booklet = commands.add_parser("booklet", help="write the order of assembly, a picture a step, as PDF")
    for command in (check, poses, nets, fits, cost, booklet):
        taken = "a description (TOML)" if command is fits else "a description (TOML), or a bound book"
        command.add_argument("scene", help=taken)
        command.add_argument(
            "--json", metavar="FILE", help="write the result, or what is wrong, as JSON; - for the screen"
        )
    _add_check_arguments(check)
    _add_pose_arguments(poses)
    _add_fit_arguments(fits)
    cost.add_argument("--compare", metavar="SCENE", help="an earlier version: say what changed since")
    nets.add_argument("--out", required=True, metavar="DIR")
    for command in (nets, cost, booklet):
        add_sheet_arguments(command)
    add_net_arguments(nets)
    booklet.add_argument(
        "--out", required=True, metavar="FILE.pdf", help="of a bound book a folder: a booklet a spread, and the binding"
    )
    booklet.add_argument("--paper", default="A4", help="of the booklet itself: A4 or letter (default A4)")
    add_artwork_commands(commands)
    add_template_command(commands)
    add_unfold_command(commands)
    return parser


def _add_check_arguments(check: argparse.ArgumentParser) -> None:
    check.add_argument(
        "--apply", metavar="CODE", help="write a changed description in which findings of CODE are remedied"
    )
    check.add_argument("--out", metavar="FILE", help="with --apply: the new file (default: SCENE-changed.toml)")
    check.add_argument(
        "--bulk-map",
        action="append",
        default=[],
        metavar="FILE",
        help="draw how thick the closed page is, as .svg or .pdf; may be repeated",
    )


def _add_pose_arguments(poses: argparse.ArgumentParser) -> None:
    poses.add_argument("--angles", help="start:stop:step or a list, degrees (default 0:180:5)")
    poses.add_argument(
        "--turns",
        help="of a bound book: the whole book as it is turned through, start:stop:step or a list; 0 is closed on its "
        "back, 1 the first spread open, and so on",
    )
    poses.add_argument(
        "--hand",
        action="append",
        default=[],
        metavar="ID=VALUE",
        help="how far a hand has moved a flap or a wheel (degrees) or a pull-strip (mm); may be repeated; in a bound "
        "book SPREAD/ID=VALUE",
    )
    poses.add_argument("--out", required=True, metavar="FILE")


def _add_fit_arguments(fits: argparse.ArgumentParser) -> None:
    fits.add_argument("--mechanism", required=True, metavar="ID")
    fits.add_argument("--wish", action="append", required=True, metavar="WISH", help=_WISHES)
    fits.add_argument(
        "--free", required=True, metavar="KEYS", help="sizes that may change: KEY or KEY:LOW:HIGH, with commas"
    )
    fits.add_argument("--out", metavar="FILE", help="write the changed description")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A console that cannot show a letter of a title shows its code instead.
            stream.reconfigure(errors="backslashreplace")
    options = command_parser().parse_args(arguments)
    try:
        return _command(options)(options)
    except BrokenPipeError:
        # Whoever was reading has read enough.
        sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115 - stays open until the end
        return 0
    except HingeleafError as error:
        print(error, file=sys.stderr)
        if options.json:
            try:
                write_json(options.json, error_data(error))
            except HingeleafError as second:
                # It may be the very file that could not be written.
                if str(second) != str(error):
                    print(second, file=sys.stderr)
        return 2


def _command(options: argparse.Namespace) -> Callable[[argparse.Namespace], int]:
    if options.command in _OF_BOOKS and names_book(options.scene):
        from .binding.commands import BOOK_COMMANDS

        return BOOK_COMMANDS[options.command]
    return _COMMANDS[options.command]


def _check(options: argparse.Namespace) -> int:
    _check_bulk_maps(options)
    description = read_description(options.scene)
    if options.apply:
        return _apply(options, description)
    spread = assemble(description)
    _write_bulk_maps(spread, options.bulk_map)
    findings = with_remedies(description, spread, run_checks(spread))
    figures = figures_of(spread)
    if options.json:
        write_json(options.json, report_data(spread, findings, figures))
    if options.json != "-":
        print(report_text(spread, findings, figures))
    return 1 if any(finding.severity == "error" for finding in findings) else 0


def _check_bulk_maps(options: argparse.Namespace) -> None:
    """Refuse at once what could not be written in the end."""
    if options.bulk_map:
        from .bulk_drawing.write import map_format

        if options.apply:
            raise HingeleafError(
                "--bulk-map draws the description as it is: leave out --apply, or check what it writes"
            )
        for path in options.bulk_map:
            map_format(path)


def _write_bulk_maps(spread: Spread, paths: Sequence[str]) -> None:
    if paths:
        from .bulk_drawing.write import write_bulk

        for path in paths:
            write_bulk(spread, path)


def _apply(options: argparse.Namespace, description: Description) -> int:
    source = Path(options.scene)
    target = Path(options.out) if options.out else source.with_name(f"{source.stem}-changed.toml")
    if os.path.realpath(target) == os.path.realpath(source):
        raise HingeleafError(f"{target}: is the description itself; --out must name another file")
    changed, remedies = remedied(description, options.apply)
    write_description(changed, target)
    for remedy in remedies:
        print(remedy)
    print(f"written: {target}")
    if options.json:
        steps = [
            {"mechanism": item.mechanism, "key": item.key, "before": item.before, "after": item.after}
            for remedy in remedies
            for item in remedy.changes
        ]
        write_json(options.json, {"format": 1, "written": [str(target)], "changes": steps})
    return 0


def _poses(options: argparse.Namespace) -> int:
    if options.turns is not None:
        raise HingeleafError("--turns turns a bound book through; a spread has --angles")
    angles = parse_angles(options.angles if options.angles is not None else "0:180:5")
    spread = assemble(read_description(options.scene))
    data = poses_data(spread, angles, parse_hands(options.hand, spread))
    write_file(options.out, (json.dumps(data) + "\n").encode("utf-8"))
    if options.json:
        write_json(options.json, {"format": 1, "written": [options.out]})
    return 0


def _fit(options: argparse.Namespace) -> int:
    description = read_description(options.scene)
    wishes = [parse_wish(text) for text in options.wish]
    result = fit(description, options.mechanism, wishes, [part for part in options.free.split(",") if part])
    for change in result.changes:
        print(f"change {change}")
    for wish, miss in zip(wishes, result.misses, strict=True):
        print(f"{wish}: {'met' if miss < 1e-3 else f'missed by {miss:.3g}'}")
    for obstacle in result.obstacles:
        print(f"in the way: {obstacle}")
    if options.out:
        write_description(result.description, options.out)
        print(f"written: {options.out}")
    if options.json:
        sizes = [{"key": item.key, "before": item.before, "after": item.after} for item in result.changes]
        data = {"granted": result.granted, "changes": sizes, "misses": list(result.misses)}
        write_json(options.json, {"format": 1, **data, "obstacles": list(result.obstacles)})
    return 0 if result.granted else 1


def _nets(options: argparse.Namespace) -> int:
    from .nets import write_nets
    from .nets.listing import sheet_data, sheet_words

    result = write_nets(assemble(read_description(options.scene)), options.out, **net_choices(options))
    if options.json:
        data = {"written": [str(path) for path in result.paths], "sheets": [sheet_data(each) for each in result.sheets]}
        write_json(options.json, {"format": 1, **data, "notes": list(result.notes)})
    if options.json != "-":
        print("\n".join([*map(sheet_words, result.sheets), *result.notes]))
    return 0


def _cost(options: argparse.Namespace) -> int:
    from .specification import compared_text, specification, specification_text

    chosen = sheet_options(options)
    spec = specification(assemble(read_description(options.scene)), sheet=options.sheet, options=chosen)
    data = spec.as_dict()
    text = specification_text(spec)
    if options.compare:
        earlier = assemble(read_description(options.compare))
        before = specification(earlier, sheet=options.sheet, options=chosen)
        text = compared_text(before, spec)
        data["before"] = before.as_dict()
    if options.json:
        write_json(options.json, data)
    if options.json != "-":
        print(text)
    return 0


def _booklet(options: argparse.Namespace) -> int:
    from .booklet import write_booklet

    chosen = sheet_options(options)
    spread = assemble(read_description(options.scene))
    count = write_booklet(spread, options.out, paper=options.paper, sheet=options.sheet, options=chosen)
    if options.json:
        write_json(options.json, {"format": 1, "written": [options.out], "steps": count})
    return 0


def _artwork(options: argparse.Namespace) -> int:
    run = {"assign": assign, "trace": trace, "templates": templates, "unfold": unfold}[options.command]
    status, data, text = run(options)
    if options.json:
        write_json(options.json, data)
    if options.json != "-":
        print(text)
    return status


_COMMANDS = {
    "check": _check,
    "poses": _poses,
    "nets": _nets,
    "fit": _fit,
    "cost": _cost,
    "booklet": _booklet,
    "assign": _artwork,
    "trace": _artwork,
    "templates": _artwork,
    "unfold": _artwork,
}

if __name__ == "__main__":
    sys.exit(main())
