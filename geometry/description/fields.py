"""What may stand in a description: each key with its type, limits, default and meaning, in one place.

The reader checks against these tables and the reference page is held against them, so neither can drift.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["COMMON", "HOSTS", "PAGE", "PRINTED", "SIDE", "SIDES", "STOCK", "TOP", "Field", "FieldType", "expand"]

FieldType = Literal[
    "text",
    "name",
    "number",
    "length",
    "lengths",
    "numbers",
    "angle",
    "choice",
    "switch",
    "line",
    "outline",
    "outlines",
    "point",
    "size",
    "file",
    "color",
]

SIDES = ("left", "right")

#: Keys that name a fold, a panel or a mechanism that this one is built on.
HOSTS = ("fold", "panel", "from", "to", "drives", "box")


@dataclass(frozen=True)
class Field:
    """One key of a table.

    Parameters
    ----------
    name : the key
    type : text; name; number (any sign); numbers (a list of them); length (mm, not negative); lengths (a list of
        them); angle (degrees); choice; switch (true or false); line (an open line:
        points or path data); outline (a closed one); outlines (a list of closed ones); point ([x, y] in mm); size
        ([width, height] in mm or an ISO 216 name); file; color
    meaning : one sentence for the reference page
    default : what holds when it is left out, as the reference page says it; None: it must be given
    low, high : limits, the number itself excluded for angles, included for others
    choices : for type choice
    sided : NAME sets both sides, NAME_left and NAME_right one
    positive : a length that may not be 0
    """

    name: str
    type: FieldType
    meaning: str
    default: str | None = None
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    sided: bool = False
    positive: bool = False


def expand(fields: tuple[Field, ...]) -> dict[str, Field]:
    """Every key that may be written, with its field."""
    keys: dict[str, Field] = {}
    for field in fields:
        keys[field.name] = field
        if field.sided:
            for side in SIDES:
                keys[f"{field.name}_{side}"] = field
    return keys


TOP = (
    Field("format", "number", "version of the description format: 1"),
    Field("title", "text", "name of the spread", default="the file's name"),
)

PAGE = (
    Field("size", "size", "one page: an ISO 216 name (add landscape to turn it) or [width, height]"),
    Field("margin", "length", "kept free along the three outer edges when the book is closed", default="0"),
    Field("stock", "name", "the card of the pages", default="the first stock"),
    Field("art_front", "file", "artwork of the two pages as one picture", default="none"),
    Field("art_back", "file", "artwork of the outside", default="none"),
    Field("color_front", "color", "flat colour of the two pages, under their artwork", default="none"),
    Field("color_back", "color", "flat colour of the outside, under its artwork", default="none"),
)

STOCK = (
    Field("grammage", "number", "g/m²", default="250", low=20, high=2000),
    Field("bulk", "number", "cm³/g; gives the caliper where none is measured", default="1.2", low=0.5, high=3),
    Field(
        "caliper", "length", "measured thickness; overrides grammage and bulk", default="grammage x bulk", positive=True
    ),
    Field("grain", "choice", "direction of the fibres on the net", default="any", choices=("any", "height", "width")),
    Field("color", "color", "unprinted card", default="#fbfaf6"),
)

#: Keys that every glued mechanism has.
COMMON = (
    Field("title", "text", "what a person calls it", default="the id"),
    Field("stock", "name", "its card", default="the first stock"),
    Field("art_front", "file", "artwork of the printed face", default="none"),
    Field("art_back", "file", "artwork of the back", default="none"),
    Field("color_front", "color", "flat colour of the printed face, under its artwork", default="none"),
    Field("color_back", "color", "flat colour of the back, under its artwork", default="none"),
    Field(
        "art_box",
        "numbers",
        "box on the net that its artwork fills: [left, low, right, high], mm; set when an outline is traced",
        default="none: the box about the piece and its bleed",
    ),
)

SIDE = Field(
    "side",
    "choice",
    "side of that fold",
    "valley, or outer on a foot",
    choices=("valley", "mountain", "outer", "inner"),
)

PRINTED = Field(
    "printed",
    "choice",
    "which face is printed: the outer one, away from the fold, or the inner one",
    default="outer",
    choices=("outer", "inner"),
)
