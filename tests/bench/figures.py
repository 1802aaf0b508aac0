"""What a benchmark found, noted for the table in DEVELOPERS.md.

Each benchmark runs in a process of its own, whose peak of memory is its own too. It notes its figures as lines of JSON
in the file that HINGELEAF_FIGURES names; where nothing is named, they are only printed.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

__all__ = ["FILE", "Figure", "noted", "read_figures", "spread_of"]

FILE = "HINGELEAF_FIGURES"


@dataclass(frozen=True)
class Figure:
    """One line of the table.

    Parameters
    ----------
    what : is timed
    peer : does the same, or the least that has to be done
    ratio : how they compare, with its spread over repeats
    wanted : what the ratio has to be, or ""
    growth : how time grows with size, or ""
    """

    what: str
    peer: str
    ratio: str
    wanted: str = ""
    growth: str = ""


def noted(figure: Figure) -> None:
    """Note a figure."""
    if name := os.environ.get(FILE):
        with Path(name).open("a", encoding="utf-8") as stream:
            stream.write(json.dumps(asdict(figure)) + "\n")


def read_figures(file: Path) -> list[Figure]:
    """The figures that were noted in a file."""
    lines = file.read_text(encoding="utf-8").splitlines() if file.exists() else []
    return [Figure(**json.loads(line)) for line in lines]


def spread_of(ratios: Sequence[float], digits: int = 1) -> str:
    """A ratio in words: the middle one, and from which to which."""
    ordered = sorted(ratios)
    middle = ordered[len(ordered) // 2]
    return f"{middle:.{digits}f} ({ordered[0]:.{digits}f} to {ordered[-1]:.{digits}f})"
