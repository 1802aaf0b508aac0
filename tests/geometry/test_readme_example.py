"""The worked example of the README stands, and passes every check."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from geometry import assemble, parse_description
from geometry.checks import run_checks

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("page", ["README.md", "scenes/README.md"])
def test_examples_pass_every_check(page: str) -> None:
    examples = re.findall(r"```toml\n(.*?)```", (ROOT / page).read_text(encoding="utf-8"), re.S)
    assert examples
    for example in examples:
        assert run_checks(assemble(parse_description(example))) == ()
