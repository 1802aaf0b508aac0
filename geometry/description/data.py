"""A description as data: what a scene file says, checked but not yet built."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..limits import Limits
from ..model import Color, Stock

__all__ = ["Description", "MechanismSpec", "PageSpec"]


@dataclass(frozen=True)
class PageSpec:
    """The pages: width and height of one page (mm), margin (mm), stock, artwork files as absolute paths or None.

    color_front, color_back : sRGB 0..1, printed flat under the artwork; None for unprinted card
    """

    width_mm: float
    height_mm: float
    margin_mm: float
    stock: str
    art_front: str | None
    art_back: str | None
    color_front: Color | None = None
    color_back: Color | None = None


@dataclass(frozen=True)
class MechanismSpec:
    """One mechanism as written: only the keys that were given, lengths in mm, angles in degrees.

    Parameters
    ----------
    id, kind : names
    values : key to value, types already checked
    lines : key to line in the file; "" is the head of its table
    """

    id: str
    kind: str
    values: Mapping[str, Any]
    lines: Mapping[str, int]

    def place(self, key: str = "") -> str:
        """Place for a message: the table, and the key if one is named."""
        return f'{self.kind} "{self.id}"' + (f", {key}" if key else "")

    def line(self, key: str = "") -> int | None:
        """Line of a key, or of the table's head where the key was left out."""
        return self.lines.get(key, self.lines.get(""))

    def sided(self, name: str) -> tuple[Any, Any]:
        """What was given for the left and the right side; None where nothing was."""
        both = self.values.get(name)
        return self.values.get(f"{name}_left", both), self.values.get(f"{name}_right", both)


@dataclass(frozen=True)
class Description:
    """A whole scene file.

    Parameters
    ----------
    title : name of the spread
    source : the file's name for messages
    folder : where artwork files are looked for
    text : the TOML text it was read from
    page, stocks, mechanisms : its tables
    limits : the checks' limits, with those that the table [checks] sets
    """

    title: str
    source: str
    folder: Path
    text: str
    page: PageSpec
    stocks: Mapping[str, Stock]
    mechanisms: tuple[MechanismSpec, ...]
    limits: Limits
