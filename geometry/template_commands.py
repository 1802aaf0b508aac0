"""The command for templates: python -m geometry templates SCENE --out DIR."""

from __future__ import annotations

import argparse
from typing import Any

from .errors import HingeleafError

__all__ = ["add_template_command", "templates"]


def add_template_command(commands: Any) -> None:
    """Add the command to the subparsers of a parser."""
    command = commands.add_parser("templates", help="write templates to paint on, front and back of every piece")
    command.add_argument("scene", help="a description of a spread or of a book (TOML)")
    command.add_argument("--out", required=True, metavar="DIR")
    command.add_argument("--dpi", default="300", metavar="N", help="pixels an inch (default 300)")
    command.add_argument("--pieces", metavar="A,B", help="only these; page is the two pages, cover a book's boards")
    command.add_argument(
        "--format", default="png,svg", help="png: guides on transparent ground, svg: in layers, white: PNG on white"
    )
    command.add_argument("--test-card", action="store_true", help="also a numbered 10 mm chequerboard for each")
    command.add_argument("--json", metavar="FILE", help="write the result, or what is wrong, as JSON; - for the screen")


def templates(options: argparse.Namespace) -> tuple[int, dict[str, Any], str]:
    """Write templates; returns the exit status, the result as data and as text."""
    from .assembly import assemble
    from .binding import read_bound
    from .binding.reader import names_book
    from .description.reader import read_description
    from .templates.options import TemplateOptions
    from .templates.write import write_book_templates, write_templates

    chosen = TemplateOptions(
        dpi=_dpi(options.dpi),
        formats=_names(options.format),
        test_card=options.test_card,
        pieces=None if options.pieces is None else _names(options.pieces),
    )
    if names_book(options.scene):
        result = write_book_templates(read_bound(options.scene), options.out, chosen)
    else:
        result = write_templates(assemble(read_description(options.scene)), options.out, chosen)
    data = {"format": 1, "written": [str(path) for path in result.paths], "templates": list(result.lines)}
    return 0, data, "\n".join(result.lines)


def _names(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(",") if part.strip())


def _dpi(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise HingeleafError(f'--dpi "{text}": write a number of pixels an inch, e.g. 300') from None
