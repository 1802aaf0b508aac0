"""The table of the benchmarks: what was noted stands in it, and only what is between its marks is written anew."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from tests.bench import figures
from tests.bench.figures import Figure, noted, read_figures, spread_of
from tests.bench.run import END, NAMES, START, main, table_of, with_table

ROOT = Path(__file__).resolve().parents[2]


def test_what_is_noted_is_read_again(tmp_path, monkeypatch):
    file = tmp_path / "figures.jsonl"
    monkeypatch.setenv(figures.FILE, str(file))
    found = [
        Figure("solving", "a library", "9 times"),
        Figure("nets \N{DEGREE SIGN}", "a tree", "2", "at most 3", "n^1.1"),
    ]
    for each in found:
        noted(each)
    assert read_figures(file) == found
    monkeypatch.delenv(figures.FILE)
    noted(found[0])
    assert read_figures(file) == found
    assert read_figures(tmp_path / "none") == []


def test_the_table_has_a_row_a_figure():
    table = table_of([(Figure("solving", "a library", "9 times", "at least 5", "n^1"), 120)], date(2026, 3, 9))
    lines = table.splitlines()
    assert lines[0].startswith("Measured on 09 March 2026.")
    assert lines[-1] == "| solving | a library | 9 times | at least 5 | n^1 | 120 MB |"
    assert len({line.count("|") for line in lines[2:]}) == 1


def test_only_what_is_between_the_marks_is_written():
    page = f"before\n{START}\nold\n{END}\nafter\n"
    assert with_table(page, "new") == f"before\n{START}\nnew\n{END}\nafter\n"
    for broken in ("before", f"{START} only", f"{END}{START}"):
        with pytest.raises(ValueError, match="the page has no"):
            with_table(broken, "new")


def test_the_page_has_the_marks_and_every_benchmark_is_there():
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert with_table(page, "x") != page
    for name in NAMES:
        assert '__name__ == "__main__"' in (ROOT / "tests" / "bench" / f"{name}.py").read_text(encoding="utf-8"), name


def test_a_ratio_tells_its_spread():
    assert spread_of([3.0, 1.0, 2.0]) == "2.0 (1.0 to 3.0)"


@pytest.mark.parametrize(
    ("words", "said"), [(["speed"], "there is no benchmark speed"), (["--write", "cells"], "leave the names out")]
)
def test_wrong_words_are_refused(words, said, capsys):
    with pytest.raises(SystemExit):
        main(words)
    assert said in capsys.readouterr().err
