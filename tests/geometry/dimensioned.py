"""Scenes whose nets have dimensions, each built once, and how exact what is printed is."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

from geometry import assemble, read_description

SCENES = Path(__file__).resolve().parents[2] / "scenes"
#: Printed to a hundredth, half of it off at most.
PRINTED = 0.005 + 1e-9


def read(name: str):
    return assemble(read_description(SCENES / f"{name}.toml"))


@cache
def scene(name: str):
    return read(name)


def number(text: str) -> float:
    """What a dimension says."""
    found = re.search(r"(-?\d+(?:\.\d{1,2})?)°?$", text)
    assert found, text
    return float(found[1])
