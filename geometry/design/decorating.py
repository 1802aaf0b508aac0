"""Giving pieces their artwork: which key of which table, and what has none of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Literal

import tomlkit

from ..description.data import Description
from ..description.fields import expand
from ..description.reader import parse_description
from ..errors import HingeleafError
from ..mechanisms import KINDS
from ..model import Color
from ..paper import hex_color
from .editing import set_page, set_values

__all__ = ["Face", "artwork_of", "color_of", "with_artwork", "with_color"]

Face = Literal["front", "back"]


def artwork_of(description: Description, piece: str, face: Face) -> str | None:
    """The artwork file of one face of a piece, an absolute path; None where it is plain.

    Raises
    ------
    HingeleafError
        The piece has no artwork of its own.
    """
    if piece == "page":
        return description.page.art_front if face == "front" else description.page.art_back
    found: str | None = _checked(description, piece).get(f"art_{face}")
    return found


def with_artwork(
    description: Description, piece: str, face: Face, name: str | None, *, folder: Path | None = None
) -> Description:
    """The description with another artwork on one face of a piece.

    Parameters
    ----------
    description : as read
    piece : "page", or the mechanism's id
    face : the printed face, or its back
    name : the file, from the description's folder on; None for none
    folder : where the description looks for artwork from now on; None where it did before

    Returns
    -------
    Description, read and checked anew

    Raises
    ------
    HingeleafError
        The piece has no artwork of its own.
    DescriptionError
        The file is neither beside the description nor below.
    """
    if piece != "page":
        _checked(description, piece)
    document = tomlkit.parse(description.text)
    key, mechanisms = f"art_{face}", document.get("mechanism", [])
    found = document["page"] if piece == "page" else next(item for item in mechanisms if item["id"] == piece)
    table: Any = found
    if name is not None:
        table[key] = name
    elif key in table:
        del table[key]
    return parse_description(tomlkit.dumps(document), source=description.source, folder=folder or description.folder)


def color_of(description: Description, piece: str, face: Face) -> Color | None:
    """The flat colour of one face of a piece, sRGB 0..1; None where it is bare card.

    Raises
    ------
    HingeleafError
        The piece has no colour of its own.
    """
    if piece == "page":
        return description.page.color_front if face == "front" else description.page.color_back
    found: Color | None = _checked(description, piece).get(f"color_{face}")
    return found


def with_color(description: Description, piece: str, face: Face, color: Color | None) -> Description:
    """The description with another flat colour on one face of a piece.

    Parameters
    ----------
    description : as read
    piece : "page", or the mechanism's id
    face : the printed face, or its back
    color : sRGB 0..1; None for bare card

    Raises
    ------
    HingeleafError
        The piece has no colour of its own.
    """
    values = {f"color_{face}": None if color is None else hex_color(color)}
    if piece == "page":
        return set_page(description, values)
    _checked(description, piece)
    return set_values(description, piece, values)


def _checked(description: Description, piece: str) -> dict[str, Any]:
    """The values of the mechanism whose piece it is."""
    spec = next((item for item in description.mechanisms if item.id == piece), None)
    if spec is None:
        whole = piece.split(".")[0]
        raise HingeleafError(f"{piece} has no artwork of its own; choose a panel of {whole} itself, or the pages")
    if "art_front" not in expand(KINDS[spec.kind].FIELDS):
        raise HingeleafError(f"{piece} has no artwork of its own; it is part of its host's card, which has")
    return dict(spec.values)
