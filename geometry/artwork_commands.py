"""The commands for artwork: python -m geometry assign | trace."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterable, Mapping
from itertools import chain, count
from pathlib import Path
from typing import Any

from .assembly import assemble
from .description.reader import parse_description, read_description
from .design.matching import Matching, is_writable, match_artwork, matching_text, pictures_in, with_matches
from .errors import FileError, HingeleafError
from .files import is_there, make_folder, write_file, write_files

__all__ = ["add_artwork_commands", "assign", "trace"]

#: Where artwork from elsewhere is put, beside the description.
_ART = "art"


def add_artwork_commands(commands: Any) -> None:
    """Add both commands to the subparsers of a parser."""
    about = "assign artwork by file name: NAME.png or NAME-front.png, NAME-back.png, page.png"
    assigning = commands.add_parser("assign", help=about)
    assigning.add_argument("scene", help="a description (TOML)")
    assigning.add_argument("--folder", required=True, metavar="DIR", help="where the pictures are")
    out = "the new description, beside SCENE (default: SCENE-painted.toml)"
    assigning.add_argument("--out", metavar="FILE", help=out)
    tracing = commands.add_parser("trace", help="trace the outline of a picture from its alpha")
    tracing.add_argument("picture", help="PNG with alpha")
    tracing.add_argument("--width", type=float, required=True, metavar="MM", help="how wide the picture is")
    tracing.add_argument("--tolerance", type=float, default=0.2, metavar="MM", help="how far it may be off (0.2)")
    tracing.add_argument("--threshold", type=float, default=0.5, help="how opaque the inside is at least, 0 to 1 (0.5)")
    tracing.add_argument("--feature", type=float, default=1.5, metavar="MM", help="the narrowest that is left (1.5)")
    tracing.add_argument("--out", metavar="FILE.svg", help="write the outline as SVG")
    for command in (assigning, tracing):
        command.add_argument(
            "--json", metavar="FILE", help="write the result, or what is wrong, as JSON; - for the screen"
        )


def assign(options: argparse.Namespace) -> tuple[int, dict[str, Any], str]:
    """Assign artwork from a folder; returns the exit status, the result as data and as text.

    Pictures that lie elsewhere are copied into the folder art beside the description.
    """
    source = Path(options.scene)
    target = Path(options.out) if options.out else source.with_name(f"{source.stem}-painted.toml")
    # Not Path.resolve, which raises for a link to itself on some Python.
    folder = Path(os.path.realpath(target)).parent
    if folder != Path(os.path.realpath(source)).parent:
        raise HingeleafError(f"{target}: must lie beside {source.name}, whose artwork is named from there")
    description = read_description(source)
    matching = match_artwork(description, assemble(description), pictures_in(options.folder))
    if not matching.matches:
        return 1, _as_data(matching, []), matching_text(matching)
    names, copies = _named(folder, [match.file for match in matching.matches])
    for name in names.values():
        if not is_writable(name):
            raise FileError(f"{name}: its name, or its folder's, cannot be written into a description; rename it")
    changed = with_matches(description, matching.matches, names)
    assemble(changed)
    if copies:
        make_folder(folder / _ART)
    write_files({**copies, target: changed.text.encode("utf-8")})
    parse_description(changed.text, source=target.name, folder=folder)
    text = f"{matching_text(matching)}\nwritten: {target}"
    return 0 if not matching.misses else 1, _as_data(matching, [*map(str, copies), str(target)]), text


def _named(folder: Path, files: Iterable[Path]) -> tuple[dict[Path, str], dict[Path, bytes]]:
    """What a description in a folder calls files, and what has to be copied for that."""
    names: dict[Path, str] = {}
    copies: dict[Path, bytes] = {}
    for file in files:
        path = file.resolve()
        if path.is_relative_to(folder):
            names[file] = path.relative_to(folder).as_posix()
            continue
        try:
            data = path.read_bytes()
        except OSError as error:
            raise FileError(f"{file}: the artwork cannot be read ({error.strerror or error})") from None
        place = _free(folder / _ART / file.name, data, copies)
        names[file] = place.relative_to(folder).as_posix()
        if not is_there(place):
            copies[place] = data
    return names, copies


def _free(wanted: Path, data: bytes, copies: Mapping[Path, bytes]) -> Path:
    """A place where nothing is, or the same already."""
    for place in chain([wanted], (wanted.with_stem(f"{wanted.stem}-{number}") for number in count(2))):
        present = copies.get(place, place.read_bytes() if is_there(place) else None)
        if present is None or present == data:
            return place
    return wanted


def _as_data(matching: Matching, written: list[str]) -> dict[str, Any]:
    matches = [{"file": str(each.file), "piece": each.piece, "face": each.face} for each in matching.matches]
    misses = [{"file": str(each.file), "reason": each.reason} for each in matching.misses]
    return {"format": 1, "assigned": matches, "not_assigned": misses, "written": written}


def trace(options: argparse.Namespace) -> tuple[int, dict[str, Any], str]:
    """Trace a picture; returns the exit status, the result as data and as text."""
    from .tracing import TraceOptions, read_alpha, trace_alpha
    from .tracing.drawing import trace_svg

    chosen = TraceOptions(options.threshold, options.tolerance, options.feature)
    alpha = read_alpha(options.picture)
    try:
        found = trace_alpha(alpha, options.width, chosen)
    except FileError:
        raise
    except HingeleafError as error:
        raise HingeleafError(f"{Path(options.picture).name}: {error}") from None
    written = []
    if options.out:
        write_file(options.out, trace_svg(found, Path(options.picture).stem))
        written.append(options.out)
    shapes = [{"outline": shape.outline_data, "holes": list(shape.hole_data)} for shape in found.shapes]
    left_out = {name: getattr(found.edge.cleaned, name) for name in ("specks", "holes", "thin", "narrow")}
    size = [round(float(side), 4) for side in found.edge.size_mm]
    data = {"size_mm": size, "off_mm": found.off_mm, "points": found.points, "left_out": left_out, "shapes": shapes}
    text = "\n".join([str(found), *(f"written: {name}" for name in written)])
    return 0, {"format": 1, **data, "written": written}, text
