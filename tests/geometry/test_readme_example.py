"""The worked examples of the READMEs stand, and pass every check."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from geometry import assemble, parse_description
from geometry.binding import bind, check_binding, is_book, parse_book, read_spreads
from geometry.checks import run_checks

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("page", ["README.md", "scenes/README.md"])
def test_examples_pass_every_check(page: str) -> None:
    examples = re.findall(r"```toml\n(.*?)```", (ROOT / page).read_text(encoding="utf-8"), re.S)
    assert examples
    for example in examples:
        if is_book(example):
            # It names the spreads of the demo.
            book = parse_book(example, folder=ROOT / "scenes" / "demo")
            assert {finding.severity for finding in check_binding(bind(book, *read_spreads(book)))} == {"note"}
        else:
            assert run_checks(assemble(parse_description(example))) == ()
