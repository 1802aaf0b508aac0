"""Templates as files."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..artwork import art_box
from ..errors import HingeleafError
from ..files import make_folder, write_files
from ..nets.drawing import draw_piece
from ..spread import Spread
from .drawing import Template, face_template
from .faces import FACES, ArtFrame
from .options import TemplateOptions, pixels
from .sight import sight_of

if TYPE_CHECKING:
    from ..binding import Binding

__all__ = [
    "TemplateFiles",
    "paintable",
    "said",
    "template_files",
    "templates_of",
    "write_book_templates",
    "write_templates",
]


@dataclass(frozen=True)
class TemplateFiles:
    """What was written.

    Parameters
    ----------
    paths : every file
    lines : sentences for a person, one a template
    """

    paths: tuple[Path, ...]
    lines: tuple[str, ...]


def templates_of(spread: Spread, options: TemplateOptions | None = None, *, bound: bool = False) -> list[Template]:
    """Draw the templates of a spread, front and back of each piece; the two pages are one piece, "page".

    Parameters
    ----------
    spread : Spread
    options : resolution and pieces; None for the defaults
    bound : whether the outsides of its pages are glued into a book

    Returns
    -------
    list of Template

    Raises
    ------
    HingeleafError
        A piece is not known, or a picture would be too large to open.
    """
    options = options or TemplateOptions()
    names = _wanted(spread, options.pieces)
    sizes = {}
    for name in names:
        size = ArtFrame(art_box(spread, name), "front").size_mm
        sizes[name] = pixels(size, options.dpi, spread.piece(name).title)
    sight = sight_of(spread, bound=bound)
    _, high = spread.reachable()
    motion = spread.pose(np.array([high if np.isfinite(high) else np.pi]))
    poses = {name: each[0] for name, each in motion.matrices.items() if np.isfinite(each).all()}
    drawings = {name: draw_piece(spread, name) for name in names}
    return [
        face_template(spread, drawings[name], face, sight=sight, poses=poses, size_px=sizes[name], dpi=options.dpi)
        for name in names
        for face in FACES
    ]


def paintable(spread: Spread) -> list[str]:
    """The pieces that can have artwork: the pages, and of each mechanism the piece of its name; not its supports."""
    own = {spec.id for spec in spread.mechanisms}
    pages = {panel.piece for panel in spread.panels.values() if panel.role == "page"}
    return [piece.id for piece in spread.pieces if piece.id in own | pages]


def _wanted(spread: Spread, asked: Sequence[str] | None) -> list[str]:
    known = paintable(spread)
    unknown = [name for name in asked or () if name not in known]
    if unknown:
        raise HingeleafError(f'there is no piece "{unknown[0]}" to paint; there are {", ".join(known)}')
    return known if asked is None else [name for name in known if name in asked]


def template_files(templates: Sequence[Template], options: TemplateOptions) -> Iterator[tuple[str, bytes]]:
    """Names and bytes of all files of some templates, each made when it is asked for."""
    from .card import card_bands, card_data
    from .png import PngBands
    from .raster import guide_bands, on_white
    from .svg import template_svg

    for template in templates:
        stem, size, dpi = template.file_stem, template.size_px, template.dpi
        if "svg" in options.formats:
            yield f"{stem}-template.svg", template_svg(template)
        clear = PngBands(size, dpi) if "png" in options.formats else None
        white = PngBands(size, dpi) if "white" in options.formats else None
        for _, guides in guide_bands(template) if clear or white else ():
            if clear:
                clear.add(guides)
            if white:
                white.add(on_white(guides))
        if clear:
            yield f"{stem}-template.png", clear.data()
        if white:
            yield f"{stem}-template-on-white.png", white.data()
        if options.test_card:
            card, picture = PngBands(size, dpi), f"{stem}-test-card.png"
            for band in card_bands(template):
                card.add(band)
            yield picture, card.data()
            data = json.dumps(card_data(template, picture), indent=1)
            yield f"{stem}-test-card.json", f"{data}\n".encode()


def write_templates(spread: Spread, out_dir: str | Path, options: TemplateOptions | None = None) -> TemplateFiles:
    """Write the templates of a spread, to paint its artwork on.

    Parameters
    ----------
    spread : Spread
    out_dir : folder, made where it is missing
    options : resolution, formats, pieces, test cards; None for the defaults

    Returns
    -------
    TemplateFiles

    Raises
    ------
    HingeleafError
        A piece is not known, or a picture would be too large to open.
    FileError
        The folder cannot be written to; then no file is new or changed.
    """
    options = options or TemplateOptions()
    written = _written({"": templates_of(spread, options)}, Path(out_dir), options)
    return replace(written, lines=(*written.lines, *_left_out([spread], options)))


def write_book_templates(
    binding: Binding, out_dir: str | Path, options: TemplateOptions | None = None
) -> TemplateFiles:
    """Write the templates of a bound book: a folder for each spread, and one for the boards of its cover.

    Parameters
    ----------
    binding : Binding
    out_dir : folder, made where it is missing
    options : resolution, formats, pieces, test cards; pieces of that name in any spread, and "cover"

    Returns
    -------
    TemplateFiles

    Raises
    ------
    HingeleafError
        A piece is in no spread, or a picture would be too large to open.
    FileError
        A folder cannot be written to; then no file is new or changed.
    """
    from ..binding.nets import COVER_FOLDER, folders_of
    from .cover import COVER, cover_templates

    options = options or TemplateOptions()
    asked = options.pieces
    known = {COVER, *(name for spread in binding.spreads for name in paintable(spread))}
    unknown = [name for name in asked or () if name not in known]
    if unknown:
        raise HingeleafError(
            f'there is no piece "{unknown[0]}" in any spread; templates are made of {", ".join(sorted(known))}'
        )
    parts: dict[str, list[Template]] = {}
    for folder, spread in zip(folders_of(binding), binding.spreads, strict=True):
        here = [name for name in paintable(spread) if asked is None or name in asked]
        if here:
            parts[folder] = templates_of(spread, replace(options, pieces=tuple(here)), bound=True)
    if asked is None or COVER in asked:
        parts[COVER_FOLDER] = cover_templates(binding, options)
    written = _written(parts, Path(out_dir), options)
    return replace(written, lines=(*written.lines, *_left_out(binding.spreads, options)))


def _left_out(spreads: Sequence[Spread], options: TemplateOptions) -> list[str]:
    """What has no template though it has artwork."""
    if options.pieces is not None:
        return []
    return [
        f"{solid.title}: no template; it is painted on the pictures of its model, {Path(solid.model).name}"
        for spread in spreads
        for solid in spread.solids
    ]


def _written(parts: Mapping[str, Sequence[Template]], out: Path, options: TemplateOptions) -> TemplateFiles:
    """All templates of all folders, or none; only one picture is held at a time."""
    for templates in parts.values():
        _refuse_one_name(templates)
    for folder in parts:
        make_folder(out / folder)
    paths = write_files(
        (out / folder / name, data)
        for folder, templates in parts.items()
        for name, data in template_files(templates, options)
    )
    lines = [said(template, folder) for folder, templates in parts.items() for template in templates]
    return TemplateFiles(paths, tuple(lines))


def _refuse_one_name(templates: Sequence[Template]) -> None:
    """HingeleafError where files of two pieces would be one file on a disk on which capitals do not count."""
    taken: dict[str, str] = {}
    for template in templates:
        other = taken.setdefault(template.file_stem.casefold(), template.name)
        if other != template.name:
            raise HingeleafError(
                f'the templates of "{other}" and "{template.name}" would have the same file names where capitals do '
                f"not count; give one of the two another id, or write each alone into a folder of its own"
            )


def said(template: Template, folder: str = "") -> str:
    """A template in one line."""
    (width, height), (across, down) = template.frame.size_mm, template.size_px
    where = f"{folder}: " if folder else ""
    return (
        f"{where}{template.title}: {width:.1f} x {height:.1f} mm, {across} x {down} pixels; "
        f"best painted as {template.file_stem}.png"
    )
