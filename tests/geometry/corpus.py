"""The corpus: small scenes with one planted fault each, and sound ones; what is expected stands in each file's head.

Head of a faulty scene, as comments: what the fault is; ``expect:`` the finding, as key=value; ``why:`` where the number
comes from; ``also:`` findings that follow from the same fault, each with its reason. A panel ``*`` is any, ``-`` none.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from geometry import Description, Spread, assemble, read_description
from geometry.checks import Finding

FOLDER = Path(__file__).parent / "corpus"
FAULTY = sorted((FOLDER / "faulty").glob("*.toml"))
SOUND = sorted((FOLDER / "sound").glob("*.toml"))


@dataclass(frozen=True)
class Expected:
    """What a faulty scene is to be told: one finding, and those that follow from it."""

    values: dict[str, str]
    also: tuple[dict[str, str], ...]

    def number(self, key: str) -> float:
        return float(self.values[key])


def expected(path: Path) -> Expected:
    """The head of a faulty scene."""
    head = [line[2:] for line in path.read_text(encoding="utf-8").splitlines() if line.startswith("# ")]
    found = [_pairs(line) for line in head if line.startswith("expect: ")]
    also = [_pairs(line.split(" - ")[0]) for line in head if line.startswith("also: ")]
    reasons = [line for line in head if line.startswith("why: ") and len(line) > 10]
    if len(found) != 1 or len(reasons) != 1 or not all("code" in item for item in also):
        raise ValueError(f"{path.name}: the head wants one line expect:, one why:, and also: with a code")
    return Expected(found[0], tuple(also))


def _pairs(line: str) -> dict[str, str]:
    return dict(re.findall(r"(\w+)=(\S+)", line))


def names(finding: Finding, values: dict[str, str]) -> bool:
    """Whether a finding is of that code, on that panel, with that other panel."""
    if finding.code != values["code"]:
        return False
    panel, other = values.get("panel", "*"), values.get("other", "*")
    if panel not in ("*", finding.panel or "-"):
        return False
    return other in ("*", finding.other or "-")


def built(path: Path) -> tuple[Description, Spread]:
    description = read_description(path)
    return description, assemble(description)
