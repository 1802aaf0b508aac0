"""The fuzzers: python -m tests.fuzz.run [TARGET...] [--minutes N] [--logs DIR]; without a target all, one by one.

Coverage guides them where atheris is installed (64-bit Linux); elsewhere inputs are only changed at random. What is
found stands in the folder of logs, with the input that sets it off; exit status 1 where there is anything.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

from tests.fuzz import designs
from tests.fuzz.targets import TARGETS

#: What is no fuzzer: designs that are right, or nearly, judged by every invariant.
DESIGNS = "designs"
ROOT = Path(__file__).resolve().parents[2]


def fuzzed(name: str, logs: Path, seconds: float) -> tuple[int, Counter[str]]:
    """Run one target for so long; returns how many inputs it took, and what was found how often."""
    folder = logs / name
    folder.mkdir(parents=True, exist_ok=True)
    before = set(folder.glob("runs-*.json"))
    guided = importlib.util.find_spec("atheris") is not None
    worker = "tests.fuzz.worker" if guided else "tests.fuzz.unguided"
    env = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    end = time.monotonic() + seconds
    with (folder / "output.log").open("a", encoding="utf-8") as log:
        # A crash of Python itself, or of a library, ends a worker; another one goes on with what it has learned.
        while (left := end - time.monotonic()) > 1:
            command = [sys.executable, "-W", "ignore", "-m", worker, name, str(logs.resolve()), str(int(left))]
            status = subprocess.call(command, cwd=ROOT, env=env, stdout=log, stderr=log)
            if status:
                print(f"{name}: a worker ended with status {status}; see {folder / 'output.log'}", flush=True)
                time.sleep(1)
    runs, kinds = 0, Counter[str]()
    for note in set(folder.glob("runs-*.json")) - before:
        data = json.loads(note.read_text(encoding="utf-8"))
        runs += data["executions"]
        kinds.update(data["findings"])
    kinds.update(path.name for path in folder.glob("timeout-*"))
    return runs, kinds


def main(arguments: list[str] | None = None) -> int:
    """Run the fuzzers that are asked for; returns the exit status."""
    parser = argparse.ArgumentParser(description=__doc__)
    names = [*TARGETS, DESIGNS]
    parser.add_argument("targets", nargs="*", metavar="TARGET", help=f"of {', '.join(names)}")
    parser.add_argument("--minutes", type=float, default=60.0, help="for each (default 60)")
    parser.add_argument("--logs", default="out/fuzz", metavar="DIR", help="default out/fuzz")
    options = parser.parse_args(arguments)
    unknown = [name for name in options.targets if name not in names]
    if unknown:
        parser.error(f"there is no target {unknown[0]}; there are {', '.join(names)}")
    found = False
    for name in options.targets or names:
        if name == DESIGNS:
            found |= bool(designs.main(["--minutes", str(options.minutes), "--count", "1000000"]))
            continue
        runs, kinds = fuzzed(name, Path(options.logs), 60 * options.minutes)
        found |= bool(kinds) or not runs
        print(f"{name}: {runs} inputs, {len(kinds)} kinds of failure", *kinds, sep="\n  ", flush=True)
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
