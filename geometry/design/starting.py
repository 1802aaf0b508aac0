"""Starting a new book: pages of one card, nothing on them yet."""

from __future__ import annotations

import re
from pathlib import Path

from ..description.data import Description
from ..description.reader import parse_description
from .tables import new_table, written

__all__ = ["file_name", "new_description"]


def new_description(
    title: str,
    *,
    page_mm: tuple[float, float] | str,
    margin_mm: float = 0.0,
    grammage_gsm: float = 250.0,
    color: str = "#fbfaf6",
    folder: Path | None = None,
    source: str | None = None,
) -> Description:
    """A description of empty pages.

    Parameters
    ----------
    title : name of the spread
    page_mm : width and height of one page, mm, or an ISO 216 name such as "A5"
    margin_mm : kept free along the three outer edges
    grammage_gsm, color : of the card, g/m² and "#rrggbb"
    folder : where artwork files are looked for; by default the working folder
    source : the file's name for messages; by default made from the title

    Raises
    ------
    DescriptionError
        A size is impossible; carries every problem.
    """
    page = {"size": page_mm, "margin": margin_mm or None}
    lines = [
        "format = 1",
        f"title = {written(title)}",
        "",
        *new_table(page, "[page]"),
        "",
        *new_table({"grammage": grammage_gsm, "color": color}, "[stock.card]"),
        "",
    ]
    return parse_description("\n".join(lines), source=source or file_name(title), folder=folder)


def file_name(title: str) -> str:
    """A file's name made from a title.

    Examples
    --------
    >>> file_name("Low Tide at Tern Rock")
    'low-tide-at-tern-rock.toml'
    """
    words = re.findall(r"\w+", title.lower())
    return f"{'-'.join(words) or 'book'}.toml"
