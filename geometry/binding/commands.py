"""The commands on a bound book: python -m geometry check | poses | nets | cost | booklet BOOK.toml."""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from ..arguments import parse_angles, parse_hands, parse_turns, write_json
from ..checks import run_checks
from ..description.data import Description
from ..errors import HingeleafError
from ..figures import figures_of
from ..files import is_there, make_folder, write_file
from ..remedies import with_remedies
from ..report import report_data, report_text
from ..sheet_arguments import net_choices, sheet_options
from ..spread import Spread
from .binding import Binding, bind
from .checks import check_binding
from .data import BookDescription
from .poses import side_by_side_data, turns_data
from .reader import read_book, read_spreads
from .report import binding_data, binding_text

__all__ = ["BOOK_COMMANDS"]


def _read(
    path: str, of_spreads: Mapping[str, object] | None = None
) -> tuple[Binding, tuple[Description, ...], tuple[Spread, ...]]:
    """The book, bound; options that only a spread has are refused."""
    book = read_book(path)
    _one_spread_only(of_spreads or {}, book)
    descriptions, spreads = read_spreads(book)
    return bind(book, descriptions, spreads), descriptions, spreads


def _one_spread_only(given: Mapping[str, object], book: BookDescription) -> None:
    for option, value in given.items():
        if value:
            raise HingeleafError(
                f"{option} is for one spread: name the file of one instead of the book, e.g. {book.files[0]}"
            )


def _check(options: argparse.Namespace) -> int:
    of_spreads = {"--apply": options.apply, "--bulk-map": options.bulk_map}
    binding, descriptions, spreads = _read(options.scene, of_spreads)
    reports: list[dict[str, Any]] = []
    texts: list[str] = []
    failed = False
    for name, description, spread in zip(binding.names, descriptions, spreads, strict=True):
        findings = with_remedies(description, spread, run_checks(spread))
        figures = figures_of(spread)
        reports.append({"name": name, **report_data(spread, findings, figures)})
        texts += [_heading(f"{len(reports)} {name}"), report_text(spread, findings, figures)]
        failed |= any(finding.severity == "error" for finding in findings)
    bound = check_binding(binding)
    failed |= any(finding.severity == "error" for finding in bound)
    if options.json:
        data = {"format": 1, "title": binding.title, "spreads": reports, "binding": binding_data(binding, bound)}
        write_json(options.json, data)
    if options.json != "-":
        print("\n".join([*texts, _heading("The binding"), binding_text(binding, bound)]))
    return 1 if failed else 0


def _heading(words: str) -> str:
    return f"== {words} =="


def _poses(options: argparse.Namespace) -> int:
    binding, _, _ = _read(options.scene)
    if options.turns is not None:
        if options.angles is not None or options.hand:
            raise HingeleafError("--turns turns the whole book: leave out --angles and --hand, or leave out --turns")
        data = turns_data(binding, parse_turns(options.turns, len(binding.spreads)))
    else:
        angles = parse_angles(options.angles if options.angles is not None else "0:180:5")
        data = side_by_side_data(binding, angles, _hands(options.hand, binding))
    write_file(options.out, (json.dumps(data) + "\n").encode("utf-8"))
    if options.json:
        write_json(options.json, {"format": 1, "written": [options.out]})
    return 0


def _hands(texts: Sequence[str], binding: Binding) -> dict[str, dict[str, float]]:
    """How far hands have moved what they move, from "SPREAD/ID=VALUE" each."""
    moved: dict[str, list[str]] = {}
    for text in texts:
        name, slash, rest = text.partition("/")
        if not slash or name not in binding.names:
            raise HingeleafError(
                f'--hand "{text}": in a bound book write SPREAD/ID=VALUE; its spreads are {", ".join(binding.names)}'
            )
        moved.setdefault(name, []).append(rest)
    return {
        name: parse_hands(moved[name], spread)
        for name, spread in zip(binding.names, binding.spreads, strict=True)
        if name in moved
    }


def _nets(options: argparse.Namespace) -> int:
    from ..nets.listing import sheet_data, sheet_words
    from .nets import write_book_nets

    binding, _, _ = _read(options.scene)
    results = write_book_nets(binding, options.out, **net_choices(options))
    if options.json:
        parts = [
            {"folder": folder, "sheets": list(map(sheet_data, result.sheets)), "notes": list(result.notes)}
            for folder, result in results.items()
        ]
        written = [str(path) for result in results.values() for path in result.paths]
        write_json(options.json, {"format": 1, "written": written, "parts": parts})
    if options.json != "-":
        for folder, result in results.items():
            print("\n".join([_heading(folder), *map(sheet_words, result.sheets), *result.notes]))
    return 0


def _cost(options: argparse.Namespace) -> int:
    from .costing import book_cost, cost_text

    binding, _, _ = _read(options.scene, {"--compare": options.compare})
    cost = book_cost(binding, sheet=options.sheet, options=sheet_options(options))
    if options.json:
        write_json(options.json, cost.as_dict())
    if options.json != "-":
        print(cost_text(cost))
    return 0


def _booklet(options: argparse.Namespace) -> int:
    from ..booklet.write import booklet_bytes
    from ..files import write_files
    from .nets import folders_of
    from .order import order_bytes

    binding, _, spreads = _read(options.scene)
    folder = Path(options.out)
    if folder.suffix.lower() == ".pdf" or is_there(folder):
        raise HingeleafError(
            f"{folder}: a bound book has a booklet for each spread and one for the binding: --out must name a folder"
        )
    chosen = sheet_options(options)
    files: dict[str, bytes] = {}
    steps = []
    for name, spread in zip(folders_of(binding), spreads, strict=True):
        files[f"{name}.pdf"], count = booklet_bytes(spread, paper=options.paper, sheet=options.sheet, options=chosen)
        steps.append(count)
    files["binding.pdf"], count = order_bytes(binding, paper=options.paper)
    made = make_folder(folder)
    written = [made / name for name in files]
    write_files(dict(zip(written, files.values(), strict=True)))
    if options.json:
        write_json(options.json, {"format": 1, "written": list(map(str, written)), "steps": [*steps, count]})
    return 0


#: What takes a book as it takes a spread.
BOOK_COMMANDS: Mapping[str, Callable[[argparse.Namespace], int]] = {
    "check": _check,
    "poses": _poses,
    "nets": _nets,
    "cost": _cost,
    "booklet": _booklet,
}
