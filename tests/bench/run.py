"""All benchmarks, each in a process of its own, each against a peer in the same run.

With --write the table in DEVELOPERS.md is written anew from what they found. Exit status 1 where one of them misses
what is wanted; then nothing is written.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from tests.bench.figures import FILE, Figure, read_figures

__all__ = ["NAMES", "main", "table_of", "with_table"]

ROOT = Path(__file__).resolve().parents[2]
#: The benchmarks in their order, by module.
NAMES = ("cells", "collisions", "loops", "copies", "sheets", "unfolding", "editing", "playback")
START, END = "<!-- table: bench -->", "<!-- end: bench -->"


def run(name: str) -> tuple[list[Figure], int, int]:
    """Run one; returns its figures, its peak of memory in MB, and its exit status."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "figures.jsonl"
        env = {**os.environ, FILE: str(file)}
        child = subprocess.Popen([sys.executable, "-m", f"tests.bench.{name}"], cwd=ROOT, env=env)
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
        return read_figures(file), round(usage.ru_maxrss / 1024), child.returncode


def table_of(found: Sequence[tuple[Figure, int]], day: date) -> str:
    """The table, with the peak of memory of each figure's benchmark in MB."""
    lines = [
        f"Measured on {day:%d %B %Y}. Ratios within one run: the middle one, and the spread over repeats.",
        "",
        "| what | against | ratio | wanted | time grows | peak memory |",
        "|---|---|---|---|---|---|",
    ]
    for figure, peak in found:
        cells = (figure.what, figure.peer, figure.ratio, figure.wanted, figure.growth, f"{peak} MB")
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines)


def with_table(text: str, table: str) -> str:
    """A page with another table between its marks; ValueError where it has none."""
    before, start, rest = text.partition(START)
    _, end, after = rest.partition(END)
    if not start or not end:
        raise ValueError(f"the page has no {START} and {END} to write between")
    return f"{before}{start}\n{table}\n{end}{after}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run them."""
    parser = argparse.ArgumentParser(prog="build.py bench", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"only these of {', '.join(NAMES)}")
    parser.add_argument("--write", action="store_true", help="write the table in DEVELOPERS.md; needs all of them")
    options = parser.parse_args(arguments)
    wrong = [name for name in options.names if name not in NAMES]
    if wrong:
        parser.error(f"there is no benchmark {', '.join(wrong)}; choose from {', '.join(NAMES)}")
    if options.write and options.names:
        parser.error("--write needs all benchmarks: leave the names out")
    found: list[tuple[Figure, int]] = []
    missed = []
    for name in options.names or NAMES:
        figures, peak, status = run(name)
        found += [(figure, peak) for figure in figures]
        print(f"  peak memory {peak} MB\n", flush=True)
        if status:
            missed.append(name)
    if missed:
        print(f"Below what is wanted: {', '.join(missed)}", file=sys.stderr)
        return 1
    if options.write:
        page = ROOT / "DEVELOPERS.md"
        page.write_text(with_table(page.read_text(encoding="utf-8"), table_of(found, date.today())), encoding="utf-8")
        print("Written: the table in DEVELOPERS.md")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
